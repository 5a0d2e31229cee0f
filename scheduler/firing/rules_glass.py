"""Trade checks for glass: the annealing soak, and how fast it cools through its strain range."""

from __future__ import annotations

from collections.abc import Iterator

from scheduler.firing.materials import GLASS
from scheduler.firing.warning import Case, ProfileWarning

SOAK_SOURCE = (
    "craft tables: 6 mm 1 h, 9 mm 1½ h, 12 mm 2 h, about 1 h for each 6 mm; art and float glass anneal at 480 to 540 °C"
)
RATE_SOURCE = (
    "Adams & Williamson, J. Franklin Inst. 190 (1920) 597: R = 24 κ (1-ν) σ / (E α d²), cooled from one face, "
    "at 0.8 MPa as craft tables imply, and at most 100 K/h"
)
UNLOAD_SOURCE = "common practice: glass is taken out at 40 to 50 °C and the lid stays shut above 370 °C"

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
            f"reaches {case.temperature(case.peak_c)} but holds nowhere between {case.temperature(ANNEALING_C[0])} and "
            f"{case.temperature(ANNEALING_C[1])} afterwards; the glass keeps its stress",
            SOAK_SOURCE, peak_c=case.peak_c,
        )  # fmt: skip
        return
    thickness = case.measure("thickness_mm")
    if thickness is None:
        return
    soak, usual = case.segments[number].hold_minutes, SOAK_MINUTES_PER_MM * thickness
    if soak < usual * 0.98:
        yield case.warn(
            "annealing_soak",
            f"soaks {soak:.0f} min at {case.temperature(case.segments[number].to_c)}; glass of {thickness:g} mm is "
            f"usually given {usual:.0f} min",
            SOAK_SOURCE, number, soak_min=soak, usual_min=usual, thickness_mm=thickness,
        )  # fmt: skip


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
                f"falls {case.rate(rate)} over the {name} {case.span(STRESS_SPAN_K)} below the soak; glass of "
                f"{thickness:g} mm on a shelf stands {case.rate(allowed * factor)}",
                RATE_SOURCE, number, rate_k_per_h=rate, allowed_k_per_h=allowed * factor, thickness_mm=thickness,
            )  # fmt: skip


def glass_unload_limit(case: Case) -> Iterator[ProfileWarning]:
    """Glass is not taken out hot."""
    limit = case.profile.unload_below_c
    if case.ware is GLASS and case.profile.unload == "cool" and limit is not None and limit > HIGHEST_UNLOAD_C:
        yield case.warn(
            "glass_unload_limit",
            f"unloads below {case.temperature(limit)}; {case.temperature(40)} to {case.temperature(50)} is usual",
            UNLOAD_SOURCE, unload_below_c=limit, usual_c=HIGHEST_UNLOAD_C,
        )  # fmt: skip
