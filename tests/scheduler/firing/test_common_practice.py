"""Five plausible kilns against what studios and technicians report. Each range says where it comes from; reports of
unknown kilns are orders of size, not measurements of these."""

from __future__ import annotations

import pytest

from scheduler.firing.simulate import simulate_one


def test_medium_kiln_uses_the_energy_that_was_measured(kiln_of, segment, firing_of) -> None:
    """A 2.6 cu ft kiln took 26 to 29 kWh at cone 06 (potters.org 43125 and 31968, measured); load unknown, 15 kg."""
    kiln = kiln_of((430.0, 510.0), 6.0)
    course = simulate_one(firing_of(kiln, [segment(60, 120, 1), segment(110, 999, 0.2)], 15.0))
    assert 26.0 <= course.kwh <= 29.0


def test_medium_kiln_of_64_mm_brick_is_cold_after_13_to_24_hours(kiln_of, segment, firing_of) -> None:
    """1038 to 49 °C in 13 h (potters.org 11740 or 106006), another studio's 12 h firing and 24 h cooling."""
    course = simulate_one(firing_of(kiln_of(), [segment(110, 1038, 0.2)], 20.0, unload_below_c=49.0, load_below_c=48.0))
    assert 13.0 <= (course.safe_minutes - course.hot_minutes) / 60.0 <= 24.0


def test_large_kiln_of_76_mm_brick_takes_a_day_to_66_degrees(kiln_of, segment, firing_of) -> None:
    """A 10 cu ft kiln, cone 06 to 66 °C in 24 h (barleyhollow.com 2010/05); 50 kg assumed, a quarter either way."""
    kiln = kiln_of((710.0, 710.0), 14.4, 76.0)
    course = simulate_one(firing_of(kiln, [segment(110, 999, 0.2)], 50.0, unload_below_c=66.0))
    assert 18.0 <= (course.safe_minutes - course.hot_minutes) / 60.0 <= 30.0


def test_seven_cubic_feet_at_cone_6_hold_at_about_65_percent(kiln_of, segment, firing_of) -> None:
    """Duty 65 % at cone 6, 50 % over a bisque (lakesidepottery.com, a rule of thumb for costs): held 1 h at 1222 °C,
    50 to 80 %. At full power with 60 kg it is there in 4 to 8 h (common practice, no source)."""
    kiln = kiln_of((590.0, 730.0), 11.5, 76.0)
    held = simulate_one(firing_of(kiln, [segment(200, 1222, 1.0)], 60.0, work="glaze"))
    assert 0.5 <= held.power_kw[int(held.hot_minutes) - 5] / 11.5 <= 0.8
    full = simulate_one(firing_of(kiln, [segment(None, 1222)], 60.0, work="glaze"))
    assert 4.0 <= full.target_minutes / 60.0 <= 8.0


def test_enamel_muffle_is_hot_within_the_hour_and_idles_at_a_third(kiln_of, segment, firing_of) -> None:
    """A 5 l fibre muffle of 1.6 kW: 800 °C in 15 to 60 min, and a third of its power or so to stay there (common
    practice, no source)."""
    kiln = kiln_of((200.0, 200.0, 130.0), 1.6, 50.0, "fibre", volts=120.0)
    course = simulate_one(firing_of(kiln, [segment(None, 800, 4.0)], 0.2, work="enamel"))
    assert 15.0 <= course.target_minutes <= 60.0
    assert 0.15 <= course.power_kw[int(course.hot_minutes) - 5] / 1.6 <= 0.5


@pytest.mark.xfail(strict=True, reason="unfitted, the model lets small glass kilns cool almost twice too slowly")
def test_small_glass_kiln_falls_from_399_to_32_degrees_in_six_to_seven_hours(kiln_of, segment, firing_of) -> None:
    """Reported for a clamshell glass kiln of unknown size (fusedglass.org). The model says 10 to 14 h for plausible
    ones: it knows no gaps around a clamshell's rim. Kept as it is a known shortfall: later, never sooner, than true."""
    kiln = kiln_of((500.0, 350.0, 150.0), 1.8, 50.0, "fibre", volts=120.0)
    segments = [segment(150, 790, 0.25), segment(None, 515, 1.0), segment(60, 399)]
    course = simulate_one(firing_of(kiln, segments, 1.0, work="glass", unload_below_c=32.0, load_below_c=32.0))
    assert 6.0 <= (course.safe_minutes - course.hot_minutes) / 60.0 <= 7.0
