"""Trade checks for casting flasks and metal clay."""

from __future__ import annotations

from collections.abc import Iterator

from scheduler.firing.materials import FLASKS, SILVER
from scheduler.firing.warning import Case, ProfileWarning
from shared.texts import say

LIMIT_SOURCE = say("check.casting_suppliers_sheets")
DWELL_SOURCE = say("check.investment_makers_published")
FALL_SOURCE = say("check.common_practice_from")
MELTING_SOURCE = say("check.metal_clay_makers")

INVESTMENT_LIMIT_C = 788.0
TOP_BAND_C = (680.0, INVESTMENT_LIMIT_C)
DRYING_BAND_C = (120.0, 185.0)
MIDDLE_BAND_C = (250.0, 520.0)

DWELLS: tuple[tuple[float, float, float, float], ...] = (
    (70.0, 120.0, 60.0, 120.0),
    (95.0, 120.0, 120.0, 180.0),
    (float("inf"), 120.0, 240.0, 240.0),
)
"""Flask diameter up to [mm]; holds at 149 °C, between 315 and 482 °C, and at 732 °C [min]; see DWELL_SOURCE."""

LARGE_FLASK_MM = 95.0
LARGE_FLASK_FALL_K_PER_H = 100.0
COLDEST_FLASK_C = 250.0

METAL_LIMITS_C: tuple[tuple[tuple[str, ...], float, float, str], ...] = (
    (("sterling",), 830.0, 893.0, say("check.sterling_clay_sintered")),
    (("bronze",), 850.0, 990.0, say("check.bronze_clay_sintered")),
    (("copper",), 1000.0, 1084.6, say("check.copper_clay_sintered")),
    (("silver",), 925.0, 961.8, say("check.fine_silver_sintered")),
)
"""Words in a name or family; usual limit, melting point or liquidus [°C] (of sterling and bronze from memory); why."""


def investment_limit(case: Case) -> Iterator[ProfileWarning]:
    """Gypsum-bonded investment is never heated above its limit."""
    if case.ware is FLASKS and case.peak_c > INVESTMENT_LIMIT_C:
        yield case.warn(
            "investment_limit",
            say(
                "check.goes_gypsum_bonded",
                peak=case.temperature(case.peak_c),
                limit=case.temperature(INVESTMENT_LIMIT_C),
            ),
            LIMIT_SOURCE,
            case.peak_number,
            peak_c=case.peak_c,
            limit_c=INVESTMENT_LIMIT_C,
        )


def _held(case: Case, band_c: tuple[float, float], rising: bool) -> float:
    """Sum of the holds within a band, before the peak or at it [min]."""
    return sum(
        s.hold_minutes
        for number, s in enumerate(case.segments)
        if band_c[0] <= s.to_c <= band_c[1] and (not rising or number <= case.peak_number)
    )


def flask_dwells(case: Case) -> Iterator[ProfileWarning]:
    """Flasks dwell at each stage for as long as the largest of them needs: heat gets into investment by conduction."""
    diameter = case.measure("diameter_mm")
    if case.ware is not FLASKS or diameter is None:
        return
    _, drying, middle, top = next(row for row in DWELLS if diameter <= row[0])
    for band, least, name in (
        (DRYING_BAND_C, drying, say("check.to_dry")),
        (MIDDLE_BAND_C, middle, say("check.on_the_way")),
        (TOP_BAND_C, top, say("check.at_the_top")),
    ):
        held = _held(case, band, rising=True)
        if held < least - 0.5:
            yield case.warn(
                "flask_dwells",
                say(
                    "check.holds_min_flasks",
                    held=held,
                    name=name,
                    low=case.temperature(band[0]),
                    high=case.temperature(band[1]),
                    diameter=diameter,
                    least=least,
                ),
                DWELL_SOURCE,
                held_min=held,
                usual_min=least,
                diameter_mm=diameter,
            )


def flask_cooling(case: Case) -> Iterator[ProfileWarning]:
    """Large flasks are cooled slowly to casting temperature, and none below where cristobalite turns before casting."""
    if case.ware is not FLASKS:
        return
    last = case.segments[-1]
    if case.profile.unload == "hot" and last.to_c < COLDEST_FLASK_C < case.peak_c:
        yield case.warn(
            "flask_cooling",
            say(
                "check.cools_flasks_before", target=case.temperature(last.to_c), limit=case.temperature(COLDEST_FLASK_C)
            ),
            FALL_SOURCE,
            len(case.segments) - 1,
            casting_c=last.to_c,
            coldest_c=COLDEST_FLASK_C,
        )
    diameter = case.measure("diameter_mm")
    if diameter is None or diameter <= LARGE_FLASK_MM or last.to_c >= case.peak_c - 20.0:
        return
    after = case.course.segments[case.peak_number].hold_ends_minutes
    rate = case.fall_rate(case.peak_c - 5.0, max(last.to_c, COLDEST_FLASK_C) + 5.0, after)
    if rate is not None and rate > LARGE_FLASK_FALL_K_PER_H * 1.1:
        yield case.warn(
            "flask_cooling",
            say(
                "check.flasks_mm_fall",
                diameter=diameter,
                rate=case.rate(rate),
                usual=case.rate(LARGE_FLASK_FALL_K_PER_H),
            ),
            FALL_SOURCE,
            rate_k_per_h=rate,
            usual_k_per_h=LARGE_FLASK_FALL_K_PER_H,
            diameter_mm=diameter,
        )


def metal_clay_limit(case: Case) -> Iterator[ProfileWarning]:
    """Metal clay stays below the temperature at which its metal sags or melts."""
    if case.ware is not SILVER:
        return
    words = " ".join([case.profile.id, case.profile.name or "", *(load.family or "" for load in case.loads)]).casefold()
    for keys, limit, melts, why in METAL_LIMITS_C:
        if any(key in words for key in keys) and case.peak_c > limit:
            yield case.warn(
                "metal_clay_limit",
                say("check.goes_to_above", peak=case.temperature(case.peak_c), limit=case.temperature(limit), why=why),
                MELTING_SOURCE,
                case.peak_number,
                peak_c=case.peak_c,
                limit_c=limit,
                melts_c=melts,
            )
