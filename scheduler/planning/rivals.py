"""A neighbourhood of firings near in time, with late loads that could have been in time among them.

Firings that are taken out and put back decide anew how their own loads share kilns and time, and nothing of which
loads these are. Here late loads come out as well that want the same time, and compete for it.
"""

from __future__ import annotations

import numpy as np

from scheduler.planning.overdue import at_stake, late_firings, overdue_loads
from scheduler.planning.thinning import nearest
from scheduler.planning.timetable import Timetable

RIVALS = "firings near in time, and late loads that could be in their time"

MOST_FIRINGS, MOST_RIVALS = 5, 8
"""Most firings that are taken out, and most late loads beside theirs."""

ANY_KILN = 0.5
"""Share of the rounds in which the firings are of any kilns, not of one [-]."""


def rivals(timetable: Timetable, random: np.random.Generator) -> tuple[list[int], list[int]] | None:
    """Late loads, and firings near one another in time in whose time they could be fired; None where there are none."""
    firings = timetable.firings
    numbers = at_stake(timetable, [number for number, firing in firings.items() if not firing.fixed], random)
    if not numbers:
        return None
    number = numbers[int(random.integers(len(numbers)))]
    kiln = firings[number].kiln
    pool = numbers if random.random() < ANY_KILN else [other for other in numbers if firings[other].kiln == kiln]
    near = nearest(timetable, number, pool)[: int(random.integers(1, MOST_FIRINGS + 1))]
    begin = min(firings[other].place.load for other in near)
    end = max(firings[other].place.free for other in near)
    late = [load for load in _overdue_in(timetable, begin, end) if timetable.firing_of[load] not in near]
    if not late:
        return None
    random.shuffle(late)
    return late[: int(random.integers(1, MOST_RIVALS + 1))], near


def _overdue_in(timetable: Timetable, begin: int, end: int) -> list[int]:
    """Loads that could be less late, are ready before slot ``end`` and promised for after slot ``begin``."""
    problem = timetable.problem
    grid, found = problem.grid_minutes, list[int]()
    for number in late_firings(timetable):
        for load, due_minutes in overdue_loads(timetable, timetable.firings[number]):
            ready = problem.loads[load].ready
            ready_minutes = 0 if ready is None else ready - problem.begin
            if ready_minutes < end * grid and due_minutes > begin * grid:
                found.append(load)
    return found
