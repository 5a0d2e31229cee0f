"""Plans made, compared and published through the service; what a solve is given is put together here."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.firings import current_plan_id, records_of_plan
from api.happened import happened as happened_texts
from api.happened import since
from api.holds import held_plan
from api.moves import moved_loads
from api.notices import late_hours, tell_of_holds, tell_people
from api.problems import ProblemError, not_there
from api.requests import plan_begin
from api.security import Identity
from api.service import Service
from api.solving import Missed, SolveTask
from api.storage import plan_store
from api.storage.hold_store import carry_holds
from api.storage.plan_store import OPEN_STATES, current, plan_row
from api.storage.studio_store import waiting_loads
from api.storage.tables import BookedLoad, FiringRecord, Job, Publication, StoredPlan
from api.studio_parts import bring_in
from api.unnoted import refuse_unnoted
from api.wire import restored_loads, restored_text
from api.words import tell
from scheduler.planning.changes import Whereabouts, whereabouts
from scheduler.planning.door import Settings
from scheduler.planning.events import CircuitDown, Events, FiringLate, KilnDown, check_named, delayed
from shared.clock import iso_text, local_time
from shared.loads import Load
from shared.plans import Firing, Plan
from shared.studio import Outage, Studio
from shared.texts import Text, unpacked


@dataclass(frozen=True, slots=True)
class Effort:
    """How long to search; rounds of work instead of seconds give the same plan every time."""

    seconds: float | None = None
    work: int | None = None
    seed: int = 0

    def settings(self, service: Service) -> Settings:
        """The planner's settings."""
        seconds = self.seconds if self.seconds is not None else service.settings.plan_seconds
        return Settings(
            seconds=None if self.work is not None else seconds,
            work_limit=self.work,
            seed=self.seed,
            workers=service.settings.solver_threads,
        )


@dataclass(frozen=True, slots=True)
class Happened:
    """What a re-plan is told; what the service knows by itself is added to it.

    ``again`` are loads that look for a place as if they had just come: a re-plan leaves alone what nothing has broken,
    so a load that is late stays late, also where the studio has changed for its sake. ``by_chance``: where nothing is
    said, and nothing known either, nothing is planned.
    """

    events: Events = field(default_factory=Events)
    by_records: bool | None = None
    again: tuple[str, ...] = ()
    by_chance: bool = False


def ask_plan(service: Service, who: Identity, day: date | None, effort: Effort, request: dict[str, Any]) -> int:
    """Plan afresh from a day on, tomorrow if none is named. Returns the job's id."""
    with service.store.read() as session:
        studio, loads, basis = service.studio(session), waiting_loads(session), _versions(session)
        _nothing_under_way(session)
        refuse_unnoted(service, session, service.minute())
        held = held_now(service, session)
    now = service.minute()
    first = day or date.fromordinal(local_time(now, studio.place.zone).date().toordinal() + 1)
    refuse_far(first, studio, now)
    begin = plan_begin(first, now, studio)
    task = solve_task(service, who, "plan", studio, loads, begin, effort, basis=basis, held=held)
    return service.jobs.ask(task, request)


def late_by_records(kept: Mapping[str, FiringRecord]) -> tuple[FiringLate, ...]:
    """The firings under way that run late, by what was noted of them."""
    return tuple(
        FiringLate(name, late_hours(row))
        for name, row in kept.items()
        if row.state in OPEN_STATES and late_hours(row) > 0.0
    )


