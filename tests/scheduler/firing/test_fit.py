"""The fit finds hidden factors, says how sure it is, and refuses what tells nothing.

Against truths of a finer model with effects that the fitted one lacks, see tests/benchmarks/firing_fit.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from scheduler.firing.fit import FitRefused, fit_kiln, leave_one_out
from scheduler.firing.network import Factors, build_network
from scheduler.firing.recorded import RecordedFiring
from scheduler.firing.simulate import simulate_afresh
from shared.errors import RequestError

TRUE = Factors(power=0.93, loss=1.3, storage=0.9)


@pytest.fixture
def record(kiln_of, segment, firing_of):
    """A firing recorded from a hidden kiln: 24 wall cells, 10 s steps, irregular noisy readings with a gap."""

    def of(segments=None, seed: int = 1, kg: float = 25.0, until: float | None = None, **more):
        rng = np.random.default_rng(seed)
        segments = segments or [segment(None, 1000, 0.5)]
        request = firing_of(more.pop("kiln", kiln_of()), segments, kg)
        network = build_network(request.kiln, 24, 1.12)
        course, _ = simulate_afresh(request, replace(TRUE, mass=1.0 + 0.05 * rng.normal()), network, 6)
        at = np.cumsum(rng.uniform(1.0, 4.0, 3000))
        at = at[at < (until or course.temperature_c.size - 1)]
        at = at[(at < 60) | (at > 120)]
        heats = np.interp(at, np.arange(course.temperature_c.size), course.temperature_c) + rng.normal(0, 3.0, at.size)
        kwh = course.kwh if more.pop("meter", False) else None
        return RecordedFiring(request, at, heats, kwh=kwh, **more)

    return of


def _ratios(fitted):
    return np.log([fitted.loss / fitted.power, fitted.storage / fitted.power])


TRUE_RATIOS = np.log([TRUE.loss / TRUE.power, TRUE.storage / TRUE.power])


def test_three_records_find_the_ratios(record, segment, kiln_of) -> None:
    """Loss/power within 5 %, storage/power within 15 %, all three factors within three of their standard errors."""
    logs = [record(seed=1), record([segment(200, 1100, 0.5)], seed=2, kg=35.0), record(seed=3, kg=15.0)]
    found = fit_kiln(kiln_of(), logs)
    assert np.abs(_ratios(found.fitted) - TRUE_RATIOS) == pytest.approx([0, 0], abs=0.15)
    assert abs(_ratios(found.fitted)[0] - TRUE_RATIOS[0]) < 0.05
    for name in ("power", "loss", "storage"):
        off = np.log(getattr(found.fitted, name) / getattr(TRUE, name))
        assert abs(off) < 3.0 * getattr(found.fitted, f"{name}_error")
    assert found.fitted.firings == 3
    assert found.residual_k < 8.0
    assert all(abs(log.end_of_heating_error_h) < 0.1 and abs(log.safe_error_h) < 0.4 for log in found.logs)


def test_another_profile_is_predicted(record, segment, kiln_of, firing_of) -> None:
    """From two records, a third firing's end of heating within 2 % and safe time within 3 %; by the plate 10 %."""
    logs = [record(seed=1), record([segment(200, 1100, 0.5)], seed=2)]
    fitted = fit_kiln(kiln_of(), logs).fitted
    other = firing_of(kiln_of(), [segment(300, 700), segment(None, 1150, 1.0)], 30.0)
    truth = simulate_afresh(other, TRUE, build_network(other.kiln, 24, 1.12), 6)[0]
    told = simulate_afresh(replace(other, kiln=kiln_of(fitted=fitted)))[0]
    plate = simulate_afresh(other)[0]
    assert told.hot_minutes == pytest.approx(truth.hot_minutes, rel=0.02)
    assert told.safe_minutes == pytest.approx(truth.safe_minutes, rel=0.03)
    assert abs(plate.hot_minutes / truth.hot_minutes - 1.0) > 0.10


def test_a_meter_gives_the_scale(record, kiln_of) -> None:
    """Temperatures determine ratios only; with a guessed charge, a reading in kWh takes a quarter of the doubt away."""
    without = fit_kiln(kiln_of(), [record(mass_error=0.2)]).fitted
    with_meter = fit_kiln(kiln_of(), [record(mass_error=0.2, meter=True)]).fitted
    assert with_meter.power_error < 0.75 * without.power_error
    assert np.log(with_meter.power / TRUE.power) == pytest.approx(0.0, abs=0.06)


def test_the_cool_down_tells_more_than_the_rise_alone(record, kiln_of) -> None:
    """Standard error of losses."""
    whole = fit_kiln(kiln_of(), [record()]).fitted
    risen = fit_kiln(kiln_of(), [record([_hot(record)], until=420.0)]).fitted
    assert whole.loss_error < risen.loss_error


def _hot(_record):
    from shared.profiles import Segment

    return Segment(rate_k_per_hour=None, to_c=1000.0, hold_minutes=30.0)


def test_a_program_that_is_merely_followed_is_refused(record, segment, kiln_of) -> None:
    """Slow ramps that the kiln follows, cut off while hot: it says nothing of the kiln."""
    dull = record([segment(60, 500, 2.0)], until=590.0)
    with pytest.raises(FitRefused, match=r"cannot be determined.*none shows the kiln cooling.*follows the program"):
        fit_kiln(kiln_of(), [dull])


