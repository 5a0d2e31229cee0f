"""Beams: Smith's rule, the order of stages, and on small groups the optimum that another model proves."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from scheduler.planning.beams import MOST_LOADS, plan_by_beams
from scheduler.planning.bounds import load_bounds
from scheduler.planning.dispatch import best_dispatch
from scheduler.planning.groups import Excerpt, groups
from scheduler.planning.proof import columns_within, listed_bounds
from scheduler.planning.session import lay_out
from scheduler.planning.timetable import Timetable, out_minutes
from tests.benchmarks.planning_sizes import studio_of
from tests.scheduler.planning.plain_studio import BEGIN, bench_kiln, load, slow_profile, studio, timetable_of

FULL = {"footprint_cm2": 850.0, "height_mm": 200.0, "promised": BEGIN}


def group_of(size: int, seed: int, work: str) -> Timetable:
    """The loads of one kind of work of a generated studio, in a timetable of their own."""
    place, loads, _, begin = studio_of(seed, size)
    whole = lay_out(place, loads, begin)
    profiles = place.profile_by_id
    for group in groups(whole):
        if {profiles[whole.problem.loads[number].profile].work for number in group} == {work}:
            return Excerpt(Timetable(whole.problem, whole), group).timetable
    raise AssertionError(f"no group of {work}")


def test_of_equally_long_firings_the_dearest_to_wait_for_goes_first() -> None:
    """Smith's rule (Naval Research Logistics Quarterly 3 (1956) 59): by weight over length, here by priority."""
    loads = tuple(load(f"P{priority}", **FULL, priority=priority) for priority in (2, 5, 1, 3))
    timetable = timetable_of(studio(), loads)
    assert plan_by_beams(timetable, 100)
    order = sorted(timetable.firings.values(), key=lambda firing: firing.place.start)
    assert [loads[number].priority for firing in order for number in firing.batch.loads] == [5, 3, 2, 1]
    assert all(one.place.free <= other.place.load for one, other in pairwise(order))


@pytest.mark.parametrize(("size", "seed", "work"), [(20, 3, "glass"), (60, 3, "glass"), (60, 1, "metal-clay")])
def test_on_small_groups_it_is_the_best_that_the_exact_model_proves(size: int, seed: int, work: str) -> None:
    """The exact model is a constraint programme solved by a library; its bound is above the cost of no plan."""
    timetable = group_of(size, seed, work)
    assert plan_by_beams(timetable, 100)
    cost = timetable.cost()
    columns = columns_within(timetable.batches, load_bounds(timetable.batches), seconds=60.0)
    assert columns is not None
    bound = max(bound for bound, _ in listed_bounds(timetable.batches, columns, lambda: cost + 1.0, 60.0))
    assert bound - 1e-6 <= cost <= bound + 0.01


@pytest.mark.parametrize("seed", [1, 4, 5])
def test_where_kilns_are_scarce_it_finds_places_that_dispatch_does_not(seed: int) -> None:
    """What is left out weighs less in each of these; every firing stands, with its real mass."""
    timetable = group_of(250, seed, "glass")

    def left_out() -> int:
        return sum(timetable.problem.loads[number].priority for number in timetable.pending())

    best_dispatch(timetable)
    dispatched, without = timetable.cost(), left_out()
    assert plan_by_beams(timetable, 700)
    assert left_out() < without
    assert timetable.cost() < dispatched - timetable.problem.studio.prices.unplaced
    assert timetable.is_sound()
    firings = timetable.firings.values()
    assert all(f.fit.phases.charge.ware_kg == f.batch.ware_kg for f in firings)


def test_a_later_stage_waits_until_the_earlier_one_is_out_and_dry() -> None:
    loads = (load("FIRST", **FULL), load("SECOND", after="FIRST", gap_minutes=600.0), load("OTHER", **FULL))
    timetable = timetable_of(studio(kilns=(bench_kiln("K1"), bench_kiln("K2"))), loads)
    assert plan_by_beams(timetable, 100)
    first, second = (timetable.firings[timetable.firing_of[number]] for number in (0, 1))
    grid = timetable.problem.grid_minutes
    assert second.place.load * grid >= out_minutes(first, grid) + 600


def test_what_is_no_cheaper_leaves_the_timetable_as_it_was() -> None:
    timetable = timetable_of(studio(), (load("A"), load("B")))
    assert plan_by_beams(timetable, 100)
    before = timetable.snapshot()
    assert not plan_by_beams(timetable, 100)
    assert timetable.snapshot() == before


def test_it_keeps_off_what_it_does_not_know() -> None:
    """A firing that is fixed, more loads than a word has bits, more sets than it may list, and hot work."""
    few = (load("A"), load("B"), load("C"))
    timetable = timetable_of(studio(), few)
    assert not plan_by_beams(timetable, 6)  # seven sets of three loads
    assert plan_by_beams(timetable, 7)
    number = next(iter(timetable.firings))
    timetable.add(replace(timetable.remove(number), fixed=True))
    assert not plan_by_beams(timetable, 7)
    many = tuple(load(f"L{n}", alone=True) for n in range(MOST_LOADS + 1))
    assert not plan_by_beams(timetable_of(studio(), many), 10_000)
    hot = slow_profile(unload="hot", unload_below_c=None)
    assert not plan_by_beams(timetable_of(studio(profiles=(hot,)), (load("A", session_minutes=20.0),)), 7)
