"""What the CP-SAT model decides, for a part of a plan: leaders, their kilns, who joins them, and when.

Within a profile a batch is named by its largest load, the leader: load ``i`` may join leader ``j`` only if ``j`` is at
least as large, so the leader alone decides the size row, and copies of one plan under other names vanish.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from ortools.sat.python import cp_model

from scheduler.planning.heats import Charge, Phases, mass_step_kg
from scheduler.planning.problem import Problem
from scheduler.planning.timetable import Placed, Timetable


@dataclass(frozen=True, slots=True, eq=False)
class Part:
    """A part of a plan to be decided anew: ``loads`` are free, everything booked in ``timetable`` is fixed.

    ``current`` are the free loads' firings of the plan so far, for the hint. Only plans that cost less than
    ``known_cost`` are looked for where no plan can cost less than ``known_bound`` [currency], and only those that
    leave no load out where all are to be ``all_placed``.
    """

    timetable: Timetable
    loads: tuple[int, ...]
    current: tuple[Placed, ...] = ()
    known_cost: float = math.inf
    known_bound: float = 0.0
    all_placed: bool = False


Moment = cp_model.IntVar | cp_model.LinearExpr
"""A time, decided or following from one that is [slots]."""


@dataclass(slots=True, eq=False)
class Option:
    """A leader in a kiln: whether, how long, and the intervals that this books."""

    kiln: int
    phases: Phases
    mass_limit_kg: float
    present: cp_model.IntVar
    heating: cp_model.IntervalVar | None = None


@dataclass(slots=True, eq=False)
class Leader:
    """A possible firing, named by its largest load; times in slots.

    ``clean_at`` is when the clean-out before it begins; the same as ``load_at`` in a studio without any. ``tied``: its
    times all follow from ``start``, because nothing ever waits for a hand.
    """

    load: int
    profile: str
    active: cp_model.IntVar
    options: list[Option]
    members: dict[int, cp_model.IntVar]
    clean_at: Moment
    load_at: Moment
    start: cp_model.IntVar
    unload: Moment
    out: Moment
    free: Moment
    session: cp_model.LinearExpr | int = 0
    is_hot: bool = False
    tied: bool = False


@dataclass(slots=True, eq=False)
class Variables:
    """All decisions of a model; ``cleaning`` are the possible successions in a kiln, with their price [millionths]."""

    leaders: list[Leader]
    unplaced: dict[int, cp_model.IntVar]
    cleaning: list[tuple[cp_model.IntVar, int]] = field(default_factory=list)
    leaders_of: dict[int, list[Leader]] = field(default_factory=dict)


def decide(model: cp_model.CpModel, part: Part) -> Variables:
    """Make the variables of a part."""
    leaders = []
    for load in part.loads:
        followers = joinable(part, load)
        options = []
        for number, (kiln, phases, limit_kg) in enumerate(kiln_options(part, load, followers)):
            options.append(Option(kiln, phases, limit_kg, model.new_bool_var(f"in_{load}_{kiln}_{number}")))
        if not options:
            continue
        active = model.new_bool_var(f"leads_{load}")
        members = {load: active}
        members |= {other: model.new_bool_var(f"joins_{other}_{load}") for other in followers}
        leader = _leader(model, part, load, active, options, members)
        if leader.is_hot:
            leader.session = session_slots(part, members)
        leaders.append(leader)
    variables = Variables(leaders, {load: model.new_bool_var(f"unplaced_{load}") for load in part.loads})
    for leader in leaders:
        for member in leader.members:
            variables.leaders_of.setdefault(member, []).append(leader)
    return variables


def _leader(
    model: cp_model.CpModel,
    part: Part,
    load: int,
    active: cp_model.IntVar,
    options: list[Option],
    members: dict[int, cp_model.IntVar],
) -> Leader:
    """A leader with its times."""
    problem = part.timetable.problem
    horizon, profile = problem.slots, problem.loads[load].profile
    is_hot = options[0].phases.is_hot
    ways = {lengths(option.phases) for option in options}
    if hands_abound(problem) and not is_hot and len(ways) == 1:
        loading, out, free = ways.pop()
        start = model.new_int_var(loading, max(loading, horizon - out), f"start_{load}")
        load_at = start - loading
        clean_at = model.new_int_var(0, horizon, "") if problem.clean_outs.any else load_at
        unload = start + options[0].phases.safe
        leader = Leader(
            load, profile, active, options, members, clean_at, load_at, start, unload, start + out, start + free
        )
        leader.tied = True
        return leader
    decided = model.new_int_var(0, horizon, f"load_at_{load}")
    return Leader(
        load=load,
        profile=profile,
        active=active,
        options=options,
        members=members,
        clean_at=model.new_int_var(0, horizon, "") if problem.clean_outs.any else decided,
        load_at=decided,
        start=model.new_int_var(0, horizon - 1, f"start_{load}"),
        unload=model.new_int_var(0, horizon, f"unload_{load}"),
        out=model.new_int_var(0, horizon, f"out_{load}"),
        free=model.new_int_var(0, 4 * horizon, f"free_{load}"),
        is_hot=is_hot,
    )


def lengths(phases: Phases) -> tuple[int, int, int]:
    """From the start back to loading, and on to the end of unloading and the free kiln, where no hand is waited for."""
    out = phases.safe + phases.unload
    return phases.load, out, phases.free_after(out)


def hands_abound(problem: Problem) -> bool:
    """Whether there are hands for every kiln at every moment: it has one task at a time, none larger than a session."""
    profiles = problem.studio.profiles
    most = [max([1, *(p.unload_people for p in profiles if p.work in kiln.work)]) for kiln in problem.kilns]
    return bool(np.all(problem.people[0] >= sum(most)))


def joinable(part: Part, leader: int) -> list[int]:
    """The free loads that may join a firing led by ``leader``: not larger, and allowed to share."""
    batches = part.timetable.batches
    profile = part.timetable.problem.loads[leader].profile
    found = []
    for other in part.loads:
        if other == leader or profile not in batches.hosts(other):
            continue
        if part.timetable.problem.loads[other].profile == profile and rank(part, other) > rank(part, leader):
            continue
        pair = batches.make(profile, (leader, other))
        alone = batches.make(profile, (leader,))
        if pair is not None and alone is not None and pair.row == alone.row:
            found.append(other)
    return found


def rank(part: Part, load: int) -> tuple[float, int]:
    """Order of leadership within a profile: size first, then number."""
    problem = part.timetable.problem
    row = problem.loads[load]
    size = row.size(problem.profile(load).sized_by)
    return (0.0 if size is None else size, -load)


def kiln_options(part: Part, leader: int, followers: Sequence[int]) -> list[tuple[int, Phases, float]]:
    """Kilns that may fire a leader, with phases and the mass up to which they hold [kg].

    A kiln stands in the list twice where it matters: with the phases of the batch that the leader has now (or of the
    leader alone), and with phases long enough for the heaviest batch that it can have there.
    """
    timetable = part.timetable
    problem, batches = timetable.problem, timetable.batches
    profile = problem.loads[leader].profile
    alone = batches.make(profile, (leader,))
    if alone is None:
        return []
    options = []
    for kiln in range(len(problem.kilns)):
        fit = batches.fit(alone, kiln)
        if fit is None:
            continue
        light = fit.phases
        for placed in part.current:
            if leader in placed.batch.loads and placed.batch.profile == profile and placed.batch.row == alone.row:
                now = batches.fit(placed.batch, kiln)
                light = light if now is None else now.phases
        heaviest = _heaviest(part, leader, followers, kiln)
        layers = max(problem.kilns[kiln].full_layers, light.charge.layers)
        step_kg = mass_step_kg(heaviest)
        options.append((kiln, light, light.charge.ware_kg))
        if step_kg > light.charge.ware_kg:
            charge = Charge(kiln, profile, alone.row, step_kg, layers, light.charge.session_minutes)
            heavy = batches.heats.phases(charge)
            if heavy is not None:
                options.append((kiln, heavy, step_kg))
    return options


def _heaviest(part: Part, leader: int, followers: Sequence[int], kiln: int) -> float:
    """The most that a batch of this leader can weigh in a kiln [kg], by room alone (a fractional knapsack)."""
    problem = part.timetable.problem
    oven = problem.kilns[kiln]
    left = oven.shelf_area_cm2 * oven.height_mm - room(part, leader, kiln)
    total = problem.loads[leader].mass_kg
    for other in sorted(followers, key=lambda o: -problem.loads[o].mass_kg / room(part, o, kiln)):
        takes = room(part, other, kiln)
        total += problem.loads[other].mass_kg * max(0.0, min(1.0, left / takes))
        left -= takes
        if left <= 0:
            break
    return total


def room(part: Part, load: int, kiln: int) -> float:
    """Room that a load takes in a kiln at least [cm²·mm]: its area times the height of a layer for it."""
    row = part.timetable.problem.loads[load]
    return row.footprint_cm2 * (row.height_mm + part.timetable.problem.kilns[kiln].shelf_gap_mm)


def session_slots(part: Part, members: dict[int, cp_model.IntVar]) -> cp_model.LinearExpr | int:
    """Length of the hot session of a batch [slots]: its members' sessions one after another, each rounded up."""
    problem = part.timetable.problem
    longest_unload = max(kiln.unload_minutes for kiln in problem.kilns)
    terms = []
    for load, joins in members.items():
        minutes = problem.loads[load].session_minutes
        terms.append(problem.slots_of(longest_unload if minutes is None else minutes) * joins)
    return cp_model.LinearExpr.sum(terms)
