"""The planner's one way in: loads and a studio go in, a plan comes out."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from scheduler.planning.batches import Batches
from scheduler.planning.bounds import cost_bound, load_bounds
from scheduler.planning.dispatch import best_dispatch
from scheduler.planning.heats import Heats
from scheduler.planning.model.solve import Limits
from scheduler.planning.neighbourhoods import DETERMINISTIC_EACH, Companion, ExactNeighbourhoods
from scheduler.planning.problem import state_problem
from scheduler.planning.reasons import unplaced_loads
from scheduler.planning.search import Search
from scheduler.planning.settle import settle, write_plan_of
from scheduler.planning.timetable import Timetable
from shared.clock import Minute
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio

EXACT_EVERY = 60
"""Rounds of the search between two exact neighbourhoods, where they take turns."""


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


def plan(
    studio: Studio,
    loads: Sequence[Load],
    *,
    now: Minute,
    begin: Minute,
    settings: Settings | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Plan:
    """Plan the firings of ``loads`` from ``begin`` for the studio's horizon.

    Parameters
    ----------
    now, begin
        When the plan is made, and from when it holds; ``begin`` lies on the grid of its local day.

    Returns
    -------
    Plan
        Feasible under every rule as the planner knows them. Only `scheduler.audit.prove` makes it one to fire by.
    """
    settings = settings or Settings()
    clock = _Clock(settings)
    end = begin + studio.rules.horizon_days * 24 * 60
    problem = state_problem(studio, loads, begin, end)
    batches = Batches(problem, Heats(problem))
    batches.prepare_alone()
    bounds = load_bounds(batches)
    bound = cost_bound(batches, bounds)
    timetable = Timetable(problem, batches)

    def tell(cost: float, note: str) -> None:
        if progress is not None:
            progress(Progress(clock.seconds(), cost, bound, note))

    best_dispatch(timetable, clock.late)
    tell(timetable.cost(), "dispatch")
    search = Search(timetable, settings.seed)
    improve(search, settings, clock, bound, tell)
    timetable.restore(search.best)
    settle(timetable)
    result = write_plan_of(
        timetable,
        made_at=now,
        bound=bound,
        seconds=clock.seconds() if settings.work_limit is None else 0.0,
        unplaced=unplaced_loads(timetable),
    )
    tell(result.proof.cost, "settled")
    return result


def improve(
    search: Search, settings: Settings, clock: _Clock, bound: float, tell: Callable[[float, str], None]
) -> None:
    """Search until the time or work is over, or the cost is the bound; exact neighbourhoods beside or between."""
    beside = settings.work_limit is None and settings.workers > 1
    companion = Companion(search, settings.seed, threading.Event()) if beside else None
    exact = ExactNeighbourhoods(search.timetable, settings.seed)
    if companion is not None:
        companion.start()
    try:
        while not clock.over(search.rounds) and search.best_cost > bound + 0.005:
            if search.step(clock.heat(search.rounds)):
                tell(search.best_cost, "search")
            found = None
            if companion is not None:
                found = companion.better()
            elif search.rounds % EXACT_EVERY == 0:
                found = exact.improve(search.best, Limits(DETERMINISTIC_EACH, deterministic=True))
            if found is not None and search.adopt(found):
                tell(search.best_cost, "exact neighbourhood")
    finally:
        if companion is not None:
            companion.stop()


class _Clock:
    """Time or work, whichever limits the search."""

    def __init__(self, settings: Settings) -> None:
        self._begun = time.monotonic()
        self._seconds = settings.seconds if settings.seconds is not None else 20.0
        self._work = settings.work_limit

    def seconds(self) -> float:
        return round(time.monotonic() - self._begun, 3)

    def late(self) -> bool:
        return self._work is None and self.seconds() > self._seconds

    def over(self, rounds: int) -> bool:
        return rounds >= self._work if self._work is not None else self.late()

    def heat(self, rounds: int) -> float:
        done = rounds / max(1, self._work) if self._work is not None else self.seconds() / max(0.001, self._seconds)
        return max(0.0, 1.0 - done)
