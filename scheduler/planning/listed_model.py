"""The exact model of listed firings: which of them, when, with all that kilns, legs and hands have.

One optional firing a column, its times in whole slots and its energy that of its start; unlike `calendar_bound` it
knows where two firings meet to the slot, and that a pair of hands is in one place at a time. It is quick where few
starts are left to choose from, so `proof` leaves out what no plan near the bound can have. Only clean-outs, and what
a hot session's hold costs beyond its cheapest, are not in it: either can only make a plan dearer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from scheduler.planning.columns import Column
from scheduler.planning.crowding import crowds
from scheduler.planning.model.rules import domain_of, stay_within, whole_runs
from scheduler.planning.problem import ONE_HAND, Crew, Problem

PARTS = 10_000
"""Parts of the currency that the model counts in; every cost is rounded down to them, so the bound holds."""

FINER = 1000
"""Lateness is rounded down to a thousandth of a part a slot, since there are many slots."""


@dataclass(frozen=True, slots=True, eq=False)
class Timed:
    """A firing chosen from the list, with its moments in slots."""

    column: Column
    load_at: int
    start: int
    unload: int


@dataclass(frozen=True, slots=True, eq=False)
class ListedAnswer:
    """The bound [currency], and the firings of the plan found, in order of starting.

    ``proved`` says that nothing is cheaper than what was found, or than the known plan where nothing was.
    """

    bound: float
    firings: tuple[Timed, ...]
    proved: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Choice:
    """A column in the model: the slots in which it may start, whether it is fired, and its moments in slots."""

    column: Column
    able: NDArray[np.bool_]
    fired: cp_model.IntVar
    load_at: cp_model.IntVar
    start: cp_model.IntVar
    unload: cp_model.IntVar
    free: cp_model.IntVar


def listed_answer(
    problem: Problem, columns: Sequence[Column], starts: Sequence[NDArray[np.bool_]], known_cost: float, seconds: float
) -> ListedAnswer:
    """What no plan made of the columns, started in ``starts``, can cost less than, and the best plan found.

    Parameters
    ----------
    known_cost
        Cost of a plan that is known [currency]: dearer ones are not looked for, and the bound is never above it.
    seconds
        How long the solver may take [s], on one core: the search has the other.
    """
    model = cp_model.CpModel()
    choices = [
        _choice(model, problem, column, able & np.isfinite(column.by_start))
        for column, able in zip(columns, starts, strict=True)
        if bool((able & np.isfinite(column.by_start)).any())
    ]
    total = cp_model.LinearExpr.sum(
        [*_each_once(model, problem, choices), *(term for choice in choices for term in _costs(model, problem, choice))]
    )
    _stages(model, problem, choices)
    _kilns(model, problem, choices)
    _legs(model, problem, choices)
    _hands(model, problem, choices)
    model.add(total <= math.ceil(known_cost * PARTS) + 1)
    model.minimize(total)
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = max(0.01, seconds)
    solver.parameters.num_workers = 1
    # Measured on twenty loads with night tariffs: proved in 4.1 s without linear relaxations, in 4.9 s with them, and
    # not within 10 s with all of them.
    solver.parameters.linearization_level = 0
    status = solver.solve(model)
    if status == cp_model.INFEASIBLE:
        return ListedAnswer(known_cost, (), proved=True)
    bound = min(known_cost, solver.best_objective_bound / PARTS)
    if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return ListedAnswer(bound, (), proved=False)
    fired = [
        Timed(c.column, int(solver.value(c.load_at)), int(solver.value(c.start)), int(solver.value(c.unload)))
        for c in choices
        if solver.boolean_value(c.fired)
    ]
    in_order = tuple(sorted(fired, key=lambda firing: (firing.start, firing.column.kiln)))
    return ListedAnswer(bound, in_order, proved=status == cp_model.OPTIMAL)


def _choice(model: cp_model.CpModel, problem: Problem, column: Column, able: NDArray[np.bool_]) -> _Choice:
    """A column's variables, and the order of its moments."""
    phases, horizon = column.fit.phases, problem.slots
    loadable = whole_runs(problem.people[0] > 0, max(1, phases.load)) & (np.arange(horizon) >= column.ready)
    choice = _Choice(
        column=column,
        able=able,
        fired=model.new_bool_var(""),
        load_at=model.new_int_var_from_domain(domain_of(loadable), ""),
        start=model.new_int_var_from_domain(domain_of(able), ""),
        unload=model.new_int_var_from_domain(domain_of(np.isfinite(column.late)), ""),
        free=model.new_int_var(0, 5 * horizon, ""),
    )
    fired, emptied = choice.fired, choice.unload + phases.unload
    model.add(choice.start >= choice.load_at + phases.load).only_enforce_if(fired)
    model.add(choice.unload >= choice.start + phases.safe).only_enforce_if(fired)
    model.add(choice.free >= emptied).only_enforce_if(fired)
    if phases.is_hot:
        model.add(choice.unload <= choice.start + phases.latest).only_enforce_if(fired)
        model.add(choice.free >= emptied + min(phases.cold, phases.open_cool)).only_enforce_if(fired)
    else:
        soonest = phases.free_after(phases.safe + phases.unload)
        model.add(choice.free >= choice.start + soonest).only_enforce_if(fired)
        if phases.open_cool > 0:
            # Free when it has cooled shut or open, whichever is sooner.
            shut = model.new_bool_var("")
            model.add(choice.free >= choice.start + phases.cold).only_enforce_if([fired, shut])
            model.add(choice.free >= emptied + phases.open_cool).only_enforce_if([fired, ~shut])
    return choice


