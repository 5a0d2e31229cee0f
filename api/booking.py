"""Loads: booked, changed, cancelled, dried, collected; each change knows the version that it was based on."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.consistency import check_load
from api.problems import ProblemError, not_there, thing
from api.security import Identity, Role
from api.service import Service
from api.storage.change_log import changes_since, record, shown
from api.storage.plan_store import OPEN_STATES, current
from api.storage.studio_store import WAITING, counter, load_of, new_row, next_stage, set_value, waiting_loads
from api.storage.tables import Answer, BookedLoad, FiringRecord, Person
from api.wire import read_record, refuse, said, stored
from api.words import tell
from shared.clock import iso_text, minute_of
from shared.loads import Load
from shared.studio import Studio

LAST_ID = "last of loads"
"""Name of the counter of ids that the service gives."""

MEMBERS_MAY_NOT_SAY = ("priority", "kilns", "stream")
"""Keys of a load that are the staff's to say."""


def book(service: Service, who: Identity, body: Mapping[str, Any], person: int | None, key: str | None) -> Any:
    """Book a load; the same request with the same key is answered the same and books nothing.

    Returns
    -------
    dict
        The load as it is shown.
    """
    now = service.now()
    author = who.author(now)
    digest = hashlib.sha256(json.dumps([dict(body), person], sort_keys=True, default=str).encode()).hexdigest()
    with service.store.write() as session:
        if key is not None and who.person_id is not None:
            known = session.get(Answer, (who.person_id, key))
            if known is not None:
                if known.digest != digest:
                    raise ProblemError(422, tell("refused.this_idempotency_key"), name="key-used")
                return known.body
        studio = service.studio(session)
        owner = _owner(session, who, person)
        load = _read(body, studio, who, owner, session)
        if session.scalar(select(BookedLoad.id).where(BookedLoad.key == load.id)) is not None:
            raise ProblemError(409, tell("refused.there_load_already", load=repr(load.id)), name="id-taken")
        check_load(next_stage(session, load), _others(session, load), studio)
        row = new_row(load, owner.id if owner is not None else None, now)
        session.add(row)
        session.flush()
        answer = load_shown(row, studio)
        record(session, author, "book", "load", load.id, None, answer)
        if key is not None and who.person_id is not None:
            session.add(Answer(person_id=who.person_id, key=key, digest=digest, status=201, body=answer, at=now))
    return answer


def change(service: Service, who: Identity, load_id: str, version: int, body: Mapping[str, Any]) -> Any:
    """Change a load that waits; its id stays."""
    author = who.author(service.now())
    with service.store.write() as session:
        row = _mine(session, who, load_id)
        studio = service.studio(session)
        _fresh(session, row, version, studio)
        _still_waits(session, row)
        before = load_of(row)
        owner = session.get(Person, row.person_id) if row.person_id is not None else None
        given = {**body, "id": body.get("id", load_id)}
        if given["id"] != load_id:
            raise refuse("load", "id", tell("refused.another_id_than"), tell("refused.leave_out_book"))
        if owner is None and "owner" not in given:
            given["owner"] = before.owner
        load = _read(given, studio, who, owner, session, before)
        check_load(next_stage(session, load), _others(session, load), studio)
        was = load_shown(row, studio)
        row.body = stored(load)
        row.version += 1
        answer = load_shown(row, studio)
        record(session, author, "change", "load", load_id, was, answer)
    return answer


def cancel(service: Service, who: Identity, load_id: str, version: int) -> Any:
    """Take a load off the list; not while it is in a kiln, nor while another waits for it."""
    author = who.author(service.now())
    with service.store.write() as session:
        row = _mine(session, who, load_id)
        studio = service.studio(session)
        _fresh(session, row, version, studio)
        _still_waits(session, row)
        later = [load.id for load in waiting_loads(session) if load.after == load_id]
        if later:
            raise ProblemError(409, tell("refused.load_comes_after", later=repr(later[0])), name="others-wait")
        was = load_shown(row, studio)
        row.state = "cancelled"
        row.version += 1
        answer = load_shown(row, studio)
        record(session, author, "cancel", "load", load_id, was, answer)
    return answer


def mark(service: Service, who: Identity, load_id: str, version: int, what: str) -> Any:
    """Note that a load has dried (or is assembled), so that it is ready now; or that it was collected."""
    now = service.now()
    author = who.author(now)
    with service.store.write() as session:
        row = _mine(session, who, load_id)
        studio = service.studio(session)
        _fresh(session, row, version, studio)
        was = load_shown(row, studio)
        if what == "dried":
            _still_waits(session, row)
            row.dried_at = now
            row.body = stored(load_of(row).model_copy(update={"ready": minute_of(now)}))
        else:
            if row.state != "fired":
                raise ProblemError(
                    409, tell("refused.load_not_fired", state=tell(f"load.{row.state}")), name="not-fired"
                )
            row.collected_at, row.state = now, "collected"
        row.version += 1
        answer = load_shown(row, studio)
        record(session, author, what, "load", load_id, was, answer)
    return answer


