"""Plans made of parts of others: some firings as one plan has them, everything else around them as another has it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from scheduler.planning.arrivals import by_arrival
from scheduler.planning.dispatch import best_dispatch, fixed_firings, place_missing
from scheduler.planning.shortages import stands
from scheduler.planning.timetable import Placed, Timetable


def plan_around(timetable: Timetable, firings: Sequence[Placed]) -> None:
    """Put ``firings`` into a timetable, and all other loads around them: where they were, if that still can be.

    What is fixed has to be among ``firings``. Forgets the log.
    """
    taken = {load for firing in firings for load in firing.batch.loads}
    others = [firing for firing in timetable.snapshot() if not taken.intersection(firing.batch.loads)]
    timetable.restore(firings)
    for firing in others:
        mark = len(timetable.log)
        number = timetable.add(firing)
        if not stands(timetable, number):
            timetable.undo(mark)
    place_missing(timetable)
    timetable.log.clear()


def plan_anew_around(timetable: Timetable, firings: Sequence[Placed], stop: Callable[[], bool]) -> None:
    """Put all other loads anew around ``firings``, until ``stop``, if that is cheaper than what the timetable holds."""
    cost, kept = timetable.cost(), timetable.snapshot()
    if stop():
        return
    best_dispatch(timetable, stop, firings)
    by_arrival(timetable, stop, firings)
    if timetable.cost() > cost:
        timetable.restore(kept)


def blend(
    timetable: Timetable,
    plan: Sequence[Placed],
    other: Sequence[Placed],
    parts: Iterable[Sequence[int]],
    may: Callable[[], bool] = lambda: True,
) -> tuple[Placed, ...]:
    """A plan whose ``parts`` [loads] are as the ``other`` has them wherever that makes it cheaper, and it ``may``.

    What is in the way of a part goes elsewhere. The timetable is left with what is returned.
    """
    timetable.restore(plan)
    best, cost = timetable.snapshot(), timetable.cost()
    fixed = fixed_firings(timetable)
    for part in parts:
        own = set(part)
        changed = [firing for firing in other if not firing.fixed and own.issuperset(firing.batch.loads)]
        plan_around(timetable, (*fixed, *changed))
        if timetable.cost() < cost - 1e-6 and may():
            best, cost = timetable.snapshot(), timetable.cost()
        else:
            timetable.restore(best)
    return best
