"""The studio and its loads in the database: taken in from a folder, given back, changed part by part."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.storage.tables import BookedLoad, Meta, Person, StudioPart
from api.wire import NAMED_PARTS, PART_MODELS, SINGLE_PARTS, restored, stored
from shared.clock import minute_of
from shared.errors import RequestError
from shared.loads import Load
from shared.record import Record
from shared.studio import Studio

WAITING = "waiting"
"""State of a load that is still to be fired."""

FIELDS = {"studio": "place"}
"""Where a table's name in files is not the field's name in the code."""


def has_studio(session: Session) -> bool:
    """Whether a studio has been taken in."""
    return session.scalar(select(StudioPart.id).where(StudioPart.kind == "studio")) is not None


def take_in(session: Session, studio: Studio, loads: Sequence[Load], at: datetime) -> None:
    """Keep a studio and its loads, in their order.

    Raises
    ------
    RequestError
        If there is a studio already.
    """
    if has_studio(session):
        raise RequestError("the data holds a studio already; name another --data, or leave --studio out")
    for kind in PART_MODELS:
        held = getattr(studio, FIELDS.get(kind, kind))
        for position, record in enumerate((held,) if kind in SINGLE_PARTS else held, 1):
            session.add(StudioPart(kind=kind, key=_key(kind, record, position), position=position, body=stored(record)))
    owners = {person.name: person.id for person in session.scalars(select(Person))}
    for load in loads:
        session.add(new_row(load, owners.get(load.owner), at))
    touch_studio(session)


def _key(kind: str, record: Record, position: int) -> str:
    if kind in NAMED_PARTS:
        return str(getattr(record, "id"))  # noqa: B009 - the record's type is known by its kind alone
    return kind if kind in SINGLE_PARTS else str(position)


def new_row(load: Load, person_id: int | None, at: datetime) -> BookedLoad:
    """A row for a load that waits."""
    return BookedLoad(key=load.id, person_id=person_id, body=stored(load), state=WAITING, booked_at=at)


def studio_of(session: Session) -> Studio:
    """The studio as it is described now.

    Raises
    ------
    RequestError
        If there is none yet.
    """
    held: dict[str, list[Record]] = {kind: [] for kind in PART_MODELS}
    for part in session.scalars(select(StudioPart).order_by(StudioPart.position, StudioPart.id)):
        held[part.kind].append(restored(PART_MODELS[part.kind], part.body))
    if not held["studio"]:
        raise RequestError("there is no studio yet; start with kilnrota serve --studio FOLDER")
    values: dict[str, Any] = {
        FIELDS.get(kind, kind): records[0] if kind in SINGLE_PARTS else tuple(records)
        for kind, records in held.items()
        if records or kind not in SINGLE_PARTS
    }
    return Studio(**values)


def load_of(row: BookedLoad) -> Load:
    """The load that a row keeps."""
    return restored(Load, row.body)


def waiting_loads(session: Session) -> tuple[Load, ...]:
    """The loads that wait to be fired, in the order in which they came; a stage that is done holds none up."""
    rows = session.scalars(select(BookedLoad).where(BookedLoad.state == WAITING).order_by(BookedLoad.id))
    return tuple(next_stage(session, load_of(row)) for row in rows)


def next_stage(session: Session, load: Load) -> Load:
    """A load as the planner sees it: an earlier stage that is fired becomes the time from which it is ready."""
    if load.after is None:
        return load
    earlier = session.scalar(select(BookedLoad).where(BookedLoad.key == load.after))
    if earlier is None or earlier.state == WAITING:
        return load
    fired_at = [minute_of(earlier.fired_at) + math.ceil(load.gap_minutes)] if earlier.fired_at is not None else []
    known = [load.ready] if load.ready is not None else []
    values = {key: getattr(load, key) for key in load.model_fields_set - {"after", "gap_minutes"}}
    ready = max(known + fired_at, default=None)
    return Load(**values | ({"ready": ready} if ready is not None else {}))


def next_position(session: Session, kind: str) -> int:
    """Where a new table of a kind stands: last."""
    return (session.scalar(select(func.max(StudioPart.position)).where(StudioPart.kind == kind)) or 0) + 1


def counter(session: Session, name: str) -> int:
    """A counter's value."""
    row = session.get(Meta, name)
    return int(row.value["n"]) if row is not None else 0


def bump(session: Session, name: str) -> int:
    """Count one more."""
    row = session.get(Meta, name)
    if row is None:
        row = Meta(name=name, value={"n": 0})
        session.add(row)
    row.value = {"n": int(row.value["n"]) + 1}
    return int(row.value["n"])


def touch_studio(session: Session) -> None:
    """Tell those who remember the studio that it has changed."""
    bump(session, "studio")


def value(session: Session, name: str) -> dict[str, Any] | None:
    """A value by name."""
    row = session.get(Meta, name)
    return dict(row.value) if row is not None else None


def set_value(session: Session, name: str, new: dict[str, Any]) -> None:
    """Keep a value by name."""
    row = session.get(Meta, name)
    if row is None:
        session.add(Meta(name=name, value=new))
    else:
        row.value = new
