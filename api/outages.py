"""Why something is out of use, in the reader's words.

A reason that somebody wrote is shown as it stands; those that a re-plan gives of itself are in the catalogue.
"""

from __future__ import annotations

from api.words import Words
from scheduler.planning.events import FAILED, NO_POWER

GIVEN_BY_A_REPLAN = {FAILED: "plan.failed", NO_POWER: "plan.no_power"}
"""The reasons that a re-plan sets, and the sentence of each."""


def outage_reason(reason: str | None, words: Words) -> str | None:
    """The reason as a page shows it; None if none was given."""
    key = GIVEN_BY_A_REPLAN.get(reason or "")
    return words(key) if key else reason
