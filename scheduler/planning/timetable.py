"""The plan in the making: firings placed on the grid, with hands, current and kilns booked, and an undo."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.batches import NOWHERE, Batch, Batches, Fit
from scheduler.planning.clean_outs import MICRO, fill_gaps, first_unclean
from scheduler.planning.entries import Entries, Gaps
from scheduler.planning.heats import Phases, energy_costs
from scheduler.planning.placement import EARLINESS, Place, book, book_firing, find_place
from scheduler.planning.problem import FAR, ONE_HAND, Problem


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """A batch in a kiln at a place.

    ``late_cost`` is what its promises cost, ``moved_cost`` what it costs to differ from the plan before. A ``fixed``
    firing is under way, or held by a person, and is never touched. Where its kiln is being cleaned out for it already,
    ``cleaned_from`` is the slot before the plan in which that began: from then on the kiln is taken.
    """

    batch: Batch
    kiln: int
    fit: Fit
    place: Place
    late_cost: float
    moved_cost: float = 0.0
    fixed: bool = False
    cleaned_from: int | None = None

    def row(self, number: int) -> tuple[int, int, int]:
        """How it stands among the entries of its kiln, under a number."""
        return self.place.load if self.cleaned_from is None else self.cleaned_from, self.place.free, number


@dataclass(frozen=True, slots=True, eq=False)
class Asked:
    """What a batch asks of a place in any kiln.

    ``work`` is what its profile does, ``first`` the first slot of loading, and ``last_out_minutes`` the last minute
    out that later stages of its pieces leave [min after the plan's begin].
    """

    batch: Batch
    work: str
    first: int
    last_out_minutes: int


_NO_STAYS = (NOWHERE, NOWHERE)


class Timetable:
    """Firings by kiln and time, and what they book. Every change is logged, so that it can be undone."""

    def __init__(self, problem: Problem, batches: Batches) -> None:
        self.problem = problem
        self.batches = batches
        groups, slots = problem.people.shape
        self.people_used = np.zeros((groups, slots), dtype=np.int32)
        self.lines_used = np.zeros((len(problem.line_limit), slots), dtype=np.int32)
        self.firings: dict[int, Placed] = {}
        self.firing_of: dict[int, int] = {}
        self.by_profile: dict[str, dict[int, None]] = {}
        self._entries = [Entries(blocked) for blocked in problem.blocked]
        self._cleaning_micros = 0
        self._next = 0
        self.log: list[tuple[bool, int, Placed]] = []
        self.firing_price = problem.studio.prices.firing
        self._narrowed: dict[tuple[int, int], NDArray[np.bool_]] = {}

    @property
    def moved_price(self) -> float:
        """What a load that moves costs now [currency]; see `Batches`."""
        return self.batches.moved_price

    # -- what is booked ------------------------------------------------------------------------------------------

    def add(self, placed: Placed) -> int:
        """Book a firing; returns its number."""
        self._next += 1
        self._book(self._next, placed)
        self.log.append((True, self._next, placed))
        return self._next

    def remove(self, number: int) -> Placed:
        """Take a firing out of the timetable."""
        placed = self._unbook(number)
        self.log.append((False, number, placed))
        return placed

    def undo(self, mark: int) -> None:
        """Take back every change since the log was ``mark`` long."""
        while len(self.log) > mark:
            added, number, placed = self.log.pop()
            if added:
                self._unbook(number)
            else:
                self._book(number, placed)

    def _book(self, number: int, placed: Placed) -> None:
        self.firings[number] = placed
        self.by_profile.setdefault(placed.batch.profile, {})[number] = None
        for load in placed.batch.loads:
            self.firing_of[load] = number
        self._entries[placed.kiln].insert(placed.row(number), placed.batch.work)
        self._use(placed, 1)
        if self.problem.clean_outs.any:
            self._clean(number, placed, 1)

    def _unbook(self, number: int) -> Placed:
        placed = self.firings[number]
        if self.problem.clean_outs.any:
            self._clean(number, placed, -1)
        del self.firings[number]
        del self.by_profile[placed.batch.profile][number]
        for load in placed.batch.loads:
            del self.firing_of[load]
        self._entries[placed.kiln].remove(placed.row(number))
        self._use(placed, -1)
        return placed

    def _use(self, placed: Placed, sign: int) -> None:
        place, phases, problem = placed.place, placed.fit.phases, self.problem
        crew = problem.crew(placed.batch.profile, phases.is_hot)
        book_firing(
            self.people_used,
            crew.rows,
            crew.hands,
            self.lines_used,
            problem.kiln_lines[placed.kiln],
            problem.kiln_amps[placed.kiln],
            place.load,
            place.load + phases.load,
            place.start,
            heating_end(placed),
            place.unload,
            place.unload + phases.unload,
            sign,
        )

    def _clean(self, number: int, placed: Placed, sign: int) -> None:
        """Book (or take back) the clean-outs on both sides of a firing, and take back the one that it replaces."""
        row = self._entries[placed.kiln].rows
        at = self._entries[placed.kiln].index(placed.row(number))
        before = self._work_before(placed.kiln, at)
        self._clean_before(before, placed, sign)
        after = next((self.firings[n] for _, _, n in row[at + 1 :] if n >= 0), None)
        if after is not None:
            self._clean_before(placed.batch.work, after, sign)
            self._clean_before(before, after, -sign)

    def _work_before(self, kiln: int, index: int) -> int:
        """The number of the work that a kiln did last before an entry of its row."""
        row = self._entries[kiln].rows
        before = next((n for _, _, n in reversed(row[:index]) if n >= 0), None)
        return self.problem.clean_outs.first[kiln] if before is None else self.firings[before].batch.work

    def _clean_before(self, work: int, placed: Placed, sign: int) -> None:
        clean_outs = self.problem.clean_outs
        self._cleaning_micros += sign * int(clean_outs.micros[work, placed.batch.work])
        if clean_outs.takes_hands:
            load = placed.place.load
            slots = int(clean_outs.slots[work, placed.batch.work])
            book(self.people_used, ONE_HAND.rows, load - slots, load, sign)

    def busy(self, kiln: int) -> list[tuple[int, int, int]]:
        """``(from, to, firing)`` of a kiln in order; firing -1 is an outage."""
        return self._entries[kiln].rows

    def cleaning_slots(self, number: int) -> int:
        """Slots of the clean-out before a firing."""
        if not self.problem.clean_outs.any:
            return 0
        placed = self.firings[number]
        at = self._entries[placed.kiln].index(placed.row(number))
        return int(self.problem.clean_outs.slots[self._work_before(placed.kiln, at), placed.batch.work])

    def cleaning_cost(self) -> float:
        """Price of all clean-outs [currency]."""
        return self._cleaning_micros / MICRO

    def unclean(self, kiln: int) -> int | None:
        """The first firing of a kiln whose clean-out does not fit after what is before it, or has no hands."""
        clean_outs = self.problem.clean_outs
        if not clean_outs.any:
            return None
        entry = first_unclean(
            *self._entries[kiln].columns(),
            clean_outs.first[kiln],
            clean_outs.slots,
            clean_outs.takes_hands,
            self.people_used,
            self.problem.people,
        )
        return None if entry < 0 else self._entries[kiln].rows[entry][2]

    def open_to(self, load: int) -> list[int]:
        """The firings that a load may join by its profile, room aside; none that is fixed."""
        firings = self.firings
        return [
            number
            for host in self.batches.hosts(load)
            for number in self.by_profile.get(host, ())
            if not firings[number].fixed
        ]

    def in_its_kiln(self, placed: Placed) -> list[int]:
        """The booked firings that are in a firing's kiln at its time, in order, itself among them if it is booked."""
        place = placed.place
        row = self.busy(placed.kiln)
        return [number for begin, end, number in row if begin < place.free and end > place.load and number >= 0]

    def add_clean(self, placed: Placed) -> bool:
        """Book a firing if the clean-outs of its kiln have room then; whether it is booked."""
        mark = len(self.log)
        self.add(placed)
        if self.unclean(placed.kiln) is None:
            return True
        self.undo(mark)
        return False

    # -- what is possible ----------------------------------------------------------------------------------------

    def pending(self) -> list[int]:
        """The loads without a firing."""
        return [load for load in range(len(self.problem.loads)) if load not in self.firing_of]

    def bounds(self, loads: Iterable[int]) -> tuple[int, int] | None:
        """``(first slot of loading, last minute out)`` that other stages leave; None: one is missing."""
        problem = self.problem
        first = -FAR
        last = FAR
        grid = problem.grid_minutes
        for load in loads:
            row = problem.loads[load]
            if row.after is not None and row.after in problem.load_number:
                firing = self.firing_of.get(problem.load_number[row.after])
                if firing is None:
                    return None
                ready = out_minutes(self.firings[firing], grid) + row.gap_minutes
                first = max(first, problem.slots_of(ready))
            for later in problem.follower.get(load, ()):
                firing = self.firing_of.get(later)
                if firing is not None:
                    gap = math.ceil(problem.loads[later].gap_minutes)
                    last = min(last, self.firings[firing].place.load * grid - gap)
        return first, last

    def asked(self, batch: Batch, free_of_stages: bool = False) -> Asked | None:
        """What a batch asks of a place in any kiln; None where an earlier stage of its pieces has no place."""
        bounds = (-FAR, FAR) if free_of_stages else self.bounds(batch.loads)
        if bounds is None:
            return None
        work = self.problem.studio.profile_by_id[batch.profile].work
        return Asked(batch, work, max(batch.ready, bounds[0], 0), bounds[1])

    def best_place(
        self,
        batch: Batch,
        kiln: int,
        fit: Fit,
        *,
        not_before: int = 0,
        only_start: int = -1,
        last_out_minutes: int = FAR,
        free_of_stages: bool = False,
        haste: float = 0.0,
        beat: float = math.inf,
    ) -> Placed | None:
        """The cheapest place of a batch in a kiln beside all that is booked; None where there is none.

        It is loaded in slot ``not_before`` or later. ``free_of_stages`` leaves earlier and later stages of the same
        pieces aside. ``haste`` is what a slot sooner is worth [currency per slot] while looking; the place found is
        priced without it. Only a place whose guide, clean-outs and haste together cost less than ``beat`` is found
        [currency].
        """
        asked = self.asked(batch, free_of_stages)
        if asked is None:
            return None
        if last_out_minutes < asked.last_out_minutes:
            asked = replace(asked, last_out_minutes=last_out_minutes)
        place = self.place_for(asked, kiln, fit, not_before=not_before, only_start=only_start, haste=haste, beat=beat)
        return None if place is None else self.at_place(batch, kiln, fit, place)

    def place_for(
        self,
        asked: Asked,
        kiln: int,
        fit: Fit,
        *,
        not_before: int = 0,
        only_start: int = -1,
        haste: float = 0.0,
        beat: float = math.inf,
    ) -> Place | None:
        """The place that `best_place` finds, for what a batch has ``asked``."""
        problem, phases, batch = self.problem, fit.phases, asked.batch
        gaps = self._gaps_for(kiln, batch.work)
        crew = problem.crew(batch.profile, phases.is_hot)
        elsewhere = sum([stay.kiln != kiln for stay in batch.stays]) * self.moved_price
        found, load, start, unload, free, energy, guide, cleaning = find_place(
            max(asked.first, not_before),
            asked.last_out_minutes,
            phases.load,
            phases.is_hot,
            phases.hot,
            phases.end_slot,
            phases.safe,
            phases.latest,
            phases.unload,
            phases.out_minutes,
            phases.cold,
            phases.open_cool,
            *gaps,
            problem.clean_outs.takes_hands,
            self.people_used,
            problem.people,
            crew.rows,
            crew.hands,
            self.lines_used,
            problem.line_limit,
            problem.kiln_lines[kiln],
            problem.kiln_amps[kiln],
            problem.heat_ok[kiln, asked.work],
            self.starts_ok(kiln, phases),
            self.ends_ok(kiln, phases),
            energy_costs(problem, phases),
            phases.least_energy,
            problem.price,
            phases.hold_kw * problem.grid_minutes / 60.0,
            batch.session_slot,
            *batch.wish_table,
            *(batch.stays_by_kiln.get(kiln, _NO_STAYS) if batch.stays else _NO_STAYS),
            self.moved_price,
            problem.grid_minutes,
            only_start,
            EARLINESS * len(batch.loads) + haste,
            beat - elsewhere,
        )
        if not found:
            return None
        return Place(load, start, unload, free, energy, guide - haste * unload + elsewhere, cleaning)

    def ends_ok(self, kiln: int, phases: Phases) -> NDArray[np.bool_]:
        """Slots in which the heating of a firing may end, by its real mass too while the search rounds that up."""
        return self._with_all(self.problem.end_ok[kiln], kiln, -phases.end_early)

    def starts_ok(self, kiln: int, phases: Phases) -> NDArray[np.bool_]:
        """Slots in which the heating of a firing may begin, likewise."""
        return self._with_all(self.problem.start_ok[kiln], kiln, phases.start_late)

    def _with_all(self, allowed: NDArray[np.bool_], kiln: int, on: int) -> NDArray[np.bool_]:
        """The allowed slots of a kiln from which all are allowed up to so many on, or back below nought."""
        if self.batches.exact or not on:
            return allowed
        key = kiln, on
        if key not in self._narrowed:
            narrowed = allowed.copy()
            for by in range(1, abs(on) + 1):
                if on > 0:
                    narrowed[:-by] &= allowed[by:]
                else:
                    narrowed[by:] &= allowed[:-by]
            self._narrowed[key] = narrowed
        return self._narrowed[key]

    def is_attended(self, kiln: int, phases: Phases, start: int) -> bool:
        """Whether somebody is there when heating begins, and when that of cool work ends, where somebody has to be."""
        if not self.starts_ok(kiln, phases)[start]:
            return False
        end = start + phases.end_slot
        return phases.is_hot or (end < self.problem.slots and bool(self.ends_ok(kiln, phases)[end]))

    def _gaps_for(self, kiln: int, work: int) -> Gaps:
        """The gaps of a kiln for a firing of some work."""
        entries = self._entries[kiln]
        clean_outs, gaps = self.problem.clean_outs, entries.gaps()
        if not clean_outs.any:
            return gaps
        opens, closes = gaps.opens, gaps.closes.copy()
        cleaning = np.zeros(len(opens), dtype=np.int32)
        costs = np.zeros(len(opens))
        loads, frees, works = entries.columns()
        fill_gaps(
            loads,
            frees,
            works,
            clean_outs.first[kiln],
            work,
            clean_outs.slots,
            clean_outs.micros,
            clean_outs.takes_hands,
            self.people_used,
            self.problem.people,
            closes,
            cleaning,
            costs,
        )
        costs /= MICRO
        return Gaps(opens, closes, cleaning, costs, float(costs.min()))

    def at_place(self, batch: Batch, kiln: int, fit: Fit, place: Place) -> Placed:
        """A batch at a place that was found for it, and what that costs."""
        out = place.unload * self.problem.grid_minutes + fit.phases.out_minutes
        return Placed(batch, kiln, fit, place, batch.late_cost(out), batch.moved(kiln, out) * self.moved_price)

    def joined(self, firing: Placed, batch: Batch, fit: Fit, more: float) -> Placed:
        """A firing with more loads in it, at its place; ``more`` is what this adds to the guide."""
        return self.at_place(batch, firing.kiln, fit, firing.place._replace(guide=firing.place.guide + more))

    def placed_at(self, batch: Batch, kiln: int, fit: Fit, load: int, start: int, unload: int) -> Placed:
        """A batch at given slots, whether or not they are free: see `is_sound`."""
        problem, phases = self.problem, fit.phases
        energy = float(energy_costs(problem, phases)[max(0, start)])
        if phases.is_hot:
            extra = problem.price[max(0, start + phases.safe) : max(0, unload + phases.unload)].sum()
            energy += float(extra) * phases.hold_kw * problem.grid_minutes / 60.0
            free = unload + phases.unload + min(phases.cold, phases.open_cool)
        else:
            free = start + phases.free_after(unload + phases.unload - start)
        out = unload * problem.grid_minutes + phases.out_minutes
        late = batch.guide_cost(out)
        moved = batch.moved(kiln, out) * self.moved_price
        guide = energy + late + moved + EARLINESS * len(batch.loads) * unload
        return self.at_place(batch, kiln, fit, Place(load, start, unload, free, energy, guide))

    def next_unload(self, batch: Batch, phases: Phases, start: int, wanted: int) -> int:
        """The first slot from ``wanted`` on, and within the hold, in which hands can unload; ``wanted`` if none can."""
        crew = self.problem.crew(batch.profile, phases.is_hot)
        free = crew.suffices(self.problem.people - self.people_used)
        last = min(self.problem.slots - phases.unload, start + phases.latest)
        for slot in range(wanted, last + 1):
            if free[slot : slot + max(1, phases.unload)].all():
                return slot
        return wanted

    def is_sound(self) -> bool:
        """Whether hands, current and kilns suffice for all that is booked, and stages keep their order."""
        problem = self.problem
        if np.any(self.people_used > problem.people) or np.any(self.lines_used > problem.line_limit[:, None]):
            return False
        for entries in self._entries:
            if any(second[0] < first[1] for first, second in pairwise(entries.rows) if first[2] >= 0 or second[2] >= 0):
                return False
        if any(self.unclean(kiln) is not None for kiln in range(len(problem.kilns))):
            return False
        return all(self.keeps_stages(firing) for firing in self.firings.values())

    def keeps_stages(self, placed: Placed) -> bool:
        """Whether the other stages of the same pieces, as they are booked, allow a firing where it is."""
        bounds = self.bounds(placed.batch.loads)
        return (
            bounds is not None
            and placed.place.load >= bounds[0]
            and out_minutes(placed, self.problem.grid_minutes) <= bounds[1]
        )

    def reprice(self, moved_price: float) -> None:
        """Ask another price for a load that moves [currency], everywhere and of what is booked; forgets the log."""
        self.batches.moved_price = moved_price
        self.restore([self.priced(firing) for firing in self.snapshot()])

    def priced(self, firing: Placed) -> Placed:
        """A firing at this timetable's price of moving."""
        moved = firing.batch.moved(firing.kiln, out_minutes(firing, self.problem.grid_minutes)) * self.moved_price
        place = firing.place._replace(guide=firing.place.guide + moved - firing.moved_cost)
        return replace(firing, place=place, moved_cost=moved)

    # -- what it costs -------------------------------------------------------------------------------------------

    def cost(self) -> float:
        """Cost of the timetable on the grid [currency]: lateness, unplaced loads, energy, firings, changes."""
        firings = self.firings.values()
        placed = sum(f.late_cost + f.moved_cost + f.place.energy + self.firing_price for f in firings)
        return placed + self.cleaning_cost() + self.unplaced_cost()

    def guide(self) -> float:
        """What the search minimises: the cost with the wishes of later stages and a leaning to the early."""
        return self.placed_guide() + self.unplaced_cost()

    def placed_guide(self) -> float:
        """The part of it that the firings make."""
        firings = self.firings.values()
        return sum([f.place.guide for f in firings]) + self.firing_price * len(firings) + self.cleaning_cost()

    def unplaced_cost(self) -> float:
        """Price of the loads without a firing [currency]."""
        loads = self.problem.loads
        left_out = sum(loads[load].priority for load in self.pending())
        return self.problem.studio.prices.unplaced * left_out

    def snapshot(self) -> tuple[Placed, ...]:
        """The firings as they stand, in order of loading."""
        return tuple(sorted(self.firings.values(), key=lambda f: (f.place.load, f.kiln)))

    def restore(self, firings: Sequence[Placed]) -> None:
        """Make the timetable hold exactly ``firings``; forgets the log."""
        for number in list(self.firings):
            self._unbook(number)
        self.log.clear()
        for placed in firings:
            self._next += 1
            self._book(self._next, placed)


def heating_end(placed: Placed) -> int:
    """The slot at which heating has ended: the end of a hot session, or of the last hold."""
    phases = placed.fit.phases
    return placed.place.unload + phases.unload if phases.is_hot else placed.place.start + phases.hot


def out_minutes(placed: Placed, grid_minutes: int) -> int:
    """When the loads are out [min after the plan's begin]."""
    return placed.place.unload * grid_minutes + placed.fit.phases.out_minutes
