"""What one solve is: everything that the worker process needs, and nothing of the service's."""

from __future__ import annotations

import dataclasses
import os
import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from multiprocessing.connection import Connection
from typing import Any

from api.comparing import compared
from api.moves import noted_change
from api.storage.change_log import Author
from api.storage.engine import Store
from api.storage.plan_store import keep_plan
from api.storage.tables import Job
from api.wire import stored
from scheduler.audit import AuditedPlan, prove, prove_holds
from scheduler.planning.changes import Change, Whereabouts
from scheduler.planning.door import Progress, Settings, plan
from scheduler.planning.events import Events
from scheduler.planning.replan import Replanned, replan
from shared.clock import Minute, iso_text
from shared.errors import KilnrotaError
from shared.loads import Load
from shared.plans import Firing, Plan
from shared.studio import Studio
from shared.texts import Text, packed, said_by


@dataclass(frozen=True, slots=True)
class Missed:
    """Where a load was to be fired whose firing has not come about (``unnoted``), or not well (``refire``)."""

    was: Whereabouts
    start_at: Minute
    why: str


@dataclass(frozen=True)
class SolveTask:
    """One solve.

    Attributes
    ----------
    kind
        ``plan``, ``replan`` or ``whatif``.
    plan, events
        Of a re-plan: the plan that holds, and what has happened.
    based_on
        Id of the plan that holds, for the record.
    basis
        The versions of the loads when the solve was asked for, by load.
    held
        Of a plan: the firings that people have fixed; a re-plan's are marked in its plan.
    again
        Of a re-plan: where the loads were that are placed anew, as if they had just come.
    missed
        Of a re-plan: the loads that look for a place since their firing has not come about.
    happened
        Of a re-plan: what it is made for, in words.
    base, tried, begins_how
        Of a what-if: the same without what is tried, what that is in words, and why it begins when it does. Where a
        plan holds and has begun, both are solved as re-plans are: what is in the kilns stays there.
    """

    kind: str
    studio: Studio
    loads: tuple[Load, ...]
    now: Minute
    begin: Minute
    settings: Settings
    at: datetime
    person_id: int | None
    who: str
    plan: Plan | None = None
    events: Events = field(default_factory=Events)
    based_on: int | None = None
    basis: dict[str, int] = field(default_factory=dict)
    held: tuple[Firing, ...] = ()
    again: dict[str, Whereabouts] = field(default_factory=dict)
    missed: dict[str, Missed] = field(default_factory=dict)
    happened: tuple[Text, ...] = ()
    base: SolveTask | None = None
    tried: tuple[Text, ...] = ()
    begins_how: str = ""


@dataclass(frozen=True)
class Solved:
    """An audited plan with what a re-plan tells beside it."""

    audited: AuditedPlan
    under_way: frozenset[str]
    replanned: bool
    notes: dict[str, Any]


def solve(task: SolveTask, progress: Callable[[Progress], None]) -> Solved:
    """Plan or re-plan, and prove the result; a what-if is searched beside the studio as it is."""
    return _solve(task, progress) if task.base is None else compared(task, task.base, _solve, progress)


def _solve(task: SolveTask, progress: Callable[[Progress], None]) -> Solved:
    if task.plan is None:
        made = plan(
            task.studio,
            task.loads,
            now=task.now,
            begin=task.begin,
            settings=task.settings,
            progress=progress,
            held=task.held,
        )
        return Solved(prove_holds(prove(task.studio, task.loads, made), task.held), frozenset(), False, {})
    found = replan(
        task.studio, task.loads, task.plan, now=task.now, events=task.events, settings=task.settings, progress=progress
    )
    found = dataclasses.replace(found, changes=_from_where_they_were(found, task))
    audited = prove(found.studio, found.loads, found.plan, found.under_way, replanned=True)
    notes = replan_notes(found, task.studio, task.missed) | {
        "happened": [str(text) for text in task.happened],
        "happened_told": [packed(text) for text in task.happened],
    }
    return Solved(prove_holds(audited, found.held), found.under_way, True, notes)


