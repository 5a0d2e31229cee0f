"""Trade checks for glass: the annealing soak, and how fast it cools through its strain range."""

from __future__ import annotations

from collections.abc import Iterator

from scheduler.firing.materials import GLASS
from scheduler.firing.warning import Case, ProfileWarning
from shared.texts import say

SOAK_SOURCE = say("check.craft_tables_6")
RATE_SOURCE = say("check.adams_williamson_j")
UNLOAD_SOURCE = say("check.common_practice_glass")

ANNEALING_C = (450.0, 560.0)
"""Where an annealing soak may lie [°C]: 477 to 548 by makers' sheets, 480 to 540 for art and float glass."""

FORMING_C = 600.0
"""Glass that was hotter than this needs annealing [°C]: slumping begins at 620."""

STRESS_SPAN_K = 55.0
"""The first and the second span of cooling that craft tables give rates for [K]."""

DIFFUSIVITY_M2_PER_S = 4.2e-7
YOUNG_PA = 70.0e9
POISSON = 0.22
EXPANSION_PER_K = 9.0e-6
"""Soda-lime and art glass: κ, E, ν, α, common values [M]; valid for expansions of 8 to 10e-6."""

ALLOWED_STRESS_PA = 0.8e6
"""Tension that the craft tables' rates for 12 to 25 mm come to [Pa] [C]."""

PRACTICE_CAP_K_PER_H = 100.0
"""Below about 9 mm the formula allows far more than practice, which stays at 80 to 150 K/h [CP]."""

SOAK_MINUTES_PER_MM = 10.0
"""See SOAK_SOURCE."""

HIGHEST_UNLOAD_C = 50.0


def allowed_cooling_rate(thickness_mm: float) -> float:
    """Fastest cooling [K/h] over the first 55 K below the annealing soak, for glass on a shelf (one face cools).

    The form is checked against craft tables in the tests: 55, 25 and 15 K/h for 12, 19 and 25 mm.

    >>> round(allowed_cooling_rate(19.0), 1)
    24.9
    """
    depth_m = 2.0 * thickness_mm / 1000.0
    stress = 24.0 * DIFFUSIVITY_M2_PER_S * (1.0 - POISSON) * ALLOWED_STRESS_PA
    return min(PRACTICE_CAP_K_PER_H, stress / (YOUNG_PA * EXPANSION_PER_K * depth_m**2) * 3600.0)


def _soak(case: Case) -> int | None:
    """The number of the segment that anneals: the last hold within the annealing range after the peak."""
    found = None
    for number in range(case.peak_number + 1, len(case.segments)):
        segment = case.segments[number]
        if ANNEALING_C[0] <= segment.to_c <= ANNEALING_C[1] and segment.hold_minutes > 0.0:
            found = number
    return found


def annealing_soak(case: Case) -> Iterator[ProfileWarning]:
    """Glass that was formed is soaked at its annealing temperature, longer the thicker it is."""
    if case.ware is not GLASS or case.peak_c < FORMING_C:
        return
    number = _soak(case)
    if number is None:
        yield case.warn(
            "annealing_soak",
            say(
                "check.reaches_but_holds",
                peak=case.temperature(case.peak_c),
                low=case.temperature(ANNEALING_C[0]),
                high=case.temperature(ANNEALING_C[1]),
            ),
            SOAK_SOURCE,
            peak_c=case.peak_c,
        )
        return
    thickness = case.measure("thickness_mm")
    if thickness is None:
        return
    soak, usual = case.segments[number].hold_minutes, SOAK_MINUTES_PER_MM * thickness
    if soak < usual * 0.98:
        yield case.warn(
            "annealing_soak",
            say(
                "check.soaks_min_glass",
                soak=soak,
                target=case.temperature(case.segments[number].to_c),
                thickness=thickness,
                usual=usual,
            ),
            SOAK_SOURCE,
            number,
            soak_min=soak,
            usual_min=usual,
            thickness_mm=thickness,
        )


def annealing_cooling_rate(case: Case) -> Iterator[ProfileWarning]:
    """Glass is cooled no faster below its soak than its thickness stands, by the course that the kiln really takes."""
    thickness = case.measure("thickness_mm")
    if case.ware is not GLASS or case.peak_c < FORMING_C or thickness is None:
        return
    number = _soak(case)
    if number is None:
        return
    top_c = case.segments[number].to_c
    after = case.course.segments[number].hold_ends_minutes
    allowed = allowed_cooling_rate(thickness)
    for span, factor, name in ((0, 1.0, "first"), (1, 1.8, "second")):
        from_c, to_c = top_c - span * STRESS_SPAN_K - 1.0, top_c - (span + 1) * STRESS_SPAN_K
        rate = case.fall_rate(from_c, to_c, after)
        # Craft tables let the second 55 K fall 1.8 times as fast as the first (25 and 45, 15 and 27 K/h).
        if rate is not None and rate > allowed * factor * 1.1:
            yield case.warn(
                "annealing_cooling_rate",
                say(
                    "check.falls_over_below",
                    rate=case.rate(rate),
                    name=say(f"check.{name}"),
                    span=case.span(STRESS_SPAN_K),
                    thickness=thickness,
                    allowed=case.rate(allowed * factor),
                ),
                RATE_SOURCE,
                number,
                rate_k_per_h=rate,
                allowed_k_per_h=allowed * factor,
                thickness_mm=thickness,
            )


def glass_unload_limit(case: Case) -> Iterator[ProfileWarning]:
    """Glass is not taken out hot."""
    limit = case.profile.unload_below_c
    if case.ware is GLASS and case.profile.unload == "cool" and limit is not None and limit > HIGHEST_UNLOAD_C:
        yield case.warn(
            "glass_unload_limit",
            say(
                "check.unloads_below_usual_2",
                limit=case.temperature(limit),
                low=case.temperature(40),
                high=case.temperature(50),
            ),
            UNLOAD_SOURCE,
            unload_below_c=limit,
            usual_c=HIGHEST_UNLOAD_C,
        )
