"""The plan's rules as CP-SAT constraints, one function a rule, in the audit's names.

Rules about a load and a kiln alone (work, size row, highest temperature, vent, profile) are kept by making no variable
for what they forbid; see `variables`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from ortools.sat.python import cp_model

from scheduler.planning.model.succession import clean_out
from scheduler.planning.model.variables import (
    Leader,
    Moment,
    Option,
    Part,
    Variables,
    hands_abound,
    lengths,
    room,
)
from scheduler.planning.problem import ONE_HAND, Crew
from scheduler.planning.timetable import out_minutes

Rule = Callable[[cp_model.CpModel, Part, Variables], None]

MOST_BOOKED = 8
"""Bookings of a kiln between which a firing's place is a decision, at most: each asks for a variable a firing."""


def each_load_once(model: cp_model.CpModel, part: Part, v: Variables) -> None:
    """Each load leads, joins or is unplaced: ``sum of joins + unplaced = 1``; a firing is in one kiln."""
    problem = part.timetable.problem
    for load in part.loads:
        ways = [leader.members[load] for leader in v.leaders_of.get(load, [])]
        dearer = part.known_bound + problem.studio.prices.unplaced * problem.loads[load].priority > part.known_cost
        if dearer or part.all_placed:
            # Plans that leave it out are dearer than the one at hand, or not asked for.
            model.add(v.unplaced[load] == 0)
        model.add_exactly_one([*ways, v.unplaced[load]])
    for leader in v.leaders:
        model.add(cp_model.LinearExpr.sum([o.present for o in leader.options]) == leader.active)
        for load, joins in leader.members.items():
            if load != leader.load:
                model.add_implication(joins, leader.active)


def work_fits_kiln(model: cp_model.CpModel, part: Part, v: Variables) -> None:
    """A member goes only into kilns that may fire it: ``join + in kiln <= 1`` where the pair does not fit."""
    batches = part.timetable.batches
    for leader in v.leaders:
        for load, joins in leader.members.items():
            if load == leader.load:
                continue
            pair = batches.make(leader.profile, (leader.load, load))
            for option in leader.options:
                if pair is None or batches.fit(pair, option.kiln) is None:
                    model.add_bool_or([~joins, ~option.present])


def shares_firing(model: cp_model.CpModel, part: Part, v: Variables) -> None:
    """Two loads that may not share do not join the same leader: ``join + join <= 1``."""
    batches = part.timetable.batches
    for leader in v.leaders:
        members = [load for load in leader.members if load != leader.load]
        for index, one in enumerate(members):
            for other in members[index + 1 :]:
                if batches.clash(one, other):
                    model.add_bool_or([~leader.members[one], ~leader.members[other]])


def capacity(model: cp_model.CpModel, part: Part, v: Variables) -> None:
    """The room of a kiln: ``sum of area x layer height <= shelf area x height``, and the mass its phases allow for.

    Layers are packed after the solve; a batch that does not fit is cut off and the part solved again.
    """
    problem = part.timetable.problem
    for leader in v.leaders:
        _room_anywhere(model, part, leader)
        for option in leader.options:
            oven = problem.kilns[option.kiln]
            limit = int(oven.shelf_area_cm2 * oven.height_mm / 100.0)
            takes = [int(room(part, load, option.kiln) / 100.0) for load in leader.members]
            joins = list(leader.members.values())
            if sum(takes) > limit:
                model.add(cp_model.LinearExpr.weighted_sum(joins, takes) <= limit).only_enforce_if(option.present)
            grams = [round(problem.loads[load].mass_kg * 1000) for load in leader.members]
            most = round(option.mass_limit_kg * 1000)
            if sum(grams) > most:
                model.add(cp_model.LinearExpr.weighted_sum(joins, grams) <= most).only_enforce_if(option.present)


