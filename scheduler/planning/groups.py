"""Groups of kilns that no load links, and a timetable of some groups' loads by themselves.

A glass load never goes where pots are fired: the kilns of a studio fall apart into groups, which share hands and
current alone. A group of a few kilns has a dozen firings where the studio has a hundred; by itself it is searched many
times faster, and better.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from scheduler.planning.batches import Batches
from scheduler.planning.timetable import Placed, Timetable


def groups(batches: Batches) -> tuple[tuple[int, ...], ...]:
    """Loads by group, the group with most loads first.

    Stages of the same pieces are in one group, whatever fires them; loads that no kiln may take, and that are no stage
    of any that one may, are in none.
    """
    problem = batches.problem
    kilns = len(problem.kilns)
    first = list(range(kilns + len(problem.loads)))

    def root(member: int) -> int:
        while first[member] != member:
            member = first[member]
        return member

    for load in range(len(problem.loads)):
        for member in (*_kilns(batches, load), *(kilns + later for later in problem.follower.get(load, ()))):
            first[root(member)] = root(kilns + load)
    with_kilns = {root(kiln) for kiln in range(kilns)}
    found: dict[int, list[int]] = {}
    for load in range(len(problem.loads)):
        if root(kilns + load) in with_kilns:
            found.setdefault(root(kilns + load), []).append(load)
    return tuple(sorted((tuple(loads) for loads in found.values()), key=lambda loads: (-len(loads), loads)))


def _kilns(batches: Batches, load: int) -> list[int]:
    """The kilns that a load may be in: by itself, be they strong enough or not, or as a guest in another's firing."""
    problem = batches.problem
    own, *hosts = batches.hosts(load)
    alone = batches.make(own, (load,))
    every = range(len(problem.kilns))
    kilns = [] if alone is None else [kiln for kiln in every if batches.charge(alone, kiln) is not None]
    works = {problem.studio.profile_by_id[host].work for host in hosts}
    return [*kilns, *(n for n in every if works & set(problem.kilns[n].work) and n not in kilns)]


class Excerpt:
    """Some loads of a timetable, and its fixed firings, in a timetable of their own with the same kilns and people.

    ``timetable`` begins with those firings of the whole that hold none but these loads.
    """

    def __init__(self, whole: Timetable, loads: Iterable[int]) -> None:
        fixed = [load for firing in whole.firings.values() if firing.fixed for load in firing.batch.loads]
        self.whole = whole
        self.numbers = tuple(sorted({*loads, *fixed}))
        self.batches = whole.batches.of_loads(self.numbers)
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
