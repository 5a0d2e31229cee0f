"""A small studio and a valid plan for it, placed by hand; what follows from the placing is worked out here afresh."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cache
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from scheduler.audit import Breach, breaches
from scheduler.firing.course import Course, FiringRequest
from scheduler.firing.simulate import simulate_one
from shared.clock import Minute, local_time, minute_of
from shared.kilns import Circuit, Kiln
from shared.loads import Load, session_minutes, size_row
from shared.plans import CostParts, Firing, Late, Plan, PlannedSegment, Proof, Unplaced
from shared.profiles import Profile, Segment, SizeRow
from shared.studio import Band, CleanOut, Closed, Outage, Place, Prices, Quiet, Shift, Studio, Tariff

MONDAY = date(2026, 11, 30)
WORKDAYS = ("mon", "tue", "wed", "thu", "fri")


@dataclass(frozen=True)
class Draft:
    """What is chosen of a firing; everything else follows. ``hold_minutes`` stretches the last hold of a cool one."""

    id: str
    kiln: str
    profile: str
    layers: tuple[tuple[str, ...], ...]
    load_at: Minute
    start_at: Minute
    unload_at: Minute
    row: int | None = None
    hold_minutes: float | None = None
    loads: tuple[str, ...] = ()

    @property
    def load_ids(self) -> tuple[str, ...]:
        return self.loads or tuple(dict.fromkeys(load_id for layer in self.layers for load_id in layer))


@dataclass(frozen=True)
class Bench:
    """A studio, its loads and the drafts of a plan; ``change`` and the like give a new bench."""

    studio: Studio
    loads: tuple[Load, ...]
    monday: date
    drafts: tuple[Draft, ...]
    unplaced: tuple[str, ...] = ()
    end_day: int = 10

    def at(self, day: int, clock: str = "00:00") -> Minute:
        """The minute of a wall-clock time, days counted from the Monday on which the plan begins."""
        wall = datetime.combine(self.monday + timedelta(days=day), datetime.strptime(clock, "%H:%M").time())
        return minute_of(wall.replace(tzinfo=self.studio.place.zone))

    def draft(self, firing_id: str) -> Draft:
        return next(draft for draft in self.drafts if draft.id == firing_id)

    def change(self, firing_id: str, **changes: Any) -> Bench:
        return replace(self, drafts=tuple(replace(d, **changes) if d.id == firing_id else d for d in self.drafts))

    def without(self, firing_id: str) -> Bench:
        return replace(self, drafts=tuple(d for d in self.drafts if d.id != firing_id))

    def add(self, *drafts: Draft) -> Bench:
        return replace(self, drafts=(*self.drafts, *drafts))

    def with_studio(self, **changes: Any) -> Bench:
        # model_copy would carry the lookup tables of the old studio over
        fields = {name: getattr(self.studio, name) for name in Studio.model_fields}
        return replace(self, studio=Studio(**{**fields, **changes}))

    def with_load(self, load_id: str, **changes: Any) -> Bench:
        return replace(
            self, loads=tuple(load.model_copy(update=changes) if load.id == load_id else load for load in self.loads)
        )

    def load(self, load_id: str) -> Load:
        return next(load for load in self.loads if load.id == load_id)

    def audit(self, plan: Plan | None = None, **options: Any) -> list[Breach]:
        return breaches(self.studio, self.loads, plan or self.plan(), **options)

    def plan(self, **changes: Any) -> Plan:
        """The plan that follows from the drafts, with some of its fields changed."""
        firings, cleaning = self.with_clean_outs(tuple(self.firing(draft) for draft in self.drafts))
        late = []
        seen: set[str] = set()
        for firing in firings:
            for load_id in firing.loads:
                promised = self.load(load_id).promised
                if load_id not in seen and promised is not None and firing.out_at > promised:
                    hours = (firing.out_at - promised) / 60.0
                    late.append(Late(load=load_id, promised=promised, out_at=firing.out_at, hours=hours))
                seen.add(load_id)
        prices = self.studio.prices
        parts = CostParts(
            lateness=sum(
                (prices.late_load + one.hours * prices.late_hour) * self.load(one.load).priority for one in late
            ),
            unplaced=sum(self.load(one).priority * prices.unplaced for one in self.unplaced),
            energy=sum(firing.energy_cost for firing in firings),
            firings=prices.firing * len(firings),
            clean_outs=cleaning,
        )
        plan = Plan(
            studio=self.studio.place.name,
            made_at=self.at(-1, "18:00"),
            begin=self.at(0),
            end=self.at(self.end_day),
            proof=Proof(status="unproved", cost=parts.total, bound=0.0, seconds=1.0),
            cost_parts=parts,
            firings=firings,
            unplaced=tuple(Unplaced(load=one, rule="time", why="no room") for one in self.unplaced),
            late=tuple(late),
        )
        return plan.model_copy(update=changes)

    def with_clean_outs(self, firings: tuple[Firing, ...]) -> tuple[tuple[Firing, ...], float]:
        """The firings with the minutes of their clean-outs, and what those cost: each kiln walked through in turn."""
        studio, grid = self.studio, self.studio.rules.grid_minutes
        minutes: dict[int, int] = {}
        price = 0.0
        for kiln in studio.kilns:
            work = kiln.last_work
            numbers = [number for number, firing in enumerate(firings) if firing.kiln == kiln.id]
            for number in sorted(numbers, key=lambda number: (firings[number].load_at, firings[number].free_at)):
                then = studio.profile_by_id[firings[number].profile].work
                for table in studio.clean_outs:
                    if work in table.after and then in table.before:
                        while minutes.setdefault(number, 0) < table.minutes:
                            minutes[number] += grid
                        price += table.price
                        break
                work = then
        changed = (f.model_copy(update={"clean_out_minutes": minutes.get(n, 0)}) for n, f in enumerate(firings))
        return tuple(changed), price

    def damaged(self, firing_id: str, **changes: Any) -> Plan:
        """The plan with fields of one firing changed and nothing else worked out anew."""
        plan = self.plan()
        return plan.model_copy(
            update={
                "firings": tuple(f.model_copy(update=changes) if f.id == firing_id else f for f in plan.firings),
            }
        )

    def firing(self, draft: Draft) -> Firing:
        kiln, profile = self.studio.kiln_by_id[draft.kiln], self.studio.profile_by_id[draft.profile]
        loads = [self.load(load_id) for load_id in draft.load_ids]
        row = size_row(profile, loads) if draft.row is None else draft.row
        segments = profile.segments(row)
        hot = profile.unload == "hot"
        start, least = draft.start_at, segments[-1].hold_minutes
        request = FiringRequest(
            kiln=kiln,
            work=profile.work,
            segments=segments,
            unload_hot=hot,
            vented=profile.vent and kiln.vented,
            ware_kg=sum(load.mass_kg for load in loads),
            layers=len(draft.layers),
            room_c=self.studio.place.room_c,
            unload_below_c=self.studio.unload_below_c(profile),
            load_below_c=self.studio.rules.load_below_c,
            last_hold_minutes=None if hot else draft.hold_minutes,
        )
        course = simulate_one(request)
        target_at = start + math.ceil(course.target_minutes)
        hold = least if draft.hold_minutes is None else draft.hold_minutes
        if hot:
            unload_minutes = math.ceil(session_minutes(kiln, loads))
            hot_until = draft.unload_at + unload_minutes
            safe_at = target_at + math.ceil(least)
            hold = float(hot_until - target_at)
            course = simulate_one(replace(request, last_hold_minutes=max(0.0, hold)))
        else:
            unload_minutes = math.ceil(kiln.unload_minutes)
            hot_until = start + math.ceil(course.hot_minutes)
            safe_at = start + math.ceil(course.safe_minutes)
        out_at = draft.unload_at + unload_minutes
        ends = [start + math.ceil(segment.hold_ends_minutes) for segment in course.segments]
        planned = [
            PlannedSegment(
                rate_k_per_hour=segment.rate_k_per_hour,
                to_c=segment.to_c,
                hold_minutes=max(0.0, hold) if number == len(segments) - 1 else segment.hold_minutes,
                reached_at=start + math.ceil(course.segments[number].reached_minutes),
                hold_ends_at=hot_until if hot and number == len(segments) - 1 else ends[number],
            )
            for number, segment in enumerate(segments)
        ]
        footprint = sum(load.footprint_cm2 for load in loads)
        height = sum(
            max((self.load(load_id).height_mm for load_id in layer), default=0.0) + kiln.shelf_gap_mm
            for layer in draft.layers
        )
        share = height / kiln.height_mm * footprint / len(draft.layers) / kiln.shelf_area_cm2
        return Firing(
            id=draft.id,
            kiln=draft.kiln,
            profile=draft.profile,
            size_row=row,
            loads=draft.load_ids,
            load_at=draft.load_at,
            start_at=start,
            target_at=target_at,
            hot_until=hot_until,
            safe_at=safe_at,
            unload_at=draft.unload_at,
            free_at=max(out_at, start + math.ceil(course.free_minutes(out_at - start))),
            segments=tuple(planned),
            layers=draft.layers,
            amps=kiln.amps,
            kwh=course.kwh,
            energy_cost=self.energy_cost(start, course),
            share_used=share,
            unload_minutes=unload_minutes,
        )

    def energy_cost(self, start: Minute, course: Course) -> float:
        """Minute by minute, at the price that the wall clock gives."""
        assert course.step_minutes == 1.0
        return sum(
            power / 60.0 * price_at(self.studio.tariff, self.studio.place.zone, start + minute)
            for minute, power in enumerate(course.power_kw.tolist())
            if power > 0
        )


@cache
def _is_night(zone: ZoneInfo, begins: int, ends: int, minute: Minute) -> bool:
    """Whether the wall clock is in a band that runs over the midnights after workdays."""
    local = local_time(minute, zone)
    of_day = local.hour * 60 + local.minute
    evening = of_day >= begins and local.weekday() < 5
    morning = of_day < ends and (local - timedelta(days=1)).weekday() < 5
    return evening or morning


def price_at(tariff: Tariff, zone: ZoneInfo, minute: Minute) -> float:
    """The price per kWh at a minute, for a tariff with at most one band, over midnight and on workdays."""
    for band in tariff.bands:
        if _is_night(zone, band.begins, band.ends, minute):
            return band.price
    return tariff.default


def _segment(rate: float | None, to_c: float, hold: float = 0.0, up_to: float | None = None) -> Segment:
    """A segment in K/h, °C and minutes."""
    return Segment(
        rate_k_per_hour="full" if rate is None else rate,
        to_c=to_c,
        hold_minutes=hold,
        hold_up_to_minutes=up_to,
    )


PROFILES = (
    Profile(
        id="bisque",
        work="bisque",
        unload_below_c=90,
        own_segments=(_segment(100, 600), _segment(150, 1060, 10)),
        shares_with=("sketch",),
    ),
    Profile(id="sketch", work="bisque", unload_below_c=90, own_segments=(_segment(150, 1000),)),
    Profile(id="glaze", work="glaze", own_segments=(_segment(150, 1000, 10),), one_family=True),
    Profile(
        id="burnout",
        work="burnout",
        sized_by="diameter_mm",
        unload="hot",
        session="cast",
        skill="casting",
        vent=True,
        sizes=(
            SizeRow(up_to=65, segments=(_segment(200, 165, 60), _segment(300, 720, 60), _segment(None, 480, 30, 300))),
            SizeRow(up_to=90, segments=(_segment(200, 165, 65), _segment(300, 720, 65), _segment(None, 480, 30, 300))),
        ),
    ),
    Profile(id="enamel", work="enamel", unload="hot", session="enamel", own_segments=(_segment(None, 800, 0, 360),)),
    Profile(
        id="dip", work="enamel", unload="hot", session="dip", session_people=2, own_segments=(_segment(None, 790, 20),)
    ),
)

_TOP_LOADER = {
    "circuit": "back", "volts": 400, "amps": 24, "kilowatts": 16.6, "max_temperature_c": 1290,
    "inside_mm": (560, 560, 700), "wall_mm": 115, "brick": 26, "load_minutes": 40, "unload_minutes": 30, "vented": True,
}  # fmt: skip
_FLASK_OVEN = {
    "circuit": "front", "legs": ("A",), "volts": 230, "amps": 14, "kilowatts": 3.2, "max_temperature_c": 1100,
    "inside_mm": (280, 280, 250), "wall_mm": 75, "brick": 23, "load_minutes": 20, "unload_minutes": 20, "vented": True,
}  # fmt: skip

KILNS = (
    Kiln(id="K1", work=("bisque", "glaze"), **_TOP_LOADER),
    Kiln(id="K2", work=("bisque", "glaze"), **{**_TOP_LOADER, "max_temperature_c": 1040}),
    Kiln(id="K3", work=("bisque",), **{**_TOP_LOADER, "circuit": "main", "max_temperature_c": 1040}),
    Kiln(id="A1", work=("bisque",), attend_end=True, **{**_TOP_LOADER, "circuit": "main"}),
    Kiln(id="B1", work=("burnout",), **_FLASK_OVEN),
    Kiln(id="M1", work=("metal",), **_FLASK_OVEN),
    Kiln(id="U1", work=("burnout",), **{**_FLASK_OVEN, "vented": False}),
    Kiln(
        id="E1", work=("enamel",), circuit="front", legs=("B",), volts=230, amps=10, kilowatts=2.2,
        max_temperature_c=1000, inside_mm=(250, 200, 150), wall_mm=60, brick="fibre", load_minutes=10,
        unload_minutes=0, unattended=False,
    ),
)  # fmt: skip


def make_studio(monday: date) -> Studio:
    zone_name = "Europe/Lisbon"
    place = Place(name="Hillside Workshop", timezone=zone_name)

    def at(day: int, clock: str) -> Minute:
        wall = datetime.combine(monday + timedelta(days=day), datetime.strptime(clock, "%H:%M").time())
        return minute_of(wall.replace(tzinfo=place.zone))

    return Studio(
        place=place,
        shifts=(
            Shift(days=("mon", "tue", "wed", "thu"), opens="09:00", closes="18:00", hands=2),
            Shift(days=("fri",), opens="09:00", closes="13:00", hands=2),
            Shift(days=("fri",), opens="14:00", closes="18:00", hands=2),
            Shift(days=("sat",), opens="10:00", closes="14:00", hands=1),
            Shift(days=("tue", "thu"), opens="18:00", closes="22:00", hands=1, skills=("casting",)),
        ),
        closed=(Closed(first=monday + timedelta(days=8), last=monday + timedelta(days=8)),),
        circuits=(
            Circuit(id="main", breaker_amps=80, legs=3),
            Circuit(id="back", fed_from="main", breaker_amps=50, legs=3),
            Circuit(id="front", fed_from="main", breaker_amps=40, legs=2),
        ),
        kilns=KILNS,
        outages=(
            Outage(kiln="K1", begins=at(7, "12:00"), ends=at(9, "09:00")),
            Outage(circuit="front", begins=at(4, "00:00"), ends=at(4, "12:00")),
        ),
        tariff=Tariff(default=0.24, bands=(Band(days=WORKDAYS, begins="22:00", ends="08:00", price=0.11),)),
        quiet=(
            Quiet(days=("tue",), begins="08:00", ends="11:00", work=("burnout",)),
            Quiet(days=("wed",), begins="12:00", ends="13:00"),
        ),
        clean_outs=(
            CleanOut(after=("glaze",), before=("glaze",), minutes=22, price=3.0),
            CleanOut(after=("glaze",), before=("glaze", "bisque"), minutes=60, price=9.0),
        ),
        prices=Prices(late_load=1.5),
        profiles=PROFILES,
    )


def make_bench(monday: date = MONDAY) -> Bench:
    """Nine firings over a week; every rule of the audit has something to bite on."""
    bench = Bench(make_studio(monday), (), monday, ())
    at = bench.at

    def pots(load_id: str, profile: str, footprint: float, **more: Any) -> Load:
        given = {"pieces": 10, "height_mm": 120, "mass_kg": 8, "family": "stoneware", **more}
        return Load(id=load_id, profile=profile, footprint_cm2=footprint, **given)

    def flask(load_id: str, diameter: float) -> Load:
        return Load(
            id=load_id, profile="burnout", footprint_cm2=70, height_mm=90, mass_kg=1.2, diameter_mm=diameter,
            session_minutes=30, family="bronze",
        )  # fmt: skip

    def tray(load_id: str, profile: str = "enamel", **more: Any) -> Load:
        return Load(id=load_id, profile=profile, footprint_cm2=150, height_mm=20, mass_kg=0.3, pieces=6, **more)

    loads = (
        pots("P1", "bisque", 2000),
        pots("P2", "bisque", 1500),
        pots("R1", "sketch", 900, max_temperature_c=1100),
        pots("P3", "bisque", 7000),
        pots("P4", "bisque", 1700),
        pots("G1", "glaze", 1900, after="P1", gap_minutes=24 * 60),
        pots("G2", "glaze", 500),
        pots("G3", "glaze", 600, family="porcelain"),
        pots("G4", "glaze", 900, family="porcelain"),
        pots("N1", "glaze", 1200, alone=True, ready=at(4, "09:30"), promised=at(3, "12:00"), priority=2),
        flask("X1", 55),
        flask("X2", 62),
        tray("E1a", session_at=at(2, "14:00"), session_minutes=60),
        tray("E1b", session_minutes=45),
        tray("E1c", "dip", session_minutes=30),
        pots("W1", "glaze", 900, height_mm=900, priority=3),
    )
    drafts = (
        Draft("F1", "K1", "bisque", (("P1",), ("P2", "R1")), at(0, "09:00"), at(0, "09:40"), at(1, "14:00")),
        Draft("F2", "K2", "glaze", (("G3", "G4"),), at(0, "10:00"), at(0, "19:00"), at(2, "09:00")),
        Draft("F3", "B1", "burnout", (("X1", "X2"),), at(1, "09:00"), at(1, "12:00"), at(1, "18:30")),
        Draft("F4", "E1", "enamel", (("E1a",),), at(2, "13:00"), at(2, "13:15"), at(2, "14:00")),
        Draft("F5", "E1", "enamel", (("E1b",),), at(4, "14:00"), at(4, "14:15"), at(4, "15:00")),
        Draft("F6", "A1", "bisque", (("P3",), ("P3",), ("P3", "P4")), at(3, "09:00"), at(3, "09:40"), at(4, "15:00")),
        Draft("F7", "K1", "glaze", (("G1", "G2"),), at(3, "09:00"), at(3, "09:40"), at(4, "12:00")),
        Draft("F8", "K2", "glaze", (("N1",),), at(4, "10:00"), at(4, "10:40"), at(5, "12:00")),
        Draft("F9", "E1", "dip", (("E1c",),), at(7, "10:00"), at(7, "10:10"), at(7, "10:55")),
    )
    return replace(bench, loads=loads, drafts=drafts, unplaced=("W1",))


@pytest.fixture(scope="session")
def bench() -> Bench:
    return make_bench()


@pytest.fixture(scope="session")
def bench_for() -> Callable[[date], Bench]:
    """The same week elsewhere in the calendar, for example across a change of the clocks."""
    return cache(make_bench)
