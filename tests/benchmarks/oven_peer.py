"""The peer on the Oven Scheduling Problem: the oven solvers of the general library ``discrete-optimization``.

The library (MIT, 0.9.1) excludes the release of OR-Tools that the planner is pinned to, so it lives in an environment
of its own that needs nothing of ours: the group ``oven`` in ``pyproject.toml``. There this module is run as a script:
an instance comes in as a path, schedules as JSON on the standard input, the answer is one line of JSON. `solve` and
`judge` are the other end, and need the path of that environment's Python only.

What the library leaves out, and what is done about it:

- Setup times have no weight. They are added to the setup costs, which then have weight one.
- A setup may lie outside the times of availability, and two of those that touch count as one. So every answer is timed
  anew, with the same batches in the same ovens and order (`timed`), before our judge sees it. `PublishedRules` in
  `oven_peer_solvers` adds the rule on setups to the library's CP-SAT model. As a judge, ``satisfy`` is the weaker one.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import astuple, dataclass
from functools import partial
from pathlib import Path
from typing import Any

from tests.benchmarks.oven_problem import Baked, OvenProblem, cost, faults, read_instance

SPARE_SECONDS = 300.0
"""How much longer than asked the peer may take, to build its models and to stop [s]."""


@dataclass(frozen=True)
class PeerAnswer:
    """The peer's schedule (empty: none), its bound (0: none), and how long it took."""

    schedule: tuple[Baked, ...]
    bound: int
    seconds: float


def solve(python: Path, instance: Path, seconds: float, seed: int, solver: str = "best") -> PeerAnswer:
    """The peer's schedule for an instance, timed anew by the published rules."""
    options = ["--solver", solver, "--seconds", str(seconds), "--seed", str(seed)]
    said = _ask(python, instance, options, None, seconds)
    return PeerAnswer(tuple(_batches(said["schedule"])), said["bound"], said["seconds"])


def judge(python: Path, instance: Path, schedules: Sequence[Sequence[Baked]]) -> list[tuple[bool, int]]:
    """Whether the peer accepts each schedule, and at what cost."""
    given = [[astuple(batch) for batch in schedule] for schedule in schedules]
    return [(bool(accepted), int(price)) for accepted, price in _ask(python, instance, ["--judge"], given, 0.0)]


def _ask(python: Path, instance: Path, options: Sequence[str], given: object, seconds: float) -> Any:
    done = subprocess.run(
        [str(python), "-m", "tests.benchmarks.oven_peer", str(instance), *options],
        input=json.dumps(given),
        capture_output=True,
        text=True,
        check=False,
        timeout=seconds + SPARE_SECONDS,
        cwd=Path(__file__).parents[2],
    )
    if done.returncode:
        last = done.stderr.strip().splitlines()[-1:] or ["it was killed"]
        raise RuntimeError(f"the peer failed on {instance.name}: {last[0]}")
    return json.loads(done.stdout.strip().splitlines()[-1])


def _batches(rows: Sequence[Sequence[Any]]) -> list[Baked]:
    return [Baked(oven, tuple(jobs), start, end) for oven, jobs, start, end in rows]


def theirs(problem: OvenProblem) -> Any:
    """The instance as the library's own problem, priced as ours is."""
    from discrete_optimization.ovensched.problem import MachineData, OvenSchedulingProblem, TaskData

    tasks = [
        TaskData(
            attribute=job.attribute,
            min_duration=job.min_time,
            max_duration=job.max_time,
            earliest_start=job.earliest_start,
            latest_end=job.latest_end,
            eligible_machines=set(job.ovens),
            size=job.size,
        )
        for job in problem.jobs
    ]
    machines = [
        MachineData(
            capacity=oven.capacity,
            initial_attribute=problem.row(oven.first_attribute),
            availability=[span for span in sorted(oven.open) if span[0] < span[1]],
        )
        for oven in problem.ovens
    ]
    prices = [
        [
            problem.setup_cost_weight * price + problem.setup_time_weight * length
            for price, length in zip(*pair, strict=True)
        ]
        for pair in zip(problem.setup_costs, problem.setup_times, strict=True)
    ]
    converted = OvenSchedulingProblem(
        n_jobs=len(tasks),
        n_machines=len(machines),
        tasks_data=tasks,
        machines_data=machines,
        setup_costs=prices,
        setup_times=[list(row) for row in problem.setup_times],
    )
    converted.additional_data = {
        "weight_processing": problem.runtime_weight,
        "weight_tardiness": problem.late_weight,
        "weight_setup_cost": 1,
        "ub": 1,  # some of its solvers divide by it, to print
    }
    return converted


