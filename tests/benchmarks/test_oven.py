"""The Oven Scheduling Problem is read and judged as published, on an instance that can be checked by hand.

Format and cost: M.-L. Lackner et al., "Exact methods for the Oven Scheduling Problem", Constraints 28 (2023) 320. The
instance is invented; nothing published is needed to run this.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest

from tests.benchmarks.oven_cases import brute_force, made, partings, text_of
from tests.benchmarks.oven_peer import timed
from tests.benchmarks.oven_plain_model import solve as solve_plain
from tests.benchmarks.oven_problem import (
    Baked,
    Job,
    Known,
    Oven,
    OvenProblem,
    cost,
    faults,
    instances,
    read_instance,
    read_known,
)
from tests.benchmarks.oven_scheduling import OURS, PLAIN, Answer, Row, chosen, equal, judge, whole

TEXT = """l=40;
a=2;
setup_costs=[|0,7,
|5,0,
|3,4|];
setup_times=[|0,2,
|1,0,
|2,3|];
m=2;
min_cap=[0,0];
max_cap=[10,6];

initState=[1,0];
s=2;
m_a_s = [|2,15,
|0,10|];
m_a_e = [|15,30,
|9,40|];
n=4;
eligible_machine = [{1},
{1,2},
{2},
{2,1}];
earliest_start=[2,0,0,3];
latest_end=[9,9,6,20];
min_time=[4,3,5,6];
max_time=[8,4,5,9];
size=[6,4,5,3];
attribute=[1,1,2,2];

