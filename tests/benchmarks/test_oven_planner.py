"""The planner on small oven instances: priced as the judge prices, and as cheap as a brute force over all schedules.

The instances are invented; nothing published is needed to run this.
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import pytest

from scheduler.planning.bounds import cost_bound, load_bounds
from scheduler.planning.dispatch import best_dispatch
from scheduler.planning.model.solve import Limits
from scheduler.planning.model.solve import solve as solve_part
from scheduler.planning.model.variables import Part
from scheduler.planning.session import Session, Settings
from tests.benchmarks.oven_cases import brute_force, made
from tests.benchmarks.oven_problem import Baked, Job, Oven, OvenProblem, cost, faults
from tests.benchmarks.oven_scheduling import Answer, solve_by_planner
from tests.benchmarks.oven_studio import lay_out, schedule_of

OVEN = frozenset({0})
SECONDS = 4.0
"""Enough for the whole model of a handful of jobs many times over; it stops when it has proved its answer [s]."""


def by_work(problem: OvenProblem, rounds: int, seed: int = 0) -> Session:
    """A session after so many rounds of search."""
    session = Session(partial(lay_out, problem), Settings(seconds=None, work_limit=rounds, seed=seed))
    best_dispatch(session.timetable, session.clock.first_plan_is_due)
    session.search()
    return session


def one_oven(jobs: tuple[Job, ...], spans: tuple[tuple[int, int], ...], **changes: object) -> OvenProblem:
    """One oven for two attributes: 2 long from 0 to 1, else no setup time, and no setup has a price."""
    plain = OvenProblem(
        name="one oven",
        horizon=spans[-1][1],
        jobs=jobs,
        ovens=(Oven(10, 0, spans),),
        setup_times=((0, 2), (0, 0), (0, 0)),
        setup_costs=((0, 0), (0, 0), (0, 0)),
        runtime_weight=1,
        late_weight=100,
        setup_time_weight=0,
        setup_cost_weight=1,
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


def bound_of(problem: OvenProblem) -> float:
    """The planner's relaxation, before it has looked for any schedule."""
    batches = lay_out(problem)
    return cost_bound(batches, load_bounds(batches))


@pytest.mark.parametrize("seed", range(10))
def test_the_planners_cost_of_an_instance_is_the_judges(seed: int) -> None:
    problem = made(100 + seed, jobs=12 + seed, ovens=2 + seed % 3, attributes=2 + seed % 2)
    session = by_work(problem, rounds=150, seed=seed)
    schedule = schedule_of(session.timetable.snapshot())
    assert faults(problem, schedule) == []
    assert cost(problem, schedule) == pytest.approx(session.timetable.cost(), abs=1e-6)


@pytest.mark.parametrize("seed", range(12))
def test_with_the_model_of_the_whole_instance_the_planner_finds_and_proves_the_least_cost(seed: int) -> None:
    problem = made(seed, jobs=4 + seed % 2)
    least, _ = brute_force(problem)
    ours = solve_by_planner(problem, SECONDS, seed)
    assert faults(problem, ours.schedule) == []
    assert cost(problem, ours.schedule) == least
    assert ours.bound >= least


@pytest.mark.parametrize("seed", range(12))
def test_the_model_of_the_whole_instance_has_no_bound_above_the_least_cost(seed: int) -> None:
    """By itself: without the relaxation that the session begins with."""
    problem = made(seed, jobs=4 + seed % 2)
    timetable = by_work(problem, rounds=1).timetable
    part = Part(timetable, tuple(range(len(problem.jobs))))
    timetable.restore(())
    answer = solve_part(part, Limits(10.0, deterministic=True))
    assert answer is not None
    assert answer.optimal
    assert answer.bound == pytest.approx(brute_force(problem)[0], abs=1e-3)


def test_the_search_alone_finds_the_least_cost_of_most_and_nothing_below() -> None:
    found = 0
    for seed in range(20, 32):
        problem = made(seed, jobs=4 + seed % 2, attributes=2 + seed % 2)
        least, _ = brute_force(problem)
        schedule = schedule_of(by_work(problem, rounds=80, seed=seed).timetable.snapshot())
        assert faults(problem, schedule) == []
        assert cost(problem, schedule) >= least
        found += cost(problem, schedule) == least
    assert found >= 9


def test_the_bound_is_never_above_the_least_cost() -> None:
    above = []
    for seed in range(40):
        problem = made(seed, jobs=4 + seed % 2)
        bound, (least, _) = bound_of(problem), brute_force(problem)
        if bound > least + 1e-6:
            above.append((problem.name, bound, least))
    assert above == []


@pytest.mark.parametrize("seed", range(40))
def test_without_setup_times_the_bound_is_never_above_the_least_cost(seed: int) -> None:
    problem = made(seed, jobs=4 + seed % 2)
    problem = replace(problem, setup_times=tuple((0,) * len(row) for row in problem.setup_times))
    assert 0.0 < bound_of(problem) <= brute_force(problem)[0] + 1e-6


