"""How near a plan is to the best there is, where a studio's possible firings are few enough to be listed.

All firings are listed as `columns`, with their real masses; `calendar_bound` says what no choice of them can cost less
than, and `listed_model` what the best of them does cost. The exact model is asked for a plan just above the bound,
then for one further off: near it so few starts are possible that one is soon found, or none proved to be there. The
proof is over the plans that the planner can write: times on the grid, layers as `layers.pack` lays them, phases in
whole slots. Clean-outs are left aside, which can only make a plan dearer.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from scheduler.planning.batches import Batches
from scheduler.planning.bounds import LoadBound
from scheduler.planning.calendar_bound import Calendar, CalendarBound, Mask, Three, lay_calendar
from scheduler.planning.columns import Column, columns_of
from scheduler.planning.dispatch import place_in_stages
from scheduler.planning.listed_model import ListedAnswer, Timed, listed_answer
from scheduler.planning.problem import Problem
from scheduler.planning.timetable import Timetable

WIDTHS_MINUTES = (240, 120, 60)
"""Stretches of starting times, coarse to fine [min]: each takes about three times as long as the one before."""

COLUMNS_A_SECOND = 250
"""Columns that are listed and priced in a second; measured, 200 to 300 on one core."""

GAPS = (0.0002, 0.001, 0.005, 0.01, 0.02, 0.04, 0.08, math.inf)
"""How far above its bound a plan is looked for, at first, then, last [-]: the nearer, the fewer times are possible."""

MOST_LISTED = 3000
"""Columns at most, however long the search is: each takes 48 bytes a slot, 200 kB in two weeks of five minutes, and
beyond so many no programme proves much."""

EXACT_SHARE = 0.7
"""Share of the time that is left for the exact model of listed firings [-]."""

RAISED = 1e-4
"""Cutting threes of loads off goes on while it raises the bound by that [currency]."""

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


def columns_within(
    batches: Batches, bounds: Sequence[LoadBound], seconds: float, most: int = MOST_LISTED
) -> tuple[Column, ...] | None:
    """The studio's columns, where they are no more than ``most``, and listing them takes no longer than ``seconds``."""
    return columns_of(batches, first_slots(batches, bounds), min(most, int(COLUMNS_A_SECOND * seconds)))


def plan_firings(timetable: Timetable, firings: Sequence[Timed]) -> bool:
    """Put listed firings, and loads that these leave out, into the timetable; False, and as it was, if not cheaper.

    They go where they are said to be, with their real masses. Where that cannot be, since a clean-out is wanted between
    two of them, each goes where it is cheapest beside the others.
    """
    before, cost = timetable.snapshot(), timetable.cost()
    with timetable.batches.with_real_masses():
        for place in (_place_as_listed, _place_at_starts, _place_in_order) if firings else ():
            timetable.restore(())
            place(timetable, firings)
            place_in_stages(timetable)
            if timetable.cost() < cost - 1e-6 and timetable.is_sound():
                return True
    timetable.restore(before)
    return False


def _place_as_listed(timetable: Timetable, firings: Sequence[Timed]) -> None:
    for firing in firings:
        column = firing.column
        at = firing.load_at, firing.start, firing.unload
        timetable.add(timetable.placed_at(column.batch, column.kiln, column.fit, *at))


def _place_at_starts(timetable: Timetable, firings: Sequence[Timed]) -> None:
    for firing in firings:
        column = firing.column
        placed = timetable.best_place(column.batch, column.kiln, column.fit, only_start=firing.start)
        if placed is None:
            placed = timetable.best_place(column.batch, column.kiln, column.fit, not_before=firing.load_at)
        if placed is not None:
            timetable.add(placed)


def _place_in_order(timetable: Timetable, firings: Sequence[Timed]) -> None:
    for firing in firings:
        placed = timetable.best_place(firing.column.batch, firing.column.kiln, firing.column.fit)
        if placed is not None:
            timetable.add(placed)


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
    ends = math.inf if seconds is None else time.monotonic() + seconds
    listing = _Listing(batches.problem, columns, ends)
    every = [np.isfinite(column.by_start) for column in columns]
    coarse = listing.bound(every, WIDTHS_MINUTES[0])
    yield min(coarse.bound, known_cost()), ()
    if seconds is None:
        return
    for bound, answer in _exact_bounds(listing, every, coarse, known_cost):
        yield bound, () if answer is None else answer.firings
        if answer is not None and answer.proved and (answer.firings or bound >= known_cost()):
            return
    starts = cheaper_than(known_cost(), every, coarse)
    for minutes in WIDTHS_MINUTES:
        calendar = listing.calendar(starts, minutes)
        if listing.left() <= 0.0 or len(calendar.costs) > MOST_WHOLE:
            return
        yield min(calendar.whole_bound(listing.left()), known_cost()), ()


def _exact_bounds(
    listing: _Listing, every: Sequence[Mask], coarse: CalendarBound, known_cost: Callable[[], float]
) -> Iterator[tuple[float, ListedAnswer | None]]:
    """Bounds by a plan looked for further and further above the coarse one; the exact model's answers with them."""
    bound = coarse.bound
    for gap in GAPS:
        known = known_cost()
        if bound >= known or listing.left() <= 0.0:
            return
        limit = min(known, bound * (1.0 + gap))
        starts = cheaper_than(limit, every, coarse)
        for minutes in WIDTHS_MINUTES[1:]:
            found = listing.bound(starts, minutes)
            yield min(found.bound, limit), None
            starts = cheaper_than(limit, starts, found)
        answer = listed_answer(listing.problem, listing.columns, starts, limit, EXACT_SHARE * listing.left())
        bound = max(bound, answer.bound)
        yield bound, answer
        if answer.firings or not answer.proved:
            return


def cheaper_than(limit: float, starts: Sequence[Mask], found: CalendarBound) -> list[Mask]:
    """The starts that a plan cheaper than ``limit`` may have.

    What is left out costs at least as much as the limit, so a bound of the rest holds up to it.
    """
    return [able & (more <= limit - found.bound) for able, more in zip(starts, found.beyond, strict=True)]


class _Listing:
    """The programmes of listed firings, with the threes of loads that were found for them so far, until time is up."""

    def __init__(self, problem: Problem, columns: Sequence[Column], ends: float) -> None:
        self.problem = problem
        self.columns = columns
        self._ends = ends
        self._threes: list[Three] = []

    def left(self) -> float:
        """Seconds left [s]."""
        return self._ends - time.monotonic()

    def calendar(self, starts: Sequence[Mask], minutes: int) -> Calendar:
        """The programme of firings started in ``starts``."""
        width = max(1, minutes // self.problem.grid_minutes)
        return lay_calendar(self.problem, self.columns, starts, width, self._threes)

    def bound(self, starts: Sequence[Mask], minutes: int) -> CalendarBound:
        """The bound by firings started in ``starts``, threes of loads cut off for as long as that raises it."""
        best = None
        while True:
            found = self.calendar(starts, minutes).bound(max(0.01, min(self.left(), 600.0)))
            if best is not None and found.bound < best.bound + RAISED:
                return best
            best = found
            new = [three for three in found.cut_off if three not in self._threes]
            if not new:
                return best
            self._threes += new
