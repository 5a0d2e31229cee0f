"""Who is there, who leaves last and who comes first about a moment of a firing."""

from __future__ import annotations

from dataclasses import dataclass

from shared.calendar import OnDuty, on_duty, staffed_spans
from shared.clock import Minute
from shared.studio import Studio

_FAR_MINUTES = 30 * 1440
"""How far before and after a moment shifts are looked for [min]: longer than a studio is closed between two terms."""


@dataclass(frozen=True, slots=True)
class Attendance:
    """Who is there at a moment.

    Attributes
    ----------
    there
        Whoever is there then.
    leaves_at
        When the last of them leaves, or when the last one left before; None where nobody was for a month.
    comes_at
        When the first one comes after the moment, once all have left; None where nobody does within a month.
    first
        Whoever comes then.
    """

    there: tuple[OnDuty, ...]
    leaves_at: Minute | None
    comes_at: Minute | None
    first: tuple[OnDuty, ...]


def attendance(studio: Studio, at: Minute) -> Attendance:
    """Who is there at a moment, which belongs to a shift that ends or begins with it."""
    begin, end = at - _FAR_MINUTES, at + _FAR_MINUTES
    duties = on_duty(studio, begin, end)
    spans = staffed_spans(studio, begin, end)
    here = next((span for span in spans if span.begin <= at <= span.end), None)
    leaves_at = here.end if here is not None else max((span.end for span in spans if span.end < at), default=None)
    comes_at = min((span.begin for span in spans if span.begin > (here.end if here else at)), default=None)
    return Attendance(
        there=tuple(duty for duty in duties if duty.begin <= at <= duty.end),
        leaves_at=leaves_at,
        comes_at=comes_at,
        first=tuple(duty for duty in duties if duty.begin == comes_at),
    )
