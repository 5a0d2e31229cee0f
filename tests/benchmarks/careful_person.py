"""First come, first served, as a careful person does it: fill the kiln, fire when full or when a promise forces it.

The baseline of the planner's benchmark. It keeps every rule, since it books in the same timetable with the same exact
times, and looks at nothing ahead but the promises of what lies on its piles:

- loads come in the order in which they are ready; a later stage comes when its earlier stage is out.
- each goes on the pile of its profile (of its family and booked session where those may not mix).
- a pile that the next load no longer fits on, in any kiln that may fire it, is fired: in the kiln in which it is out
  first, as soon as hands, current and hours allow.
- a pile is fired before it is full if its first promise would else be missed (its time in the kiln and a day for people
  before that).
- what is left on the piles when nobody brings anything more is fired as it is.
- a pile that finds no place is tried load by load; what then finds none stays out.

A harder baseline, "best wait", fires a pile also once it has waited for one, two or four days or a week, whichever
turns out to be the cheapest: which nobody can know beforehand.
"""

from __future__ import annotations

import heapq
from dataclasses import dataclass, field, replace

from scheduler.planning.batches import Batch
from scheduler.planning.timetable import Placed, Timetable, out_minutes

PEOPLE_MINUTES = 24 * 60
"""What a careful person allows for people to come by [min]: a day; judgement."""

WAITS_DAYS = (1, 2, 4, 7)
"""How long a pile waits at most by the harder baseline [d]: studios fire at least weekly (trade notes); judgement."""

NO_LIMIT_MINUTES = 1 << 40
"""A pile waits until it is full, or a promise forces it [min]."""

Key = tuple[str, str | None, int | None]


@dataclass
class Pile:
    """Loads that will share a firing."""

    loads: list[int] = field(default_factory=list)
    since: int = 0
    force_at: int = NO_LIMIT_MINUTES


class CarefulPerson:
    """Fills a timetable."""

    def __init__(self, timetable: Timetable, wait_minutes: int = NO_LIMIT_MINUTES) -> None:
        self.wait_minutes = wait_minutes
        self.timetable, self.problem, self.batches = timetable, timetable.problem, timetable.batches
        self.piles: dict[Key, Pile] = {}
        self.coming: list[tuple[int, int, int]] = []

    def run(self) -> None:
        """Bring every load, and fire."""
        with self.batches.with_real_masses():
            self._run()

    def _run(self) -> None:
        problem = self.problem
        for number, load in enumerate(problem.loads):
            if load.after not in problem.load_number:
                self._comes(number, 0 if load.ready is None else load.ready - problem.begin)
        while self.coming or self.piles:
            self._fire_due(self.coming[0][0] if self.coming else None)
            if self.coming:
                at, _, number = heapq.heappop(self.coming)
                self._lay(number, at)

    def _comes(self, number: int, at: int) -> None:
        promised = self.problem.loads[number].promised
        first = 1 << 40 if promised is None else promised - self.problem.begin
        heapq.heappush(self.coming, (max(0, at), first, number))

    def _key(self, number: int) -> Key:
        load, profile = self.problem.loads[number], self.problem.profile(number)
        return load.profile, load.family if profile.one_family else None, load.session_at

    def _lay(self, number: int, at: int) -> None:
        key = self._key(number)
        pile = self.piles.get(key)
        if pile is not None and not self._fits((*pile.loads, number)):
            self._fire(key)
            pile = None
        if pile is None:
            pile = self.piles[key] = Pile(since=at)
        pile.loads.append(number)
        load = self.problem.loads[number]
        wanted = load.session_at if load.session_at is not None else load.promised
        if wanted is not None:
            pile.force_at = min(pile.force_at, wanted - self.problem.begin - self._length(number) - PEOPLE_MINUTES)
        pile.force_at = min(pile.force_at, pile.since + self.wait_minutes)

    def _fire_due(self, until: int | None) -> None:
        """Fire what a promise forces before the next load comes; with nothing more to come, everything."""
        for key in sorted(self.piles, key=lambda key: (self.piles[key].force_at, self.piles[key].since)):
            if until is None or self.piles[key].force_at < until:
                self._fire(key)

    def _batch(self, loads: tuple[int, ...]) -> Batch | None:
        return self.batches.make(self.problem.loads[loads[0]].profile, loads)

    def _fits(self, loads: tuple[int, ...]) -> bool:
        batch = self._batch(loads)
        return batch is not None and any(self.batches.fit(batch, k) is not None for k in range(len(self.problem.kilns)))

    def _length(self, number: int) -> int:
        """How long a load by itself takes from loading to being out, in the quickest kiln [min]."""
        batch = self._batch((number,))
        fits = [] if batch is None else [self.batches.fit(batch, k) for k in range(len(self.problem.kilns))]
        lengths = [fit.phases.load + fit.phases.safe + fit.phases.unload for fit in fits if fit is not None]
        return min(lengths, default=0) * self.problem.grid_minutes

    def _fire(self, key: Key) -> None:
        loads = tuple(self.piles.pop(key).loads)
        if not self._place(loads):
            for number in loads if len(loads) > 1 else ():
                self._place((number,))

    def _place(self, loads: tuple[int, ...]) -> bool:
        batch = self._batch(loads)
        if batch is None:
            return False
        urgent = batch.at_any_price()
        found: list[Placed] = []
        for kiln in range(len(self.problem.kilns)):
            fit = self.batches.fit(batch, kiln)
            placed = None if fit is None else self.timetable.best_place(urgent, kiln, fit)
            if placed is not None:
                found.append(placed)
        if not found:
            return False
        grid = self.problem.grid_minutes
        best = min(found, key=lambda placed: (out_minutes(placed, grid), placed.kiln))
        self.timetable.add(replace(best, batch=batch))
        out = out_minutes(best, grid)
        for number in loads:
            for later in self.problem.follower.get(number, ()):
                self._comes(later, out + int(self.problem.loads[later].gap_minutes))
        return True


def first_come(timetable: Timetable) -> None:
    """Fill an empty timetable as a careful person would: a kiln is fired when full, or when a promise forces it."""
    timetable.restore(())
    CarefulPerson(timetable).run()


def best_wait(timetable: Timetable) -> None:
    """The same where a pile is also fired after the wait that, as it turns out, suits the timetable best."""
    best: tuple[float, tuple[Placed, ...]] | None = None
    for minutes in (*(days * 24 * 60 for days in WAITS_DAYS), NO_LIMIT_MINUTES):
        timetable.restore(())
        CarefulPerson(timetable, minutes).run()
        if best is None or timetable.cost() < best[0]:
            best = timetable.cost(), timetable.snapshot()
    assert best is not None
    timetable.restore(best[1])