def test_fahrenheit_readings_are_recognised_and_refused(record, kiln_of) -> None:
    """A log in °F where °C were said."""
    log = record()
    wrong = replace(log, temperature_c=log.temperature_c * 1.8 + 32.0)
    with pytest.raises(FitRefused, match="°F"):
        fit_kiln(kiln_of(), [wrong])


def test_a_log_of_another_profile_is_refused(record, segment, kiln_of) -> None:
    """Too cold for the profile that it is said to be of, or far off it."""
    log = record([segment(None, 400, 0.5)])
    with pytest.raises(FitRefused, match="give the profile that was fired"):
        fit_kiln(kiln_of(), [replace(log, request=replace(log.request, segments=(segment(None, 1000, 0.5),)))])
    slow = record([segment(100, 1000, 0.5)])
    with pytest.raises(FitRefused, match="off the best fit"):
        fit_kiln(kiln_of(), [replace(slow, request=replace(slow.request, segments=(segment(None, 1000, 8.0),)))])


def test_no_log_and_a_scrap_of_one_are_refused(record, kiln_of) -> None:
    """With what would do instead."""
    with pytest.raises(FitRefused, match="give at least one log"):
        fit_kiln(kiln_of(), [])
    with pytest.raises(FitRefused, match="min long"):
        fit_kiln(kiln_of(), [replace(record(), minutes=np.linspace(0, 60, 30), temperature_c=np.linspace(20, 990, 30))])


@pytest.mark.parametrize(("minutes", "heats", "says"), [
    ([1, 2], [20, 30, 40], "differ in number"),
    ([1, 2, 3], [20, 30, 40], "at least 10"),
    (list(range(20)), [20] * 19 + [float("nan")], "no number"),
    ([*range(19), 5], [20] * 20, "do not grow"),
])  # fmt: skip
def test_impossible_readings_are_told(record, minutes, heats, says: str) -> None:
    """One clear sentence each."""
    with pytest.raises(RequestError, match=says):
        replace(record(), minutes=np.array(minutes, float), temperature_c=np.array(heats, float))


def test_each_record_is_predicted_by_the_others(record, kiln_of) -> None:
    """Leaving one out: the median within 3 % of the end of heating, the worst, whose ware is 10 % off, within 8 %."""
    logs = [record(seed=i, kg=kg, name=f"log {i}") for i, kg in ((1, 20.0), (2, 30.0), (3, 25.0))]
    left = leave_one_out(kiln_of(), logs)
    assert [each.name for each in left] == ["log 1", "log 2", "log 3"]
    errors = sorted(
        abs(each.end_of_heating_error_h) * 60.0 / log.end_of_heating_minutes
        for each, log in zip(left, logs, strict=True)
    )
    assert errors[1] < 0.03
    assert errors[2] < 0.08
    assert all(each.safe_error_h is not None for each in left)
    with pytest.raises(FitRefused, match="at least two"):
        leave_one_out(kiln_of(), logs[:1])


def test_outliers_do_not_move_the_fit(record, kiln_of) -> None:
    """A wire that came loose for an hour: ratios stay within a standard error."""
    log = record()
    heats = log.temperature_c.copy()
    heats[60:80] = 0.0
    good, bad = (fit_kiln(kiln_of(), [each]).fitted for each in (log, replace(log, temperature_c=heats)))
    moved = np.abs(_ratios(bad) - _ratios(good))
    assert np.all(moved < [good.loss_error, good.storage_error])


@pytest.mark.parametrize("offset_k", [12.0, -9.0])
def test_a_logger_that_reads_off_is_seen_in_the_holds(record, segment, kiln_of, offset_k: float) -> None:
    """Its offset is told and taken off; without a hold there is nothing to see it by."""
    log = record([segment(150, 600, 1.0), segment(None, 1000, 1.0)])
    off = replace(log, temperature_c=log.temperature_c + offset_k)
    good, found = fit_kiln(kiln_of(), [log]), fit_kiln(kiln_of(), [off])
    assert good.logs[0].offset_k == 0.0
    assert found.logs[0].offset_k == pytest.approx(offset_k, abs=2.0)
    assert _ratios(found.fitted) == pytest.approx(_ratios(good.fitted), abs=0.05)
    bare = record([segment(None, 1000)])
    assert replace(bare, temperature_c=bare.temperature_c + offset_k).offset_k == 0.0


def test_what_a_record_shows_is_read_off_it(record, segment) -> None:
    """End of heating within a few minutes of the hold's end; nothing where the log ends before or has a gap there."""
    log = record()
    course = simulate_afresh(log.request, TRUE)[0]
    assert log.end_of_heating_minutes == pytest.approx(course.hot_minutes, rel=0.05)
    assert log.safe_minutes == pytest.approx(course.safe_minutes, rel=0.05)
    assert record(until=300.0).safe_minutes is None
    early = replace(log, minutes=log.minutes[:50], temperature_c=log.temperature_c[:50])
    assert early.end_of_heating_minutes is None
