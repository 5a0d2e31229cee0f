"""Re-planning: when something breaks, change as little as possible and say who is touched.

What is under way stays, as does what a kiln is being cleaned out for (`cleaning`). Everything else starts from the old
plan, repaired by dispatch where it no longer holds; every load that changes its kiln, or the day it is out, has a
price, and what need not move goes back to its minute (`steadiness`).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from scheduler.audit import breaches, explain
from scheduler.planning.batches import Batch, Fit, Stay
from scheduler.planning.changes import Change, changes_between
from scheduler.planning.cleaning import book_cleaned
from scheduler.planning.dispatch import place_missing
from scheduler.planning.events import Events, Question, Situation, situation
from scheduler.planning.heats import Charge
from scheduler.planning.holds import Holds
from scheduler.planning.session import Progress, Session, Settings, studio_session
from scheduler.planning.steadiness import damaged, mend, put_back
from scheduler.planning.timetable import Placed, Timetable
from shared.clock import Minute, local_time, wall_minute
from shared.loads import Load, session_minutes
from shared.plans import Firing, Plan
from shared.studio import MOST_HORIZON_DAYS, CleanOut, Outage, Studio

BREAKS = frozenset(
    {
        "after_gap",
        "attendance",
        "circuit_amps",
        "hands",
        "kiln_one_at_a_time",
        "outages",
        "quiet",
        "ready",
        "session_at",
        "skills",
    }
)
"""Rules of the audit that tell what breaks if nobody re-plans; the others concern the plan file itself."""


@dataclass(frozen=True, slots=True)
class PutOff:
    """Work on a kiln that was to begin at ``was`` and can begin only once the kiln is empty, at ``begins`` [min]."""

    kiln: str
    was: Minute
    begins: Minute


@dataclass(frozen=True, slots=True)
class Replanned:
    """The new plan with the studio and the loads that it is for, and what it changes.

    ``cost_before`` is the old plan's cost, ``cost_left`` what of it was still to come when something happened;
    ``do_nothing`` tells what breaks if nobody re-plans, ``put_off`` which work on kilns waits until they are empty.
    ``held`` are the firings that were to stay as they are; the plan's ``hold_notes`` say which of them could not.
    ``done`` are firings that are over by the old plan, and whose loads are taken for fired.
    """

    plan: Plan
    studio: Studio
    loads: tuple[Load, ...]
    under_way: frozenset[str]
    changes: tuple[Change, ...]
    questions: tuple[Question, ...]
    lost: tuple[str, ...]
    do_nothing: tuple[str, ...]
    cost_before: float
    cost_left: float
    put_off: tuple[PutOff, ...] = ()
    held: tuple[Firing, ...] = ()
    done: tuple[str, ...] = ()


def replan(
    studio: Studio,
    loads: Sequence[Load],
    plan: Plan,
    *,
    now: Minute,
    events: Events,
    settings: Settings | None = None,
    progress: Callable[[Progress], None] | None = None,
    held: Collection[str] = (),
) -> Replanned:
    """A new plan from ``now`` on, as near to the old one as the prices make worth while.

    Parameters
    ----------
    studio, loads, plan
        As they were when ``plan`` was made.
    now
        The moment of the events [min]; the new plan begins with the next grid step, and reaches the studio's horizon
        or the end of ``plan``, whichever is later: no load loses its place to the calendar alone.
    held
        Ids of firings that people have fixed, beside those that ``plan`` marks; they stay unless they cannot.

    Raises
    ------
    RequestError
        If an event names something that is not there.
    """
    settings = settings or Settings(seconds=8.0)
    state = situation(studio, loads, plan, now, events)
    grid = studio.rules.grid_minutes
    begin = plan.begin - ((plan.begin - now) // grid) * grid
    far = _reaching(state.studio, plan.end - now)
    session = studio_session(far, state.loads, begin, settings, progress, _stays(state, begin), helped=True)
    fixed = _book_under_way(session, state)
    holds = Holds(session, tuple(firing for firing in state.waiting if firing.held or firing.id in held))
    cleaned = book_cleaned(holds, state.waiting, fixed)
    fixed |= cleaned
    holds.book(fixed)
    under_way = (*(firing.id for firing in state.under_way), *cleaned.values())
    _repair(session, state)
    holds.settle_stages(lambda: _repair(session, state))
    session.tell(session.timetable.cost(), "repaired")
    if damaged(session.timetable):
        mend(session)
    else:
        put_back(session.timetable, session.timetable.snapshot())
    result = session.finish(now, names=lambda placed: _names(placed, session, fixed | holds.names, state, plan))
    result = holds.told(result).model_copy(
        update={
            "under_way": under_way,
            "replanned": True,
            "last_work": {k.id: k.last_work for k in state.studio.kilns if studio.clean_outs and k.last_work},
        }
    )
    outages, put_off = _once_empty(state, result)
    return Replanned(
        plan=result,
        studio=state.studio.model_copy(update={"outages": outages}) if put_off else state.studio,
        loads=state.loads,
        under_way=frozenset(under_way),
        changes=_changes((*loads, *events.add), events, plan, result, now, studio),
        questions=state.questions,
        lost=state.lost,
        do_nothing=_do_nothing(state, plan, begin),
        cost_before=plan.proof.cost,
        cost_left=_cost_left(studio, loads, plan, now),
        put_off=put_off,
        held=holds.asked,
        done=state.done,
    )


def _reaching(studio: Studio, minutes: Minute) -> Studio:
    """The studio with a horizon of so many minutes at least, in whole days."""
    days = min(MOST_HORIZON_DAYS, math.ceil(minutes / (24 * 60)))
    if days <= studio.rules.horizon_days:
        return studio
    return studio.model_copy(update={"rules": studio.rules.model_copy(update={"horizon_days": days})})


def _once_empty(state: Situation, plan: Plan) -> tuple[tuple[Outage, ...], tuple[PutOff, ...]]:
    """Outages as they can be: a kiln with a charge in it can be worked on only once somebody has emptied it.

    The search has kept new firings out of the outages as they were; nothing is loaded in the time that this frees.
    """
    inside = {firing.kiln: firing for firing in plan.firings if firing.id in plan.under_way}
    outages: list[Outage] = []
    put_off: list[PutOff] = []
    for outage in state.studio.outages:
        firing = None if outage.kiln is None else inside.get(outage.kiln)
        if firing is None or not firing.load_at <= outage.begins < firing.free_at:
            outages.append(outage)
            continue
        put_off.append(PutOff(firing.kiln, outage.begins, firing.free_at))
        if outage.ends is None or outage.ends > firing.free_at:
            outages.append(outage.model_copy(update={"begins": firing.free_at}))
    return tuple(outages), tuple(put_off)


def _cost_left(studio: Studio, loads: Sequence[Load], plan: Plan, now: Minute) -> float:
    """What of a plan's cost belongs to loads that were not out at ``now``, as if nothing had happened [currency]."""
    prices = studio.prices
    priority = {load.id: load.priority for load in loads}
    left = [firing for firing in plan.firings if firing.out_at > now]
    late = sum(row.hours * priority.get(row.load, 1) for row in plan.late if row.out_at > now)
    late_loads = sum(priority.get(row.load, 1) for row in plan.late if row.out_at > now)
    lateness = late * prices.late_hour + late_loads * prices.late_load
    unplaced = sum(priority.get(row.load, 1) for row in plan.unplaced)
    energy = sum(firing.energy_cost for firing in left)
    cleaning = [
        asked.price
        for firings in _by_kiln(plan).values()
        for before, after in pairwise(firings)
        if after.load_at > now and (asked := _clean_out(studio, before, after)) is not None
    ]
    return lateness + unplaced * prices.unplaced + energy + len(left) * prices.firing + sum(cleaning)