def ask_replan(service: Service, who: Identity, happened: Happened, effort: Effort, request: dict[str, Any]) -> int:
    """Change the plan that holds as little as what has happened asks for. Returns the job's id.

    Raises
    ------
    ProblemError
        If no plan holds, or nothing has happened and that is no reason to plan.
    """
    now = service.minute()
    with service.store.read() as session:
        plan_id = current_plan_id(session)
        audited = service.audited(session, plan_id)
        studio = service.studio(session)
        waiting = {load.id: load for load in waiting_loads(session)}
        states = {row.key: row.state for row in session.scalars(select(BookedLoad))}
        kept, basis = records_of_plan(session, plan_id), _versions(session)
        plan = held_plan(session, audited.plan)
    check_named(studio, tuple(audited.loads.values()), audited.plan, happened.events)
    by_records = happened.by_records if happened.by_records is not None else bool(kept)
    missed: dict[str, Missed] = {}
    if by_records:
        missed = missed_loads(plan, kept, now)
        plan = as_it_went(plan, kept, now, audited.studio.rules.grid_minutes)
    fired = {load for firing in plan.firings for load in firing.loads if firing.out_at <= now}
    again = _movable(plan, happened.again, now)
    before = tuple(
        waiting.get(load.id, load)
        for load in audited.loads.values()
        if (load.id in waiting or states.get(load.id) == "cancelled" or load.id in fired) and load.id not in again
    )
    known = {load.id for load in before}
    plan = without_strangers(plan, known)
    told = happened.events
    ids = {firing.id for firing in plan.firings}
    late = {item.firing: item for item in told.late}
    late |= {item.firing: item for item in late_by_records(kept) if item.firing in ids and item.firing not in late}
    failed = tuple(
        Outage(kiln=one.kiln, begins=now, ends=one.until) for one in told.down if one.until is None or one.until > now
    ) + tuple(
        Outage(circuit=one.circuit, begins=now, ends=one.until)
        for one in told.circuits_down
        if one.until is None or one.until > now
    )
    outages = (*failed, *since(studio, audited.studio, now))
    studio, kilns_down, circuits_down = died_since(studio, audited.studio, now)
    events = Events(
        down=(*told.down, *kilns_down),
        circuits_down=(*told.circuits_down, *circuits_down),
        late=tuple(item for item in late.values() if item.firing in ids),
        add=tuple(load for name, load in waiting.items() if name not in known),
        cancel=tuple(name for name in known if states.get(name) == "cancelled"),
        absent=told.absent,
        outcomes=told.outcomes,
    )
    missed = {load: firing for load, firing in missed.items() if load in known and load not in again}
    texts = happened_texts(events, outages, audited.studio, plan, missed, tuple(again))
    if happened.by_chance and not texts:
        raise ProblemError(422, tell("refused.nothing_broke"), name="faults")
    task = solve_task(
        service,
        who,
        "replan",
        studio,
        before,
        now,
        effort,
        plan=plan,
        events=events,
        based_on=plan_id,
        basis=basis,
        again=again,
        missed=missed,
        happened=texts,
    )
    return service.jobs.ask(task, request)


def ask_all_again(service: Service, who: Identity, effort: Effort, request: dict[str, Any]) -> int:
    """Plan all that waits anew from now on, around what is in the kilns and what people hold. Returns the job's id.

    Raises
    ------
    ProblemError
        If no plan holds, or it is not known of a firing whether it took place.
    """
    with service.store.read() as session:
        refuse_unnoted(service, session, service.minute())
        waiting = tuple(load.id for load in waiting_loads(session))
    return ask_replan(service, who, Happened(by_records=True, again=waiting), effort, request)


def missed_loads(plan: Plan, kept: Mapping[str, FiringRecord], now: int) -> dict[str, Missed]:
    """The loads that wait although their firing's time has come: nobody has noted it, or it is to be fired again."""
    found: dict[str, Missed] = {}
    for firing in plan.firings:
        row = kept.get(firing.id)
        why = "unnoted" if row is None and firing.load_at <= now else "refire" if _to_refire(row) else None
        if why is not None:
            was = Missed(Whereabouts(firing.kiln, firing.id, firing.out_at), firing.start_at, why)
            found |= dict.fromkeys(firing.loads, was)
    return found


def _to_refire(row: FiringRecord | None) -> bool:
    return row is not None and row.state == "opened" and row.result == "refire"


def _movable(plan: Plan, asked: Collection[str], now: int) -> dict[str, Whereabouts]:
    """Where those of some loads are that can still be placed anew: what has begun, and what people hold, stays."""
    movable = whereabouts(firing for firing in plan.firings if firing.load_at > now and not firing.held)
    return {load: at for load, at in movable.items() if load in asked}


def died_since(now_is: Studio, was: Studio, now: int) -> tuple[Studio, tuple[KilnDown, ...], tuple[CircuitDown, ...]]:
    """The studio without the outages that began since the plan was made, and these: they interrupt what is fired."""
    dead = tuple(
        outage
        for outage in now_is.outages
        if outage not in was.outages and outage.begins <= now and (outage.ends is None or outage.ends > now)
    )
    rest = tuple(outage for outage in now_is.outages if outage not in dead)
    return (
        now_is.model_copy(update={"outages": rest}) if dead else now_is,
        tuple(KilnDown(outage.kiln, outage.ends) for outage in dead if outage.kiln is not None),
        tuple(CircuitDown(outage.circuit, outage.ends) for outage in dead if outage.circuit is not None),
    )


