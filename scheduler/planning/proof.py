"""How near a plan is to the best there is, where a studio's possible firings are few enough to be listed.

All firings are listed as `columns`, with their real masses; `calendar_bound` says what no choice of them can cost less
than, and `listed_model` what the best of them does cost, where energy has one price. The proof is over the plans that
the planner can write: times on the grid, layers as `layers.pack` lays them, phases in whole slots. Clean-outs, and but
for the exact model hands needed in two places at once, are left aside: either can only make a plan dearer.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from scheduler.planning.batches import Batches
from scheduler.planning.bounds import LoadBound, load_bounds
from scheduler.planning.calendar_bound import Calendar, Mask, lay_calendar
from scheduler.planning.columns import Column, columns_of
from scheduler.planning.dispatch import in_stages
from scheduler.planning.insertion import Inserter
from scheduler.planning.listed_model import Timed, has_one_price, listed_answer
from scheduler.planning.problem import Problem
from scheduler.planning.timetable import Timetable

WIDTHS_MINUTES = (240, 120, 60)
"""Stretches of starting times, coarse to fine [min]: each takes about three times as long as the one before."""

COLUMNS_A_SECOND = 250
"""Columns that are listed and priced in a second; measured, 200 to 300 on one core."""

EXACT_SHARE = 0.5
"""Share of the time that is left for the exact model of listed firings, where energy has one price at all hours [-]."""

MOST_WHOLE = 40_000
"""Variables of a programme with whole firings, at most: beyond, it proves nothing in the time it has."""


def first_slots(batches: Batches, bounds: Sequence[LoadBound]) -> list[int]:
    """The first slot in which each load can be loaded in any plan, by its earlier stage alone in an empty studio."""
    problem = batches.problem
    first = []
    for load in problem.loads:
        earlier = problem.load_number.get(load.after or "")
        soonest = 0.0 if earlier is None else bounds[earlier].soonest_minutes + load.gap_minutes
        first.append(problem.slots if math.isinf(soonest) else problem.slots_of(soonest))
    return first


def columns_within(batches: Batches, seconds: float) -> tuple[Column, ...] | None:
    """The studio's columns, where listing them takes no longer than about ``seconds``."""
    most = int(COLUMNS_A_SECOND * seconds)
    return columns_of(batches, first_slots(batches, load_bounds(batches)), most)


def plan_firings(timetable: Timetable, firings: Sequence[Timed]) -> bool:
    """Put listed firings, and loads that these leave out, into the timetable; False, and as it was, if not cheaper.

    The search rounds phases up, so they may not all fit at their own times: then each goes where it is cheapest.
    """
    before, cost = timetable.snapshot(), timetable.cost()
    for in_time in (True, False) if firings else ():
        timetable.restore(())
        _place_in_order(timetable, firings, in_time=in_time)
        if timetable.cost() < cost - 1e-6:
            return True
    timetable.restore(before)
    return False


def _place_in_order(timetable: Timetable, firings: Sequence[Timed], *, in_time: bool) -> None:
    batches = timetable.batches
    for firing in firings:
        batch, kiln = firing.column.batch, firing.column.kiln
        fit = batches.fit(batch, kiln)
        placed = None
        if fit is not None and in_time:
            placed = timetable.best_place(batch, kiln, fit, only_start=firing.start)
        if fit is not None and placed is None:
            not_before = firing.load_at if in_time else 0
            placed = timetable.best_place(batch, kiln, fit, not_before=not_before)
        if placed is not None:
            timetable.add(placed)
    inserter = Inserter(timetable, seed=0)
    missing = [load for load in range(len(timetable.problem.loads)) if load not in timetable.firing_of]
    for load in in_stages(timetable.problem, missing):
        inserter.insert_load(load)


def listed_bounds(
    batches: Batches, columns: Sequence[Column], known_cost: Callable[[], float], seconds: float | None
) -> Iterator[tuple[float, tuple[Timed, ...]]]:
    """What no plan can cost less than, by all its possible firings [currency]: better and better bounds.

    With each come the firings of a plan that may be cheaper than the known one, or none. No bound is above
    ``known_cost``.

    Parameters
    ----------
    known_cost
        Cost of the best plan that is known by now: times that no cheaper plan can have are left out.
    seconds
        How long it may take [s]; None: the coarsest programme only, by itself, so that the answer is repeatable.
    """
    if not columns:
        return
    problem = batches.problem
    ends = math.inf if seconds is None else time.monotonic() + seconds
    starts = [np.isfinite(column.by_start) for column in columns]
    for minutes in WIDTHS_MINUTES if seconds is not None else WIDTHS_MINUTES[:1]:
        known = known_cost()
        found = _calendar(problem, columns, starts, minutes).bound(max(0.01, min(_left(ends), 600.0)))
        yield min(found.bound, known), ()
        # What is left out costs at least as much as the known plan, so a bound of the rest holds up to its cost.
        starts = [able & (more <= known - found.bound) for able, more in zip(starts, found.beyond, strict=True)]
        if seconds is not None and minutes == WIDTHS_MINUTES[0] and _left(ends) > 0.0 and has_one_price(columns):
            answer = listed_answer(problem, columns, starts, known_cost(), EXACT_SHARE * _left(ends))
            yield answer.bound, answer.firings
            if answer.proved:
                return
    if seconds is None:
        return
    for minutes in WIDTHS_MINUTES:
        calendar = _calendar(problem, columns, starts, minutes)
        if _left(ends) <= 0.0 or len(calendar.costs) > MOST_WHOLE:
            return
        yield min(calendar.whole_bound(_left(ends)), known_cost()), ()


def _calendar(problem: Problem, columns: Sequence[Column], starts: Sequence[Mask], minutes: int) -> Calendar:
    return lay_calendar(problem, columns, starts, max(1, minutes // problem.grid_minutes))


def _left(ends: float) -> float:
    return ends - time.monotonic()
