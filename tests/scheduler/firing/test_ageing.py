"""Element hours, drift, and the day on which elements are due."""

from __future__ import annotations

import math
from datetime import date, timedelta

import pytest

from scheduler.firing.ageing import (
    ALLOWED_SLOWDOWN,
    PowerReading,
    ageing_report,
    allowed_minutes,
    least_power,
    power_drift,
    usage,
)
from scheduler.firing.simulate import simulate_one
from shared.errors import RequestError
from shared.kilns import Fitted

TODAY = date(2026, 11, 25)


@pytest.fixture
def hottest(kiln_of, segment, firing_of):
    """A cone 6 glaze at full power in the 100 l kiln."""
    return firing_of(kiln_of(), [segment(None, 1222, 0.2)], 25.0, work="glaze")


def _readings(per_year: float, error: float = 0.01, start: float = 1.0) -> list[PowerReading]:
    first = TODAY - timedelta(days=730)
    return [
        PowerReading(first + timedelta(days=d), start * math.exp(per_year * d / 365.25), error)
        for d in range(0, 731, 73)
    ]


def test_usage_adds_up_hours_and_energy(kiln_of, segment, firing_of) -> None:
    """Full-power hours are energy by power; a firing that never got there counts as nothing."""
    kiln = kiln_of()
    good = simulate_one(firing_of(kiln, [segment(150, 1000)]))
    bad = simulate_one(firing_of(kiln_of(kilowatts=2.0), [segment(150, 1200)]))
    assert not bad.reached
    used = usage(kiln, [good, good, bad])
    assert used.firings == 2
    assert used.kwh == pytest.approx(2 * good.kwh)
    assert used.full_power_hours == pytest.approx(2 * good.kwh / 7.0)
    assert used.hot_hours == pytest.approx(2 * good.hot_minutes / 60)


def test_drift_finds_the_slope_with_its_error() -> None:
    """Five percent a year; the error is that of a weighted line (any statistics text): σ / sqrt(Σ (t - t̄)²)."""
    drift = power_drift(_readings(-0.05))
    assert drift.per_year == pytest.approx(-0.05, rel=1e-3)
    years = [(d - 365) / 365.25 for d in range(0, 731, 73)]
    assert drift.per_year_error == pytest.approx(0.01 / math.sqrt(sum(y * y for y in years)), rel=0.01)
    assert drift.power(TODAY) == pytest.approx(math.exp(-0.10), rel=1e-3)
    assert drift.power(TODAY, 0.9) < drift.power(TODAY) < drift.power(TODAY, 0.1)


def test_due_date_is_when_power_crosses_what_the_hottest_profile_needs(kiln_of, hottest) -> None:
    """By arithmetic from the slope; the early date comes first."""
    need = least_power(hottest, allowed_minutes(hottest))
    report = ageing_report(kiln_of(), [], _readings(-0.03), hottest, TODAY)
    assert 0.85 < need < 1.0
    expected = TODAY - timedelta(days=730) + timedelta(days=math.log(need) / -0.03 * 365.25)
    assert abs((report.due_on - max(expected, TODAY)).days) <= 3
    assert TODAY <= report.due_from <= report.due_on
    assert report.least_power == need


def test_least_power_just_does_it(hottest) -> None:
    """At that power the heating ends at the allowed time, a tenth after the new kiln's."""
    limit = allowed_minutes(hottest)
    new = simulate_one(hottest)
    assert limit == pytest.approx(ALLOWED_SLOWDOWN * new.hot_minutes)
    kiln = hottest.kiln.model_copy(update={"fitted": Fitted(power=least_power(hottest, limit))})
    from dataclasses import replace

    assert simulate_one(replace(hottest, kiln=kiln)).hot_minutes == pytest.approx(limit, rel=0.002)


def test_elements_that_hold_are_not_due(kiln_of, hottest) -> None:
    """No drift and small errors: nothing within twenty years is as likely as not."""
    report = ageing_report(kiln_of(), [], _readings(0.0, 0.002), hottest, TODAY)
    assert report.due_on is None
    assert "20 years" in report.text


def test_without_two_days_of_fits_the_report_says_what_it_needs(kiln_of, hottest) -> None:
    """And still tells hours and the least power."""
    report = ageing_report(kiln_of(), [], [PowerReading.of(TODAY, Fitted())], hottest, TODAY)
    assert report.drift is None
    assert "two different days" in report.text
    assert report.least_power is not None


def test_a_kiln_that_never_could_is_told_so(kiln_of, segment, firing_of) -> None:
    """Not even new elements help."""
    weak = kiln_of(kilowatts=2.0)
    report = ageing_report(weak, [], _readings(-0.03), firing_of(weak, [segment(None, 1222)]), TODAY)
    assert report.least_power is None
    assert "even with new elements" in report.text


def test_a_sudden_change_is_no_ageing() -> None:
    """Half the power within a week is a broken element."""
    with pytest.raises(RequestError, match="no ageing"):
        power_drift([PowerReading(TODAY, 1.0, 0.02), PowerReading(TODAY + timedelta(days=7), 0.5, 0.02)])
