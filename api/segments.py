"""The segments to key in, as one kiln's controller shows them: in its own unit, in whole degrees."""

from __future__ import annotations

from dataclasses import dataclass

from api.day import FiringOnDay
from api.formats import Formats
from shared.clock import Minute
from shared.plans import PlannedSegment


@dataclass(frozen=True, slots=True)
class SegmentLine:
    """One segment in words. ``held`` tells a hold that is there from none."""

    number: int
    rate: str
    target: str
    hold: str
    reached_at: Minute
    hold_ends_at: Minute

    @property
    def held(self) -> bool:
        """Whether the segment has a hold."""
        return self.hold_ends_at > self.reached_at


def segment_lines(shown: FiringOnDay, formats: Formats) -> tuple[SegmentLine, ...]:
    """All segments of a firing, in order."""
    found = []
    from_c = formats.studio.place.room_c
    for number, segment in enumerate(shown.segments, start=1):
        found.append(
            SegmentLine(
                number,
                _rate_text(segment, from_c, shown, formats),
                formats.temperature(segment.to_c, shown.unit),
                formats.duration(segment.hold_minutes),
                segment.reached_at,
                segment.hold_ends_at,
            )
        )
        from_c = segment.to_c
    return tuple(found)


def _rate_text(segment: PlannedSegment, from_c: float, shown: FiringOnDay, formats: Formats) -> str:
    if segment.rate_k_per_hour is not None:
        return formats.rate(segment.rate_k_per_hour, shown.unit)
    return formats.words("firing.full_up" if segment.to_c >= from_c else "firing.full_down")
