"""A load takes the room of others: what leaves a firing for it, and what that leaves the timetable."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.planning.batches import Batches
from scheduler.planning.clearing import Clearing
from scheduler.planning.insertion import Inserter
from scheduler.planning.ousting import Ousting
from scheduler.planning.shortages import stands
from scheduler.planning.timetable import Timetable
from tests.scheduler.planning.test_clearing import crowded


def ousting_of(timetable: Timetable, seed: int) -> Ousting:
    random = np.random.default_rng(seed)
    return Ousting(timetable, random, Inserter(timetable, seed), Clearing(timetable, random))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_has_to_leave_is_told_and_what_is_left_breaks_no_rule(seed: int) -> None:
    timetable = crowded(seed)
    ousting = ousting_of(timetable, seed)
    changed = 0
    for _ in range(60):
        before = timetable.snapshot()
        pending = set(timetable.pending())
        placed = set(timetable.firing_of)
        out = ousting.make_room()
        if out is not None:
            after = set(timetable.firing_of)
            assert placed - after <= set(out)
            assert len(out) == len(set(out))
            assert set(timetable.pending()) <= pending | set(out)
            assert not set(out) & after
            # A later stage may stand while an earlier one is out: the search puts that back, or undoes it all.
            loose = {later for load in out for later in timetable.problem.follower.get(load, ())}
            for number, firing in timetable.firings.items():
                assert stands(timetable, number) or set(firing.batch.loads) & loose
            changed += bool(out)
        timetable.undo(0)
        assert timetable.snapshot() == before
    assert changed > 5


def test_loads_stay_as_far_as_there_is_room_beside_the_one_that_comes() -> None:
    timetable = crowded(1)
    batches: Batches = timetable.batches
    ousting = ousting_of(timetable, 1)
    left_out = 0
    for load in range(len(timetable.problem.loads)):
        hosts = [f for f in timetable.firings.values() if f.batch.profile in batches.hosts(load)][:5]
        hosts = [f for f in hosts if load not in f.batch.loads]
        for firing in hosts:
            stay = ousting._room_for(load, firing)
            if stay is None:
                continue
            batch = batches.make(firing.batch.profile, (*stay, load))
            if batch is None:
                assert not stay  # a guest by itself
                continue
            assert batches.fit(batch, firing.kiln) is not None
            for one in set(firing.batch.loads) - set(stay):
                more = batches.make(firing.batch.profile, (*stay, one, load))
                assert more is None or batches.fit(more, firing.kiln) is None
                left_out += 1
    assert left_out
