"""A place cleared for a load: it stands there by the rules, and what had to go is known, to the last load."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.clearing import Clearing
from scheduler.planning.shortages import stands
from scheduler.planning.timetable import Timetable
from tests.scheduler.planning.test_search import BY_THE_LOAD, dispatched


def crowded(seed: int) -> Timetable:
    """Two kilns with more work than they hold, some of it late and some without a place."""
    return dispatched(seed, BY_THE_LOAD, kilns=2, loads=60)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_makes_way_is_out_and_all_that_is_left_breaks_no_rule(seed: int) -> None:
    timetable = crowded(seed)
    clearing = Clearing(timetable, np.random.default_rng(seed))
    cleared = 0
    for _ in range(60):
        placed = set(timetable.firing_of)
        mark = len(timetable.log)
        out = clearing.make_way()
        if out is not None:
            after = set(timetable.firing_of)
            assert set(out) == placed - after
            assert len(out) == len(set(out))
            assert len(after - placed) <= 1
            # A later stage may stand while an earlier one is out: the search puts that back, or undoes it all.
            loose = {later for load in out for later in timetable.problem.follower.get(load, ())}
            assert all(stands(timetable, n) or set(f.batch.loads) & loose for n, f in timetable.firings.items())
            cleared += bool(out)
        timetable.undo(mark)
        assert set(timetable.firing_of) == placed
    assert cleared > 5


@pytest.mark.parametrize("seed", [1, 2])
def test_nothing_fixed_makes_way(seed: int) -> None:
    timetable = crowded(seed)
    for number in list(timetable.firings)[::2]:
        timetable.add(replace(timetable.remove(number), fixed=True))
    timetable.log.clear()
    fixed = {load for firing in timetable.firings.values() if firing.fixed for load in firing.batch.loads}
    clearing = Clearing(timetable, np.random.default_rng(seed))
    for _ in range(60):
        out = clearing.make_way()
        assert not fixed & set(out or [])
        timetable.undo(0)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_firing_stands_where_the_whole_timetable_is_sound(seed: int) -> None:
    timetable = crowded(seed)
    assert timetable.is_sound()
    assert all(stands(timetable, number) for number in timetable.firings)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_second_firing_at_the_place_of_another_does_not_stand(seed: int) -> None:
    timetable = crowded(seed)
    pending = next(load for load in range(60) if load not in timetable.firing_of)
    for number, firing in list(timetable.firings.items()):
        batch = timetable.batches.make(timetable.problem.loads[pending].profile, (pending,))
        fit = None if batch is None else timetable.batches.fit(batch, firing.kiln)
        if batch is None or fit is None:
            continue
        place = firing.place
        new = timetable.add(timetable.placed_at(batch, firing.kiln, fit, place.load, place.start, place.unload))
        assert not timetable.is_sound()
        assert not stands(timetable, new)
        assert not stands(timetable, number)
        timetable.undo(0)


def test_a_firing_goes_back_to_where_it_was() -> None:
    """A studio's kilns were drawn for other loads once: what is put back stands where it stood, whatever has to go."""
    timetable = crowded(1)
    before = timetable.snapshot()
    moved = [number for number, firing in timetable.firings.items() if not firing.fixed][:6]
    loads = [load for number in moved for load in timetable.remove(number).batch.loads]
    timetable.log.clear()
    clearing = Clearing(timetable, np.random.default_rng(1), before)
    back = {firing.batch.loads: firing.place for firing in before}
    for _ in range(20):
        out = clearing.go_back()
        if out is not None:
            put = [f for f in timetable.firings.values() if set(f.batch.loads) & set(loads)]
            assert len(put) == 1
            assert back[put[0].batch.loads] == put[0].place
            assert out == []  # nothing stands in its way: all others are where they were
        timetable.undo(0)
