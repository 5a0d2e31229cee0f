"""Small instances of the Oven Scheduling Problem for tests: invented ones, in the published format, and a brute force.

Nothing here is taken from published data; the format and the cost are those of the paper that `oven_problem` names.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import permutations, product

import numpy as np

from tests.benchmarks.oven_problem import Baked, Job, Oven, OvenProblem

RUNTIME_WEIGHT, LATE_WEIGHT, SETUP_COST_WEIGHT = 3, 200, 10


def made(seed: int, jobs: int, ovens: int = 2, attributes: int = 2) -> OvenProblem:
    """An invented instance, always feasible: the last time of availability has room for every job by itself.

    The first two times of availability of every oven touch; every other seed prices setup times too.
    """
    random = np.random.default_rng(seed)

    def between(least: int, most: int) -> int:
        return int(random.integers(least, most + 1))

    rows = []
    for _ in range(jobs):
        arrives, least, spare = between(0, 12), between(1, 7), between(0, 4)
        where = frozenset({between(0, ovens - 1), between(0, ovens - 1)})
        due = arrives + least + between(0, 9)
        rows.append(Job(where, arrives, due, least, least + spare, between(1, 5), between(0, attributes - 1)))
    longest = sum(job.min_time for job in rows) + 4 * jobs
    rooms = []
    for _ in range(ovens):
        opens, touch = between(0, 3), between(7, 11)
        closes = touch + between(3, 8)
        again = closes + between(1, 4)
        spans = ((opens, touch), (touch, closes), (again, again + longest + 20))
        before = between(0, attributes)
        rooms.append(Oven(between(5, 9), None if before == attributes else before, spans))
    return OvenProblem(
        name=f"{seed}-n{jobs}-k{ovens}-a{attributes}",
        horizon=max(oven.open[-1][1] for oven in rooms),
        jobs=tuple(rows),
        ovens=tuple(rooms),
        setup_times=tuple(tuple(between(0, 4) for _ in range(attributes)) for _ in range(attributes + 1)),
        setup_costs=tuple(tuple(between(0, 9) for _ in range(attributes)) for _ in range(attributes + 1)),
        runtime_weight=RUNTIME_WEIGHT,
        late_weight=LATE_WEIGHT,
        setup_time_weight=2 * (seed % 2),
        setup_cost_weight=SETUP_COST_WEIGHT,
    )


def text_of(problem: OvenProblem) -> str:
    """An instance in the published format; attributes and ovens are counted from 1 there, 0 is no attribute."""

    def row(name: str, values: Sequence[object]) -> str:
        return f"{name}=[{','.join(str(value) for value in values)}];"

    def table(name: str, lines: Sequence[Sequence[int]]) -> str:
        return f"{name}=[|" + ",\n|".join(",".join(map(str, line)) for line in lines) + "|];"

    ovens, jobs = problem.ovens, problem.jobs
    numbers = {
        "l": problem.horizon,
        "a": len(problem.setup_times) - 1,
        "m": len(ovens),
        "s": len(ovens[0].open),
        "n": len(jobs),
        "mult_factor_total_runtime": problem.runtime_weight,
        "mult_factor_finished_toolate": problem.late_weight,
        "mult_factor_total_setuptimes": problem.setup_time_weight,
        "mult_factor_total_setupcosts": problem.setup_cost_weight,
    }
    where = ",\n".join("{" + ",".join(str(oven + 1) for oven in sorted(job.ovens)) + "}" for job in jobs)
    first = [0 if oven.first_attribute is None else oven.first_attribute + 1 for oven in ovens]
    lines = [
        *(f"{name}={value};" for name, value in numbers.items()),
        table("setup_costs", problem.setup_costs),
        table("setup_times", problem.setup_times),
        row("min_cap", [0] * len(ovens)),
        row("max_cap", [oven.capacity for oven in ovens]),
        row("initState", first),
        table("m_a_s", [[opens for opens, _ in oven.open] for oven in ovens]),
        table("m_a_e", [[closes for _, closes in oven.open] for oven in ovens]),
        f"eligible_machine = [{where}];",
        row("earliest_start", [job.earliest_start for job in jobs]),
        row("latest_end", [job.latest_end for job in jobs]),
        row("min_time", [job.min_time for job in jobs]),
        row("max_time", [job.max_time for job in jobs]),
        row("size", [job.size for job in jobs]),
        row("attribute", [job.attribute + 1 for job in jobs]),
    ]
    return "\n".join(lines) + "\n"


def brute_force(problem: OvenProblem) -> tuple[int, tuple[Baked, ...]]:
    """The least cost of all schedules, and one that has it: every way to part the jobs, every oven, every order.

    Each batch is as short and as early as can be: longer or later makes no cost less and no later batch possible that
    was not. Priced here by itself, not by the judge; the judge says the same in the tests.
    """
    best: tuple[float, tuple[Baked, ...]] = (math.inf, ())
    for batches in partings(list(range(len(problem.jobs)))):
        choices = [_ovens_for(problem, batch) for batch in batches]
        for ovens in product(*choices):
            total, schedule = 0.0, []
            for number in range(len(problem.ovens)):
                own = [batch for batch, oven in zip(batches, ovens, strict=True) if oven == number]
                price, row = min((_in_order(problem, number, order) for order in permutations(own)), key=_price)
                total += price
                schedule += row
            if total < best[0]:
                best = total, tuple(schedule)
    return int(best[0]), best[1]


def partings(jobs: Sequence[int]) -> Iterator[list[tuple[int, ...]]]:
    """Every way to part jobs into groups."""
    if not jobs:
        yield []
        return
    for parting in partings(jobs[1:]):
        yield [(jobs[0],), *parting]
        for number, group in enumerate(parting):
            yield [*parting[:number], (jobs[0], *group), *parting[number + 1 :]]


def _price(found: tuple[float, list[Baked]]) -> float:
    return found[0]


def _ovens_for(problem: OvenProblem, batch: Sequence[int]) -> list[int]:
    jobs = [problem.jobs[job] for job in batch]
    if len({job.attribute for job in jobs}) > 1 or max(j.min_time for j in jobs) > min(j.max_time for j in jobs):
        return []
    size = sum(job.size for job in jobs)
    return [
        number
        for number, oven in enumerate(problem.ovens)
        if size <= oven.capacity and all(number in job.ovens for job in jobs)
    ]


def _in_order(problem: OvenProblem, number: int, order: Sequence[tuple[int, ...]]) -> tuple[float, list[Baked]]:
    """Price and times of an oven's batches in this order; infinite where one has no place."""
    oven = problem.ovens[number]
    before = -1 if oven.first_attribute is None else oven.first_attribute  # the last row: none
    free, price, row = 0, 0, []
    for batch in order:
        jobs = [problem.jobs[job] for job in batch]
        length, attribute = max(job.min_time for job in jobs), jobs[0].attribute
        setup = problem.setup_times[before][attribute]
        start = max(free + setup, *(job.earliest_start for job in jobs))
        while not any(opens <= start - setup and start + length <= closes for opens, closes in oven.open):
            start += 1
            if start > problem.horizon:
                return math.inf, []
        free, before_row, before = start + length, before, attribute
        price += problem.runtime_weight * length + problem.setup_time_weight * setup
        price += problem.setup_cost_weight * problem.setup_costs[before_row][attribute]
        price += problem.late_weight * sum(free > job.latest_end for job in jobs)
        row.append(Baked(number, tuple(sorted(batch)), start, free))
    return float(price), row