def test_a_setup_that_another_job_spares_is_not_in_the_bound() -> None:
    """Both jobs want attribute 0, the oven starts in 1, and from 1 to 0 takes 2. The second job is there when the oven
    opens again, at 10, and due at 14: in time only because the first has set the oven up. 4 + 4 of runtime, none late.
    """
    jobs = (Job(OVEN, 0, 20, 4, 4, 10, 0), Job(OVEN, 10, 14, 4, 4, 10, 0))
    spans = ((0, 10), (10, 20))
    problem = one_oven(jobs, spans, ovens=(Oven(10, 1, spans),), setup_times=((0, 0), (2, 0), (0, 0)))
    assert brute_force(problem)[0] == 8
    assert bound_of(problem) <= 8


def solved_both_ways(problem: OvenProblem) -> list[list[Baked]]:
    """By rounds of the search, and with the model of the whole instance."""
    found: Answer = solve_by_planner(problem, SECONDS, seed=0)
    return [schedule_of(by_work(problem, rounds=40).timetable.snapshot()), sorted(found.schedule, key=_start)]


def _start(batch: Baked) -> int:
    return batch.start


def test_a_batch_does_not_lie_across_a_gap_of_no_length() -> None:
    """There from 6 on, 6 long, open to 10 and from 10: it starts at 10, one unit too late. Without the gap: at 6."""
    job = Job(OVEN, 6, 15, 6, 6, 1, 0)
    for spans, start in ((((0, 10), (10, 20)), 10), (((0, 20),), 6)):
        problem = one_oven((job,), spans)
        for schedule in solved_both_ways(problem):
            assert schedule == [Baked(0, (0,), start, start + 6)]
            assert cost(problem, schedule) == 6 + 100 * (start == 10)


def test_a_setup_does_not_lie_across_a_gap_of_no_length_either() -> None:
    """After the first batch, out at 8, a setup of 2 would end at 10; the batch of 5 has room only behind the gap, and
    so has its setup: it starts at 12. With the gap a unit sooner, at 9, both have room right behind it: at 11.
    """
    jobs = (Job(OVEN, 0, 8, 8, 8, 1, 0), Job(OVEN, 8, 40, 5, 5, 1, 1))
    for touch, start in ((10, 12), (9, 11), (8, 10)):
        problem = one_oven(jobs, ((0, touch), (touch, 40)))
        for schedule in solved_both_ways(problem):
            assert faults(problem, schedule) == []
            assert cost(problem, schedule) == 13
            assert schedule[0] == Baked(0, (0,), 0, 8)
        first = schedule_of(by_work(problem, rounds=40).timetable.snapshot())
        assert first[1] == Baked(0, (1,), start, start + 5)


def test_a_setup_before_the_first_batch_lies_within_the_time_of_availability() -> None:
    """Open from 3 on, a setup of 2 from what the oven starts in: at 5 at the earliest."""
    problem = one_oven((Job(OVEN, 0, 9, 4, 4, 1, 1),), ((3, 20),))
    for schedule in solved_both_ways(problem):
        assert schedule == [Baked(0, (0,), 5, 9)]


@pytest.mark.parametrize(("first", "order", "setups"), [(None, [0, 0, 1], 5), (0, [0, 0, 1], 5), (1, [1, 0, 0], 9)])
def test_setup_costs_decide_the_order(first: int | None, order: list[int], setups: int) -> None:
    """From 0 to 1 costs 5, back costs 9, none at the start costs nothing; each job fills the oven.

    An oven that starts in 0: 0, 0, 1 for 5. One that starts in 1: 1, 0, 0 for 9, where 0, 0, 1 would be 9 + 5.
    """
    jobs = tuple(Job(OVEN, 0, 90, 4, 4, 10, attribute) for attribute in (0, 1, 0))
    costs = ((0, 5), (9, 0), (0, 0))
    problem = one_oven(jobs, ((0, 100),), ovens=(Oven(10, first, ((0, 100),)),), setup_costs=costs)
    for schedule in solved_both_ways(problem):
        schedule.sort(key=_start)
        assert [jobs[batch.jobs[0]].attribute for batch in schedule] == order
        assert cost(problem, schedule) == 3 * 4 + setups


def test_a_setup_time_may_make_a_job_late() -> None:
    """Two jobs of 4, due at 8 and 9: with a setup of 2 between them the second is out at 10; the other way round both
    are in time, since from 1 back to 0 takes none and the oven starts in 1.
    """
    jobs = (Job(OVEN, 0, 9, 4, 4, 10, 0), Job(OVEN, 0, 9, 4, 4, 10, 1))
    for first, late in ((0, 1), (1, 0)):
        problem = one_oven(jobs, ((0, 100),), ovens=(Oven(10, first, ((0, 100),)),))
        for schedule in solved_both_ways(problem):
            assert cost(problem, schedule) == 8 + 100 * late


def test_jobs_share_a_batch_only_within_their_longest_time() -> None:
    """Together for 6 instead of 6 + 4; a longest time of 5 forbids it."""
    for longest, least in ((6, 6), (5, 10)):
        problem = one_oven((Job(OVEN, 0, 90, 6, 9, 5, 0), Job(OVEN, 0, 90, 4, longest, 5, 0)), ((0, 100),))
        for schedule in solved_both_ways(problem):
            assert faults(problem, schedule) == []
            assert cost(problem, schedule) == least


def test_the_same_work_gives_the_same_schedule() -> None:
    problem = made(7, jobs=14, ovens=3)
    answers = [solve_by_planner(problem, None, seed=3, work_limit=60) for _ in range(2)]
    assert answers[0].schedule == answers[1].schedule
    assert answers[0].bound == answers[1].bound
