"""What a folder without faults may still have wrong: warnings, for a person to judge. Nothing here stops a plan."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from datetime import timedelta

from shared.calendar import kiln_outages, power_outages
from shared.clock import WEEKDAYS, Minute, wall_minute
from shared.errors import Fault
from shared.files.load_doubts import about_a_load, about_bare_dates, about_families
from shared.files.measure_doubts import about_a_height, about_an_inside, about_heights
from shared.files.places import item, place_of
from shared.files.values import listing, shown
from shared.kilns import Kiln
from shared.loads import Load
from shared.profiles import Profile
from shared.studio import Shift, Studio
from shared.texts import say
from shared.units import DAY_MINUTES, degrees

PLATE_TOLERANCE = 0.15
"""How far kilowatts may lie from volts × amps before it is doubted [-]; house choice: plates round volts (380, 400,
415) and amps by up to a tenth."""


def folder_warnings(studio: Studio, loads: Sequence[Load], now: Minute | None = None) -> list[Fault]:
    """What in a sound folder is probably not meant, or leaves a load without a firing.

    Parameters
    ----------
    studio, loads
        As ``read_folder`` gives them.
    now
        The present; without it nothing is said about times that have passed.
    """
    found: list[Fault] = []
    found += (Fault("studio.toml", *words) for words in _about_the_studio(studio))
    found += (Fault("studio.toml", *words) for words in _about_closed_days(studio, now))
    for number, kiln in enumerate(studio.kilns):
        place = place_of("kilns", number, kiln.id)
        found += (Fault("studio.toml", place + at, *words) for at, *words in _about_a_kiln(studio, kiln))
    for number, profile in enumerate(studio.profiles):
        place = place_of("profiles", number, profile.id)
        found += (Fault("profiles.toml", place + at, *words) for at, *words in _about_a_profile(studio, profile))
    for load in loads:
        found += (_of_load(load.id, column, *words) for column, *words in about_a_load(studio, load, now))
    found += (_of_load(*words) for words in about_families(loads))
    found += (
        Fault("loads.csv", say("fault.the_column", column=column), *words)
        for column, *words in about_bare_dates(studio, loads)
    )
    # A wrong unit is behind many another doubt, so that it is asked about first.
    return [*_about_units(studio, loads), *found]


def _about_units(studio: Studio, loads: Sequence[Load]) -> Iterator[Fault]:
    for number, kiln in enumerate(studio.kilns):
        for at, *words in about_an_inside(kiln):
            yield Fault("studio.toml", place_of("kilns", number, kiln.id) + at, *words)
    whole = [Fault("loads.csv", say("fault.the_column", column=at), *words) for at, *words in about_heights(loads)]
    yield from whole
    if not whole:
        for load in loads:
            for column, *words in about_a_height(load, loads):
                yield _of_load(load.id, column, *words)


def _of_load(load: str, column: str, problem: str, remedy: str) -> Fault:
    return Fault("loads.csv", say("fault.load_column", load=load, column=column), problem, remedy)


Words = tuple[str, str, str]
"""Place, problem and remedy."""


def _about_the_studio(studio: Studio) -> Iterator[Words]:
    if not studio.shifts:
        yield "shifts", say("fault.nobody_ever_there"), say("fault.write_least_one")
    if not studio.profiles:
        yield "", say("fault.there_no_profiles"), say("fault.write_profiles_into")


def _about_closed_days(studio: Studio, now: Minute | None) -> Iterator[Words]:
    """Closed days of the next plan on which kilns may heat: they stop people, and whether kilns too is asked."""
    if now is None:
        return
    zone, horizon_ends = studio.place.zone, now + studio.rules.horizon_days * DAY_MINUTES
    for number, closed in enumerate(studio.closed):
        begin, end = (wall_minute(day, 0, zone) for day in (closed.first, closed.last + timedelta(days=1)))
        heats = [
            kiln.id
            for kiln in studio.kilns
            if kiln.unattended
            and not power_outages(studio, kiln.id, begin, end)
            and not kiln_outages(studio, kiln.id, begin, end)
        ]
        if begin < horizon_ends and now < end and heats:
            yield (
                place_of("closed", number),
                say("fault.closed_but_kilns_heat", first=f"{closed.first}", last=f"{closed.last}", kilns=tuple(heats)),
                say("fault.outage_if_none_heats"),
            )


def plate_kilowatts(kiln: Kiln, legs: int) -> tuple[float, ...]:
    """What the plate's volts and amps may mean together [kW].

    One leg: U·I. Two legs of a split phase: U·I, U between them. Three: √3·U·I with U between legs (IEC 60050-131,
    three-phase power), or 3·U·I with U of each leg.
    """
    single = kiln.volts * kiln.amps / 1000.0
    return (single,) if legs < 3 else (math.sqrt(3.0) * single, 3.0 * single)


def _about_a_kiln(studio: Studio, kiln: Kiln) -> Iterator[Words]:
    legs = studio.legs_of(kiln)
    meant = plate_kilowatts(kiln, len(legs))
    if min(abs(kiln.kilowatts / power - 1.0) for power in meant) > PLATE_TOLERANCE:
        yield (
            " › kilowatts",
            say(
                "fault.kw_does_not",
                kilowatts=kiln.kilowatts,
                volts=kiln.volts,
                amps=kiln.amps,
                legs=say("fault.one_leg") if len(legs) == 1 else say("fault.legs", number=len(legs)),
                meant=listing(say("fault.kw", power=power) for power in meant),
            ),
            say("fault.read_volts_amps"),
        )
    for circuit in studio.feeders(kiln.circuit):
        if kiln.amps > circuit.usable_amps + 1e-9:
            yield (
                " › amps",
                say(
                    "fault.more_than_circuit",
                    amps=kiln.amps,
                    circuit=shown(circuit.id),
                    usable_amps=circuit.usable_amps,
                    breaker_amps=circuit.breaker_amps,
                    continuous_share=circuit.continuous_share,
                ),
                say("fault.check_both_figures"),
            )
    if not any(profile.work in kiln.work for profile in studio.profiles):
        yield " › work", say("fault.there_no_profile", work=listing(kiln.work)), say("fault.add_a_profile")


def _about_a_profile(studio: Studio, profile: Profile) -> Iterator[Words]:
    if profile.unload == "hot" and all(profile.segments(row)[-1].hold_up_to_minutes is None for row in profile.rows):
        yield (
            "",
            say("fault.unloaded_hot_but"),
            say("fault.give_last_segment"),
        )
    most = _most_people(studio, profile.skill)
    if 0 < most < profile.session_people:
        yield (
            " › session_people",
            say("fault.never_so_many", people=profile.session_people, most=most),
            say("fault.give_shifts_hands", most=most),
        )
    kilns = [kiln for kiln in studio.kilns if profile.work in kiln.work and (kiln.vented or not profile.vent)]
    if not kilns and any(profile.work in kiln.work for kiln in studio.kilns):
        yield " › vent", say("fault.must_vented_but"), say("fault.see_vent_then")
    unit = studio.place.temperature
    hottest = max((kiln.max_temperature_c for kiln in kilns), default=math.inf)
    for row in profile.rows:
        if profile.peak_c(row) > hottest:
            yield (
                "" if row is None else f" › {item('sizes', row)}",
                say(
                    "fault.goes_kilns_only",
                    peak=degrees(profile.peak_c(row), unit),
                    unit=unit,
                    hottest=degrees(hottest, unit),
                ),
                say("fault.lower_target_give"),
            )


def _most_people(studio: Studio, skill: str | None) -> int:
    """The most hands that shifts ever have at once, somebody with a skill among them; a date counts in every week."""
    spans: list[tuple[int, int, Shift]] = []
    for shift in studio.shifts:
        days = [WEEKDAYS.index(day) for day in shift.days] if shift.on is None else [shift.on.weekday()]
        length = (shift.closes - shift.opens - 1) % DAY_MINUTES + 1
        # Each twice, a week apart: the night after the last day is that before the first.
        begins = [(day + week * 7) * DAY_MINUTES + shift.opens for day in days for week in (0, 1)]
        spans += [(begin, begin + length, shift) for begin in begins]
    most = 0
    for at, _, _ in spans:
        here = [shift for begin, end, shift in spans if begin <= at < end]
        if skill is None or any(skill in shift.skills for shift in here):
            most = max(most, sum(shift.hands for shift in here))
    return most