def _room_anywhere(model: cp_model.CpModel, part: Part, leader: Leader) -> None:
    """The same over all its kilns at once, for the linear programme: ``sum of least room <= room where it is``.

    Measured on 50 jobs of the published problem in 5 ovens: proved in 15 s with this row, in 42 s without.
    """
    kilns = part.timetable.problem.kilns
    limits = [int(kilns[o.kiln].shelf_area_cm2 * kilns[o.kiln].height_mm / 100.0) for o in leader.options]
    takes = [min(int(room(part, load, o.kiln) / 100.0) for o in leader.options) for load in leader.members]
    if len(set(limits)) > 1 and sum(takes) > min(limits):
        joined = cp_model.LinearExpr.weighted_sum(list(leader.members.values()), takes)
        model.add(joined <= cp_model.LinearExpr.weighted_sum([o.present for o in leader.options], limits))


def load_order(model: cp_model.CpModel, part: Part, v: Variables) -> None:
    """Loaded, then started, then unloaded when safe; a hot session begins within the last hold."""
    for leader in v.leaders:
        for option in leader.options if not leader.tied else ():
            phases = option.phases
            model.add(leader.start >= leader.load_at + phases.load).only_enforce_if(option.present)
            model.add(leader.unload >= leader.start + phases.safe).only_enforce_if(option.present)
            if phases.is_hot:
                # `latest` holds for the leader's own session; a longer one must end as early.
                limit = phases.latest + phases.unload
                model.add(leader.unload + leader.session <= leader.start + limit).only_enforce_if(option.present)
                model.add(leader.out >= leader.unload + leader.session).only_enforce_if(option.present)
            else:
                model.add(leader.out >= leader.unload + phases.unload).only_enforce_if(option.present)


def kiln_one_at_a_time(model: cp_model.CpModel, part: Part, v: Variables) -> None:
    """One kiln's firings do not overlap from ``load_at`` to ``free_at``, nor its outages and fixed firings."""
    horizon = part.timetable.problem.slots
    by_kiln: dict[int, list[cp_model.IntervalVar]] = {}
    busy: dict[int, list[cp_model.IntervalVar]] = {}
    for kiln in range(len(part.timetable.problem.kilns)):
        booked = part.timetable.busy(kiln)
        busy[kiln] = [model.new_fixed_size_interval_var(begin, end - begin, "") for begin, end, _ in booked]
    for leader in v.leaders:
        for option in leader.options:
            intervals = by_kiln.setdefault(option.kiln, [])
            if leader.tied:
                loading, _, free = lengths(option.phases)
                start, whole = leader.load_at, loading + free
                intervals.append(model.new_optional_fixed_size_interval_var(start, whole, option.present, ""))
                if len(busy[option.kiln]) <= MOST_BOOKED:
                    _between_bookings(model, part, leader, option)
                elif leader.clean_at is not leader.load_at:
                    size = model.new_int_var(0, 5 * horizon, "")
                    there = option.present
                    # A clean-out and its firing are not parted, not even by an outage of no length.
                    cleaned = model.new_optional_interval_var(leader.clean_at, size, leader.free, there, "")
                    model.add_no_overlap([cleaned, *busy[option.kiln]])
            else:
                _free(model, leader, option)
                size = model.new_int_var(0, 5 * horizon, "")
                intervals.append(
                    model.new_optional_interval_var(leader.clean_at, size, leader.free, option.present, "")
                )
    for kiln, intervals in by_kiln.items():
        model.add_no_overlap([*intervals, *busy[kiln]])


