"""Late loads that compete with firings for their time."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.planning.overdue import late_firings, overdue_loads
from scheduler.planning.rivals import MOST_FIRINGS, MOST_RIVALS, rivals
from tests.scheduler.planning.test_overdue import IN_VAIN, KEPT, MISSED, crowded
from tests.scheduler.planning.test_search import BY_THE_LOAD
from tests.scheduler.planning.test_search import dispatched as dispatched_at


@pytest.mark.parametrize("seed", [1, 2])
def test_rivals_could_be_less_late_and_want_the_time_of_the_firings(seed: int) -> None:
    timetable = dispatched_at(seed, BY_THE_LOAD, kilns=2, loads=60)
    problem, random = timetable.problem, np.random.default_rng(seed)
    grid = problem.grid_minutes
    may_gain = {load for n in late_firings(timetable) for load, _ in overdue_loads(timetable, timetable.firings[n])}
    found = [pair for _ in range(80) if (pair := rivals(timetable, random)) is not None]
    assert found
    for loads, numbers in found:
        assert 1 <= len(loads) == len(set(loads)) <= MOST_RIVALS
        assert 1 <= len(numbers) == len(set(numbers)) <= MOST_FIRINGS
        begin = min(timetable.firings[number].place.load for number in numbers)
        end = max(timetable.firings[number].place.free for number in numbers)
        for load in loads:
            row = problem.loads[load]
            assert load in may_gain
            assert timetable.firing_of[load] not in numbers
            assert row.ready is None or row.ready - problem.begin < end * grid
            assert row.promised is not None
            assert row.promised - problem.begin > begin * grid


def test_what_was_promised_for_too_soon_is_nobodys_rival() -> None:
    timetable = crowded(BY_THE_LOAD)
    random = np.random.default_rng(0)
    found = [pair for _ in range(100) if (pair := rivals(timetable, random)) is not None]
    assert {tuple(loads) for loads, _ in found} == {(MISSED,)}
    beside = {number for _, numbers in found for number in numbers}
    assert beside <= {timetable.firing_of[KEPT], timetable.firing_of[IN_VAIN]}