def _from_where_they_were(found: Replanned, task: SolveTask) -> tuple[Change, ...]:
    """The changes, of loads that were placed anew too from where they were; out of the same kiln that day is none.

    Those whose firing has not come about are told in any case, and so is every one of both that has no place now.
    """
    zone = task.studio.place.zone
    were = task.again | {load: missed.was for load, missed in task.missed.items()}
    told = {change.load: change for change in found.changes}
    left_out = {one.load for one in found.plan.unplaced}
    for load in found.loads:
        if load.id in were and (load.id in told or load.id in left_out):
            after = told[load.id].after if load.id in told else None
            told[load.id] = Change(load.id, load.owner, were[load.id], after, load.promised)
    for name, was in task.again.items():
        if name in told and was.like(told[name].after, zone):
            del told[name]
    return tuple(sorted(told.values(), key=lambda change: (change.owner, change.load)))


def replan_notes(found: Replanned, before: Studio, missed: Mapping[str, Missed] | None = None) -> dict[str, Any]:
    """What a re-plan tells, as it is kept and shown; ``brings``: what the studio has to know once it is published."""
    zone = before.place.zone
    return {
        "changes": [_change(change, found.studio, (missed or {}).get(change.load)) for change in found.changes],
        "questions": [
            {
                "firing": question.firing,
                "default": question.default,
                "text": str(question.text),
                "told": packed(question.text),
            }
            for question in found.questions
        ],
        "interrupted": [question.firing for question in found.questions],
        "lost": list(found.lost),
        "do_nothing": list(found.do_nothing),
        "do_nothing_told": [packed(text) for text in found.do_nothing],
        "cost_before": found.cost_before,
        "cost_left": found.cost_left,
        "put_off": [
            {"kiln": one.kiln, "was": iso_text(one.was, zone), "begins": iso_text(one.begins, zone)}
            for one in found.put_off
        ],
        "brings": {
            kind: [stored(item) for item in getattr(found.studio, kind) if item not in getattr(before, kind)]
            for kind in ("outages", "absences")
        },
    }


def _change(change: Change, studio: Studio, missed: Missed | None) -> dict[str, Any]:
    zone = studio.place.zone
    told = noted_change(change, zone)
    if missed is not None:
        told["missed"] = {
            "why": missed.why,
            "firing": missed.was.firing,
            "kiln": missed.was.kiln,
            "start_at": iso_text(missed.start_at, zone),
        }
    return told


def work(pipe: Connection, task: SolveTask, job_id: int, data: str, niceness: int) -> None:
    """The worker process: solve, prove, keep the plan, tell the service; stop when the service is gone."""
    os.nice(niceness)
    stop_with(pipe)
    try:
        solved = solve(task, lambda progress: pipe.send(("progress", progress)))
        pipe.send(("done", _keep(solved, task, job_id, data)))
    except KilnrotaError as error:
        pipe.send(("failed", packed(said_by(error))))
    except BrokenPipeError:
        os._exit(1)


def stop_with(pipe: Connection) -> None:
    """End this process when the service ends."""

    def wait() -> None:
        # Nothing is ever sent to the worker: the pipe ends when the service ends, also when it is killed.
        try:
            pipe.recv()
        except (EOFError, OSError):
            os._exit(1)

    threading.Thread(target=wait, daemon=True).start()


def _keep(solved: Solved, task: SolveTask, job_id: int, data: str) -> int | None:
    store = Store(data)
    try:
        with store.write() as session:
            job = session.get(Job, job_id)
            if job is None or job.state != "running":
                return None  # cancelled or superseded in this very moment
            row = keep_plan(
                session,
                solved.audited,
                Author(task.person_id, task.who, task.at),
                task.kind,
                under_way=solved.under_way,
                replanned=solved.replanned,
                based_on=task.based_on,
                basis=task.basis,
                notes=solved.notes,
            )
            job.state, job.plan_id = "done", row.id
            return row.id
    finally:
        store.close()
