"""A re-plan that reaches as far as the plan in hand, so that no load loses its place to the calendar alone.

A plan begins tomorrow, or on a day that somebody chose; a re-plan begins now. Counted from now the studio's horizon
would end before the old plan does, and whatever was to be out in between would be told as a broken promise.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

from scheduler.planning.events import Events
from scheduler.planning.replan import Replanned, replan
from scheduler.planning.session import Progress, Settings
from shared.clock import Minute
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio

DAY_MINUTES = 24 * 60
MOST_DAYS = 120
"""The longest horizon that a studio may have [d]."""


def replan_as_far(
    studio: Studio,
    loads: Sequence[Load],
    plan: Plan,
    *,
    now: Minute,
    events: Events,
    settings: Settings | None = None,
    progress: Callable[[Progress], None] | None = None,
    held: Collection[str] = (),
) -> Replanned:
    """``replan`` with the studio's horizon, or as many days more as the plan in hand has left from ``now`` [min]."""
    days = min(MOST_DAYS, -(-(plan.end - now) // DAY_MINUTES))
    longer = studio
    if days > studio.rules.horizon_days:
        longer = studio.model_copy(update={"rules": studio.rules.model_copy(update={"horizon_days": days})})
    found = replan(longer, loads, plan, now=now, events=events, settings=settings, progress=progress, held=held)
    return replace(found, studio=found.studio.model_copy(update={"rules": studio.rules}))
