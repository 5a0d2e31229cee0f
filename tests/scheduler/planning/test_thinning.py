"""Single loads leave their firings, which go on without them; and what an insertion may cost."""

from __future__ import annotations

import math

import numpy as np
import pytest

from scheduler.planning.dispatch import best_dispatch, in_stages
from scheduler.planning.insertion import Inserter
from scheduler.planning.session import Settings, studio_session
from scheduler.planning.thinning import CHOICES, thin
from scheduler.planning.timetable import Timetable
from tests.benchmarks.studios import make_studio


def dispatched(seed: int) -> Timetable:
    """A generated studio's plan by dispatch."""
    studio, loads, now = make_studio(seed, kilns=3, loads=40)
    timetable = studio_session(studio, loads, now + 360, Settings(work_limit=1)).timetable
    best_dispatch(timetable)
    timetable.log.clear()
    return timetable


@pytest.mark.parametrize("name", CHOICES)
@pytest.mark.parametrize("seed", [1, 2])
def test_what_leaves_is_out_and_the_rest_stays_and_all_comes_back_with_undo(seed: int, name: str) -> None:
    timetable = dispatched(seed)
    before, cost = timetable.snapshot(), timetable.cost()
    placed, whole = set(timetable.firing_of), dict(timetable.firing_of)
    random = np.random.default_rng(seed)
    thinned = 0
    for _ in range(20):
        loads = CHOICES[name](timetable, random)
        assert len(loads) == len(set(loads))
        out = thin(timetable, loads)
        if out is not None:
            assert set(loads) <= set(out)
            assert set(timetable.firing_of) == placed - set(out)
            thinned += len(timetable.firings) > len(before) - len({whole[load] for load in loads})
            if not any(load in timetable.problem.follower for load in out):
                assert timetable.is_sound()
        timetable.undo(0)
        assert timetable.snapshot() == before
        assert timetable.cost() == pytest.approx(cost)
    assert thinned > 0  # at least once a firing went on without what left it


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("late_last", [True, False])
def test_an_insertion_ends_as_soon_as_it_costs_more_than_it_may(seed: int, late_last: bool) -> None:
    timetable = dispatched(seed)
    for number in list(timetable.firings):
        timetable.remove(number)
    mark = len(timetable.log)
    loads = in_stages(timetable.problem, list(range(len(timetable.problem.loads))))
    inserter = Inserter(timetable, seed=0)
    assert inserter.insert_loads(loads, late_last, math.inf)
    whole = timetable.placed_guide()
    placed = len(timetable.firing_of)
    timetable.undo(mark)
    assert inserter.insert_loads(loads, late_last, whole + 1e-6)
    assert timetable.placed_guide() == pytest.approx(whole)
    timetable.undo(mark)
    assert not inserter.insert_loads(loads, late_last, 0.5 * whole)
    assert len(timetable.firing_of) < placed
