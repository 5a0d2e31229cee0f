"""Values from files that nobody has checked yet: made harmless, and shown in messages."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date, datetime, time
from difflib import get_close_matches

from shared.texts import Text, say

DEEPEST = 12
"""Tables inside tables deeper than this are junk; the contract's deepest value lies six levels down."""

LONGEST_SHOWN = 60
"""Letters of a value that a message repeats."""

LARGEST_INTEGER = 10**15
"""Whole numbers beyond are junk; the next larger ones are not exact as floating-point numbers."""


class Odd:
    """A value that no key may have; it stands in for the real one so that validation refuses it by type."""

    def __init__(self, text: str) -> None:
        self.text = text


def tamed(value: object, flags: Collection[str], key: str = "", depth: int = 0) -> object:
    """A parsed value with whatever would slip or break through validation replaced by an ``Odd``.

    True and false pass for 1 and 0 in Python, so they are kept only at the keys named in ``flags``.
    """
    if depth > DEEPEST:
        return Odd(say("fault.table_inside_too"))
    if isinstance(value, bool):
        return value if key in flags else Odd(Text("true" if value else "false"))
    if isinstance(value, int) and abs(value) > LARGEST_INTEGER:
        return Odd(say("fault.whole_number_more"))
    if isinstance(value, dict):
        return {str(k): tamed(v, flags, str(k), depth + 1) for k, v in value.items()}
    if isinstance(value, list):
        return [tamed(item, flags, key, depth + 1) for item in value]
    return value


def shown(value: object) -> str:
    """A value as a message repeats it: text in quotes, on one line, cut where it is long.

    >>> shown("31.02."), shown(1.5), shown([1, 2]), shown("a" * 99)
    ('"31.02."', '1.5', 'a list', '"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa…"')
    """
    if isinstance(value, Odd):
        return value.text
    if isinstance(value, str):
        return f'"{clipped(value)}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return str(value) if abs(value) <= LARGEST_INTEGER else say("fault.whole_number_more")
    if isinstance(value, float):
        return f"{value:.15g}"
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, dict):
        return say("fault.a_table")
    if isinstance(value, list | tuple):
        return say("fault.a_list")
    return say("fault.this")


def clipped(text: str) -> str:
    """Text on one line, without letters that do not print, cut where it is long."""
    cut = text[:LONGEST_SHOWN]
    if isinstance(text, Text):
        return text
    plain = "".join(letter if letter.isprintable() else "·" for letter in cut)
    return plain + ("…" if len(text) > LONGEST_SHOWN else "")


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that was probably meant; None where none is near.

    >>> nearest("max_temprature", ["amps", "max_temperature"])
    'max_temperature'
    """
    candidates = list(known)
    if len(word) > LONGEST_SHOWN or len(candidates) > 1000:
        return None
    for candidate in candidates:
        if candidate.casefold() == word.casefold():
            return candidate
    found = get_close_matches(word, candidates, n=1, cutoff=0.7)
    return found[0] if found else None


def listing(words: Iterable[str], most: int = 40) -> Text:
    """Words as one reads them out: ``a, b or c``.

    >>> listing(["A", "B", "C"])
    'A, B or C'
    """
    names = [clipped(word) for word in words]
    if len(names) > most:
        names = [*names[:most], say("fault.others", number=len(names) - most)]
    return say("fault.any_of", names=tuple(names)) if names else Text("")
