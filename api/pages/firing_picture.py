"""The curve of one firing with the readings so far, for its page and for downloads."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace

from api.day import FiringOnDay
from api.formats import Formats
from api.sheets.curve import BOTTOM, LEFT, RIGHT, TOP, Curve, curve
from shared.clock import Minute, iso_text
from shared.units import degrees

Readings = Sequence[tuple[Minute, float]]

MOST_DOTS = 300
"""How many readings a picture shows [-]; more could not be told apart on it."""

AFTER_MINUTES = 30
"""How much of the course the picture shows after the kiln is safe [min], as on the sheet."""


@dataclass(frozen=True, slots=True)
class Followed:
    """The curve and the dots of what the thermocouple showed."""

    curve: Curve
    dots: tuple[tuple[float, float], ...]
    last: str


def followed(shown: FiringOnDay, formats: Formats, readings: Readings, offset: Minute) -> Followed:
    """The picture of a firing.

    Parameters
    ----------
    readings
        When [min] and how hot [°C].
    offset
        How much later than planned the firing was started [min]; the readings are drawn by their time after the start.
    """
    drawn = curve(shown, formats)
    # The page is for a phone as much as for a desk; every line stays.
    times = tuple(replace(mark, text="") if mark.spare else mark for mark in drawn.times)
    drawn = replace(drawn, times=times)
    begin = shown.firing.start_at
    end = (shown.firing.out_at if shown.hot else shown.firing.safe_at) + AFTER_MINUTES
    top = float(drawn.temperatures[-1].text)
    thinned = readings[:: -(-len(readings) // MOST_DOTS) or 1]
    dots = []
    for minute, temperature_c in thinned:
        x = LEFT + (RIGHT - LEFT) * (minute - offset - begin) / (end - begin)
        y = BOTTOM - (BOTTOM - TOP) * max(0.0, degrees(temperature_c, shown.unit)) / top
        if LEFT <= x <= RIGHT:
            dots.append((round(x, 1), round(max(TOP, y), 1)))
    last = ""
    if readings:
        minute, temperature_c = readings[-1]
        last = formats.words(
            "one.last_reading",
            temperature=formats.temperature(temperature_c, shown.unit),
            at=formats.clock(minute),
            expected=formats.temperature(shown.temperature_at(minute - offset), shown.unit),
        )
    return Followed(drawn, tuple(dots), last)


def course_csv(shown: FiringOnDay, readings: Readings) -> str:
    """The computed course and the readings as a table, in the kiln's own unit."""
    zone, unit, firing = shown.studio.place.zone, shown.unit, shown.firing
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\r\n")
    table.writerow(["time", "minutes after start", f"computed [°{unit}]", f"read [°{unit}]"])
    read = dict(readings)
    last = firing.start_at + int((len(shown.course.temperature_c) - 1) * shown.course.step_minutes)
    moments = sorted({*range(firing.start_at, last + 1, 5), *read})
    for minute in moments:
        inside = firing.start_at <= minute <= last
        table.writerow(
            [
                iso_text(minute, zone),
                minute - firing.start_at,
                f"{degrees(shown.temperature_at(minute), unit):.1f}" if inside else "",
                f"{degrees(read[minute], unit):.1f}" if minute in read else "",
            ]
        )
    return text.getvalue()
