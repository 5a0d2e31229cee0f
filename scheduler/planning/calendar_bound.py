"""The bound of firings in a calendar: each load once, stages in order, kilns and legs no fuller than they can be.

A linear programme over columns and stretches of starting times. A firing that starts within a stretch surely keeps its
kiln from the latest loading to the soonest end of that stretch, and heats in the middle of it; at chosen moments a kiln
has one firing at most, and a leg no more than its amps. This is the time-indexed relaxation (Dyer & Wolsey, Discrete
Applied Mathematics 26 (1990) 255) with stretches for its moments: the finer the stretches, the stronger.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csr_matrix

from scheduler.planning.columns import Column
from scheduler.planning.crowding import crowds
from scheduler.planning.problem import Problem

SAFE = 1e-6
"""Kept between the bound and what is computed, for rounding in sums [currency]."""

MIP_SAFE = 1e-3
"""The same for a bound with whole firings, whose solver works to a millionth of each sum [currency]."""

Mask = NDArray[np.bool_]
Three = tuple[int, int, int]

MOST_CUT_OFF = 40
"""Threes of loads that are named after one solution, at most."""


@dataclass(frozen=True, slots=True, eq=False)
class CalendarBound:
    """The bound [currency], and what each column costs beyond it by starting slot.

    ``cut_off`` are threes of loads that would raise the bound, were they among the programme's ``threes``.
    """

    bound: float
    beyond: tuple[NDArray[np.float64], ...]
    cut_off: tuple[Three, ...]


@dataclass(slots=True)
class _Rows:
    """A sparse matrix in the making."""

    at: list[int]
    column: list[int]
    value: list[float]

    def add(self, row: int, column: int, value: float) -> None:
        self.at.append(row)
        self.column.append(column)
        self.value.append(value)

    def matrix(self, rows: int, columns: int) -> csr_matrix:
        return csr_matrix((self.value, (self.at, self.column)), shape=(rows, columns))


@dataclass(frozen=True, slots=True, eq=False)
class Calendar:
    """The programme: costs, each load once (``each_once``), room in kilns and on legs; stretches by column.

    ``in_room`` holds the order of stages too, whose rows have the limit nought (``limits``) where room has one.
    """

    problem: Problem
    columns: tuple[Column, ...]
    costs: NDArray[np.float64]
    each_once: csr_matrix
    in_room: csr_matrix
    limits: NDArray[np.float64]
    stretches: tuple[tuple[tuple[NDArray[np.int64], int], ...], ...]

    def bound(self, seconds: float = 60.0) -> CalendarBound:
        """What no plan made of the columns, in their stretches, can cost less than.

        Notes
        -----
        The bound is worked out afresh from the dual values with what is below nought added, so it holds even where the
        programme was solved roughly or not at all.
        """
        loads = self.each_once.shape[0]
        solved = linprog(  # type: ignore[call-overload]  # the stubs know no sparse matrices
            self.costs,
            A_ub=self.in_room,
            b_ub=self.limits,
            A_eq=self.each_once,
            b_eq=np.ones(loads),
            bounds=(0, 1),
            method="highs-ds",
            options={"time_limit": seconds},
        )
        each, full = np.zeros(loads), np.zeros(self.in_room.shape[0])
        cut_off: tuple[Three, ...] = ()
        if solved.status == 0:
            cut_off = _cut_off(self.columns, [float(solved.x[[n for _, n in own]].sum()) for own in self.stretches])
            each, full = np.asarray(solved.eqlin.marginals), np.minimum(0.0, np.asarray(solved.ineqlin.marginals))
        beyond = self.costs - self.each_once.T @ each - self.in_room.T @ full
        bound = float(each.sum() + full @ self.limits + np.minimum(0.0, beyond).sum()) - SAFE
        beyond = np.maximum(0.0, beyond)
        by_slot = []
        for column, own in zip(self.columns, self.stretches, strict=True):
            row = np.full(self.problem.slots, np.inf)
            for slots, number in own:
                row[slots] = beyond[number] + column.by_start[slots] - float(column.by_start[slots].min())
            by_slot.append(row)
        return CalendarBound(bound, tuple(by_slot), cut_off)

    def whole_bound(self, seconds: float) -> float:
        """The same bound with whole firings instead of parts of them, as far as it is proved in the time [currency]."""
        solved = milp(
            self.costs,
            constraints=[LinearConstraint(self.each_once, 1, 1), LinearConstraint(self.in_room, -np.inf, self.limits)],
            integrality=np.ones(len(self.costs), dtype=np.int64),
            bounds=Bounds(0, 1),
            options={"time_limit": seconds, "mip_rel_gap": 0.0},
        )
        proved = getattr(solved, "mip_dual_bound", None)
        return -np.inf if proved is None or not np.isfinite(proved) else float(proved) - MIP_SAFE


def lay_calendar(
    problem: Problem, columns: Sequence[Column], starts: Sequence[Mask], width: int, threes: Sequence[Three] = ()
) -> Calendar:
    """The programme of ``columns`` started in ``starts``, in stretches of ``width`` slots.

    Of the firings that hold two or more of any ``threes`` of loads there is one at most, which parts of firings forget:
    three halves of AB, BC and AC (the subset-row inequalities of Jepsen et al., Operations Research 56 (2008) 497).
    """
    prices = problem.studio.prices
    moments = len(range(0, problem.slots, width))
    once, room = _Rows([], [], []), _Rows([], [], [])
    costs: list[float] = []
    stretches: list[tuple[tuple[NDArray[np.int64], int], ...]] = []
    shares, limited = _shares(problem)
    for column, able in zip(columns, starts, strict=True):
        own: list[tuple[NDArray[np.int64], int]] = []
        for slots in _stretches(able & np.isfinite(column.by_start), width):
            number = len(costs)
            costs.append(float(column.by_start[slots].min()) + prices.firing)
            own.append((slots, number))
            for load in column.batch.loads:
                once.add(load, number, 1.0)
            first, last = int(column.loads_at[slots].max()), int(column.frees_at[slots].min())
            for moment in _between(first, last, width, moments):
                room.add(column.kiln * moments + moment, number, 1.0)
            first, last = int(slots.max()), int(slots.min()) + column.fit.phases.hot
            for row, share in shares[column.kiln]:
                for moment in _between(first, last, width, moments):
                    room.add((len(problem.kilns) + row) * moments + moment, number, share)
        stretches.append(tuple(own))
    rows = (len(problem.kilns) + limited) * moments
    _hold_two(columns, stretches, threes, room, rows)
    rows += len(threes)
    stages = _order_of_stages(problem, columns, stretches, room, rows, width)
    for load, row_of in enumerate(problem.loads):
        once.add(load, len(costs), 1.0)
        costs.append(prices.unplaced * row_of.priority)
    in_room = room.matrix(rows + stages, len(costs))
    # A row of one firing binds nothing, unless it is a later stage that has no earlier one in time.
    kept = np.flatnonzero((np.diff(in_room.indptr) > 1) | (np.arange(rows + stages) >= rows))
    limits = np.where(kept < rows, 1.0, 0.0)
    each_once = once.matrix(len(problem.loads), len(costs))
    return Calendar(problem, tuple(columns), np.array(costs), each_once, in_room[kept], limits, tuple(stretches))


def _hold_two(
    columns: Sequence[Column],
    stretches: Sequence[tuple[tuple[NDArray[np.int64], int], ...]],
    threes: Sequence[Three],
    room: _Rows,
    first_row: int,
) -> None:
    """A row for each of ``threes`` of loads: the firings that hold two or more of them."""
    for column, own in zip(columns, stretches, strict=True):
        for row, three in enumerate(threes, start=first_row):
            if len(set(three) & set(column.batch.loads)) > 1:
                for _, number in own:
                    room.add(row, number, 1.0)


def _cut_off(columns: Sequence[Column], chosen: Sequence[float]) -> tuple[Three, ...]:
    """Threes of loads of which more than one firing holds two or more, by the parts ``chosen``; the worst first."""
    parts = [
        (set(column.batch.loads), part) for column, part in zip(columns, chosen, strict=True) if 1e-6 < part < 1 - 1e-6
    ]
    parts = [(loads, part) for loads, part in parts if len(loads) > 1]
    over: list[tuple[float, Three]] = []
    for three in combinations(sorted(set().union(*(loads for loads, _ in parts))), 3):
        held = sum(part for loads, part in parts if len(loads.intersection(three)) > 1)
        if held > 1.0 + 1e-3:
            over.append((-held, three))
    return tuple(three for _, three in sorted(over)[:MOST_CUT_OFF])


def _order_of_stages(
    problem: Problem,
    columns: Sequence[Column],
    stretches: Sequence[tuple[tuple[NDArray[np.int64], int], ...]],
    room: _Rows,
    first_row: int,
    width: int,
) -> int:
    """Rows that say: what is loaded by a moment had its earlier stage out, and dry, by then; and how many rows.

    For each moment, the later stages surely loaded by it are no more than the earlier ones possibly out in time: the
    disaggregated precedence of time-indexed programmes (Christofides et al., EJOR 29 (1987) 262).
    """
    rows = 0
    of_load: dict[int, list[int]] = {}
    for number, column in enumerate(columns):
        for load in column.batch.loads:
            of_load.setdefault(load, []).append(number)
    for later, row in enumerate(problem.loads):
        earlier = problem.load_number.get(row.after or "")
        if earlier is None:
            continue
        loaded = [
            (int(columns[number].loads_at[slots].max()), variable)
            for number in of_load.get(later, [])
            for slots, variable in stretches[number]
        ]
        out = [
            (_soonest_out(problem, columns[number], slots), variable)
            for number in of_load.get(earlier, [])
            for slots, variable in stretches[number]
        ]
        for moment in range(0, problem.slots, width):
            before = [variable for at, variable in loaded if moment - width < at <= moment]
            if not before:
                continue
            for at, variable in loaded:
                if at <= moment:
                    room.add(first_row + rows, variable, 1.0)
            for minutes, variable in out:
                if minutes <= moment * problem.grid_minutes - row.gap_minutes:
                    room.add(first_row + rows, variable, -1.0)
            rows += 1
    return rows


def _soonest_out(problem: Problem, column: Column, slots: NDArray[np.int64]) -> int:
    """Minutes into the plan at which a firing that starts in a stretch is out at the soonest."""
    able = np.flatnonzero(np.isfinite(column.late))
    phases = column.fit.phases
    first = int(able[np.searchsorted(able, int(slots.min()) + phases.safe)])
    return first * problem.grid_minutes + phases.out_minutes


def _stretches(able: Mask, width: int) -> list[NDArray[np.int64]]:
    slots = np.flatnonzero(able)
    if len(slots) == 0:
        return []
    return np.split(slots, np.flatnonzero(np.diff(slots // width)) + 1)


def _between(first: int, last: int, width: int, count: int) -> range:
    """Numbers of the moments, ``width`` slots apart, in ``[first, last)``."""
    return range(-(-first // width), min(count, -(-last // width)))


def _shares(problem: Problem) -> tuple[list[list[tuple[int, float]]], int]:
    """By kiln, what it takes of each row of what may heat at once, as a share of it; and how many rows there are.

    The rows are the legs that all their kilns together overload, and the `crowding.crowds`.
    """
    drawn = np.zeros(len(problem.line_limit), dtype=np.int64)
    for lines, amps in zip(problem.kiln_lines, problem.kiln_amps, strict=True):
        drawn[lines] += amps
    tight = [int(line) for line in np.flatnonzero(drawn > problem.line_limit)]
    together = crowds(problem)
    shares = [
        [(row, amps / int(problem.line_limit[line])) for row, line in enumerate(tight) if line in lines]
        + [(row, 1.0 / crowd.at_most) for row, crowd in enumerate(together, start=len(tight)) if kiln in crowd.kilns]
        for kiln, (lines, amps) in enumerate(zip(problem.kiln_lines, problem.kiln_amps, strict=True))
    ]
    return shares, len(tight) + len(together)
