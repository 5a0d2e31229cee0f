"""What is wrong with a line that is no TOML, in the words of whoever wrote it; the parser's own words reach nobody."""

from __future__ import annotations

import re

from shared.files.values import clipped, shown
from shared.texts import say

Words = tuple[str, str]
"""Problem and remedy."""

_FLAGS = {"yes": "true", "no": "false", "on": "true", "off": "false", "ja": "true", "nein": "false"}
_DATE = re.compile(r"\d{1,4}[-./]\d{1,2}[-./]\d{2,4}.*|\d{4}-\d{1,2}-\d{1,2}.*|\d{1,2}[:.]\d{2}.*")
_UNIT = re.compile(r"([+-]?[0-9_.]+) ?([^\W\d_][^\W\d]{0,9}|°[CFK]?|%|[^\W\d_]+[²³/].*)")


def words_of(message: str, text: str, line: int, column: int) -> Words:
    """Problem and remedy of the first fault of a text, where the parser's message puts it."""
    twice = re.match(r"Cannot declare \((.*?),?\) twice|Cannot overwrite a value|Cannot mutate", message)
    if twice:
        names = (twice[1] or "").replace("', '", ".").replace("'", "")
        problem = say("fault.table_stands_here", names=shown(names)) if names else say("fault.same_key_stands")
        return problem, say("fault.put_this_right")
    written = _line(text, line)
    key, _, value = (part.strip() for part in written.partition("="))
    rest = written[max(0, column - 1) :].strip()
    wrong, remedy = _by_message(message, key, value.split(" #")[0].strip(), rest)
    return wrong, say("fault.then_what_follows", remedy=remedy)


def _by_message(message: str, key: str, value: str, rest: str) -> Words:
    if message.startswith("Expected newline"):
        return _too_much(key, value, rest)
    if message.startswith("Invalid value"):
        return _no_value(key, re.split(r"[,\]}#]", rest, maxsplit=1)[0].strip())
    if message.startswith("Expected '='"):
        return say("fault.no_equals"), say("fault.write_key_value")
    if message.startswith("Expected ']"):
        return say("fault.heading_open"), say("fault.write_heading")
    if message.startswith("Unclosed"):
        return say("fault.list_open"), say("fault.write_list")
    if message.startswith(("Unterminated string", "Illegal character")):
        return say("fault.text_open"), say("fault.write_text")
    return say("fault.is_not_toml", reason=clipped(message[:1].lower() + message[1:])), say("fault.see_toml")


def _too_much(key: str, value: str, rest: str) -> Words:
    if re.fullmatch(r"[+-]?\d+,\d+", value):
        return say("fault.decimal_comma", value=shown(value)), say("fault.write_point", value=value.replace(",", "."))
    if _DATE.fullmatch(value):
        return say("fault.is_not_a", value=shown(value)), say("fault.write_time_so")
    unit = _UNIT.fullmatch(value)
    if unit:
        return say("fault.unit_behind", unit=shown(unit[2])), say("fault.number_alone", line=f"{key} = {unit[1]}")
    return say("fault.behind_value", rest=shown(rest)), say("fault.one_value")


def _no_value(key: str, value: str) -> Words:
    if not value:
        return say("fault.no_value", key=shown(key)), say("fault.value_or_nothing")
    flag = value.casefold() if value.casefold() in ("true", "false") else _FLAGS.get(value.casefold())
    if flag is not None:
        return say("fault.of_value", value=shown(value), problem=say("fault.neither_true_nor")), say(
            "fault.write", example=f"{key} = {flag}"
        )
    plain = value.strip("“”„‟«»‘’‚'\"")
    return say("fault.without_quotes", value=shown(value)), say("fault.put_it_in", value=clipped(plain))


def _line(text: str, line: int) -> str:
    lines = text.split("\n")
    return lines[line - 1].rstrip("\r") if 0 < line <= len(lines) else ""
