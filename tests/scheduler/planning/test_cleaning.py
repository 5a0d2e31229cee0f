"""Plans made again while a kiln is being cleaned out: the clean-out ends when it was to end."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from scheduler.audit import breaches, prove
from scheduler.planning.door import Settings, plan
from scheduler.planning.events import Away, Events, FiringLate, KilnDown
from scheduler.planning.replan import Replanned, replan
from shared.loads import Load
from shared.plans import Firing, Plan
from shared.studio import CleanOut, Rules, Shift, Studio
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

WORK = Settings(work_limit=40)
LOADS = (
    load("WAX", profile="wax", promised=clock("20:00")),
    load("GLASS", profile="glass", ready=clock("12:00", day=1), promised=clock("23:00", day=1), footprint_cm2=800.0),
    load("CLAY", profile="clay", ready=clock("12:00", day=1), promised=clock("12:00", day=3), footprint_cm2=800.0),
)


def place(kilns: int = 1) -> Studio:
    """A kiln for three kinds of work; an hour and a half of cleaning from wax to glass. One pair of hands all day."""
    works = ("wax", "glass", "clay")
    return studio(
        kilns=tuple(bench_kiln(f"K{number}", work=works, last_work="wax") for number in range(1, kilns + 1)),
        profiles=tuple(slow_profile(work, work=work) for work in works),
        shifts=(
            Shift(days=EVERY_DAY, opens="08:00", closes="14:00"),
            Shift(days=EVERY_DAY, opens="14:00", closes="23:00"),
        ),
        clean_outs=(CleanOut(after=("wax",), before=("glass",), minutes=90.0, price=7.0),),
        rules=Rules(horizon_days=6, grid_minutes=10),
    )


@cache
def week(kilns: int = 1) -> tuple[Studio, Plan, Firing]:
    """The studio, its proved plan, and the firing of glass that its kiln is cleaned out for."""
    here = place(kilns)
    made = plan(here, LOADS, now=BEGIN, begin=BEGIN, settings=WORK)
    prove(here, LOADS, made)
    glass = next(firing for firing in made.firings if "GLASS" in firing.loads)
    assert glass.clean_out_minutes == 90
    return here, made, glass


def again(now: int, events: Events | None = None, loads: tuple[Load, ...] = LOADS, **more: object) -> Replanned:
    """The proved new plan."""
    here, made, _ = week()
    found = replan(here, loads, made, now=now, events=events or Events(), settings=WORK, **more)  # type: ignore[arg-type]
    prove(found.studio, found.loads, found.plan)
    assert breaches(found.studio, found.loads, found.plan, found.under_way, replanned=True) == []
    return found


def glass_of(found: Replanned) -> Firing:
    return next(firing for firing in found.plan.firings if "GLASS" in firing.loads)


@pytest.mark.parametrize("minutes", [10, 15, 40, 80, 85, 90])
def test_a_clean_out_under_way_ends_when_it_was_to_end(minutes: int) -> None:
    """Also where it ends with the first minute of the new plan."""
    _, made, glass = week()
    found = again(glass.clean_out_at + minutes)
    assert glass_of(found) == glass
    assert found.changes == ()
    assert found.do_nothing == ()
    assert found.plan.cost_parts.clean_outs == made.cost_parts.clean_outs == 7.0
    # What ends as the plan begins has the kiln clean, and the firing has not begun otherwise.
    assert found.plan.under_way == (glass.id,)


def test_a_clean_out_that_has_not_begun_holds_nothing() -> None:
    _, _, glass = week()
    assert again(glass.clean_out_at - 10).plan.under_way == ()
    assert again(glass.clean_out_at).plan.under_way == ()


def test_the_kiln_takes_nothing_else_while_it_is_cleaned_out() -> None:
    """A quick load comes, for which the kiln would do; it waits for its turn, and the hands are the cleaner's."""
    _, _, glass = week()
    now = glass.clean_out_at + 20
    new = load("NEW", profile="clay", promised=now + 60, priority=9, footprint_cm2=800.0)
    found = again(now, Events(add=(new,)))
    assert glass_of(found) == glass
    other = next(firing for firing in found.plan.firings if "NEW" in firing.loads)
    assert other.load_at >= glass.free_at


def test_a_plan_made_again_twice_within_one_clean_out_keeps_it() -> None:
    _, _, glass = week()
    first = again(glass.clean_out_at + 20)
    second = replan(first.studio, first.loads, first.plan, now=glass.clean_out_at + 60, events=Events(), settings=WORK)
    prove(second.studio, second.loads, second.plan)
    assert glass_of(second) == glass


