"""Holds in the database: which firings people have fixed, and what becomes of them when a plan is published."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.storage.change_log import Author, record
from api.storage.tables import Hold, Person, StoredPlan
from api.wire import restored_text
from api.words import rule_name, tell
from shared.clock import minute_of
from shared.plans import Firing, HoldNote, Plan
from shared.texts import packed, say, unpacked


def standing(session: Session) -> list[Hold]:
    """The holds that have not been let go, the oldest first."""
    return list(session.scalars(select(Hold).where(Hold.let_go_at.is_(None)).order_by(Hold.id)))


def held_firings(session: Session, plan: Plan) -> dict[str, Hold]:
    """The firings of a plan that are held, by id."""
    held = {}
    for hold in standing(session):
        firing = firing_of(hold, plan)
        if firing is not None:
            held[firing.id] = hold
    return held


def firing_of(hold: Hold, plan: Plan) -> Firing | None:
    """The firing of a plan that a hold fixes: the same kiln and times, and no loads but its own."""
    times = (hold.kiln, hold.load_at, hold.start_at, hold.unload_at)
    return next(
        (
            firing
            for firing in plan.firings
            if (firing.kiln, firing.load_at, firing.start_at, firing.unload_at) == times
            and set(firing.loads) <= set(hold.loads)
        ),
        None,
    )


def hold(session: Session, firing: Firing, author: Author) -> Hold:
    """Fix a firing."""
    row = Hold(
        kiln=firing.kiln,
        load_at=firing.load_at,
        start_at=firing.start_at,
        unload_at=firing.unload_at,
        loads=list(firing.loads),
        at=author.at,
        person_id=author.person_id,
    )
    session.add(row)
    session.flush()
    record(session, author, "hold", "hold", str(row.id), None, hold_shown(row))
    return row


def let_go(session: Session, row: Hold, author: Author, why: str) -> None:
    """End a hold, and keep why."""
    before = hold_shown(row)
    row.let_go_at, row.why = author.at, why
    record(session, author, "let go", "hold", str(row.id), before, hold_shown(row))


def unknown_holds(session: Session, row: StoredPlan) -> list[dict[str, Any]]:
    """Holds that a plan neither keeps nor tells of, since they were made while it was made."""
    plan, minute = restored_text(Plan, row.plan), minute_of(row.made_at)
    replaced = set(row.notes.get("replaces_holds", ()))
    return [
        {"kiln": one.kiln, "now": "held", "loads": ", ".join(one.loads)}
        for one in standing(session)
        if one.load_at > minute and one.id not in replaced and not firing_of(one, plan) and not note_of(one, plan)
    ]


def carry_holds(session: Session, row: StoredPlan, author: Author) -> list[tuple[Hold, str]]:
    """Bring the holds to a plan that is published; returns those that end since they could not be kept, and why."""
    plan, minute = restored_text(Plan, row.plan), minute_of(author.at)
    replaced = set(row.notes.get("replaces_holds", ()))
    ended = []
    for one in standing(session):
        firing, note = firing_of(one, plan), note_of(one, plan)
        if one.load_at <= minute:
            let_go(session, one, author, packed(tell("notice.loading_begun")))
        elif one.id in replaced:
            let_go(session, one, author, packed(tell("notice.moved_by_hand")))
        elif firing is None:
            why = packed(
                tell("notice.not_held")
                if note is None
                else say("audit.line_of_plan", rule=rule_name(note.rule), text=note.why)
            )
            let_go(session, one, author, why)
            ended.append((one, why))
        elif len(firing.loads) < len(one.loads):
            before = hold_shown(one)
            one.loads = list(firing.loads)
            record(session, author, "change", "hold", str(one.id), before, hold_shown(one))
    held = held_firings(session, plan)
    for firing in plan.firings:
        if firing.id in row.notes.get("holds", ()) and firing.id not in held:
            hold(session, firing, author)
    return ended


def note_of(one: Hold, plan: Plan) -> HoldNote | None:
    """What a plan tells of a hold that it could not keep."""
    return next(
        (
            note
            for note in plan.hold_notes
            if not note.kept
            and (note.kiln, note.start_at) == (one.kiln, one.start_at)
            and set(note.loads) <= set(one.loads)
        ),
        None,
    )


def name_of(session: Session, person_id: int | None) -> str:
    """Who a person is; empty for nobody."""
    person = None if person_id is None else session.get(Person, person_id)
    return "" if person is None else person.name


def hold_shown(row: Hold) -> dict[str, Any]:
    """A hold as the record of changes keeps it."""
    return {
        "id": row.id,
        "kiln": row.kiln,
        "load_at": row.load_at,
        "start_at": row.start_at,
        "unload_at": row.unload_at,
        "loads": list(row.loads),
        "let_go": row.let_go_at is not None,
        "why": row.why and unpacked(row.why),
    }
