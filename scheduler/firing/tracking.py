"""Where a running firing is on its computed course, from what the thermocouple shows; and when it will end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scheduler.firing.course import Course

DRIFT_K_PER_MIN = 0.1
"""How many kelvin of disagreement weigh as much as one minute away from where the firing should be [K/min]. Our own
choice: on a ramp, however slow (20 K/h is 0.33 K/min), the temperature decides; on a hold, the clock does."""

NOISE_K = 4.0
"""Disagreement that says nothing [K]: twice the ordinary noise of a type K thermocouple with its controller [CP]."""

SLOW_WINDOW_MINUTES = 30.0
"""A kiln counts as losing time when it has in each of the last two windows of this length [min]; one alone may be a
power cut that is over. Our own choice."""

SLOW_PACE = 0.85
"""Pace on the course [minutes of course a minute] under which a kiln counts as losing time; above, noise on a slow ramp
would do. Our own choice."""

LEAST_PACE = 0.2
"""Slowest pace that a forecast is made with [minutes of course a minute]: slower, the kiln may never arrive."""


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
        The course's own times, moved by what the readings show. A kiln that keeps losing time on a ramp is taken to
        lose it to that ramp's end; whatever comes after is taken to go as computed.
    """
    series = course.temperature_c
    step = course.step_minutes
    last = (len(series) - 1) * step
    position, at = 0.0, 0.0
    path = [(0.0, 0.0)]
    hot_at: float | None = None
    safe_at: float | None = None
    for minutes, temperature_c in readings:
        if minutes < at:
            continue
        expected = min(position + minutes - at, last)
        low, high = int(position / step), int(np.ceil(_farthest(course, expected, last) / step))
        places = np.arange(low, min(high, len(series) - 1) + 1) * step
        away = np.abs(series[low : low + len(places)] - temperature_c)
        misfit = np.maximum(0.0, away - NOISE_K) + DRIFT_K_PER_MIN * np.abs(places - expected)
        found = int(np.argmin(misfit))
        nearest = expected if away[min(int(expected / step), low + len(places) - 1) - low] <= NOISE_K else places[found]
        position, at = max(position, float(nearest)), minutes
        path.append((at, position))
        if hot_at is None and position >= course.hot_minutes:
            hot_at = max(0.0, at - (position - course.hot_minutes))
        if safe_at is None and hot_at is not None and temperature_c <= safe_below_c:
            safe_at = at
    behind = at - position + _still_to_lose(course, path)
    hot = hot_at if hot_at is not None else course.hot_minutes + behind
    safe = safe_at if safe_at is not None else max(at, course.safe_minutes + behind)
    return Track(at, position, hot, safe)


def _still_to_lose(course: Course, path: Sequence[tuple[float, float]]) -> float:
    """What a kiln that keeps losing time will lose on the rest of its ramp [min]."""
    at, position = path[-1]
    ramp = next((segment for segment in course.segments if position < segment.reached_minutes), None)
    if ramp is None or at < 2.0 * SLOW_WINDOW_MINUTES:
        return 0.0
    times, places = zip(*path, strict=True)
    marks = np.interp([at - 2.0 * SLOW_WINDOW_MINUTES, at - SLOW_WINDOW_MINUTES, at], times, places)
    pace = float(np.max(np.diff(marks))) / SLOW_WINDOW_MINUTES
    if pace >= SLOW_PACE:
        return 0.0
    rest = ramp.reached_minutes - position
    return rest / max(pace, LEAST_PACE) - rest


def _farthest(course: Course, minutes: float, last: float) -> float:
    """How far ahead of the clock a firing may be: to the end of the ramp or hold after the one it should be in."""
    edges = [edge for segment in course.segments for edge in (segment.reached_minutes, segment.hold_ends_minutes)]
    ahead = sorted(edge for edge in edges if edge > minutes)
    return ahead[1] if len(ahead) > 1 else last
