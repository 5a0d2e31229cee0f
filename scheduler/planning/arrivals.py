"""A constructive plan by arrival: work waits in piles, and a pile is fired when it is full or a promise forces it.

Where the rules of `dispatch` weigh each load against what is booked, this looks only at what lies on the piles. It
makes fuller firings than they do, and now and then keeps a kiln free for work that they would leave out.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from scheduler.planning.batches import Batch
from scheduler.planning.dispatch import fixed_firings
from scheduler.planning.timetable import Placed, Timetable, out_minutes

WAITS_DAYS = (1, 2, 4, 7)
"""How long a pile waits at most, one plan each [d]; our own choice."""

SPARE_MINUTES = 24 * 60
"""How long before its latest beginning a promised pile is fired [min]: a day for people to come by; our own choice."""

NEVER = 1 << 40
"""Later than any horizon [min]."""

PileKey = tuple[str, str | None, int | None]


@dataclass(slots=True)
class Pile:
    """Loads that wait to be fired together, and when they are fired at the latest, full or not [min]."""

    loads: tuple[int, ...] = ()
    fire_at: int = NEVER


class Arrivals:
    """Fills a timetable with loads in the order in which they come."""

    def __init__(self, timetable: Timetable, wait_minutes: int) -> None:
        self.timetable, self.problem, self.batches = timetable, timetable.problem, timetable.batches
        self.wait_minutes = wait_minutes
        self.piles: dict[PileKey, Pile] = {}
        self.coming: list[tuple[int, int, int]] = []

    def run(self) -> None:
        """Bring every load that has no place yet, and fire until nothing waits."""
        problem, placed = self.problem, set(self.timetable.firing_of)
        for number, load in enumerate(problem.loads):
            earlier = problem.load_number.get(load.after or "")
            if number not in placed and (earlier is None or earlier in placed):
                self._comes(number, 0 if load.ready is None else load.ready - problem.begin)
        while self.coming or self.piles:
            self._fire_before(self.coming[0][0] if self.coming else NEVER + 1)
            if self.coming:
                at, _, number = heapq.heappop(self.coming)
                self._lay(number, at)

    def _comes(self, number: int, at: int) -> None:
        promised = self.problem.loads[number].promised
        heapq.heappush(self.coming, (max(0, at), NEVER if promised is None else promised, number))

    def _fire_before(self, minute: int) -> None:
        due = sorted((pile.fire_at, key[0], pile.loads, key) for key, pile in self.piles.items())
        for fire_at, _, _, key in due:
            if fire_at < minute:
                self._fire(key)

    def _lay(self, number: int, at: int) -> None:
        load, profile = self.problem.loads[number], self.problem.profile(number)
        key = load.profile, load.family_key if profile.one_family else None, load.session_at
        if key in self.piles and not self._fits((*self.piles[key].loads, number)):
            self._fire(key)
        pile = self.piles.setdefault(key, Pile(fire_at=at + self.wait_minutes))
        pile.loads = (*pile.loads, number)
        wanted = load.session_at if load.session_at is not None else load.promised
        if wanted is not None:
            latest = wanted - self.problem.begin - self._length_minutes(number)
            pile.fire_at = min(pile.fire_at, latest - SPARE_MINUTES)

    def _batch(self, loads: tuple[int, ...]) -> Batch | None:
        return self.batches.make(self.problem.loads[loads[0]].profile, loads)

    def _fits(self, loads: tuple[int, ...]) -> bool:
        batch = self._batch(loads)
        kilns = range(len(self.problem.kilns))
        return batch is not None and any(self.batches.fit(batch, kiln) is not None for kiln in kilns)

    def _length_minutes(self, number: int) -> int:
        batch = self._batch((number,))
        fits = [] if batch is None else [self.batches.fit(batch, kiln) for kiln in range(len(self.problem.kilns))]
        lengths = [fit.phases.load + fit.phases.safe + fit.phases.unload for fit in fits if fit is not None]
        return min(lengths, default=0) * self.problem.grid_minutes

    def _fire(self, key: PileKey) -> None:
        loads = self.piles.pop(key).loads
        if not self._place(loads) and len(loads) > 1:
            for number in loads:
                self._place((number,))

    def _place(self, loads: tuple[int, ...]) -> bool:
        """Fire loads together in the kiln in which they are out first; False where there is no place for them."""
        batch, timetable, grid = self._batch(loads), self.timetable, self.problem.grid_minutes
        if batch is None:
            return False
        urgent = batch.at_any_price()
        found: list[Placed] = []
        for kiln in range(len(self.problem.kilns)):
            fit = self.batches.fit(batch, kiln)
            placed = None if fit is None else timetable.best_place(urgent, kiln, fit)
            if fit is not None and placed is not None:
                found.append(placed)
        if not found:
            return False
        best = min(found, key=lambda placed: (out_minutes(placed, grid), placed.kiln))
        place = best.place
        timetable.add(timetable.placed_at(batch, best.kiln, best.fit, place.load, place.start, place.unload))
        for number in loads:
            for later in self.problem.follower.get(number, ()):
                if later not in timetable.firing_of:
                    gap = int(self.problem.loads[later].gap_minutes)
                    self._comes(later, out_minutes(best, grid) + gap)
        return True


def by_arrival(
    timetable: Timetable, stop: Callable[[], bool] = lambda: False, beside: Sequence[Placed] | None = None
) -> tuple[Placed, ...]:
    """The cheapest plan by arrival ``beside`` some firings, if cheaper than the plan that the timetable has.

    Without any it is beside what is fixed. The timetable is left with what is returned.
    """
    best = timetable.snapshot()
    best_cost = timetable.cost()
    taken = fixed_firings(timetable) if beside is None else tuple(beside)
    for days in WAITS_DAYS:
        if stop():
            break
        timetable.restore(taken)
        Arrivals(timetable, days * 24 * 60).run()
        if timetable.cost() < best_cost - 1e-6:
            best, best_cost = timetable.snapshot(), timetable.cost()
    timetable.restore(best)
    return best
