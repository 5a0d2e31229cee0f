"""One day of a proved plan, kiln by kiln, as the sheets, the terminal and the pages show it: values, no words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

from api.holding import HoldLimit, hold_limit
from api.outages import touches
from api.single_firing import firing_request
from scheduler.audit import AuditedPlan
from scheduler.firing.bands import Band, Spread, firing_band
from scheduler.firing.course import Course
from shared.calendar import OnDuty, Span, on_duty
from shared.clock import Minute, local_time, wall_minute
from shared.kilns import Circuit, Kiln, Leg
from shared.loads import Load, area_on_last_layer_cm2, pieces_on_a_layer
from shared.plans import Firing, Late, PlannedSegment, Unplaced
from shared.profiles import Profile
from shared.studio import Outage, Studio
from shared.units import TemperatureUnit


@dataclass(frozen=True)
class LoadOnLayer:
    """A load, or the part of one, that lies on one layer."""

    load: Load
    area_cm2: float
    part_of: int
    pieces: int


@dataclass(frozen=True)
class Layer:
    """One shelf with what stands on it, counted from 1 at the bottom.

    ``height_mm`` is from shelf to shelf: the tallest piece and ``gap_mm``, the kiln's ``shelf_gap_mm``. The studio's
    folder has no other place for a shelf's own thickness, so that and the air above the ware are both in the gap.
    """

    number: int
    height_mm: float
    gap_mm: float
    shelf_area_cm2: float
    on_it: tuple[LoadOnLayer, ...]

    @property
    def ware_mm(self) -> float:
        """Height of the tallest piece."""
        return self.height_mm - self.gap_mm


@dataclass(frozen=True)
class FiringOnDay:
    """One firing with all that a sheet says of it.

    Attributes
    ----------
    firings
        All of the plan's.
    next_load_at
        When the kiln is loaded again; None where the plan does not say.
    heats_alone
        Stretches in which it heats while nobody is there.
    """

    studio: Studio
    firings: tuple[Firing, ...]
    firing: Firing
    kiln: Kiln
    profile: Profile
    loads: tuple[Load, ...]
    course: Course
    layers: tuple[Layer, ...]
    unit: TemperatureUnit
    open_below_c: float
    next_load_at: Minute | None
    cleaned_by: tuple[OnDuty, ...]
    loaded_by: tuple[OnDuty, ...]
    unloaded_by: tuple[OnDuty, ...]
    seen_off_by: tuple[OnDuty, ...]
    heats_alone: tuple[Span, ...]

    @property
    def hot(self) -> bool:
        """Whether the loads are taken out hot, in a session."""
        return self.profile.unload == "hot"

    @property
    def segments(self) -> tuple[PlannedSegment, ...]:
        """The segments to key in."""
        return self.firing.segments

    @property
    def loaded_at(self) -> Minute:
        """When the last piece is in, if loading takes as long as the studio says."""
        return self.firing.load_at + -int(-self.kiln.load_minutes // 1)

    @property
    def starts_alone(self) -> bool:
        """Whether nobody is there when it starts."""
        return any(span.begin <= self.firing.start_at < span.end for span in self.heats_alone)

    @cached_property
    def hold_limit(self) -> HoldLimit:
        """The latest end of a session's hold as it is keyed in, for a kiln as late as is likely, and what ends it."""
        late = max(0, self.safe_between[1] - self.firing.safe_at)
        return hold_limit(self.studio, self.firings, self.firing, late)

    @property
    def longest_hot_until(self) -> Minute:
        """The latest that a hot firing's last hold may end beside the rest of the plan; of others when it is off."""
        return self.hold_limit.at if self.hot else self.firing.hot_until

    @property
    def keyed_hold_minutes(self) -> float:
        """The last hold as it is keyed in [min]: for a session as long as it may last, since people end it by hand."""
        planned = self.segments[-1].hold_minutes
        return max(planned, float(self.longest_hot_until - self.firing.target_at)) if self.hot else planned

    @property
    def hot_until_between(self) -> tuple[Minute, Minute] | None:
        """Between when the elements go off in eight firings of ten; None for hot work, where people end it."""
        return None if self.hot else self.firing.hot_until_between or self._between(self._band.hot)

    @property
    def safe_between(self) -> tuple[Minute, Minute]:
        """Between when it is safe to open, or ready for its session, in eight firings of ten."""
        return self.firing.safe_between or self._between(self._band.safe)

    @cached_property
    def _band(self) -> Band:
        ware_kg, layers = sum(load.mass_kg for load in self.loads), len(self.layers)
        return firing_band(firing_request(self.studio, self.kiln, self.profile, self.firing.size_row, ware_kg, layers))

    def _between(self, spread: Spread) -> tuple[Minute, Minute]:
        start_at = self.firing.start_at
        return start_at + int(spread.low_minutes), start_at + -int(-spread.high_minutes // 1)

    def temperature_at(self, minute: Minute) -> float:
        """The expected temperature [°C] at a moment between the start and the end of the computed course."""
        series, step = self.course.temperature_c, self.course.step_minutes
        position = max(0.0, (minute - self.firing.start_at) / step)
        left = min(int(position), len(series) - 1)
        right = min(left + 1, len(series) - 1)
        return float(series[left] + (position - left if right > left else 0.0) * (series[right] - series[left]))


@dataclass(frozen=True)
class Task:
    """One thing that somebody does at a kiln: ``load``, ``start``, ``open``, ``session`` or ``look``."""

    at: Minute
    until: Minute
    kind: str
    firing: FiringOnDay
    people: tuple[OnDuty, ...]

    @property
    def takes(self) -> int:
        """How many people it takes."""
        return self.firing.profile.unload_people if self.kind == "session" else 1


@dataclass(frozen=True)
class KilnDay:
    """What one kiln does on the day; ``next_load_at`` is its first loading after the day."""

    kiln: Kiln
    firings: tuple[FiringOnDay, ...]
    outages: tuple[Outage, ...]
    next_load_at: Minute | None


@dataclass(frozen=True)
class LegLoad:
    """The highest current on one leg of a circuit, and when it is first met; ``at`` None: no load at all."""

    leg: Leg
    amps: float
    at: Minute | None


@dataclass(frozen=True)
class CircuitLoad:
    """The highest currents on a circuit's legs."""

    circuit: Circuit
    legs: tuple[LegLoad, ...]

    @property
    def share(self) -> float:
        """The highest leg against what the circuit may carry [-]."""
        return max((leg.amps for leg in self.legs), default=0.0) / self.circuit.usable_amps


class Day:
    """One day of a proved plan. Only what the audit has passed can be shown."""

    def __init__(self, audited: AuditedPlan, day: date) -> None:
        self.audited = audited
        self.plan = audited.plan
        self.studio: Studio = audited.studio
        self.date = day
        zone = self.studio.place.zone
        self.begin = wall_minute(day, 0, zone)
        self.end = wall_minute(day + timedelta(days=1), 0, zone)
        firings = audited.plan.firings
        last = max((max(f.free_at, f.out_at) for f in firings), default=audited.plan.end)
        first = min((firing.load_at for firing in firings), default=audited.plan.begin)
        self._duties = on_duty(self.studio, min(first, self.begin) - 1440, max(last, self.end) + 1440)

    @cached_property
    def duties(self) -> tuple[OnDuty, ...]:
        """The shifts that touch the day."""
        return tuple(duty for duty in self._duties if duty.begin < self.end and duty.end > self.begin)

    @cached_property
    def kilns(self) -> tuple[KilnDay, ...]:
        """Every kiln of the studio in its own order."""
        return tuple(self._kiln_day(kiln) for kiln in self.studio.kilns)

    @cached_property
    def tasks(self) -> tuple[Task, ...]:
        """What people do on the day, in order of time."""
        found = []
        for kiln_day in self.kilns:
            for shown in kiln_day.firings:
                found += [task for task in tasks_of(shown) if self.begin <= task.at < self.end]
        return tuple(sorted(found, key=lambda task: (task.at, task.firing.kiln.id, task.until)))

    @cached_property
    def circuits(self) -> tuple[CircuitLoad, ...]:
        """The highest currents of the day."""
        return circuit_loads(self.studio, self.plan.firings, self.begin, self.end)

    @cached_property
    def circuits_in_plan(self) -> tuple[CircuitLoad, ...]:
        """The highest currents of the whole plan, as the audit found them."""
        peaks = self.audited.peaks
        return tuple(
            CircuitLoad(
                circuit,
                tuple(
                    LegLoad(leg, peaks[circuit.id, leg].amps, peaks[circuit.id, leg].at) for leg in circuit.leg_names
                ),
            )
            for circuit in self.studio.circuits
        )

    @property
    def late(self) -> tuple[Late, ...]:
        """Late loads of the whole plan, the latest first."""
        return tuple(sorted(self.plan.late, key=lambda late: (-late.hours, late.load)))

    @property
    def unplaced(self) -> tuple[Unplaced, ...]:
        """Loads of the whole plan that found no place."""
        return self.plan.unplaced

    def load(self, load_id: str) -> Load:
        """A load of the studio."""
        return self.audited.loads[load_id]

    def first_staffed(self, minute: Minute) -> Minute:
        """The first moment from ``minute`` on when somebody is there; ``minute`` itself after the last known shift."""
        return next((max(minute, duty.begin) for duty in self._duties if duty.end > minute), minute)

    def shown(self, firing: Firing) -> FiringOnDay:
        """A firing with all that is said of it."""
        kiln = self.studio.kiln_by_id[firing.kiln]
        profile = self.studio.profile_by_id[firing.profile]
        loads = tuple(self.audited.loads[load_id] for load_id in firing.loads)
        after = [
            other.load_at for other in self.plan.firings if other.kiln == kiln.id and other.load_at > firing.load_at
        ]
        skill = profile.skill if profile.unload == "hot" else None
        return FiringOnDay(
            studio=self.studio,
            firings=self.plan.firings,
            firing=firing,
            kiln=kiln,
            profile=profile,
            loads=loads,
            course=self.audited.courses[firing.id],
            layers=_layers(kiln, firing, self.audited.loads),
            unit=self.studio.controller_unit(kiln),
            open_below_c=self.studio.unload_below_c(profile),
            next_load_at=min(after, default=None),
            cleaned_by=self.people_at(firing.clean_out_at, firing.load_at) if firing.clean_out_minutes else (),
            loaded_by=self.people_at(firing.load_at, firing.load_at + -int(-kiln.load_minutes // 1)),
            unloaded_by=self.people_at(firing.unload_at, firing.out_at, skill),
            seen_off_by=self.people_at(firing.hot_until, firing.hot_until),
            heats_alone=_gaps(self._duties, firing.start_at, firing.hot_until),
        )

    def people_at(self, begin: Minute, end: Minute, skill: str | None = None) -> tuple[OnDuty, ...]:
        """Whoever is there for some of a task; one that lasts beyond a shift is finished by the next."""
        return tuple(
            duty
            for duty in self._duties
            if duty.begin < max(end, begin + 1) and duty.end > begin and (skill is None or skill in duty.shift.skills)
        )

    def _kiln_day(self, kiln: Kiln) -> KilnDay:
        of_kiln = sorted((f for f in self.plan.firings if f.kiln == kiln.id), key=lambda firing: firing.load_at)
        touching = [f for f in of_kiln if f.load_at < self.end and max(f.free_at, f.out_at) > self.begin]
        return KilnDay(
            kiln=kiln,
            firings=tuple(self.shown(firing) for firing in touching),
            outages=tuple(
                outage
                for outage in self.studio.outages
                if touches(outage, kiln, self.studio, of_kiln, self.begin, self.end)
            ),
            next_load_at=min((f.load_at for f in of_kiln if f.load_at >= self.end), default=None),
        )


def day_of(minute: Minute, studio: Studio) -> date:
    """The day that the studio's calendar shows at a minute."""
    return local_time(minute, studio.place.zone).date()


def circuit_loads(studio: Studio, firings: Sequence[Firing], begin: Minute, end: Minute) -> tuple[CircuitLoad, ...]:
    """The highest current on every leg of every circuit within a span."""
    found = []
    for circuit in studio.circuits:
        legs = []
        for leg in circuit.leg_names:
            drawing = [f for f in firings if _loads_leg(studio, f, circuit, leg)]
            moments = sorted({begin, *(f.start_at for f in drawing if begin < f.start_at < end)})
            amps_at = [(_amps(drawing, moment), -moment) for moment in moments]
            amps, when = max(amps_at)
            legs.append(LegLoad(leg, amps, -when if amps else None))
        found.append(CircuitLoad(circuit, tuple(legs)))
    return tuple(found)


def _loads_leg(studio: Studio, firing: Firing, circuit: Circuit, leg: Leg) -> bool:
    kiln = studio.kiln_by_id[firing.kiln]
    above = [feeder.id for feeder in studio.feeders(kiln.circuit)]
    return circuit.id in above and leg in studio.legs_of(kiln)


def _amps(firings: Iterable[Firing], minute: Minute) -> float:
    return sum(firing.amps for firing in firings if firing.start_at <= minute < firing.hot_until)


def _gaps(duties: Sequence[OnDuty], begin: Minute, end: Minute) -> tuple[Span, ...]:
    """What of ``[begin, end)`` no shift covers."""
    gaps = []
    reached = begin
    for duty in duties:
        if duty.end <= reached or duty.begin >= end:
            continue
        if duty.begin > reached:
            gaps.append(Span(reached, duty.begin))
        reached = max(reached, duty.end)
    if reached < end:
        gaps.append(Span(reached, end))
    return tuple(gaps)


def _layers(kiln: Kiln, firing: Firing, loads: Mapping[str, Load]) -> tuple[Layer, ...]:
    """The layers with the area that each load takes. A load larger than a shelf fills several and shares one."""
    shelf_cm2 = kiln.shelf_area_cm2
    shared = {load_id: _shared_layer(firing, load_id) for load_id in firing.loads}
    found = []
    for number, names in enumerate(firing.layers):
        on_it = []
        for name in names:
            load = loads[name]
            whole, rest_cm2 = area_on_last_layer_cm2(load, shelf_cm2)
            area_cm2, pieces = rest_cm2, load.pieces
            if whole:
                each = pieces_on_a_layer(load, shelf_cm2)
                pieces = load.pieces - whole * each
                if number != shared[name]:
                    area_cm2, pieces = (load.footprint_cm2 - rest_cm2) / whole, each
            on_it.append(LoadOnLayer(load, area_cm2, whole + 1, pieces))
        height_mm = max(loads[name].height_mm for name in names) + kiln.shelf_gap_mm
        found.append(Layer(number + 1, height_mm, kiln.shelf_gap_mm, shelf_cm2, tuple(on_it)))
    return tuple(found)


def _shared_layer(firing: Firing, load_id: str) -> int:
    """The layer that a load may share with others: one where others lie too, else the last that it is on."""
    on = [number for number, names in enumerate(firing.layers) if load_id in names]
    return next((number for number in on if len(firing.layers[number]) > 1), on[-1])


def tasks_of(shown: FiringOnDay) -> list[Task]:
    """What people do at a firing, as planned, in the order in which it is done."""
    firing = shown.firing
    tasks = [
        Task(firing.load_at, shown.loaded_at, "load", shown, shown.loaded_by),
        Task(firing.start_at, firing.start_at, "start", shown, ()),
        Task(firing.unload_at, firing.out_at, "session" if shown.hot else "open", shown, shown.unloaded_by),
    ]
    if not shown.hot:
        tasks.insert(2, Task(firing.hot_until, firing.hot_until, "look", shown, shown.seen_off_by))
    if firing.clean_out_minutes:
        tasks.insert(0, Task(firing.clean_out_at, firing.load_at, "clean", shown, shown.cleaned_by))
    return tasks