def _by_kiln(plan: Plan) -> dict[str, list[Firing]]:
    found: dict[str, list[Firing]] = {}
    for firing in sorted(plan.firings, key=lambda firing: firing.load_at):
        found.setdefault(firing.kiln, []).append(firing)
    return found


def _clean_out(studio: Studio, before: Firing, after: Firing) -> CleanOut | None:
    profiles = studio.profile_by_id
    return studio.clean_out(profiles[before.profile].work, profiles[after.profile].work)


def _stays(state: Situation, begin: Minute) -> dict[str, Stay]:
    kilns = {kiln.id: number for number, kiln in enumerate(state.studio.kilns)}
    zone = state.studio.place.zone
    stays: dict[str, Stay] = {}
    for firing in state.waiting:
        day = local_time(firing.out_at, zone).date()
        first, last = (wall_minute(day, minutes, zone) - begin for minutes in (0, 24 * 60))
        stays |= dict.fromkeys(firing.loads, Stay(kilns[firing.kiln], first, last))
    return stays


def _book_under_way(session: Session, state: Situation) -> dict[int, str]:
    """Book what is under way as it runs; returns the ids by the number of the first load."""
    problem, batches, timetable = session.problem, session.batches, session.timetable
    kilns = {kiln.id: number for number, kiln in enumerate(problem.kilns)}
    names = {}
    for firing in sorted(state.under_way, key=lambda f: (f.unload_at, f.id)):
        numbers = [problem.load_number[load] for load in firing.loads]
        batch = batches.make(firing.profile, numbers)
        if batch is None:
            continue  # a plan from elsewhere that broke a rule; the audit says so
        kiln = problem.kilns[kilns[firing.kiln]]
        own = [problem.loads[number] for number in numbers]
        hot = problem.studio.profile_by_id[firing.profile].unload == "hot"
        charge = Charge(
            kilns[firing.kiln],
            firing.profile,
            firing.size_row,
            batch.ware_kg,
            len(firing.layers),
            session_minutes(kiln, own) if hot else 0.0,
        )
        phases = batches.heats.phases(charge)
        if phases is None:
            continue
        slots = [(at - problem.begin) // problem.grid_minutes for at in (firing.load_at, firing.start_at)]
        unload = (firing.unload_at - problem.begin) // problem.grid_minutes
        if unload > 0:
            # Whoever was to open it may be away now: the first moment from then on that has a hand free.
            unload = timetable.next_unload(batch, phases, slots[1], unload)
        placed = timetable.placed_at(batch, charge.kiln, Fit(firing.layers, phases), slots[0], slots[1], unload)
        timetable.add(replace(placed, fixed=True))
        names[batch.loads[0]] = firing.id
    timetable.log.clear()
    return names


def _repair(session: Session, state: Situation) -> None:
    """Keep what still holds of the old plan, in order of start; place the rest by dispatch.

    With real masses, as the old plan was settled: with the search's rounded ones a tight plan would fall apart.
    """
    with session.batches.with_real_masses():
        _repair_exactly(session, state)


def _repair_exactly(session: Session, state: Situation) -> None:
    problem, batches, timetable = session.problem, session.batches, session.timetable
    kilns = {kiln.id: number for number, kiln in enumerate(problem.kilns)}
    batches.heats.prepare(_charges(session, state, kilns))
    for firing in sorted(state.waiting, key=lambda f: (f.start_at, f.id)):
        load_at = (firing.load_at - problem.begin) // problem.grid_minutes
        numbers = [problem.load_number[load] for load in firing.loads if load in problem.load_number]
        numbers = [number for number in numbers if number not in timetable.firing_of]
        # A load whose earlier stage has lost its place, or is out too late, does not take its mates with it.
        numbers = [n for n in numbers if (bounds := timetable.bounds((n,))) is not None and bounds[0] <= load_at]
        batch = batches.make(firing.profile, numbers) if numbers else None
        fit = None if batch is None else batches.fit(batch, kilns[firing.kiln])
        if batch is None or fit is None:
            continue
        placed = _as_before(timetable, batch, kilns[firing.kiln], fit, firing)
        if placed is not None:
            timetable.add_clean(placed)
    place_missing(timetable, session.settings.seed)
    timetable.log.clear()


def _as_before(timetable: Timetable, batch: Batch, kiln: int, fit: Fit, firing: Firing) -> Placed | None:
    """A firing of the old plan to the minute where that still holds; else with its start alone; None: not even that."""
    problem = timetable.problem
    load, start, unload = (
        (at - problem.begin) // problem.grid_minutes for at in (firing.load_at, firing.start_at, firing.unload_at)
    )
    held = timetable.best_place(replace(batch, session_slot=unload), kiln, fit, only_start=start)
    if held is None:
        return timetable.best_place(batch, kiln, fit, only_start=start)
    bounds = timetable.bounds(batch.loads)
    place = held.place
    span = slice(load, load + max(1, fit.phases.load))
    if (
        bounds is not None
        and max(batch.ready, bounds[0], 0) <= load <= place.load
        and bool((timetable.people_used[0, span] < problem.people[0, span]).all())
        and not any(begin < place.load and end > load for begin, end, _ in timetable.busy(kiln))
    ):
        place = place._replace(load=load)
    return replace(held, batch=batch, place=place)


def _charges(session: Session, state: Situation, kilns: Mapping[str, int]) -> list[Charge]:
    """What decides the course of each firing of the old plan."""
    charges = []
    for firing in state.waiting:
        numbers = [session.problem.load_number[load] for load in firing.loads if load in session.problem.load_number]
        batch = session.batches.make(firing.profile, numbers) if numbers else None
        charge = None if batch is None else session.batches.charge(batch, kilns[firing.kiln], exact=True)
        if charge is not None:
            charges.append(charge[0])
    return charges


def _names(
    placed: Sequence[Placed], session: Session, fixed: Mapping[int, str], state: Situation, plan: Plan
) -> list[str]:
    """Ids of the new firings: what is under way keeps its own, and so does a firing with loads of an old one."""
    problem = session.problem
    taken = set(fixed.values())
    old = {load: firing.id for firing in state.waiting for load in firing.loads}
    numbers = [int(f.id[1:]) for f in plan.firings if f.id[:1] == "F" and f.id[1:].isdigit()]
    fresh = max(numbers, default=0)
    names: list[str] = []
    for firing in placed:
        own = fixed.get(firing.batch.loads[0]) if firing.fixed else None
        if own is None:
            before = (old.get(problem.loads[number].id) for number in firing.batch.loads)
            own = next((name for name in before if name is not None and name not in taken), None)
        if own is None:
            fresh += 1
            own = f"F{fresh}"
        taken.add(own)
        names.append(own)
    return names


def _changes(
    loads: Sequence[Load], events: Events, old: Plan, new: Plan, now: Minute, studio: Studio
) -> tuple[Change, ...]:
    """What changes for whom, sorted by person."""
    left = [load for load in loads if load.id not in events.cancel]
    found = changes_between(left, old, new, studio.place.zone, now)
    return tuple(sorted(found, key=lambda change: (change.owner, change.load)))


def _do_nothing(state: Situation, plan: Plan, begin: Minute) -> tuple[str, ...]:
    """What breaks, by the audit, if the old plan is simply followed."""
    known = {load.id for load in state.loads}
    left = [f for f in (*state.under_way, *state.waiting) if set(f.loads) & known]
    kept = [f.model_copy(update={"loads": tuple(load for load in f.loads if load in known)}) for f in left]
    rest = plan.model_copy(update={"begin": begin, "firings": tuple(kept)})
    cleaning = (firing for firing in state.waiting if firing.clean_out_minutes and firing.clean_out_at < begin)
    under_way = frozenset(firing.id for firing in (*state.under_way, *cleaning))
    found = breaches(state.studio, state.loads, rest, under_way=under_way, replanned=True)
    return tuple(explain(breach, state.studio) for breach in found if breach.rule in BREAKS)