def their_schedule(problem: OvenProblem, converted: Any, schedule: Sequence[Baked]) -> Any:
    """A schedule as the library's own."""
    from discrete_optimization.ovensched.problem import OvenSchedulingSolution, ScheduleInfo

    rows: dict[int, list[Any]] = {oven: [] for oven in range(len(problem.ovens))}
    for batch in sorted(schedule, key=lambda batch: batch.start):
        row = rows[batch.oven]
        attribute = problem.jobs[batch.jobs[0]].attribute
        row.append(ScheduleInfo(set(batch.jobs), attribute, batch.start, batch.end, (batch.oven, len(row))))
    return OvenSchedulingSolution(converted, rows)


def our_schedule(solution: Any) -> list[Baked]:
    """The library's schedule as ours."""
    return [
        Baked(oven, tuple(sorted(int(job) for job in batch.tasks)), int(batch.start_time), int(batch.end_time))
        for oven, row in solution.schedule_per_machine.items()
        for batch in row
    ]


def their_cost(converted: Any, solution: Any) -> int:
    """What the library's own ``evaluate`` makes of a schedule, with the weights that it was given."""
    parts, weights = converted.evaluate(solution), converted.additional_data
    return int(
        weights["weight_processing"] * parts["processing_time"]
        + weights["weight_tardiness"] * parts["nb_late_jobs"]
        + weights["weight_setup_cost"] * parts["setup_cost"]
    )


def timed(problem: OvenProblem, schedule: Sequence[Baked]) -> list[Baked]:
    """The same batches in the same ovens and order, each as short and as early as the published rules allow."""
    found = []
    for number, oven in enumerate(problem.ovens):
        free_from, before = 0, oven.first_attribute
        for batch in sorted((batch for batch in schedule if batch.oven == number), key=lambda batch: batch.start):
            jobs = [problem.jobs[job] for job in batch.jobs]
            setup = problem.setup_times[problem.row(before)][jobs[0].attribute]
            length = max(job.min_time for job in jobs)
            ready = max([free_from + setup, *(job.earliest_start for job in jobs)])
            places = ((max(ready, opens + setup), closes) for opens, closes in oven.open)
            start = min((begin for begin, closes in places if begin + length <= closes), default=batch.start)
            found.append(Baked(number, batch.jobs, start, start + length))
            free_from, before = start + length, jobs[0].attribute
    return found


def _rank(problem: OvenProblem, schedule: Sequence[Baked]) -> tuple[int, int]:
    """How many faults a schedule has, then its cost."""
    return len(faults(problem, schedule)), cost(problem, schedule)


def main(arguments: Sequence[str] | None = None) -> int:
    """Solve or judge, and print the answer."""
    from tests.benchmarks.oven_peer_solvers import SOLVERS

    parser = argparse.ArgumentParser(description="The peer on one instance of the Oven Scheduling Problem.")
    parser.add_argument("instance", type=Path)
    parser.add_argument("--judge", action="store_true", help="judge the schedules on the standard input")
    parser.add_argument("--solver", choices=list(SOLVERS), default="best")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args(arguments)
    problem = read_instance(given.instance.resolve())
    converted = theirs(problem)
    if given.judge:
        own = [their_schedule(problem, converted, _batches(rows)) for rows in json.load(sys.stdin)]
        with contextlib.redirect_stdout(sys.stderr):
            verdicts = [(converted.satisfy(schedule), their_cost(converted, schedule)) for schedule in own]
        print(json.dumps(verdicts))
        return 0
    begun = time.monotonic()
    with contextlib.redirect_stdout(sys.stderr):
        found = SOLVERS[given.solver](converted, given.seconds, given.seed)
    seconds = time.monotonic() - begun
    own = [our_schedule(solution) for solution in found.solutions]
    schedule = min((timed(problem, one) for one in own), key=partial(_rank, problem), default=[])
    answer = {
        "schedule": [astuple(batch) for batch in schedule],
        "bound": found.bound,
        "seconds": seconds,
        "found": [[*_rank(problem, one), *_rank(problem, timed(problem, one))] for one in own],
    }
    print(json.dumps(answer))
    return 0


if __name__ == "__main__":
    sys.exit(main())
