"""What the service keeps, as typed mapped classes. The vocabulary's records lie in JSON columns, in °C and minutes."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import JSON, ForeignKey, Index, MetaData, String, Text, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from api.storage.columns import UtcTime

NAMES = {
    "ix": "ix_%(column_0_label)s",
    "uq": "uq_%(table_name)s_%(column_0_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
"""Names of constraints, without which a migration could not drop them."""

Json = dict[str, Any]


class Row(DeclarativeBase):
    """What all tables share."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map = {datetime: UtcTime, Json: JSON, list[Any]: JSON}  # noqa: RUF012 - SQLAlchemy's own form


class Meta(Row):
    """Single values by name: counters and house rules of the service."""

    __tablename__ = "meta"
    name: Mapped[str] = mapped_column(String(60), primary_key=True)
    value: Mapped[Json]


class Person(Row):
    """Somebody who may sign in."""

    __tablename__ = "people"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(200))
    name_key: Mapped[str] = mapped_column(String(200), unique=True)
    role: Mapped[str] = mapped_column(String(20))
    password_hash: Mapped[str | None] = mapped_column(String(300))
    active: Mapped[bool] = mapped_column(default=True)
    version: Mapped[int] = mapped_column(default=1)
    created_at: Mapped[datetime]


class SignedIn(Row):
    """A session of somebody's browser; only the hash of its secret is kept."""

    __tablename__ = "sessions"
    id: Mapped[int] = mapped_column(primary_key=True)
    secret_hash: Mapped[str] = mapped_column(String(64), unique=True)
    person_id: Mapped[int] = mapped_column(ForeignKey("people.id"), index=True)
    created_at: Mapped[datetime]
    expires_at: Mapped[datetime]
    revoked_at: Mapped[datetime | None]
    device: Mapped[str] = mapped_column(String(200))


class Token(Row):
    """A secret for a program, or the read-only link of a wall display (which is nobody's)."""

    __tablename__ = "tokens"
    id: Mapped[int] = mapped_column(primary_key=True)
    secret_hash: Mapped[str] = mapped_column(String(64), unique=True)
    kind: Mapped[str] = mapped_column(String(20))
    person_id: Mapped[int | None] = mapped_column(ForeignKey("people.id"), index=True)
    label: Mapped[str] = mapped_column(String(200))
    created_at: Mapped[datetime]
    revoked_at: Mapped[datetime | None]


class Invitation(Row):
    """A one-time link with which somebody sets a password; without a person it makes the first manager."""

    __tablename__ = "invitations"
    id: Mapped[int] = mapped_column(primary_key=True)
    secret_hash: Mapped[str] = mapped_column(String(64), unique=True)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("people.id"), index=True)
    created_at: Mapped[datetime]
    expires_at: Mapped[datetime]
    used_at: Mapped[datetime | None]


class Attempt(Row):
    """Failed sign-ins of one name or one address."""

    __tablename__ = "attempts"
    key: Mapped[str] = mapped_column(String(260), primary_key=True)
    failures: Mapped[int]
    last_at: Mapped[datetime]


class Change(Row):
    """One change: who, when, what, before and after. Rows are only ever added."""

    __tablename__ = "changes"
    id: Mapped[int] = mapped_column(primary_key=True)
    at: Mapped[datetime]
    person_id: Mapped[int | None] = mapped_column(ForeignKey("people.id"))
    who: Mapped[str] = mapped_column(String(200))
    action: Mapped[str] = mapped_column(String(40))
    kind: Mapped[str] = mapped_column(String(40))
    key: Mapped[str] = mapped_column(String(200))
    before: Mapped[Json | None] = mapped_column(JSON(none_as_null=True))
    after: Mapped[Json | None] = mapped_column(JSON(none_as_null=True))
    __table_args__ = (Index("ix_changes_kind_key", "kind", "key"),)


class Answer(Row):
    """What a request with an idempotency key was answered, so that the same request is answered the same."""

    __tablename__ = "answers"
    person_id: Mapped[int] = mapped_column(ForeignKey("people.id"), primary_key=True)
    key: Mapped[str] = mapped_column(String(200), primary_key=True)
    digest: Mapped[str] = mapped_column(String(64))
    status: Mapped[int]
    body: Mapped[Json]
    at: Mapped[datetime]


class StudioPart(Row):
    """One table of the studio's description: a kiln, a circuit, a shift, a profile ..."""

    __tablename__ = "studio_parts"
    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(20))
    key: Mapped[str] = mapped_column(String(60))
    position: Mapped[int]
    body: Mapped[Json]
    version: Mapped[int] = mapped_column(default=1)
    __table_args__ = (UniqueConstraint("kind", "key"),)


class BookedLoad(Row):
    """A load, and what became of it."""

    __tablename__ = "loads"
    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(String(60), unique=True)
    person_id: Mapped[int | None] = mapped_column(ForeignKey("people.id"), index=True)
    body: Mapped[Json]
    state: Mapped[str] = mapped_column(String(20), index=True)
    version: Mapped[int] = mapped_column(default=1)
    booked_at: Mapped[datetime]
    dried_at: Mapped[datetime | None]
    fired_at: Mapped[datetime | None]
    collected_at: Mapped[datetime | None]


