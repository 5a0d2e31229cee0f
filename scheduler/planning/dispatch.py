"""Constructive plans: the loads in the order of a rule, each where it costs least.

Every plan made here is feasible under every rule. The best of a few rules is the search's first incumbent; one rule
alone answers "when could this load be out?".
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import product

from scheduler.planning.insertion import Inserter
from scheduler.planning.problem import FAR, Problem
from scheduler.planning.timetable import Placed, Timetable

HASTES = (0.03, 0.0)
"""What a slot sooner is worth in the portfolio [currency per slot]: about nine a day, and nothing."""

Key = Callable[[Problem, int], tuple[float, ...]]


@dataclass(frozen=True, slots=True)
class Order:
    """A dispatch rule: the loads with the least key go first."""

    name: str
    key: Key


def _due(problem: Problem, load: int, timetable: Timetable) -> float:
    row = problem.loads[load]
    own = FAR if row.promised is None else row.promised - problem.begin
    asked = [promise for promise, _ in timetable.batches.guides[load]]
    return min([own, *asked])


def orders(timetable: Timetable) -> tuple[Order, ...]:
    """The portfolio of dispatch rules."""
    problem = timetable.problem

    def due(_: Problem, load: int) -> tuple[float, ...]:
        return (_due(problem, load, timetable), -problem.loads[load].priority)

    def weighted(_: Problem, load: int) -> tuple[float, ...]:
        return (-problem.loads[load].priority, _due(problem, load, timetable))

    def ready(_: Problem, load: int) -> tuple[float, ...]:
        own = problem.loads[load].ready
        return (0 if own is None else own - problem.begin, _due(problem, load, timetable))

    def bulky(_: Problem, load: int) -> tuple[float, ...]:
        own = problem.loads[load]
        return (-own.footprint_cm2 * own.height_mm,)

    return (
        Order("earliest promise", due),
        Order("dearest first", weighted),
        Order("first come", ready),
        Order("bulkiest first", bulky),
    )


def in_stages(problem: Problem, loads: list[int]) -> list[int]:
    """``loads`` in the same order, but every later stage after its earlier one."""
    position = {load: place for place, load in enumerate(loads)}
    done: dict[int, None] = {}

    def visit(load: int, depth: int) -> None:
        if load in done or depth > len(problem.loads):
            return
        earlier = problem.load_number.get(problem.loads[load].after or "")
        if earlier is not None and earlier in position:
            visit(earlier, depth + 1)
        done[load] = None

    for load in loads:
        visit(load, 0)
    return list(done)


def dispatch(timetable: Timetable, order: Order, haste: float = 0.0) -> None:
    """Place what has no place yet by a rule, each firing the sooner the more ``haste`` is worth [currency per slot]."""
    problem = timetable.problem
    inserter = Inserter(timetable, seed=0)
    inserter.haste = haste
    # A session booked by a person has one possible time, so it goes first; then the rule.
    loads = sorted(
        timetable.pending(),
        key=lambda load: (problem.loads[load].session_at is None, *order.key(problem, load), load),
    )
    inserter.insert_loads(in_stages(problem, loads), late_last=True)


def place_missing(timetable: Timetable, seed: int = 0) -> None:
    """Place what has no place yet by earliest promise, booked sessions first, each load where it costs least."""
    problem, key = timetable.problem, orders(timetable)[0].key
    inserter = Inserter(timetable, seed)
    missing = sorted(
        timetable.pending(), key=lambda load: (problem.loads[load].session_at is None, *key(problem, load), load)
    )
    for load in in_stages(problem, missing):
        inserter.insert_load(load)


def place_in_stages(timetable: Timetable) -> None:
    """Place what has no place yet as the loads are numbered, earlier stages first, each where it costs least."""
    inserter = Inserter(timetable, seed=0)
    for load in in_stages(timetable.problem, timetable.pending()):
        inserter.insert_load(load)


def fixed_firings(timetable: Timetable) -> tuple[Placed, ...]:
    """What is under way, or held by people."""
    return tuple(firing for firing in timetable.snapshot() if firing.fixed)


def best_dispatch(
    timetable: Timetable, stop: Callable[[], bool] = lambda: False, beside: Sequence[Placed] | None = None
) -> tuple[Placed, ...]:
    """The cheapest plan of the portfolio ``beside`` some firings, left in the timetable as well.

    Without any it is beside what is fixed.
    """
    taken = fixed_firings(timetable) if beside is None else tuple(beside)
    best: tuple[float, tuple[Placed, ...]] | None = None
    for haste, order in product(HASTES, orders(timetable)):
        if best is not None and stop():
            break
        timetable.restore(taken)
        dispatch(timetable, order, haste)
        cost = timetable.cost()
        if best is None or cost < best[0]:
            best = cost, timetable.snapshot()
    assert best is not None  # the portfolio is not empty
    timetable.restore(best[1])
    return best[1]
