"""Questions to the planner that take a while: why a load is late or has no place, and what would mend it.

They run in worker processes as solves do; what is found is kept with the job, as plain values.
"""

from __future__ import annotations

import os
import time
from dataclasses import dataclass
from datetime import datetime
from multiprocessing.connection import Connection
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from api import booking
from api.firings import current_plan_id
from api.holds import held_plan
from api.jobs import QUESTION
from api.moves import reading_owners
from api.notices import promised_key, raise_notice
from api.problems import not_there
from api.security import Identity
from api.service import Service
from api.solving import stop_with
from api.storage.engine import Store
from api.storage.studio_store import counter
from api.storage.tables import Job
from api.words import tell
from scheduler.planning.door import Settings
from scheduler.planning.why import Explanation, Mend, explain_load
from shared.clock import Minute, iso_text
from shared.errors import KilnrotaError
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio
from shared.texts import packed, said_by

EACH_SECONDS = 1.5
"""How long each change is solved [s]; house choice: a dozen changes are answered while one waits."""

LOOKED_AT = 300
"""How many of the latest jobs are looked through for an answer that is there already [-]."""


@dataclass(frozen=True)
class WhyTask:
    """One such question: the studio, its loads and its plan, and the load that is asked about."""

    studio: Studio
    loads: tuple[Load, ...]
    plan: Plan
    load: str
    settings: Settings
    at: datetime
    person_id: int | None
    kind: str = QUESTION


@dataclass(frozen=True, slots=True)
class Looking:
    """How far a question is: the rule that is being looked at. It has no plan of its own, so no cost and no bound."""

    seconds: float
    note: str
    cost: float | None = None
    bound: float | None = None
    late: int | None = None
    unplaced: int | None = None
    energy: float | None = None


def ask_why(service: Service, who: Identity, load_id: str, work: int | None = None) -> int:
    """Ask what would mend a load of the plan that holds; returns the job's id.

    Raises
    ------
    KilnrotaError
        If no plan holds, or the load is not in it.
    """
    with service.store.read() as session:
        plan_id = current_plan_id(session)
        audited = service.audited(session, plan_id)
        if load_id not in audited.loads:
            raise not_there("load", load_id)
        plan, about = held_plan(session, audited.plan), _about(session, plan_id, load_id)
    seconds = None if work is not None else EACH_SECONDS
    task = WhyTask(
        studio=audited.studio,
        loads=tuple(audited.loads.values()),
        plan=plan,
        load=load_id,
        settings=Settings(seconds=seconds, work_limit=work, workers=1),
        at=service.now(),
        person_id=who.person_id,
    )
    return service.jobs.ask(task, about)


def promise_later(service: Service, who: Identity, load_id: str, version: int, promised: str) -> None:
    """Promise a load for another time, and tell its owner; who books for others tells those that do not sign in."""
    row = booking.one(service, who, load_id)
    booking.change(service, who, load_id, version, row["load"] | {"promised": promised})
    now = service.now()
    with service.store.write() as session:
        zone = service.studio(session).place.zone
        after, before = _local(promised, zone), row["load"].get("promised")
        text = (
            tell("notice.promised", load=load_id, after=after)
            if before is None
            else tell("notice.promised_anew", load=load_id, after=after, before=_local(before, zone))
        )
        reader = reading_owners(session, [load_id]).get(load_id)
        if reader is None:
            owner = row["load"].get("owner")
            text += tell("notice.please_tell", owner=owner) if owner else tell("notice.please_tell_owner")
        raise_notice(
            session,
            promised_key(load_id, version),
            "promise",
            now,
            text,
            person_id=None if reader is None else reader.id,
        )


def _local(text: str, zone: ZoneInfo) -> datetime:
    return datetime.fromisoformat(text).astimezone(zone)


def answers(session: Session) -> dict[str, dict[str, Any]]:
    """What has been found for loads of the plan that holds and the studio as it is, by load."""
    asked = select(Job).where(Job.kind == QUESTION, Job.state == "done").order_by(Job.id.desc()).limit(LOOKED_AT)
    found: dict[str, dict[str, Any]] = {}
    plan_id = current_plan_id(session)
    for job in session.scalars(asked):
        load_id = str(job.request.get("load", ""))
        if job.result is not None and load_id not in found and job.request == _about(session, plan_id, load_id):
            found[load_id] = job.result
    return found


def _about(session: Session, plan_id: int, load_id: str) -> dict[str, Any]:
    """What an answer holds for: the load, the plan, and the state of the studio."""
    return {"load": load_id, "plan": plan_id, "studio": counter(session, "studio")}


def work(pipe: Connection, task: WhyTask, job_id: int, data: str, niceness: int) -> None:
    """The worker process: solve each change, keep what was found, tell the service."""
    os.nice(niceness)
    stop_with(pipe)
    began = time.monotonic()

    def tell(rule: str) -> None:
        pipe.send(("progress", Looking(round(time.monotonic() - began, 3), rule)))

    try:
        found = explain_load(task.studio, task.loads, task.plan, task.load, settings=task.settings, progress=tell)
        _keep(explanation_shown(found, task.studio), job_id, data)
        pipe.send(("done", None))
    except KilnrotaError as error:
        pipe.send(("failed", packed(said_by(error))))
    except BrokenPipeError:
        os._exit(1)


def _keep(result: dict[str, Any], job_id: int, data: str) -> None:
    store = Store(data)
    try:
        with store.write() as session:
            job = session.get(Job, job_id)
            if job is not None and job.state == "running":
                job.state, job.result = "done", result
    finally:
        store.close()


def explanation_shown(found: Explanation, studio: Studio) -> dict[str, Any]:
    """An explanation as plain values; times in the studio's zone."""
    return {
        "load": found.load,
        "out_at": _time(found.out_at, studio),
        "rule": found.rule,
        "why": packed(found.why),
        "binding": list(found.binding),
        "tried": found.tried,
        "mends": [_mend(mend, studio) for mend in found.mends],
    }


def _mend(mend: Mend, studio: Studio) -> dict[str, Any]:
    change = mend.change
    return {
        "kind": change.kind,
        "who": change.who,
        "from": _time(change.begins, studio),
        "to": _time(change.ends, studio),
        "amount": change.amount,
        "out_at": _time(mend.out_at, studio),
        "moved": list(mend.moved),
        "skills": _skills_of(change.studio, studio) if change.kind == "hands" else [],
    }


def _skills_of(changed: Studio, studio: Studio) -> list[str]:
    """What the people of the shifts that a change brings have to be able to attend."""
    return sorted({skill for shift in changed.shifts if shift not in studio.shifts for skill in shift.skills})


def _time(minute: Minute | None, studio: Studio) -> str | None:
    return None if minute is None else iso_text(minute, studio.place.zone)