def listed(
    service: Service, who: Identity, state: str | None, owner: str | None, limit: int, offset: int
) -> list[dict[str, Any]]:
    """The loads that somebody may see, in the order in which they came."""
    with service.store.read() as session:
        asked = select(BookedLoad).order_by(BookedLoad.id).limit(limit).offset(offset)
        if not who.staff:
            asked = asked.where(BookedLoad.person_id == who.person_id)
        if state is not None:
            asked = asked.where(BookedLoad.state == state)
        rows = [row for row in session.scalars(asked) if owner is None or row.body.get("owner", "") == owner]
        studio, places = service.studio(session), _places(service, session)
        return [load_shown(row, studio) | {"planned": places.get(row.key)} for row in rows]


def one(service: Service, who: Identity, load_id: str) -> dict[str, Any]:
    """A load that somebody may see."""
    with service.store.read() as session:
        row = _mine(session, who, load_id)
        return load_shown(row, service.studio(session)) | {"planned": _places(service, session).get(row.key)}


def load_shown(row: BookedLoad, studio: Studio) -> dict[str, Any]:
    """A load as people see it."""
    return {
        "id": row.key,
        "version": row.version or 1,
        "state": row.state,
        "person": row.person_id,
        "load": said(load_of(row), studio.place),
        "booked_at": row.booked_at.isoformat(),
        "dried_at": _iso(row.dried_at),
        "collected_at": _iso(row.collected_at),
    }


def stale(session: Session, kind: str, key: str, version: int, now: Mapping[str, Any]) -> ProblemError:
    """The problem of a change that was based on an old version, with all that has changed since."""
    changes = [shown(change) for change in changes_since(session, kind, key, version)]
    who = tell("refused.changed_it_at", changes=changes[-1]["who"], changes2=changes[-1]["at"]) if changes else ""
    return ProblemError(
        409,
        tell("refused.this_version_your", kind=thing(kind), now=now["version"], version=version, who=who),
        name="stale",
        more={"changed": changes, "current": dict(now)},
    )


def in_a_kiln(session: Session, load_id: str) -> bool:
    """Whether a load is in a firing that is under way."""
    open_records = session.scalars(select(FiringRecord).where(FiringRecord.state.in_(OPEN_STATES)))
    return any(load_id in kept.planned.get("loads", ()) for kept in open_records)


def _mine(session: Session, who: Identity, load_id: str) -> BookedLoad:
    row = session.scalar(select(BookedLoad).where(BookedLoad.key == load_id))
    if row is None or (not who.staff and row.person_id != who.person_id):
        raise not_there("load", load_id)
    return row


def _fresh(session: Session, row: BookedLoad, version: int, studio: Studio) -> None:
    if row.version != version:
        raise stale(session, "load", row.key, version, load_shown(row, studio))


def _still_waits(session: Session, row: BookedLoad) -> None:
    if row.state != WAITING:
        raise ProblemError(409, tell("refused.load_book_new", state=tell(f"load.{row.state}")), name="not-waiting")
    if in_a_kiln(session, row.key):
        raise ProblemError(409, tell("refused.load_kiln_that"), name="in-a-kiln")


def _owner(session: Session, who: Identity, person: int | None) -> Person | None:
    if not who.staff:
        if person not in (None, who.person_id):
            raise ProblemError(403, tell("refused.members_book_themselves"), name="not-allowed")
        return session.get(Person, who.person_id)
    if person is None:
        return None
    found = session.get(Person, person) if 0 < person < 2**31 else None
    if found is None:
        raise not_there("person", person)
    return found


def _read(
    body: Mapping[str, Any],
    studio: Studio,
    who: Identity,
    owner: Person | None,
    session: Session,
    before: Load | None = None,
) -> Load:
    given = dict(body)
    if who.role == Role.MEMBER:
        kept = said(before, studio.place) if before is not None else {}
        for key in MEMBERS_MAY_NOT_SAY:
            if key in given and given[key] != kept.get(key):
                raise refuse("load", key, tell("refused.staff_say"), tell("refused.leave_out_ask"))
            if key in kept:
                given[key] = kept[key]
    if owner is not None:
        given["owner"] = owner.name
    if given.get("id") in (None, ""):
        given["id"] = _next_id(session)
    return read_record(Load, given, "load", studio.place)


def _next_id(session: Session) -> str:
    number = counter(session, LAST_ID)
    if number == 0:
        keys = session.scalars(select(BookedLoad.key))
        number = max((int(match[1]) for key in keys if (match := re.fullmatch(r"L(\d{1,9})", key))), default=0)
    while True:
        number += 1
        if session.scalar(select(BookedLoad.id).where(BookedLoad.key == f"L{number}")) is None:
            set_value(session, LAST_ID, {"n": number})
            return f"L{number}"


def _others(session: Session, load: Load) -> tuple[Load, ...]:
    """The loads that a load must fit: none where it comes after none."""
    return () if load.after is None else tuple(other for other in waiting_loads(session) if other.id != load.id)


def _places(service: Service, session: Session) -> dict[str, dict[str, Any]]:
    """Where each load is fired under the plan that holds."""
    publication = current(session)
    if publication is None:
        return {}
    plan_id = publication.plan_id

    def places() -> dict[str, dict[str, Any]]:
        audited = service.audited(session, plan_id)
        zone = audited.studio.place.zone
        return {
            load: {
                "firing": firing.id,
                "kiln": firing.kiln,
                "load_at": iso_text(firing.load_at, zone),
                "out_at": iso_text(firing.out_at, zone),
            }
            for firing in audited.plan.firings
            for load in firing.loads
        }

    return service.views.get(("places", plan_id), places)


def _iso(moment: datetime | None) -> str | None:
    return moment.isoformat() if moment is not None else None
