"""How near a plan is to the best there is, where a studio's possible firings are few enough to be listed.

All firings are listed as `columns`, with their real masses; `calendar_bound` says what no choice of them can cost less
than. The proof is over the plans that the planner can write: times on the grid, layers as `layers.pack` lays them,
phases in whole slots. Clean-outs and hands needed in two places at once are left aside: either can only make a plan
dearer.
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence

import numpy as np

from scheduler.planning.batches import Batches
from scheduler.planning.bounds import LoadBound, load_bounds
from scheduler.planning.calendar_bound import lay_calendar
from scheduler.planning.columns import Column, columns_of
from scheduler.planning.dispatch import in_stages
from scheduler.planning.insertion import Inserter
from scheduler.planning.timetable import Timetable

WIDTHS_MINUTES = (240, 120, 60)
"""Stretches of starting times, coarse to fine [min]: each takes about three times as long as the one before."""

COLUMNS_A_SECOND = 250
"""Columns that are listed and priced in a second; measured, 200 to 300 on one core."""

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


Chosen = tuple[tuple[int, Column], ...]


def chosen_firings(batches: Batches, columns: Sequence[Column], seconds: float) -> Chosen:
    """The firings that a good plan would be made of, in order of starting, by the coarsest programme."""
    problem = batches.problem
    starts = [np.isfinite(column.by_start) for column in columns]
    width = max(1, WIDTHS_MINUTES[0] // problem.grid_minutes)
    calendar = lay_calendar(problem, columns, starts, width)
    return calendar.whole(seconds).chosen if columns and len(calendar.costs) <= MOST_WHOLE else ()


def plan_firings(timetable: Timetable, chosen: Chosen) -> bool:
    """Put chosen firings, and loads that these leave out, into the timetable; False, and as it was, if not cheaper."""
    before, cost = timetable.snapshot(), timetable.cost()
    timetable.restore(())
    batches = timetable.batches
    for _, column in chosen:
        fit = batches.fit(column.batch, column.kiln)
        placed = None if fit is None else timetable.best_place(column.batch, column.kiln, fit)
        if placed is not None:
            timetable.add(placed)
    inserter = Inserter(timetable, seed=0)
    missing = [load for load in range(len(timetable.problem.loads)) if load not in timetable.firing_of]
    for load in in_stages(timetable.problem, missing):
        inserter.insert_load(load)
    if timetable.cost() < cost - 1e-6:
        return True
    timetable.restore(before)
    return False


def listed_bound(
    batches: Batches, columns: Sequence[Column], known_cost: float, seconds: float | None
) -> tuple[float, Chosen]:
    """What no plan can cost less than, by all its possible firings [currency]; never above ``known_cost``.

    With it come the firings of the finest programme that was solved, where there was time for one.

    Parameters
    ----------
    known_cost
        Cost of a plan that is known: times that no cheaper plan can have are left out.
    seconds
        How long it may take [s]; None: the coarsest programme only, by itself, so that the answer is repeatable.
    """
    if not columns:
        return 0.0, ()
    problem = batches.problem
    begun = time.monotonic()
    starts = [np.isfinite(column.by_start) for column in columns]
    best = 0.0
    chosen: Chosen = ()
    for minutes in WIDTHS_MINUTES if seconds is not None else WIDTHS_MINUTES[:1]:
        left = math.inf if seconds is None else seconds - (time.monotonic() - begun)
        if left <= 0.0:
            break
        calendar = lay_calendar(problem, columns, starts, max(1, minutes // problem.grid_minutes))
        found = calendar.bound(min(left, 600.0))
        best = max(best, min(found.bound, known_cost))
        # What is left out costs at least as much as the known plan, so a bound of the rest holds up to its cost.
        starts = [beyond <= known_cost - found.bound for beyond in found.beyond]
        left = 0.0 if seconds is None else seconds - (time.monotonic() - begun)
        if left > 0.0 and len(calendar.costs) <= MOST_WHOLE:
            whole = calendar.whole(left)
            best = max(best, min(whole.bound, known_cost))
            chosen = whole.chosen or chosen
    return best, chosen
