"""Where one more load, or a whole batch, costs least: joining a firing, or one of its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.planning.batches import Batch, Fit
from scheduler.planning.heats import least_energy
from scheduler.planning.placement import EARLINESS
from scheduler.planning.timetable import Placed, Timetable, out_minutes


@dataclass(frozen=True, slots=True, eq=False)
class Move:
    """A way to place something: the firing that it replaces (or None), the new one, and what the guide says."""

    replaces: int | None
    placed: Placed
    delta: float


def _by_cost(row: tuple[float, int, object]) -> tuple[float, int]:
    return row[0], row[1]


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

    def best_join(self, load: int, beat: float = math.inf) -> Move | None:
        """The cheapest firing to join for a load: in place where its phases stay as they are, else placed anew.

        ``beat`` is what another way costs already: what costs much more is not looked at.
        """
        timetable, batches = self.timetable, self.batches
        grid = self.problem.grid_minutes
        alone = batches.make(self.problem.loads[load].profile, (load,))
        bounds = timetable.bounds((load,))
        if alone is None or bounds is None:
            return None
        hosts: list[tuple[float, int, str]] = []
        for host in batches.hosts(load):
            for number in timetable.by_profile.get(host, ()):
                firing = timetable.firings[number]
                if not firing.fixed and not batches.is_too_full(firing.batch, load, firing.kiln):
                    hosts.append((alone.guide_cost(out_minutes(firing, grid)), number, host))
        hosts.sort(key=_by_cost)
        best: Move | None = None
        anew: list[tuple[float, int, Batch]] = []
        for late, number, host in hosts:
            if late > beat + timetable.firing_price:
                break
            firing = timetable.firings[number]
            batch = batches.make(host, (*firing.batch.loads, load))
            fit = None if batch is None or self._overlooked() else batches.fit(batch, firing.kiln)
            if batch is None or fit is None:
                continue
            if self._stays(firing, batch, fit, bounds):
                move = self._join_in_place(number, batch, fit, alone)
                best = move if best is None or move.delta < best.delta - 1e-9 else best
                beat = min(beat, move.delta)
            else:
                longer = least_energy(self.problem, fit.phases) - firing.fit.phases.least_energy
                wait = max(0, batch.ready - firing.place.load)
                anew.append((late + max(0.0, longer) + 0.01 * wait, number, batch))
        anew.sort(key=_by_cost)
        for guess, number, batch in anew[: self.joins]:
            if guess > beat + timetable.firing_price:
                break
            found = self._join(number, batch)
            if found is not None and (best is None or found.delta < best.delta - 1e-9):
                best = found
                beat = min(beat, found.delta)
        return best

    def _stays(self, firing: Placed, batch: Batch, fit: Fit, bounds: tuple[int, int]) -> bool:
        """Whether a firing with one more load in it may stay where it is, to the slot."""
        return (
            fit.phases is firing.fit.phases
            and max(batch.ready, bounds[0]) <= firing.place.load
            and out_minutes(firing, self.problem.grid_minutes) <= bounds[1]
            and batch.session_slot in (-1, firing.place.unload)
        )

    def _join_in_place(self, number: int, batch: Batch, fit: Fit, alone: Batch) -> Move:
        timetable = self.timetable
        firing = timetable.firings[number]
        out = out_minutes(firing, self.problem.grid_minutes)
        delta = alone.guide_cost(out) + alone.moved(firing.kiln, out) * timetable.moved_price
        delta += EARLINESS * firing.place.unload
        return Move(number, timetable.joined(firing, batch, fit, delta), delta)

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
        if placed is not None and self.problem.clean_outs.any and placed.place.load != firing.place.load:
            timetable.add(placed)
            # Without the firing between them, two others may need a clean-out that has no room.
            placed = None if timetable.unclean(firing.kiln) is not None else placed
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

    def best_move(self, load: int) -> Move | None:
        """Where a load costs least; None where there is no place."""
        alone = self.batches.make(self.problem.loads[load].profile, (load,))
        if alone is None or self.timetable.bounds((load,)) is None:
            return None
        own = self.best_own(alone)
        join = self.best_join(load, math.inf if own is None else own.delta)
        return join if own is None or (join is not None and join.delta <= own.delta) else own

    def insert_load(self, load: int) -> bool:
        """Place a load where it costs least; False where there is no place."""
        move = self.best_move(load)
        if move is None:
            return False
        self.apply(move)
        return True

    def insert_loads(self, loads: Sequence[int], late_last: bool) -> None:
        """Place loads in order, each where it costs least.

        ``late_last``, where late at all has a price: a load that is late in its best place waits until the others have
        theirs, so that it takes no time from one that can still be kept (as in Moore's rule for the number of late
        jobs, Management Science 15 (1968) 102).
        """
        waiting = []
        for load in loads:
            move = self.best_move(load)
            if move is None:
                continue
            if late_last and self._is_late(load, move):
                waiting.append(load)
            else:
                self.apply(move)
        for load in waiting:
            self.insert_load(load)

    def _is_late(self, load: int, move: Move) -> bool:
        row = self.problem.loads[load]
        if row.promised is None or load in self.problem.follower or not self.problem.studio.prices.late_load:
            return False
        return out_minutes(move.placed, self.problem.grid_minutes) > row.promised - self.problem.begin

    def insert_batch(self, batch: Batch) -> bool:
        """Place a whole batch in a firing of its own; False where there is no place."""
        move = self.best_own(batch)
        if move is None:
            return False
        self.apply(move)
        return True
