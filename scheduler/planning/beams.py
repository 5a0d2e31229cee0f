"""Plans of a small group that grow firing by firing, hundreds of them side by side: where few firings are possible.

A search that takes some firings out and puts them back leaves one dead end seldom: which loads share a firing, and in
what order, hangs together over all of a kiln's days. A group of two kilns and two dozen loads has only some hundred
possible firings (`columns`). Here plans begin empty, the kiln that is free first takes the next firing, and of all
plans of so many firings the most promising go on (beam search: Ow & Morton, Int. J. Prod. Res. 26 (1988) 35). What a
plan promises is what it costs, less what its kilns' time left is worth, more what its loads left cost; both at the
prices of a linear programme that knows of each firing only how long it keeps its kiln on the average.

Hands and current are the group's own business, or nobody's: each plan is put into a timetable in the end, where what
has no place at its time goes elsewhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog

from scheduler.compiling import compiled
from scheduler.planning.bounds import load_bounds
from scheduler.planning.columns import Column, columns_of
from scheduler.planning.dispatch import place_in_stages
from scheduler.planning.problem import FAR, Problem
from scheduler.planning.proof import first_slots
from scheduler.planning.timetable import Timetable

MOST_LOADS = 63
"""Most loads of a group: which of them a plan has fired is written into one word of 64 bits."""

WIDTH = 300
"""Plans of equally many firings that go on [-]. Measured on the glass of five studios of 250 loads: with 1000,
1 % less in one of three that were tried, in half as long again."""

TIGHTNESS = (0.95, 1.0, 1.05, 1.1, 1.2)
"""How much longer than on the average a firing keeps its kiln, as the prices of loads and time see it [-]: where time
is just scarce the prices jump, and which of them leads to the best plan is not known before."""

FROM_EACH = 20
"""Plans of each tightness that are put into the timetable, the cheapest first."""

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class _Times:
    """When each column (c) can start, and what follows.

    ``start`` [2, c, t] is the start that makes a kiln free soonest that is free in slot t, the cheapest of these, and
    the cheapest within a day; -1 where there is none. By column and start: when the kiln is ``free`` [slot], the
    ``cost`` [currency], and when the loads are out [min]. ``cycle`` [c] is how long a kiln is kept on the average.
    """

    start: NDArray[np.int32]
    free: NDArray[np.int32]
    cost: Floats
    out_minutes: NDArray[np.int32]
    cycle: Floats


@dataclass(frozen=True, slots=True, eq=False)
class _Plans:
    """Plans (p) side by side: when each kiln is free [p, k], loads fired [p], when they are out [p, n], cost [p]."""

    free: Ints
    fired: NDArray[np.uint64]
    out_minutes: Ints
    cost: Floats

    def picked(self, rows: NDArray[np.intp]) -> _Plans:
        """Some of the plans."""
        return _Plans(self.free[rows], self.fired[rows], self.out_minutes[rows], self.cost[rows])


@dataclass(frozen=True, slots=True, eq=False)
class _Step:
    """How plans came about: the plan before each, its last column, or -1, and that one's start."""

    before: NDArray[np.intp]
    column: Ints
    start: Ints


def plan_by_beams(timetable: Timetable, most_sets: int) -> bool:
    """Put the best plan that beams find into a group's timetable; False, and as it was, if none is cheaper.

    Nothing is looked for where a firing is fixed, where more than ``most_sets`` sets of loads could share one, nor for
    hot work: most of its loads are by themselves in a kiln that is soon free, and other searches plan it as well.
    """
    problem, batches = timetable.problem, timetable.batches
    is_hot = any(problem.studio.profile_by_id[load.profile].unload == "hot" for load in problem.loads)
    if is_hot or len(problem.loads) > MOST_LOADS or any(firing.fixed for firing in timetable.firings.values()):
        return False
    columns = columns_of(batches, first_slots(batches, load_bounds(batches)), most_sets)
    if not columns:
        return False
    best, cost, before = timetable.snapshot(), timetable.cost(), timetable.cost()
    with batches.with_real_masses():
        for firings in Beam(problem, columns).plans():
            _put(timetable, firings)
            if timetable.cost() < cost - 1e-6:
                best, cost = timetable.snapshot(), timetable.cost()
    timetable.restore(best)
    return cost < before - 1e-6


