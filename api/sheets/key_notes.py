"""What has to be known of the segments beside their numbers: what the kiln cannot follow, and who ends a session."""

from __future__ import annotations

from datetime import date

from api.day import FiringOnDay
from api.formats import Formats
from api.segments import SegmentLine, hold_reason


def key_notes(shown: FiringOnDay, lines: tuple[SegmentLine, ...], formats: Formats, day: date) -> tuple[str, ...]:
    """The notes below the segments."""
    words = formats.words
    notes = [_hold_note(shown, formats, day)] if shown.hot else []
    slow = [line for line in lines if line.slow and line.written_minutes is not None]
    if slow:
        steps = [
            words(
                "sheet.slow_step",
                number=line.number,
                takes=formats.spelt_duration(line.takes_minutes),
                written=formats.spelt_duration(line.written_minutes or 0.0),
            )
            for line in slow
        ]
        notes.append(words("sheet.slow", steps="; ".join(steps)))
    return tuple(notes)


def _hold_note(shown: FiringOnDay, formats: Formats, day: date) -> str:
    off, limit = shown.firing.hot_until, shown.longest_hot_until
    return formats.words(
        "sheet.hold_longer" if limit > off else "sheet.hold_planned",
        number=len(shown.segments),
        off=formats.clock(off, day),
        limit=formats.clock(limit, day),
        why=hold_reason(shown, formats),
    )