def _between_bookings(model: cp_model.CpModel, part: Part, leader: Leader, option: Option) -> None:
    """Between which two bookings of its kiln a firing lies, with the clean-out before it, as a decision of its own.

    Measured on 50 jobs of the published problem in 5 ovens with 5 times of availability each: proved in 42 s with it,
    not in 50 s without.
    """
    loading, _, free = lengths(option.phases)
    booked = part.timetable.busy(option.kiln)
    begins = [0, *(end for _, end, _ in booked)]
    ends = [*(begin for begin, _, _ in booked), None]
    there = []
    for begin, end in zip(begins, ends, strict=True):
        if end is not None and end - begin < loading + free:
            continue
        here = model.new_bool_var("")
        model.add(leader.clean_at >= begin).only_enforce_if(here)
        model.add(leader.start >= begin + loading).only_enforce_if(here)
        if end is not None:
            model.add(leader.start <= end - free).only_enforce_if(here)
        there.append(here)
    model.add(cp_model.LinearExpr.sum(there) == option.present)


def _free(model: cp_model.CpModel, leader: Leader, option: Option) -> None:
    """The kiln is free when it is empty, and has cooled shut or open, whichever is sooner."""
    phases = option.phases
    model.add(leader.free >= leader.out).only_enforce_if(option.present)
    if phases.is_hot:
        tail = min(phases.cold, phases.open_cool)
        model.add(leader.free >= leader.out + tail).only_enforce_if(option.present)
    elif phases.open_cool > 0:
        shut = model.new_bool_var("")
        model.add(leader.free >= leader.start + phases.cold).only_enforce_if([option.present, shut])
        model.add(leader.free >= leader.out + phases.open_cool).only_enforce_if([option.present, ~shut])


def heating(model: cp_model.CpModel, part: Part, v: Variables) -> None:
    """Quiet times, supply and attendance: heating lies in slots in which this kiln may heat for this work."""
    problem = part.timetable.problem
    for leader in v.leaders:
        work = problem.studio.profile_by_id[leader.profile].work
        for option in leader.options:
            allowed: NDArray[np.bool_] = both(problem.heat_ok[option.kiln, work], _current_left(part, option.kiln))
            if leader.is_hot:
                size = model.new_int_var(0, problem.slots, "")
                option.heating = model.new_optional_interval_var(leader.start, size, leader.out, option.present, "")
                starts = both(allowed, part.timetable.starts_ok(option.kiln, option.phases))
                closed = [model.new_fixed_size_interval_var(b, e - b, "") for b, e in runs(~allowed)]
                if closed:
                    model.add_no_overlap([option.heating, *closed])
            else:
                hot = option.phases.hot
                option.heating = model.new_optional_fixed_size_interval_var(leader.start, hot, option.present, "")
                starts = both(whole_runs(allowed, hot), problem.start_ok[option.kiln])
                ends = np.zeros(problem.slots, dtype=np.bool_)
                reach = part.timetable.ends_ok(option.kiln, option.phases)[option.phases.end_slot :]
                ends[: len(reach)] = reach
                starts = both(starts, ends)
            model.add_linear_expression_in_domain(leader.start, domain_of(starts)).only_enforce_if(option.present)


def _current_left(part: Part, kiln: int) -> NDArray[np.bool_]:
    """Slots in which the fixed firings leave current for a kiln on all its lines."""
    problem, used = part.timetable.problem, part.timetable.lines_used
    lines = problem.kiln_lines[kiln]
    if len(lines) == 0:
        return np.ones(problem.slots, dtype=np.bool_)
    fits = used[lines] + problem.kiln_amps[kiln] <= problem.line_limit[lines, None]
    return np.asarray(fits.all(axis=0), dtype=np.bool_)


def circuit_amps(model: cp_model.CpModel, part: Part, v: Variables) -> None:
    """On each leg of each circuit: ``sum of amps of kilns that are heating <= usable amps``, fixed firings included."""
    problem = part.timetable.problem
    for line in range(len(problem.line_limit)):
        heating: list[tuple[cp_model.IntervalVar, int]] = []
        kilns = {}
        for leader in v.leaders:
            for option in leader.options:
                if option.heating is not None and line in problem.kiln_lines[option.kiln]:
                    heating.append((option.heating, problem.kiln_amps[option.kiln]))
                    kilns[option.kiln] = problem.kiln_amps[option.kiln]
        limit = int(problem.line_limit[line])
        used = part.timetable.lines_used[line]
        if sum(kilns.values()) + int(used.max(initial=0)) <= limit:
            continue
        stay_within(model, heating, limit, used)


