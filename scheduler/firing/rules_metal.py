"""Trade checks for casting flasks and metal clay."""

from __future__ import annotations

from collections.abc import Iterator

from scheduler.firing.materials import FLASKS, SILVER
from scheduler.firing.warning import Case, ProfileWarning

LIMIT_SOURCE = "casting suppliers' sheets: burnt investment spoils above 788 °C (1450 °F); normal top 732 °C"
DWELL_SOURCE = "an investment maker's published cycles for flasks of 64, 89 and 102 mm"
FALL_SOURCE = (
    "common practice, from memory: at most about 100 K/h for large flasks; cristobalite turns at 220 to 270 °C"
)
MELTING_SOURCE = "metal clay makers' and suppliers' firing tables; fine silver melts at 961 °C, keep to 925 °C"

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
    (("sterling",), 830.0, 893.0, "sterling clay is sintered at 815 °C; sterling is liquid from about 893 °C"),
    (("bronze",), 850.0, 990.0, "bronze clay is sintered at 830 to 843 °C and sags soon above"),
    (("copper",), 1000.0, 1084.6, "copper clay is sintered at 970 to 980 °C and melts at 1085 °C"),
    (("silver",), 925.0, 961.8, "fine silver is sintered at up to 900 °C and melts at 961.8 °C"),
)
"""Words in a name or family; usual limit, melting point or liquidus [°C] (of sterling and bronze from memory); why."""


def investment_limit(case: Case) -> Iterator[ProfileWarning]:
    """Gypsum-bonded investment is never heated above its limit."""
    if case.ware is FLASKS and case.peak_c > INVESTMENT_LIMIT_C:
        yield case.warn(
            "investment_limit",
            f"goes to {case.temperature(case.peak_c)}; gypsum-bonded investment breaks down above "
            f"{case.temperature(INVESTMENT_LIMIT_C)} and gives off sulphur gases",
            LIMIT_SOURCE, case.peak_number, peak_c=case.peak_c, limit_c=INVESTMENT_LIMIT_C,
        )  # fmt: skip


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
        (DRYING_BAND_C, drying, "to dry"), (MIDDLE_BAND_C, middle, "on the way up"), (TOP_BAND_C, top, "at the top"),
    ):  # fmt: skip
        held = _held(case, band, rising=True)
        if held < least - 0.5:
            yield case.warn(
                "flask_dwells",
                f"holds {held:.0f} min {name} ({case.temperature(band[0])} to {case.temperature(band[1])}); flasks of "
                f"{diameter:g} mm are usually given {least:.0f} min",
                DWELL_SOURCE, held_min=held, usual_min=least, diameter_mm=diameter,
            )  # fmt: skip


def flask_cooling(case: Case) -> Iterator[ProfileWarning]:
    """Large flasks are cooled slowly to casting temperature, and none below where cristobalite turns before casting."""
    if case.ware is not FLASKS:
        return
    last = case.segments[-1]
    if case.profile.unload == "hot" and last.to_c < COLDEST_FLASK_C < case.peak_c:
        yield case.warn(
            "flask_cooling",
            f"cools flasks to {case.temperature(last.to_c)} before casting; below {case.temperature(COLDEST_FLASK_C)} "
            f"investment cracks",
            FALL_SOURCE, len(case.segments) - 1, casting_c=last.to_c, coldest_c=COLDEST_FLASK_C,
        )  # fmt: skip
    diameter = case.measure("diameter_mm")
    if diameter is None or diameter <= LARGE_FLASK_MM or last.to_c >= case.peak_c - 20.0:
        return
    after = case.course.segments[case.peak_number].hold_ends_minutes
    rate = case.fall_rate(case.peak_c - 5.0, max(last.to_c, COLDEST_FLASK_C) + 5.0, after)
    if rate is not None and rate > LARGE_FLASK_FALL_K_PER_H * 1.1:
        yield case.warn(
            "flask_cooling",
            f"flasks of {diameter:g} mm fall {case.rate(rate)} to casting temperature; "
            f"{case.rate(LARGE_FLASK_FALL_K_PER_H)} is usual at most",
            FALL_SOURCE, rate_k_per_h=rate, usual_k_per_h=LARGE_FLASK_FALL_K_PER_H, diameter_mm=diameter,
        )  # fmt: skip


def metal_clay_limit(case: Case) -> Iterator[ProfileWarning]:
    """Metal clay stays below the temperature at which its metal sags or melts."""
    if case.ware is not SILVER:
        return
    words = " ".join([case.profile.id, case.profile.name or "", *(load.family or "" for load in case.loads)]).casefold()
    for keys, limit, melts, why in METAL_LIMITS_C:
        if any(key in words for key in keys) and case.peak_c > limit:
            yield case.warn(
                "metal_clay_limit",
                f"goes to {case.temperature(case.peak_c)}, above {case.temperature(limit)}: {why}",
                MELTING_SOURCE, case.peak_number, peak_c=case.peak_c, limit_c=limit, melts_c=melts,
            )  # fmt: skip
