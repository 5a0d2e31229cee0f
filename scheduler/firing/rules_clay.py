"""Trade checks for clay: the cone that the profile reaches, steam, and ramps for thick ware."""

from __future__ import annotations

import re
from collections.abc import Iterator

from scheduler.firing.heat_work import cone_named, cones_between, heat_work
from scheduler.firing.materials import BISCUIT, GREENWARE, ware_for
from scheduler.firing.warning import Case, ProfileWarning
from shared.profiles import Profile
from shared.texts import say

CONE_SOURCE = say("check.orton_temperature_equivalents")
DRYING_SOURCE = say("check.studio_guides_bisque")
RATE_SOURCE = say("check.published_bisques_110")
UNLOAD_SOURCE = say("check.93_c_by")

CONE_TOLERANCE = 0.5
"""A profile is taken to reach its cone within so many cones [-]; the table's own spread between makers is no better."""

STEAM_BAND_C = (65.0, 130.0)
"""Where ware dries in the kiln [°C]."""

DRYING_MINUTES = ((8.0, 40.0), (15.0, 180.0), (25.0, 360.0), (float("inf"), 720.0))
"""Least time between 65 and 130 °C by thickness up to [mm, min]: see DRYING_SOURCE; 8 mm: 30 min held and the ramp."""

THICK_RATES = ((8.0, 120.0), (15.0, 90.0), (25.0, 65.0), (float("inf"), 55.0))
"""Fastest rise from 130 to 600 °C by thickness up to [mm, K/h]: see RATE_SOURCE, with a tenth for the controller."""

HIGHEST_UNLOAD_C = 150.0
"""Unloading above this is a doubt [°C]; see UNLOAD_SOURCE."""

_CONE = re.compile(r"\bcone[\s-]*(0?\d{1,2})\b|\^\s*(0?\d{1,2})\b", re.IGNORECASE)
_CONE_IN_ID = re.compile(r"-(0\d{1,2}|\d{1,2})(?:-|$)")


def wanted_cone(profile: Profile) -> str | None:
    """The cone that a profile's name, or else its id, speaks of; None if neither names one between 022 and 10.

    Only ceramics are fired by cones.
    """
    if ware_for(profile.work) not in (GREENWARE, BISCUIT):
        return None
    match = _CONE.search(profile.name or "") or _CONE.search(profile.id) or _CONE_IN_ID.search(profile.id)
    if match is None:
        return None
    name = next(group for group in match.groups() if group)
    try:
        return cone_named(name).name
    except LookupError:
        return None


def cone_reached(case: Case) -> Iterator[ProfileWarning]:
    """The cone that the profile names is the one that its rate, peak and soak bring down, within half a cone."""
    wanted = wanted_cone(case.profile)
    if wanted is None:
        return
    work = heat_work(case.course.temperature_c, case.course.step_minutes)
    off = work.off(wanted)
    if abs(off) <= CONE_TOLERANCE:
        return
    goal_c = cone_named(wanted).equivalent_c(work.rate_k_per_h)
    found = say("check.no_cone_at") if work.cone is None else say("check.cone", cone=work.cone)
    text = say(
        "check.named_cone_but",
        wanted=wanted,
        off=off,
        found=found,
        peak=case.temperature(work.peak_c),
        rate=case.rate(work.rate_k_per_h),
        span=case.span(100),
        goal=case.temperature(goal_c),
    )
    if not work.rate_is_published:
        text += say("check.equivalents_published_15")
    twin = wanted[1:] if wanted.startswith("0") else f"0{wanted}"
    if work.cone is not None and _is_cone(twin) and abs(cones_between(twin, work.cone)) <= 1:
        text += say("check.was_cone_meant", twin=twin)
    yield case.warn(
        "cone_reached",
        text,
        CONE_SOURCE,
        case.peak_number,
        cones_off=off,
        peak_c=work.peak_c,
        rate_k_per_h=work.rate_k_per_h,
        cone_down_c=goal_c,
    )


def _is_cone(name: str) -> bool:
    try:
        cone_named(name)
    except LookupError:
        return False
    return True


def water_smoking(case: Case) -> Iterator[ProfileWarning]:
    """Greenware gets time to dry before it boils, by its thickness."""
    if case.ware is not GREENWARE:
        return
    thickness = case.measure("thickness_mm")
    least = next(m for up_to, m in DRYING_MINUTES if (thickness or 0.0) <= up_to)
    peak_at = case.course.segments[case.peak_number].reached_minutes
    spent = case.minutes_between(*STEAM_BAND_C, before=peak_at)
    if spent >= least:
        return
    size = say("check.greenware") if thickness is None else say("check.greenware_of_mm", thickness=thickness)
    yield case.warn(
        "water_smoking",
        say(
            "check.passes_min_min",
            size=size,
            low=case.temperature(STEAM_BAND_C[0]),
            high=case.temperature(STEAM_BAND_C[1]),
            spent=spent,
            least=least,
        ),
        DRYING_SOURCE,
        spent_min=spent,
        usual_min=least,
        thickness_mm=thickness or 0.0,
    )


def thick_ware_ramps(case: Case) -> Iterator[ProfileWarning]:
    """Thick greenware is not heated faster to 600 °C than its thickness stands."""
    thickness = case.measure("thickness_mm")
    if case.ware is not GREENWARE or thickness is None:
        return
    most = next(rate for up_to, rate in THICK_RATES if thickness <= up_to)
    for rate, number in case.heating_rates(STEAM_BAND_C[1], 600.0):
        if rate > most * 1.02:
            yield case.warn(
                "thick_ware_ramps",
                say(
                    "check.rises_below_ware",
                    rate=case.rate(rate),
                    below=case.temperature(600),
                    thickness=thickness,
                    most=case.rate(most),
                ),
                RATE_SOURCE,
                number,
                rate_k_per_h=rate,
                usual_k_per_h=most,
                thickness_mm=thickness,
            )


def clay_unload_limit(case: Case) -> Iterator[ProfileWarning]:
    """Clay is not unloaded hotter than hands, glaze and lid brick stand."""
    limit = case.profile.unload_below_c
    if case.ware not in (GREENWARE, BISCUIT) or case.profile.unload != "cool" or limit is None:
        return
    if limit > HIGHEST_UNLOAD_C:
        yield case.warn(
            "clay_unload_limit",
            say(
                "check.unloads_below_usual",
                limit=case.temperature(limit),
                low=case.temperature(93),
                high=case.temperature(HIGHEST_UNLOAD_C),
                crack=case.temperature(200),
            ),
            UNLOAD_SOURCE,
            unload_below_c=limit,
            usual_c=HIGHEST_UNLOAD_C,
        )