def hands(model: cp_model.CpModel, part: Part, v: Variables) -> None:
    """Loading, unloading and sessions: ``tasks' people at any moment <= hands on duty``, skills by every set of them.

    A session takes its profile's ``session_people`` of everybody, and one of each set with its skill.
    """
    problem = part.timetable.problem
    if hands_abound(problem) and not any(leader.is_hot for leader in v.leaders):
        return
    tasks: dict[int, list[tuple[cp_model.IntervalVar, int]]] = {row: [] for row in range(len(problem.people))}
    for leader in v.leaders:
        crew = problem.crew(leader.profile, leader.is_hot)
        for option in leader.options:
            loading = max(1, option.phases.load)
            tasks[0].append((_loading(model, part, leader, loading, option), 1))
            _staffed(model, part, leader.load_at, loading, ONE_HAND, option)
            if leader.is_hot:
                size = model.new_int_var(0, problem.slots, "")
                unloading = model.new_optional_interval_var(leader.unload, size, leader.out, option.present, "")
                _staffed(model, part, leader.unload, max(1, option.phases.unload), crew, option)
            else:
                unload = max(1, option.phases.unload)
                unloading = model.new_optional_fixed_size_interval_var(leader.unload, unload, option.present, "")
                _staffed(model, part, leader.unload, unload, crew, option)
            for row, people in zip(crew.rows.tolist(), crew.hands.tolist(), strict=True):
                tasks[row].append((unloading, people))
    for row, wanted in tasks.items():
        if not wanted:
            continue
        most = int(problem.people[row].max(initial=0))
        stay_within(model, wanted, most, most - problem.people[row] + part.timetable.people_used[row])


def _loading(model: cp_model.CpModel, part: Part, leader: Leader, loading: int, option: Option) -> cp_model.IntervalVar:
    """The loading, with the clean-out before it where that takes hands."""
    if not (part.timetable.problem.clean_outs.any and part.timetable.problem.clean_outs.takes_hands):
        return model.new_optional_fixed_size_interval_var(leader.load_at, loading, option.present, "")
    size = model.new_int_var(0, part.timetable.problem.slots, "")
    return model.new_optional_interval_var(leader.clean_at, size, leader.load_at + loading, option.present, "")


def _staffed(model: cp_model.CpModel, part: Part, at: Moment, length: int, crew: Crew, option: Option) -> None:
    """A task begins only where its people are there, left by the fixed firings, for all of its length."""
    free = crew.suffices(part.timetable.problem.people - part.timetable.people_used)
    domain = domain_of(whole_runs(free, length))
    model.add_linear_expression_in_domain(at, domain).only_enforce_if(option.present)


def ready(model: cp_model.CpModel, part: Part, v: Variables) -> None:
    """A firing is loaded when all its loads are ready: ``load_at >= ready`` for each that joins."""
    problem = part.timetable.problem
    for leader in v.leaders:
        for load, joins in leader.members.items():
            at = problem.loads[load].ready
            if at is not None and problem.slot_after(at) > 0:
                model.add(leader.load_at >= problem.slot_after(at)).only_enforce_if(joins)


