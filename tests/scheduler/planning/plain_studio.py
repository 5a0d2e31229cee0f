"""A plain studio for the planner's tests: every number can be seen in the test that asks for it."""

from __future__ import annotations

from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from scheduler.planning.batches import Batches
from scheduler.planning.heats import Heats
from scheduler.planning.problem import Problem, state_problem
from scheduler.planning.timetable import Timetable
from shared.clock import Minute, wall_minute
from shared.kilns import Circuit, Kiln
from shared.loads import Load
from shared.profiles import Profile, Segment
from shared.studio import Place, Prices, Quiet, Rules, Shift, Studio

MONDAY = date(2026, 11, 30)
BEGIN: Minute = wall_minute(MONDAY, 0, ZoneInfo("UTC"))
EVERY_DAY = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
ALWAYS = Shift(days=EVERY_DAY, opens="00:00", closes="24:00", hands=9)
DAYTIME = Shift(days=EVERY_DAY, opens="09:00", closes="17:00", hands=2)


def bench_kiln(name: str = "K1", **changes: Any) -> Kiln:
    """A small strong kiln: it follows 100 K/h without fail."""
    values: dict[str, Any] = {
        "id": name,
        "work": ("firing",),
        "circuit": "main",
        "volts": 230.0,
        "amps": 20.0,
        "kilowatts": 4.6,
        "max_temperature_c": 1200.0,
        "inside_mm": (300.0, 300.0, 300.0),
        "shelf_gap_mm": 15.0,
        "wall_mm": 100.0,
        "brick": 23,
        "load_minutes": 30.0,
        "unload_minutes": 30.0,
    }
    return Kiln(**(values | changes))


def slow_profile(name: str = "warm", **changes: Any) -> Profile:
    """100 K/h from a room of 20 °C to 220 °C, which takes two hours, and a hold of one hour."""
    values: dict[str, Any] = {
        "id": name,
        "work": "firing",
        "unload_below_c": 60.0,
        "own_segments": (Segment(rate_k_per_hour=100.0, to_c=220.0, hold_minutes="1:00"),),
    }
    return Profile(**(values | changes))


def load(name: str, **changes: Any) -> Load:
    """A load of a kilogramme that takes a third of a shelf of the bench kiln."""
    values: dict[str, Any] = {
        "id": name,
        "profile": "warm",
        "footprint_cm2": 300.0,
        "height_mm": 100.0,
        "mass_kg": 1.0,
    }
    return Load(**(values | changes))


def studio(
    kilns: tuple[Kiln, ...] = (bench_kiln(),),
    profiles: tuple[Profile, ...] = (slow_profile(),),
    shifts: tuple[Shift, ...] = (ALWAYS,),
    circuits: tuple[Circuit, ...] = (Circuit(id="main", breaker_amps=1000.0),),
    quiet: tuple[Quiet, ...] = (),
    prices: Prices | None = None,
    **changes: Any,
) -> Studio:
    """A studio in UTC, so that the plan's clock is the axis itself."""
    values: dict[str, Any] = {"rules": Rules(horizon_days=4), "outages": ()}
    return Studio(
        place=Place(name="Plain", timezone="UTC", room_c=20.0),
        kilns=kilns,
        profiles=profiles,
        shifts=shifts,
        circuits=circuits,
        quiet=quiet,
        prices=prices or Prices(),
        **(values | changes),
    )


def problem_of(place: Studio, loads: tuple[Load, ...]) -> Problem:
    """The problem from Monday on."""
    return state_problem(place, loads, BEGIN, BEGIN + place.rules.horizon_days * 1440)


def timetable_of(place: Studio, loads: tuple[Load, ...]) -> Timetable:
    """An empty timetable."""
    problem = problem_of(place, loads)
    return Timetable(problem, Batches(problem, Heats(problem)))


def clock(text: str, day: int = 0) -> Minute:
    """The minute at which the clock shows ``HH:MM`` on a day after Monday."""
    hours, minutes = text.split(":")
    return BEGIN + day * 1440 + int(hours) * 60 + int(minutes)
