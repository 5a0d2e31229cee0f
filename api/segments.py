"""The segments to key in, as one kiln's controller shows them: in its own unit, in whole degrees."""

from __future__ import annotations

from dataclasses import dataclass

from api.day import FiringOnDay
from api.formats import Formats
from scheduler.firing.rules import lags
from shared.clock import Minute
from shared.plans import PlannedSegment


@dataclass(frozen=True, slots=True)
class SegmentLine:
    """One segment in words. ``held`` tells a hold that is there from none.

    Attributes
    ----------
    written_minutes, takes_minutes
        How long its ramp would last at the rate that is keyed in, and how long this kiln takes; the first is None for
        full power.
    """

    number: int
    rate: str
    target: str
    hold: str
    reached_at: Minute
    hold_ends_at: Minute
    written_minutes: float | None
    takes_minutes: float

    @property
    def slow(self) -> bool:
        """Whether the kiln cannot follow the rate."""
        return self.written_minutes is not None and lags(self.written_minutes, self.takes_minutes)

    @property
    def held(self) -> bool:
        """Whether the segment has a hold."""
        return self.hold_ends_at > self.reached_at


def segment_lines(shown: FiringOnDay, formats: Formats) -> tuple[SegmentLine, ...]:
    """All segments of a firing, in order."""
    found = []
    from_c, begins = float(shown.course.temperature_c[0]), shown.firing.start_at
    for number, segment in enumerate(shown.segments, start=1):
        rate, last = segment.rate_k_per_hour, number == len(shown.segments)
        found.append(
            SegmentLine(
                number,
                _rate_text(segment, from_c, shown, formats),
                formats.temperature(segment.to_c, shown.unit),
                formats.duration(shown.keyed_hold_minutes if last else segment.hold_minutes),
                segment.reached_at,
                segment.hold_ends_at,
                None if rate is None else abs(segment.to_c - from_c) / rate * 60.0,
                segment.reached_at - begins,
            )
        )
        from_c, begins = segment.to_c, segment.hold_ends_at
    return tuple(found)


def hold_reason(shown: FiringOnDay, formats: Formats) -> str:
    """Why a session's hold ends when it does."""
    return formats.words(f"held_until.{shown.hold_limit.why}")


def _rate_text(segment: PlannedSegment, from_c: float, shown: FiringOnDay, formats: Formats) -> str:
    if segment.rate_k_per_hour is not None:
        return formats.rate(segment.rate_k_per_hour, shown.unit)
    return formats.words("firing.full_up" if segment.to_c >= from_c else "firing.full_down")
