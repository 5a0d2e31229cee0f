"""One planning session: a problem, its bounds, a timetable, and the search over it until time or work is over."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from scheduler.planning.batches import Batches, Stay
from scheduler.planning.bounds import cost_bound, load_bounds
from scheduler.planning.heats import Heats
from scheduler.planning.model.solve import Limits
from scheduler.planning.neighbourhoods import DETERMINISTIC_EACH, Companion, ExactNeighbourhoods
from scheduler.planning.problem import state_problem
from scheduler.planning.reasons import unplaced_loads
from scheduler.planning.search import Search
from scheduler.planning.settle import settle, write_plan_of
from scheduler.planning.timetable import Placed, Timetable
from shared.clock import Minute
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio

EXACT_EVERY = 60
"""Rounds of the search between two exact neighbourhoods, where they take turns."""


REHEATS = 4
"""How often the search is heated anew. Measured on the sample studio, 10 s, six seeds: mean cost 2696 with one
cooling, 2343 with four."""


@dataclass(frozen=True, slots=True)
class Settings:
    """How long and how the planner searches.

    ``work_limit`` counts rounds of the search instead of seconds: the same input, seed and work give the same plan.
    """

    seconds: float | None = 20.0
    work_limit: int | None = None
    seed: int = 0
    workers: int = 2


@dataclass(frozen=True, slots=True)
class Progress:
    """What the planner has found so far."""

    seconds: float
    cost: float
    bound: float
    note: str


class Session:
    """Everything that `plan` and `replan` have in common."""

    def __init__(
        self,
        studio: Studio,
        loads: Sequence[Load],
        begin: Minute,
        settings: Settings | None,
        progress: Callable[[Progress], None] | None,
        stays: Callable[[Mapping[str, int]], dict[int, Stay]] | None = None,
    ) -> None:
        self.settings = settings or Settings()
        self.clock = Clock(self.settings)
        self._progress = progress
        end = begin + studio.rules.horizon_days * 24 * 60
        self.problem = state_problem(studio, loads, begin, end)
        self.batches = Batches(
            self.problem, Heats(self.problem), stays(self.problem.load_number) if stays is not None else None
        )
        self.batches.prepare_alone()
        self.bound = cost_bound(self.batches, load_bounds(self.batches))
        self.timetable = Timetable(self.problem, self.batches)

    def tell(self, cost: float, note: str) -> None:
        """Report progress."""
        if self._progress is not None:
            self._progress(Progress(self.clock.seconds(), cost, self.bound, note))

    def search(self) -> None:
        """Improve what is in the timetable until time or work is over, or the cost is the bound; leave the best."""
        settings, clock = self.settings, self.clock
        search = Search(self.timetable, settings.seed)
        beside = settings.work_limit is None and settings.workers > 1
        companion = Companion(search, settings.seed, threading.Event()) if beside else None
        exact = ExactNeighbourhoods(search.timetable, settings.seed)
        if companion is not None:
            companion.start()
        try:
            while not clock.over(search.rounds) and search.best_cost > self.bound + 0.005:
                if search.step(clock.heat(search.rounds)):
                    self.tell(search.best_cost, "search")
                found: tuple[Placed, ...] | None = None
                if companion is not None:
                    found = companion.better()
                elif search.rounds % EXACT_EVERY == 0:
                    found = exact.improve(search.best, Limits(DETERMINISTIC_EACH, deterministic=True))
                if found is not None and search.adopt(found):
                    self.tell(search.best_cost, "exact neighbourhood")
        finally:
            if companion is not None:
                companion.stop()
        self.timetable.restore(search.best)

    def finish(self, now: Minute, names: Callable[[Sequence[Placed]], Sequence[str]] | None = None) -> Plan:
        """Settle the timetable and write the plan that it means."""
        settle(self.timetable)
        result = write_plan_of(
            self.timetable,
            made_at=now,
            bound=self.bound,
            seconds=self.clock.seconds() if self.settings.work_limit is None else 0.0,
            unplaced=unplaced_loads(self.timetable),
            names=None if names is None else names(self.timetable.snapshot()),
        )
        self.tell(result.proof.cost, "settled")
        return result


class Clock:
    """Time or work, whichever limits the search."""

    def __init__(self, settings: Settings) -> None:
        self._begun = time.monotonic()
        self._seconds = settings.seconds if settings.seconds is not None else 20.0
        self._work = settings.work_limit

    def seconds(self) -> float:
        """Seconds since the session began [s]."""
        return round(time.monotonic() - self._begun, 3)

    def late(self) -> bool:
        """Whether time is over; a session limited by work has time."""
        return self._work is None and self.seconds() > self._seconds

    def over(self, rounds: int) -> bool:
        """Whether time or work is over after so many rounds."""
        return rounds >= self._work if self._work is not None else self.late()

    def heat(self, rounds: int) -> float:
        """How boldly to search [-]: from 1 to 0, over and over, so that the search leaves a dead end it settled in."""
        done = rounds / max(1, self._work) if self._work is not None else self.seconds() / max(0.001, self._seconds)
        left = 1.0 - (min(done, 0.999999) * REHEATS) % 1.0
        return left * left
