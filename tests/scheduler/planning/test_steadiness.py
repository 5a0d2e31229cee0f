"""What a re-plan leaves alone: everything but what is worth moving."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.batches import Batches, Stay
from scheduler.planning.clearing import Clearing
from scheduler.planning.heats import Heats
from scheduler.planning.neighbourhoods import ExactNeighbourhoods
from scheduler.planning.placement import Place
from scheduler.planning.search import Search
from scheduler.planning.steadiness import damaged, put_back
from scheduler.planning.timetable import Timetable, out_minutes
from shared.clock import Minute
from tests.scheduler.planning.plain_studio import bench_kiln, load, problem_of, slow_profile, studio

OTHER = slow_profile("else", work="else")
DAY = 24 * 60


def booked(promised: Mapping[int, Minute] | None = None) -> Timetable:
    """Two kilns of one kind of work with four firings each, and one of another kind with one; each firing a load."""
    dates = promised or {}
    kilns = (bench_kiln("K1"), bench_kiln("K2"), bench_kiln("K3", work=("else",)))
    loads = (*(load(f"L{n}", promised=dates.get(n)) for n in range(8)), load("E", profile="else"), load("NEW"))
    problem = problem_of(studio(kilns=kilns, profiles=(slow_profile(), OTHER)), loads)
    stays = {number: Stay(number // 4, (number % 4) * DAY, (number % 4 + 1) * DAY) for number in range(8)}
    stays[8] = Stay(2, 0, DAY)
    timetable = Timetable(problem, Batches(problem, Heats(problem), stays))
    for number in range(9):
        batch = timetable.batches.make(problem.loads[number].profile, (number,))
        assert batch is not None
        kiln = number // 4
        fit = timetable.batches.fit(batch, kiln)
        assert fit is not None
        start = ((number % 4) * DAY + 60) // problem.grid_minutes
        placed = timetable.best_place(batch, kiln, fit, only_start=start)
        assert placed is not None
        timetable.add(placed)
    return timetable


def test_what_is_where_it_was_is_not_damaged_and_what_is_new_is() -> None:
    assert damaged(booked()) == [9]


def test_so_is_a_load_without_a_place_or_on_another_day() -> None:
    timetable = booked()
    timetable.remove(timetable.firing_of[2])
    batch = timetable.batches.make("warm", (5,))
    assert batch is not None
    timetable.remove(timetable.firing_of[5])
    fit = timetable.batches.fit(batch, 0)
    assert fit is not None
    placed = timetable.best_place(batch, 0, fit)
    assert placed is not None
    timetable.add(placed)
    assert damaged(timetable) == [2, 5, 9]


def shifted(timetable: Timetable, load: int, minutes: int, kiln: int | None = None) -> int:
    """The firing of a load so much later, or in another kiln; its number."""
    firing = timetable.remove(timetable.firing_of[load])
    start = firing.place.start + minutes // timetable.problem.grid_minutes
    where = firing.kiln if kiln is None else kiln
    placed = timetable.best_place(firing.batch, where, firing.fit, only_start=start)
    assert placed is not None
    return timetable.add(placed)


def places(timetable: Timetable) -> dict[tuple[int, ...], Place]:
    return {firing.batch.loads: firing.place for firing in timetable.firings.values()}


def test_a_firing_that_only_changed_its_hour_goes_back_to_the_minute_and_is_held() -> None:
    timetable = booked()
    before = timetable.snapshot()
    shifted(timetable, 2, 30)
    assert places(timetable) != {firing.batch.loads: firing.place for firing in before}
    put_back(timetable, before)
    assert places(timetable) == {firing.batch.loads: firing.place for firing in before}
    assert all(firing.fixed for firing in timetable.firings.values())


def test_what_moved_to_another_kiln_or_day_stays_there_and_what_it_displaced_too() -> None:
    timetable = booked()
    before = timetable.snapshot()
    displaced = shifted(timetable, 6, 12 * 60)
    aside = timetable.firings[displaced].place
    moved = shifted(timetable, 2, 0, kiln=1)  # to where load 6 was
    new = timetable.firings[moved].place
    put_back(timetable, before)
    assert (places(timetable)[(2,)], places(timetable)[(6,)]) == (new, aside)
    assert not timetable.firings[timetable.firing_of[2]].fixed
    assert timetable.is_sound()


def test_a_firing_that_stands_with_a_rounded_mass_is_not_held_by_it() -> None:
    """What is held is not computed again, so its minutes have to be those of its real mass."""
    timetable = booked()
    charge = timetable.batches.charge(timetable.firings[timetable.firing_of[2]].batch, 0, exact=True)
    rounded = timetable.batches.charge(timetable.firings[timetable.firing_of[2]].batch, 0)
    assert charge is not None
    assert rounded is not None
    assert charge[0] == rounded[0], "a kilogramme is a step of masses"
    heavier = replace(timetable.firings[timetable.firing_of[2]].fit.phases, charge=replace(charge[0], ware_kg=1.5))
    number = timetable.firing_of[2]
    firing = timetable.remove(number)
    timetable.add(replace(firing, fit=replace(firing.fit, phases=heavier)))
    put_back(timetable, timetable.snapshot())
    assert [f.batch.loads for f in timetable.firings.values() if not f.fixed and f.kiln < 2] == [(2,)]


def test_every_timetable_of_a_search_asks_the_dearer_price() -> None:
    timetable = booked()
    timetable.reprice(10.0)
    assert Clearing(timetable, np.random.default_rng(1)).bare.moved_price == 10.0
    assert ExactNeighbourhoods(timetable, 1).timetable.moved_price == 10.0


def test_a_price_that_changes_during_a_search_changes_for_all_of_it() -> None:
    timetable = booked()
    clearing, exact = Clearing(timetable, np.random.default_rng(1)), ExactNeighbourhoods(timetable, 1)
    timetable.reprice(10.0)
    assert (clearing.bare.moved_price, exact.timetable.moved_price) == (10.0, 10.0)


def test_no_load_is_late_by_going_back() -> None:
    """Load 1 was late by half an hour and is in time now: its old place is no place to go back to."""
    timetable = booked()
    firing = timetable.firings[timetable.firing_of[1]]
    timetable = booked({1: timetable.problem.begin + out_minutes(firing, timetable.problem.grid_minutes)})
    assert timetable.firings[shifted(timetable, 1, 30)].late_cost > 0.0
    before = timetable.snapshot()
    assert timetable.firings[shifted(timetable, 1, -30)].late_cost == 0.0
    in_time = places(timetable)[(1,)]
    put_back(timetable, before)
    assert places(timetable)[(1,)] == in_time


def test_a_load_that_moves_costs_its_price_and_the_dearer_one_while_it_is_decided() -> None:
    timetable = booked()
    cost, guide = timetable.cost(), timetable.guide()
    timetable.reprice(7.0)
    assert (timetable.cost(), timetable.guide()) == (pytest.approx(cost), pytest.approx(guide))  # nothing has moved
    timetable.remove(timetable.firing_of[6])
    shifted(timetable, 2, 0, kiln=1)
    dear, dear_guide = timetable.cost(), timetable.guide()
    timetable.reprice(0.0)
    assert dear - timetable.cost() == pytest.approx(7.0)
    assert dear_guide - timetable.guide() == pytest.approx(7.0)


def test_no_more_loads_than_may_ever_leave_their_places() -> None:
    """Loads by themselves would be cheaper together, and moving costs nothing; three of them may."""

    def moved(most: int | None) -> tuple[int, float]:
        timetable = booked()
        timetable.reprice(0.0)
        search = Search(timetable, seed=1, most_moved=most)
        for _ in range(300):
            search.step(0.5)
            assert most is None or search.moved() <= most
        timetable.restore(search.best)
        return search.moved(), search.best_cost

    (free, cheapest), (few, dearer), (none, dearest) = moved(None), moved(3), moved(0)
    assert free > 3
    assert 0 < few <= 3
    assert none == 0
    assert cheapest < dearer < dearest


def test_what_has_left_its_place_already_is_not_counted_again() -> None:
    """A load that the failure has driven out may go anywhere, though none may leave."""
    timetable = booked()
    timetable.remove(timetable.firing_of[1])
    search = Search(timetable, seed=1, most_moved=0)
    assert search.moved() == 0
    assert 1 not in search.at_home
    assert set(search.at_home) == {0, 2, 3, 4, 5, 6, 7, 8}