def _costs(model: cp_model.CpModel, problem: Problem, choice: _Choice) -> list[cp_model.LinearExprT]:
    """The firing, its energy hour by hour, and its lateness."""
    column, grid = choice.column, problem.grid_minutes
    phases = column.fit.phases
    least = float(column.energy[choice.able].min())
    price = problem.studio.prices.firing + least
    terms: list[cp_model.LinearExprT] = [math.floor(price * PARTS) * choice.fired]
    terms += _hours(model, choice, np.floor((column.energy - least) * PARTS))
    for at, each, once in column.batch.promises:
        in_time_until = math.floor((at - phases.out_minutes) / grid)
        if in_time_until >= problem.slots - 1:
            continue
        late = model.new_bool_var("")
        model.add(choice.unload <= in_time_until).only_enforce_if([choice.fired, ~late])
        if once > 0.0:
            terms.append(math.floor(once * PARTS) * late)
        if each > 0.0:
            slot = math.floor(each * grid * PARTS * FINER)
            before = math.ceil(each * (at - phases.out_minutes) * PARTS * FINER)
            hours = model.new_int_var(0, max(0, slot * problem.slots - before) // FINER + 1, "")
            model.add(FINER * hours >= slot * choice.unload - before).only_enforce_if(late)
            terms.append(hours)
    return terms


def _hours(model: cp_model.CpModel, choice: _Choice, dearer: NDArray[np.float64]) -> list[cp_model.LinearExprT]:
    """What energy costs beyond its cheapest hour: one of the stretches of starts with the same price."""
    slots = np.flatnonzero(choice.able)
    if dearer[slots].max() < 1.0:
        return []
    stretches = np.split(slots, np.flatnonzero(np.diff(dearer[slots])) + 1)
    terms: list[cp_model.LinearExprT] = []
    chosen = []
    for stretch in stretches:
        starts_in = model.new_bool_var("")
        domain = cp_model.Domain.from_values(stretch.tolist())
        model.add_linear_expression_in_domain(choice.start, domain).only_enforce_if(starts_in)
        terms.append(int(dearer[stretch[0]]) * starts_in)
        chosen.append(starts_in)
    model.add_exactly_one([*chosen, ~choice.fired])
    return terms


def _each_once(model: cp_model.CpModel, problem: Problem, choices: Sequence[_Choice]) -> list[cp_model.LinearExprT]:
    """Each load is in one firing or unplaced, at its price."""
    terms: list[cp_model.LinearExprT] = []
    for number, load in enumerate(problem.loads):
        unplaced = model.new_bool_var("")
        model.add_exactly_one([unplaced, *(c.fired for c in choices if number in c.column.batch.loads)])
        terms.append(math.floor(problem.studio.prices.unplaced * load.priority * PARTS) * unplaced)
    return terms


def _stages(model: cp_model.CpModel, problem: Problem, choices: Sequence[_Choice]) -> None:
    """A later stage is loaded when the earlier one is out and dry; without the earlier there is no later."""
    grid = problem.grid_minutes
    for number, load in enumerate(problem.loads):
        earlier = problem.load_number.get(load.after or "")
        if earlier is None:
            continue
        first = [c for c in choices if earlier in c.column.batch.loads]
        second = [c for c in choices if number in c.column.batch.loads]
        out = model.new_int_var(0, 10 * problem.slots * grid, "")
        for c in first:
            model.add(out >= c.unload * grid + c.column.fit.phases.out_minutes).only_enforce_if(c.fired)
        for c in second:
            model.add(c.load_at * grid >= out + math.ceil(load.gap_minutes)).only_enforce_if(c.fired)
            model.add_bool_or([~c.fired, *(f.fired for f in first)])


def _kilns(model: cp_model.CpModel, problem: Problem, choices: Sequence[_Choice]) -> None:
    """A kiln's firings do not overlap from loading until it is free, nor its outages."""
    for kiln in range(len(problem.kilns)):
        taken = [model.new_fixed_size_interval_var(b, e - b, "") for b, e in problem.blocked[kiln]]
        for c in choices:
            if c.column.kiln == kiln:
                size = model.new_int_var(0, 5 * problem.slots, "")
                taken.append(model.new_optional_interval_var(c.load_at, size, c.free, c.fired, ""))
        model.add_no_overlap(taken)


def _legs(model: cp_model.CpModel, problem: Problem, choices: Sequence[_Choice]) -> None:
    """On every leg the amps of all that heat stay within its limit."""
    heating = []
    for c in choices:
        phases = c.column.fit.phases
        if phases.is_hot:
            until = model.new_int_var(0, 2 * problem.slots, "")
            model.add(until >= c.unload + phases.unload).only_enforce_if(c.fired)
            size = model.new_int_var(0, 2 * problem.slots, "")
            heating.append(model.new_optional_interval_var(c.start, size, until, c.fired, ""))
        else:
            heating.append(model.new_optional_fixed_size_interval_var(c.start, phases.hot, c.fired, ""))
    for line, limit in enumerate(problem.line_limit.tolist()):
        drawn = [problem.kiln_amps[k] for k, lines in enumerate(problem.kiln_lines) if line in lines]
        if sum(drawn) <= limit:
            continue
        on = [
            (interval, problem.kiln_amps[c.column.kiln])
            for c, interval in zip(choices, heating, strict=True)
            if line in problem.kiln_lines[c.column.kiln]
        ]
        stay_within(model, on, limit, np.zeros(problem.slots, dtype=np.int64))
    for crowd in crowds(problem):
        if crowd.at_most == 1:
            model.add_no_overlap([i for c, i in zip(choices, heating, strict=True) if c.column.kiln in crowd.kilns])


def _hands(model: cp_model.CpModel, problem: Problem, choices: Sequence[_Choice]) -> None:
    """Loading, unloading and sessions have their people, each in one place at a time."""
    tasks: list[list[tuple[cp_model.IntervalVar, int]]] = [[] for _ in problem.people]

    def takes(at: cp_model.IntVar, slots: int, fired: cp_model.IntVar, crew: Crew) -> None:
        interval = model.new_optional_fixed_size_interval_var(at, max(1, slots), fired, "")
        for row, people in zip(crew.rows.tolist(), crew.hands.tolist(), strict=True):
            tasks[row].append((interval, people))

    for c in choices:
        phases = c.column.fit.phases
        takes(c.load_at, phases.load, c.fired, ONE_HAND)
        takes(c.unload, phases.unload, c.fired, problem.crew(c.column.batch.profile, phases.is_hot))
    for row, wanted in enumerate(tasks):
        if not wanted:
            continue
        most = int(problem.people[row].max(initial=0))
        stay_within(model, wanted, most, most - problem.people[row])
