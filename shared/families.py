"""Families, what a load is made of, as people type them: compared in one form, asked about where misspelt."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Iterable
from difflib import SequenceMatcher

LIKE = 0.8
"""From which likeness of its letters one word passes for another one misspelt [-]; own choice: *sliver* is 0.83 of
*silver*, while *stoneware* is 0.6 of *earthenware* and *art* 0.5 of *float*."""

_BETWEEN = re.compile(r"[\W_]+")


def family_key(family: str | None) -> str:
    """A family as families are compared: one name, however capitals and blanks were typed; empty for none.

    >>> family_key(" Buff  Stoneware ") == family_key("buff stoneware"), family_key(None)
    (True, '')
    """
    return " ".join(unicodedata.normalize("NFKC", family or "").casefold().split())


def known_families(typed: Iterable[str | None]) -> dict[str, int]:
    """The families that were typed and how often, the commonest first; each in the spelling that is commonest."""
    spellings: dict[str, Counter[str]] = {}
    for one in typed:
        if one is not None and family_key(one):
            spellings.setdefault(family_key(one), Counter())[" ".join(one.split())] += 1
    counts = {spelt.most_common(1)[0][0]: spelt.total() for spelt in spellings.values()}
    return dict(sorted(counts.items(), key=lambda item: (-item[1], item[0].casefold())))


def near_family(family: str, known: Iterable[str]) -> str | None:
    """The known family that was probably meant by another name; None where it is known, or none is near.

    >>> near_family("bufff-stoneware", ["red earthenware", "buff stoneware"])
    'buff stoneware'
    """
    others = {name: family_key(name) for name in known}
    own = family_key(family)
    if not own or own in others.values():
        return None
    near = [name for name, key in others.items() if _misspelt(own, key)]
    return max(near, key=lambda name: _likeness(own, others[name]), default=None)


def _misspelt(one: str, other: str) -> bool:
    # Numbers tell bodies apart that are called alike, as 1200 and 1260 do.
    if re.findall(r"\d+", one) != re.findall(r"\d+", other):
        return False
    if _BETWEEN.sub("", one) == _BETWEEN.sub("", other):
        return True
    ours, theirs = _BETWEEN.split(one), _BETWEEN.split(other)
    pairs = [(a, b) for a, b in zip(ours, theirs, strict=False) if a != b]
    return len(ours) == len(theirs) and all(min(len(a), len(b)) > 2 and _likeness(a, b) >= LIKE for a, b in pairs)


def _likeness(one: str, other: str) -> float:
    return SequenceMatcher(None, one, other).ratio()
