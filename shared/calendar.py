"""The week's rules laid out on the absolute axis: shifts, closed days, quiet times, prices, outages.

Every function takes a span ``[begin, end)`` of minutes and answers for that span, clock changes included.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from shared.clock import WEEKDAYS, Minute, local_time, wall_minute
from shared.studio import Shift, Studio


@dataclass(frozen=True, slots=True, order=True)
class Span:
    """A stretch of time ``[begin, end)`` [min]."""

    begin: Minute
    end: Minute

    def overlaps(self, begin: Minute, end: Minute) -> bool:
        """Whether it shares a moment with ``[begin, end)``."""
        return self.begin < end and begin < self.end


@dataclass(frozen=True, slots=True)
class OnDuty:
    """One shift on one day."""

    begin: Minute
    end: Minute
    shift: Shift


@dataclass(frozen=True, slots=True)
class QuietSpan:
    """One quiet time on one day; ``work`` None: nothing may be heating."""

    begin: Minute
    end: Minute
    work: tuple[str, ...] | None


@dataclass(frozen=True, slots=True)
class PriceStep:
    """A price per kWh that holds for ``[begin, end)``."""

    begin: Minute
    end: Minute
    price: float


def _days(studio: Studio, begin: Minute, end: Minute) -> Iterator[date]:
    zone = studio.place.zone
    day = local_time(begin, zone).date() - timedelta(days=1)
    last = local_time(end, zone).date()
    while day <= last:
        yield day
        day += timedelta(days=1)


def _daily(
    studio: Studio, day: date, opens: int, closes: int, begin: Minute, end: Minute
) -> tuple[Minute, Minute] | None:
    zone = studio.place.zone
    from_minute = wall_minute(day, opens, zone)
    to_minute = wall_minute(day if closes > opens else day + timedelta(days=1), closes, zone)
    if to_minute <= begin or from_minute >= end or to_minute <= from_minute:
        return None
    return from_minute, to_minute


def on_duty(studio: Studio, begin: Minute, end: Minute) -> list[OnDuty]:
    """Every shift that touches the span, in order, whole (not cut to the span). Closed days have none.

    A shift that runs past midnight into a closed day ends at that midnight.
    """
    zone = studio.place.zone
    found = []
    for day in _days(studio, begin, end):
        if _is_closed(studio, day):
            continue
        next_day_closed = _is_closed(studio, day + timedelta(days=1))
        for shift in studio.shifts:
            if not shift.comes(day):
                continue
            window = _daily(studio, day, shift.opens, shift.closes, begin, end)
            if window is None:
                continue
            from_minute, to_minute = window
            if next_day_closed:
                to_minute = min(to_minute, wall_minute(day + timedelta(days=1), 0, zone))
            here = _without_absent(studio, day, shift)
            if to_minute > from_minute and to_minute > begin and here is not None:
                found.append(OnDuty(from_minute, to_minute, here))
    return sorted(found, key=lambda duty: (duty.begin, duty.end))


def staffed_spans(studio: Studio, begin: Minute, end: Minute, people: int = 1, skill: str | None = None) -> list[Span]:
    """Stretches of the shifts that touch a span in which ``people`` hands are there, one of them with a ``skill``.

    A task may pass from one shift into the next, so stretches that touch are one.
    """
    duties = on_duty(studio, begin, end)
    found: list[Span] = []
    for first, last in pairwise(sorted({edge for duty in duties for edge in (duty.begin, duty.end)})):
        here = [duty.shift for duty in duties if duty.begin <= first and last <= duty.end]
        able = skill is None or any(skill in shift.skills for shift in here)
        if not able or sum(shift.hands for shift in here) < people:
            continue
        if found and found[-1].end == first:
            found[-1] = Span(found[-1].begin, last)
        else:
            found.append(Span(first, last))
    return found


def _without_absent(studio: Studio, day: date, shift: Shift) -> Shift | None:
    """A shift with the hands that are left on ``day``; None where nobody is."""
    hands = shift.hands
    for absence in studio.absences:
        if absence.on == day and absence.opens in (None, shift.opens):
            hands -= shift.hands if absence.hands is None else absence.hands
    if hands <= 0:
        return None
    return shift if hands == shift.hands else shift.model_copy(update={"hands": hands})


def _is_closed(studio: Studio, day: date) -> bool:
    return any(closed.first <= day <= closed.last for closed in studio.closed)


def quiet_spans(studio: Studio, begin: Minute, end: Minute) -> list[QuietSpan]:
    """Every quiet time that touches the span, in order."""
    found = []
    for day in _days(studio, begin, end):
        for quiet in studio.quiet:
            if WEEKDAYS[day.weekday()] in quiet.days:
                window = _daily(studio, day, quiet.begins, quiet.ends, begin, end)
                if window is not None:
                    found.append(QuietSpan(*window, quiet.work))
    return sorted(found, key=lambda span: (span.begin, span.end))


def price_steps(studio: Studio, begin: Minute, end: Minute) -> list[PriceStep]:
    """The price per kWh over the span, as steps without gaps; neighbours with one price are joined."""
    windows: list[tuple[Minute, Minute, float]] = []
    for band in studio.tariff.bands:
        for day in _days(studio, begin, end):
            if WEEKDAYS[day.weekday()] in band.days:
                window = _daily(studio, day, band.begins, band.ends, begin, end)
                if window is not None:
                    windows.append((*window, band.price))
    edges = sorted({begin, end} | {edge for window in windows for edge in window[:2] if begin < edge < end})
    steps: list[PriceStep] = []
    for left, right in pairwise(edges):
        price = next((w[2] for w in windows if w[0] <= left and right <= w[1]), studio.tariff.default)
        if steps and steps[-1].price == price:
            steps[-1] = PriceStep(steps[-1].begin, right, price)
        else:
            steps.append(PriceStep(left, right, price))
    return steps


def kiln_outages(studio: Studio, kiln_id: str, begin: Minute, end: Minute) -> list[Span]:
    """When a kiln itself cannot be used, in order, cut to the span."""
    return _spans(((o.begins, o.ends) for o in studio.outages if o.kiln == kiln_id), begin, end)


def power_outages(studio: Studio, kiln_id: str, begin: Minute, end: Minute) -> list[Span]:
    """When a kiln has no supply, since a circuit above it is out, in order, cut to the span."""
    above = {circuit.id for circuit in studio.feeders(studio.kiln_by_id[kiln_id].circuit)}
    return _spans(((o.begins, o.ends) for o in studio.outages if o.circuit in above), begin, end)


def _spans(outages: Iterable[tuple[Minute, Minute | None]], begin: Minute, end: Minute) -> list[Span]:
    cut = ((max(begin, b), min(end, e if e is not None else end)) for b, e in outages)
    return sorted(Span(b, e) for b, e in cut if e > b)
