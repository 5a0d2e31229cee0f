"""What a trade check says, and what it looks at."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scheduler.firing.course import Course
from scheduler.firing.materials import Ware, ware_for
from shared.kilns import Kiln
from shared.loads import Load
from shared.profiles import Profile, Segment
from shared.texts import say
from shared.units import TemperatureUnit, degree_span, degrees


@dataclass(frozen=True, slots=True)
class ProfileWarning:
    """One doubt about a profile in a kiln. It changes nothing: people decide.

    Attributes
    ----------
    rule
        Name of the rule that it comes from.
    where
        The profile, its size row, segment and kiln that it is about.
    text
        One sentence with the numbers, in the studio's temperature unit.
    source
        Where the rule is from.
    numbers
        The same numbers by name, with their unit in the name.
    """

    rule: str
    where: str
    text: str
    source: str
    numbers: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True)
class Case:
    """A profile's size row in a kiln, with its computed course and the loads that it fires (none: as a profile)."""

    kiln: Kiln
    profile: Profile
    row: int | None
    course: Course
    loads: Sequence[Load] = ()
    unit: TemperatureUnit = "C"

    @cached_property
    def segments(self) -> tuple[Segment, ...]:
        """The segments of the size row."""
        return self.profile.segments(self.row)

    @cached_property
    def ware(self) -> Ware:
        """The kind of ware, by the profile's kind of work."""
        return ware_for(self.profile.work)

    @cached_property
    def peak_number(self) -> int:
        """The first segment with the highest target, counted from 0."""
        targets = [s.to_c for s in self.segments]
        return targets.index(max(targets))

    @cached_property
    def peak_c(self) -> float:
        """The highest target [°C]."""
        return self.segments[self.peak_number].to_c

    def measure(self, column: str) -> float | None:
        """The loads' largest ``thickness_mm`` or ``diameter_mm``, or the size row's limit [mm]; None: unknown."""
        given = [v for v in (getattr(load, column) for load in self.loads) if v is not None]
        if given:
            return float(max(given))
        if self.row is not None and self.profile.sized_by == column:
            row = self.profile.sizes[self.row]
            if row.up_to is not None:
                return row.up_to
            below = [r.up_to for r in self.profile.sizes if r.up_to is not None]
            return below[-1] if below else None
        return None

    def where(self, segment: int | None = None) -> str:
        """The place that a warning names; segments are counted from 1."""
        place = say("check.profile", profile=self.profile.id)
        if self.row is not None:
            up_to = self.profile.sizes[self.row].up_to
            place += say("check.size", row=self.row + 1) + (
                say("check.up_to_mm", up_to=up_to) if up_to is not None else ""
            )
        if segment is not None:
            place += say("check.segment", segment=segment + 1)
        return say("check.kiln", place=place, kiln=self.kiln.id)

    def temperature(self, temperature_c: float) -> str:
        """A temperature in the studio's unit."""
        return f"{degrees(temperature_c, self.unit):.0f} °{self.unit}"

    def span(self, kelvin: float) -> str:
        """A temperature difference in the studio's unit."""
        return f"{degree_span(kelvin, self.unit):.0f} °{self.unit}"

    def rate(self, k_per_h: float) -> str:
        """A rate in the studio's unit."""
        return f"{degree_span(k_per_h, self.unit):.0f} °{self.unit}/h"

    def warn(self, rule: str, text: str, source: str, segment: int | None = None, **numbers: float) -> ProfileWarning:
        """A warning about this case."""
        return ProfileWarning(rule, self.where(segment), text, source, tuple(sorted(numbers.items())))

    @cached_property
    def _minutes(self) -> NDArray[np.float64]:
        minutes: NDArray[np.float64] = (
            np.arange(self.course.temperature_c.size).astype(np.float64) * self.course.step_minutes
        )
        return minutes

    def heating_rates(self, low_c: float, high_c: float) -> Iterator[tuple[float, int]]:
        """The fastest rise over 30 minutes [K/h] of each segment between two temperatures, and the segment's number."""
        series = self.course.temperature_c
        window = max(1, round(30.0 / self.course.step_minutes))
        begins = 0.0
        for number, stage in enumerate(self.course.segments):
            first = int(begins / self.course.step_minutes)
            last = min(int(stage.reached_minutes / self.course.step_minutes), series.size - 1)
            part = series[first : last + 1]
            part = part[(part >= low_c) & (part <= high_c)]
            begins = stage.hold_ends_minutes
            if part.size < 3 or part[-1] <= part[0]:
                continue
            width = min(window, part.size - 1)
            yield float(np.max(part[width:] - part[:-width])) / (width * self.course.step_minutes / 60.0), number

    def minutes_between(self, low_c: float, high_c: float, after: float = 0.0, before: float = np.inf) -> float:
        """How long the sensor is between two temperatures [min], from and to given minutes."""
        series, at = self.course.temperature_c, self._minutes
        inside = (series >= low_c) & (series <= high_c) & (at >= after) & (at <= before)
        return float(np.count_nonzero(inside)) * self.course.step_minutes

    def fall_rate(self, from_c: float, to_c: float, after: float) -> float | None:
        """Mean fall between two temperatures after a minute [K/h]; None where the series does not show it."""
        series, at = self.course.temperature_c, self._minutes
        above = np.nonzero((at >= after) & (series <= from_c))[0]
        below = np.nonzero((at >= after) & (series <= to_c))[0]
        if not above.size or not below.size or below[0] <= above[0]:
            return None
        hours = (at[below[0]] - at[above[0]]) / 60.0
        return float(series[above[0]] - series[below[0]]) / float(hours)
