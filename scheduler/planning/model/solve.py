"""Builds the model of a part, hints it with the plan so far, solves it and puts the answer into a timetable."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ortools.sat.python import cp_model

from scheduler.planning.insertion import Inserter
from scheduler.planning.model.costs import total_cost
from scheduler.planning.model.rules import RULES
from scheduler.planning.model.variables import Leader, Part, Variables, decide
from scheduler.planning.timetable import Placed

MOST_CUTS = 3
"""How often a part is solved again after a batch whose layers do not fit was cut off."""


@dataclass(frozen=True, slots=True)
class Limits:
    """How long a solve may take: seconds of the clock, or of the solver's deterministic count, on ``workers`` cores.

    ``probes``: the solver may spend some of it on trying out single decisions first.
    """

    seconds: float
    deterministic: bool = False
    workers: int = 1
    seed: int = 0
    probes: bool = False


@dataclass(frozen=True, slots=True)
class Decided:
    """One firing that a solve decided; times in slots."""

    profile: str
    loads: tuple[int, ...]
    kiln: int
    load_at: int
    start: int
    unload: int


@dataclass(frozen=True, slots=True)
class Answer:
    """What a solve found: firings in order of start, and its proof. Nothing in it belongs to the solver."""

    firings: tuple[Decided, ...]
    cost: float
    bound: float
    optimal: bool


def solve(part: Part, limits: Limits) -> Answer | None:
    """Decide a part anew; None where the solver found nothing in its time."""
    model = cp_model.CpModel()
    variables = decide(model, part)
    for rule in RULES:
        rule(model, part, variables)
    total = total_cost(model, part, variables)
    model.minimize(total)
    if part.known_bound > 0.0:
        model.add(total >= math.floor(part.known_bound * part.timetable.problem.cost_scale))
    hint(model, part, variables)
    for _ in range(MOST_CUTS):
        solver = _solver(limits)
        status = solver.solve(model)
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return None
        answer, misfits = _read(part, variables, solver, status == cp_model.OPTIMAL)
        if not misfits:
            return answer
        for leader, kiln, loads in misfits:
            _cut(model, leader, kiln, loads)
    return None


def _solver(limits: Limits) -> cp_model.CpSolver:
    solver = cp_model.CpSolver()
    if limits.deterministic:
        solver.parameters.max_deterministic_time = limits.seconds
        solver.parameters.num_workers = 1
    else:
        solver.parameters.max_time_in_seconds = limits.seconds
        solver.parameters.num_workers = limits.workers
    solver.parameters.random_seed = limits.seed
    # Probing takes seconds before the search begins, and a neighbourhood has one. Measured in 25 s of them, with it and
    # without: 60 loads 1 and 29 answers, 250 loads 24 and 43; 100 jobs of the published problem: first bound after 13.3
    # and 1.7 s, not proved in 50 s and proved in 40 s, and with all constraints in the linear programme in 33 s; 50
    # jobs: proved in 31 s with it, not in 50 s without.
    if not limits.probes:
        solver.parameters.cp_model_probing_level = 0
    solver.parameters.linearization_level = 2
    # The workaround of or-tools issue 5293, where presolve removed true solutions.
    solver.parameters.presolve_inclusion_work_limit = 0
    return solver


def _read(
    part: Part, variables: Variables, solver: cp_model.CpSolver, optimal: bool
) -> tuple[Answer, list[tuple[Leader, int, tuple[int, ...]]]]:
    batches = part.timetable.batches
    firings = []
    misfits = []
    for leader in variables.leaders:
        if not solver.boolean_value(leader.active):
            continue
        loads = tuple(sorted(load for load, joins in leader.members.items() if solver.boolean_value(joins)))
        kiln = next(o.kiln for o in leader.options if solver.boolean_value(o.present))
        batch = batches.make(leader.profile, loads)
        if batch is None or batches.fit(batch, kiln) is None:
            misfits.append((leader, kiln, loads))
        times = [int(solver.value(at)) for at in (leader.load_at, leader.start, leader.unload)]
        firings.append(Decided(leader.profile, loads, kiln, *times))
    firings.sort(key=lambda f: (f.start, f.kiln))
    scale = part.timetable.problem.cost_scale
    bound = solver.best_objective_bound / scale
    return Answer(tuple(firings), solver.objective_value / scale, bound, optimal), misfits


def _cut(model: cp_model.CpModel, leader: Leader, kiln: int, loads: tuple[int, ...]) -> None:
    """These loads do not fit together in this kiln, nor does any batch that has them all."""
    for option in leader.options:
        if option.kiln == kiln:
            model.add_bool_or([~option.present, *(~leader.members[load] for load in loads)])


def hint(model: cp_model.CpModel, part: Part, variables: Variables) -> None:
    """Tell the solver the plan so far."""
    by_member = {load: placed for placed in part.current for load in placed.batch.loads}
    leads: dict[int, Placed] = {}
    for leader in variables.leaders:
        placed = by_member.get(leader.load)
        if placed is None or placed.batch.profile != leader.profile:
            continue
        if set(placed.batch.loads) <= set(leader.members) and any(o.kiln == placed.kiln for o in leader.options):
            leads[leader.load] = placed
    for leader in variables.leaders:
        placed = leads.get(leader.load)
        model.add_hint(leader.active, placed is not None)
        mass_kg = 0.0 if placed is None else placed.batch.ware_kg
        home = [
            o for o in leader.options if placed is not None and o.kiln == placed.kiln and o.mass_limit_kg >= mass_kg
        ]
        for option in leader.options:
            model.add_hint(option.present, option is next(iter(home), None))
        for load, joins in leader.members.items():
            if load != leader.load:
                model.add_hint(joins, placed is not None and load in placed.batch.loads)
        if placed is not None:
            place = placed.place
            model.add_hint(leader.start, place.start)
            for moment, slot in (
                (leader.load_at, place.load),
                (leader.unload, place.unload),
                (leader.out, place.unload + placed.fit.phases.unload),
                (leader.free, place.free),
            ):
                # Times that follow from the start take no hint.
                if isinstance(moment, cp_model.IntVar) and moment is not leader.start:
                    model.add_hint(moment, slot)
    for load, unplaced in variables.unplaced.items():
        model.add_hint(unplaced, load not in by_member)


def put(part: Part, answer: Answer, inserter: Inserter) -> bool:
    """Book an answer's firings in the part's timetable, then improve each in its kiln; False if they do not fit.

    Real phases are never longer than the model's, so an answer fits as it is; the timetable is asked all the same. Only
    a hot kiln that is ready sooner may not be held for so long, and an end that comes sooner may be one that nobody
    attends: such loads are placed again.
    """
    timetable, batches = part.timetable, part.timetable.batches
    booked = []
    for decided in answer.firings:
        batch = batches.make(decided.profile, decided.loads)
        fit = None if batch is None else batches.fit(batch, decided.kiln)
        if batch is None or fit is None:
            return False
        is_held_too_long = decided.unload - decided.start > fit.phases.latest
        if is_held_too_long or not timetable.is_attended(decided.kiln, fit.phases, decided.start):
            continue
        booked.append(
            timetable.add(timetable.placed_at(batch, decided.kiln, fit, decided.load_at, decided.start, decided.unload))
        )
    if not timetable.is_sound():
        return False
    for number in booked:
        firing = timetable.firings[number]
        timetable.remove(number)
        better = timetable.best_place(firing.batch, firing.kiln, firing.fit)
        timetable.add(firing if better is None or better.place.guide > firing.place.guide else better)
    for load in part.loads:
        if load not in timetable.firing_of:
            inserter.insert_load(load)
    return True