def after_gap(model: cp_model.CpModel, part: Part, v: Variables) -> None:
    """A later stage is loaded a gap after the earlier one is out; without the earlier there is no later."""
    problem, timetable = part.timetable.problem, part.timetable
    free = set(part.loads)
    for load in part.loads:
        row = problem.loads[load]
        gap = problem.slots_of(row.gap_minutes)
        earlier = problem.load_number.get(row.after or "")
        if earlier is not None and earlier in free:
            model.add_implication(v.unplaced[earlier], v.unplaced[load])
            for first in v.leaders_of.get(earlier, []):
                for second in v.leaders_of.get(load, []):
                    if first is second:
                        continue
                    both = [first.members[earlier], second.members[load]]
                    model.add(second.load_at >= first.out + gap).only_enforce_if(both)
        elif earlier is not None:
            firing = timetable.firing_of.get(earlier)
            if firing is None:
                model.add(v.unplaced[load] == 1)
            else:
                out = out_minutes(timetable.firings[firing], problem.grid_minutes) + row.gap_minutes
                for leader in v.leaders_of.get(load, []):
                    model.add(leader.load_at >= problem.slots_of(out)).only_enforce_if(leader.members[load])
        for later in problem.follower.get(load, ()):
            firing = timetable.firing_of.get(later)
            if later not in free and firing is not None:
                model.add(v.unplaced[load] == 0)
                by = timetable.firings[firing].place.load - problem.slots_of(problem.loads[later].gap_minutes)
                for leader in v.leaders_of.get(load, []):
                    model.add(leader.out <= by).only_enforce_if(leader.members[load])


def session_at(model: cp_model.CpModel, part: Part, v: Variables) -> None:
    """A session booked by a person begins exactly then: ``unload_at = session_at``."""
    for leader in v.leaders:
        for load, joins in leader.members.items():
            batch = part.timetable.batches.make(part.timetable.problem.loads[load].profile, (load,))
            if batch is not None and batch.session_slot >= 0:
                model.add(leader.unload == batch.session_slot).only_enforce_if(joins)


RULES: tuple[Rule, ...] = (
    each_load_once,
    work_fits_kiln,
    shares_firing,
    capacity,
    load_order,
    kiln_one_at_a_time,
    clean_out,
    heating,
    circuit_amps,
    hands,
    ready,
    after_gap,
    session_at,
)
"""Every rule of the model, in reading order; `circuit_amps` uses the intervals that `heating` makes."""


def both(one: NDArray[np.bool_], other: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Slots that are true in both."""
    return np.asarray(one & other, dtype=np.bool_)


def domain_of(allowed: NDArray[np.bool_]) -> cp_model.Domain:
    """The slots that are true, as the solver takes them."""
    return cp_model.Domain.from_intervals([[begin, end - 1] for begin, end in runs(allowed)])


def stay_within(
    model: cp_model.CpModel, wanted: Sequence[tuple[cp_model.IntervalVar, int]], limit: int, taken: NDArray[np.integer]
) -> None:
    """What is ``wanted`` at a time, and what is ``taken`` of it by slot already, is no more than ``limit``."""
    fixed = [(model.new_fixed_size_interval_var(b, e - b, ""), amount) for b, e, amount in levels(taken)]
    both_kinds = [*wanted, *fixed]
    model.add_cumulative([interval for interval, _ in both_kinds], [amount for _, amount in both_kinds], limit)


def runs(allowed: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Stretches ``[begin, end)`` of slots that are true."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], allowed, [False])).astype(np.int8)))
    return [(int(b), int(e)) for b, e in zip(edges[::2], edges[1::2], strict=True)]


def whole_runs(allowed: NDArray[np.bool_], length: int) -> NDArray[np.bool_]:
    """Slots from which ``length`` slots in a row are true."""
    starts = np.zeros(len(allowed), dtype=np.bool_)
    for begin, end in runs(allowed):
        if end - begin >= length:
            starts[begin : end - length + 1] = True
    return starts


def levels(amounts: NDArray[np.integer]) -> list[tuple[int, int, int]]:
    """Stretches ``(begin, end, amount)`` in which an amount above nought is constant."""
    changes = np.flatnonzero(np.diff(amounts)) + 1
    edges = [0, *changes.tolist(), len(amounts)]
    return [(b, e, int(amounts[b])) for b, e in pairwise(edges) if e > b and amounts[b] > 0]
