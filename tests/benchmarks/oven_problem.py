"""The Oven Scheduling Problem as published: instances, schedules, a judge of them, and best-known costs.

M.-L. Lackner, C. Mrkvicka, N. Musliu, D. Walkiewicz, F. Winter, "Exact methods for the Oven Scheduling Problem",
Constraints 28 (2023) 320. Instances are MiniZinc data; the folder that holds them is given on the command line.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Job:
    """A job; ovens and attributes are counted from 0, times in the instance's own unit."""

    ovens: frozenset[int]
    earliest_start: int
    latest_end: int
    min_time: int
    max_time: int
    size: int
    attribute: int


@dataclass(frozen=True)
class Oven:
    """An oven: capacity, the attribute that it starts in (None: none), and when it is available."""

    capacity: int
    first_attribute: int | None
    open: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class OvenProblem:
    """An instance. Rows of the setup tables are attributes, their last row is an oven that starts in none."""

    name: str
    horizon: int
    jobs: tuple[Job, ...]
    ovens: tuple[Oven, ...]
    setup_times: tuple[tuple[int, ...], ...]
    setup_costs: tuple[tuple[int, ...], ...]
    runtime_weight: int
    late_weight: int
    setup_time_weight: int
    setup_cost_weight: int

    def row(self, attribute: int | None) -> int:
        """The row of the setup tables for what an oven had before."""
        return len(self.setup_times) - 1 if attribute is None else attribute


@dataclass(frozen=True)
class Baked:
    """One batch of a schedule: its oven, jobs, and time in the oven ``[start, end)``."""

    oven: int
    jobs: tuple[int, ...]
    start: int
    end: int


@dataclass(frozen=True)
class Known:
    """What is published of an instance."""

    best: int
    bound: int


def read_instance(path: Path) -> OvenProblem:
    """An instance from its MiniZinc data."""
    values = dict(re.findall(r"(\w+)\s*=\s*(.*?);", path.read_text(encoding="utf-8"), re.DOTALL))

    def number(key: str) -> int:
        return int(values[key])

    def row(key: str) -> list[int]:
        return [int(value) for value in re.findall(r"-?\d+", values[key])]

    def table(key: str) -> tuple[tuple[int, ...], ...]:
        lines = [re.findall(r"-?\d+", line) for line in values[key].split("|")]
        return tuple(tuple(int(value) for value in line) for line in lines if line)

    eligible = [
        frozenset(int(oven) - 1 for oven in re.findall(r"\d+", ovens))
        for ovens in re.findall(r"\{(.*?)\}", values["eligible_machine"], re.DOTALL)
    ]
    columns = (row(key) for key in ("earliest_start", "latest_end", "min_time", "max_time", "size", "attribute"))
    jobs = tuple(
        Job(ovens, *numbers, attribute - 1) for ovens, *numbers, attribute in zip(eligible, *columns, strict=True)
    )
    spans = zip(table("m_a_s"), table("m_a_e"), strict=True)
    ovens = tuple(
        Oven(capacity, first - 1 if first else None, tuple(zip(begins, ends, strict=True)))
        for capacity, first, (begins, ends) in zip(row("max_cap"), row("initState"), spans, strict=True)
    )
    return OvenProblem(
        name=path.stem,
        horizon=number("l"),
        jobs=jobs,
        ovens=ovens,
        setup_times=table("setup_times"),
        setup_costs=table("setup_costs"),
        runtime_weight=number("mult_factor_total_runtime"),
        late_weight=number("mult_factor_finished_toolate"),
        setup_time_weight=number("mult_factor_total_setuptimes"),
        setup_cost_weight=number("mult_factor_total_setupcosts"),
    )


def read_known(folder: Path) -> dict[str, Known]:
    """Best-known costs and bounds by the number with which an instance's name begins."""
    with (folder / "best_known.csv").open(encoding="utf-8", newline="") as file:
        return {row["instance"]: Known(int(row["best_known"]), int(row["lower_bound"])) for row in csv.DictReader(file)}


def instances(folder: Path) -> list[Path]:
    """The instances of a folder by their number."""
    return sorted(folder.glob("*.dzn"), key=lambda path: int(path.stem.split("-")[0]))


def cost(problem: OvenProblem, schedule: Sequence[Baked]) -> int:
    """The cost of a schedule in the instance's own weights."""
    runtime = sum(batch.end - batch.start for batch in schedule)
    late = sum(batch.end > problem.jobs[job].latest_end for batch in schedule for job in batch.jobs)
    times = costs = 0
    for _, before, batch in _successions(problem, schedule):
        attribute = problem.jobs[batch.jobs[0]].attribute
        times += problem.setup_times[before][attribute]
        costs += problem.setup_costs[before][attribute]
    return (
        problem.runtime_weight * runtime
        + problem.late_weight * late
        + problem.setup_time_weight * times
        + problem.setup_cost_weight * costs
    )


def faults(problem: OvenProblem, schedule: Sequence[Baked]) -> list[str]:
    """What a schedule breaks, in words; empty for a right one."""
    found = []
    baked = sorted(job for batch in schedule for job in batch.jobs)
    if baked != list(range(len(problem.jobs))):
        found.append("not every job is in exactly one batch")
    for batch in schedule:
        jobs = [problem.jobs[job] for job in batch.jobs]
        length = batch.end - batch.start
        if len({job.attribute for job in jobs}) != 1:
            found.append(f"{batch}: mixed attributes")
        if any(batch.oven not in job.ovens for job in jobs):
            found.append(f"{batch}: an oven that is not eligible")
        if sum(job.size for job in jobs) > problem.ovens[batch.oven].capacity:
            found.append(f"{batch}: over capacity")
        if any(not job.min_time <= length <= job.max_time for job in jobs):
            found.append(f"{batch}: too short or too long")
        if any(batch.start < job.earliest_start for job in jobs):
            found.append(f"{batch}: before a job is there")
    for free_from, before, batch in _successions(problem, schedule):
        setup = problem.setup_times[before][problem.jobs[batch.jobs[0]].attribute]
        begin = batch.start - setup
        if begin < free_from:
            found.append(f"{batch}: the setup overlaps the batch before")
        if not any(opens <= begin and batch.end <= closes for opens, closes in problem.ovens[batch.oven].open):
            found.append(f"{batch}: setup and batch do not lie in one time of availability")
    return found


def _successions(problem: OvenProblem, schedule: Sequence[Baked]) -> Iterator[tuple[int, int, Baked]]:
    """Each batch with the end of the one before in its oven, and the row of the setup tables."""
    for number, oven in enumerate(problem.ovens):
        free_from, attribute = 0, oven.first_attribute
        for batch in sorted((b for b in schedule if b.oven == number), key=lambda b: b.start):
            yield free_from, problem.row(attribute), batch
            free_from, attribute = batch.end, problem.jobs[batch.jobs[0]].attribute
