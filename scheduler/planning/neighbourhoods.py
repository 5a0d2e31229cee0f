"""CP-SAT on neighbourhoods of the plan: some firings' loads decided anew, exactly, everything else fixed.

Where ruin and recreate places loads one after another, the solver weighs them all at once; it earns its keep on the
last per cent. With two cores it runs beside the search in a thread of its own (the solver leaves the interpreter
free); with one, or with a work limit, the two take turns.
"""

from __future__ import annotations

import queue
import threading

import numpy as np

from scheduler.planning.insertion import Inserter
from scheduler.planning.model.solve import Limits, put, solve
from scheduler.planning.model.variables import Part
from scheduler.planning.search import NEIGHBOURHOODS, Search
from scheduler.planning.timetable import Placed, Timetable

MOST_LOADS = 12
"""Free loads in one neighbourhood, at first; it grows while solves are proved and shrinks while they are not."""

SECONDS_EACH = 2.0
DETERMINISTIC_EACH = 1.0


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
        missing = [load for load in range(len(timetable.problem.loads)) if load not in timetable.firing_of]
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


class Companion:
    """Runs `ExactNeighbourhoods` in a thread beside the search, always on the best plan so far."""

    def __init__(self, search: Search, seed: int, until: threading.Event) -> None:
        self._search = search
        self._until = until
        self._found: queue.SimpleQueue[tuple[Placed, ...]] = queue.SimpleQueue()
        self._exact = ExactNeighbourhoods(search.timetable, seed)
        self._thread = threading.Thread(target=self._run, name="exact neighbourhoods", daemon=True)
        self.failure: BaseException | None = None

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def _run(self) -> None:
        try:
            while not self._until.is_set():
                better = self._exact.improve(self._search.best, Limits(SECONDS_EACH))
                if better is not None:
                    self._found.put(better)
        except BaseException as error:  # handed to the search, which raises it
            self.failure = error

    def better(self) -> tuple[Placed, ...] | None:
        """A plan found since the last call, if any."""
        if self.failure is not None:
            raise self.failure
        try:
            return self._found.get_nowait()
        except queue.Empty:
            return None

    def stop(self) -> None:
        """Wait for the solve under way, which is short."""
        self._until.set()
        self._thread.join()
