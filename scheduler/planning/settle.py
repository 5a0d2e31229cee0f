"""The last word on times: every firing of a plan computed with its real mass, layers and hold, and put in its place.

During the search masses are rounded up, so real firings are never longer and a plan stays feasible; where they are
shorter, unloading moves forward to the first moment that has a hand free.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from scheduler.firing.course import Course
from scheduler.firing.simulate import simulate
from scheduler.planning.batches import Batches
from scheduler.planning.dispatch import place_in_stages
from scheduler.planning.heats import request
from scheduler.planning.layers import share_used
from scheduler.planning.reasons import MOST_EXPLAINED, why_late
from scheduler.planning.timetable import Placed, Timetable
from shared.calendar import price_steps
from shared.clock import Minute
from shared.plans import CostParts, Firing, Late, Plan, PlannedSegment, Proof, Unplaced
from shared.studio import Studio

_PASSES = 3


def settle(timetable: Timetable) -> tuple[Placed, ...]:
    """Give each firing its exact phases and its best place with them; the timetable holds the result.

    A firing for which its exact phases find no place (an attended end can fall out of the shift when it comes sooner)
    gives its loads back, and they are placed anew, with exact phases from the start. So do the later stages of what
    has no place any more.
    """
    with timetable.batches.with_real_masses():
        _prepare(timetable.batches, timetable.snapshot())
        _shorten(timetable)
        for _ in range(_PASSES):
            if not _improve(timetable):
                break
        _let_go_of_stranded(timetable)
        place_in_stages(timetable)
        _heat_sooner(timetable)
    return timetable.snapshot()


def _shorten(timetable: Timetable) -> None:
    """Give each firing its exact phases at the start that it has, or else anywhere, before any goes elsewhere.

    At its own start it takes no more of anybody than it did, so that none loses its place to another's better one.
    """
    for number in _in_order(timetable):
        firing = timetable.firings[number]
        fit = timetable.batches.fit(firing.batch, firing.kiln)
        timetable.remove(number)
        if fit is None:
            continue
        for only_start in (firing.place.start, -1):
            placed = timetable.best_place(firing.batch, firing.kiln, fit, only_start=only_start)
            if placed is not None and timetable.add_clean(placed):
                break


def _improve(timetable: Timetable) -> bool:
    """Place each firing again, in order of start; True where something moved."""
    moved = False
    for number in _in_order(timetable):
        firing = timetable.firings[number]
        mark = len(timetable.log)
        timetable.remove(number)
        placed = timetable.best_place(firing.batch, firing.kiln, firing.fit)
        is_better = placed is not None and placed.place.guide < firing.place.guide - 1e-9
        if placed is None or not is_better or not timetable.add_clean(placed):
            timetable.undo(mark)
            continue
        moved = moved or placed.place[:4] != firing.place[:4]
    return moved


def _in_order(timetable: Timetable) -> list[int]:
    """The firings that may move, in order of start."""
    firings = timetable.firings
    return sorted((n for n in firings if not firings[n].fixed), key=lambda n: (firings[n].place.start, n))


def _let_go_of_stranded(timetable: Timetable) -> None:
    """Take out firings, be they held, with a load whose earlier stage has lost its place: that is no plan.

    What is in a kiln already stays, whatever a plan from elsewhere says of its stages.
    """
    for number in sorted(timetable.firings, key=lambda n: (timetable.firings[n].place.load, n)):
        firing = timetable.firings[number]
        if firing.place.load > 0 and timetable.bounds(firing.batch.loads) is None:
            timetable.remove(number)


def _heat_sooner(timetable: Timetable) -> None:
    """Start kilns for hot sessions as early as the house's ``session_margin`` asks, if they can; the sessions stay.

    By itself a plan starts them as late as their computed times allow, since a hold costs energy.
    """
    heats = timetable.batches.heats
    for number in [n for n, firing in timetable.firings.items() if firing.fit.phases.is_hot and not firing.fixed]:
        firing = timetable.firings[number]
        place = firing.place
        starts = range(place.unload - heats.ready_slots(firing.fit.phases), place.start)
        if not starts:
            continue
        at_its_time = replace(firing.batch, session_slot=place.unload)
        mark = len(timetable.log)
        timetable.remove(number)
        for start in starts:
            sooner = timetable.best_place(at_its_time, firing.kiln, firing.fit, only_start=start)
            if sooner is not None and timetable.add_clean(replace(sooner, batch=firing.batch)):
                break
        else:
            timetable.undo(mark)


def _prepare(batches: Batches, firings: Sequence[Placed]) -> None:
    """Compute the exact course of every firing in one call of the thermal model."""
    charges = (batches.charge(firing.batch, firing.kiln, exact=True) for firing in firings if not firing.fixed)
    batches.heats.prepare(charge[0] for charge in charges if charge is not None)


def write_plan_of(
    timetable: Timetable,
    *,
    made_at: Minute,
    bound: float,
    seconds: float,
    unplaced: Sequence[Unplaced],
    names: Sequence[str] | None = None,
) -> Plan:
    """The plan that a settled timetable means, in minutes, with what it costs and how far it is from proved.

    ``names`` are the ids of the firings in order of loading; without them they are numbered.
    """
    problem = timetable.problem
    studio = problem.studio
    placed = timetable.snapshot()
    ids = names if names is not None else [f"F{number}" for number in range(1, len(placed) + 1)]
    firings = firings_of(timetable, ids)
    late = tuple(_late(timetable, firings))
    priority = {load.id: load.priority for load in problem.loads}
    prices = studio.prices
    parts = CostParts(
        lateness=round(sum((prices.late_load + prices.late_hour * row.hours) * priority[row.load] for row in late), 6),
        unplaced=round(sum(studio.prices.unplaced * priority[row.load] for row in unplaced), 6),
        energy=round(sum(firing.energy_cost for firing in firings), 6),
        firings=round(studio.prices.firing * len(firings), 6),
        changes=round(sum(firing.moved_cost for firing in placed), 6),
        clean_outs=round(timetable.cleaning_cost(), 6),
    )
    return Plan(
        studio=studio.place.name,
        made_at=made_at,
        begin=problem.begin,
        end=problem.end,
        proof=proof_of(parts.total, bound, seconds),
        cost_parts=parts,
        firings=firings,
        unplaced=tuple(unplaced),
        late=late,
    )


def firings_of(timetable: Timetable, names: Sequence[str]) -> tuple[Firing, ...]:
    """The firings of a timetable in minutes, in order of loading, with these ids."""
    placed = timetable.snapshot()
    courses = _final_courses(timetable, placed)
    return tuple(_firing(timetable, n, p, c) for n, p, c in zip(names, placed, courses, strict=True))


def proof_of(cost: float, bound: float, seconds: float) -> Proof:
    """How far a cost is from its bound; the bound is never shown above the cost."""
    bound = min(bound, cost)
    if cost <= bound + 0.005:
        return Proof(status="optimal", cost=round(cost, 6), bound=round(cost, 6), seconds=seconds)
    near = cost <= bound * 1.05
    return Proof(status="within" if near else "unproved", cost=round(cost, 6), bound=round(bound, 6), seconds=seconds)


def _final_courses(timetable: Timetable, placed: Sequence[Placed]) -> list[Course]:
    problem = timetable.problem
    requests = []
    for firing in placed:
        phases = firing.fit.phases
        profile = problem.studio.profile_by_id[firing.batch.profile]
        hold = None
        if phases.is_hot:
            session_end = (firing.place.unload - firing.place.start) * problem.grid_minutes + phases.out_minutes
            hold = float(session_end - math.ceil(phases.target_minutes))
        requests.append(request(problem, phases.charge, profile, hold))
    return simulate(requests)


def _firing(timetable: Timetable, name: str, placed: Placed, course: Course) -> Firing:
    problem = timetable.problem
    studio = problem.studio
    place, phases = placed.place, placed.fit.phases
    kiln = problem.kilns[placed.kiln]
    profile = studio.profile_by_id[placed.batch.profile]
    loads = [problem.loads[number] for number in placed.batch.loads]
    start_at = problem.minute(place.start)
    unload_at = problem.minute(place.unload)
    out_at = unload_at + phases.out_minutes

    def after(minutes: float) -> Minute:
        return start_at + math.ceil(minutes)

    segments = profile.segments(placed.batch.row)
    target_at = after(course.target_minutes)
    hot_until = out_at if phases.is_hot else after(course.hot_minutes)
    safe_at = target_at + math.ceil(segments[-1].hold_minutes) if phases.is_hot else after(course.safe_minutes)
    planned = [
        PlannedSegment(
            rate_k_per_hour=segment.rate_k_per_hour,
            to_c=segment.to_c,
            hold_minutes=segment.hold_minutes,
            reached_at=after(times.reached_minutes),
            hold_ends_at=after(times.hold_ends_minutes),
        )
        for segment, times in zip(segments, course.segments, strict=True)
    ]
    if phases.is_hot:
        planned[-1] = planned[-1].model_copy(
            update={"hold_minutes": float(hot_until - target_at), "hold_ends_at": hot_until}
        )
    return Firing(
        id=name,
        kiln=kiln.id,
        profile=profile.id,
        size_row=placed.batch.row,
        loads=tuple(load.id for load in loads),
        load_at=problem.minute(place.load),
        start_at=start_at,
        target_at=target_at,
        hot_until=hot_until,
        safe_at=safe_at,
        unload_at=unload_at,
        free_at=max(out_at, after(course.free_minutes(float(out_at - start_at)))),
        segments=tuple(planned),
        layers=placed.fit.layers,
        amps=kiln.amps,
        kwh=round(course.kwh, 6),
        energy_cost=round(energy_cost(studio, course, start_at), 6),
        share_used=round(share_used(kiln, loads, placed.fit.layers), 6),
        unload_minutes=phases.out_minutes,
        clean_out_minutes=timetable.cleaning_slots(timetable.firing_of[placed.batch.loads[0]]) * problem.grid_minutes,
    )


def energy_cost(studio: Studio, course: Course, start_at: Minute) -> float:
    """Cost of a course's energy when it starts at ``start_at``, each step at the price of its first moment."""
    step = course.step_minutes
    end_at = start_at + math.ceil(len(course.power_kw) * step) + 1
    total = 0.0
    for price in price_steps(studio, start_at, end_at):
        first = math.ceil((price.begin - start_at) / step)
        last = math.ceil((price.end - start_at) / step)
        total += price.price * float(course.power_kw[first:last].sum()) * step / 60.0
    return total


def _late(timetable: Timetable, firings: Sequence[Firing]) -> list[Late]:
    problem = timetable.problem
    rows: list[Late] = []
    for firing in firings:
        for load_id in firing.loads:
            promised = problem.loads[problem.load_number[load_id]].promised
            if promised is not None and firing.out_at > promised:
                hours = round((firing.out_at - promised) / 60.0, 6)
                rows.append(Late(load=load_id, promised=promised, out_at=firing.out_at, hours=hours))
    priority = {load.id: load.priority for load in problem.loads}
    dearest = sorted(rows, key=lambda row: (-row.hours * priority[row.load], row.load))[:MOST_EXPLAINED]
    reasons = {row.load: why_late(timetable, problem.load_number[row.load]) for row in dearest}
    explained = [
        row.model_copy(update={"why": reasons[row.load].why, "would_help": reasons[row.load].would_help})
        if row.load in reasons
        else row
        for row in rows
    ]
    return sorted(explained, key=lambda row: (-row.hours, row.load))