def test_a_kiln_that_fails_while_it_is_cleaned_out_is_cleaned_out_anew() -> None:
    _, _, glass = week()
    now = glass.clean_out_at + 30
    found = again(now, Events(down=(KilnDown("K1", now + 240),)))
    later = glass_of(found)
    assert found.plan.under_way == ()
    assert later.clean_out_at >= now + 240
    assert later.clean_out_minutes == 90


def test_nobody_there_to_clean_on_means_to_begin_anew() -> None:
    _, _, glass = week()
    now = glass.clean_out_at + 30
    shift = 8 * 60 if glass.load_at <= clock("14:00", day=1) else 14 * 60
    day = MONDAY.replace(month=12, day=1)
    found = again(now, Events(absent=(Away(on=day, opens=shift),)))
    assert found.plan.under_way == ()
    assert glass_of(found).clean_out_at > now


def test_a_load_that_is_cancelled_meanwhile_leaves_its_mates() -> None:
    here = place()
    loads = (*LOADS, replace_load(LOADS[1], id="MATE", footprint_cm2=50.0))
    both = (loads[0], replace_load(loads[1], footprint_cm2=600.0), loads[3])
    made = plan(here, both, now=BEGIN, begin=BEGIN, settings=WORK)
    glass = next(firing for firing in made.firings if "GLASS" in firing.loads)
    assert set(glass.loads) == {"GLASS", "MATE"}
    now = glass.clean_out_at + 30
    found = replan(here, both, made, now=now, events=Events(cancel=("MATE",)), settings=WORK)
    prove(found.studio, found.loads, found.plan)
    kept = next(firing for firing in found.plan.firings if "GLASS" in firing.loads)
    assert (kept.loads, kept.load_at, kept.start_at) == (("GLASS",), glass.load_at, glass.start_at)


def replace_load(one: Load, **changes: object) -> Load:
    return one.model_copy(update=changes)


def test_a_load_whose_earlier_stage_is_late_is_left_behind_by_its_mates() -> None:
    """STAGE has to be out and dry an hour before the glass is loaded; it runs four hours late in the other kiln."""
    here = place(kilns=2)
    stage = load("STAGE", profile="clay", ready=clock("06:00", day=1), promised=clock("20:00", day=1), kilns=("K2",))
    after = load(
        "AFTER", profile="glass", after="STAGE", gap_minutes=10.0, promised=clock("23:00", day=2), kilns=("K1",)
    )
    glass = replace_load(LOADS[1], ready=clock("18:00", day=1), kilns=("K1",), footprint_cm2=400.0)
    wax = replace_load(LOADS[0], kilns=("K1",))
    loads = (wax, stage, after, glass)
    made = plan(here, loads, now=BEGIN, begin=BEGIN, settings=WORK)
    shared = next(firing for firing in made.firings if "GLASS" in firing.loads)
    assert set(shared.loads) == {"GLASS", "AFTER"}
    first = next(firing for firing in made.firings if "STAGE" in firing.loads)
    now = shared.clean_out_at + 10
    late = Events(late=(FiringLate(first.id, 4.0),))
    found = replan(here, loads, made, now=now, events=late, settings=WORK)
    prove(found.studio, found.loads, found.plan)
    kept = next(firing for firing in found.plan.firings if "GLASS" in firing.loads)
    assert (kept.loads, kept.load_at) == (("GLASS",), shared.load_at)


@pytest.mark.parametrize("by", ["plan", "asked"])
def test_a_held_firing_whose_kiln_is_being_cleaned_out_stays_held(by: str) -> None:
    here, made, glass = week()
    now = glass.clean_out_at + 30
    if by == "plan":
        firings = tuple(f.model_copy(update={"held": f.id == glass.id}) for f in made.firings)
        found = replan(
            here, LOADS, made.model_copy(update={"firings": firings}), now=now, events=Events(), settings=WORK
        )
    else:
        found = again(now, held=(glass.id,))
    prove(found.studio, found.loads, found.plan)
    assert found.plan.hold_notes == ()
    assert glass_of(found) == glass.model_copy(update={"held": True})


def test_a_search_leaves_it_alone_also_in_exact_neighbourhoods() -> None:
    """Two kilns and more work: the search moves other firings, and every plan on the way is proved at its end."""
    here, made, glass = week(2)
    more = tuple(
        load(f"N{n}", profile="clay", footprint_cm2=700.0, promised=glass.load_at + 600, priority=5) for n in range(4)
    )
    now = glass.clean_out_at + 50
    found = replan(here, LOADS, made, now=now, events=Events(add=more), settings=replace(WORK, work_limit=200))
    prove(found.studio, found.loads, found.plan)
    kept = next(firing for firing in found.plan.firings if "GLASS" in firing.loads)
    assert kept == glass
