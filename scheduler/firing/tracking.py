"""Where a running firing is on its computed course, from what the thermocouple shows; and when it will end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.firing.course import Course

DRIFT_K_PER_MIN = 0.1
"""How many kelvin of disagreement weigh as much as one minute away from where the firing should be [K/min]. Our own
choice: on a ramp, however slow (20 K/h is 0.33 K/min), the temperature decides; on a hold, the clock does."""


@dataclass(frozen=True, slots=True)
class Track:
    """A running firing against its course; all times are minutes after its start [min].

    Attributes
    ----------
    at_minutes
        Time of the last reading.
    position_minutes
        Where on the computed course the firing is.
    hot_minutes, safe_minutes
        When the elements go off and when it is safe to open, as now expected, or as it was.
    """

    at_minutes: float
    position_minutes: float
    hot_minutes: float
    safe_minutes: float

    @property
    def behind_minutes(self) -> float:
        """How far the firing is behind its course; negative: ahead [min]."""
        return self.at_minutes - self.position_minutes


def track(course: Course, readings: Sequence[tuple[float, float]], safe_below_c: float) -> Track:
    """Follow a firing along its course.

    Parameters
    ----------
    course
        The computed course of the firing.
    readings
        Minutes after the start [min] and temperature [°C], in the order of time.
    safe_below_c
        The temperature below which it may be opened [°C].

    Returns
    -------
    Track
        The course's own times, moved by what the readings show. Between readings the firing is taken to go on as
        computed, so that a kiln that goes on losing time is seen later by just the time between two readings.
    """
    series = course.temperature_c
    step = course.step_minutes
    last = (len(series) - 1) * step
    position, at = 0.0, 0.0
    hot_at: float | None = None
    safe_at: float | None = None
    for minutes, temperature_c in readings:
        if minutes < at:
            continue
        expected = min(position + minutes - at, last)
        low, high = int(position / step), int(np.ceil(_end_of_phase(course, expected, last) / step))
        places = np.arange(low, min(high, len(series) - 1) + 1) * step
        away = np.abs(series[low : low + len(places)] - temperature_c) + DRIFT_K_PER_MIN * np.abs(places - expected)
        position, at = max(position, float(places[int(np.argmin(away))])), minutes
        if hot_at is None and position >= course.hot_minutes:
            hot_at = max(0.0, at - (position - course.hot_minutes))
        if safe_at is None and hot_at is not None and temperature_c <= safe_below_c:
            safe_at = at
    behind = at - position
    hot = hot_at if hot_at is not None else course.hot_minutes + behind
    safe = safe_at if safe_at is not None else max(at, course.safe_minutes + behind)
    return Track(at, position, hot, safe)


def _end_of_phase(course: Course, minutes: float, last: float) -> float:
    """How far ahead a firing may be: to the end of the ramp or hold in which it should be."""
    for segment in course.segments:
        if minutes < segment.reached_minutes:
            return segment.reached_minutes
        if minutes < segment.hold_ends_minutes:
            return segment.hold_ends_minutes
    return last
