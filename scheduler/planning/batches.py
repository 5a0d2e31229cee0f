"""Which loads may share a firing, and whether such a batch fits a kiln."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from enum import Enum
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.heats import Charge, Heats, Phases, mass_step_kg
from scheduler.planning.layers import Layers, Packing
from scheduler.planning.problem import Problem
from shared.loads import Load, session_minutes, size_row
from shared.profiles import Profile


@dataclass(frozen=True, slots=True)
class Stay:
    """Where a load was in the plan before: its kiln, and the day it was out ``[begin, end)`` [min after the begin]."""

    kiln: int
    begin: int
    end: int

    def is_kept(self, kiln: int, out_minutes: int) -> bool:
        """Whether a load that is out of a kiln at a minute is where it was, on its day."""
        return self.kiln == kiln and self.begin <= out_minutes < self.end


Promise = tuple[float, float, float]
"""When something was promised [min after the plan's begin], its price per minute, and its price for late at all."""


def late_price(out_minutes: int, promises: Sequence[Promise]) -> float:
    """What it costs to be out at a minute [currency]."""
    late = 0.0
    for at, each, flat in promises:
        if out_minutes > at:
            late += flat + (out_minutes - at) * each
    return late


NOWHERE: NDArray[np.float64] = np.empty(0)
_NO_PROMISES = (NOWHERE, NOWHERE, NOWHERE)


@dataclass(eq=False)
class Batch:
    """Loads fired together with the segments of one profile; ``key`` says which. Nothing of it changes.

    Not frozen, which would more than double the time that the search takes to make one.

    ``wishes`` are the ``promises`` and what later stages of the same pieces ask of this one. ``work`` is the number of
    its work among the clean-outs. ``area_cm2`` and ``volume`` [cm² mm] are the sums of its loads.
    """

    profile: str
    row: int | None
    loads: tuple[int, ...]
    ware_kg: float
    ready: int
    session_slot: int
    promises: tuple[Promise, ...]
    wishes: tuple[Promise, ...]
    area_cm2: float = 0.0
    volume: float = 0.0
    work: int = 0
    stays: tuple[Stay, ...] = ()

    @cached_property
    def key(self) -> tuple[str, tuple[int, ...]]:
        """Profile and loads."""
        return self.profile, self.loads

    def late_cost(self, out_minutes: int) -> float:
        """What it costs that the loads are out ``out_minutes`` after the plan's begin [currency]."""
        return late_price(out_minutes, self.promises)

    def guide_cost(self, out_minutes: int) -> float:
        """The same with what later stages ask."""
        return late_price(out_minutes, self.wishes)

    def at_any_price(self) -> Batch:
        """The same loads, wanted so much that the cheapest place is the soonest."""
        return replace(self, wishes=((-1e6, 1e3, 0.0),))

    @cached_property
    def wish_table(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """The wishes as columns: minutes, prices per minute, prices for late at all."""
        if not self.wishes:
            return _NO_PROMISES
        table = np.array(self.wishes).T
        return table[0].copy(), table[1].copy(), table[2].copy()

    def moved(self, kiln: int, out_minutes: int) -> int:
        """How many of the loads change their kiln, or the day they are out, against the plan before [-]."""
        if not self.stays:
            return 0
        return sum([not stay.is_kept(kiln, out_minutes) for stay in self.stays])

    @cached_property
    def stays_by_kiln(self) -> dict[int, tuple[NDArray[np.float64], NDArray[np.float64]]]:
        """Begins and ends of the days of loads that were planned for a kiln."""
        return {
            kiln: (
                np.array([float(stay.begin) for stay in self.stays if stay.kiln == kiln]),
                np.array([float(stay.end) for stay in self.stays if stay.kiln == kiln]),
            )
            for kiln in {stay.kiln for stay in self.stays}
        }


MOST_KEPT = 100_000
"""Batches remembered; with more all are forgotten, so that a long search of a large studio stays within its memory."""

_NO_ROW = -1
_NO_SESSION = -1
_OFF_GRID = -2
_ANY_TIME = -(1 << 62)


@dataclass(frozen=True, slots=True)
class Facts:
    """What of a load decides whom it may be fired with, in the search's own terms.

    ``promises`` holds its promise, if any: ``(minute, price per minute, price for late at all)``. ``one_family`` says
    that its profile fires loads of one family alone. ``earlier`` is the number of its earlier stage, or -1;
    ``session_slot`` -1 for no booking, -2 for one that the grid does not have.
    """

    profile: str
    ready: int
    session_slot: int
    mass_kg: float
    most_c: float
    alone: bool
    family: str
    one_family: bool
    earlier: int
    promises: tuple[Promise, ...]
    wishes: tuple[Promise, ...]
    area_cm2: float
    volume: float


def _facts(problem: Problem, load: Load, asked: Sequence[tuple[float, float]]) -> Facts:
    prices = problem.studio.prices
    promises: tuple[Promise, ...] = ()
    if load.promised is not None:
        by_minute, flat = prices.late_hour / 60.0 * load.priority, prices.late_load * load.priority
        promises = ((load.promised - problem.begin, by_minute, flat),)
    session = _NO_SESSION
    if load.session_at is not None:
        session, off = divmod(load.session_at - problem.begin, problem.grid_minutes)
        session = _OFF_GRID if off or session < 0 else session
    return Facts(
        profile=load.profile,
        ready=problem.slot_after(load.ready) if load.ready is not None else 0,
        session_slot=session,
        mass_kg=load.mass_kg,
        most_c=math.inf if load.max_temperature_c is None else load.max_temperature_c,
        alone=load.alone,
        family=load.family_key,
        one_family=problem.studio.profile_by_id[load.profile].one_family,
        earlier=problem.load_number.get(load.after or "", -1),
        promises=promises,
        wishes=(*promises, *((at, weight, 0.0) for at, weight in asked)),
        area_cm2=load.footprint_cm2,
        volume=load.footprint_cm2 * load.height_mm,
    )


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A batch in a kiln: its layers and phases."""

    layers: Layers
    phases: Phases


class _Unknown(Enum):
    """What is kept for a kiln that a batch has not been fitted to yet."""

    UNKNOWN = 0


_UNKNOWN: Final = _Unknown.UNKNOWN

_Fits = list[Fit | _Unknown | None]
"""How one batch fits each kiln, by the kiln's number."""


class Batches:
    """Makes batches and fits them to kilns; remembers both.

    While ``exact`` is set, fits are computed with a batch's real mass instead of the next step of the ladder.
    ``moved_price`` is what a load that moves costs in every timetable of these batches [currency]: the studio's price,
    or more while a re-plan is searched for.
    """

    def __init__(self, problem: Problem, heats: Heats, stays: dict[int, Stay] | None = None) -> None:
        self.problem = problem
        self.stays = stays or {}
        self.moved_price = problem.studio.prices.moved
        self.heats = heats
        self._made: dict[tuple[str, tuple[int, ...]], Batch | None] = {}
        # Kept by the batch itself, not by its key: the search asks some ten thousand times a second.
        self._fits: dict[Batch, _Fits] = {}
        self._exact_fits: dict[Batch, _Fits] = {}
        self.guides = self._guides()
        self._facts = [_facts(problem, load, self.guides[number]) for number, load in enumerate(problem.loads)]
        self._rows: dict[str, dict[int, int | None]] = {profile.id: {} for profile in problem.studio.profiles}
        self._guests: dict[str, frozenset[str]] = {}
        self._peaks: dict[tuple[str, int | None], float] = {}
        self.exact = False
        # Known since `overdue` was first asked for them.
        self.least_late_costs: dict[int, float] = {}
        self.last_hope_slot: int | None = None
        # Kilns that may take something, room aside, as masks: the bit of a kiln's number is set.
        masks = {kilns: self._mask_of(kilns) for kilns in {load.kilns for load in problem.loads}}
        self._masks_of_loads = [masks[load.kilns] for load in problem.loads]
        self._masks_of_courses: dict[tuple[str, int | None], int] = {}
        self._kilns_of_mask: dict[int, tuple[int, ...]] = {}
        self._work_of = {p.id: problem.clean_outs.work_of.get(p.work, 0) for p in problem.studio.profiles}
        self._packing = Packing(problem.kilns, problem.loads)
        self._leads = self._leading_profiles()
        self._rooms = [
            (oven.shelf_gap_mm, oven.shelf_area_cm2 * oven.height_mm * (1.0 + 1e-9)) for oven in problem.kilns
        ]

    def of_loads(self, numbers: Sequence[int]) -> Batches:
        """The batches of some loads, numbered anew in their order, at the same price of moving."""
        stays = {number: self.stays[load] for number, load in enumerate(numbers) if load in self.stays}
        own = Batches(self.problem.of_loads(numbers), self.heats, stays)
        own.moved_price = self.moved_price
        return own

    @contextmanager
    def with_real_masses(self) -> Iterator[None]:
        """For a while, all is computed with the real masses; then as it was before."""
        before, self.exact = self.exact, True
        try:
            yield
        finally:
            self.exact = before

    def _leading_profiles(self) -> dict[str, tuple[str, ...]]:
        """For each profile, those whose firings its loads may join: its own, and those that name it."""
        profiles = self.problem.studio.profiles
        return {
            p.id: (p.id, *(host.id for host in profiles if p.id in host.shares_with and host.id != p.id))
            for p in profiles
        }

    def hosts(self, load: int) -> tuple[str, ...]:
        """Profiles whose firings may take a load, its own first."""
        return self._leads[self.problem.loads[load].profile]

    def make(self, profile: str, loads: Sequence[int]) -> Batch | None:
        """The batch of ``loads`` fired by ``profile``; None where they may not share."""
        key = profile, tuple(sorted(loads))
        try:
            return self._made[key]
        except KeyError:
            if len(self._made) >= MOST_KEPT:
                self._forget()
            batch = self._made[key] = self._make(*key)
            return batch

    def _forget(self) -> None:
        self._made.clear()
        self._fits.clear()
        self._exact_fits.clear()
        self.heats.forget_costs()

    def _make(self, profile_id: str, numbers: tuple[int, ...]) -> Batch | None:
        """One walk over the loads for all that a batch is, since the search makes some thousand a second."""
        guests = self._guests_of(profile_id)
        rows = self._rows[profile_id]
        several = len(numbers) > 1
        is_led = one_family = False
        families: set[str] = set()
        row: int | None = None
        ready, session_slot, most_c = _ANY_TIME, _NO_SESSION, math.inf
        ware_kg = area_cm2 = volume = 0.0
        promises: list[Promise] = []
        wishes: list[Promise] = []
        for number in numbers:
            fact = self._facts[number]
            if fact.profile not in guests or fact.session_slot == _OFF_GRID:
                return None
            if several and (fact.alone or (fact.earlier >= 0 and fact.earlier in numbers)):
                return None
            if fact.session_slot >= 0:
                if session_slot not in (_NO_SESSION, fact.session_slot):
                    return None
                session_slot = fact.session_slot
            own_row = rows[number] if number in rows else self._row(profile_id, number)
            if own_row is not None:
                if own_row == _NO_ROW:
                    return None
                if row is None or own_row > row:
                    row = own_row
            if fact.profile == profile_id:
                is_led = True
            if fact.one_family:
                one_family = True
            families.add(fact.family)
            if fact.ready > ready:
                ready = fact.ready
            if fact.most_c < most_c:
                most_c = fact.most_c
            ware_kg += fact.mass_kg
            area_cm2 += fact.area_cm2
            volume += fact.volume
            promises += fact.promises
            wishes += fact.wishes
        if not is_led or (one_family and len(families) > 1):
            return None
        if most_c < self._peak_c(profile_id, row) - 1e-9:
            return None
        stays = self.stays
        return Batch(
            profile_id,
            row,
            numbers,
            ware_kg,
            ready,
            session_slot,
            tuple(promises),
            tuple(wishes),
            area_cm2,
            volume,
            self._work_of[profile_id],
            tuple([stays[number] for number in numbers if number in stays]) if stays else (),
        )

    def _guests_of(self, host_id: str) -> frozenset[str]:
        """The profiles whose loads may be fired by a profile, itself among them: sizes and temperatures aside."""
        if host_id not in self._guests:
            host = self.problem.studio.profile_by_id[host_id]
            self._guests[host_id] = frozenset(
                guest.id
                for guest in self.problem.studio.profiles
                if (guest.id == host_id or guest.id in host.shares_with) and self._may_ride(host, guest)
            )
        return self._guests[host_id]

    def _row(self, profile_id: str, number: int) -> int | None:
        """The size row that a load asks for in a firing of a profile; `_NO_ROW` where there is none."""
        try:
            row = size_row(self.problem.studio.profile_by_id[profile_id], [self.problem.loads[number]])
        except LookupError:
            row = _NO_ROW
        self._rows[profile_id][number] = row
        return row

    def _peak_c(self, profile_id: str, row: int | None) -> float:
        key = profile_id, row
        if key not in self._peaks:
            self._peaks[key] = self.problem.studio.profile_by_id[profile_id].peak_c(row)
        return self._peaks[key]

    def _may_ride(self, host: Profile, guest: Profile) -> bool:
        """Whether a firing of ``host`` gives what ``guest`` asks for: the vent, people and care at unloading."""
        studio = self.problem.studio
        return (
            host.unload == guest.unload
            and host.unload_people >= guest.unload_people
            and (host.vent or not guest.vent)
            and studio.unload_below_c(host) <= studio.unload_below_c(guest) + 1e-9
        )

    def clash(self, one: int, other: int) -> bool:
        """Whether two loads, each of which may join a firing, may not both: other sessions, or stages of one piece."""
        first, second = self._facts[one], self._facts[other]
        sessions = {fact.session_slot for fact in (first, second) if fact.session_slot >= 0}
        return len(sessions) > 1 or first.earlier == other or second.earlier == one

    def is_too_full(self, batch: Batch, load: int, kiln: int) -> bool:
        """Whether a load surely has no room in a kiln beside a batch, by room alone: layers may say so of others."""
        fact = self._facts[load]
        shelf_gap_mm, volume = self._rooms[kiln]
        return batch.volume + fact.volume + shelf_gap_mm * (batch.area_cm2 + fact.area_cm2) > volume

    def fit(self, batch: Batch, kiln: int) -> Fit | None:
        """How a batch lies in a kiln and how long it takes there; None where it may not, does not, or cannot."""
        kept = self._exact_fits if self.exact else self._fits
        fits = kept.get(batch)
        if fits is None:
            fits = self._fits_begun(batch, kept)
        fit = fits[kiln]
        if fit is _UNKNOWN:
            fit = fits[kiln] = self._fit(batch, kiln)
        return fit

    def _fits_begun(self, batch: Batch, kept: dict[Batch, _Fits]) -> _Fits:
        """Where the fits of a batch are kept: those of its twin, where the same loads were only wanted otherwise."""
        if len(kept) >= MOST_KEPT:
            self._forget()
        twin = self._made.get(batch.key)
        fits = None if twin is None else kept.get(twin)
        if fits is None:
            fits = [None] * len(self.problem.kilns)
            for kiln in self.kilns_that_may(batch):
                fits[kiln] = _UNKNOWN
        kept[batch] = fits
        return fits

    def _fit(self, batch: Batch, kiln: int) -> Fit | None:
        charge = self._charge(batch, kiln, self.exact)
        phases = None if charge is None else self.heats.phases(charge[0])
        return None if charge is None or phases is None else Fit(charge[1], phases)

    def kilns_for(self, batch: Batch) -> list[int]:
        """The kilns that may fire a batch, and have room for it."""
        return [kiln for kiln in self.kilns_that_may(batch) if self.fit(batch, kiln) is not None]

    def kilns_that_may(self, batch: Batch) -> tuple[int, ...]:
        """The kilns that may fire a batch, room and power aside, in order: by work, vent, heat and the loads' wishes.

        No other kiln fires it: `fit` and `charge` are None there.
        """
        mask = self._mask(batch)
        kilns = self._kilns_of_mask.get(mask)
        if kilns is None:
            kilns = tuple(kiln for kiln in range(len(self.problem.kilns)) if mask >> kiln & 1)
            self._kilns_of_mask[mask] = kilns
        return kilns

    def _mask(self, batch: Batch) -> int:
        course = batch.profile, batch.row
        mask = self._masks_of_courses.get(course)
        if mask is None:
            mask = self._masks_of_courses[course] = self._mask_of_course(*course)
        for load in batch.loads:
            mask &= self._masks_of_loads[load]
        return mask

    def _mask_of(self, named: tuple[str, ...]) -> int:
        """The kilns that a load allows which names some: any, where it names none."""
        return sum(1 << number for number, oven in enumerate(self.problem.kilns) if not named or oven.id in named)

    def _mask_of_course(self, profile_id: str, row: int | None) -> int:
        """The kilns that give what a profile and a size row ask for: the work, the vent, the temperature."""
        profile = self.problem.studio.profile_by_id[profile_id]
        peak_c = self._peak_c(profile_id, row)
        return sum(
            1 << number
            for number, oven in enumerate(self.problem.kilns)
            if profile.work in oven.work
            and (oven.vented or not profile.vent)
            and peak_c <= oven.max_temperature_c + 1e-9
        )

    def charge(self, batch: Batch, kiln: int, exact: bool = False) -> tuple[Charge, Layers] | None:
        """What decides the course of a batch in a kiln, and its layers; None where the kiln may not take it."""
        return self._charge(batch, kiln, exact) if self._mask(batch) >> kiln & 1 else None

    def _charge(self, batch: Batch, kiln: int, exact: bool) -> tuple[Charge, Layers] | None:
        """The same in a kiln that may take it, room aside."""
        layers = self._packing.layers(kiln, batch.loads)
        if layers is None:
            return None
        session = 0.0
        if self.problem.studio.profile_by_id[batch.profile].unload == "hot":
            session = session_minutes(self.problem.kilns[kiln], [self.problem.loads[load] for load in batch.loads])
        mass_kg = batch.ware_kg if exact else mass_step_kg(batch.ware_kg)
        return Charge(kiln, batch.profile, batch.row, mass_kg, len(layers), session), layers

    def prepare_alone(self) -> None:
        """Compute in one call how each load would fare by itself in each kiln."""
        charges = []
        for number in range(len(self.problem.loads)):
            batch = self.make(self.problem.loads[number].profile, (number,))
            if batch is not None:
                for kiln in range(len(self.problem.kilns)):
                    charge = self.charge(batch, kiln)
                    if charge is not None:
                        charges.append(charge[0])
        self.heats.prepare(charges)

    def _guides(self) -> dict[int, tuple[tuple[float, float], ...]]:
        """What later stages ask of each load: out early enough for them, at their price.

        The length of a later stage is guessed here from its profile alone (rates and holds, and a day for cooling,
        loading and people); it steers the search and never enters a plan's cost.
        """
        problem = self.problem
        price = problem.studio.prices.late_hour / 60.0
        guides: dict[int, tuple[tuple[float, float], ...]] = {}

        def ask(number: int, depth: int) -> tuple[tuple[float, float], ...]:
            found: list[tuple[float, float]] = []
            for later in problem.follower.get(number, ()):
                load = problem.loads[later]
                lead = load.gap_minutes + 24.0 * 60.0
                own: list[tuple[float, float]] = []
                if load.promised is not None:
                    own.append((load.promised - problem.begin, price * load.priority))
                end = problem.slots * problem.grid_minutes
                # A later stage that gets no place at all is dearest: be out in time for that too.
                own.append((end - 24.0 * 60.0, price * load.priority))
                if depth < len(problem.loads):
                    own += guides[later] if later in guides else ask(later, depth + 1)
                found += [(promise - lead, weight) for promise, weight in own]
            return tuple(found)

        for number in range(len(problem.loads)):
            guides[number] = ask(number, 0)
        return guides
