"""What would mend a late load, as something to do: each change that was solved and proved, with a way to its action.

A change that would trade away a house rule, or that an electrician or a kiln's maker has to allow, is named and never
offered as a button: whether it may be is for others to say.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from api.formats import Formats
from api.printing.why_text import MIND, RULES, change_words, moved_words
from api.words import Words
from shared.clock import Minute, iso_minute
from shared.texts import unpacked


@dataclass(frozen=True, slots=True)
class Action:
    """What a mend's button does: leads to a path, or sends a form with these fields."""

    text: str
    path: str
    fields: Mapping[str, str] = field(default_factory=dict)
    sends: bool = False
    of_manager: bool = False


@dataclass(frozen=True, slots=True)
class Mend:
    """One mend: what is changed, what follows, what is to be minded, and what can be done about it here."""

    text: str
    follows: str
    mind: str
    actions: tuple[Action, ...]


def binds_text(result: Mapping[str, Any], words: Words) -> str:
    """The rule that keeps a load, in words."""
    rule = result["rule"]
    return unpacked(str(result["why"])) or (words(RULES[rule]) if rule in RULES else rule)


def mends_of(result: Mapping[str, Any], version: int, formats: Formats) -> list[Mend]:
    """The mends of a load that were found; ``version`` is the load's that is on the page."""
    return [_mend(item, result["load"], version, formats) for item in result["mends"]]


def _mend(item: Mapping[str, Any], load: str, version: int, formats: Formats) -> Mend:
    words, kind = formats.words, item["kind"]
    begins, ends = _minute(item["from"]), _minute(item["to"])
    out = formats.clock(iso_minute(item["out_at"]))
    text = change_words(kind, item["who"], begins, ends, item["amount"], formats)
    if item.get("skills"):
        key = "mend.who_can" if item["amount"] is None else "mend.one_can"
        text = words(key, change=text, skills=formats.join(item["skills"]))
    return Mend(
        text=text,
        follows=words("mend.follows", out=out, moved=moved_words(item["moved"], words)),
        mind=words(MIND[kind]) if kind in MIND else "",
        actions=tuple(_actions(kind, item, load, version, words)),
    )


def _actions(kind: str, item: Mapping[str, Any], load: str, version: int, words: Words) -> list[Action]:
    who, at = item["who"], item["from"]
    change = f"/loads/{load}/change"
    if kind == "promise":
        fields = {"version": str(version), "promised": at}
        return [Action(words("mend.later_promise"), f"/trouble/{load}/promise", fields, sends=True)]
    if kind == "hands":
        asked = {"from": at, "to": item["to"], "skills": ", ".join(item.get("skills", ()))}
        found = [Action(words("mend.shift"), "/shifts?" + urlencode(asked), of_manager=True)]
        if item["amount"] is not None:
            # One has to have the skill; a shift of their own for those who only help.
            asked |= {"skills": "", "hands": f"{item['amount'] - 1:g}"}
            found.append(Action(words("mend.helpers"), "/shifts?" + urlencode(asked), of_manager=True))
        return found
    if kind == "skill":
        return [Action(words("mend.shifts"), "/shifts", of_manager=True)]
    if kind == "circuit":
        asked = {"try": "current", "circuit": who, "amps": f"{item['amount']:g}"}
        return [Action(words("mend.try"), "/what-if?" + urlencode(asked), of_manager=True)]
    if kind == "new_kiln":
        return [Action(words("mend.try"), "/what-if?" + urlencode({"try": "kiln", "kiln": who}), of_manager=True)]
    if kind == "outage":
        return [Action(words("mend.outage"), "/kilns")]
    if kind == "leave_out":
        asked = {"try": "cancel", "loads": who}
        return [
            Action(words("mend.try"), "/what-if?" + urlencode(asked), of_manager=True),
            Action(words("mend.other_load", load=who), f"/loads/{who}/change"),
        ]
    if kind == "other_kiln":
        return [Action(words("mend.change_load"), f"{change}?" + urlencode({"kiln": who}))]
    if kind == "ready":
        return [Action(words("mend.change_load"), f"{change}?" + urlencode({"ready": at[:16]}))]
    if kind == "priority":
        return [Action(words("mend.change_load"), f"{change}?" + urlencode({"priority": f"{item['amount']:g}"}))]
    return []


def _minute(text: str | None) -> Minute | None:
    return None if text is None else iso_minute(text)
