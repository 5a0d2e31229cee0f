"""Which loads may share a firing, and whether such a batch fits a kiln."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.heats import Charge, Heats, Phases, mass_step_kg
from scheduler.planning.layers import pack
from scheduler.planning.problem import Problem
from shared.loads import session_minutes, size_row
from shared.profiles import Profile


@dataclass(frozen=True, slots=True)
class Stay:
    """Where a load was in the plan before: its kiln, and the day it was out ``[begin, end)`` [min after the begin]."""

    kiln: int
    begin: int
    end: int


def late_price(
    out_minutes: int, promised: NDArray[np.float64], weight: NDArray[np.float64], once: NDArray[np.float64]
) -> float:
    """What it costs to be out at a minute, by promises, their prices per minute, and their prices for late at all."""
    promises = zip(promised.tolist(), weight.tolist(), once.tolist(), strict=True)
    late: list[float] = [flat + (out_minutes - at) * each for at, each, flat in promises if out_minutes > at]
    return sum(late)


NOWHERE: NDArray[np.float64] = np.empty(0)


@dataclass(frozen=True, eq=False)
class Batch:
    """Loads fired together with the segments of one profile; ``key`` is its identity.

    ``promised``, ``weight`` and ``once`` hold each promise [min after the plan's begin], its price per minute and its
    price for being late at all; those of the ``guide`` add what later stages of the same pieces ask of this one.
    ``work`` is the number of its work among the clean-outs.
    """

    profile: str
    row: int | None
    loads: tuple[int, ...]
    ware_kg: float
    ready: int
    session_slot: int
    promised: NDArray[np.float64]
    weight: NDArray[np.float64]
    guide_promised: NDArray[np.float64]
    guide_weight: NDArray[np.float64]
    once: NDArray[np.float64]
    guide_once: NDArray[np.float64]
    work: int = 0
    stays: tuple[Stay, ...] = ()

    @cached_property
    def key(self) -> tuple[str, tuple[int, ...]]:
        """Profile and loads."""
        return self.profile, self.loads

    def late_cost(self, out_minutes: int) -> float:
        """What it costs that the loads are out ``out_minutes`` after the plan's begin [currency]."""
        return late_price(out_minutes, self.promised, self.weight, self.once)

    def guide_cost(self, out_minutes: int) -> float:
        """The same with what later stages ask."""
        return late_price(out_minutes, self.guide_promised, self.guide_weight, self.guide_once)

    def at_any_price(self) -> Batch:
        """The same loads, wanted so much that the cheapest place is the soonest."""
        return replace(self, guide_promised=np.array([-1e6]), guide_weight=np.array([1e3]), guide_once=np.zeros(1))

    def moved(self, kiln: int, out_minutes: int) -> int:
        """How many of the loads change their kiln, or the day they are out, against the plan before [-]."""
        return sum(stay.kiln != kiln or not stay.begin <= out_minutes < stay.end for stay in self.stays)

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


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A batch in a kiln: its layers and phases."""

    layers: tuple[tuple[str, ...], ...]
    phases: Phases


class Batches:
    """Makes batches and fits them to kilns; remembers both.

    While ``exact`` is set, fits are computed with a batch's real mass instead of the next step of the ladder.
    """

    def __init__(self, problem: Problem, heats: Heats, stays: dict[int, Stay] | None = None) -> None:
        self.problem = problem
        self.stays = stays or {}
        self.heats = heats
        self._made: dict[tuple[str, tuple[int, ...]], Batch | None] = {}
        self._fits: dict[tuple[str, tuple[int, ...], int, bool], Fit | None] = {}
        self.exact = False
        self._leads = self._leading_profiles()
        self.guides = self._guides()

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
        if key not in self._made:
            self._made[key] = self._make(*key)
        return self._made[key]

    def _make(self, profile_id: str, numbers: tuple[int, ...]) -> Batch | None:
        problem = self.problem
        profiles = problem.studio.profile_by_id
        profile = profiles[profile_id]
        loads = [problem.loads[number] for number in numbers]
        own = {load.profile for load in loads}
        if profile_id not in own or not own <= {profile_id, *profile.shares_with}:
            return None
        if not all(self._may_ride(profile, profiles[name]) for name in own):
            return None
        if len(loads) > 1:
            if any(load.alone for load in loads):
                return None
            if any(profiles[name].one_family for name in own) and len({load.family for load in loads}) > 1:
                return None
            if len({load.session_at for load in loads if load.session_at is not None}) > 1:
                return None
            together = set(numbers)
            if any(problem.load_number.get(load.after or "", -1) in together for load in loads):
                return None
        try:
            row = size_row(profile, loads)
        except LookupError:
            return None
        peak_c = profile.peak_c(row)
        if any(load.max_temperature_c is not None and load.max_temperature_c < peak_c - 1e-9 for load in loads):
            return None
        session_slot = -1
        for load in loads:
            if load.session_at is not None:
                if (load.session_at - problem.begin) % problem.grid_minutes:
                    return None
                session_slot = (load.session_at - problem.begin) // problem.grid_minutes
                if session_slot < 0:
                    return None
        price = problem.studio.prices.late_hour / 60.0
        promises = [
            (load.promised - problem.begin, price * load.priority) for load in loads if load.promised is not None
        ]
        guides = [*promises, *(guide for number in numbers for guide in self.guides[number])]
        flat = problem.studio.prices.late_load
        once = [flat * load.priority for load in loads if load.promised is not None]
        later = [0.0] * (len(guides) - len(promises))
        return Batch(
            profile=profile_id,
            row=row,
            loads=numbers,
            ware_kg=sum(load.mass_kg for load in loads),
            ready=max(problem.slot_after(load.ready) if load.ready is not None else 0 for load in loads),
            session_slot=session_slot,
            promised=np.array([promise for promise, _ in promises], dtype=np.float64),
            weight=np.array([weight for _, weight in promises], dtype=np.float64),
            guide_promised=np.array([promise for promise, _ in guides], dtype=np.float64),
            guide_weight=np.array([weight for _, weight in guides], dtype=np.float64),
            once=np.array(once, dtype=np.float64),
            guide_once=np.array([*once, *later], dtype=np.float64),
            work=problem.clean_outs.work_of.get(profile.work, 0),
            stays=tuple(self.stays[number] for number in numbers if number in self.stays),
        )

    def _may_ride(self, host: Profile, guest: Profile) -> bool:
        """Whether a firing of ``host`` gives what ``guest`` asks for: the vent, and care at unloading."""
        studio = self.problem.studio
        return (
            host.unload == guest.unload
            and (host.vent or not guest.vent)
            and studio.unload_below_c(host) <= studio.unload_below_c(guest) + 1e-9
        )

    def fit(self, batch: Batch, kiln: int) -> Fit | None:
        """How a batch lies in a kiln and how long it takes there; None where it may not, does not, or cannot."""
        key = (*batch.key, kiln, self.exact)
        if key not in self._fits:
            charge = self.charge(batch, kiln, exact=self.exact)
            fit = None
            if charge is not None:
                phases = self.heats.phases(charge[0])
                fit = None if phases is None else Fit(charge[1], phases)
            self._fits[key] = fit
        return self._fits[key]

    def charge(self, batch: Batch, kiln: int, exact: bool = False) -> tuple[Charge, tuple[tuple[str, ...], ...]] | None:
        """What decides the course of a batch in a kiln, and its layers; None where the kiln may not take it."""
        problem = self.problem
        profile = problem.studio.profile_by_id[batch.profile]
        oven = problem.kilns[kiln]
        loads = [problem.loads[number] for number in batch.loads]
        if profile.work not in oven.work or (profile.vent and not oven.vented):
            return None
        if any(load.kilns and oven.id not in load.kilns for load in loads):
            return None
        if profile.peak_c(batch.row) > oven.max_temperature_c + 1e-9:
            return None
        layers = pack(oven, loads)
        if layers is None:
            return None
        session = session_minutes(oven, loads) if profile.unload == "hot" else 0.0
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
