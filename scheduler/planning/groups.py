"""Groups of kilns that no load links, and a timetable of some groups' loads by themselves.

A glass load never goes where pots are fired: the kilns of a studio fall apart into groups, which share hands and
current alone. A group of a few kilns has a dozen firings where the studio has a hundred; by itself it is searched many
times faster, and better.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from scheduler.planning.batches import Batches
from scheduler.planning.problem import Problem
from scheduler.planning.timetable import Placed, Timetable


def groups(batches: Batches) -> tuple[tuple[int, ...], ...]:
    """Loads by group, the group with most loads first; loads that no kiln may fire are in none.

    Stages of the same pieces are in one group, whatever fires them.
    """
    problem = batches.problem
    first = list(range(len(problem.kilns)))

    def root(kiln: int) -> int:
        while first[kiln] != kiln:
            kiln = first[kiln]
        return kiln

    kilns_of = {load: kilns for load in range(len(problem.loads)) if (kilns := _kilns(batches, load))}
    for kilns in kilns_of.values():
        for kiln in kilns[1:]:
            first[root(kiln)] = root(kilns[0])
    for earlier, followers in problem.follower.items():
        for later in followers:
            if earlier in kilns_of and later in kilns_of:
                first[root(kilns_of[later][0])] = root(kilns_of[earlier][0])
    found: dict[int, list[int]] = {}
    for load, kilns in kilns_of.items():
        found.setdefault(root(kilns[0]), []).append(load)
    return tuple(sorted((tuple(loads) for loads in found.values()), key=lambda loads: (-len(loads), loads)))


def _kilns(batches: Batches, load: int) -> list[int]:
    """The kilns that may fire a load: by itself, or as a guest in another profile's firing."""
    problem = batches.problem
    own, *hosts = batches.hosts(load)
    alone = batches.make(own, (load,))
    kilns = [] if alone is None else batches.kilns_for(alone)
    works = {problem.studio.profile_by_id[host].work for host in hosts}
    return [*kilns, *(n for n, kiln in enumerate(problem.kilns) if works & set(kiln.work) and n not in kilns)]


class Excerpt:
    """Some loads of a timetable, and its fixed firings, in a timetable of their own with the same kilns and people.

    ``timetable`` begins with those firings of the whole that hold none but these loads.
    """

    def __init__(self, whole: Timetable, loads: Iterable[int]) -> None:
        fixed = [load for firing in whole.firings.values() if firing.fixed for load in firing.batch.loads]
        self.whole = whole
        self.numbers = tuple(sorted({*loads, *fixed}))
        number_of = {load: number for number, load in enumerate(self.numbers)}
        stays = {number_of[load]: stay for load, stay in whole.batches.stays.items() if load in number_of}
        self.batches = Batches(_of_loads(whole.problem, self.numbers), whole.batches.heats, stays)
        self.batches.moved_price = whole.moved_price
        self.timetable = Timetable(self.batches.problem, self.batches)
        self.timetable.restore(self.of_it(whole.snapshot()))

    def of_it(self, firings: Sequence[Placed]) -> tuple[Placed, ...]:
        """Those firings of the whole that hold loads of the excerpt alone, in its own numbers."""
        number_of = {load: number for number, load in enumerate(self.numbers)}
        return tuple(
            _with_loads(firing, self.batches, [number_of[load] for load in firing.batch.loads])
            for firing in firings
            if all(load in number_of for load in firing.batch.loads)
        )

    def in_whole(self, firings: Sequence[Placed]) -> tuple[Placed, ...]:
        """Firings of the excerpt in the numbers of the whole."""
        batches = self.whole.batches
        return tuple(_with_loads(f, batches, [self.numbers[load] for load in f.batch.loads]) for f in firings)


def _with_loads(firing: Placed, batches: Batches, loads: Sequence[int]) -> Placed:
    batch = batches.make(firing.batch.profile, loads)
    assert batch is not None  # the same loads, that share a firing already
    return replace(firing, batch=batch)


def _of_loads(problem: Problem, numbers: Sequence[int]) -> Problem:
    """The problem with some of its loads, numbered anew in the same order."""
    loads = tuple(problem.loads[number] for number in numbers)
    number_of = {load: number for number, load in enumerate(numbers)}
    follower = {
        number_of[earlier]: tuple(number_of[later] for later in followers if later in number_of)
        for earlier, followers in problem.follower.items()
        if earlier in number_of
    }
    return replace(
        problem,
        loads=loads,
        load_number={load.id: number for number, load in enumerate(loads)},
        follower={earlier: later for earlier, later in follower.items() if later},
    )
