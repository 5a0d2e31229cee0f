"""Why a load is late or has no place, in one sentence: as the planner says it, everywhere the same.

What was solved and proved for a load (`scheduler.planning.why`) goes before what the planner saw while it planned
(`scheduler.planning.reasons`); of the latter, what it did not try is said as seen at first sight.
"""

from __future__ import annotations

from dataclasses import dataclass

from api.day import Day
from api.formats import Formats
from api.words import Words
from shared.plans import Late
from shared.texts import say

SEEN_AT_FIRST_SIGHT = ("reason.kilns_hands_current", "reason.every_kiln_that")
"""Reasons that the planner gives where nothing it tries by itself keeps the load: one of several, and not which."""


@dataclass(frozen=True, slots=True)
class LateRow:
    """A late load with the reason in words."""

    late: Late
    owner: str
    why: str


def late_rows(day: Day, formats: Formats) -> tuple[LateRow, ...]:
    """All late loads of the plan, the latest first."""
    return tuple(LateRow(late, day.load(late.load).owner, why_text(late.why, formats.words)) for late in day.late)


def why_text(why: str, words: Words) -> str:
    """The planner's reason as a sentence; empty where it has none, as in a list of hundreds."""
    if not why:
        return ""
    # A plan that was read from a file holds its reasons as plain text.
    quick = any(why == say(key) for key in SEEN_AT_FIRST_SIGHT)
    told = words("why.first_sight" if quick else "why.as_it_is", why=why)
    return told[:1].upper() + told[1:]
