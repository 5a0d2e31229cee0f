"""No bound is above the cost of any plan, whichever method found it; the methods are those that the benchmarks compare.

Settled plans are compared, since the search and the CP-SAT model round masses up; the benchmark's own figure of the
model alone is not settled.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from scheduler.audit import prove
from scheduler.planning.arrivals import by_arrival
from scheduler.planning.batches import Fit
from scheduler.planning.bounds import load_bounds
from scheduler.planning.dispatch import dispatch, orders
from scheduler.planning.door import plan
from scheduler.planning.heats import energy_costs, mass_step_below_kg
from scheduler.planning.insertion import Inserter
from scheduler.planning.model.solve import Limits, put, solve
from scheduler.planning.model.variables import Part
from scheduler.planning.problem import FAR
from scheduler.planning.proof import columns_within, listed_bounds
from scheduler.planning.reasons import unplaced_loads
from scheduler.planning.session import Session, Settings, lay_out, studio_session
from scheduler.planning.settle import settle, write_plan_of
from scheduler.planning.timetable import Timetable, out_minutes
from shared.clock import wall_minute
from shared.loads import Load
from shared.profiles import Segment
from shared.studio import CleanOut, Outage, Prices, Rules, Shift, Studio
from tests.benchmarks.careful_person import best_wait
from tests.benchmarks.planning_sizes import METHODS, OURS, PLAIN, studio_of
from tests.benchmarks.studios import make_studio
from tests.scheduler.planning.plain_studio import (
    BEGIN,
    EVERY_DAY,
    MONDAY,
    bench_kiln,
    clock,
    load,
    slow_profile,
    studio,
)

WORK = Settings(seconds=None, work_limit=80)
SOLVER_WORK = Limits(6.0, deterministic=True)
"""For the model of all loads, by the solver's own count."""


def written_cost(session: Session, place: Studio, loads: tuple[Load, ...]) -> float:
    """What the timetable costs as a plan that the audit has proved."""
    settle(session.timetable)
    missing = unplaced_loads(session.timetable)
    begin = session.problem.begin
    made = write_plan_of(session.timetable, made_at=begin, bound=0.0, seconds=0.0, unplaced=missing)
    return prove(place, loads, made).plan.cost_parts.total


def costs_by_method(place: Studio, loads: tuple[Load, ...], begin: int) -> tuple[Session, dict[str, float]]:
    """A session, and what the plan of each method costs."""
    session = studio_session(place, loads, begin, WORK)
    timetable = session.timetable
    costs = {"nothing fired": written_cost(session, place, loads)}
    for number, order in enumerate(orders(timetable)):
        timetable.restore(())
        dispatch(timetable, order)
        costs[f"dispatch {number}"] = written_cost(session, place, loads)
    timetable.restore(())
    by_arrival(timetable)
    costs["by arrival"] = written_cost(session, place, loads)
    timetable.restore(())
    best_wait(timetable)
    costs["best wait"] = written_cost(session, place, loads)
    timetable.restore(())
    part = Part(timetable, tuple(range(len(loads))))
    answer = solve(part, SOLVER_WORK)
    if answer is not None:
        assert put(part, answer, Inserter(timetable, seed=0))
        costs["one CP-SAT"] = written_cost(session, place, loads)
    planned = plan(place, loads, now=begin, begin=begin, settings=WORK)
    costs["planner"] = prove(place, loads, planned).plan.cost_parts.total
    return session, costs


@pytest.mark.parametrize("seed", range(1, 5))
def test_no_bound_is_above_the_plan_of_any_method(seed: int) -> None:
    place, loads, _ = make_studio(seed, kilns=2 + seed % 3, loads=7 + seed)
    session, costs = costs_by_method(place, loads, wall_minute(MONDAY, 0, place.place.zone))
    assert "one CP-SAT" in costs
    least = min(costs.values())
    assert 0.0 < session.bound <= least + 1e-6, costs
    columns = columns_within(session.batches, session.load_bounds, seconds=60.0)
    assert columns is not None
    for bound, _ in listed_bounds(session.batches, columns, lambda: 1e9, 6.0):
        assert bound <= least + 1e-6, costs


def test_no_bound_is_above_any_of_the_benchmarks_own_figures() -> None:
    """The functions of ``planning_sizes`` themselves, by seconds: each method's bound against each method's cost."""
    found = {name: method(2, 20, 8.0) for name, method in METHODS.items()}
    assert {name: row["audit"] for name, row in found.items()} == dict.fromkeys(found, "proved") | {PLAIN: "sound"}
    costs = {name: row["cost"] for name, row in found.items()}
    bounds = {name: row["bound"] for name, row in found.items()}
    assert 0.0 < bounds[PLAIN] <= bounds[OURS] + 1e-6
    assert max(bounds.values()) <= min(costs.values()) + 1e-6, (bounds, costs)


