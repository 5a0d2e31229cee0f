"""Where one more load, or a whole batch, costs least: joining a firing, or one of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scheduler.planning.batches import Batch
from scheduler.planning.timetable import Placed, Timetable, out_minutes


@dataclass(frozen=True, slots=True, eq=False)
class Move:
    """A way to place something: the firing that it replaces (or None), the new one, and what the guide says."""

    replaces: int | None
    placed: Placed
    delta: float


class Inserter:
    """Finds and makes the cheapest insertions into a timetable.

    ``blink`` is the chance of overlooking a possibility, which keeps a search from doing the same thing twice
    (Christiaens & Vanden Berghe, Transportation Science 54 (2020) 417, "slack induction by string removals").
    ``haste`` is what a slot sooner is worth while choosing [currency per slot]: a firing that waits for cheap current
    keeps its kiln from others, which its own cost does not show.
    """

    def __init__(self, timetable: Timetable, seed: int, joins: int = 12) -> None:
        self.timetable = timetable
        self.problem = timetable.problem
        self.batches = timetable.batches
        self.random = np.random.default_rng(seed)
        self.joins = joins
        self.blink = 0.0
        self.haste = 0.0

    def _overlooked(self) -> bool:
        return self.blink > 0.0 and self.random.random() < self.blink

    def best_own(self, batch: Batch) -> Move | None:
        """The cheapest firing of its own for a batch."""
        best: Move | None = None
        seen: set[int] = set()
        timetable = self.timetable
        for kiln in range(len(self.problem.kilns)):
            fit = self.batches.fit(batch, kiln)
            if fit is None or self._overlooked():
                continue
            # Of several kilns alike and empty, the first stands for all.
            if not timetable.busy(kiln):
                if self.problem.twins[kiln] in seen:
                    continue
                seen.add(self.problem.twins[kiln])
            placed = timetable.best_place(batch, kiln, fit, haste=self.haste)
            if placed is None:
                continue
            place = placed.place
            delta = place.guide + place.cleaning + self.haste * place.unload + timetable.firing_price
            if best is None or delta < best.delta - 1e-9:
                best = Move(None, placed, delta)
        return best

    def best_join(self, load: int) -> Move | None:
        """The cheapest firing to join for a load."""
        timetable, batches = self.timetable, self.batches
        grid = self.problem.grid_minutes
        candidates: list[tuple[float, int, Batch]] = []
        for host in batches.hosts(load):
            for number in timetable.by_profile.get(host, ()):
                firing = timetable.firings[number]
                if firing.fixed:
                    continue
                batch = batches.make(host, (*firing.batch.loads, load))
                if batch is None or self._overlooked():
                    continue
                alone = batches.make(self.problem.loads[load].profile, (load,))
                late = 0.0
                if alone is not None and len(alone.guide_promised):
                    out = out_minutes(firing, grid)
                    late = alone.guide_cost(out)
                wait = max(0, batch.ready - firing.place.load)
                candidates.append((late + 0.01 * wait, number, batch))
        candidates.sort(key=lambda c: (c[0], c[1]))
        best: Move | None = None
        for guess, number, batch in candidates[: self.joins]:
            if best is not None and guess > best.delta + 50.0:
                break
            move = self._join(number, batch)
            if move is not None and (best is None or move.delta < best.delta - 1e-9):
                best = move
        return best

    def _join(self, number: int, batch: Batch) -> Move | None:
        timetable = self.timetable
        firing = timetable.firings[number]
        fit = self.batches.fit(batch, firing.kiln)
        if fit is None:
            return None
        mark = len(timetable.log)
        cleaning = timetable.cleaning_cost()
        timetable.remove(number)
        cleaning = timetable.cleaning_cost() - cleaning
        placed = timetable.best_place(batch, firing.kiln, fit, haste=self.haste)
        if placed is not None and self.problem.clean_outs.any:
            timetable.add(placed)
            # Without the firing between them, two others may need a clean-out that has no room.
            placed = None if timetable.unclean(firing.kiln) else placed
        timetable.undo(mark)
        if placed is None:
            return None
        later = placed.place.unload - firing.place.unload
        cleaning += placed.place.cleaning
        return Move(number, placed, placed.place.guide - firing.place.guide + cleaning + self.haste * later)

    def apply(self, move: Move) -> None:
        """Make a move."""
        if move.replaces is not None:
            self.timetable.remove(move.replaces)
        self.timetable.add(move.placed)

    def insert_load(self, load: int) -> bool:
        """Place a load where it costs least; False where there is no place."""
        alone = self.batches.make(self.problem.loads[load].profile, (load,))
        if alone is None or self.timetable.bounds((load,)) is None:
            return False
        own = self.best_own(alone)
        join = self.best_join(load)
        move = join if own is None or (join is not None and join.delta <= own.delta) else own
        if move is None:
            return False
        self.apply(move)
        return True

    def insert_batch(self, batch: Batch) -> bool:
        """Place a whole batch in a firing of its own; False where there is no place."""
        move = self.best_own(batch)
        if move is None:
            return False
        self.apply(move)
        return True
