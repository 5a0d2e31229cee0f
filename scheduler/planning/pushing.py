"""A neighbourhood that pushes firings aside: a late load first, then what was in its way, in the same order.

Where the firings of a kiln stand as early as they can, a late load finds no gap though all of them have time to spare.
Taken out and put back behind it in their order, they move by just what it needs (the insertion with shifted successors
of job-shop scheduling, as in Dell'Amico & Trubian, Annals of Operations Research 41 (1993) 231).
"""

from __future__ import annotations

import numpy as np

from scheduler.planning.overdue import late_firings, overdue_load
from scheduler.planning.timetable import Timetable

PUSH = "a late load, pushing aside what is in its way"

TRIALS = 12
"""Late loads that are looked at, until one has something in its way."""

MOST_PUSHED = 8
"""Most firings in a row that are pushed."""


def in_the_way(timetable: Timetable, random: np.random.Generator) -> tuple[int, list[int]] | None:
    """A late load, and firings in a row of one kiln that could fire it in time; None where none is found."""
    late = late_firings(timetable)
    for _ in range(TRIALS if late else 0):
        overdue = overdue_load(timetable, random, late)
        if overdue is None:
            continue
        own, load, due_minutes = overdue
        row = [number for number in _row(timetable, random, load, due_minutes) if number != own]
        if row:
            return load, row[: int(random.integers(1, MOST_PUSHED + 1))]
    return None


def _row(timetable: Timetable, random: np.random.Generator, load: int, due_minutes: int) -> list[int]:
    """Firings in a row of a kiln, from one before or in which the load could still be fired in time."""
    problem, batches = timetable.problem, timetable.batches
    alone = batches.make(problem.loads[load].profile, (load,))
    able = [] if alone is None else batches.kilns_for(alone)
    if alone is None or not able:
        return []
    kiln = able[int(random.integers(len(able)))]
    fit = batches.fit(alone, kiln)
    assert fit is not None  # `kilns_for` names only such kilns
    last = due_minutes // problem.grid_minutes - fit.phases.safe
    row = [(load_at, number) for load_at, free, number in timetable.busy(kiln) if number >= 0 and free > alone.ready]
    row = [(load_at, number) for load_at, number in row if not timetable.firings[number].fixed]
    in_time = sum(load_at <= last for load_at, _ in row)
    return [number for _, number in row[int(random.integers(in_time)) :]] if in_time else []
