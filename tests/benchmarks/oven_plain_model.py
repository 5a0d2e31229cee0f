"""The baseline on the Oven Scheduling Problem: one plain CP-SAT model of the whole instance, without a hint.

Jobs are ordered by least time, longest first. A batch is represented by its first job in that order, its leader, whose
least time is then the batch's length. A circuit through the batches of each oven gives their setups. Nothing of the
planner is used here.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import product

from ortools.sat.python import cp_model
from ortools.sat.python.cp_model import BoolVarT, CpModel, CpSolver, IntVar

from tests.benchmarks.oven_problem import Baked, OvenProblem

WORKERS = 2

LARGEST = 250
"""Most jobs that the model is built for: arcs grow with their square, and 500 take longer to build than to search."""


@dataclass(frozen=True)
class PlainAnswer:
    """The best schedule found (empty: none), whether it is proved best, and the bound of the solver."""

    schedule: tuple[Baked, ...]
    proved: bool
    bound: int


@dataclass
class _Variables:
    """The model's variables; jobs are numbered as in the instance."""

    joins: dict[tuple[int, int], BoolVarT] = field(default_factory=dict)
    """Job and leader: the job is in the leader's batch. A leader joins itself."""
    within: dict[tuple[int, int], BoolVarT] = field(default_factory=dict)
    """Leader and oven: there is such a batch, in that oven."""
    setup: dict[int, IntVar] = field(default_factory=dict)
    """When the setup before a leader's batch begins."""
    start: dict[int, IntVar] = field(default_factory=dict)
    late: dict[int, BoolVarT] = field(default_factory=dict)
    arcs: dict[tuple[int, int | None, int], BoolVarT] = field(default_factory=dict)
    """Oven, leader before (None: as the oven starts) and leader: one follows the other."""


