"""Plans by arrival: a pile is fired when it is full or forced, and nothing is made worse."""

from __future__ import annotations

import pytest

from scheduler.planning.arrivals import Arrivals, by_arrival
from scheduler.planning.batches import Batches
from scheduler.planning.dispatch import best_dispatch
from scheduler.planning.heats import Heats
from scheduler.planning.problem import state_problem
from scheduler.planning.timetable import Timetable
from shared.clock import wall_minute
from tests.benchmarks.studios import make_studio
from tests.scheduler.planning.plain_studio import MONDAY, clock, load, studio, timetable_of

WEEK = 7 * 24 * 60


def sizes(timetable: Timetable) -> list[int]:
    """How many loads are in each firing, in order of loading."""
    return [len(firing.batch.loads) for firing in timetable.snapshot()]


def test_a_pile_is_fired_when_the_next_load_does_not_fit() -> None:
    """A shelf of 300 × 300 mm takes three loads of 300 cm², and 300 mm of height two layers of 115 mm: six loads."""
    timetable = timetable_of(studio(), tuple(load(f"L{n}") for n in range(7)))
    Arrivals(timetable, WEEK).run()
    assert sizes(timetable) == [6, 1]


def test_a_promise_forces_a_pile_before_the_next_load_comes() -> None:
    """Promised on Wednesday, the first load cannot wait for one that comes on Wednesday evening."""
    loads = (load("A", promised=clock("12:00", 2)), load("B", ready=clock("18:00", 2)))
    timetable = timetable_of(studio(), loads)
    Arrivals(timetable, WEEK).run()
    assert sizes(timetable) == [1, 1]
    assert timetable.snapshot()[0].late_cost == 0.0


def test_without_a_promise_the_two_are_fired_together() -> None:
    loads = (load("A"), load("B", ready=clock("18:00", 2)))
    timetable = timetable_of(studio(), loads)
    Arrivals(timetable, WEEK).run()
    assert sizes(timetable) == [2]


def test_a_later_stage_comes_when_the_earlier_one_is_out() -> None:
    loads = (load("A"), load("B", after="A", gap_minutes=120.0))
    timetable = timetable_of(studio(), loads)
    Arrivals(timetable, WEEK).run()
    assert sizes(timetable) == [1, 1]
    assert timetable.is_sound()


@pytest.mark.parametrize("seed", range(1, 5))
def test_a_plan_by_arrival_is_kept_only_where_it_is_cheaper(seed: int) -> None:
    place, loads, _ = make_studio(seed, kilns=4, loads=20)
    begin = wall_minute(MONDAY, 0, place.place.zone)
    problem = state_problem(place, loads, begin, begin + place.rules.horizon_days * 1440)
    timetable = Timetable(problem, Batches(problem, Heats(problem)))
    best_dispatch(timetable)
    before = timetable.cost()
    by_arrival(timetable)
    assert timetable.is_sound()
    assert timetable.cost() <= before


def test_by_arrival_helps_where_the_rules_leave_a_load_out() -> None:
    """Seed 1 of the generated studios: dispatch leaves a load without a place, and a pile's order does not."""
    place, loads, _ = make_studio(1, kilns=4, loads=20)
    begin = wall_minute(MONDAY, 0, place.place.zone)
    problem = state_problem(place, loads, begin, begin + place.rules.horizon_days * 1440)
    timetable = Timetable(problem, Batches(problem, Heats(problem)))
    best_dispatch(timetable)
    left_out = len(loads) - len(timetable.firing_of)
    by_arrival(timetable)
    assert len(loads) - len(timetable.firing_of) < left_out