def _put(timetable: Timetable, firings: Sequence[tuple[Column, int]]) -> None:
    """Put columns at their starts, or as soon after as can be, or anywhere; and what is left where it costs least."""
    timetable.restore(())
    for column, start in sorted(firings, key=lambda firing: (firing[1], firing[0].kiln)):
        for sooner, only in ((0, start), (int(column.loads_at[start]), -1), (0, -1)):
            placed = timetable.best_place(column.batch, column.kiln, column.fit, not_before=sooner, only_start=only)
            if placed is not None and timetable.add_clean(placed):
                break
    place_in_stages(timetable)


class Beam:
    """The possible firings of a group, and the plans made of them."""

    def __init__(self, problem: Problem, columns: Sequence[Column]) -> None:
        self.problem = problem
        self.columns = tuple(columns)
        self.kilns = tuple(sorted({column.kiln for column in columns}))
        self.times = _times(problem, columns)
        self.value = np.array([problem.studio.prices.unplaced * load.priority for load in problem.loads])
        count = len(problem.loads)
        self._bits = np.uint64(1) << np.arange(count, dtype=np.uint64)
        has = np.zeros((len(columns), count), dtype=np.bool_)
        for number, column in enumerate(columns):
            has[number, list(column.batch.loads)] = True
        self._has = has
        self._own = np.where(has, self._bits, np.uint64(0)).sum(axis=1, dtype=np.uint64)
        self._worth = has @ self.value
        self._of_kiln = [np.flatnonzero([column.kiln == kiln for column in columns]) for kiln in self.kilns]
        stages = [(problem.load_number.get(load.after or "", -1), load.gap_minutes) for load in problem.loads]
        self._stages = [(later, earlier, gap) for later, (earlier, gap) in enumerate(stages) if earlier >= 0]
        self._soonest = self._soonest_out()
        self._least_late = self._lateness(self._soonest)

    def _soonest_out(self) -> NDArray[np.int64]:
        """By load and slot from which on a kiln is free, when the load can be out at the soonest [min]."""
        slots = self.problem.slots
        found = np.full((len(self.value), slots + 1), FAR, dtype=np.int64)
        for number, column in enumerate(self.columns):
            start = self.times.start[0, number]
            out = np.where(start >= 0, self.times.out_minutes[number, start], FAR)
            for load in column.batch.loads:
                np.minimum(found[load], out, out=found[load])
        return found

    def _lateness(self, out_minutes: NDArray[np.int64]) -> Floats:
        """What loads cost at least for being late, by load and slot as above; what has no time left has no place."""
        found = np.zeros(out_minutes.shape)
        for column in self.columns:
            if len(column.batch.loads) == 1:
                (load,) = column.batch.loads
                late = np.zeros(out_minutes.shape[1])
                for at, each, once in column.batch.promises:
                    late += np.where(out_minutes[load] > at, once + (out_minutes[load] - at) * each, 0.0)
                found[load] = np.where(out_minutes[load] >= FAR, self.value[load], late)
        return found

    def plans(self) -> Iterator[tuple[tuple[Column, int], ...]]:
        """Plans as columns with their starts, those first that seem the cheapest."""
        found: dict[frozenset[tuple[int, int]], float] = {}
        for tightness in TIGHTNESS:
            for cost, firings in self._grown(*self._prices(tightness)):
                found[frozenset(firings)] = min(cost, found.get(frozenset(firings), cost))
        for plan in sorted(found, key=lambda plan: (found[plan], sorted(plan))):
            yield tuple((self.columns[column], start) for column, start in sorted(plan))

    def _prices(self, tightness: float) -> tuple[Floats, Floats]:
        """What it costs at least to fire a load [currency], and what a slot of each kiln is worth [currency per slot].

        Dual prices of: choose columns so that each load is in one of them, or has no place, and no kiln is kept for
        longer than there is time from its first loading on.
        """
        columns, loads, kilns = len(self.columns), len(self.value), len(self.kilns)
        cost = np.concatenate(([column.least for column in self.columns], self.value))
        once = np.hstack((self._has.T.astype(np.float64), np.eye(loads)))
        kept = np.zeros((kilns, columns + loads))
        spans = np.zeros(kilns)
        for row, numbers in enumerate(self._of_kiln):
            kept[row, numbers] = self.times.cycle[numbers] * tightness
            first = min(int(self.columns[n].loads_at[np.isfinite(self.columns[n].by_start)][0]) for n in numbers)
            spans[row] = self.problem.slots - first
        solved = linprog(cost, A_ub=kept, b_ub=spans, A_eq=once, b_eq=np.ones(loads), method="highs-ds")
        return np.asarray(solved.eqlin.marginals), -np.asarray(solved.ineqlin.marginals)

    def _grown(self, load_prices: Floats, slot_prices: Floats) -> list[tuple[float, list[tuple[int, int]]]]:
        """The cheapest plans that grow by these prices: what each costs by itself [currency], and its columns."""
        loads = len(self.value)
        plans = _Plans(
            free=np.zeros((1, len(self.kilns)), dtype=np.int64),
            fired=np.zeros(1, dtype=np.uint64),
            out_minutes=np.zeros((1, loads), dtype=np.int64),
            cost=np.array([self.value.sum()]),
        )
        steps: list[_Step] = []
        ends: list[tuple[float, int, int]] = []
        while True:
            longer = self._longer(plans)
            if longer is None:
                break
            plans, step = longer
            time_left = np.maximum(0, self.problem.slots - plans.free)
            promise = plans.cost - self._hope(plans, load_prices) - time_left @ slot_prices
            keep = _best(promise, plans)
            plans = plans.picked(keep)
            steps.append(_Step(step.before[keep], step.column[keep], step.start[keep]))
            cheapest = np.argsort(plans.cost, kind="stable")[:FROM_EACH]
            ends += [(float(plans.cost[row]), len(steps) - 1, int(row)) for row in cheapest]
        return [(cost, _traced(steps, level, row)) for cost, level, row in sorted(ends)[:FROM_EACH]]

    def _hope(self, plans: _Plans, load_prices: Floats) -> Floats:
        """What the loads that are left may still save [currency], if they are late at least as they are by now."""
        slots, grid = self.problem.slots, self.problem.grid_minutes
        left = (plans.fired[:, None] & self._bits) == 0
        begin = np.repeat(np.minimum(plans.free.min(axis=1), slots)[:, None], len(self.value), axis=1)
        for later, earlier, gap_minutes in self._stages:
            fired = ~left[:, earlier]
            dry = (
                np.where(fired, plans.out_minutes[:, earlier], self._soonest[earlier, begin[:, earlier]]) + gap_minutes
            )
            begin[:, later] = np.maximum(begin[:, later], np.minimum(np.ceil(dry / grid), slots).astype(np.int64))
        late = self._least_late[np.arange(len(self.value)), begin] - self._least_late[:, 0]
        return np.asarray(np.where(left, np.maximum(0.0, self.value - load_prices - late), 0.0).sum(axis=1))

    def _longer(self, plans: _Plans) -> tuple[_Plans, _Step] | None:
        """All plans with one firing more in the kiln that is free first, or with that kiln shut; None: all are shut."""
        first = plans.free.argmin(axis=1)
        found: list[tuple[_Plans, _Step]] = []
        for kiln in range(len(self.kilns)):
            rows = np.flatnonzero((first == kiln) & (plans.free[:, kiln] < self.problem.slots))
            if len(rows):
                some = plans.picked(rows)
                found += [self._with_firing(some, rows, kiln, way) for way in range(2)]
                shut = some.free.copy()
                shut[:, kiln] = FAR
                none = np.full(len(rows), -1, dtype=np.int64)
                found.append((_Plans(shut, some.fired, some.out_minutes, some.cost), _Step(rows, none, none)))
        if not found:
            return None
        plans_of, steps_of = zip(*found, strict=True)
        return (
            _Plans(
                free=np.concatenate([p.free for p in plans_of]),
                fired=np.concatenate([p.fired for p in plans_of]),
                out_minutes=np.concatenate([p.out_minutes for p in plans_of]),
                cost=np.concatenate([p.cost for p in plans_of]),
            ),
            _Step(
                before=np.concatenate([s.before for s in steps_of]),
                column=np.concatenate([s.column for s in steps_of]),
                start=np.concatenate([s.start for s in steps_of]),
            ),
        )

    def _with_firing(self, plans: _Plans, rows: NDArray[np.intp], kiln: int, way: int) -> tuple[_Plans, _Step]:
        """Each plan with each firing that a kiln can take next, started in one of the two ways of `_Times`."""
        numbers, slots, grid = self._of_kiln[kiln], self.problem.slots, self.problem.grid_minutes
        able = (plans.fired[:, None] & self._own[numbers]) == 0
        begin = np.repeat(np.minimum(plans.free[:, kiln], slots)[:, None], len(numbers), axis=1)
        for later, earlier, gap_minutes in self._stages:
            mine = self._has[numbers, later]
            able &= ((plans.fired & self._bits[earlier]) != 0)[:, None] | ~mine
            dry = np.ceil((plans.out_minutes[:, earlier] + gap_minutes) / grid).astype(np.int64)
            begin = np.where(mine, np.maximum(begin, np.minimum(dry, slots)[:, None]), begin)
        starts = self.times.start[way][numbers, begin]
        row, at = np.nonzero(able & (starts >= 0))
        column, start = numbers[at], starts[row, at].astype(np.int64)
        free = plans.free[row].copy()
        free[:, kiln] = self.times.free[column, start]
        out = np.where(self._has[column], self.times.out_minutes[column, start][:, None], plans.out_minutes[row])
        price = self.problem.studio.prices.firing
        cost = plans.cost[row] + self.times.cost[column, start] + price - self._worth[column]
        return _Plans(free, plans.fired[row] | self._own[column], out, cost), _Step(rows[row], column, start)