def as_it_went(plan: Plan, kept: Mapping[str, FiringRecord], now: int, grid: int) -> Plan:
    """The plan with what the records say: not loaded is still to do, opened is over, and nothing else is.

    ``grid`` is the plan's step [min].
    """
    firings = []
    for firing in plan.firings:
        row = kept.get(firing.id)
        if row is None and firing.load_at <= now:
            continue
        if _to_refire(row):
            continue
        if row is not None and row.state in OPEN_STATES:
            firing = _still_inside(firing, row, now, grid)
        if row is not None and row.state == "opened":
            out_at = min(firing.out_at, now)
            times = {"unload_at": out_at - firing.unload_minutes, "free_at": min(firing.free_at, max(out_at, now))}
            firing = firing.model_copy(update=times)
        firings.append(firing)
    return plan.model_copy(update={"firings": tuple(firings)})


def _still_inside(firing: Firing, row: FiringRecord, now: int, grid: int) -> Firing:
    """A firing that by what was noted is in its kiln: not started it starts now at the soonest, unopened it is not out.

    Whoever forgot to note something has a kiln that is taken for too long, never one that is loaded while it is full.
    """
    if row.state == "loaded" and firing.start_at < now:
        return delayed(firing, (now - firing.start_at) / 60.0, grid)
    out_at = firing.out_at + late_hours(row) * 60.0
    if out_at > now:
        return firing
    shift = math.ceil((now + 1 - out_at) / grid) * grid
    return firing.model_copy(
        update={"unload_at": firing.unload_at + shift, "free_at": max(firing.free_at, firing.out_at + shift)}
    )


def without_strangers(plan: Plan, known: set[str]) -> Plan:
    """A plan without the loads that are not known, and without firings of none."""
    firings = []
    for firing in plan.firings:
        loads = tuple(load for load in firing.loads if load in known)
        if loads == firing.loads:
            firings.append(firing)
        elif loads:
            layers = tuple(tuple(load for load in layer if load in known) for layer in firing.layers)
            firings.append(firing.model_copy(update={"loads": loads, "layers": tuple(x for x in layers if x)}))
    return plan.model_copy(update={"firings": tuple(firings)})


def publish(service: Service, who: Identity, plan_id: int, based_on: int, anyway: bool) -> dict[str, Any]:
    """Make a plan the one that holds, and tell those whom it touches."""
    now = service.now()
    with service.store.write() as session:
        row = plan_row(session, plan_id)
        audited = service.audited(session, plan_id)
        before = current(session)
        if row.kind == "plan" and before is not None and before.plan_id != plan_id:
            # A plan made afresh knows nothing of the one before it: whom it touches shows only now.
            plan = restored_text(Plan, plan_row(session, before.plan_id).plan)
            row.notes = row.notes | {"changes": moved_loads(audited, plan, service.minute())}
        publication = plan_store.publish(session, plan_id, based_on, who.author(now), anyway)
        bring_in(session, row.notes.get("brings", {}), who.author(now))
        told = tell_people(session, row, now)
        tell_of_holds(session, row, carry_holds(session, row, who.author(now)), service.studio(session), now)
        return publication_shown(publication) | {"told": told}


def compare(service: Service, first: int, second: int) -> dict[str, Any]:
    """Two plans side by side: what they cost, and each load that they treat differently."""
    with service.store.read() as session:
        rows = [plan_row(session, first), plan_row(session, second)]
        plans = [restored_text(Plan, row.plan) for row in rows]
        zone = service.studio(session).place.zone
        sides = []
        for plan in plans:
            sides.append({load: (f.kiln, iso_text(f.out_at, zone)) for f in plan.firings for load in f.loads})
        names = {load.id: load.owner for row in rows for load in restored_loads(row.loads)}
        loads = [
            {
                "load": name,
                "owner": owner,
                "first": _place(sides[0].get(name)),
                "second": _place(sides[1].get(name)),
            }
            for name, owner in names.items()
            if sides[0].get(name) != sides[1].get(name)
        ]
        return {
            "first": plan_shown(rows[0], plans[0]),
            "second": plan_shown(rows[1], plans[1]),
            "cheaper_by": round(plans[0].proof.cost - plans[1].proof.cost, 2),
            "loads": loads,
        }


def _place(found: tuple[str, str] | None) -> dict[str, str] | None:
    return None if found is None else {"kiln": found[0], "out_at": found[1]}


def listed(service: Service, limit: int) -> list[dict[str, Any]]:
    """Plans, the newest first."""
    with service.store.read() as session:
        rows = session.scalars(select(StoredPlan).order_by(StoredPlan.id.desc()).limit(limit)).all()
        return [plan_shown(row, restored_text(Plan, row.plan)) for row in rows]


def publications(service: Service, limit: int) -> list[dict[str, Any]]:
    """Publications, the newest first."""
    with service.store.read() as session:
        rows = session.scalars(select(Publication).order_by(Publication.id.desc()).limit(limit)).all()
        return [publication_shown(row) for row in rows]


