"""What a person has fixed stays: in a new plan and in a re-plan, until it has become impossible, which is said."""

from __future__ import annotations

import pytest

from scheduler.audit import breaches, holds_kept, prove
from scheduler.planning.door import Settings, plan
from scheduler.planning.events import Away, Events, KilnDown
from scheduler.planning.promise import promise
from scheduler.planning.replan import Replanned, replan
from shared.clock import local_time
from shared.plans import Firing, Plan
from shared.studio import Outage
from tests.benchmarks.studios import make_studio
from tests.scheduler.planning.plain_studio import BEGIN, bench_kiln, clock, load, studio
from tests.scheduler.planning.test_replan import week

WORK = Settings(work_limit=60)
MORNING = clock("06:00", day=1)


def odd_one() -> tuple[Plan, Firing]:
    """The week with its last warm firing that nothing waits for, put two days later than any planner would."""
    _, _, made = week()
    chosen = max(
        (f for f in made.firings if f.profile == "warm" and "W0" not in f.loads and "S1" not in f.loads),
        key=lambda f: (f.load_at, f.id),
    )
    shift = 2 * 1440
    times = ("load_at", "start_at", "target_at", "hot_until", "safe_at", "unload_at", "free_at")
    segments = tuple(
        one.model_copy(update={"reached_at": one.reached_at + shift, "hold_ends_at": one.hold_ends_at + shift})
        for one in chosen.segments
    )
    moved = chosen.model_copy(update={n: getattr(chosen, n) + shift for n in times} | {"segments": segments})
    return made, moved


def where(firing: Firing) -> tuple[object, ...]:
    return firing.kiln, firing.load_at, firing.start_at, firing.unload_at, firing.loads


def of_id(made: Plan, name: str) -> Firing:
    return next(firing for firing in made.firings if firing.id == name)


def replanned(made: Plan, events: Events, held: tuple[str, ...] = ()) -> Replanned:
    place, loads, _ = week()
    result = replan(place, loads, made, now=MORNING, events=events, settings=WORK, held=held)
    prove(result.studio, result.loads, result.plan)
    assert list(holds_kept(result.studio, result.plan, result.held)) == []
    return result


def with_firing(made: Plan, firing: Firing) -> Plan:
    return made.model_copy(update={"firings": tuple(firing if f.id == firing.id else f for f in made.firings)})


def test_without_a_hold_the_planner_would_move_it() -> None:
    """Else the tests below would show nothing."""
    place, loads, _ = week()
    _, odd = odd_one()
    made = plan(place, loads, now=BEGIN, begin=BEGIN, settings=WORK)
    assert where(odd) not in [where(firing) for firing in made.firings]


def test_a_new_plan_keeps_what_is_held_and_places_the_rest_around_it() -> None:
    place, loads, _ = week()
    _, odd = odd_one()
    made = plan(place, loads, now=BEGIN, begin=BEGIN, settings=WORK, held=(odd,))
    prove(place, loads, made)
    kept = of_id(made, odd.id)
    assert where(kept) == where(odd)
    assert kept.held
    assert [firing.id for firing in made.firings if firing.held] == [odd.id]
    assert len({firing.id for firing in made.firings}) == len(made.firings)
    assert made.hold_notes == ()
    assert made.unplaced == ()


def test_the_same_work_with_a_hold_gives_the_same_plan() -> None:
    place, loads, _ = week()
    _, odd = odd_one()
    first, second = (plan(place, loads, now=BEGIN, begin=BEGIN, settings=WORK, held=(odd,)) for _ in range(2))
    assert first == second


def test_a_hold_survives_the_failure_of_another_kiln() -> None:
    made, odd = odd_one()
    other = next(kiln for kiln in ("K1", "K2", "K3") if kiln != odd.kiln)
    result = replanned(with_firing(made, odd), Events(down=(KilnDown(other),)), held=(odd.id,))
    assert where(of_id(result.plan, odd.id)) == where(odd)
    assert result.plan.hold_notes == ()


def test_a_mark_in_the_plan_holds_as_the_argument_does() -> None:
    made, odd = odd_one()
    marked = with_firing(made, odd.model_copy(update={"held": True}))
    assert where(of_id(replanned(marked, Events()).plan, odd.id)) == where(odd)


def test_the_failure_of_its_own_kiln_lets_it_go_and_says_so() -> None:
    made, odd = odd_one()
    result = replanned(with_firing(made, odd), Events(down=(KilnDown(odd.kiln),)), held=(odd.id,))
    (note,) = result.plan.hold_notes
    assert (note.firing, note.kiln, note.start_at, note.loads) == (odd.id, odd.kiln, odd.start_at, odd.loads)
    assert note.rule == "outages"
    assert not note.kept
    assert not any(firing.held for firing in result.plan.firings)
    assert set(odd.loads) <= {load for firing in result.plan.firings for load in firing.loads}


def test_an_absence_at_its_loading_lets_it_go_and_says_so() -> None:
    made, odd = odd_one()
    place, _, _ = week()
    day = local_time(odd.load_at, place.place.zone).date()
    result = replanned(with_firing(made, odd), Events(absent=(Away(day),)), held=(odd.id,))
    assert [(note.firing, note.rule) for note in result.plan.hold_notes] == [(odd.id, "hands")]


