"""A neighbourhood in which a load takes the room of others: it joins a firing, and some of its loads have to leave.

Where kilns are short, what has no place could often have that of loads that are wanted less, or that find room
elsewhere, perhaps in turn at the cost of a third. Taking whole firings out and putting all their loads back finds such
chains seldom: nearly every order of putting them back fills the room up before its turn. (Ejections of customers that
a vehicle has no time for: Nagata & Bräysy, Operations Research Letters 37 (2009) 333.)
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from scheduler.planning.clearing import Clearing
from scheduler.planning.insertion import Inserter
from scheduler.planning.timetable import Placed, Timetable

OUST = "room for a load at the cost of others"

MOST_IN_TURN = 4
"""Most loads of a chain that take the room of others."""

TRIALS = 4
"""Firings that are tried until one can make room for a load."""


class Ousting:
    """Loads that join firings, and what leaves these for them."""

    def __init__(
        self, timetable: Timetable, random: np.random.Generator, inserter: Inserter, clearing: Clearing
    ) -> None:
        self.timetable = timetable
        self.random = random
        self.inserter = inserter
        self.clearing = clearing

    def make_room(self) -> list[int] | None:
        """Give a load without a place, or a late one, the room of others, and these that of further ones.

        Returns the loads that are out then; None where no firing can make room for it, or what is changed breaks a
        rule: the timetable is to be undone.
        """
        problem = self.timetable.problem
        load = self.clearing.a_load()
        if load is None:
            return None
        waiting, out = self._oust(load), list[int]()
        if waiting is None:
            return None
        for _ in range(MOST_IN_TURN):
            if not waiting:
                break
            # The most wanted first: it may not find room any more when others have taken it.
            waiting.sort(key=lambda one: (-problem.loads[one].priority, one))
            load = waiting.pop(0)
            if self.inserter.insert_load(load):
                continue
            ousted = self._oust(load)
            if ousted is None:
                out.append(load)
            else:
                waiting += ousted
        return out + waiting

    def _oust(self, load: int) -> list[int] | None:
        """Put a load into a firing drawn at random, about when that was, without some of its loads.

        Returns these, and those of firings that are in the way then; None: no firing can take it.
        """
        timetable, random = self.timetable, self.random
        batches, firings = timetable.batches, timetable.firings
        own = timetable.firing_of.get(load)
        pool = [number for number in timetable.open_to(load) if number != own]
        random.shuffle(pool)
        for number in pool[:TRIALS]:
            firing = firings[number]
            left = self._room_for(load, firing)
            batch = None if left is None else batches.make(firing.batch.profile, (*left, load))
            if batch is None or len(batch.loads) > len(firing.batch.loads):
                continue  # where it has room beside all of them, others put it there
            mark = len(timetable.log)
            out = self.clearing.put_where_it_was(batch, firing)
            if out is not None:
                return out
            timetable.undo(mark)
        return None

    def _room_for(self, load: int, firing: Placed) -> list[int] | None:
        """The loads of a firing that can stay when another joins it: as many as fit, in an order drawn at random."""
        batches, profile = self.timetable.batches, firing.batch.profile
        alone = batches.make(profile, (load,))
        if alone is not None and batches.fit(alone, firing.kiln) is None:
            return None
        stay: list[int] = []
        for one in sorted(firing.batch.loads, key=self._key()):
            batch = batches.make(profile, (*stay, one, load))
            if batch is not None and batches.fit(batch, firing.kiln) is not None:
                stay.append(one)
        return stay

    def _key(self) -> Callable[[int], float]:
        """In which order loads may stay: the most wanted, the smallest, or any first."""
        loads, random = self.timetable.problem.loads, self.random
        kind = int(random.integers(3))
        if kind == 0:
            return lambda one: -loads[one].priority + 0.5 * float(random.random())
        if kind == 1:
            return lambda one: loads[one].footprint_cm2 * loads[one].height_mm / loads[one].priority
        return lambda one: float(random.random())
