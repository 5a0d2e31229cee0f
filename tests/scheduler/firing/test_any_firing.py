"""Whatever kiln and profile a studio folder allows: the model ends, its times are in order, and no energy is lost."""

from __future__ import annotations

import itertools
import math

from hypothesis import given, settings
from hypothesis import strategies as st

from scheduler.firing.course import FiringRequest
from scheduler.firing.simulate import simulate_afresh
from shared.kilns import Fitted, Kiln
from shared.profiles import Segment

SIDE = st.floats(40.0, 2500.0)
KILNS = st.builds(
    lambda inside, kw, wall, brick, backup, share, fitted: Kiln(
        id="K", work=("any",), circuit="c", volts=240.0, amps=10.0, kilowatts=kw, supply_volts=240.0 * share,
        max_temperature_c=1300.0, inside_mm=inside, wall_mm=wall, brick=brick, backup_mm=backup, load_minutes=0.0,
        unload_minutes=0.0, fitted=fitted,
    ),
    st.one_of(st.tuples(SIDE, SIDE), st.tuples(SIDE, SIDE, SIDE)),
    st.floats(0.05, 100.0),
    st.floats(10.0, 400.0),
    st.sampled_from([20, 23, 26, 28, 30, "fibre"]),
    st.floats(0.0, 200.0),
    st.floats(0.5, 1.1),
    st.builds(lambda p, q, s: Fitted(power=p, loss=q, storage=s), *[st.floats(0.3, 2.5)] * 3),
)  # fmt: skip
SEGMENTS = st.lists(
    st.builds(
        lambda rate, to, hold: Segment(rate_k_per_hour=rate, to_c=to, hold_minutes=hold),
        st.one_of(st.none(), st.floats(20.0, 3000.0)),
        st.floats(-20.0, 1400.0),
        st.floats(0.0, 300.0),
    ),
    min_size=1,
    max_size=6,
)


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    KILNS, SEGMENTS, st.sampled_from(["bisque", "burnout", "glass", "enamel", "metal"]), st.booleans(), st.booleans(),
    st.floats(0.0, 300.0), st.integers(1, 12), st.floats(-10.0, 40.0), st.floats(25.0, 400.0), st.floats(25.0, 200.0),
    st.floats(0.0, 600.0),
)  # fmt: skip
def test_the_model_ends_in_order_and_loses_no_energy(
    kiln, segments, work, unload_hot, vented, kg, layers, room, unload_below, load_below, longer
) -> None:
    """Also for absurd kilns; times and energy make no sense only where the course says that it is not reached."""
    last = segments[-1].hold_minutes + longer if unload_hot else None
    course, energy = simulate_afresh(
        FiringRequest(kiln, work, tuple(segments), unload_hot, vented, kg, layers, room, unload_below, load_below, last)
    )
    assert all(math.isfinite(t) for t in course.temperature_c)
    if not course.reached:
        assert course.stalled_at_c is not None
        assert math.isfinite(course.stalled_at_c)
        return
    times = [t for s in course.segments for t in (s.reached_minutes, s.hold_ends_minutes)]
    assert all(b >= a - 1e-9 for a, b in itertools.pairwise(times))
    assert course.hot_minutes >= 0.0
    assert course.cold_minutes >= course.hot_minutes - 1e-9
    assert course.open_cool_minutes >= 0.0
    if unload_hot:
        assert course.safe_minutes <= course.hot_minutes + 1e-9
    else:
        assert course.safe_minutes >= course.hot_minutes - 1e-9
    assert energy.gap < 1e-6
    assert course.kwh <= kiln.plate_power_kw * (course.hot_minutes + 1.0) / 60.0 + 1e-9
