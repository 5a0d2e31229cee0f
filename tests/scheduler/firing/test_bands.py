"""The band widens with what is not known, and is nothing where the program decides."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.firing.bands import Spread, firing_band
from scheduler.firing.network import Factors
from scheduler.firing.simulate import simulate_afresh
from scheduler.firing.uncertainty import SCATTER, covariance_of
from shared.kilns import Fitted

FIT = Fitted(power_error=0.04, loss_error=0.045, storage_error=0.1, correlations=(0.97, 0.7, 0.7), firings=3)


def test_a_fit_narrows_the_band(kiln_of, segment, firing_of) -> None:
    """By the plate alone several times as wide."""
    full = [segment(None, 1000, 0.5)]
    plate = firing_band(firing_of(kiln_of(), full))
    fitted = firing_band(firing_of(kiln_of(fitted=FIT), full))
    for a, b in ((plate.hot, fitted.hot), (plate.safe, fitted.safe)):
        assert a.log_error > 1.5 * b.log_error
        assert b.low_minutes < b.middle_minutes < b.high_minutes


def test_correlation_counts(kiln_of, segment, firing_of) -> None:
    """Power and loss that are wrong together hardly move a full-power ramp; wrong apart they do."""
    full = [segment(None, 1100, 0.5)]
    together = firing_band(firing_of(kiln_of(fitted=FIT), full))
    apart = firing_band(firing_of(kiln_of(fitted=FIT.model_copy(update={"correlations": (-0.9, 0.0, 0.0)})), full))
    assert together.hot.log_error < apart.hot.log_error


def test_a_program_that_is_followed_ends_when_it_says(kiln_of, segment, firing_of) -> None:
    """No doubt about the end of heating, but about the cooling."""
    band = firing_band(firing_of(kiln_of(fitted=FIT), [segment(80, 900, 1.0)]))
    assert band.hot.high_minutes - band.hot.low_minutes < 5.0
    assert band.safe.high_minutes - band.safe.low_minutes > 20.0
    assert not band.may_fail


def test_more_doubt_about_the_mass_is_a_wider_band(kiln_of, segment, firing_of) -> None:
    """Guessed against weighed."""
    request = firing_of(kiln_of(fitted=FIT), [segment(None, 1000)], 40.0)
    assert firing_band(request, 0.2).hot.log_error > firing_band(request, 0.02).hot.log_error


def test_a_kiln_at_its_edge_is_told(kiln_of, segment, firing_of) -> None:
    """One standard deviation worse and it does not get there."""
    edge = kiln_of(kilowatts=5.0)
    course = simulate_afresh(firing_of(edge, [segment(None, 1240)]))[0]
    assert course.reached
    assert firing_band(firing_of(edge, [segment(None, 1240)])).may_fail
    hopeless = firing_band(firing_of(kiln_of(kilowatts=2.0), [segment(None, 1240)]))
    assert hopeless.may_fail
    assert hopeless.hot.high_minutes == float("inf")


def test_band_is_that_of_draws(kiln_of, segment, firing_of) -> None:
    """Nine firings give the percentiles of 400 random ones within a fifth of the band's width."""
    request = firing_of(kiln_of(fitted=FIT), [segment(None, 1000, 0.5)], 30.0)
    band = firing_band(request, 0.07)
    total = np.zeros((4, 4))
    total[:3, :3] = covariance_of(FIT) + SCATTER
    total[3, 3] = 0.07**2
    draws = np.exp(np.random.default_rng(7).multivariate_normal(np.zeros(4), total, 400))
    courses = [simulate_afresh(request, Factors(*(float(v) for v in d)))[0] for d in draws]
    for spread, name in ((band.hot, "hot_minutes"), (band.safe, "safe_minutes")):
        low, high = np.percentile([getattr(c, name) for c in courses], [10, 90])
        assert [spread.low_minutes, spread.high_minutes] == pytest.approx([low, high], abs=0.2 * (high - low))


def test_margin_is_a_percentile() -> None:
    """A promise kept in 8 of 10 such firings (standard normal table: z = 0.8416)."""
    assert Spread(600.0, 0.05).at(0.8) == pytest.approx(600.0 * np.exp(0.05 * 0.8416), rel=1e-4)


def test_a_band_holds_the_computed_time_also_where_a_kiln_can_only_be_later(kiln_of, segment, firing_of) -> None:
    """A glass firing: elements off to the annealing soak, then a programmed fall. The sample's sheet once said off at
    10:15, likely 10:31 to 11:42: every deviation of the kiln made it later, and the median moved past the computed."""
    segments = [segment(200, 800, 0.2), segment(None, 512, 1.0), segment(60, 457), segment(60, 400)]
    for litres in ((450.0, 630.0), (900.0, 600.0, 300.0)):
        request = firing_of(kiln_of(litres), segments, 7.0, work="glass")
        course, band = simulate_afresh(request)[0], firing_band(request)
        assert band.hot.low_minutes <= course.hot_minutes <= band.hot.high_minutes
        assert band.safe.low_minutes <= course.safe_minutes <= band.safe.high_minutes
