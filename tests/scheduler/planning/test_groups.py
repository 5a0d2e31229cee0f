"""Groups of kilns that no load links, and plans blended by them."""

from __future__ import annotations

from dataclasses import replace
from unittest.mock import patch

import pytest

from scheduler.planning.blending import blend, plan_around
from scheduler.planning.bounds import cost_bound, load_bounds
from scheduler.planning.dispatch import best_dispatch
from scheduler.planning.group_bounds import bounds_by_groups
from scheduler.planning.groups import Excerpt, groups
from scheduler.planning.scarce import MOST_IN_VAIN, Alone, Heat, ScarceFirst
from scheduler.planning.search import Search
from scheduler.planning.timetable import Placed, Timetable
from shared.profiles import Segment
from tests.scheduler.planning.plain_studio import (
    bench_kiln,
    load,
    slow_profile,
    studio,
    timetable_of,
)
from tests.scheduler.planning.test_search import dispatched

POTS = slow_profile("pots", work="pots")
GLASS = slow_profile("glass", work="glass")
RIDES = slow_profile("rides", work="rides")
KILNS = (
    bench_kiln("K1", work=("pots",)),
    bench_kiln("K2", work=("pots",)),
    bench_kiln("K3", work=("glass",)),
    bench_kiln("K4", work=("else",)),
)


def two_groups() -> Timetable:
    """Six loads for two kilns, and three for another one; nothing is placed."""
    pots = tuple(load(f"P{n}", profile="pots", alone=True) for n in range(6))
    glass = tuple(load(f"G{n}", profile="glass", alone=True) for n in range(3))
    return timetable_of(studio(kilns=KILNS, profiles=(POTS, GLASS)), (*glass, *pots))


def test_loads_that_no_kiln_can_fire_both_are_in_two_groups_the_larger_first() -> None:
    assert groups(two_groups().batches) == ((3, 4, 5, 6, 7, 8), (0, 1, 2))


def test_one_load_for_two_kinds_of_kilns_makes_them_one_group() -> None:
    both = bench_kiln("K5", work=("pots", "glass"))
    loads = (load("P", profile="pots"), load("G", profile="glass"))
    apart = timetable_of(studio(kilns=KILNS, profiles=(POTS, GLASS)), loads)
    together = timetable_of(studio(kilns=(*KILNS, both), profiles=(POTS, GLASS)), loads)
    assert groups(apart.batches) == ((0,), (1,))
    assert groups(together.batches) == ((0, 1),)


def test_stages_of_the_same_pieces_are_in_one_group() -> None:
    loads = (load("P", profile="pots"), load("G", profile="glass", after="P"))
    assert groups(timetable_of(studio(kilns=KILNS, profiles=(POTS, GLASS)), loads).batches) == ((0, 1),)


def test_a_guest_is_in_the_group_of_its_host() -> None:
    host = POTS.model_copy(update={"shares_with": ("rides",)})
    kilns = (*KILNS[:3], bench_kiln("K4", work=("rides",)))
    loads = (load("P", profile="pots"), load("R", profile="rides"), load("G", profile="glass"))
    assert groups(timetable_of(studio(kilns=kilns, profiles=(host, GLASS, RIDES)), loads).batches) == ((0, 1), (2,))


def test_a_load_that_no_kiln_can_fire_is_in_no_group() -> None:
    loads = (load("P", profile="pots"), load("R", profile="rides"))
    assert groups(timetable_of(studio(kilns=KILNS, profiles=(POTS, RIDES)), loads).batches) == ((0,),)


def test_but_a_stage_without_a_kiln_is_with_its_later_stages_so_that_they_find_no_place_without_it() -> None:
    glass = tuple(load(f"G{n}", profile="glass") for n in range(3))
    loads = (load("R", profile="rides"), load("G", profile="glass", after="R"), *glass)
    pots = tuple(load(f"P{n}", profile="pots") for n in range(6))
    timetable = timetable_of(studio(kilns=KILNS, profiles=(POTS, GLASS, RIDES)), (*loads, *pots))
    assert groups(timetable.batches) == ((5, 6, 7, 8, 9, 10), (0, 1, 2, 3, 4))
    excerpt = Excerpt(timetable, groups(timetable.batches)[1])
    best_dispatch(excerpt.timetable)
    assert excerpt.timetable.pending() == [0, 1]