upper_bound_integer_objective=2000;
mult_factor_total_runtime=3;
mult_factor_finished_toolate=100;
mult_factor_total_setuptimes=2;
mult_factor_total_setupcosts=10;
running_time_bound=18;
"""

FIRST, SECOND = frozenset({0}), frozenset({1})
TINY = OvenProblem(
    name="1-n4-k2-a2",
    horizon=40,
    jobs=(
        Job(FIRST, 2, 9, 4, 8, 6, 0),
        Job(FIRST | SECOND, 0, 9, 3, 4, 4, 0),
        Job(SECOND, 0, 6, 5, 5, 5, 1),
        Job(FIRST | SECOND, 3, 20, 6, 9, 3, 1),
    ),
    ovens=(Oven(10, 0, ((2, 15), (15, 30))), Oven(6, None, ((0, 9), (10, 40)))),
    setup_times=((0, 2), (1, 0), (2, 3)),
    setup_costs=((0, 7), (5, 0), (3, 4)),
    runtime_weight=3,
    late_weight=100,
    setup_time_weight=2,
    setup_cost_weight=10,
)
TOGETHER, AFTER, ALONE = Baked(0, (0, 1), 2, 6), Baked(0, (3,), 8, 14), Baked(1, (2,), 3, 8)
BY_HAND = (TOGETHER, AFTER, ALONE)


def test_an_instance_is_read_with_ovens_and_attributes_counted_from_nought(tmp_path: Path) -> None:
    path = tmp_path / "1-n4-k2-a2.dzn"
    path.write_text(TEXT, encoding="utf-8")
    assert read_instance(path) == TINY


@pytest.mark.parametrize("seed", range(3))
def test_what_is_written_in_the_published_format_reads_back(seed: int, tmp_path: Path) -> None:
    problem = made(seed, jobs=7, ovens=3, attributes=3)
    path = tmp_path / f"{problem.name}.dzn"
    path.write_text(text_of(problem), encoding="utf-8")
    assert read_instance(path) == problem


def test_a_schedule_is_priced_as_the_paper_does() -> None:
    """Runtime 4 + 6 + 5 at 3; job 2 ends at 8 instead of 6, at 100; setups before the three batches: none, 2 and 3
    long at 2, and 0 + 7 + 4 dear at 10. The first oven starts in attribute 1, the second in none: the last row.
    """
    assert faults(TINY, BY_HAND) == []
    assert cost(TINY, BY_HAND) == 3 * 15 + 100 * 1 + 2 * (0 + 2 + 3) + 10 * (0 + 7 + 4)


def test_a_job_that_ends_at_its_latest_end_is_not_late() -> None:
    due = replace(TINY, jobs=(*TINY.jobs[:2], replace(TINY.jobs[2], latest_end=8), TINY.jobs[3]))
    assert cost(due, BY_HAND) == cost(TINY, BY_HAND) - 100


@pytest.mark.parametrize(
    ("schedule", "said"),
    [
        ((TOGETHER, AFTER), "not every job is in exactly one batch"),
        ((*BY_HAND, Baked(1, (2,), 20, 25)), "not every job is in exactly one batch"),
        ((Baked(0, (0,), 2, 6), Baked(0, (1, 3), 8, 12), ALONE), "mixed attributes"),
        ((Baked(1, (0, 1), 13, 17), AFTER, ALONE), "an oven that is not eligible"),
        ((TOGETHER, Baked(1, (2, 3), 13, 19)), "over capacity"),
        ((Baked(0, (0, 1), 2, 7), Baked(0, (3,), 9, 15), ALONE), "too short or too long"),  # job 1: at most 4
        ((TOGETHER, Baked(0, (3,), 8, 13), ALONE), "too short or too long"),  # job 3: at least 6
        ((TOGETHER, replace(AFTER, oven=1, start=0, end=6), replace(ALONE, start=10, end=15)), "before a job is there"),
        ((TOGETHER, replace(AFTER, start=7, end=13), ALONE), "the setup overlaps the batch before"),
        ((TOGETHER, replace(AFTER, start=20, end=31), ALONE), "do not lie in one time of availability"),
        ((TOGETHER, AFTER, replace(ALONE, start=6, end=11)), "do not lie in one time of availability"),
        ((TOGETHER, AFTER, replace(ALONE, start=2, end=7)), "do not lie in one time of availability"),
    ],
)
def test_the_judge_names_what_is_wrong(schedule: tuple[Baked, ...], said: str) -> None:
    found = faults(TINY, schedule)
    assert any(said in fault for fault in found), found


def test_times_of_availability_that_touch_are_two() -> None:
    """The first oven is open from 2 to 15 and from 15 to 30: neither a batch nor its setup of 2 lies across."""
    across, setup_across, right = ((TOGETHER, Baked(0, (3,), at, at + 6), ALONE) for at in (12, 16, 17))
    assert len(faults(TINY, across)) == len(faults(TINY, setup_across)) == 1
    assert faults(TINY, right) == []


def _every_schedule_of(problem: OvenProblem) -> list[tuple[Baked, ...]]:
    """All batches, ovens, starts and lengths there are, good or bad."""
    found = []
    for batches in partings(range(len(problem.jobs))):
        each = [
            [
                Baked(oven, batch, start, start + length)
                for oven in range(len(problem.ovens))
                for start in range(problem.horizon)
                for length in range(1, 5)
                if start + length <= problem.horizon
            ]
            for batch in batches
        ]
        found += list(product(*each))
    return found


@pytest.mark.parametrize("touch", [4, 5])
def test_the_brute_force_finds_what_looking_at_every_schedule_finds(touch: int) -> None:
    """Two jobs, two ovens: all starts and all lengths, longer than need be too."""
    problem = replace(
        TINY,
        horizon=12,
        jobs=(Job(FIRST | SECOND, 1, 5, 2, 4, 3, 0), Job(FIRST, 0, 7, 3, 4, 4, 1)),
        ovens=(Oven(8, 1, ((0, touch), (touch, 12))), Oven(5, None, ((3, 6), (7, 12)))),
    )
    right = [cost(problem, one) for one in _every_schedule_of(problem) if not faults(problem, one)]
    assert len(set(right)) > 5
    assert brute_force(problem)[0] == min(right)


@pytest.mark.parametrize("seed", range(6))
def test_the_brute_force_is_priced_by_the_judge_alike_and_the_plain_model_proves_it(seed: int) -> None:
    problem = made(seed, jobs=4 + seed % 2)
    least, schedule = brute_force(problem)
    assert faults(problem, schedule) == []
    assert cost(problem, schedule) == least
    plain = solve_plain(problem, seconds=30.0)
    assert plain.proved
    assert (cost(problem, plain.schedule), plain.bound, faults(problem, plain.schedule)) == (least, least, [])


def test_a_peers_schedule_is_timed_anew_by_the_published_rules() -> None:
    """Batches, ovens and order stay; lengths become the least, starts the first after setup, arrival and opening."""
    slack = (Baked(0, (0, 1), 3, 9), Baked(0, (3,), 13, 20), Baked(1, (2,), 0, 5))
    assert set(timed(TINY, slack)) == set(BY_HAND)
    late = replace(TINY, jobs=(*TINY.jobs[:3], replace(TINY.jobs[3], earliest_start=10)))
    assert timed(late, slack)[1] == Baked(0, (3,), 17, 23)  # 10 to 16 lies across 15; a setup of 2 from 15


def test_a_bound_above_a_cost_and_a_broken_schedule_are_refused() -> None:
    least = cost(TINY, BY_HAND)
    row = Row(Path("1.dzn"), TINY, Known(least, least))
    row.answers = {OURS: Answer(BY_HAND, least + 2, 0.0), PLAIN: Answer((TOGETHER, ALONE), 0, 0.0)}
    judge(row, peer=None)
    assert row.costs == {OURS: least}
    assert [fault.split(":")[0] for fault in row.refused] == [PLAIN, OURS]
    right = Row(Path("1.dzn"), TINY, Known(least, least), answers={OURS: Answer(BY_HAND, least, 0.0)})
    judge(right, peer=None)
    assert (right.refused, right.proved(OURS), right.gap(OURS)) == ([], True, 0.0)


def test_bounds_are_rounded_up_to_a_whole_cost_and_published_costs_allow_their_rounding() -> None:
    assert [whole(bound) for bound in (264.2, 265.0, 265.0 + 1e-9)] == [265, 265, 265]
    assert equal(265, 264)
    assert not equal(265, 263)
    assert equal(5_000_004, 5_000_000)
    assert not equal(5_000_006, 5_000_000)


def test_instances_are_chosen_by_number_or_as_the_first_and_last_of_each_size(tmp_path: Path) -> None:
    for number, jobs in ((1, 3), (2, 3), (10, 3), (11, 5)):
        (tmp_path / f"{number:02d}-n{jobs}.dzn").write_text(text_of(made(number, jobs)), encoding="utf-8")
    (tmp_path / "best_known.csv").write_text("instance,best_known,lower_bound\n10,300,280\n", encoding="utf-8")
    assert read_known(tmp_path) == {"10": Known(300, 280)}
    assert [path.stem for path in instances(tmp_path)] == ["01-n3", "02-n3", "10-n3", "11-n5"]
    assert [path.stem for path, _ in chosen(tmp_path, None, every=False)] == ["01-n3", "10-n3", "11-n5"]
    assert [path.stem for path, _ in chosen(tmp_path, "2,11", every=False)] == ["02-n3", "11-n5"]
    assert len(list(chosen(tmp_path, None, every=True))) == 4
    with pytest.raises(SystemExit, match="12"):
        list(chosen(tmp_path, "12", every=False))
