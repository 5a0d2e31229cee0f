"""Re-planning, on a week in which one thing after another breaks."""

from __future__ import annotations

from functools import cache

import pytest

from scheduler.audit import breaches, prove
from scheduler.planning.door import Settings, plan
from scheduler.planning.events import Away, CircuitDown, Events, FiringLate, KilnDown
from scheduler.planning.promise import promise
from scheduler.planning.replan import Replanned, replan
from shared.errors import RequestError
from shared.kilns import Circuit
from shared.loads import Load
from shared.plans import Firing, Plan
from shared.profiles import Segment
from shared.studio import Prices, Rules, Studio
from tests.scheduler.planning.plain_studio import BEGIN, DAYTIME, MONDAY, bench_kiln, clock, load, slow_profile, studio

BURNOUT = slow_profile(
    "burnout",
    work="burnout",
    unload="hot",
    unload_below_c=None,
    skill="casting",
    own_segments=(Segment(rate_k_per_hour=100.0, to_c=420.0, hold_minutes=60.0, hold_up_to_minutes=360.0),),
)


@cache
def week() -> tuple[Studio, tuple[Load, ...], Plan]:
    """Three kilns, two of them on a circuit of their own, and a dozen loads; planned and proved."""
    place = studio(
        kilns=(
            bench_kiln("K1", work=("firing", "burnout")),
            bench_kiln("K2", circuit="side"),
            bench_kiln("K3", circuit="side"),
        ),
        profiles=(slow_profile(), BURNOUT),
        shifts=(DAYTIME.model_copy(update={"skills": ("casting",)}),),
        circuits=(Circuit(id="main", breaker_amps=100.0), Circuit(id="side", fed_from="main", breaker_amps=60.0)),
        prices=Prices(firing=4.0, moved=2.0),
        rules=Rules(horizon_days=7),
    )
    loads = (
        *(load(f"W{n}", footprint_cm2=850.0, height_mm=200.0, promised=clock("17:00", day=n // 3)) for n in range(8)),
        load("C1", profile="burnout", session_minutes=60.0, session_at=clock("14:00", day=1)),
        load("C2", profile="burnout", session_minutes=60.0, promised=clock("17:00", day=2)),
        load("S1", after="W0", gap_minutes=60.0, promised=clock("17:00", day=3)),
    )
    made = plan(place, loads, now=BEGIN, begin=BEGIN, settings=Settings(work_limit=100))
    prove(place, loads, made)
    return place, loads, made


def replanned(now: int, events: Events, work: int = 60) -> Replanned:
    """The proved new plan of the week."""
    place, loads, made = week()
    result = replan(place, loads, made, now=now, events=events, settings=Settings(work_limit=work))
    found = breaches(result.studio, result.loads, result.plan, under_way=result.under_way, replanned=True)
    assert found == []
    return result


def by_load(made: Plan) -> dict[str, tuple[str, int]]:
    return {name: (firing.kiln, firing.start_at) for firing in made.firings for name in firing.loads}


NOON = clock("12:00", day=1)


def test_what_is_under_way_stays_as_it_is() -> None:
    _, _, made = week()
    result = replanned(NOON, Events())
    begun = {f.id: f for f in made.firings if f.load_at <= NOON < f.out_at}
    assert begun
    assert result.under_way == frozenset(begun)
    for firing in result.plan.firings:
        if firing.id in begun:
            assert firing.start_at == begun[firing.id].start_at
            assert firing.loads == begun[firing.id].loads
            assert firing.unload_at == begun[firing.id].unload_at


def test_nothing_is_moved_for_less_than_the_price_of_moving() -> None:
    place, loads, made = week()
    dear = place.model_copy(update={"prices": Prices(firing=4.0, moved=1000.0)})
    result = replan(dear, loads, made, now=NOON, events=Events(), settings=Settings(work_limit=60))
    assert result.changes == ()
    assert result.do_nothing == ()


def test_a_dead_kiln_is_used_no_more_and_the_people_are_told() -> None:
    _, _, made = week()
    waiting = {n for f in made.firings if f.kiln == "K2" and f.load_at > NOON for n in f.loads}
    assert waiting
    result = replanned(NOON, Events(down=(KilnDown("K2"),)))
    assert not [f for f in result.plan.firings if f.kiln == "K2" and f.id not in result.under_way]
    assert waiting <= {change.load for change in result.changes}
    assert any("K2" in text for text in result.do_nothing)


def test_a_kiln_that_comes_back_is_used_again_only_then() -> None:
    until = clock("09:00", day=2)
    result = replanned(NOON, Events(down=(KilnDown("K1", until),)))
    assert all(f.load_at >= until for f in result.plan.firings if f.kiln == "K1" and f.id not in result.under_way)


def _heating(made: Plan, profile: str) -> tuple[str, str, int]:
    """A firing of a profile, its kiln, and a moment in the middle of its heating."""
    firing = next(f for f in made.firings if f.profile == profile)
    return firing.id, firing.kiln, (firing.start_at + firing.target_at) // 2


def test_flasks_whose_burnout_was_broken_off_are_not_simply_reheated() -> None:
    _, _, made = week()
    firing, kiln, at = _heating(made, "burnout")
    loads = next(f.loads for f in made.firings if f.id == firing)
    result = replanned(at, Events(down=(KilnDown(kiln, at + 300),)))
    (question,) = [q for q in result.questions if q.firing == firing]
    assert question.default == "lost"
    assert set(loads) <= set(result.lost)
    assert not set(loads) & set(by_load(result.plan))
    again = replanned(at, Events(down=(KilnDown(kiln, at + 300),), outcomes={firing: "refire"}))
    assert set(loads) <= set(by_load(again.plan)) | {row.load for row in again.plan.unplaced}


def test_what_is_over_by_the_plan_is_taken_for_fired_and_said_to_be_unless_somebody_knows_better() -> None:
    _, _, made = week()
    firing = min(made.firings, key=lambda f: f.out_at)
    at = firing.out_at + 60
    result = replanned(at, Events())
    assert firing.id in result.done
    assert not set(firing.loads) & set(by_load(result.plan))
    again = replanned(at, Events(outcomes={firing.id: "refire"}))
    assert firing.id not in again.done
    assert set(firing.loads) <= set(by_load(again.plan)) | {row.load for row in again.plan.unplaced}
    assert all(f.load_at >= at for f in again.plan.firings if set(f.loads) & set(firing.loads))
    gone = replanned(at, Events(outcomes={firing.id: "lost"}))
    assert set(firing.loads) <= set(gone.lost)


def test_ware_past_its_heating_counts_as_fired_and_is_opened_as_planned() -> None:
    _, _, made = week()
    firing = next(f for f in made.firings if f.profile == "warm")
    at = (firing.hot_until + firing.safe_at) // 2
    result = replanned(at, Events(down=(KilnDown(firing.kiln),)))
    (question,) = [q for q in result.questions if q.firing == firing.id]
    assert question.default == "fired"
    kept = next(f for f in result.plan.firings if f.id == firing.id)
    assert kept.unload_at == firing.unload_at


def test_a_circuit_without_power_heats_nothing_that_it_feeds() -> None:
    until = clock("12:00", day=2)
    result = replanned(NOON, Events(circuits_down=(CircuitDown("side", until),)))
    for firing in result.plan.firings:
        if firing.kiln in ("K2", "K3") and firing.id not in result.under_way:
            assert firing.start_at >= until


def test_a_day_on_which_nobody_comes_has_no_loading_and_no_opening() -> None:
    day = (clock("00:00", day=2), clock("24:00", day=2))
    result = replanned(NOON, Events(absent=(Away(MONDAY.replace(day=2, month=12)),)))
    for firing in result.plan.firings:
        for at in (firing.load_at, firing.unload_at):
            assert firing.id in result.under_way or not day[0] <= at < day[1]


def test_a_late_firing_moves_with_all_that_follows_in_its_kiln() -> None:
    _, _, made = week()
    firing = next(f for f in made.firings if f.start_at > BEGIN)
    at = firing.start_at + 10
    result = replanned(at, Events(late=(FiringLate(firing.id, 2.0),)))
    moved = next(f for f in result.plan.firings if f.id == firing.id)
    assert moved.start_at == firing.start_at + 120
    assert moved.hot_until == firing.hot_until + 120


def test_a_cancelled_load_is_gone_and_an_added_one_is_placed() -> None:
    _, _, made = week()
    gone = next(f for f in made.firings if f.load_at > NOON).loads[0]
    result = replanned(NOON, Events(add=(load("NEW"),), cancel=(gone,)))
    assert "NEW" in by_load(result.plan)
    assert gone not in by_load(result.plan)
    assert gone not in {change.load for change in result.changes}


def test_a_cancelled_load_makes_nobody_come_at_another_hour() -> None:
    """What is left could be fired sooner, or cheaper, once a load is gone; its people know their hours already."""
    _, _, made = week()
    gone = next(f for f in made.firings if f.load_at > NOON and len(f.loads) == 1 and f.kiln != "K1")
    result = replanned(NOON, Events(cancel=gone.loads))
    was = {f.loads: (f.kiln, f.load_at, f.start_at, f.unload_at) for f in made.firings if f is not gone}
    now = {f.loads: (f.kiln, f.load_at, f.start_at, f.unload_at) for f in result.plan.firings}
    assert {loads: at for loads, at in was.items() if loads in now} == now


def test_an_hour_that_another_kiln_s_session_holds_is_made_free_and_nothing_else_moves() -> None:
    """One caster; a flask in K1 is cast at some hour of Tuesday, and flasks for K2 have to be cast at that hour."""
    other = BURNOUT.model_copy(update={"id": "other", "work": "other"})
    place = studio(
        kilns=(bench_kiln("K1", work=("other",)), bench_kiln("K2", work=("burnout",)), bench_kiln("K3")),
        profiles=(slow_profile(), BURNOUT, other),
        shifts=(DAYTIME.model_copy(update={"skills": ("casting",), "hands": 1}),),
        prices=Prices(moved=2.0),
    )
    ready = clock("09:00", day=1)
    loads = (
        load("M", profile="other", session_minutes=60.0, ready=ready, promised=clock("17:00", day=1)),
        *(load(f"W{n}", footprint_cm2=850.0, height_mm=200.0) for n in range(3)),
    )
    made = plan(place, loads, now=BEGIN, begin=BEGIN, settings=Settings(work_limit=60))
    was = next(firing for firing in made.firings if "M" in firing.loads)
    new = load("C", profile="burnout", session_minutes=60.0, session_at=was.unload_at)
    result = replan(place, loads, made, now=BEGIN, events=Events(add=(new,)), settings=Settings(work_limit=60))
    prove(result.studio, result.loads, result.plan)
    after = {load: firing for firing in result.plan.firings for load in firing.loads}
    assert after["C"].unload_at == was.unload_at
    assert after["M"].unload_at != was.unload_at
    assert after["M"].out_at <= clock("17:00", day=1)
    for firing in made.firings:
        if firing.kiln == "K3":
            assert after[firing.loads[0]].start_at == firing.start_at


@pytest.mark.parametrize(
    ("events", "named"),
    [
        (Events(down=(KilnDown("K9"),)), "kiln K9"),
        (Events(circuits_down=(CircuitDown("attic"),)), "circuit attic"),
        (Events(late=(FiringLate("F99", 1.0),)), "firing F99"),
        (Events(cancel=("nothing",)), "load nothing"),
        (Events(add=(load("W1"),)), "load W1"),
    ],
)
def test_an_event_that_names_nothing_is_refused_by_name(events: Events, named: str) -> None:
    place, loads, made = week()
    with pytest.raises(RequestError, match=named):
        replan(place, loads, made, now=NOON, events=events, settings=Settings(work_limit=1))


def test_a_promise_leaves_the_plan_in_hand_as_it_is() -> None:
    """The offer is checked by adding the load to the plan's loads and planning with moving forbidden by price."""
    place, loads, made = week()
    new = load("NEW", footprint_cm2=850.0, height_mm=200.0)
    offered = promise(place, loads, made, new, now=BEGIN)
    assert offered.offer is not None
    assert offered.offer.price == 0.0
    dear = place.model_copy(update={"prices": Prices(firing=4.0, moved=1000.0)})
    wanted = new.model_copy(update={"promised": offered.offer.out_at})
    result = replan(dear, loads, made, now=BEGIN, events=Events(add=(wanted,)), settings=Settings(work_limit=40))
    assert result.plan.late == made.late
    assert [change.load for change in result.changes] == ["NEW"]


def test_a_promise_for_a_load_that_fits_nowhere_says_why() -> None:
    place, loads, made = week()
    offered = promise(place, loads, made, load("NEW", height_mm=400.0), now=BEGIN)
    assert offered.offer is None
    assert "does not fit" in offered.why


def booked_session() -> Firing:
    """The firing whose session is booked for 14:00 of the second day."""
    return next(f for f in week()[2].firings if "C1" in f.loads)


def test_a_session_that_has_begun_goes_on() -> None:
    firing = booked_session()
    result = replanned(firing.unload_at + 20, Events())
    kept = next(f for f in result.plan.firings if f.id == firing.id)
    assert (kept.unload_at, kept.out_at) == (firing.unload_at, firing.out_at)


def test_a_booked_session_whose_flasks_are_late_is_held_when_they_are_ready() -> None:
    firing = booked_session()
    result = replanned(firing.start_at + 30, Events(late=(FiringLate(firing.id, 1.0),)), work=5)
    kept = next(f for f in result.plan.firings if f.id == firing.id)
    assert kept.unload_at >= firing.unload_at + 60


def test_mates_stay_when_the_earlier_stage_of_one_has_lost_its_place() -> None:
    """S waits for A, whose kiln fails; T shares the firing of S, and keeps it without her."""
    place = studio(kilns=(bench_kiln("K1"), bench_kiln("K2")), prices=Prices(firing=50.0, late_hour=20.0))
    loads = (
        load("A", kilns=("K1",)),
        load("S", kilns=("K2",), after="A", promised=clock("23:30")),
        load("T", kilns=("K2",), ready=clock("06:00"), promised=clock("23:30")),
    )
    made = plan(place, loads, now=BEGIN, begin=BEGIN, settings=Settings(work_limit=20))
    assert [firing.loads for firing in made.firings] == [("A",), ("S", "T")]
    down = Events(down=(KilnDown("K1", clock("12:00", 1)),))
    result = replan(place, loads, made, now=BEGIN - 5, events=down, settings=Settings(work_limit=0))
    prove(result.studio, result.loads, result.plan)
    assert {change.load for change in result.changes} == {"A", "S"}
    assert next(f for f in result.plan.firings if "T" in f.loads).loads == ("T",)