def generated(seed: int) -> Timetable:
    """A studio with ten kilns for six kinds of work, planned by dispatch."""
    return dispatched(seed, kilns=10, loads=80)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_groups_share_no_kiln_and_leave_no_load_out_that_has_one(seed: int) -> None:
    timetable = generated(seed)
    found = groups(timetable.batches)
    assert len(found) > 1
    members = [load for group in found for load in group]
    assert len(members) == len(set(members))
    assert set(timetable.firing_of) <= set(members)
    kilns = [
        {timetable.firings[timetable.firing_of[n]].kiln for n in group if n in timetable.firing_of} for group in found
    ]
    assert sum(len(own) for own in kilns) == len(set().union(*kilns))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_an_excerpt_has_its_firings_and_gives_them_back_as_they_were(seed: int) -> None:
    timetable = generated(seed)
    loads = [load for group in groups(timetable.batches)[1:] for load in group]
    number = timetable.firing_of[groups(timetable.batches)[0][0]]
    timetable.add(replace(timetable.remove(number), fixed=True))
    excerpt = Excerpt(timetable, loads)
    assert excerpt.timetable.is_sound()
    back = excerpt.in_whole(excerpt.timetable.snapshot())
    own = [f for f in timetable.snapshot() if f.fixed or set(f.batch.loads) <= set(loads)]
    assert [(f.batch.loads, f.kiln, f.place, f.fixed) for f in back] == [
        (f.batch.loads, f.kiln, f.place, f.fixed) for f in own
    ]
    assert [excerpt.batches.problem.loads[n].id for n in range(len(excerpt.numbers))] == [
        timetable.problem.loads[n].id for n in excerpt.numbers
    ]


@pytest.mark.parametrize("seed", [1, 2])
def test_what_is_found_for_some_loads_by_themselves_stands_in_the_whole(seed: int) -> None:
    timetable = generated(seed)
    excerpt = Excerpt(timetable, [load for group in groups(timetable.batches)[1:] for load in group])
    search = Search(excerpt.timetable, seed)
    for _ in range(150):
        search.step(0.5)
    plan_around(timetable, excerpt.in_whole(search.best))
    assert timetable.is_sound()
    for firing in search.best:
        loads = {excerpt.numbers[load] for load in firing.batch.loads}
        held = [f for f in timetable.firings.values() if set(f.batch.loads) & loads]
        assert any(f.kiln == firing.kiln and f.place.start == firing.place.start for f in held)


