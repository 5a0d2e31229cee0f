"""Whose loads a plan moves, and who hears of it: owners who sign in by a notice, everybody else from the staff."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.storage.tables import BookedLoad, Person
from scheduler.audit import AuditedPlan
from scheduler.planning.changes import Change, changes_between
from shared.clock import Minute, iso_text
from shared.plans import Plan

READS_NOTICES = (Person.active, Person.password_hash.is_not(None))
"""Of people: that they may sign in, and have set a password."""


@dataclass(frozen=True, slots=True)
class Hearing:
    """Who hears of a plan's changes: owners by a notice in their pages; and loads by owner that the staff tells of."""

    by_notice: tuple[str, ...]
    by_staff: Mapping[str, tuple[str, ...]]


def moved_loads(audited: AuditedPlan, before: Plan, now: Minute) -> list[dict[str, Any]]:
    """The loads that a plan made afresh moves to another kiln or day, or leaves out, as a re-plan's are kept.

    What is out already does not move, and what had no place has nobody who reckons with one.
    """
    zone = audited.studio.place.zone
    changes = changes_between(audited.loads.values(), before, audited.plan, zone, now)
    return [noted_change(change, zone) for change in changes if change.before is not None]


def noted_change(change: Change, zone: ZoneInfo) -> dict[str, Any]:
    """A change as it is kept with a plan, and shown."""
    sides = {
        side: None if at is None else {"kiln": at.kiln, "firing": at.firing, "out_at": iso_text(at.out_at, zone)}
        for side, at in (("before", change.before), ("after", change.after))
    }
    return {
        "load": change.load,
        "owner": change.owner,
        **sides,
        "promised": None if change.promised is None else iso_text(change.promised, zone),
        "breaks_promise": change.breaks_promise,
    }


def reading_owners(session: Session, loads: Sequence[str]) -> dict[str, Person]:
    """The people who own some loads and read their notices, by load."""
    rows = session.execute(
        select(BookedLoad.key, Person)
        .join(Person, Person.id == BookedLoad.person_id)
        .where(BookedLoad.key.in_(loads), *READS_NOTICES)
    )
    return {row[0]: row[1] for row in rows}


def hearing(session: Session, changes: Sequence[Mapping[str, Any]]) -> Hearing:
    """Who is told of changes by a notice, and of which loads the staff has to tell whom."""
    reading = reading_owners(session, [change["load"] for change in changes])
    by_staff: dict[str, tuple[str, ...]] = {}
    for change in sorted(changes, key=lambda change: (change["owner"], change["load"])):
        if change["load"] not in reading:
            by_staff[change["owner"]] = (*by_staff.get(change["owner"], ()), change["load"])
    return Hearing(tuple(sorted({person.name for person in reading.values()})), by_staff)
