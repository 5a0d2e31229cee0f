"""Scarce kilns first: all groups of kilns but the largest are searched by themselves, then the rest around them.

Where two kilns do all of a kind of work, and sessions need people who can do them, a plan that begins with everything
at once gives hours away that this work has no other for, and finds them again late, if at all. The largest group has
many kilns and few sessions, and goes around what the others have left. (The tightest resources first, as the shifting
bottleneck of Adams, Balas & Zawack, Management Science 34 (1988) 391.)
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from scheduler.planning.groups import Excerpt
from scheduler.planning.search import Search
from scheduler.planning.timetable import Placed, Timetable

LEAST_LOADS = 4
"""With fewer scarce loads there is nothing to search by itself."""

MOST_AGAINST_REST = 2.0
"""Most scarce loads against those of the largest group [-]: where there are more, that is no rest; house choice."""

MOST_EXACT = 120
"""Most loads whose firings are computed with their real masses, not the next step of the ladder: a tenth of an hour
decides whether one more glass firing ends before its people go home. Measured at 250 loads, 24 of them glass, searched
by themselves, 8000 rounds, six searches: what has no place costs 500 in two of six and 1000 in four with real masses,
1000 in all with the ladder's; in another studio 2500 in one of six, else 3000. With more loads, computing their firings
would take the time."""

Heat = Callable[[int], float | None]
"""How boldly to search after so many rounds [-]; None when it is over."""


class ScarceFirst:
    """The scarce loads of a timetable, by its `groups`, and how good a plan they have by themselves."""

    def __init__(self, timetable: Timetable, parts: Sequence[Sequence[int]], seed: int) -> None:
        self.timetable = timetable
        self.seed = seed
        largest, *others = parts or ((),)
        scarce = tuple(load for group in others for load in group)
        self.loads = scarce if LEAST_LOADS <= len(scarce) <= len(largest) * MOST_AGAINST_REST else ()
        self._alone: float | None = None

    def is_due(self, firings: Sequence[Placed]) -> bool:
        """Whether more of the scarce loads are without a place in a plan than have to be, by what is known.

        Before they have been searched by themselves nothing is known, and it is.
        """
        if self._alone is None or not self.loads:
            return bool(self.loads)
        placed = {load for firing in firings for load in firing.batch.loads}
        return self._unplaced_cost(set(self.loads) - placed) > self._alone + 1e-6

    def _unplaced_cost(self, without: set[int]) -> float:
        problem = self.timetable.problem
        return problem.studio.prices.unplaced * sum(problem.loads[load].priority for load in without)

    def search(self, before: Sequence[Placed], heat: Heat) -> tuple[tuple[Placed, ...], int]:
        """Search for a plan of the scarce loads by themselves, from where the timetable has them.

        Returns the firings, fixed ones among them, and how many rounds it took; the timetable stays as it is.
        """
        excerpt = Excerpt(self.timetable, self.loads)
        excerpt.batches.exact = len(self.loads) <= MOST_EXACT
        search = Search(excerpt.timetable, self.seed, excerpt.of_it(before))
        self.seed += 1
        while (bold := heat(search.rounds)) is not None:
            search.step(bold)
        firings = excerpt.in_whole(search.best)
        placed = {load for firing in firings for load in firing.batch.loads}
        alone = self._unplaced_cost(set(self.loads) - placed)
        self._alone = alone if self._alone is None else min(alone, self._alone)
        return firings, search.rounds
