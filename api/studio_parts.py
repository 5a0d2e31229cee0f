"""The studio's parts as people change them over HTTP: versions, checks of the whole, a log of changes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.booking import stale
from api.consistency import check_whole
from api.problems import ProblemError, not_there
from api.security import Identity, Role
from api.service import Service
from api.storage.change_log import Author, record
from api.storage.studio_store import counter, next_position, set_value, studio_of, touch_studio, waiting_loads
from api.storage.tables import StudioPart
from api.wire import NAMED_PARTS, PART_MODELS, SINGLE_PARTS, read_record, refuse, restored, said, stored
from api.words import tell
from shared.record import Record
from shared.studio import Outage, Place, Studio

STAFF_MAY_CHANGE = ("outages", "absences")
"""The parts that attendants may change; all others are the manager's."""


def parts(service: Service, kind: str) -> list[dict[str, Any]]:
    """All parts of a kind, in their order."""
    _known(kind)
    with service.store.read() as session:
        place = service.studio(session).place
        rows = session.scalars(
            select(StudioPart).where(StudioPart.kind == kind).order_by(StudioPart.position, StudioPart.id)
        )
        return [part_shown(row, place) for row in rows]


def part(service: Service, kind: str, key: str) -> dict[str, Any]:
    """One part."""
    _known(kind)
    with service.store.read() as session:
        return part_shown(_row(session, kind, key), service.studio(session).place)


def add(service: Service, who: Identity, kind: str, body: Mapping[str, Any]) -> dict[str, Any]:
    """Add a part; it stands last."""
    _known(kind)
    _allowed(who, kind)
    if kind in SINGLE_PARTS:
        raise ProblemError(409, tell("refused.stands_once_change", kind=kind), name="stands-once")
    with service.store.write() as session:
        place = service.studio(session).place
        new = read_record(PART_MODELS[kind], body, kind, place)
        position = next_position(session, kind)
        key = str(getattr(new, "id", None) or _free_number(session, kind))
        if session.scalar(select(StudioPart.id).where(StudioPart.kind == kind, StudioPart.key == key)) is not None:
            raise refuse(kind, "id", tell("refused.id_another", kind=kind), tell("refused.give_each_own"))
        row = StudioPart(kind=kind, key=key, position=position, body=stored(new), version=1)
        session.add(row)
        _checked(session)
        answer = part_shown(row, place)
        record(session, who.author(service.now()), "add", kind, key, None, answer)
    return answer


def change(
    service: Service, who: Identity, kind: str, key: str, version: int, body: Mapping[str, Any]
) -> dict[str, Any]:
    """Change a part; its id stays."""
    _known(kind)
    _allowed(who, kind)
    with service.store.write() as session:
        row = _row(session, kind, key)
        place = service.studio(session).place
        before = part_shown(row, place)
        if row.version != version:
            raise stale(session, kind, key, version, before)
        given = {**body, "id": body.get("id", key)} if kind in NAMED_PARTS else dict(body)
        # Another unit or zone is read in the new one.
        new = read_record(PART_MODELS[kind], given, kind, place)
        if kind in NAMED_PARTS and getattr(new, "id", key) != key:
            raise refuse(kind, "id", tell("refused.another_id_than"), tell("refused.leave_out_add"))
        row.body = stored(new)
        row.version += 1
        _checked(session)
        answer = part_shown(row, new if isinstance(new, Place) else place)
        record(session, who.author(service.now()), "change", kind, key, before, answer)
    return answer


def remove(service: Service, who: Identity, kind: str, key: str, version: int) -> None:
    """Remove a part that nothing else needs."""
    _known(kind)
    _allowed(who, kind)
    if kind in SINGLE_PARTS:
        raise ProblemError(409, tell("refused.stands_once_cannot", kind=kind), name="stands-once")
    with service.store.write() as session:
        row = _row(session, kind, key)
        before = part_shown(row, service.studio(session).place)
        if row.version != version:
            raise stale(session, kind, key, version, before)
        session.delete(row)
        _checked(session)
        record(session, who.author(service.now()), "remove", kind, key, before, None)


def bring_in(session: Session, brought: Mapping[str, Any], author: Author) -> None:
    """Keep the outages and absences that a published re-plan was told of, where the studio does not know them yet."""
    studio = studio_of(session)
    for kind, bodies in brought.items():
        for body in bodies:
            new = restored(PART_MODELS[kind], body)
            known = any(_covers(old, new) for old in getattr(studio, kind))
            if not known:
                key = str(_free_number(session, kind))
                row = StudioPart(kind=kind, key=key, position=next_position(session, kind), body=body, version=1)
                session.add(row)
                session.flush()
                record(session, author, "add", kind, key, None, part_shown(row, studio.place))
                touch_studio(session)


def _covers(old: Record, new: Record) -> bool:
    """Whether what is known says all that is brought: the same, or the same thing out of use for longer."""
    if not isinstance(old, Outage) or not isinstance(new, Outage):
        return old == new
    as_long = old.ends is None or (new.ends is not None and old.ends >= new.ends)
    return (old.kiln, old.circuit) == (new.kiln, new.circuit) and old.begins <= new.begins and as_long


def part_shown(row: StudioPart, place: Place) -> dict[str, Any]:
    """A part as people see it."""
    return {
        "kind": row.kind,
        "key": row.key,
        "version": row.version or 1,
        "body": said(restored(PART_MODELS[row.kind], row.body), place),
    }


def _checked(session: Session) -> Studio:
    session.flush()
    rows = session.scalar(select(StudioPart.id).where(StudioPart.kind == "circuits"))
    kilns = session.scalar(select(StudioPart.id).where(StudioPart.kind == "kilns"))
    if rows is None or kilns is None:
        raise ProblemError(409, tell("refused.studio_keeps_least"), name="last-one")
    studio = studio_of(session)
    check_whole(studio, waiting_loads(session))
    touch_studio(session)
    return studio


def _free_number(session: Session, kind: str) -> int:
    # A number is never given twice, so that an old version of a removed part cannot be taken for a new one's.
    keys = session.scalars(select(StudioPart.key).where(StudioPart.kind == kind))
    last = max((int(key) for key in keys if key.isdigit()), default=0)
    number = max(last, counter(session, f"last of {kind}")) + 1
    set_value(session, f"last of {kind}", {"n": number})
    return number


def _known(kind: str) -> None:
    if kind not in PART_MODELS:
        raise ProblemError(
            404, tell("refused.studio_no", kind=repr(kind), part_models=tuple(PART_MODELS)), name="not-there"
        )


def _allowed(who: Identity, kind: str) -> None:
    if who.role != Role.MANAGER and kind not in STAFF_MAY_CHANGE:
        raise ProblemError(403, tell("refused.managers_change", kind=kind), name="not-allowed")


def _row(session: Session, kind: str, key: str) -> StudioPart:
    row = session.scalar(select(StudioPart).where(StudioPart.kind == kind, StudioPart.key == key))
    if row is None:
        raise not_there(kind, key)
    return row
