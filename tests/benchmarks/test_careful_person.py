"""The baseline keeps every rule, and does what its description says on cases that can be seen through."""

from __future__ import annotations

import pytest

from scheduler.audit import prove
from scheduler.planning.reasons import unplaced_loads
from scheduler.planning.session import studio_session
from scheduler.planning.settle import write_plan_of
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio
from tests.benchmarks.careful_person import NO_LIMIT_MINUTES, CarefulPerson, best_wait, first_come
from tests.benchmarks.planning_sizes import studio_of
from tests.scheduler.planning.plain_studio import BEGIN, clock, load, studio


def by_hand(place: Studio, loads: tuple[Load, ...], wait_minutes: int = NO_LIMIT_MINUTES, begin: int = BEGIN) -> Plan:
    """The careful person's plan, proved."""
    session = studio_session(place, loads, begin, None, None)
    CarefulPerson(session.timetable, wait_minutes).run()
    missing = unplaced_loads(session.timetable)
    made = write_plan_of(session.timetable, made_at=begin, bound=0.0, seconds=0.0, unplaced=missing)
    return prove(place, loads, made).plan


def test_a_pile_is_fired_when_the_next_load_no_longer_fits() -> None:
    """Three layers of 100 mm and 15 mm gap would be 345 mm: the kiln of 300 mm holds two layers, 900 cm² each."""
    loads = tuple(load(f"L{n}", footprint_cm2=900.0) for n in range(5))
    made = by_hand(studio(), loads)
    assert sorted(len(firing.loads) for firing in made.firings) == [1, 2, 2]


def test_a_promise_forces_a_firing_before_the_kiln_is_full() -> None:
    """The second load is ready only on the third day; the first is promised for the second."""
    loads = (load("A", promised=clock("18:00", 1)), load("B", ready=clock("09:00", 2)))
    made = by_hand(studio(), loads)
    assert [firing.loads for firing in made.firings] == [("A",), ("B",)]
    assert made.late == ()


def test_without_a_promise_the_pile_waits_for_what_comes() -> None:
    loads = (load("A"), load("B", ready=clock("09:00", 2)))
    assert [firing.loads for firing in by_hand(studio(), loads).firings] == [("A", "B")]
    assert [firing.loads for firing in by_hand(studio(), loads, wait_minutes=1440).firings] == [("A",), ("B",)]


def test_a_later_stage_comes_when_its_earlier_one_is_out() -> None:
    made = by_hand(studio(), (load("S", after="L", gap_minutes=60.0), load("L")))
    first, second = made.firings
    assert (first.loads, second.loads) == (("L",), ("S",))
    assert second.load_at >= first.out_at + 60


@pytest.mark.parametrize("seed", [1, 2])
def test_its_plans_of_generated_studios_are_proved(seed: int) -> None:
    place, loads, _, begin = studio_of(seed, 20)
    assert by_hand(place, loads, begin=begin).firings


@pytest.mark.parametrize("seed", [1, 2])
def test_the_best_wait_is_never_worse_than_no_limit(seed: int) -> None:
    place, loads, _, begin = studio_of(seed, 20)
    timetable = studio_session(place, loads, begin, None, None).timetable
    first_come(timetable)
    without_limit = timetable.cost()
    best_wait(timetable)
    assert timetable.cost() <= without_limit
    assert timetable.is_sound()
