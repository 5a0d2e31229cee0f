"""Late loads that need not be, and firings in which something is at stake: where a search has something to gain.

What was promised for a time at which it cannot be out even in an empty studio stays late wherever it goes; looking for
room for it is in vain. Where lateness costs by the hour such a load can still be less late, and counts.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from scheduler.planning.batches import Batches
from scheduler.planning.clean_outs import NO_CLEAN_OUTS
from scheduler.planning.soonest import soonest
from scheduler.planning.timetable import Placed, Timetable, out_minutes

SLIGHTLY = 1e-6
"""Lateness that costs no more than this cannot be avoided [currency]."""

STAKE = 0.8
"""Share of the rounds that look at nothing behind the last promise that can be kept, where hours late cost nothing [-].
Of six published instances of 250 and 500 jobs 8 to 92 % of the firings stand there. Measured with all of this module
and `rivals`, 60 s: mean gap to the best known costs of ten instances of 500 jobs -0.19 % where it was 0.06 %; of ten of
250 jobs -0.06 % as before."""


def late_firings(timetable: Timetable) -> list[int]:
    """Firings that are not fixed and have a load that could be less late."""
    return [
        number
        for number, firing in timetable.firings.items()
        if firing.late_cost > 0.0 and not firing.fixed and avoidable_cost(timetable, firing) > SLIGHTLY
    ]


def avoidable_cost(timetable: Timetable, firing: Placed) -> float:
    """What a firing's loads cost for being late, beyond the least that each costs for it [currency]."""
    return firing.late_cost - sum([least_late_cost(timetable.batches, load) for load in firing.batch.loads])


def overdue_load(timetable: Timetable, random: np.random.Generator, late: list[int]) -> tuple[int, int, int] | None:
    """One of some late firings at random, one of its `overdue_loads`, and when that was promised; None: there is none.

    The promise in minutes after the plan's begin.
    """
    number = late[int(random.integers(len(late)))] if late else None
    overdue = [] if number is None else overdue_loads(timetable, timetable.firings[number])
    if number is None or not overdue:
        return None
    load, due_minutes = overdue[int(random.integers(len(overdue)))]
    return number, load, due_minutes


def overdue_loads(timetable: Timetable, firing: Placed) -> list[tuple[int, int]]:
    """The loads of a firing that could be less late, and when they were promised [min after the plan's begin]."""
    problem, batches = timetable.problem, timetable.batches
    out = out_minutes(firing, problem.grid_minutes)
    overdue: list[tuple[int, int]] = []
    for load in firing.batch.loads:
        promised = problem.loads[load].promised
        if promised is None or promised - problem.begin >= out:
            continue
        alone = batches.make(problem.loads[load].profile, (load,))
        if alone is None or alone.late_cost(out) > least_late_cost(batches, load) + SLIGHTLY:
            overdue.append((load, promised - problem.begin))
    return overdue


def least_late_cost(batches: Batches, load: int) -> float:
    """What a load costs at least for being late [currency]: by itself, as soon as it can be out, all kilns empty.

    Earlier stages, and firings of other profiles that it may join, are left aside; 0 for what has no place by itself.
    """
    known = batches.least_late_costs
    if load not in known:
        known[load] = _least_late_cost(batches, load)
    return known[load]


def _least_late_cost(batches: Batches, load: int) -> float:
    problem = batches.problem
    alone = batches.make(problem.loads[load].profile, (load,))
    if alone is None or not alone.promises:
        return 0.0
    # Other loads may have been fired before it, so that it asks for no clean-out.
    empty = Timetable(replace(problem, clean_outs=NO_CLEAN_OUTS), batches)
    first = soonest(empty, alone, stages=None)
    return 0.0 if first is None else alone.late_cost(out_minutes(first, problem.grid_minutes))


def last_hope_slot(batches: Batches) -> int:
    """The first slot after all promises that can be kept."""
    if batches.last_hope_slot is None:
        problem = batches.problem
        promised = [
            load.promised
            for number, load in enumerate(problem.loads)
            if load.promised is not None and least_late_cost(batches, number) <= SLIGHTLY
        ]
        batches.last_hope_slot = max(0, problem.slot_after(max(promised, default=problem.begin)))
    return batches.last_hope_slot


def at_stake(timetable: Timetable, numbers: list[int], random: np.random.Generator) -> list[int]:
    """Of some firings mostly those before the last promise that can be kept, where hours late cost nothing."""
    if timetable.problem.studio.prices.late_hour or random.random() > STAKE:
        return numbers
    last = last_hope_slot(timetable.batches)
    return [number for number in numbers if timetable.firings[number].place.load < last] or numbers
