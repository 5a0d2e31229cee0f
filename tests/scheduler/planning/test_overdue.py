"""Lateness that need not be, and where a search looks when hours late cost nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from scheduler.planning.bounds import load_bounds
from scheduler.planning.overdue import (
    at_stake,
    avoidable_cost,
    last_hope_slot,
    late_firings,
    least_late_cost,
    overdue_load,
    overdue_loads,
)
from scheduler.planning.timetable import Timetable, out_minutes
from shared.studio import Prices, Rules
from tests.scheduler.planning.plain_studio import clock, load, studio, timetable_of
from tests.scheduler.planning.test_thinning import dispatched

BY_THE_LOAD = Prices(late_load=50.0, late_hour=0.0)

IN_VAIN, MISSED, KEPT = 0, 1, 2
"""Loads of `crowded`."""


def crowded(prices: Prices) -> Timetable:
    """One kiln: a load promised for before it can be out, one that others keep from its promise, and one in time."""
    promises = (clock("01:00"), clock("23:59", day=1), clock("23:58", day=1))
    loads = tuple(load(f"L{n}", alone=True, promised=promised) for n, promised in enumerate(promises))
    timetable = timetable_of(studio(prices=prices, rules=Rules(horizon_days=12)), loads)
    for number in (KEPT, IN_VAIN, MISSED):
        batch = timetable.batches.make(loads[number].profile, (number,))
        assert batch is not None
        fit = timetable.batches.fit(batch, 0)
        assert fit is not None
        after = timetable.problem.slots // 2 if number == MISSED else 0
        placed = timetable.best_place(batch, 0, fit, not_before=after)
        assert placed is not None
        timetable.add(placed)
    return timetable


def late_cost_of(timetable: Timetable, number: int) -> float:
    return timetable.firings[timetable.firing_of[number]].late_cost


def test_no_room_is_looked_for_where_a_promise_cannot_be_kept_anyway() -> None:
    timetable = crowded(BY_THE_LOAD)
    assert late_cost_of(timetable, IN_VAIN) == late_cost_of(timetable, MISSED) == 50.0
    assert late_cost_of(timetable, KEPT) == 0.0
    assert least_late_cost(timetable.batches, IN_VAIN) == 50.0
    assert least_late_cost(timetable.batches, MISSED) == 0.0
    late = late_firings(timetable)
    assert late == [timetable.firing_of[MISSED]]
    found = overdue_load(timetable, np.random.default_rng(0), late)
    due = timetable.problem.loads[MISSED].promised
    assert due is not None
    assert found == (timetable.firing_of[MISSED], MISSED, due - timetable.problem.begin)
    assert overdue_loads(timetable, timetable.firings[timetable.firing_of[IN_VAIN]]) == []
    assert overdue_load(timetable, np.random.default_rng(0), []) is None


def test_what_can_be_less_late_counts_where_hours_late_cost_something() -> None:
    timetable = crowded(Prices(late_load=50.0, late_hour=1.0))
    in_vain = timetable.firings[timetable.firing_of[IN_VAIN]]
    least = least_late_cost(timetable.batches, IN_VAIN)
    assert 50.0 < least < in_vain.late_cost  # it waits for the kept one, which is fired before it
    assert avoidable_cost(timetable, in_vain) == pytest.approx(in_vain.late_cost - least)
    assert set(late_firings(timetable)) == {timetable.firing_of[IN_VAIN], timetable.firing_of[MISSED]}


def test_a_fixed_firing_is_not_to_be_less_late() -> None:
    timetable = crowded(BY_THE_LOAD)
    missed = timetable.remove(timetable.firing_of[MISSED])
    timetable.add(replace(missed, fixed=True))
    assert late_firings(timetable) == []


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_no_load_is_less_late_than_is_said_to_be_the_least(seed: int) -> None:
    """But a guest in a firing of another profile, of which it makes use; and never below the bound by `load_bounds`."""
    timetable = dispatched(seed)
    grid = timetable.problem.grid_minutes
    for bound in load_bounds(timetable.batches):
        number = timetable.firing_of.get(bound.load)
        batch = timetable.batches.make(timetable.problem.loads[bound.load].profile, (bound.load,))
        if number is None or batch is None or not bound.has_place:
            continue
        least = least_late_cost(timetable.batches, bound.load)
        firing = timetable.firings[number]
        if timetable.problem.loads[bound.load].after is None:
            assert least >= bound.late - 1e-9
        if firing.batch.profile == batch.profile and firing.fit.phases.charge.row == batch.row:
            assert batch.late_cost(out_minutes(firing, grid)) >= least - 1e-9


def test_most_rounds_look_at_nothing_behind_the_last_promise_that_can_be_kept() -> None:
    timetable = crowded(BY_THE_LOAD)
    last = last_hope_slot(timetable.batches)
    kept = timetable.problem.loads[MISSED].promised
    assert kept is not None
    assert last * timetable.problem.grid_minutes >= kept - timetable.problem.begin
    random = np.random.default_rng(0)
    behind = timetable.firing_of[MISSED]
    assert timetable.firings[behind].place.load >= last
    seen = [behind in at_stake(timetable, list(timetable.firings), random) for _ in range(200)]
    assert 10 < sum(seen) < 100
    assert at_stake(timetable, [behind], random) == [behind]


def test_where_hours_late_cost_something_every_firing_is_at_stake() -> None:
    timetable = crowded(Prices(late_load=50.0, late_hour=1.0))
    random = np.random.default_rng(0)
    numbers = list(timetable.firings)
    assert all(at_stake(timetable, numbers, random) == numbers for _ in range(50))
