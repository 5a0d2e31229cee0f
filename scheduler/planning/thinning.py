"""Neighbourhoods of single loads: some leave their firings, which go on without them.

Taking whole firings out asks for all of their loads to be placed anew; often only a few would be better off
elsewhere. Which loads leave together follows what makes them exchangeable: the same profile, and a like time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from scheduler.planning.overdue import at_stake, late_firings, overdue_load
from scheduler.planning.timetable import Placed, Timetable, out_minutes

MOST = 8
"""Most loads that leave at once."""

Choice = Callable[[Timetable, np.random.Generator], list[int]]


def _firings(timetable: Timetable) -> list[int]:
    return [number for number, firing in timetable.firings.items() if not firing.fixed]


def nearest(timetable: Timetable, number: int, pool: Iterable[int]) -> list[int]:
    """The firings of ``pool`` in order of how near in time they are to firing ``number``, itself first."""
    firings = timetable.firings
    middle = firings[number].place.start
    return sorted(pool, key=lambda other: (other != number, abs(firings[other].place.start - middle), other))


def _near(timetable: Timetable, random: np.random.Generator, number: int, pool: list[int]) -> list[int]:
    """Some loads of the firings of ``pool`` nearest in time to a firing, whose own come first."""
    firings = timetable.firings
    count = int(random.integers(1, MOST + 1))
    share = random.uniform(0.2, 0.8)
    chosen: list[int] = []
    for other in nearest(timetable, number, pool):
        loads = firings[other].batch.loads
        chosen += [load for load in loads if len(loads) == 1 or random.random() < share]
        if len(chosen) >= count:
            break
    return chosen[:count]


def of_one_profile(timetable: Timetable, random: np.random.Generator) -> list[int]:
    """Loads of firings of one profile, near in time."""
    numbers = _firings(timetable)
    if not numbers:
        return []
    some = at_stake(timetable, numbers, random)
    number = some[int(random.integers(len(some)))]
    alike = timetable.by_profile[timetable.firings[number].batch.profile]
    return _near(timetable, random, number, [other for other in alike if not timetable.firings[other].fixed])


def at_one_time(timetable: Timetable, random: np.random.Generator) -> list[int]:
    """Loads of any firings near in time."""
    numbers = _firings(timetable)
    if not numbers:
        return []
    some = at_stake(timetable, numbers, random)
    return _near(timetable, random, some[int(random.integers(len(some)))], numbers)


def late_and_room(timetable: Timetable, random: np.random.Generator) -> list[int]:
    """A late load, and some that are fired by like profiles about the time at which it was promised."""
    problem, firings = timetable.problem, timetable.firings
    overdue = overdue_load(timetable, random, late_firings(timetable))
    if overdue is None:
        return of_one_profile(timetable, random)
    number, load, promised = overdue
    pool = timetable.open_to(load)
    wanted = promised - float(random.exponential(firings[number].fit.phases.safe)) * problem.grid_minutes
    pool.sort(key=lambda n: (abs(out_minutes(firings[n], problem.grid_minutes) - wanted), n))
    count = int(random.integers(1, MOST))
    others = [other for n in pool[:count] for other in firings[n].batch.loads if other != load]
    random.shuffle(others)
    return [load, *others[:count]]


CHOICES: dict[str, Choice] = {
    "loads of one profile": of_one_profile,
    "loads at one time": at_one_time,
    "a late load and room for it": late_and_room,
}


def thin(timetable: Timetable, loads: list[int]) -> list[int] | None:
    """Take loads out of their firings, each of which goes on with the rest; returns all that is out then.

    A firing that cannot go on in its kiln without them is taken out whole. None where a kiln then needs a clean-out
    that has no room; the timetable is to be undone.
    """
    leaving: dict[int, list[int]] = {}
    for load in loads:
        leaving.setdefault(timetable.firing_of[load], []).append(load)
    out: list[int] = []
    for number, gone in leaving.items():
        firing = timetable.remove(number)
        left = [load for load in firing.batch.loads if load not in gone]
        placed = _without(timetable, firing, left) if left else None
        if placed is None:
            out += firing.batch.loads
        else:
            out += gone
            timetable.add(placed)
        if timetable.unclean(firing.kiln) is not None:
            return None
    return out


def _without(timetable: Timetable, firing: Placed, left: list[int]) -> Placed | None:
    """The rest of a firing in its kiln: where it was if its phases stay as they are, else where it costs least."""
    batch = timetable.batches.make(firing.batch.profile, left)
    fit = None if batch is None else timetable.batches.fit(batch, firing.kiln)
    if batch is None or fit is None:
        return None
    place = firing.place
    if fit.phases is firing.fit.phases:
        return timetable.placed_at(batch, firing.kiln, fit, place.load, place.start, place.unload)
    return timetable.best_place(batch, firing.kiln, fit)
