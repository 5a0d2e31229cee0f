"""Kilns that cannot all heat at once, counted by hand."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import pytest

from scheduler.planning.calendar_bound import lay_calendar
from scheduler.planning.crowding import Crowd, crowds
from scheduler.planning.door import Settings
from scheduler.planning.proof import columns_within
from scheduler.planning.session import Session, studio_session
from shared.clock import wall_minute
from shared.kilns import Circuit
from shared.studio import Prices
from tests.benchmarks.studios import make_studio
from tests.scheduler.planning.plain_studio import BEGIN, MONDAY, bench_kiln, load, studio

EMPTY = {"footprint_cm2": 850.0, "height_mm": 200.0}


def session_with(amps: dict[str, float], limit_amps: float) -> Session:
    """A studio with kilns of these amps on one circuit that may carry ``limit_amps``, 80 % of its breaker."""
    kilns = tuple(bench_kiln(name, amps=drawn) for name, drawn in amps.items())
    circuit = Circuit(id="main", breaker_amps=limit_amps / 0.8)
    place = studio(kilns=kilns, circuits=(circuit,), prices=Prices(firing=0.0, late_hour=1.0))
    loads = tuple(load(f"L{n}", **EMPTY, promised=BEGIN) for n in range(len(amps)))
    return studio_session(place, loads, wall_minute(MONDAY, 0, place.place.zone), Settings(work_limit=1), None)


def test_two_kilns_of_24_and_20_ampere_on_40_heat_one_after_the_other() -> None:
    assert crowds(session_with({"K1": 24.0, "K2": 20.0}, 40.0).problem) == (Crowd(frozenset({0, 1}), 1),)


def test_kilns_that_fit_together_are_no_crowd() -> None:
    assert crowds(session_with({"K1": 20.0, "K2": 20.0}, 40.0).problem) == ()


def test_of_three_kilns_of_15_ampere_on_40_two_may_heat() -> None:
    assert crowds(session_with({"K1": 15.0, "K2": 15.0, "K3": 15.0}, 40.0).problem) == (Crowd(frozenset({0, 1, 2}), 2),)


def test_a_small_kiln_beside_two_large_ones_is_in_no_crowd_of_theirs() -> None:
    assert crowds(session_with({"K1": 24.0, "K2": 24.0, "K3": 10.0}, 40.0).problem) == (Crowd(frozenset({0, 1}), 1),)


@pytest.mark.parametrize("seed", range(1, 9))
def test_crowds_forbid_no_set_of_kilns_that_the_legs_allow(seed: int) -> None:
    """All sets of kilns of a generated studio, amps added up leg by leg; every two or three that overload are named."""
    place, loads, _ = make_studio(seed, kilns=5, loads=10)
    begin = wall_minute(MONDAY, 0, place.place.zone)
    problem = studio_session(place, loads, begin, Settings(work_limit=1), None).problem
    found = crowds(problem)
    for size in (2, 3, 4, 5):
        for kilns in combinations(range(5), size):
            drawn = np.zeros(len(problem.line_limit), dtype=np.int64)
            for kiln in kilns:
                drawn[problem.kiln_lines[kiln]] += problem.kiln_amps[kiln]
            fits = bool((drawn <= problem.line_limit).all())
            forbidden = any(len(crowd.kilns.intersection(kilns)) > crowd.at_most for crowd in found)
            assert not (fits and forbidden), kilns
            if size <= 3:
                assert fits is not forbidden, kilns


def test_two_kilns_that_cannot_both_heat_make_the_second_load_late() -> None:
    """Both loads are out 10.5 hours after midnight if both kilns heat at once (`planted`), 21 hours late together."""
    bounds = []
    for limit_amps in (40.0, 50.0):
        session = session_with({"K1": 24.0, "K2": 20.0}, limit_amps)
        columns = columns_within(session.batches, session.load_bounds, seconds=60.0)
        assert columns is not None
        every = [column.by_start < math.inf for column in columns]
        bounds.append(lay_calendar(session.problem, columns, every, 30 // session.problem.grid_minutes).whole_bound(20))
    assert 20.0 <= bounds[1] <= 21.0
    assert bounds[0] > bounds[1] + 2.0