class StoredPlan(Row):
    """A plan that the audit has passed, with the studio and the loads that it was proved against."""

    __tablename__ = "plans"
    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(20))
    made_at: Mapped[datetime]
    made_by: Mapped[int | None] = mapped_column(ForeignKey("people.id"))
    based_on: Mapped[int | None] = mapped_column(ForeignKey("plans.id"))
    cost: Mapped[float]
    plan: Mapped[str] = mapped_column(Text)
    studio: Mapped[str] = mapped_column(Text)
    loads: Mapped[str] = mapped_column(Text)
    basis: Mapped[Json]
    under_way: Mapped[list[Any]]
    replanned: Mapped[bool]
    notes: Mapped[Json]


class Publication(Row):
    """That a plan was published. The last row says which plan holds; rows are only ever added."""

    __tablename__ = "publications"
    id: Mapped[int] = mapped_column(primary_key=True)
    plan_id: Mapped[int] = mapped_column(ForeignKey("plans.id"))
    at: Mapped[datetime]
    person_id: Mapped[int | None] = mapped_column(ForeignKey("people.id"))


class Job(Row):
    """Work in a worker process: a solve, which ends in a plan, or a question, which ends in a result."""

    __tablename__ = "jobs"
    id: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str] = mapped_column(String(20))
    state: Mapped[str] = mapped_column(String(20), index=True)
    request: Mapped[Json]
    person_id: Mapped[int | None] = mapped_column(ForeignKey("people.id"))
    asked_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    plan_id: Mapped[int | None] = mapped_column(ForeignKey("plans.id"))
    message: Mapped[str | None] = mapped_column(Text)
    result: Mapped[Json | None] = mapped_column(JSON(none_as_null=True))


class Hold(Row):
    """That somebody has fixed a firing: kiln, times [min since 1970] and loads. One let go stays as history."""

    __tablename__ = "holds"
    id: Mapped[int] = mapped_column(primary_key=True)
    kiln: Mapped[str] = mapped_column(String(60))
    load_at: Mapped[int]
    start_at: Mapped[int]
    unload_at: Mapped[int]
    loads: Mapped[list[Any]]
    at: Mapped[datetime]
    person_id: Mapped[int | None] = mapped_column(ForeignKey("people.id"))
    let_go_at: Mapped[datetime | None]
    why: Mapped[str | None] = mapped_column(Text)


class FiringRecord(Row):
    """What really happened to a planned firing."""

    __tablename__ = "firing_records"
    id: Mapped[int] = mapped_column(primary_key=True)
    plan_id: Mapped[int] = mapped_column(ForeignKey("plans.id"))
    firing_id: Mapped[str] = mapped_column(String(60))
    kiln: Mapped[str] = mapped_column(String(60), index=True)
    profile: Mapped[str] = mapped_column(String(60))
    planned: Mapped[Json]
    state: Mapped[str] = mapped_column(String(20), index=True)
    loaded_at: Mapped[datetime | None]
    started_at: Mapped[datetime | None]
    opened_at: Mapped[datetime | None]
    result: Mapped[str | None] = mapped_column(String(20))
    note: Mapped[str] = mapped_column(String(1000), default="")
    expected_hot_until: Mapped[int | None]
    expected_safe_at: Mapped[int | None]
    kwh: Mapped[float | None]
    version: Mapped[int] = mapped_column(default=1)
    __table_args__ = (UniqueConstraint("plan_id", "firing_id"),)


class Reading(Row):
    """One temperature of one firing [°C]."""

    __tablename__ = "readings"
    id: Mapped[int] = mapped_column(primary_key=True)
    record_id: Mapped[int] = mapped_column(ForeignKey("firing_records.id"))
    at: Mapped[datetime]
    temperature_c: Mapped[float]
    __table_args__ = (UniqueConstraint("record_id", "at"),)


class Notice(Row):
    """Something that people should look at, raised once by its key."""

    __tablename__ = "notices"
    id: Mapped[int] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(String(200), unique=True)
    kind: Mapped[str] = mapped_column(String(40))
    at: Mapped[datetime]
    record_id: Mapped[int | None] = mapped_column(ForeignKey("firing_records.id"))
    text: Mapped[str] = mapped_column(Text)
    offer: Mapped[Json | None] = mapped_column(JSON(none_as_null=True))
    person_id: Mapped[int | None] = mapped_column(ForeignKey("people.id"))
    seen_at: Mapped[datetime | None]


class Feed(Row):
    """A calendar link; only the hash of its secret is kept."""

    __tablename__ = "feeds"
    id: Mapped[int] = mapped_column(primary_key=True)
    secret_hash: Mapped[str] = mapped_column(String(64), unique=True)
    kind: Mapped[str] = mapped_column(String(20))
    subject: Mapped[str] = mapped_column(String(200))
    person_id: Mapped[int] = mapped_column(ForeignKey("people.id"), index=True)
    created_at: Mapped[datetime]
    revoked_at: Mapped[datetime | None]
