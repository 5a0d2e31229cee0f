"""What the neighbourhood search may never do to a plan; and how it pushes firings aside for a late load."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.dispatch import best_dispatch
from scheduler.planning.overdue import last_hope_slot
from scheduler.planning.pushing import in_the_way
from scheduler.planning.search import Search
from scheduler.planning.session import Settings, studio_session
from scheduler.planning.timetable import Timetable, out_minutes
from shared.clock import Minute
from shared.loads import Load
from shared.studio import Prices, Rules, Studio
from tests.benchmarks.studios import make_studio
from tests.scheduler.planning.plain_studio import clock, studio, timetable_of
from tests.scheduler.planning.plain_studio import load as plain_load

BY_THE_LOAD = Prices(late_load=50.0, late_hour=0.0)


def dispatched(seed: int, prices: Prices | None = None, kilns: int = 3, loads: int = 40) -> Timetable:
    """A generated studio's plan by dispatch."""
    studio, waiting, now = make_studio(seed, kilns, loads)
    return _timetable(studio if prices is None else studio.model_copy(update={"prices": prices}), waiting, now)


def _timetable(studio: Studio, loads: tuple[Load, ...], now: Minute) -> Timetable:
    timetable = studio_session(studio, loads, now + 360, Settings(work_limit=1)).timetable
    best_dispatch(timetable)
    timetable.log.clear()
    return timetable


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_no_later_stage_is_left_behind_by_an_earlier_one_that_loses_its_place(seed: int) -> None:
    """As in a re-plan in which people hold firings: the later stages cannot move."""
    timetable = dispatched(seed)
    follower = timetable.problem.follower
    later = {load for after in follower.values() for load in after}
    for number in [timetable.firing_of[load] for load in sorted(later) if load in timetable.firing_of]:
        if number in timetable.firings and not timetable.firings[number].fixed:
            timetable.add(replace(timetable.remove(number), fixed=True))
    timetable.log.clear()
    search = Search(timetable, seed)
    for _ in range(300):
        search.step(1.0)
        placed = timetable.firing_of
        assert not [load for load, after in follower.items() if load not in placed and set(after) & set(placed)]


@pytest.mark.parametrize("seed", [1, 2])
def test_what_is_in_the_way_of_a_late_load_could_have_fired_it_in_time(seed: int) -> None:
    timetable = dispatched(seed, BY_THE_LOAD, kilns=2, loads=60)
    problem, random = timetable.problem, np.random.default_rng(seed)
    found = [pushed for _ in range(50) if (pushed := in_the_way(timetable, random)) is not None]
    assert found
    for load, numbers in found:
        promised = problem.loads[load].promised
        own = timetable.firings[timetable.firing_of[load]]
        assert promised is not None
        assert out_minutes(own, problem.grid_minutes) > promised - problem.begin
        firings = [timetable.firings[number] for number in numbers]
        assert len({firing.kiln for firing in firings}) == 1
        assert timetable.firing_of[load] not in numbers
        assert firings[0].place.load * problem.grid_minutes < promised - problem.begin
        assert firings == sorted(firings, key=lambda firing: firing.place.load)


def test_loads_that_are_late_anyway_stand_behind_all_promises_where_hours_cost_nothing() -> None:
    """Out of the way of those that can be kept: all but a share, which is placed as any other load."""
    promises = ("20:00", "21:00", "22:00", "23:00", "23:30", "23:45", "23:50")
    loads = tuple(plain_load(f"L{n}", alone=True, promised=clock(at, day=1)) for n, at in enumerate(promises))
    place = studio(prices=BY_THE_LOAD, rules=Rules(horizon_days=12))
    timetable = timetable_of(place, loads)
    best_dispatch(timetable)
    late = [firing for firing in timetable.firings.values() if firing.late_cost > 0.0]
    assert 2 <= len(late) < len(loads)
    assert sum(firing.place.load >= last_hope_slot(timetable.batches) for firing in late) >= len(late) - 1
    by_the_hour = timetable_of(place.model_copy(update={"prices": Prices(late_load=50.0, late_hour=1.0)}), loads)
    best_dispatch(by_the_hour)
    last = max(firing.place.load for firing in by_the_hour.firings.values())
    assert last < max(firing.place.load for firing in late)


def test_the_neighbourhood_that_gained_most_for_its_work_is_picked_most() -> None:
    search = Search(dispatched(1), seed=3)
    names = list(search.records)
    for name in names:
        search.records[name].add(1.0, 100)
    search.records[names[2]].add(200.0, 100)
    picked = [search._pick() for _ in range(2000)]
    assert max(names, key=picked.count) == names[2]
    assert all(name in picked for name in names)


def test_what_is_guarded_never_loses_its_place() -> None:
    """A place that makes a load late costs more than it is worth; a load goes, but not the one that is guarded."""

    def placed(guarded: frozenset[int]) -> set[int]:
        loads = tuple(plain_load(f"L{n}", alone=True, promised=clock("00:00")) for n in range(3))
        timetable = timetable_of(studio(prices=Prices(unplaced=1.0, late_load=50.0)), loads)
        for number in range(3):
            batch = timetable.batches.make("warm", (number,))
            assert batch is not None
            fit = timetable.batches.fit(batch, 0)
            assert fit is not None
            place = timetable.best_place(batch, 0, fit)
            assert place is not None
            timetable.add(place)
        timetable.log.clear()
        search = Search(timetable, seed=1)
        search.guarded = guarded
        for _ in range(100):
            search.step(0.5)
            assert guarded <= set(timetable.firing_of)
        timetable.restore(search.best)
        return set(timetable.firing_of)

    gone = {0, 1, 2} - placed(frozenset())
    assert gone
    assert gone <= placed(frozenset(gone))


def test_a_search_by_steps_allows_some_late_loads_more_at_first_where_hours_late_cost_nothing() -> None:
    flat = dispatched(1, BY_THE_LOAD, loads=20)
    bold, steady = Search(flat, 1, by_steps=True), Search(flat, 1)
    assert bold._threshold(1.0) == 100.0
    assert bold._threshold(0.25) == pytest.approx(100.0 * 0.004**0.5)
    assert bold._threshold(0.0) == pytest.approx(0.4)
    assert steady._threshold(1.0) == 0.0  # it has seen no worse plan yet
    by_the_hour = dispatched(1, loads=20)
    assert Search(by_the_hour, 1, by_steps=True)._threshold(1.0) == 0.0
