"""Trade checks on a profile in a kiln: one function a rule, each with its source. They warn and change nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from scheduler.firing.course import Course
from scheduler.firing.rules_clay import clay_unload_limit, cone_reached, thick_ware_ramps, water_smoking
from scheduler.firing.rules_glass import annealing_cooling_rate, annealing_soak, glass_unload_limit
from scheduler.firing.rules_metal import flask_cooling, flask_dwells, investment_limit, metal_clay_limit
from scheduler.firing.warning import Case, ProfileWarning
from shared.kilns import Kiln
from shared.loads import Load
from shared.profiles import Profile
from shared.texts import say
from shared.units import TemperatureUnit

__all__ = ["RULES", "ProfileWarning", "profile_warnings"]


def kiln_maximum(case: Case) -> Iterator[ProfileWarning]:
    """No target lies above the kiln's maximum temperature."""
    limit = case.kiln.max_temperature_c
    for number, segment in enumerate(case.segments):
        if segment.to_c > limit:
            yield case.warn(
                "kiln_maximum",
                say("check.goes_kilns_maximum", target=case.temperature(segment.to_c), limit=case.temperature(limit)),
                say("check.kilns_plate_makers"),
                number,
                target_c=segment.to_c,
                limit_c=limit,
            )


def material_maximum(case: Case) -> Iterator[ProfileWarning]:
    """No target lies above what a load's material stands."""
    for load in case.loads:
        if load.max_temperature_c is not None and case.peak_c > load.max_temperature_c:
            yield case.warn(
                "material_maximum",
                say(
                    "check.goes_to_load",
                    peak=case.temperature(case.peak_c),
                    load=load.id,
                    max_temperature=case.temperature(load.max_temperature_c),
                ),
                say("check.the_loads_own"),
                case.peak_number,
                peak_c=case.peak_c,
                limit_c=load.max_temperature_c,
            )


def target_within_reach(case: Case) -> Iterator[ProfileWarning]:
    """This kiln reaches every target on its supply, with this charge, by the thermal model."""
    course = case.course
    if course.reached:
        return
    kiln = case.kiln
    got_c = course.stalled_at_c if course.stalled_at_c is not None else 0.0
    text = say("check.cannot_followed_by", got=case.temperature(got_c))
    share = 1.0
    if kiln.supply_volts is not None and kiln.supply_volts < kiln.volts:
        share = (kiln.supply_volts / kiln.volts) ** 2
        text += say("check.v_on_v", supply_volts=kiln.supply_volts, volts=kiln.volts, share=share)
    yield case.warn(
        "target_within_reach",
        text,
        say("check.thermal_model_power"),
        stalled_at_c=got_c,
        power_kw=kiln.plate_power_kw,
        power_share=share,
        target_c=case.peak_c,
    )


def ramps_followed(case: Case) -> Iterator[ProfileWarning]:
    """Programmed ramps that the kiln cannot follow take longer than written."""
    before_c, begins = case.course.temperature_c[0], 0.0
    for number, (segment, stage) in enumerate(zip(case.segments, case.course.segments, strict=True)):
        took = stage.reached_minutes - begins
        if segment.rate_k_per_hour is not None:
            written = abs(segment.to_c - before_c) / segment.rate_k_per_hour * 60.0
            if lags(written, took):
                yield case.warn(
                    "ramps_followed",
                    say(
                        "check.written_min_by",
                        rate=case.rate(segment.rate_k_per_hour),
                        target=case.temperature(segment.to_c),
                        written=written,
                        took=took,
                    ),
                    say("check.the_thermal_model"),
                    number,
                    written_min=written,
                    takes_min=took,
                )
        before_c, begins = segment.to_c, stage.hold_ends_minutes


def lags(written_minutes: float, took_minutes: float) -> bool:
    """Whether a ramp takes so much longer than written that people should know: a tenth and ten minutes, our choice."""
    return took_minutes > written_minutes * 1.1 + 10.0


def hot_unload_is_elastic(case: Case) -> Iterator[ProfileWarning]:
    """Work that is unloaded hot waits for people: its last hold should say how long it may be drawn out."""
    last = case.segments[-1]
    if case.profile.unload == "hot" and (
        last.hold_up_to_minutes is None or last.hold_up_to_minutes <= last.hold_minutes
    ):
        yield case.warn(
            "hot_unload_is_elastic",
            say("check.unloaded_hot_but", hold=last.hold_minutes),
            say("check.common_practice_flasks"),
            len(case.segments) - 1,
            hold_min=last.hold_minutes,
        )


def vented_where_it_fumes(case: Case) -> Iterator[ProfileWarning]:
    """A profile that must be vented goes into a vented kiln."""
    if case.profile.vent and not case.kiln.vented:
        yield case.warn(
            "vented_where_it_fumes",
            say("check.must_vented_kiln"),
            say("check.common_practice_health"),
        )


Rule = Callable[[Case], Iterator[ProfileWarning]]

PLATE_RULES: tuple[Rule, ...] = (
    kiln_maximum,
    material_maximum,
    vented_where_it_fumes,
    hot_unload_is_elastic,
    clay_unload_limit,
    glass_unload_limit,
    investment_limit,
    metal_clay_limit,
    flask_dwells,
    annealing_soak,
    target_within_reach,
)
"""Rules that need no course, and the one that says that there is none."""

COURSE_RULES: tuple[Rule, ...] = (
    ramps_followed,
    cone_reached,
    water_smoking,
    thick_ware_ramps,
    annealing_cooling_rate,
    flask_cooling,
)
"""Rules that look at the computed course; left out where the kiln cannot reach its targets."""

RULES = PLATE_RULES + COURSE_RULES
"""All trade checks, in reading order."""


def profile_warnings(
    kiln: Kiln,
    profile: Profile,
    row: int | None,
    course: Course,
    loads: Sequence[Load] = (),
    unit: TemperatureUnit = "C",
) -> list[ProfileWarning]:
    """What the trade would doubt about a profile's size row in a kiln.

    Parameters
    ----------
    kiln, profile, row
        What is fired where; ``row`` None for a profile without sizes.
    course
        The computed course of ``profile.segments(row)`` in ``kiln``.
    loads
        The loads, whose thickness and diameter are looked at; without any, the size row's limits are.
    unit
        The studio's temperature unit, for the texts.

    Returns
    -------
    list[ProfileWarning]
        In the rules' order; empty where nothing is in doubt. They are cautions, not permissions: the makers' sheets,
        the kiln's manual and local codes decide.
    """
    case = Case(kiln, profile, row, course, tuple(loads), unit)
    rules = RULES if course.reached else PLATE_RULES
    return [warning for rule in rules for warning in rule(case)]
