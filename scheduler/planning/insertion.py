"""Where one more load, or a whole batch, costs least: joining a firing, or one of its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from scheduler.planning.batches import Batch, Fit
from scheduler.planning.heats import least_energy
from scheduler.planning.overdue import last_hope_slot
from scheduler.planning.placement import EARLINESS, Place
from scheduler.planning.problem import FAR
from scheduler.planning.timetable import Placed, Timetable, out_minutes


@dataclass(frozen=True, slots=True, eq=False)
class Move:
    """A way to place something: the firing that it replaces (or None), the new one, and what the guide says."""

    replaces: int | None
    placed: Placed
    delta: float


class Joining(NamedTuple):
    """A firing that a load may join, though not as it stands: what that costs at a guess, and the batch it makes."""

    guess: float
    number: int
    batch: Batch
    fit: Fit


ASIDE = 0.9
"""Share of the late loads that go behind all promises, where that costs nothing [-]."""

SLIGHTLY = 1e-9
"""Less than this much cheaper is not cheaper [currency]."""


class Inserter:
    """Finds and makes the cheapest insertions into a timetable.

    ``blink`` is the chance of overlooking a possibility, which keeps a search from doing the same thing twice
    (Christiaens & Vanden Berghe, Transportation Science 54 (2020) 417, "slack induction by string removals").
    ``haste`` is what a slot sooner is worth while choosing [currency per slot]: a firing that waits for cheap current
    keeps its kiln from others, which its own cost does not show. ``looked_for`` counts places looked for: work done.
    """

    def __init__(self, timetable: Timetable, seed: int, joins: int = 12) -> None:
        self.timetable = timetable
        self.problem = timetable.problem
        self.batches = timetable.batches
        self.random = np.random.default_rng(seed)
        self.joins = joins
        self.blink = 0.0
        self.haste = 0.0
        self.looked_for = 0

    def _overlooked(self) -> bool:
        return self.blink > 0.0 and self.random.random() < self.blink

    def best_own(self, batch: Batch, beat: float = math.inf, not_before: int = 0) -> Move | None:
        """The cheapest firing of its own for a batch, loaded in slot ``not_before`` or later, if below ``beat``."""
        timetable = self.timetable
        asked = timetable.asked(batch)
        if asked is None:
            return None
        best: tuple[int, Fit, Place] | None = None
        seen: set[int] = set()
        for kiln in self.batches.kilns_that_may(batch):
            fit = self.batches.fit(batch, kiln)
            if fit is None or self._overlooked():
                continue
            # Of several kilns alike and empty, the first stands for all.
            if not timetable.busy(kiln):
                if self.problem.twins[kiln] in seen:
                    continue
                seen.add(self.problem.twins[kiln])
            self.looked_for += 1
            least = beat - timetable.firing_price - SLIGHTLY
            place = timetable.place_for(asked, kiln, fit, not_before=not_before, haste=self.haste, beat=least)
            if place is None:
                continue
            beat = place.guide + place.cleaning + self.haste * place.unload + timetable.firing_price
            best = kiln, fit, place
        return None if best is None else Move(None, timetable.at_place(batch, *best), beat)

    def _hosts(self, alone: Batch, beat: float, not_before: int) -> list[tuple[float, int]]:
        """The firings that may have room for a load, and what it costs in each as that stands; cheapest first."""
        timetable, batches = self.timetable, self.batches
        firings = timetable.firings
        load = alone.loads[0]
        last = self._last_below(alone, beat)
        hosts: list[tuple[float, int]] = []
        for number in timetable.open_to(load):
            firing = firings[number]
            place = firing.place
            if place.unload > last or place.load < not_before:
                continue
            if batches.is_too_full(firing.batch, load, firing.kiln):
                continue
            delta = self._in_place(alone, firing)
            if delta < beat:
                hosts.append((delta, number))
        hosts.sort()
        return hosts

    def _last_below(self, alone: Batch, beat: float) -> int:
        """The last slot of unloading in which a load by itself may cost less than ``beat``."""
        due = [at for at, _, flat in alone.wishes if flat >= beat]
        return int(min(due) // self.problem.grid_minutes) if due else FAR

    def _in_place(self, alone: Batch, firing: Placed) -> float:
        """What it costs that a load joins a firing as that stands [currency]."""
        out = out_minutes(firing, self.problem.grid_minutes)
        moved = alone.moved(firing.kiln, out) * self.timetable.moved_price
        return alone.guide_cost(out) + EARLINESS * firing.place.unload + moved

    def _at_least(self, firing: Placed, batch: Batch, fit: Fit, first: int) -> float:
        """What it costs more at least that a firing has the loads of ``batch`` [currency], clean-outs aside."""
        phases = fit.phases
        soonest = max(batch.ready, first) + phases.load + phases.safe
        late = batch.guide_cost(soonest * self.problem.grid_minutes + phases.out_minutes)
        return late + least_energy(self.problem, phases) + EARLINESS * len(batch.loads) * soonest - firing.place.guide

    def best_join(
        self, alone: Batch, bounds: tuple[int, int], beat: float = math.inf, not_before: int = 0
    ) -> tuple[Move | None, list[Joining]]:
        """The cheapest firing to join for a load where the firing stays as it is; and those that would change.

        ``bounds`` is what other stages of the same pieces leave. Only what costs less than ``beat`` is found, and
        firings that are loaded in slot ``not_before`` or later.
        """
        best: Move | None = None
        anew: list[Joining] = []
        load = alone.loads[0]
        for delta, number in self._hosts(alone, beat, not_before):
            if best is not None and delta >= best.delta:
                break
            firing = self.timetable.firings[number]
            batch = self.batches.make(firing.batch.profile, (*firing.batch.loads, load))
            if batch is None or self._overlooked():
                continue
            fit = self.batches.fit(batch, firing.kiln)
            if fit is None:
                continue
            if self._stays(firing, batch, fit, bounds):
                best = Move(number, self.timetable.joined(firing, batch, fit, delta), delta)
            else:
                longer = least_energy(self.problem, fit.phases) - least_energy(self.problem, firing.fit.phases)
                wait = max(0, batch.ready - firing.place.load)
                guess = max(delta + max(0.0, longer) + 0.01 * wait, self._at_least(firing, batch, fit, bounds[0]))
                anew.append(Joining(guess, number, batch, fit))
        anew.sort()
        return best, anew

    def _stays(self, firing: Placed, batch: Batch, fit: Fit, bounds: tuple[int, int]) -> bool:
        """Whether a firing with one more load in it may stay where it is, to the slot."""
        return (
            fit.phases is firing.fit.phases
            and max(batch.ready, bounds[0]) <= firing.place.load
            and out_minutes(firing, self.problem.grid_minutes) <= bounds[1]
            and batch.session_slot in (-1, firing.place.unload)
        )

    def _join(self, joining: Joining, beat: float) -> Move | None:
        """A firing with one more load in it, placed anew in its kiln, if that costs less than ``beat`` more."""
        timetable = self.timetable
        self.looked_for += 1
        number = joining.number
        firing = timetable.firings[number]
        mark = len(timetable.log)
        cleaning = timetable.cleaning_cost()
        timetable.remove(number)
        cleaning = timetable.cleaning_cost() - cleaning
        was = firing.place.guide + self.haste * firing.place.unload - cleaning
        placed = timetable.best_place(
            joining.batch, firing.kiln, joining.fit, haste=self.haste, beat=beat + was - SLIGHTLY
        )
        if placed is not None and self.problem.clean_outs.any and placed.place.load != firing.place.load:
            timetable.add(placed)
            # Without the firing between them, two others may need a clean-out that has no room.
            placed = None if timetable.unclean(firing.kiln) is not None else placed
        timetable.undo(mark)
        if placed is None:
            return None
        place = placed.place
        return Move(number, placed, place.guide + place.cleaning + self.haste * place.unload - was)

    def apply(self, move: Move) -> None:
        """Make a move."""
        if move.replaces is not None:
            self.timetable.remove(move.replaces)
        self.timetable.add(move.placed)

    def best_move(self, load: int, beat: float = math.inf, not_before: int = 0) -> Move | None:
        """Where a load costs least; None where there is no place that costs less than ``beat``.

        Tried in the order of what a trial takes: joining a firing as it stands, a firing of its own, joining one that
        then has to move. Each is cut off at what the best so far costs. ``not_before`` is the first slot of loading.
        """
        self.looked_for += 1
        alone = self.batches.make(self.problem.loads[load].profile, (load,))
        bounds = self.timetable.bounds((load,))
        if alone is None or bounds is None:
            return None
        best, anew = self.best_join(alone, bounds, beat, not_before)
        beat = beat if best is None else best.delta
        own = self.best_own(alone, beat, not_before)
        if own is not None:
            best, beat = own, own.delta
        for joining in anew[: self.joins]:
            if joining.guess >= beat:
                break
            found = self._join(joining, beat)
            if found is not None:
                best, beat = found, found.delta
        return best

    def insert_load(self, load: int, beat: float = math.inf) -> bool:
        """Place a load where it costs least; False where there is no place that costs less than ``beat``."""
        move = self.best_move(load, beat)
        if move is None:
            return False
        self.apply(move)
        return True

    def insert_loads(self, loads: Sequence[int], late_last: bool, most: float = math.inf) -> bool:
        """Place loads in order, each where it costs least; False as soon as they cost more than ``most`` together.

        ``late_last``, where late at all has a price: a load that costs no less anywhere waits until the others have
        their places, so that it takes no time from one that can still be kept (as in Moore's rule for the number of
        late jobs, Management Science 15 (1968) 102).
        """
        waiting = []
        spent = 0.0
        for load in loads:
            price = self._late_price(load) if late_last else 0.0
            move = self.best_move(load, price or math.inf)
            if move is not None:
                spent += self._spend(move)
            elif price:
                waiting.append(load)
                spent += price
            if spent > most:
                return False
        for load in waiting:
            spent -= self._late_price(load)
            move = self._out_of_the_way(load) or self.best_move(load)
            if move is not None:
                spent += self._spend(move)
                if spent > most:
                    return False
        return True

    def _out_of_the_way(self, load: int) -> Move | None:
        """Where a load that is late anyway, and no dearer by the hour, costs least behind all promises."""
        if self.problem.studio.prices.late_hour or self.random.random() > ASIDE:
            return None
        return self.best_move(load, not_before=last_hope_slot(self.batches))

    def _spend(self, move: Move) -> float:
        """Make a move; returns what the guide then has more, haste aside."""
        before = 0.0 if move.replaces is None else self.timetable.firings[move.replaces].place.unload
        self.apply(move)
        return move.delta - self.haste * (move.placed.place.unload - before)

    def _late_price(self, load: int) -> float:
        """What it costs at least that a load is late [currency]; 0 where that decides nothing."""
        row = self.problem.loads[load]
        if row.promised is None or load in self.problem.follower:
            return 0.0
        return self.problem.studio.prices.late_load * row.priority

    def insert_in_time(self, load: int) -> bool:
        """Place a load where it costs least and less than being late; False where there is no such place."""
        return self.insert_load(load, self._late_price(load) or math.inf)

    def insert_batch(self, batch: Batch) -> bool:
        """Place a whole batch in a firing of its own; False where there is no place, or only one that is late."""
        late = [price for load in batch.loads if (price := self._late_price(load))]
        move = self.best_own(batch, min(late, default=math.inf))
        if move is None:
            return False
        self.apply(move)
        return True
