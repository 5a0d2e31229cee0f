"""What is told of a search besides its plan: whether longer would help, and whether it was for the right week."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

from api.formats import Formats
from api.progress import SearchHistory
from shared.clock import Minute, iso_text, local_time, wall_minute
from shared.loads import Load
from shared.plans import Plan

LAST_PART = 0.25
"""The part of the time whose gain tells whether more time would help [-]: the search is heated anew four times."""

WORTH = 0.01
"""A gain in that part that is worth more time [-]; house choice. Plans of other seeds differ by more."""

TIMES_LONGER = 3
"""How many times longer a search that still gained is told to last; house choice."""

APART = 0.2
"""Share of the promises outside a plan's days from which it is taken for a plan of the wrong week [-]; house choice."""

LEFT_OUT = 0.1
"""Share of the loads without a place from which promises beyond a plan's end say so, too [-]; house choice: work that
is promised for later and fired within the plan is nobody's mistake."""


def search_text(history: SearchHistory, plan: Plan, seconds: float, formats: Formats) -> str:
    """When the search last found better, and whether more time would help; nothing of a plan that is proved best."""
    found = history.until(seconds)
    if plan.proof.status == "optimal" or not found.steps:
        return ""
    gain, last = found.gain_since((1.0 - LAST_PART) * seconds), found.last_better_seconds
    if gain >= WORTH:
        return formats.words(
            "command.still_better", last=last, seconds=seconds, percent=100 * gain, longer=TIMES_LONGER * seconds
        )
    return formats.words("command.hardly_better", last=last, seconds=seconds)


def apart_text(loads: Sequence[Load], plan: Plan, now: Minute, formats: Formats) -> str:
    """That many loads wait for another week than the plan's, with how to plan for that week; else nothing."""
    wanted = sorted(
        moment
        for load in loads
        if (moment := load.session_at if load.session_at is not None else load.promised) is not None
    )
    over = sum(moment < plan.begin for moment in wanted)
    outside = over + sum(moment > plan.end for moment in wanted)
    far = outside >= APART * len(wanted) and len(plan.unplaced) >= LEFT_OUT * len(loads)
    if not wanted or not (far or over >= APART * len(wanted)):
        return ""
    zone = formats.studio.place.zone
    middle = local_time(wanted[len(wanted) // 2], zone).date()
    monday = middle - timedelta(days=middle.weekday())
    sunday = wall_minute(monday - timedelta(days=1), 18 * 60, zone)
    return formats.words(
        "command.another_week",
        week=formats.long_day(monday),
        now=formats.long_day(local_time(now, zone).date()),
        outside=outside,
        promises=len(wanted),
        days=formats.stretch(plan.begin, plan.end),
        then=iso_text(sunday, zone)[:16],
    )
