"""A neighbourhood that clears a place: a load goes where it would by itself, and what is in its way goes elsewhere.

A casting has to end at its session: what keeps it out is not only what stands in its kiln, but whose hands and current
are taken at that hour, in other kilns and for other work. Firings near in time are too many to guess at; those that
break a rule beside it are few. (An ejection chain of one step: Glover, Discrete Applied Mathematics 65 (1996) 223.)
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from scheduler.planning.batches import Batch
from scheduler.planning.overdue import late_firings, overdue_load
from scheduler.planning.problem import ONE_HAND
from scheduler.planning.shortages import is_away, short_of_current, short_of_hands
from scheduler.planning.timetable import Placed, Timetable, heating_end

CLEAR = "a place cleared for a load"
BACK = "a firing as it was before"

LATER = 0.5
"""Share of the places that are looked for from a later moment on than the first possible one [-]."""

AT_ITS_TIME = 0.7
"""Share of the changed firings that are loaded no sooner than the firing that they replace [-]."""

TRIALS = 4
"""Loads and kilns that are tried until there is a place to clear."""

MOST_CLEARED = 8
"""Most firings that make way for one at once."""

MOST_BACK = 4
"""Most firings that go back to where they were at once."""


class Clearing:
    """Places beside what is fixed alone, and what else has to go for them.

    ``before`` are firings of a plan before; ``looked_for`` counts places looked for: work done.
    """

    def __init__(self, timetable: Timetable, random: np.random.Generator, before: Sequence[Placed] = ()) -> None:
        self.timetable = timetable
        self.random = random
        self.before = before
        self.looked_for = 0
        self.bare = Timetable(timetable.problem, timetable.batches)
        for firing in timetable.firings.values():
            if firing.fixed:
                self.bare.add(firing)

    def make_way(self) -> list[int] | None:
        """Place a load, and take out what is in its way; returns the loads that are out then.

        None where nothing was found, or something fixed is in the way: the timetable is to be undone then.
        """
        for _ in range(TRIALS):
            load = self.a_load()
            if load is None:
                return None
            placed = self._place(load)
            if placed is not None:
                return self._put([placed])
        return None

    def put_where_it_was(self, batch: Batch, firing: Placed) -> list[int] | None:
        """Put a batch in a firing's place, at its time or soon after, and take out what is in its way; as `make_way`.

        It may have some of the firing's loads, which goes, and others.
        """
        timetable = self.timetable
        fit, bounds = timetable.batches.fit(batch, firing.kiln), timetable.bounds(batch.loads)
        if fit is None or bounds is None:
            return None
        first = max(bounds[0], firing.place.load if self.random.random() < AT_ITS_TIME else 0)
        self.looked_for += 1
        placed = self.bare.best_place(
            batch, firing.kiln, fit, not_before=first, last_out_minutes=bounds[1], free_of_stages=True
        )
        if placed is None:
            return None
        gone = [load for load in firing.batch.loads if load not in batch.loads]
        for number in {timetable.firing_of[load] for load in gone}:
            timetable.remove(number)
        out = self._put([placed])
        return None if out is None else list(dict.fromkeys([*gone, *out]))

    def go_back(self) -> list[int] | None:
        """Put firings of the plan before where they were, and take out what is in their way; as `make_way`.

        They are one or a few that are near in time: loads that changed places go back together, or not at all.
        """
        timetable, random = self.timetable, self.random
        moved = [old for old in self.before if any(is_away(timetable, load) for load in old.batch.loads)]
        if not moved:
            return None
        middle = moved[int(random.integers(len(moved)))].place.start
        moved.sort(key=lambda old: (abs(old.place.start - middle), old.kiln))
        back = [timetable.priced(old) for old in moved[: int(random.integers(1, MOST_BACK + 1))]]
        return self._put(back) if all(timetable.keeps_stages(old) for old in back) else None

    def a_load(self) -> int | None:
        """A load without a place, or a late one; of stages that have no place, the first."""
        timetable, random = self.timetable, self.random
        problem = timetable.problem
        pending = timetable.pending()
        late = late_firings(timetable)
        if pending and (not late or random.random() < 0.5):
            load = pending[int(random.integers(len(pending)))]
            while (before := problem.loads[load].after) is not None:
                earlier = problem.load_number.get(before)
                if earlier is None or earlier in timetable.firing_of:
                    break
                load = earlier
            return load
        overdue = overdue_load(timetable, random, late)
        return None if overdue is None else overdue[1]

    def _place(self, load: int) -> Placed | None:
        """Where a load costs least by itself in a kiln drawn at random, from some moment on."""
        timetable, random = self.timetable, self.random
        batches = timetable.batches
        alone = batches.make(timetable.problem.loads[load].profile, (load,))
        bounds = timetable.bounds((load,))
        kilns = [] if alone is None else batches.kilns_for(alone)
        if alone is None or bounds is None or not kilns:
            return None
        kiln = kilns[int(random.integers(len(kilns)))]
        fit = batches.fit(alone, kiln)
        assert fit is not None  # `kilns_for` names only such kilns
        first = max(bounds[0], 0)
        if random.random() < LATER:
            first = int(random.integers(first, max(first, timetable.problem.slots) + 1))
        self.looked_for += 1
        return self.bare.best_place(alone, kiln, fit, not_before=first, last_out_minutes=bounds[1], free_of_stages=True)

    def _put(self, wanted: Sequence[Placed]) -> list[int] | None:
        """Put firings where they are to be; returns the loads that had to go and are in none of them, or None."""
        timetable = self.timetable
        out: list[Placed] = []
        new: list[int] = []

        def go(number: int | None) -> bool:
            gone = len(out) == MOST_CLEARED * len(wanted)
            if number is None or number in new or timetable.firings[number].fixed or gone:
                return False
            out.append(timetable.remove(number))
            return True

        taken = dict.fromkeys(load for placed in wanted for load in placed.batch.loads)
        own = {timetable.firing_of[load] for load in taken if load in timetable.firing_of}
        if not all(go(number) for number in sorted(own)):
            return None
        for placed in wanted:
            if not all(go(number) for number in timetable.in_its_kiln(placed)):
                return None
            new.append(timetable.add(placed))
        for number in new:
            while (users := self._takers(number, new)) is not None:
                if not users or not go(users[int(self.random.integers(len(users)))]):
                    return None
        for kiln in dict.fromkeys(firing.kiln for firing in (*wanted, *out)):
            while (unclean := timetable.unclean(kiln)) is not None:
                if not go(self._before(unclean) if unclean in new else unclean):
                    return None
        return [load for firing in out for load in firing.batch.loads if load not in timetable.firing_of]

    def _before(self, new: int) -> int | None:
        """The firing before a new one in its kiln, after which there is no room for the clean-out."""
        load = self.timetable.firings[new].place.load
        row = self.timetable.busy(self.timetable.firings[new].kiln)
        return next((number for begin, _, number in reversed(row) if number >= 0 and begin < load), None)

    def _takers(self, one: int, new: Sequence[int]) -> list[int] | None:
        """The firings that take hands or current in a slot in which a ``new`` one has too little; None: it has all."""
        timetable = self.timetable
        firings = {n: f for n, f in timetable.firings.items() if n not in new and not f.fixed}
        hands = short_of_hands(timetable, one)
        if hands is not None:
            return [number for number in firings if self._takes_hands(number, *hands)]
        current = short_of_current(timetable, one)
        if current is None:
            return None
        line, slot = current
        lines = timetable.problem.kiln_lines
        return [n for n, f in firings.items() if f.place.start <= slot < heating_end(f) and line in lines[f.kiln]]

    def _takes_hands(self, number: int, group: int, slot: int) -> bool:
        timetable = self.timetable
        firing = timetable.firings[number]
        place, phases = firing.place, firing.fit.phases
        if place.unload <= slot < place.unload + phases.unload:
            return group in timetable.problem.crew(firing.batch.profile, phases.is_hot).rows
        first = place.load - timetable.cleaning_slots(number)
        return group in ONE_HAND.rows and first <= slot < place.load + phases.load
