"""Plans that can be worked out by hand, to the minute, and a published rule of batch scheduling."""

from __future__ import annotations

import random

import pytest

from scheduler.audit import prove
from scheduler.planning.door import Settings, plan
from scheduler.planning.heats import Charge, Heats
from shared.kilns import Circuit
from shared.loads import Load
from shared.plans import Plan
from shared.profiles import Segment, SizeRow
from shared.studio import Prices, Quiet, Rules, Studio, Tariff
from tests.scheduler.planning.plain_studio import (
    ALWAYS,
    BEGIN,
    DAYTIME,
    bench_kiln,
    clock,
    load,
    problem_of,
    slow_profile,
    studio,
)

HOT = slow_profile(
    unload="hot",
    unload_below_c=None,
    own_segments=(Segment(rate_k_per_hour=100.0, to_c=220.0, hold_minutes="1:00", hold_up_to_minutes="4:00"),),
)


def planned(place: Studio, loads: tuple[Load, ...], work: int = 120) -> Plan:
    """The audited plan of a studio from Monday midnight."""
    result = plan(place, loads, now=BEGIN - 300, begin=BEGIN, settings=Settings(work_limit=work, workers=1))
    prove(place, loads, result)
    return result


def test_a_hot_session_follows_loading_ramp_and_least_hold_to_the_minute() -> None:
    """Worked by hand: in at 09:00, half an hour of loading, 200 K at 100 K/h, one hour's hold, 45 min of session."""
    place = studio(profiles=(HOT,), shifts=(DAYTIME,))
    (firing,) = planned(place, (load("L1", session_minutes="0:45", promised=clock("10:00")),)).firings
    assert firing.load_at == clock("9:00")
    assert firing.start_at == clock("9:30")
    assert firing.target_at == clock("11:30")
    assert firing.safe_at == clock("12:30")
    assert firing.unload_at == clock("12:30")
    assert firing.hot_until == firing.out_at == clock("13:15")


def test_a_booked_session_fixes_the_start_as_late_as_the_least_hold_allows() -> None:
    """Worked by hand: a session at 16:00 wants the target by 15:00, so the start at 13:00 (later is impossible,
    earlier burns more energy), loaded in the half-hour before."""
    place = studio(profiles=(HOT,), shifts=(DAYTIME,), tariff=Tariff(default=0.25))
    (firing,) = planned(place, (load("L1", session_minutes="0:30", session_at=clock("16:00")),)).firings
    assert firing.start_at == clock("13:00")
    assert firing.load_at == clock("12:30")
    assert firing.unload_at == clock("16:00")


def test_two_kilns_on_a_circuit_for_one_heat_one_after_the_other() -> None:
    """Worked by hand: 20 A each on 32 x 0.8 = 25.6 A. Both are loaded at 09:00; the second starts when the first has
    done its two hours up and one hour's hold, 12:30."""
    place = studio(
        kilns=(bench_kiln("K1"), bench_kiln("K2")),
        circuits=(Circuit(id="main", breaker_amps=32.0),),
        shifts=(DAYTIME,),
    )
    loads = tuple(load(f"L{n}", alone=True, promised=clock("9:00"), footprint_cm2=800.0) for n in (1, 2))
    first, second = sorted(planned(place, loads).firings, key=lambda f: f.start_at)
    assert first.kiln != second.kiln
    assert first.start_at == clock("9:30")
    assert first.hot_until == clock("12:30")
    assert second.start_at == clock("12:30")
    assert second.hot_until == clock("15:30")


def test_quiet_time_holds_back_the_start_until_it_is_over() -> None:
    """Worked by hand: heating would take 09:30 to 12:30; quiet from 12:00 to 13:00 lets it begin at 13:00."""
    place = studio(shifts=(DAYTIME,), quiet=(Quiet(days=("mon",), begins="12:00", ends="13:00"),))
    (firing,) = planned(place, (load("L1", promised=clock("9:00")),)).firings
    assert firing.start_at == clock("13:00")
    assert firing.hot_until == clock("16:00")


def _full_batches_longest_first(lengths: list[float], most: int) -> list[list[float]]:
    ordered = sorted(lengths, reverse=True)
    return [ordered[n : n + most] for n in range(0, len(ordered), most)]


@pytest.mark.parametrize("seed", range(4))
def test_full_batches_longest_first_give_the_least_makespan(seed: int) -> None:
    """The makespan of one batch machine is least with full batches, longest first.

    Source: C.-Y. Lee, R. Uzsoy & L. A. Martin-Vega, "Efficient algorithms for scheduling semiconductor burn-in
    operations", Operations Research 40 (1992) 764-775 (rule FBLPT for 1|B|Cmax). The reference here is computed from
    that rule alone. With dear firings and energy the only other price, the cheapest plan has the fewest firings and
    the least hot time, which is the same grouping; it is fired without a gap, so its makespan must be the rule's.
    """
    rng = random.Random(seed)
    rows = tuple(
        SizeRow(up_to=float(size), segments=(Segment(rate_k_per_hour=100.0, to_c=220.0, hold_minutes=size * 6.0),))
        for size in range(10, 80, 10)
    )
    profile = slow_profile(sized_by="diameter_mm", sizes=rows, own_segments=(), unload_below_c=70.0)
    kiln = bench_kiln(inside_mm=(300.0, 300.0, 116.0), load_minutes=20.0, unload_minutes=20.0)
    place = studio(
        kilns=(kiln,),
        profiles=(profile,),
        shifts=(ALWAYS,),
        tariff=Tariff(default=1.0),
        prices=Prices(firing=100.0),
        rules=Rules(horizon_days=6, load_below_c=70.0),
    )
    # Three loads fill the one layer of this kiln.
    sizes = [float(rng.randrange(10, 80, 10)) for _ in range(9)]
    loads = tuple(load(f"L{n}", diameter_mm=size) for n, size in enumerate(sizes))
    result = planned(place, loads, work=300)

    problem = problem_of(place, loads)
    heats = Heats(problem)
    makespan_slots = 0
    for group in _full_batches_longest_first(sizes, 3):
        row = round(group[0] / 10.0) - 1
        phases = heats.phases(Charge(0, "warm", row, 3.0, 1, 0.0))
        assert phases is not None
        emptied = phases.safe + phases.unload
        makespan_slots += phases.load + max(emptied, min(phases.cold, emptied + phases.open_cool))
    rounding_minutes = 5  # the last firing is free to the minute, the rule's sum is in slots
    makespan = max(f.free_at for f in result.firings) - min(f.load_at for f in result.firings)
    assert len(result.firings) == 3
    assert makespan_slots * 5 - rounding_minutes < makespan <= makespan_slots * 5


@pytest.mark.parametrize(("second", "firings"), [("buff stoneware", 1), ("Buff  Stoneware ", 1), ("porcelain", 2)])
def test_a_family_is_one_however_it_was_typed(second: str, firings: int) -> None:
    """Two loads of a third of a shelf each: one firing where they may share it."""
    place = studio(profiles=(slow_profile(one_family=True),), shifts=(DAYTIME,))
    made = planned(place, (load("L1", family="buff stoneware"), load("L2", family=second)))
    assert len(made.firings) == firings
    assert not made.unplaced
