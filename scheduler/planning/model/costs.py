"""What the CP-SAT model minimises, in whole parts of the studio's currency (``Problem.cost_scale``)."""

from __future__ import annotations

import math

import numpy as np
from ortools.sat.python import cp_model

from scheduler.planning.clean_outs import MICRO
from scheduler.planning.heats import energy_costs
from scheduler.planning.model.variables import Leader, Part, Variables

LARGEST_ROW = 2**31
"""Objective rows stay below this: larger ones have met wrong answers in presolve (or-tools issue 5293)."""

ENERGY_STEP_MINUTES = 30
"""Starting times are priced in steps of so many minutes; `settle` prices the final plan to the minute."""


def total_cost(model: cp_model.CpModel, part: Part, v: Variables) -> cp_model.LinearExprT:
    """Lateness, unplaced loads, firings and energy.

    Raises
    ------
    OverflowError
        If the prices make a row larger than the solver can be trusted with.
    """
    problem = part.timetable.problem
    prices, scale = problem.studio.prices, problem.cost_scale
    terms: list[cp_model.LinearExprT] = []
    most = 0
    for load in part.loads:
        weight = round(prices.unplaced * problem.loads[load].priority * scale)
        terms.append(weight * v.unplaced[load])
        most += weight
    for leader in v.leaders:
        terms.append(round(prices.firing * scale) * leader.active)
        energy, dearest = _energy(model, part, leader)
        terms.append(energy)
        most += round(prices.firing * scale) + dearest
    for load in part.loads:
        for late, weight, largest in _lateness(model, part, v, load):
            terms.append(weight * late)
            most += weight * largest
    for arc, micros in v.cleaning:
        terms.append(round(micros * scale / MICRO) * arc)
    most += len(v.leaders) * max((round(micros * scale / MICRO) for _, micros in v.cleaning), default=0)
    if most >= LARGEST_ROW:
        raise OverflowError("the studio's prices are too far apart for one exact model")
    return cp_model.LinearExpr.sum(terms)


def _lateness(model: cp_model.CpModel, part: Part, v: Variables, load: int) -> list[tuple[cp_model.IntVar, int, int]]:
    """Slots that a load is out after its promise, and whether it is late at all: each with its price and its most."""
    problem = part.timetable.problem
    prices, scale = problem.studio.prices, problem.cost_scale
    row = problem.loads[load]
    if row.promised is None or not v.leaders_of.get(load):
        return []
    promised = math.floor((row.promised - problem.begin) / problem.grid_minutes)
    terms = []
    by_slot = round(prices.late_hour * row.priority * problem.grid_minutes / 60.0 * scale)
    if by_slot:
        late = model.new_int_var(0, 2 * problem.slots + max(0, -promised), f"late_{load}")
        for leader in v.leaders_of[load]:
            model.add(late >= leader.out - promised).only_enforce_if(leader.members[load])
        terms.append((late, by_slot, problem.slots))
    once = round(prices.late_load * row.priority * scale)
    if once:
        is_late = model.new_bool_var(f"is_late_{load}")
        for leader in v.leaders_of[load]:
            model.add(leader.out <= promised).only_enforce_if([leader.members[load], ~is_late])
        terms.append((is_late, once, 1))
    return terms


def _energy(model: cp_model.CpModel, part: Part, leader: Leader) -> tuple[cp_model.LinearExprT, int]:
    """Energy cost of a leader's firing by its starting time, and the most that it can be."""
    problem = part.timetable.problem
    tables = []
    step = max(1, ENERGY_STEP_MINUTES // problem.grid_minutes)
    for option in leader.options:
        costs = energy_costs(problem, option.phases)[::step]
        tables.append(np.rint(costs * problem.cost_scale).astype(np.int64).tolist())
    dearest = max(max(table) for table in tables)
    if all(min(table) == max(table) for table in tables):
        flat = [o.present * t[0] for o, t in zip(leader.options, tables, strict=True)]
        return cp_model.LinearExpr.sum(flat), dearest
    index = model.new_int_var(0, len(tables[0]) - 1, "")
    model.add_division_equality(index, leader.start, step)
    cost = model.new_int_var(0, dearest, f"energy_{leader.load}")
    for option, table in zip(leader.options, tables, strict=True):
        here = model.new_int_var(0, dearest, "")
        model.add_element(index, table, here)
        model.add(cost >= here).only_enforce_if(option.present)
    return cost, dearest
