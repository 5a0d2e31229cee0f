"""How a firing is started, in words: by hand, or on a timer with the delay that is set on it."""

from __future__ import annotations

from datetime import date

from api.attendance import attendance
from api.day import FiringOnDay
from api.formats import Formats

LONGEST_TIMER_MINUTES = 1440
"""Delay up to which a timer is taken to go [min]. Common practice: many count 24 hours; the maker's manual says it."""


def start_shortly(shown: FiringOnDay, formats: Formats, day: date) -> str:
    """The same for a narrow column: that nobody is there is what the timer is for."""
    delay = shown.firing.start_at - shown.loaded_at
    if shown.starts_alone and delay <= LONGEST_TIMER_MINUTES:
        return formats.words("overview.on_timer", delay=_delay(shown.loaded_at, shown, formats, day))
    return start_text(shown, formats, day)


def start_text(shown: FiringOnDay, formats: Formats, day: date) -> str:
    """By hand or on the timer, and how long after loading; a controller asks for the delay, not for the hour."""
    words, start_at = formats.words, shown.firing.start_at
    delay = start_at - shown.loaded_at
    if not shown.starts_alone:
        if delay <= 0:
            return words("sheet.by_hand")
        return words("sheet.by_hand_after", delay=_delay(shown.loaded_at, shown, formats, day))
    text = words("sheet.on_timer_after", delay=_delay(shown.loaded_at, shown, formats, day))
    if delay <= LONGEST_TIMER_MINUTES:
        return text
    leaves_at = attendance(shown.studio, start_at).leaves_at
    if leaves_at is None or start_at - leaves_at > LONGEST_TIMER_MINUTES:
        return f"{text} {words('sheet.too_long_for_a_timer')}"
    later = _delay(max(leaves_at, shown.loaded_at), shown, formats, day)
    return f"{text} {words('sheet.set_the_timer_later', delay=later)}"


def _delay(at: int, shown: FiringOnDay, formats: Formats, day: date) -> str:
    delay = formats.spelt_duration(shown.firing.start_at - at)
    return formats.words("sheet.delay", delay=delay, at=formats.clock(at, day))
