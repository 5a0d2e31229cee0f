"""How long each phase of a firing takes, in slots, as the thermal model computes it: the search's view of heat.

During the search the ware's mass is rounded up to a ladder of steps of a tenth (so that a few hundred courses serve
a whole studio); a heavier charge is never quicker, so the phases are on the safe side. `settle` computes every firing
of the final plan with its real mass.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from scheduler.firing.bands import Band, firing_band
from scheduler.firing.course import Course, FiringRequest
from scheduler.firing.simulate import simulate
from scheduler.planning.problem import FAR, Problem
from shared.profiles import Profile, Segment

_STEPS: tuple[float, ...] = (
    *(1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0),
    *(3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1, 10.0),
)
"""The preferred numbers of IEC 60063, series E24: each about a tenth above the last."""


def mass_step_kg(ware_kg: float) -> float:
    """The least step of the ladder that is not below ``ware_kg`` [kg].

    >>> mass_step_kg(23.7)
    24.0
    """
    decade = 10.0 ** math.floor(math.log10(max(ware_kg, 0.1)))
    return next(step * decade for step in _STEPS if step * decade >= ware_kg)


def mass_step_below_kg(ware_kg: float) -> float:
    """The greatest step of the ladder that is not above ``ware_kg`` [kg]; below its first step, the mass itself.

    >>> mass_step_below_kg(23.7)
    22.0
    """
    decade = 10.0 ** math.floor(math.log10(max(ware_kg, 0.1)))
    below = [step * decade for step in _STEPS if step * decade <= ware_kg + 1e-9]
    return below[-1] if below else ware_kg


def _step_under_kg(step_kg: float) -> float:
    """The step below a step of the ladder [kg]; the step itself where there is none."""
    return mass_step_below_kg(step_kg * (1.0 - 1e-6) - 1e-6)


@dataclass(frozen=True, slots=True)
class Charge:
    """What decides a firing's course: kiln and profile by number, size row, ware, layers, hot session."""

    kiln: int
    profile: str
    row: int | None
    ware_kg: float
    layers: int
    session_minutes: float


@dataclass(slots=True, eq=False)
class Phases:
    """The phases of one charge in whole slots after the start, and its energy.

    Attributes
    ----------
    load, unload
        Slots that loading and unloading (or the hot session) take.
    out_minutes
        Minutes from ``unload_at`` until the loads are out.
    hot
        End of heating (cool); meaningless for hot work, where the session ends it.
    end_slot
        The slot, after the start, in which heating ends (cool): for kilns whose end is attended.
    end_early
        How many slots sooner than ``end_slot`` that may be with a real mass of which this one is the next step of the
        ladder: somebody is to be there then as well.
    start_late
        The same for hot work where heating begins only while somebody is there: how many slots later that may be, since
        a kiln that is ready sooner may not be held until the session.
    safe
        When unloading may begin, at the earliest.
    latest
        When unloading, or the session, must begin at the latest (hot work); far for cool.
    cold, open_cool
        When the shut kiln is below the loading temperature; how long it takes once emptied.
    kwh_by_slot
        Energy of each slot after the start [kWh], least hold.
    hold_kw
        Power of the last hold [kW], for what a longer one costs.
    target_minutes
        From the start until the last target is reached [min].
    energy, least_energy
        Cost of the energy by starting slot, and the least of it; filled by `energy_costs`.

    The course itself, ten times as large as all of this, is not kept: the thermal model remembers it for a while.
    """

    charge: Charge
    is_hot: bool
    load: int
    unload: int
    out_minutes: int
    hot: int
    end_slot: int
    safe: int
    latest: int
    cold: int
    open_cool: int
    kwh_by_slot: NDArray[np.float64]
    hold_kw: float
    target_minutes: float
    energy: NDArray[np.float64] = field(default_factory=lambda: np.empty(0))
    least_energy: float = 0.0
    end_early: int = 0
    start_late: int = 0

    def __getstate__(self) -> tuple[None, dict[str, object]]:
        """What another process is told: all but what energy costs by start, which is sooner worked out than read."""
        told = {each.name: getattr(self, each.name) for each in fields(self)}
        return None, told | {"energy": np.empty(0)}

    def free_after(self, emptied: int) -> int:
        """Slots from the start until the kiln is free, where it has been emptied ``emptied`` slots after it (cool)."""
        return max(emptied, min(self.cold, emptied + self.open_cool))


@dataclass(frozen=True, slots=True, eq=False)
class Power:
    """The power of a course by its steps [kW], and how long a step is [min]."""

    kw: NDArray[np.float64]
    step_minutes: float


Known = Mapping[Charge, Phases | None]