@pytest.mark.parametrize(("size", "seed"), [(20, 4), (60, 1)])
def test_what_a_load_costs_alone_is_the_least_of_all_kilns_and_courses_of_its_own(size: int, seed: int) -> None:
    """Each is tried in every kiln here; a load that may ride in another profile's firing may cost less still.

    Attended ends and the longest hold are left aside: with other loads it is ready later.
    """
    place, loads, _, begin = studio_of(seed, size)
    batches = lay_out(place, loads, begin)
    problem = batches.problem
    empty = Timetable(replace(problem, end_ok=problem.at_any_time().end_ok), batches)
    seen = 0
    for bound in load_bounds(batches):
        row = problem.loads[bound.load]
        if row.after is not None or len(batches.hosts(bound.load)) > 1:
            continue
        batch = batches.make(row.profile, (bound.load,))
        assert batch is not None
        outs, prices, rooms = [], [], []
        for kiln in batches.kilns_that_may(batch):
            exact = batches.charge(batch, kiln, exact=True)
            if exact is None:
                continue
            charge, layers = exact
            phases = batches.heats.phases(replace(charge, ware_kg=mass_step_below_kg(charge.ware_kg)))
            if phases is not None and phases.is_hot:
                phases = replace(phases, latest=FAR, start_late=0)
            urgent = batch.at_any_price()
            placed = (
                None if phases is None else empty.best_place(urgent, kiln, Fit(layers, phases), free_of_stages=True)
            )
            if phases is None or placed is None:
                continue
            oven = problem.kilns[kiln]
            room = row.footprint_cm2 * (row.height_mm + oven.shelf_gap_mm) / (oven.shelf_area_cm2 * oven.height_mm)
            outs.append(out_minutes(placed, problem.grid_minutes))
            rooms.append(1.0 if row.alone else min(1.0, room))
            prices.append(place.prices.firing + float(energy_costs(problem, phases).min()))
        assert bound.has_place == bool(outs)
        if outs:
            seen += 1
            assert bound.soonest_minutes == min(outs)
            assert bound.least_firing == pytest.approx(min(prices), abs=1e-9)
            assert bound.room == pytest.approx(min(rooms), abs=1e-9)
            assert bound.share == pytest.approx(min(p * r for p, r in zip(prices, rooms, strict=True)), abs=1e-9)
    assert seen >= size // 3


def test_a_clean_out_that_an_earlier_firing_spares_is_not_in_the_bound() -> None:
    """The kiln did wax, both loads fill it with glass, the clean-out takes two hours, and an outage ends at 10:00.

    A firing is out 10:35 after its loading begins. ``B``, loaded at 10:00 since ``A`` was glass too, is out at 20:35
    and promised for 21:30. By itself in an empty kiln it would be cleaned for until 12:00 and out at 22:35.
    """
    works = ("wax", "glass")
    place = studio(
        kilns=(bench_kiln("K1", work=works, last_work="wax"),),
        profiles=tuple(slow_profile(work, work=work) for work in works),
        clean_outs=(CleanOut(after=("wax",), before=("glass",), minutes=120.0),),
        outages=(Outage(kiln="K1", begins=clock("00:00", 1), ends=clock("10:00", 1)),),
        prices=Prices(firing=1.0, late_hour=0.0, late_load=100.0),
    )
    full = {"profile": "glass", "footprint_cm2": 800.0, "height_mm": 200.0}
    loads = (load("A", **full), load("B", ready=clock("10:00", 1), promised=clock("21:30", 1), **full))
    session = studio_session(place, loads, BEGIN, WORK)
    made = plan(place, loads, now=BEGIN, begin=BEGIN, settings=WORK)
    assert prove(place, loads, made).plan.cost_parts.total == pytest.approx(2.0)
    assert session.bound <= 2.0 + 1e-6


def test_a_load_alone_that_would_end_before_anybody_comes_does_not_raise_the_bound() -> None:
    """By itself ``A`` takes 15 hours: started by closing time, it ends before the shift begins. With ``B`` it takes 20.

    Nobody may start the kiln later, so by itself it has no place at all.
    """
    profile = slow_profile(own_segments=(Segment(rate_k_per_hour=None, to_c=900.0, hold_minutes="12:30"),))
    place = studio(
        kilns=(bench_kiln(attend_end=True, kilowatts=2.0),),
        profiles=(profile,),
        shifts=(Shift(days=EVERY_DAY, opens="09:00", closes="17:00", hands=2),),
        rules=Rules(horizon_days=3, unattended_start=False),
        prices=Prices(firing=1.0, late_hour=0.0, late_load=100.0),
    )
    times = {"promised": clock("17:00", 2), "ready": clock("16:00")}
    loads = (load("A", mass_kg=0.5, **times), load("B", mass_kg=16.0, **times))
    session = studio_session(place, loads, BEGIN, WORK)
    made = plan(place, loads, now=BEGIN, begin=BEGIN, settings=WORK)
    found = prove(place, loads, made).plan
    assert not found.late
    assert not found.unplaced
    assert session.bound <= found.cost_parts.total + 1e-6


def test_a_start_that_only_the_real_mass_may_have_does_not_raise_the_bound() -> None:
    """``A`` can be loaded at 10:20 and its kiln started at 10:50; from 11:00 nobody is there, and 12:30 is too late.

    The search, which rounds the mass up, does not start hot work so near the end of a shift.
    """
    held = Segment(rate_k_per_hour=None, to_c=900.0, hold_minutes="0:30", hold_up_to_minutes="3:00")
    place = studio(
        kilns=(bench_kiln(kilowatts=2.0),),
        profiles=(slow_profile(unload="hot", unload_below_c=None, own_segments=(held,)),),
        shifts=tuple(
            Shift(days=EVERY_DAY, opens=opens, closes=closes, hands=2)
            for opens, closes in (("09:00", "11:00"), ("12:00", "20:00"))
        ),
        rules=Rules(horizon_days=3, grid_minutes=5, unattended_start=False),
        prices=Prices(firing=1.0, late_hour=0.0, late_load=100.0),
    )
    only = load("A", mass_kg=8.25, session_minutes=30.0, ready=clock("10:20"), promised=clock("17:30"))
    session = studio_session(place, (only,), BEGIN, WORK)
    made = plan(place, (only,), now=BEGIN, begin=BEGIN, settings=WORK)
    found = prove(place, (only,), made).plan
    assert not found.late
    assert session.bound <= found.cost_parts.total + 1e-6
