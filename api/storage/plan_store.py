"""Plans in the database. Only an audited plan can be kept, and one that is read again is proved again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.problems import ProblemError, not_there
from api.storage.change_log import Author, record
from api.storage.hold_store import unknown_holds
from api.storage.studio_store import bump
from api.storage.tables import BookedLoad, FiringRecord, Publication, StoredPlan
from api.wire import restored_loads, restored_text, stored_loads, stored_text
from api.words import tell
from scheduler.audit import AuditedPlan, prove
from shared.plans import Plan
from shared.studio import Studio

OPEN_STATES = ("loaded", "started")
"""States of a firing that is under way."""


def keep_plan(
    session: Session,
    audited: AuditedPlan,
    author: Author,
    kind: str,
    *,
    under_way: frozenset[str] = frozenset(),
    replanned: bool = False,
    based_on: int | None = None,
    basis: Mapping[str, int] | None = None,
    notes: Mapping[str, Any] | None = None,
) -> StoredPlan:
    """Keep a plan that the audit has passed, with what it was proved against.

    Parameters
    ----------
    kind
        ``plan``, ``replan`` or ``whatif``.
    basis
        The versions of the loads that it was made for, by load.
    notes
        What else a re-plan tells: changes, questions, what breaks if nobody re-plans.
    """
    row = StoredPlan(
        kind=kind,
        made_at=author.at,
        made_by=author.person_id,
        based_on=based_on,
        cost=audited.plan.proof.cost,
        plan=stored_text(audited.plan),
        studio=stored_text(audited.studio),
        loads=stored_loads(tuple(audited.loads.values())),
        basis=dict(basis or {}),
        under_way=sorted(under_way),
        replanned=replanned,
        notes=dict(notes or {}),
    )
    session.add(row)
    session.flush()
    record(session, author, "make", "plan", str(row.id), None, {"kind": kind, "cost": row.cost, "based_on": based_on})
    return row


def proved(row: StoredPlan) -> AuditedPlan:
    """The plan of a row, proved again.

    Raises
    ------
    BrokenPlanError
        If it no longer keeps every rule, since the program's rules or model have changed.
    """
    studio, loads = restored_text(Studio, row.studio), restored_loads(row.loads)
    plan = restored_text(Plan, row.plan)
    return prove(studio, loads, plan, frozenset(row.under_way), row.replanned)


def plan_row(session: Session, plan_id: int) -> StoredPlan:
    """A plan's row.

    Raises
    ------
    ProblemError
        If there is none.
    """
    row = session.get(StoredPlan, plan_id) if 0 < plan_id < 2**31 else None
    if row is None:
        raise not_there("plan", plan_id)
    return row


def current(session: Session) -> Publication | None:
    """The publication that holds now."""
    return session.scalar(select(Publication).order_by(Publication.id.desc()).limit(1))


def publish(session: Session, plan_id: int, based_on: int, author: Author, anyway: bool) -> Publication:
    """Make a plan the one that holds, in one transaction.

    Parameters
    ----------
    based_on
        The publication that was seen to hold; 0 for none.
    anyway
        Publish although what the plan was made for has changed since.

    Raises
    ------
    ProblemError
        If another plan was published meanwhile, or what the plan is for has changed.
    """
    row = plan_row(session, plan_id)
    if row.kind == "whatif":
        raise ProblemError(409, tell("refused.this_plan_answers"), name="what-if")
    before = current(session)
    if (before.id if before is not None else 0) != based_on:
        shown = {"publication": before.id, "plan": before.plan_id} if before is not None else {"publication": 0}
        raise ProblemError(
            409, tell("refused.another_plan_been"), name="stale",
            more={"current": shown},
        )  # fmt: skip
    if not anyway:
        loads, holds = changed_loads(session, row), unknown_holds(session, row)
        if loads or holds:
            what = tell("refused.loads_this_plan", loads=len(loads)) if loads else tell("refused.firings_have_been")
            raise ProblemError(
                409, tell("refused.since_was_made", what=what), name="plan-outdated",
                more={"changed": [*loads, *holds]},
            )  # fmt: skip
    _carry_over(session, row)
    publication = Publication(plan_id=row.id, at=author.at, person_id=author.person_id)
    session.add(publication)
    session.flush()
    bump(session, "live")
    record(
        session, author, "publish", "plan", str(row.id),
        {"plan": before.plan_id} if before is not None else None, {"plan": row.id, "publication": publication.id},
    )  # fmt: skip
    return publication


def changed_loads(session: Session, row: StoredPlan) -> list[dict[str, Any]]:
    """What differs between the loads that a plan was made for and the loads now; loads booked since do not count."""
    now = {load.key: load for load in session.scalars(select(BookedLoad))}
    found = []
    for load in restored_loads(row.loads):
        kept = now.get(load.id)
        if kept is None:
            found.append({"load": load.id, "now": "not there"})
        elif kept.state != "waiting":
            found.append({"load": load.id, "now": kept.state})
        elif row.basis.get(load.id, kept.version) != kept.version:
            found.append({"load": load.id, "now": "changed"})
    return found


def _carry_over(session: Session, row: StoredPlan) -> None:
    """Firings under way go on under the new plan; one that does not know of them cannot be published."""
    open_records = session.scalars(select(FiringRecord).where(FiringRecord.state.in_(OPEN_STATES))).all()
    ids = {firing.id for firing in restored_text(Plan, row.plan).firings}
    lost = [kept.firing_id for kept in open_records if kept.firing_id not in ids or kept.plan_id != row.based_on]
    interrupted = set(row.notes.get("interrupted", ()))
    # One that failed while it only cooled counts as fired: it stays in its kiln, and what was noted of it holds.
    ended = interrupted - set(row.under_way)
    missing = sorted(set(lost) - ended)
    if missing:
        raise ProblemError(
            409, tell("refused.firing_under_way_this", missing=tuple(missing)),
            name="under-way", more={"changed": [{"firing": name} for name in missing]},
        )  # fmt: skip
    for kept in open_records:
        if kept.firing_id in ended:
            kept.state = "interrupted"
        else:
            kept.plan_id = row.id
        kept.version += 1
