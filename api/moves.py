"""Whose loads a plan moves, and who hears of it: owners who sign in by a notice, everybody else from the staff."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.storage.tables import BookedLoad, Person
from scheduler.audit import AuditedPlan
from shared.clock import Minute, iso_text, local_time
from shared.plans import Firing, Plan


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
    was, will = _firings(before), _firings(audited.plan)
    changes = []
    for name, load in audited.loads.items():
        old, new = was.get(name), will.get(name)
        if old is None or old.out_at <= now:
            continue
        days = [local_time(firing.out_at, zone).date() for firing in (old, new) if firing is not None]
        if new is not None and old.kiln == new.kiln and days[0] == days[1]:
            continue
        kept = load.promised is not None and old.out_at <= load.promised
        sides = {
            side: None
            if firing is None
            else {"kiln": firing.kiln, "firing": firing.id, "out_at": iso_text(firing.out_at, zone)}
            for side, firing in (("before", old), ("after", new))
        }
        changes.append(
            {
                "load": name,
                "owner": load.owner,
                **sides,
                "promised": None if load.promised is None else iso_text(load.promised, zone),
                "breaks_promise": kept and (new is None or new.out_at > (load.promised or 0)),
            }
        )
    return changes


def _firings(plan: Plan) -> dict[str, Firing]:
    return {load: firing for firing in plan.firings for load in firing.loads}


def reading_owners(session: Session, loads: Sequence[str]) -> dict[str, Person]:
    """The people who own some loads and read their pages, by load: they may sign in, and have set a password."""
    rows = session.execute(
        select(BookedLoad.key, Person)
        .join(Person, Person.id == BookedLoad.person_id)
        .where(BookedLoad.key.in_(loads), Person.active, Person.password_hash.is_not(None))
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
