"""CP-SAT on neighbourhoods of the plan: some firings' loads decided anew, exactly, everything else fixed.

Where ruin and recreate places loads one after another, the solver weighs them all at once; it earns its keep on the
last per cent. The two take turns.
"""

from __future__ import annotations

import numpy as np

from scheduler.planning.insertion import Inserter
from scheduler.planning.model.solve import Limits, put, solve
from scheduler.planning.model.variables import Part
from scheduler.planning.search import NEIGHBOURHOODS, Search
from scheduler.planning.timetable import Placed, Timetable

MOST_LOADS = 12
"""Free loads in one neighbourhood, at first; it grows while solves are proved and shrinks while they are not."""

DETERMINISTIC_EACH = 0.5
"""The solver's own count of time for one neighbourhood, where plans must be repeatable."""


class ExactNeighbourhoods:
    """Solves one neighbourhood after another on a timetable of its own."""

    def __init__(self, timetable: Timetable, seed: int) -> None:
        self.timetable = Timetable(timetable.problem, timetable.batches)
        self.random = np.random.default_rng(seed)
        self.search = Search(self.timetable, seed + 7)
        self.inserter = Inserter(self.timetable, seed + 8)
        self.size = MOST_LOADS
        self.solved = 0

    def improve(self, firings: tuple[Placed, ...], limits: Limits) -> tuple[Placed, ...] | None:
        """A better plan than ``firings``, one neighbourhood decided anew; None where there is none."""
        timetable = self.timetable
        timetable.restore(firings)
        before = timetable.guide()
        names = list(NEIGHBOURHOODS)
        name = names[int(self.random.integers(len(names)))]
        chosen: list[int] = []
        free: set[int] = set()
        for number in self.search.chosen(name):
            loads = set(timetable.firings[number].batch.loads)
            if chosen and len(free | loads) > self.size:
                continue
            chosen.append(number)
            free |= loads
        missing = timetable.pending()
        self.random.shuffle(missing)
        free |= set(missing[: max(2, self.size - len(free))])
        if not free:
            return None
        current = tuple(timetable.remove(number) for number in chosen)
        part = Part(timetable, tuple(sorted(free)), current)
        answer = solve(part, limits)
        self.solved += 1
        proved = answer is not None and answer.optimal
        self.size = min(40, self.size + 1) if proved else max(6, self.size - 1)
        if answer is None or not put(part, answer, self.inserter):
            return None
        return timetable.snapshot() if timetable.guide() < before - 1e-6 else None