def _best(promise: Floats, plans: _Plans) -> NDArray[np.intp]:
    """The plans that go on: the most promising, without those that differ in nothing that is still to come."""
    order = np.argsort(promise, kind="stable")[: 4 * WIDTH]
    seen = np.column_stack((plans.fired[order].astype(np.int64), plans.free[order]))
    _, first = np.unique(seen, axis=0, return_index=True)
    return np.asarray(order[np.sort(first)[:WIDTH]])


def _traced(steps: Sequence[_Step], level: int, row: int) -> list[tuple[int, int]]:
    """The columns of a plan, with their starts, from its last step back."""
    found = []
    for step in reversed(steps[: level + 1]):
        if step.column[row] >= 0:
            found.append((int(step.column[row]), int(step.start[row])))
        row = int(step.before[row])
    return found


def _times(problem: Problem, columns: Sequence[Column]) -> _Times:
    slots, day = problem.slots, 24 * 60 // problem.grid_minutes
    every = np.arange(slots)
    start = np.full((2, len(columns), slots + 1), -1, dtype=np.int32)
    free = np.full((len(columns), slots), FAR, dtype=np.int32)
    out_minutes = np.zeros((len(columns), slots), dtype=np.int32)
    cycle = np.zeros(len(columns))
    for number, column in enumerate(columns):
        phases = column.fit.phases
        able = np.flatnonzero(np.isfinite(column.by_start))
        frees, loads = column.frees_at[able].astype(np.int64), column.loads_at[able].astype(np.int64)
        for way, chosen in enumerate(ways_by_slot(able, loads, frees, column.by_start[able], slots, day)):
            start[way, number] = chosen
        free[number] = np.minimum(column.frees_at, FAR)
        coming = np.append(np.where(np.isfinite(column.late), every, FAR), FAR)
        first = np.minimum.accumulate(coming[::-1])[::-1]
        out = first[np.minimum(every + phases.safe, slots)] + phases.unload
        out_minutes[number] = np.minimum(out, 2 * slots) * problem.grid_minutes
        begins = every[column.ready :][start[0, number, column.ready : slots] >= 0]
        cycle[number] = float((free[number, start[0, number, begins]] - begins).mean()) if len(begins) else slots
    cost = np.array([column.by_start for column in columns])
    return _Times(start, free, cost, out_minutes, cycle)


@compiled
def ways_by_slot(
    able: Ints,
    loads: Ints,
    frees: Ints,
    cost: Floats,
    slots: int,
    day: int,
) -> tuple[Ints, Ints]:
    """By slot in which a kiln is free, two starts: see `_Times`. ``able`` are the possible ones, in order."""
    count = len(able)
    soonest, cheapest = np.full(slots + 1, -1), np.full(slots + 1, -1)
    best = np.arange(count)
    for i in range(count - 2, -1, -1):
        if frees[i + 1] <= frees[i] and cost[best[i + 1]] <= cost[i]:
            best[i] = best[i + 1]
    at = count
    for slot in range(slots, -1, -1):
        while at > 0 and loads[at - 1] >= slot:
            at -= 1
        if at == count:
            continue
        soonest[slot] = able[best[at]]
        least = at
        for i in range(at, count):
            if able[i] >= able[at] + day:
                break
            if cost[i] < cost[least]:
                least = i
        if cost[least] < cost[best[at]] - 0.5:
            cheapest[slot] = able[least]
    return soonest, cheapest
