"""How a kiln's elements age: hours and energy from recorded firings, the drift of the fitted power, and the date at
which the kiln no longer does its hottest profile in its allowed time. "Today" is an argument.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from statistics import NormalDist

from scheduler.firing.course import Course, FiringRequest
from scheduler.firing.simulate import simulate_one
from scheduler.firing.uncertainty import POWER_PRIOR
from shared.errors import RequestError
from shared.kilns import Fitted, Kiln
from shared.texts import say

ALLOWED_SLOWDOWN = 1.10
"""A firing may take so much longer than with new elements before they are due [-]: a tenth is the usual sign to plan
their replacement (technicians' pages, derived) [CP]."""

DAYS_A_YEAR = 365.25

FASTEST_AGEING_PER_YEAR = 3.0
"""Drifts beyond this in ln power [1/year] are no ageing but a broken element or two different kilns [CP]."""


@dataclass(frozen=True, slots=True)
class Usage:
    """What a kiln's elements have done.

    Attributes
    ----------
    firings
        Number of firings [-].
    hot_hours
        From start to the end of heating, summed [h].
    full_power_hours
        Energy by the kiln's power: hours at full current [h]; what elements and relays count.
    kwh
        Energy [kWh].
    """

    firings: int
    hot_hours: float
    full_power_hours: float
    kwh: float


def usage(kiln: Kiln, courses: Sequence[Course]) -> Usage:
    """Element hours and energy of a kiln's firings, from their courses; those that never got there count as nothing."""
    done = [course for course in courses if course.reached]
    kwh = sum(course.kwh for course in done)
    return Usage(len(done), sum(c.hot_minutes for c in done) / 60.0, kwh / kiln.plate_power_kw, kwh)


@dataclass(frozen=True, slots=True)
class PowerReading:
    """A fit's power factor [-] and the day on which its firings were recorded."""

    on: date
    power: float
    error: float

    @classmethod
    def of(cls, on: date, fitted: Fitted) -> PowerReading:
        """The reading of a fit; without a standard error it is as sure as a plate."""
        return cls(on, fitted.power, fitted.power_error if fitted.power_error else POWER_PRIOR)


@dataclass(frozen=True, slots=True)
class Drift:
    """A straight line through ln power.

    Attributes
    ----------
    on
        The weighted middle of the readings.
    log_power, log_power_error
        There [-].
    per_year, per_year_error
        Change of ln power [1/year]; negative is ageing.
    """

    on: date
    log_power: float
    log_power_error: float
    per_year: float
    per_year_error: float

    def power(self, on: date, sure: float = 0.5) -> float:
        """Power factor [-] that is met or exceeded on a day with a probability of ``sure``."""
        years = (on - self.on).days / DAYS_A_YEAR
        error = math.hypot(self.log_power_error, self.per_year_error * years)
        return math.exp(self.log_power + self.per_year * years - NormalDist().inv_cdf(sure) * error)


def power_drift(readings: Sequence[PowerReading]) -> Drift:
    """The drift of fitted power over time, by weighted least squares.

    Raises
    ------
    RequestError
        If there are fewer than two readings on different days, or they cannot be one kiln's ageing.
    """
    if len({r.on for r in readings}) < 2:
        raise RequestError(say("fit.drift_needs_fits"))
    weights = [1.0 / max(r.error, 1e-3) ** 2 for r in readings]
    total = sum(weights)
    first = min(r.on for r in readings)
    days = [(r.on - first).days for r in readings]
    middle = sum(w * d for w, d in zip(weights, days, strict=True)) / total
    years = [(d - middle) / DAYS_A_YEAR for d in days]
    logs = [math.log(r.power) for r in readings]
    spread = sum(w * y * y for w, y in zip(weights, years, strict=True))
    level = sum(w * v for w, v in zip(weights, logs, strict=True)) / total
    slope = sum(w * y * v for w, y, v in zip(weights, years, logs, strict=True)) / spread
    if abs(slope) > FASTEST_AGEING_PER_YEAR:
        raise RequestError(say("fit.power_changes_by", factor=math.exp(slope)))
    return Drift(first + timedelta(days=round(middle)), level, total**-0.5, slope, spread**-0.5)


def _with_power(request: FiringRequest, power: float) -> Course:
    fitted = request.kiln.fitted.model_copy(update={"power": power})
    return simulate_one(replace(request, kiln=request.kiln.model_copy(update={"fitted": fitted})))


def allowed_minutes(request: FiringRequest, slowdown: float = ALLOWED_SLOWDOWN) -> float | None:
    """Allowed time of a firing [min]: that with new elements, and so much longer; None: out of reach even then."""
    new = _with_power(request, 1.0)
    return new.hot_minutes * slowdown if new.reached else None


def least_power(request: FiringRequest, allowed: float) -> float | None:
    """The least power factor [-] with which a firing ends its heating within ``allowed`` minutes; None: none."""

    def good(power: float) -> bool:
        course = _with_power(request, power)
        return course.reached and course.hot_minutes <= allowed

    low, high = 0.25, 2.9
    if not good(high):
        return None
    if good(low):
        return low
    while high - low > 1e-4:
        middle = (low + high) / 2.0
        low, high = (low, middle) if good(middle) else (middle, high)
    return high


@dataclass(frozen=True, slots=True)
class AgeingReport:
    """A kiln's age.

    Attributes
    ----------
    usage
        Hours and energy of the recorded firings.
    power_now
        Power factor today by the drift [-]; None without one.
    drift
        None where there are fits of fewer than two days.
    least_power
        The power factor [-] that the hottest profile needs to end within its allowed time; None: it never does.
    allowed_minutes
        That time [min].
    due_on, due_from
        The day on which power falls below it: as likely as not, and with one chance in ten. None: not within 20 years,
        or there is no drift; never earlier than today.
    text
        One sentence for people.
    """

    usage: Usage
    power_now: float | None
    drift: Drift | None
    least_power: float | None
    allowed_minutes: float | None
    due_on: date | None
    due_from: date | None
    text: str


LONGEST_OUTLOOK_DAYS = 20 * 365


def _first_day_below(drift: Drift, power: float, today: date, sure: float) -> date | None:
    """First day from today on which the power is below ``power``; found by halving, as it only falls from here."""
    if drift.power(today, sure) < power:
        return today
    last = LONGEST_OUTLOOK_DAYS
    if drift.power(today + timedelta(days=last), sure) >= power:
        return None
    first = 0
    while last - first > 1:
        middle = (first + last) // 2
        if drift.power(today + timedelta(days=middle), sure) < power:
            last = middle
        else:
            first = middle
    return today + timedelta(days=last)


def ageing_report(
    kiln: Kiln,
    courses: Sequence[Course],
    readings: Sequence[PowerReading],
    hottest: FiringRequest,
    today: date,
    allowed: float | None = None,
) -> AgeingReport:
    """How a kiln's elements have aged and when they are due.

    Parameters
    ----------
    kiln
        The kiln.
    courses
        Courses of its recorded firings, since its elements were new.
    readings
        Fits of its power over that time.
    hottest
        Its hottest profile, with an ordinary charge.
    today
        The day from which the outlook goes.
    allowed
        Longest time to the end of heating [min]; None: a tenth more than with new elements.
    """
    used = usage(kiln, courses)
    limit = allowed_minutes(hottest) if allowed is None else allowed
    need = None if limit is None else least_power(hottest, limit)
    spoken = say("fit.firings_h_full", firings=used.firings, full_power=used.full_power_hours, kwh=used.kwh)
    if need is None:
        return AgeingReport(
            used,
            None,
            None,
            None,
            limit,
            None,
            None,
            say("fit.hottest_profile_out", spoken=spoken),
        )
    if len({r.on for r in readings}) < 2:
        return AgeingReport(
            used,
            None,
            None,
            need,
            limit,
            None,
            None,
            say("fit.hottest_profile_needs", spoken=spoken, need=need),
        )
    drift = power_drift(readings)
    now = drift.power(today)
    due, early = (_first_day_below(drift, need, today, sure) for sure in (0.5, 0.9))
    if due is not None:
        when = say("fit.falls_below_that", due=due.isoformat(), early=early.isoformat() if early else due)
    elif early is not None:
        when = say("fit.may_fall_below", early=early.isoformat())
    else:
        when = say("fit.does_not_fall")
    return AgeingReport(
        used,
        now,
        drift,
        need,
        limit,
        due,
        early,
        say(
            "fit.power_plate_changes",
            spoken=spoken,
            now=now,
            per_year=drift.per_year,
            per_year_error=drift.per_year_error,
            need=need,
            when=when,
        ),
    )