def test_a_cancelled_load_leaves_its_mates_held_and_is_told() -> None:
    place = studio(kilns=(bench_kiln("K1"), bench_kiln("K2")))
    loads = tuple(load(name, promised=clock("20:00")) for name in ("A", "B", "C"))
    made = plan(place, loads, now=BEGIN, begin=BEGIN, settings=WORK)
    (firing,) = made.firings
    assert set(firing.loads) == {"A", "B", "C"}
    result = replan(place, loads, made, now=BEGIN - 60, events=Events(cancel=("B",)), settings=WORK, held=(firing.id,))
    prove(result.studio, result.loads, result.plan)
    (kept,) = result.plan.firings
    assert where(kept) == ("K1", firing.load_at, firing.start_at, firing.unload_at, ("A", "C"))
    assert [(note.firing, note.rule, note.kept) for note in result.plan.hold_notes] == [
        (firing.id, "each_load_once", True)
    ]
    assert "B waits no more" in result.plan.hold_notes[0].why
    assert list(holds_kept(result.studio, result.plan, result.held)) == []


def test_a_new_plan_says_which_hold_its_outage_makes_impossible() -> None:
    place, loads, _ = week()
    _, odd = odd_one()
    broken = place.model_copy(update={"outages": (Outage(kiln=odd.kiln, begins=odd.start_at, ends=None),)})
    made = plan(broken, loads, now=BEGIN, begin=BEGIN, settings=WORK, held=(odd,))
    prove(broken, loads, made)
    assert [(note.firing, note.rule) for note in made.hold_notes] == [(odd.id, "outages")]


def test_of_two_holds_that_exclude_each_other_the_first_stays() -> None:
    place, loads, _ = week()
    made, odd = odd_one()
    other = next(f for f in made.firings if f.profile == "warm" and f.id != odd.id and not set(f.loads) & {"W0", "S1"})
    times = {name: getattr(odd, name) for name in ("load_at", "start_at", "unload_at")}
    clash = other.model_copy(update={"kiln": odd.kiln, **times, "start_at": odd.start_at + 15})
    result = plan(place, loads, now=BEGIN, begin=BEGIN, settings=WORK, held=(clash, odd))
    prove(place, loads, result)
    assert [note.firing for note in result.hold_notes] == [clash.id]
    assert where(of_id(result, odd.id)) == where(odd)


def test_a_held_later_stage_has_its_earlier_stage_planned_before_it() -> None:
    place, loads, made = week()
    stage = next(firing for firing in made.firings if "S1" in firing.loads)
    result = plan(place, loads, now=BEGIN, begin=BEGIN, settings=WORK, held=(stage,))
    prove(place, loads, result)
    assert where(of_id(result, stage.id)) == where(stage)
    earlier = next(firing for firing in result.firings if "W0" in firing.loads)
    assert earlier.out_at + 60 <= stage.load_at


def test_a_held_later_stage_whose_earlier_one_has_no_time_left_is_let_go() -> None:
    """Held at the plan's very beginning, nothing can be out before it."""
    place, loads, made = week()
    stage = next(firing for firing in made.firings if "S1" in firing.loads)
    shift = stage.load_at - clock("09:00")
    times = {name: getattr(stage, name) - shift for name in ("load_at", "start_at", "unload_at")}
    times["unload_at"] = stage.unload_at - shift // 1440 * 1440
    early = stage.model_copy(update=times)
    result = plan(place, loads, now=BEGIN, begin=BEGIN, settings=WORK, held=(early,))
    prove(place, loads, result)
    assert [(note.firing, note.rule) for note in result.hold_notes] == [(stage.id, "after_gap")]
    assert result.unplaced == ()


def test_a_promise_puts_nothing_into_a_held_firing() -> None:
    place = studio(kilns=(bench_kiln("K1"),))
    loads = (load("A"),)
    made = plan(place, loads, now=BEGIN, begin=BEGIN, settings=WORK)
    new = load("N")
    free = promise(place, loads, made, new, now=BEGIN - 1).offer
    assert free is not None
    assert free.shares_with == ("A",)
    held = made.model_copy(update={"firings": tuple(f.model_copy(update={"held": True}) for f in made.firings)})
    kept = promise(place, loads, held, new, now=BEGIN - 1).offer
    assert kept is not None
    assert kept.shares_with == ()


@pytest.mark.parametrize(
    ("update", "text"),
    [
        ({"kiln": "K9"}, "is in K9"),
        ({"load_at": 0}, "load_at was held"),
        ({"loads": ("Z",)}, "has Z"),
        ({"held": False}, "says why"),
    ],
)
def test_the_audit_finds_a_hold_that_was_not_kept(update: dict[str, object], text: str) -> None:
    """The check can fail: each way in which a hold can be broken is found."""
    place, loads, made = week()
    firing = made.firings[0].model_copy(update={"held": True})
    assert list(holds_kept(place, with_firing(made, firing), (firing,))) == []
    broken = with_firing(made, firing.model_copy(update=update))
    assert any(text in breach.text for breach in holds_kept(place, broken, (firing,)))
    assert breaches(place, loads, with_firing(made, firing)) == []


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_in_generated_studios_every_hold_is_kept_or_told_and_every_plan_is_proved(seed: int) -> None:
    """A third of a made plan's firings held while another seed plans afresh, and while a kiln fails."""
    place, loads, now = make_studio(seed, kilns=5, loads=40)
    begin = now + 360
    made = plan(place, loads, now=now, begin=begin, settings=Settings(work_limit=20, workers=1))
    held = made.firings[::3]
    afresh = plan(place, loads, now=now, begin=begin, settings=Settings(work_limit=70, seed=9, workers=1), held=held)
    prove(place, loads, afresh)
    assert list(holds_kept(place, afresh, held)) == []
    assert afresh.hold_notes == ()
    broken = Events(down=(KilnDown(held[0].kiln),))
    ids = [firing.id for firing in held]
    result = replan(place, loads, made, now=begin - 1, events=broken, settings=WORK, held=ids)
    prove(result.studio, result.loads, result.plan)
    assert list(holds_kept(place, result.plan, result.held)) == []
    told = {note.firing for note in result.plan.hold_notes}
    assert told == {firing.id for firing in held if firing.kiln == held[0].kiln}
