"""The planner's one way in: loads and a studio go in, a plan comes out."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from scheduler.planning.arrivals import by_arrival
from scheduler.planning.dispatch import best_dispatch
from scheduler.planning.holds import Holds, numbered
from scheduler.planning.session import Progress, Settings, studio_session
from shared.clock import Minute
from shared.loads import Load
from shared.plans import Firing, Plan
from shared.studio import Studio

__all__ = ["Progress", "Settings", "plan"]


def plan(
    studio: Studio,
    loads: Sequence[Load],
    *,
    now: Minute,
    begin: Minute,
    settings: Settings | None = None,
    progress: Callable[[Progress], None] | None = None,
    held: Sequence[Firing] = (),
) -> Plan:
    """Plan the firings of ``loads`` from ``begin`` for the studio's horizon.

    Parameters
    ----------
    studio, loads
        What the studio has, and what waits in it.
    now, begin
        When the plan is made, and from when it holds; ``begin`` lies on the grid of its local day [min].
    settings
        How long to search, and with which seed.
    progress
        Called with what has been found so far, from the caller's own thread.
    held
        Firings that people have fixed: they stay as they are, or the plan's ``hold_notes`` say why they cannot.

    Returns
    -------
    Plan
        Feasible under every rule as the planner knows them. Only `scheduler.audit.prove` makes it one to fire by.
    """
    session = studio_session(studio, loads, begin, settings, progress, helped=True)
    holds = Holds(session, tuple(held))
    holds.book({})
    best_dispatch(session.timetable, session.clock.first_plan_is_due)
    by_arrival(session.timetable, session.clock.first_plan_is_due)
    holds.settle_stages(lambda: best_dispatch(session.timetable, session.clock.first_plan_is_due))
    session.tell(session.timetable.cost(), "dispatch")
    # What people hold need not be among the firings that the planner would make.
    session.search(proves=not held)
    return holds.told(session.finish(now, names=lambda placed: numbered(placed, holds.names)))