def request(
    problem: Problem, charge: Charge, profile: Profile, last_hold_minutes: float | None = None
) -> FiringRequest:
    """What the thermal model is asked for one charge."""
    studio = problem.studio
    kiln = problem.kilns[charge.kiln]
    return FiringRequest(
        kiln=kiln,
        work=profile.work,
        segments=profile.segments(charge.row),
        unload_hot=profile.unload == "hot",
        vented=profile.vent and kiln.vented,
        ware_kg=charge.ware_kg,
        layers=charge.layers,
        room_c=studio.place.room_c,
        unload_below_c=studio.unload_below_c(profile),
        load_below_c=studio.rules.load_below_c,
        last_hold_minutes=last_hold_minutes,
    )


def longest_hold_minutes(last: Segment, session_minutes: float) -> float:
    """The longest that the last hold of hot work may be [min], its session included.

    Without ``hold_up_to`` the session follows the hold at once.
    """
    if last.hold_up_to_minutes is None:
        return last.hold_minutes + math.ceil(session_minutes)
    return last.hold_up_to_minutes


class Heats:
    """Phases by charge, computed when first asked for."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self._phases: dict[Charge, Phases | None] = {}

    def __len__(self) -> int:
        """How many charges have been computed."""
        return len(self._phases)

    def known(self, first: int = 0) -> Known:
        """The phases computed from the ``first`` on."""
        return dict(islice(self._phases.items(), first, None))

    def learn(self, known: Known) -> None:
        """Take over phases that were computed elsewhere."""
        self._phases |= {charge: phases for charge, phases in known.items() if charge not in self._phases}

    def prepare(self, charges: Iterable[Charge]) -> None:
        """Compute many charges in one call of the thermal model."""
        wanted = [charge for charge in dict.fromkeys(charges) if charge not in self._phases]
        # What is rounded up to a step of the ladder is more than the step below.
        lighter = {c: replace(c, ware_kg=_step_under_kg(c.ware_kg)) for c in wanted if self._is_watched(c)}
        asked = list(dict.fromkeys((*wanted, *lighter.values())))
        requests = [self._requests(charge) for charge in asked]
        courses = iter(simulate([each for two in requests for each in two]))
        found = {}
        for charge, two in zip(asked, requests, strict=True):
            least, *longest = islice(courses, len(two))
            found[charge] = phases_of(self.problem, charge, least, longest[0] if longest else least, self._band(charge))
        for charge in wanted:
            phases = self._phases[charge] = found[charge]
            sooner = found[lighter[charge]] if charge in lighter else None
            if phases is not None and sooner is not None:
                phases.end_early = max(0, phases.end_slot - sooner.end_slot)
                phases.start_late = max(0, phases.latest - sooner.latest)

    def forget_costs(self) -> None:
        """Give up what energy costs by start, most of what is kept of a firing, until it is asked for again."""
        for phases in self._phases.values():
            if phases is not None:
                phases.energy = np.empty(0)

    def phases(self, charge: Charge) -> Phases | None:
        """The phases of a charge; None where the kiln cannot reach a target with it."""
        if charge not in self._phases:
            self.prepare([charge])
        return self._phases[charge]

    def powers(self, charges: Iterable[Charge]) -> dict[Charge, Power]:
        """The power of each charge that a kiln can fire, of hot ones with the longest hold that they may have.

        The controller does not look ahead, so a firing with a shorter hold draws the same until that hold ends.
        """
        possible = [charge for charge in dict.fromkeys(charges) if self.phases(charge) is not None]
        requests = [self._requests(charge, spare_minutes=2.0 * self.problem.grid_minutes)[-1] for charge in possible]
        courses = zip(possible, simulate(requests), strict=True)
        return {charge: Power(course.power_kw, course.step_minutes) for charge, course in courses}

    def ready_slots(self, phases: Phases) -> int:
        """Slots after its start until a hot kiln is ready in as many firings as the house wants (``session_margin``).

        No more than its hold allows, and no less than its computed time.
        """
        share = self.problem.studio.rules.session_margin
        if share is None:
            return phases.safe
        profile = self.problem.studio.profile_by_id[phases.charge.profile]
        band = firing_band(request(self.problem, phases.charge, profile))
        return max(phases.safe, min(phases.latest, self.problem.slots_of(band.hot.at(share))))

    def _band(self, charge: Charge) -> Band | None:
        """How sure a charge's times are, where the house wants a margin for that."""
        if self.problem.studio.rules.margin is None:
            return None
        return firing_band(request(self.problem, charge, self.problem.studio.profile_by_id[charge.profile]))

    def _is_watched(self, charge: Charge) -> bool:
        """Whether somebody has to be there when heating ends or begins, with a mass that may be a rounded one."""
        is_hot = self.problem.studio.profile_by_id[charge.profile].unload == "hot"
        rules, kiln = self.problem.studio.rules, self.problem.kilns[charge.kiln]
        is_watched = not rules.unattended_start if is_hot else kiln.attend_end
        return is_watched and mass_step_kg(charge.ware_kg) == charge.ware_kg

    def _requests(self, charge: Charge, spare_minutes: float = 0.0) -> list[FiringRequest]:
        """The firing of a charge, and for hot work another with its longest hold, and so much more."""
        profile = self.problem.studio.profile_by_id[charge.profile]
        firing = request(self.problem, charge, profile)
        if profile.unload != "hot":
            return [firing]
        longest = longest_hold_minutes(profile.segments(charge.row)[-1], charge.session_minutes)
        return [firing, request(self.problem, charge, profile, longest + spare_minutes)]


