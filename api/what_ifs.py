"""What-ifs asked for through the service: the studio as it might be, planned beside the studio as it is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from sqlalchemy.orm import Session

from api.consistency import check_whole
from api.firings import records_of_plan
from api.holds import held_plan
from api.plans import (
    Effort,
    as_it_went,
    died_since,
    held_now,
    late_by_records,
    missed_loads,
    refuse_far,
    solve_task,
    without_strangers,
)
from api.problems import ProblemError, not_there
from api.requests import plan_begin
from api.security import Identity
from api.service import Service
from api.solving import Missed, SolveTask
from api.storage.plan_store import current
from api.storage.studio_store import waiting_loads
from api.tried import tried
from api.unnoted import refuse_unnoted
from api.wire import NAMED_PARTS, PART_MODELS, SINGLE_PARTS, read_record
from api.words import tell
from scheduler.audit import AuditedPlan
from scheduler.planning.changes import Whereabouts, whereabouts
from scheduler.planning.events import Events, FiringLate
from shared.clock import local_time
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio


@dataclass(frozen=True, slots=True)
class Supposed:
    """What a what-if supposes: parts of the studio set or removed, loads added or cancelled."""

    set: tuple[tuple[str, Mapping[str, Any]], ...] = ()
    remove: tuple[tuple[str, str], ...] = ()
    add: tuple[Mapping[str, Any], ...] = ()
    cancel: tuple[str, ...] = ()


def ask_what_if(
    service: Service, who: Identity, day: date | None, effort: Effort, supposed: Supposed, request: dict[str, Any]
) -> int:
    """Plan as if the studio or its loads were otherwise; such a plan can be compared, not published.

    Where no day is named it begins as the plan that holds does; where that has begun, now, with what is in the kilns.
    The same is planned without what is supposed, and both several times: each takes as long as the effort says.
    """
    now = service.minute()
    with service.store.read() as session:
        real, waiting = service.studio(session), waiting_loads(session)
        refuse_unnoted(service, session, now)
        held, stands = held_now(service, session), _as_it_stands(service, session, now)
    studio = _supposed_studio(real, supposed)
    gone = set(supposed.cancel)
    unknown = gone - {load.id for load in waiting}
    if unknown:
        raise not_there("waiting_load", min(unknown))
    added = tuple(read_record(Load, body, "load", studio.place) for body in supposed.add)
    loads = (*(load for load in waiting if load.id not in gone), *added)
    check_whole(studio, loads)
    tries = tried(real, studio, [load.id for load in added], sorted(gone))
    today = local_time(now, real.place.zone).date()
    if day is None and stands is not None and stands.begins <= today:
        if gone & stands.inside(now):
            raise ProblemError(409, tell("refused.load_kiln_that"), name="in-a-kiln")
        base = stands.task(service, who, effort, real, waiting, now)
        task = stands.task(service, who, effort, studio, loads, now)
        how = "now"
    else:
        how = "begin" if day is None and stands is not None else "day"
        first = day or (stands.begins if stands is not None else date.fromordinal(today.toordinal() + 1))
        refuse_far(first, studio, now)
        base, task = (
            solve_task(service, who, "whatif", which, those, plan_begin(first, now, which), effort, held=held)
            for which, those in ((real, waiting), (studio, loads))
        )
    return service.jobs.ask(replace(task, base=base, tried=tries, begins_how=how), request)


@dataclass(frozen=True, slots=True)
class Standing:
    """How things stand under the plan that holds: what of it has been done or cannot be moved, and what waits.

    ``plan`` has only the firings whose loading has begun, and those that people hold; ``were`` tells of other loads
    where they are to be fired.
    """

    plan_id: int
    audited: AuditedPlan
    begins: date
    plan: Plan
    were: Mapping[str, Whereabouts]
    missed: Mapping[str, Missed]
    late: tuple[FiringLate, ...]

    def inside(self, now: int) -> set[str]:
        """The loads that are in kilns, or have been."""
        return {load for firing in self.plan.firings if firing.load_at <= now for load in firing.loads}

    def task(
        self, service: Service, who: Identity, effort: Effort, studio: Studio, loads: tuple[Load, ...], now: int
    ) -> SolveTask:
        """The solve that plans all that waits anew from now on, around what stays."""
        waiting = {load.id: load for load in loads}
        known = self.inside(now) | set(waiting)
        plan = without_strangers(self.plan, known)
        plan = plan.model_copy(
            update={"firings": tuple(f for f in plan.firings if f.load_at <= now or f.kiln in studio.kiln_by_id)}
        )
        stays = {load for firing in plan.firings for load in firing.loads}
        studio, kilns_down, circuits_down = died_since(studio, self.audited.studio, now)
        events = Events(
            down=kilns_down,
            circuits_down=circuits_down,
            late=tuple(item for item in self.late if item.firing in {firing.id for firing in plan.firings}),
            add=tuple(load for load in loads if load.id not in stays),
        )
        before = tuple(waiting.get(name, self.audited.loads[name]) for name in self.audited.loads if name in stays)
        return solve_task(
            service,
            who,
            "whatif",
            studio,
            before,
            now,
            effort,
            plan=plan,
            events=events,
            based_on=self.plan_id,
            again=self.were,
            missed=self.missed,
        )


def _as_it_stands(service: Service, session: Session, now: int) -> Standing | None:
    """How things stand under the plan that holds; None where none does."""
    publication = current(session)
    if publication is None:
        return None
    audited = service.audited(session, publication.plan_id)
    kept = records_of_plan(session, publication.plan_id)
    whole = held_plan(session, audited.plan)
    went = as_it_went(whole, kept, now, audited.studio.rules.grid_minutes) if kept else whole
    stays = tuple(firing for firing in went.firings if firing.load_at <= now or firing.held)
    return Standing(
        plan_id=publication.plan_id,
        audited=audited,
        begins=local_time(audited.plan.begin, audited.studio.place.zone).date(),
        plan=went.model_copy(update={"firings": stays}),
        were=whereabouts(firing for firing in went.firings if firing not in stays),
        missed=missed_loads(whole, kept, now) if kept else {},
        late=late_by_records(kept),
    )


def _supposed_studio(studio: Studio, supposed: Supposed) -> Studio:
    values: dict[str, Any] = {}

    def held(kind: str) -> list[Any]:
        name = "place" if kind == "studio" else kind
        return list(values.get(name, getattr(studio, name)))

    for kind, key in supposed.remove:
        if kind not in NAMED_PARTS:
            raise ProblemError(422, tell("refused.only_can_supposed", named_parts=tuple(NAMED_PARTS)), name="faults")
        values[kind] = tuple(item for item in held(kind) if item.id != key)
    for kind, body in supposed.set:
        if kind not in PART_MODELS:
            raise ProblemError(
                422, tell("refused.studio_no", kind=repr(kind), part_models=tuple(PART_MODELS)), name="faults"
            )
        new = read_record(PART_MODELS[kind], body, kind, studio.place)
        if kind in SINGLE_PARTS:
            values["place" if kind == "studio" else kind] = new
        elif kind in NAMED_PARTS:
            old = held(kind)
            at = next((n for n, item in enumerate(old) if item.id == getattr(new, "id", None)), len(old))
            values[kind] = (*old[:at], new, *old[at + 1 :])
        else:
            values[kind] = (*held(kind), new)
    return studio.model_copy(update=values) if values else studio
