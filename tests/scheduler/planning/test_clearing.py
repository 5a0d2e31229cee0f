"""A place cleared for a load: it stands there by the rules, and what had to go is known, to the last load."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.clearing import Clearing
from scheduler.planning.shortages import short_of_current, short_of_hands, stands
from scheduler.planning.timetable import Timetable
from tests.scheduler.planning.test_search import BY_THE_LOAD, dispatched
from tests.scheduler.planning.test_steadiness import booked


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
            for number, firing in timetable.firings.items():
                if set(firing.batch.loads) & loose:
                    assert short_of_hands(timetable, number) is None
                    assert short_of_current(timetable, number) is None
                else:
                    assert stands(timetable, number)
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
    fixed = {number: firing for number, firing in timetable.firings.items() if firing.fixed}
    clearing = Clearing(timetable, np.random.default_rng(seed))
    cleared = 0
    for _ in range(60):
        cleared += clearing.make_way() is not None
        assert {number: timetable.firings[number] for number in fixed} == fixed
        timetable.undo(0)
    assert cleared > 5


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_firing_stands_where_the_whole_timetable_is_sound(seed: int) -> None:
    timetable = crowded(seed)
    assert timetable.is_sound()
    assert all(stands(timetable, number) for number in timetable.firings)


@pytest.mark.parametrize("seed", [1, 2])
def test_a_second_firing_at_the_place_of_another_does_not_stand(seed: int) -> None:
    timetable = crowded(seed)
    pending = next(load for load in range(60) if load not in timetable.firing_of)
    tried = 0
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
        tried += 1
    assert tried


def test_a_firing_goes_back_to_where_it_was_and_what_stands_there_makes_way() -> None:
    """Loads 2 and 6 have changed places; load 2 goes back to its own, and load 6 has to find another."""
    timetable = booked()
    before = {load: timetable.firings[timetable.firing_of[load]] for load in (2, 6)}
    for firing in before.values():
        timetable.remove(timetable.firing_of[firing.batch.loads[0]])
    for load, other in ((2, 6), (6, 2)):
        kiln, place = before[other].kiln, before[other].place
        batch, fit = before[load].batch, before[other].fit
        timetable.add(timetable.placed_at(batch, kiln, fit, place.load, place.start, place.unload))
    timetable.log.clear()
    clearing = Clearing(timetable, np.random.default_rng(1), [before[2]])
    assert clearing.go_back() == [6]
    now = timetable.firings[timetable.firing_of[2]]
    assert (now.kiln, now.place, now.moved_cost) == (before[2].kiln, before[2].place, 0.0)
    assert timetable.is_sound()
    timetable.log.clear()
    assert clearing.go_back() is None, "it is where it was"


def test_firings_that_changed_places_go_back_together() -> None:
    """Each is where the other was, so that neither goes back alone without the other in the air."""
    timetable = booked()
    before = timetable.snapshot()
    first, second = (timetable.firings[timetable.firing_of[load]] for load in (1, 5))
    for old, new in ((first, second), (second, first)):
        timetable.remove(timetable.firing_of[old.batch.loads[0]])
        fit = timetable.batches.fit(old.batch, new.kiln)
        assert fit is not None
        place = new.place
        timetable.add(timetable.placed_at(old.batch, new.kiln, fit, place.load, place.start, place.unload))
    timetable.log.clear()
    out: list[list[int] | None] = []
    both = 0
    for seed in range(20):
        out.append(Clearing(timetable, np.random.default_rng(seed), before).go_back())
        at = {load: timetable.firings[number].kiln for load, number in timetable.firing_of.items()}
        both += (at.get(1), at.get(5)) == (0, 1)
        timetable.undo(0)
    assert [] in out
    assert any(loads in ([1], [5]) for loads in out)
    assert both == out.count([])