def solve(problem: OvenProblem, seconds: float, seed: int = 0) -> PlainAnswer:
    """The model's answer within so many seconds, its building included."""
    if len(problem.jobs) > LARGEST:
        return PlainAnswer((), False, 0)
    begun = time.monotonic()
    model, variables = CpModel(), _Variables()
    _batches(model, variables, problem)
    _capacity(model, variables, problem)
    _sequences(model, variables, problem)
    _availability(model, variables, problem)
    _lateness(model, variables, problem)
    _price(model, variables, problem)
    solver = CpSolver()
    solver.parameters.num_workers = WORKERS
    solver.parameters.random_seed = seed
    solver.parameters.max_time_in_seconds = max(0.01, seconds - (time.monotonic() - begun))
    status = solver.solve(model)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return PlainAnswer((), False, 0)
    bound = int(-(-solver.best_objective_bound // 1))
    return PlainAnswer(_read(solver, variables, problem), status == cp_model.OPTIMAL, bound)


def _batches(model: CpModel, variables: _Variables, problem: OvenProblem) -> None:
    """Every job is in one batch; jobs of a batch share attribute, time and oven, and are there when it starts."""
    order = sorted(range(len(problem.jobs)), key=lambda job: -problem.jobs[job].min_time)
    for place, leader in enumerate(order):
        first = problem.jobs[leader]
        variables.setup[leader] = model.new_int_var(0, problem.horizon, f"setup {leader}")
        variables.start[leader] = model.new_int_var(first.earliest_start, problem.horizon, f"start {leader}")
        for oven in sorted(first.ovens):
            variables.within[leader, oven] = model.new_bool_var(f"batch of {leader} in {oven}")
        for job in order[place:]:
            own = problem.jobs[job]
            if own.attribute == first.attribute and own.max_time >= first.min_time and own.ovens & first.ovens:
                variables.joins[job, leader] = model.new_bool_var(f"{job} with {leader}")
        model.add(sum(variables.within[leader, oven] for oven in first.ovens) == variables.joins[leader, leader])
    for (job, leader), joins in variables.joins.items():
        model.add_implication(joins, variables.joins[leader, leader])
        model.add(variables.start[leader] >= problem.jobs[job].earliest_start).only_enforce_if(joins)
        for oven in problem.jobs[leader].ovens - problem.jobs[job].ovens:
            model.add_bool_or(joins.negated(), variables.within[leader, oven].negated())
    choices: dict[int, list[BoolVarT]] = {}
    for (job, _), joins in variables.joins.items():
        choices.setdefault(job, []).append(joins)
    for batches in choices.values():
        model.add_exactly_one(batches)


def _capacity(model: CpModel, variables: _Variables, problem: OvenProblem) -> None:
    """The sizes of a batch's jobs add up to at most the oven's capacity."""
    filled: dict[int, list[cp_model.LinearExprT]] = {}
    for (job, leader), joins in variables.joins.items():
        filled.setdefault(leader, []).append(problem.jobs[job].size * joins)
    for leader, sizes in filled.items():
        ovens = problem.jobs[leader].ovens
        model.add(sum(sizes) <= sum(problem.ovens[oven].capacity * variables.within[leader, oven] for oven in ovens))


def _sequences(model: CpModel, variables: _Variables, problem: OvenProblem) -> None:
    """The batches of an oven follow one another, with the setup between them."""
    for number in range(len(problem.ovens)):
        leaders = [leader for leader, where in variables.within if where == number]
        circuit = [(0, 0, model.new_bool_var(f"{number} idle"))]
        for leader in leaders:
            circuit.append((leader + 1, leader + 1, variables.within[leader, number].negated()))
            circuit.append((leader + 1, 0, model.new_bool_var(f"{leader} last in {number}")))
        for before, leader in product([None, *leaders], leaders):
            if before == leader:
                continue
            arc = model.new_bool_var(f"{leader} after {before} in {number}")
            variables.arcs[number, before, leader] = arc
            circuit.append((0 if before is None else before + 1, leader + 1, arc))
            length = _setup(problem, problem.setup_times, number, before, leader)
            model.add(variables.start[leader] >= variables.setup[leader] + length).only_enforce_if(arc)
            if before is not None:
                free = variables.start[before] + problem.jobs[before].min_time
                model.add(variables.setup[leader] >= free).only_enforce_if(arc)
        model.add_circuit(circuit)
        model.add_no_overlap(
            model.new_optional_fixed_size_interval_var(
                variables.start[leader],
                problem.jobs[leader].min_time,
                variables.within[leader, number],
                f"{leader} in {number}",
            )
            for leader in leaders
        )


def _availability(model: CpModel, variables: _Variables, problem: OvenProblem) -> None:
    """A batch and the setup before it lie inside one time of availability."""
    for (leader, oven), within in variables.within.items():
        inside = []
        for opens, closes in problem.ovens[oven].open:
            here = model.new_bool_var(f"{leader} in {oven} from {opens}")
            model.add(variables.setup[leader] >= opens).only_enforce_if(here)
            model.add(variables.start[leader] + problem.jobs[leader].min_time <= closes).only_enforce_if(here)
            inside.append(here)
        model.add(sum(inside) == within)


def _lateness(model: CpModel, variables: _Variables, problem: OvenProblem) -> None:
    """A job is late when its batch ends after its latest end."""
    for job in range(len(problem.jobs)):
        variables.late[job] = model.new_bool_var(f"{job} late")
    for (job, leader), joins in variables.joins.items():
        end = variables.start[leader] + problem.jobs[leader].min_time
        on_time = [joins, variables.late[job].negated()]
        model.add(end <= problem.jobs[job].latest_end).only_enforce_if(on_time)


def _price(model: CpModel, variables: _Variables, problem: OvenProblem) -> None:
    """Runtime, late jobs and setups."""
    terms: list[cp_model.LinearExprT] = [problem.late_weight * late for late in variables.late.values()]
    for leader, row in enumerate(problem.jobs):
        terms.append(problem.runtime_weight * row.min_time * variables.joins[leader, leader])
    for (oven, before, leader), arc in variables.arcs.items():
        length = _setup(problem, problem.setup_times, oven, before, leader)
        price = _setup(problem, problem.setup_costs, oven, before, leader)
        terms.append((problem.setup_time_weight * length + problem.setup_cost_weight * price) * arc)
    model.minimize(sum(terms))


def _setup(problem: OvenProblem, table: Sequence[Sequence[int]], oven: int, before: int | None, leader: int) -> int:
    """What the table says for a batch after another in an oven."""
    had = problem.ovens[oven].first_attribute if before is None else problem.jobs[before].attribute
    return table[problem.row(had)][problem.jobs[leader].attribute]


def _read(solver: CpSolver, variables: _Variables, problem: OvenProblem) -> tuple[Baked, ...]:
    jobs: dict[int, list[int]] = {}
    for (job, leader), joins in variables.joins.items():
        if solver.boolean_value(joins):
            jobs.setdefault(leader, []).append(job)
    found = []
    for (leader, oven), within in variables.within.items():
        if solver.boolean_value(within):
            start = solver.value(variables.start[leader])
            end = start + problem.jobs[leader].min_time
            found.append(Baked(oven, tuple(sorted(jobs[leader])), start, end))
    return tuple(sorted(found, key=lambda batch: (batch.oven, batch.start)))
