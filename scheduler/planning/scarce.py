"""Scarce kilns first: all groups of kilns but the largest are searched by themselves, then the rest around them.

Where two kilns do all of a kind of work, and sessions need people who can do them, a plan that begins with everything
at once gives hours away that this work has no other for, and finds them again late, if at all. The largest group has
many kilns and few sessions, and goes around what the others have left. (The tightest resources first, as the shifting
bottleneck of Adams, Balas & Zawack, Management Science 34 (1988) 391.)
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from scheduler.planning.beams import plan_by_beams
from scheduler.planning.blending import plan_around
from scheduler.planning.groups import Excerpt
from scheduler.planning.search import Search
from scheduler.planning.timetable import Placed, Timetable

LEAST_LOADS = 4
"""With fewer scarce loads there is nothing to search by itself."""

MOST_AGAINST_REST = 2.0
"""Most scarce loads against those of the largest group [-]: where there are more, that is no rest; house choice."""

MOST_IN_VAIN = 2
"""Searches of a group by itself, at most, while it has no fewer loads without a place than it had by itself."""

MOST_EXACT = 120
"""Most loads whose firings are computed with their real masses, not the next step of the ladder. A step may be what
keeps a long firing out: measured with 24 glass loads of a studio by themselves, 8000 rounds, six searches, what has no
place costs 500 in two of six and 1000 in four with real masses, 1000 in all six with the ladder's. Each firing computed
takes memory, and a millisecond or two: with all of a thousand loads 1400 MB were used, 1210 without."""

Heat = Callable[[int], float | None]
"""How boldly to search after so many rounds [-]; None when it is over."""


class ScarceFirst:
    """The scarce loads of a timetable, by its `groups`, and how good a plan each group has had by itself."""

    def __init__(self, timetable: Timetable, parts: Sequence[Sequence[int]], seed: int) -> None:
        self.timetable = timetable
        self.seed = seed
        largest, *others = parts or ((),)
        scarce = sum(len(group) for group in others)
        enough = LEAST_LOADS <= scarce <= len(largest) * MOST_AGAINST_REST
        self._of_group = {tuple(group): Alone() for group in others} if enough else {}

    @property
    def loads(self) -> tuple[int, ...]:
        """All scarce loads."""
        return tuple(load for group in self._of_group for load in group)

    def due(self, firings: Sequence[Placed]) -> tuple[tuple[int, ...], ...]:
        """The groups of which more loads are without a place in a plan than have to be, by what is known.

        Before they have been searched by themselves nothing is known, and all are; while any of its loads are without
        a place, a group is searched a few times. What is not searched again stays where it is, and so does most of what
        has gone around it.
        """
        return tuple(
            group for group, alone in self._of_group.items() if alone.is_due(self._unplaced_cost(group, firings))
        )

    def _unplaced_cost(self, group: Sequence[int], firings: Sequence[Placed]) -> float:
        """Price of the loads of a group that are in none of the firings [currency]."""
        problem = self.timetable.problem
        without = set(group).difference(*(firing.batch.loads for firing in firings))
        return problem.studio.prices.unplaced * sum(problem.loads[load].priority for load in without)

    def search(
        self,
        due: Sequence[tuple[int, ...]],
        burst: Callable[[int], Heat],
        before: Sequence[Placed] = (),
        most_moved: int | None = None,
        most_sets: int = 0,
    ) -> tuple[tuple[Placed, ...], int]:
        """Search for a plan of the loads of some groups by themselves, from where the timetable has them.

        A ``burst`` begins after so many rounds; there are two of them, the second with real masses where the loads
        are few. ``before`` and ``most_moved`` as in `Search`. Before the first burst of all, groups in which no more
        than ``most_sets`` sets of loads may share a firing are planned by `beams`. Returns the firings, fixed ones
        among them, and how many rounds it took; the timetable stays as it is.
        """
        loads = [load for group in due for load in group]
        excerpt = Excerpt(self.timetable, loads)
        for group in due if most_sets else ():
            self._by_beams(excerpt, group, most_sets)
        search = Search(excerpt.timetable, self.seed, excerpt.of_it(before), most_moved)
        self.seed += 1
        for exact in (False, len(loads) <= MOST_EXACT):
            if exact:
                excerpt.timetable.restore(search.best)
                excerpt.batches.exact = True
                _with_real_masses(excerpt.timetable)
                search.best_cost = math.inf  # the same plan, and no dearer
                search.turn_to()
            begun, heat = search.rounds, burst(search.rounds)
            while (bold := heat(search.rounds - begun)) is not None:
                search.step(bold)
        firings = excerpt.in_whole(search.best)
        for group in due:
            self._of_group[group].add(self._unplaced_cost(group, firings))
        return firings, search.rounds

    def _by_beams(self, excerpt: Excerpt, group: tuple[int, ...], most_sets: int) -> None:
        """Plan a group by beams, and the others of the excerpt around it, where that is cheaper."""
        own = Excerpt(self.timetable, group)
        if self._of_group[group].searches or not plan_by_beams(own.timetable, most_sets):
            return
        timetable = excerpt.timetable
        cost, kept = timetable.cost(), timetable.snapshot()
        plan_around(timetable, excerpt.of_it(own.in_whole(own.timetable.snapshot())))
        if timetable.cost() > cost:
            timetable.restore(kept)


def _with_real_masses(timetable: Timetable) -> None:
    """Let every kiln be free as soon as its firing's real mass allows; sessions stay, with the hold that they have."""
    for number, firing in list(timetable.firings.items()):
        place, fit = firing.place, timetable.batches.fit(firing.batch, firing.kiln)
        if firing.fixed or fit is None or fit.phases.is_hot:
            continue
        timetable.remove(number)
        timetable.add(timetable.placed_at(firing.batch, firing.kiln, fit, place.load, place.start, place.unload))
    timetable.log.clear()


@dataclass(slots=True)
class Alone:
    """How often a group was searched by itself, and the least that its loads without a place have cost [currency]."""

    searches: int = 0
    unplaced_cost: float = math.inf

    def add(self, unplaced_cost: float) -> None:
        """One more search."""
        self.searches += 1
        self.unplaced_cost = min(self.unplaced_cost, unplaced_cost)

    def is_due(self, unplaced_cost: float) -> bool:
        """Whether a plan whose loads without a place cost so much may be bettered; before any search, it may."""
        if not self.searches:
            return True
        return unplaced_cost > self.unplaced_cost + 1e-6 or (unplaced_cost > 0.0 and self.searches < MOST_IN_VAIN)
