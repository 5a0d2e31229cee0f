"""The firing profiles of a generated studio, written in round numbers of the unit that the studio uses.

Schedules are ordinary ones of the trade (published cycles and common practice): bisque and glaze by cone, gypsum
flasks by diameter, glass by thickness, enamel held for the session, metal clay by metal.
"""

from __future__ import annotations

from shared.profiles import Profile, Segment, SizeRow
from shared.units import TemperatureUnit, celsius, degrees, duration_text, kelvin_span

BISQUE, GLAZE, GLASS, BURNOUT, ENAMEL, METAL_CLAY = "bisque", "glaze", "glass", "burnout", "enamel", "metal-clay"

Step = tuple[float | None, float, float] | tuple[float | None, float, float, float]
"""Rate [K/h] (None: full), target [°C], hold [min], and where the hold is elastic its longest [min]."""


def round_temperature(temperature_c: float, unit: TemperatureUnit) -> float:
    """The temperature [°C] that a person writing in ``unit`` would note for ``temperature_c``: a multiple of 5."""
    return celsius(round(degrees(temperature_c, unit) / 5.0) * 5.0, unit)


def round_rate(rate_k_per_hour: float | None, unit: TemperatureUnit) -> float | None:
    """The rate [K/h] that a person writing in ``unit`` would note: a multiple of 5 degrees an hour."""
    if rate_k_per_hour is None:
        return None
    factor = 1.0 if unit == "C" else 1.8
    return kelvin_span(max(5.0, round(rate_k_per_hour * factor / 5.0) * 5.0), unit)


def _segments(steps: list[Step], unit: TemperatureUnit) -> tuple[Segment, ...]:
    return tuple(
        # Durations are written as a file writes them: a bare number would be read as hours.
        Segment.model_validate(
            {
                "rate": round_rate(step[0], unit) or "full",
                "to": round_temperature(step[1], unit),
                "hold": duration_text(step[2]),
                "hold_up_to": duration_text(step[3]) if len(step) == 4 else None,
            }
        )
        for step in steps
    )


_BISQUE_ROWS: list[tuple[float, list[Step]]] = [
    (9, [(100, 120, 30), (110, 593, 0), (85, 930, 0), (60, 1045, 15)]),
    (16, [(80, 85, 120), (60, 120, 120), (85, 820, 30), (70, 1040, 15)]),
]
_FUSE_ROWS: list[tuple[float, list[Step]]] = [
    (6, [(150, 540, 20), (110, 670, 30), (200, 800, 10), (None, 510, 60), (60, 400, 0)]),
    (10, [(110, 540, 30), (100, 670, 40), (180, 800, 12), (None, 510, 90), (50, 455, 0), (90, 375, 0)]),
    (20, [(60, 540, 60), (60, 670, 60), (120, 800, 15), (None, 510, 180), (15, 455, 0), (27, 400, 0), (90, 300, 0)]),
]
_SLUMP_ROWS: list[tuple[float, list[Step]]] = [
    (6, [(120, 540, 0), (100, 660, 12), (None, 520, 60), (55, 400, 0)]),
    (20, [(70, 540, 20), (70, 665, 20), (None, 520, 120), (25, 455, 0), (60, 375, 0)]),
]
_BURNOUT_ROWS: list[tuple[float, list[Step]]] = [
    (65, [(120, 149, 120), (250, 371, 60), (250, 732, 120), (None, 480, 60, 600)]),
    (90, [(120, 149, 120), (220, 371, 120), (220, 732, 180), (120, 480, 60, 600)]),
    (110, [(100, 149, 120), (150, 315, 120), (150, 482, 120), (150, 732, 240), (100, 480, 120, 720)]),
]


def make_profiles(works: set[str], unit: TemperatureUnit) -> tuple[Profile, ...]:
    """The profiles for the kinds of work that a studio's kilns fire."""

    def rows(sizes: list[tuple[float, list[Step]]]) -> tuple[SizeRow, ...]:
        return tuple(SizeRow(up_to=up_to, segments=_segments(steps, unit)) for up_to, steps in sizes)

    def below(temperature_c: float) -> float:
        return round_temperature(temperature_c, unit)

    profiles = [
        Profile(id="bisque", work=BISQUE, sized_by="thickness_mm", unload_below_c=below(90), vent=True,
                one_family=True, cautions=("hot-kiln", "fumes"), sizes=rows(_BISQUE_ROWS)),
        Profile(id="bisque-slow", work=BISQUE, unload_below_c=below(80), vent=True, one_family=True,
                shares_with=("bisque",), cautions=("hot-kiln", "fumes", "thick-ware"),
                own_segments=_segments([(50, 85, 600), (50, 180, 120), (60, 600, 0), (70, 1040, 15)], unit)),
        Profile(id="glaze-6", work=GLAZE, unload_below_c=below(95), vent=True, cautions=("hot-kiln", "fumes"),
                own_segments=_segments([(60, 120, 0), (190, 1120, 0), (60, 1210, 10)], unit)),
        Profile(id="glaze-05", work=GLAZE, unload_below_c=below(95), vent=True, cautions=("hot-kiln", "fumes"),
                own_segments=_segments([(80, 120, 15), (150, 930, 0), (60, 1030, 10)], unit)),
        Profile(id="fuse", work=GLASS, sized_by="thickness_mm", unload_below_c=below(45), one_family=True,
                cautions=("hot-kiln", "sharp-glass"), sizes=rows(_FUSE_ROWS)),
        Profile(id="slump", work=GLASS, sized_by="thickness_mm", unload_below_c=below(45), one_family=True,
                cautions=("hot-kiln", "sharp-glass"), sizes=rows(_SLUMP_ROWS)),
        Profile(id="burnout", work=BURNOUT, sized_by="diameter_mm", unload="hot", session="casting",
                skill="casting", vent=True, one_family=True,
                cautions=("burnout-smoke", "fumes", "hot-flask", "silica-dust"), sizes=rows(_BURNOUT_ROWS)),
        Profile(id="enamel", work=ENAMEL, unload="hot", session="enamelling", skill="enamelling",
                cautions=("hot-kiln", "glare", "enamel-dust"), own_segments=_segments([(None, 800, 15, 480)], unit)),
        Profile(id="silver", work=METAL_CLAY, unload_below_c=below(80), one_family=True, cautions=("hot-kiln",),
                own_segments=_segments([(None, 900, 120)], unit)),
        Profile(id="binder", work=METAL_CLAY, unload_below_c=below(60), one_family=True, vent=True,
                cautions=("hot-kiln", "fumes"), own_segments=_segments([(140, 540, 30)], unit)),
        Profile(id="bronze-box", work=METAL_CLAY, unload_below_c=below(50), one_family=True, vent=True,
                cautions=("hot-kiln", "fumes", "carbon-box"), own_segments=_segments([(200, 840, 150)], unit)),
    ]  # fmt: skip
    return tuple(profile for profile in profiles if profile.work in works)