def holding(service: Service) -> dict[str, Any]:
    """The publication that holds; number 0 where none does."""
    with service.store.read() as session:
        publication = current(session)
        if publication is None:
            return {"publication": 0, "plan": None, "at": None, "person": None}
        return publication_shown(publication)


def publication_shown(row: Publication) -> dict[str, Any]:
    """A publication as people see it."""
    return {"publication": row.id, "plan": row.plan_id, "at": row.at.isoformat(), "person": row.person_id}


def plan_shown(row: StoredPlan, plan: Plan) -> dict[str, Any]:
    """A plan in short."""
    return {
        "id": row.id,
        "kind": row.kind,
        "made_at": row.made_at.isoformat(),
        "made_by": row.made_by,
        "based_on": row.based_on,
        "cost": round(plan.proof.cost, 2),
        "bound": round(plan.proof.bound, 2),
        "status": plan.proof.status,
        "cost_parts": {name: round(value, 2) for name, value in plan.cost_parts.model_dump().items()},
        "firings": len(plan.firings),
        "late": [{"load": late.load, "hours": round(late.hours, 2), "why": late.why} for late in plan.late],
        "unplaced": [{"load": item.load, "rule": item.rule, "why": item.why} for item in plan.unplaced],
        "notes": row.notes,
    }


def job_shown(service: Service, session: Session, job_id: int) -> dict[str, Any]:
    """A solve as people see it."""
    job = session.get(Job, job_id) if 0 < job_id < 2**31 else None
    if job is None:
        raise not_there("job", job_id)
    run = service.jobs.run_of(job_id)
    return {
        "id": job.id,
        "kind": job.kind,
        "state": job.state,
        "asked_at": job.asked_at.isoformat(),
        "ended_at": job.ended_at.isoformat() if job.ended_at is not None else None,
        "plan": job.plan_id,
        "message": None if job.message is None else unpacked(job.message),
        "result": job.result and _in_english(job.result),
        "progress": run.reports[-1] if run is not None and run.reports else None,
    }


def _in_english(result: dict[str, Any]) -> dict[str, Any]:
    """An answer as programs read it; the pages say its reason in the reader's language."""
    return result | {"why": str(unpacked(str(result["why"])))}


def solve_task(
    service: Service,
    who: Identity,
    kind: str,
    studio: Studio,
    loads: tuple[Load, ...],
    begin: int,
    effort: Effort,
    *,
    plan: Plan | None = None,
    events: Events | None = None,
    based_on: int | None = None,
    basis: dict[str, int] | None = None,
    held: tuple[Firing, ...] = (),
    again: Mapping[str, Whereabouts] | None = None,
    missed: Mapping[str, Missed] | None = None,
    happened: tuple[Text, ...] = (),
) -> SolveTask:
    """A solve, with what the service knows of the moment and the person.

    Raises
    ------
    ProblemError
        If no load waits, or a kiln of the plan is no longer there.
    """
    events = events or Events()
    if not loads and not again and not events.add:
        raise ProblemError(409, tell("refused.no_load_waits"), name="no-loads")
    if plan is not None and any(firing.kiln not in studio.kiln_by_id for firing in plan.firings):
        raise ProblemError(409, tell("refused.kiln_plan_no"), name="kiln-gone")
    return SolveTask(
        kind=kind,
        studio=studio,
        loads=loads,
        now=service.minute(),
        begin=begin,
        settings=effort.settings(service),
        at=service.now(),
        person_id=who.person_id,
        who=who.name,
        plan=plan,
        events=events,
        based_on=based_on,
        basis=basis or {},
        held=held,
        again=dict(again or {}),
        missed=dict(missed or {}),
        happened=happened,
    )


def held_now(service: Service, session: Session) -> tuple[Firing, ...]:
    """The firings of the plan that holds which people have fixed."""
    publication = current(session)
    if publication is None:
        return ()
    plan = held_plan(session, service.audited(session, publication.plan_id).plan)
    return tuple(firing for firing in plan.firings if firing.held)


def _versions(session: Session) -> dict[str, int]:
    rows = session.execute(select(BookedLoad.key, BookedLoad.version))
    return {row.key: row.version for row in rows}


def _nothing_under_way(session: Session) -> None:
    row = session.scalar(select(FiringRecord).where(FiringRecord.state.in_(OPEN_STATES)))
    if row is not None:
        raise ProblemError(409, tell("refused.firing_under_way", firing=row.firing_id, kiln=row.kiln), name="under-way")


def refuse_far(day: date, studio: Studio, now: int) -> None:
    """Refuse a day that is over, or more than a year ahead."""
    today = local_time(now, studio.place.zone).date()
    if not 0 <= (day - today).days <= 366:
        raise ProblemError(422, tell("refused.day_past_more", day=day), name="day")
