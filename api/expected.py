"""When each firing of a kiln is now to be expected, by what was noted and read of it and of those before it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

from api.day import Day, FiringOnDay, Task, tasks_of
from api.storage.tables import FiringRecord
from shared.clock import Minute, minute_of
from shared.kilns import Kiln
from shared.plans import Firing

UNDER_WAY = ("loaded", "started")
"""States of a record whose firing is in the kiln."""

AS_PLANNED_MINUTES = 5
"""Up to this far from its planned time a step counts as planned [min]; our own choice, the grid that plans have if the
studio says nothing: a tap comes a little after the hand, and a card full of minutes hides what has really moved."""


@dataclass(frozen=True, slots=True)
class Expected:
    """The times of one firing as now expected [min]; a step that was noted stays where it was planned.

    Attributes
    ----------
    safe_at
        When it is safe to open, or ready for its session.
    """

    clean_out_at: Minute
    load_at: Minute
    start_at: Minute
    hot_until: Minute
    safe_at: Minute
    unload_at: Minute
    out_at: Minute
    free_at: Minute


def expected_of_kiln(day: Day, kiln: Kiln, kept: Mapping[str, FiringRecord], now: Minute) -> dict[str, Expected]:
    """What is expected of each firing of a kiln, by its id.

    A firing of which nothing was noted is taken to go as planned: a studio may simply not note. One that was started
    late, or that reads behind its course, ends by as much later; it is opened when it is safe and somebody is there,
    and what is to be loaded after it waits until the kiln is free.
    """
    found = {}
    free_at: Minute | None = None
    for firing in day.audited.firings_of(kiln.id):
        found[firing.id] = expected = _expected(day, firing, kiln, kept.get(firing.id), now, free_at)
        free_at = expected.free_at if expected.free_at > firing.free_at else None
    return found


def _expected(
    day: Day, firing: Firing, kiln: Kiln, kept: FiringRecord | None, now: Minute, free_at: Minute | None
) -> Expected:
    clean_at, load_at = firing.clean_out_at, firing.load_at
    if kept is None and free_at is not None and free_at > firing.clean_out_at:
        clean_at = day.first_staffed(free_at)
        load_at = max(load_at, clean_at + firing.clean_out_minutes)
    start_at = firing.start_at
    if load_at > firing.load_at:
        start_at = max(start_at, load_at + -int(-kiln.load_minutes // 1))
    started = _minute(kept.started_at) if kept is not None else None
    begins = started if started is not None else start_at
    if started is None and kept is not None and kept.state in UNDER_WAY:
        # It has not started: whatever comes after is later by as much.
        begins = max(begins, now)
    late = begins - firing.start_at
    off = kept.expected_hot_until if kept is not None else None
    safe = kept.expected_safe_at if kept is not None else None
    hot_until = off if off is not None else firing.hot_until + late
    safe_at = safe if safe is not None else firing.safe_at + late
    unload_at = firing.unload_at
    hot = day.studio.profile_by_id[firing.profile].unload == "hot"
    if safe_at > unload_at:
        unload_at = safe_at if hot else day.first_staffed(safe_at)
    opened = _minute(kept.opened_at) if kept is not None else None
    later = max(0, (opened if opened is not None else unload_at) - firing.unload_at)
    if opened is not None:
        unload_at = firing.unload_at
    if hot:
        # The elements go off when the session is over.
        hot_until = max(hot_until, firing.hot_until + unload_at - firing.unload_at)
    return Expected(
        clean_out_at=clean_at,
        load_at=load_at,
        start_at=start_at,
        hot_until=hot_until,
        safe_at=safe_at,
        unload_at=unload_at,
        out_at=unload_at + firing.out_at - firing.unload_at,
        free_at=firing.free_at + later,
    )


def tasks_expected(day: Day, shown: FiringOnDay, expected: Expected) -> tuple[Task, ...]:
    """What people do at a firing, at the times that are now expected and with whoever is there then.

    They come in the same order as the plan's own, `tasks_of`.
    """
    at = {
        "clean": expected.clean_out_at,
        "load": expected.load_at,
        "start": expected.start_at,
        "look": expected.hot_until,
        "open": expected.unload_at,
        "session": expected.unload_at,
    }
    return tuple(_moved(day, task, at[task.kind]) for task in tasks_of(shown))


def _moved(day: Day, task: Task, at: Minute) -> Task:
    if abs(at - task.at) <= AS_PLANNED_MINUTES:
        return task
    until = at + task.until - task.at
    if task.kind == "start":
        return replace(task, at=at, until=until)
    skill = task.firing.profile.skill if task.kind == "session" else None
    return replace(task, at=at, until=until, people=day.people_at(at, until, skill))


def _minute(moment: datetime | None) -> Minute | None:
    return None if moment is None else minute_of(moment)