def test_others_stay_where_they_were_unless_they_are_in_the_way() -> None:
    timetable = two_groups()
    best_dispatch(timetable)
    before = timetable.snapshot()
    moved = next(firing for firing in before if firing.kiln == 2)
    later = timetable.best_place(moved.batch, 2, moved.fit, not_before=3 * 1440 // timetable.problem.grid_minutes)
    assert later is not None
    plan_around(timetable, [later])
    at = {firing.batch.loads: firing.place.start for firing in timetable.snapshot()}
    assert at[moved.batch.loads] == later.place.start
    assert {f.batch.loads: f.place.start for f in before if f is not moved}.items() <= at.items()


def without(timetable: Timetable, plan: tuple[Placed, ...], kilns: set[int]) -> tuple[Placed, ...]:
    """A plan whose firings in some kilns are gone."""
    return tuple(firing for firing in plan if firing.kiln not in kilns)


def test_of_two_plans_each_gives_what_the_other_lacks() -> None:
    """With nothing placed anew, so that each load has its place from one of the two."""
    timetable = two_groups()
    best_dispatch(timetable)
    whole, cost = timetable.snapshot(), timetable.cost()
    assert not timetable.pending()
    one, other = without(timetable, whole, {2}), without(timetable, whole, {0, 1})
    with patch("scheduler.planning.blending.place_missing"):
        made = blend(timetable, one, other, groups(timetable.batches))
    assert timetable.cost() == pytest.approx(cost)
    assert {f.batch.loads for f in made} == {f.batch.loads for f in whole}


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_blend_is_never_dearer_than_the_plan_and_breaks_no_rule(seed: int) -> None:
    timetable = generated(seed)
    number = next(iter(timetable.firings))
    timetable.add(replace(timetable.remove(number), fixed=True))
    plan, cost = timetable.snapshot(), timetable.cost()
    search = Search(timetable, seed)
    for _ in range(40):
        search.step(5.0)
    other = timetable.snapshot()
    blend(timetable, plan, other, groups(timetable.batches))
    assert timetable.cost() <= cost + 1e-6
    assert timetable.is_sound()
    assert [f for f in timetable.firings.values() if f.fixed]


def test_scarce_kilns_are_searched_once_and_again_only_while_loads_of_theirs_have_no_place() -> None:
    loads = tuple(load(f"P{n}", profile="pots") for n in range(6))
    glass = tuple(load(f"G{n}", profile="glass") for n in range(4))
    timetable = timetable_of(studio(kilns=KILNS, profiles=(POTS, GLASS)), (*loads, *glass))
    best_dispatch(timetable)
    whole = timetable.snapshot()
    scarce = ScarceFirst(timetable, groups(timetable.batches), seed=1)
    assert scarce.due(whole) == ((6, 7, 8, 9),)
    begun: list[int] = []

    def burst(rounds: int) -> Heat:
        begun.append(rounds)
        return lambda done: None if done == 20 else 1.0

    firings, rounds = scarce.search(scarce.due(whole), burst)
    assert (begun, rounds) == ([0, 20], 40)
    assert {load for firing in firings for load in firing.batch.loads} == {6, 7, 8, 9}
    masses = [(firing.fit.phases.charge.ware_kg, firing.batch.ware_kg) for firing in firings]
    assert all(computed == real for computed, real in masses)
    assert timetable.snapshot() == whole
    assert not scarce.due(whole)
    assert scarce.due(without(timetable, whole, {2})) == ((6, 7, 8, 9),)


def test_a_group_is_searched_again_a_few_times_while_loads_have_no_place_and_then_only_for_what_it_once_had() -> None:
    alone = Alone()
    alone.add(1000.0)
    assert alone.is_due(1000.0)
    assert not alone.is_due(0.0)
    for _ in range(MOST_IN_VAIN):
        alone.add(1500.0)
    assert not alone.is_due(1000.0)
    assert alone.is_due(1000.1)


def test_where_no_group_is_the_rest_there_is_nothing_to_search_first() -> None:
    names = tuple(f"work {n}" for n in range(6))
    kilns = tuple(bench_kiln(f"K{n}", work=(name,)) for n, name in enumerate(names))
    profiles = tuple(slow_profile(name, work=name) for name in names)

    def is_due(count: int, largest: int) -> bool:
        loads = [load(f"L{n}", profile=name) for n, name in enumerate(names[:count])]
        loads += [load(f"M{n}", profile=names[0]) for n in range(largest - 1)]
        timetable = timetable_of(studio(kilns=kilns, profiles=profiles), tuple(loads))
        return bool(ScarceFirst(timetable, groups(timetable.batches), seed=1).due(()))

    assert not is_due(1, 9)  # one group alone
    assert not is_due(4, 9)  # three scarce loads are too few
    assert is_due(5, 9)
    assert is_due(5, 2)
    assert not is_due(6, 2)  # five scarce loads against two


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_no_plan_costs_less_than_the_sum_of_its_groups_bounds(seed: int) -> None:
    timetable = generated(seed)
    search = Search(timetable, seed)
    for number in range(200):
        search.step(1.0 - number / 200)
    timetable.restore(())
    found = list(bounds_by_groups(timetable, 6.0))
    assert found[0][0] >= cost_bound(timetable.batches, load_bounds(timetable.batches)) - 1e-6
    plans = [firings for _, firings in found if firings]
    for firings in plans:
        timetable.restore(firings)
        assert timetable.is_sound()
        assert found[0][0] <= timetable.cost() + 1e-6
    assert max(bound for bound, _ in found) <= search.best_cost


def test_the_group_with_most_to_gain_is_decided_exactly_and_the_others_go_around_it() -> None:
    """From an empty plan: four pots go together into a kiln of theirs, which no two firings would make cheaper."""
    pots = tuple(load(f"P{n}", profile="pots") for n in range(4))
    timetable = timetable_of(studio(kilns=KILNS, profiles=(POTS, GLASS)), (*pots, load("G", profile="glass")))
    found = list(bounds_by_groups(timetable, 20.0))
    bound, firings = found[-1]
    assert {firing.batch.loads for firing in firings} == {(0, 1, 2, 3), (4,)}
    timetable.restore(firings)
    assert timetable.is_sound()
    assert bound <= timetable.cost() <= bound * 1.02


def test_a_group_with_more_work_than_time_raises_the_bound_by_what_has_no_place() -> None:
    """Twelve loads for a kiln that fires one a day, on four days: by load and room alone each of them has a place."""
    glass = tuple(load(f"G{n}", profile="glass", alone=True) for n in range(12))
    long = GLASS.model_copy(
        update={"own_segments": (Segment(rate_k_per_hour=100.0, to_c=220.0, hold_minutes="20:00"),)}
    )
    timetable = timetable_of(studio(kilns=KILNS, profiles=(POTS, long)), (*glass, load("P", profile="pots")))
    by_room = cost_bound(timetable.batches, load_bounds(timetable.batches))
    best_dispatch(timetable)
    without_place = len(timetable.pending())
    assert without_place >= 8
    bound, _ = next(iter(bounds_by_groups(timetable, 60.0)))
    unplaced = timetable.problem.studio.prices.unplaced
    assert by_room < unplaced
    assert without_place * unplaced <= bound <= timetable.cost()
