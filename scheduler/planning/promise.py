"""When could a new load be out, with every promise already made kept?

The plan in hand stays as it is; the load is placed where it is out first, in a firing of its own or joining one that
is not loaded yet. A heavier firing takes longer: where joining would make others late, the day is offered with that
price. Days that could be had only by moving other firings are not offered; a re-plan with the load added finds them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from scheduler.planning.batches import Batch, Batches
from scheduler.planning.heats import Heats
from scheduler.planning.problem import state_problem
from scheduler.planning.reasons import why_unplaced
from scheduler.planning.timetable import Placed, Timetable, out_minutes
from shared.clock import Minute, local_time
from shared.errors import RequestError
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio
from shared.texts import say


@dataclass(frozen=True, slots=True)
class Offer:
    """A day on which a new load could be out: when, where, and what that costs others [currency]."""

    day: date
    out_at: Minute
    kiln: str
    shares_with: tuple[str, ...]
    price: float


@dataclass(frozen=True, slots=True)
class Promise:
    """The earliest time that costs nobody a promise, and the price of each earlier day.

    ``offer`` None: it finds no place in the plan's horizon, for the reason in ``why``.
    """

    load: str
    offer: Offer | None
    earlier: tuple[Offer, ...]
    why: str


def promise(studio: Studio, loads: Sequence[Load], plan: Plan, new_load: Load, *, now: Minute) -> Promise:
    """The earliest time at which ``new_load`` can be out.

    Parameters
    ----------
    studio, loads, plan
        The studio, what waits in it, and the plan in hand.
    new_load
        The load asked about; its own ``promised`` is left aside.
    now
        Nothing is loaded before this minute.

    Raises
    ------
    RequestError
        If the load's id is already waiting, or its profile unknown.
    """
    if any(load.id == new_load.id for load in loads):
        raise RequestError(say("request.load_already_waiting", load=new_load.id))
    if new_load.profile not in studio.profile_by_id:
        known = tuple(sorted(studio.profile_by_id))
        raise RequestError(say("request.there_no_profile", profile=new_load.profile, known=known))
    problem = state_problem(studio, [*loads, new_load.model_copy(update={"promised": None})], plan.begin, plan.end)
    batches = Batches(problem, Heats(problem))
    timetable = Timetable(problem, batches)
    book(timetable, plan)
    number = len(problem.loads) - 1
    alone = batches.make(new_load.profile, (number,))
    if alone is None or timetable.bounds((number,)) is None:
        return Promise(new_load.id, None, (), why_unplaced(timetable, number).why)
    from_now = max(0, problem.slot_after(now))
    places = [*_own(timetable, alone, from_now), *_shared(timetable, alone, from_now)]
    if not places:
        return Promise(new_load.id, None, (), why_unplaced(timetable, number).why)
    grid = problem.grid_minutes
    soonest = min(places, key=lambda p: (out_minutes(p[0], grid), p[1], p[0].kiln))
    free = [place for place in places if place[1] < 0.005]
    offer = _offer(timetable, min(free, key=lambda p: (out_minutes(p[0], grid), p[0].kiln)), number) if free else None
    earlier: dict[date, Offer] = {}
    for place in sorted(places, key=lambda p: (p[1], out_minutes(p[0], grid))):
        found = _offer(timetable, place, number)
        if offer is None or found.day < offer.day:
            earlier.setdefault(found.day, found)
    if offer is None and soonest[1] < 0.005:
        offer = _offer(timetable, soonest, number)
    return Promise(new_load.id, offer, tuple(earlier[day] for day in sorted(earlier)), "")


def book(timetable: Timetable, plan: Plan) -> None:
    """Book a plan's firings in a timetable on the plan's own grid, as planned; nothing may join those that are held."""
    problem, batches = timetable.problem, timetable.batches
    kilns = {kiln.id: number for number, kiln in enumerate(problem.kilns)}
    for firing in plan.firings:
        numbers = [problem.load_number[load] for load in firing.loads if load in problem.load_number]
        batch = batches.make(firing.profile, numbers) if numbers else None
        fit = None if batch is None else batches.fit(batch, kilns[firing.kiln])
        if batch is None or fit is None:
            continue
        slots = [
            (at - problem.begin) // problem.grid_minutes for at in (firing.load_at, firing.start_at, firing.unload_at)
        ]
        placed = timetable.placed_at(batch, kilns[firing.kiln], fit, *slots)
        free = problem.slot_after(firing.free_at)
        timetable.add(replace(placed, place=placed.place._replace(free=free), fixed=firing.held))
    timetable.log.clear()


def _urgent(batch: Batch, from_now: int) -> Batch:
    """The batch, wanted as soon as possible."""
    return replace(batch.at_any_price(), ready=max(batch.ready, from_now))


def _own(timetable: Timetable, alone: Batch, from_now: int) -> list[tuple[Placed, float, int | None]]:
    """Firings of its own, one a kiln, as soon as each can: ``(place, cost to others, firing joined)``."""
    found: list[tuple[Placed, float, int | None]] = []
    for kiln in range(len(timetable.problem.kilns)):
        fit = timetable.batches.fit(alone, kiln)
        if fit is not None:
            placed = timetable.best_place(_urgent(alone, from_now), kiln, fit)
            if placed is not None:
                found.append((placed, 0.0, None))
    return found


def _shared(timetable: Timetable, alone: Batch, from_now: int) -> list[tuple[Placed, float, int | None]]:
    """Firings that it may join, each as planned or as soon after as the heavier charge allows."""
    found: list[tuple[Placed, float, int | None]] = []
    number = alone.loads[0]
    for host in timetable.batches.hosts(number):
        for joined in tuple(timetable.by_profile.get(host, ())):
            firing = timetable.firings[joined]
            if firing.fixed or firing.place.load < max(from_now, alone.ready):
                continue
            batch = timetable.batches.make(host, (*firing.batch.loads, number))
            fit = None if batch is None else timetable.batches.fit(batch, firing.kiln)
            if batch is None or fit is None:
                continue
            mark = len(timetable.log)
            timetable.remove(joined)
            with timetable.batches.with_real_masses():  # as it was settled: it starts then
                placed = timetable.best_place(batch, firing.kiln, fit, only_start=firing.place.start)
            timetable.undo(mark)
            if placed is not None:
                found.append((placed, max(0.0, placed.late_cost - firing.late_cost), joined))
    return found


def _offer(timetable: Timetable, place: tuple[Placed, float, int | None], number: int) -> Offer:
    problem = timetable.problem
    placed, price, joined = place
    out_at = problem.begin + out_minutes(placed, problem.grid_minutes)
    others = () if joined is None else tuple(problem.loads[n].id for n in placed.batch.loads if n != number)
    day = local_time(out_at, problem.studio.place.zone).date()
    return Offer(day, out_at, problem.kilns[placed.kiln].id, others, round(price, 2))