def phases_of(
    problem: Problem, charge: Charge, least: Course, longest: Course, band: Band | None = None
) -> Phases | None:
    """Phases in slots from the courses with the least and the longest last hold (the same for cool work).

    With a ``band`` the end of heating, and the moment from which unloading is planned, are those that the house's
    margin of such firings keeps (``rules.margin``): promises and circuits then hold in so many firings.
    """
    if not least.reached:
        return None
    margin = problem.studio.rules.margin
    hot_minutes, safe_minutes, stretch = least.hot_minutes, least.safe_minutes, 1.0
    if band is not None and margin is not None:
        hot_minutes = max(hot_minutes, band.hot.at(margin))
        safe_minutes = max(safe_minutes, band.safe.at(margin))
        stretch = max(1.0, band.hot.at(margin) / band.hot.middle_minutes)
    profile = problem.studio.profile_by_id[charge.profile]
    kiln = problem.kilns[charge.kiln]
    slots_of = problem.slots_of
    is_hot = profile.unload == "hot"
    last = profile.segments(charge.row)[-1]
    if is_hot:
        out_minutes = math.ceil(charge.session_minutes)
        target = math.ceil(least.target_minutes)
        safe = slots_of(math.ceil(least.target_minutes * stretch) + math.ceil(last.hold_minutes))
        limit = target + math.ceil(longest_hold_minutes(last, charge.session_minutes))
        # A session may begin in any slot from which it ends within the hold; one slot's grace without hold_up_to,
        # since the session follows as soon as the grid allows.
        latest = (limit - out_minutes) // problem.grid_minutes
        if last.hold_up_to_minutes is None:
            latest = safe
        if latest < safe:
            return None
        # Time from the end of the session, so that a longer hold moves it along.
        cold = slots_of(max(0.0, longest.cold_minutes - longest.hot_minutes))
        hot = safe + slots_of(out_minutes)
    else:
        out_minutes = math.ceil(kiln.unload_minutes)
        safe = slots_of(safe_minutes)
        latest = FAR
        cold = slots_of(least.cold_minutes)
        hot = slots_of(hot_minutes)
    return Phases(
        charge=charge,
        is_hot=is_hot,
        load=slots_of(kiln.load_minutes),
        unload=slots_of(out_minutes),
        out_minutes=out_minutes,
        hot=hot,
        end_slot=_end_slot(least, problem.grid_minutes),
        safe=safe,
        latest=latest,
        cold=cold,
        open_cool=slots_of(longest.open_cool_minutes),
        kwh_by_slot=_kwh_by_slot(least, problem.grid_minutes),
        hold_kw=_hold_kw(longest),
        target_minutes=least.target_minutes,
    )


def _end_slot(course: Course, grid_minutes: int) -> int:
    return math.ceil(course.hot_minutes) // grid_minutes


def _kwh_by_slot(course: Course, grid_minutes: int) -> NDArray[np.float64]:
    cumulative = np.concatenate(([0.0], np.cumsum(course.power_kw) * course.step_minutes / 60.0))
    ends = course.step_minutes * np.arange(len(cumulative))
    hot = max(course.hot_minutes, grid_minutes)
    edges = grid_minutes * np.arange(math.ceil(hot / grid_minutes) + 1)
    energy: NDArray[np.float64] = np.diff(np.interp(edges, ends, cumulative))
    return energy


def _hold_kw(course: Course) -> float:
    """Mean power in the last quarter of an hour of heating [kW]."""
    end = round(course.hot_minutes / course.step_minutes)
    begin = max(0, end - round(15.0 / course.step_minutes))
    return round(float(np.mean(course.power_kw[begin:end])), 6) if end > begin else 0.0


def energy_costs(problem: Problem, phases: Phases) -> NDArray[np.float64]:
    """Cost of the energy by starting slot, least hold [currency]; computed once for each charge."""
    if len(phases.energy) == 0:
        price = problem.price
        if np.ptp(price) < 1e-12:
            phases.energy = np.full(problem.slots, round(float(price[0] * phases.kwh_by_slot.sum()), 6))
        else:
            padded = np.concatenate((price, np.full(len(phases.kwh_by_slot), price[-1])))
            # Rounded, so that another processor's last digit does not lead the search another way.
            costs = np.correlate(padded, phases.kwh_by_slot, mode="valid")[: problem.slots]
            phases.energy = np.asarray(np.round(costs, 6), dtype=np.float64)
        phases.least_energy = float(phases.energy.min())
    return phases.energy


def least_energy(problem: Problem, phases: Phases) -> float:
    """The least that the energy costs, whenever it starts [currency]."""
    energy_costs(problem, phases)
    return phases.least_energy
