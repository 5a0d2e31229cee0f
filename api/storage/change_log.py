"""The record of every change: who, when, what, before and after."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.storage.tables import BookedLoad, Change, Job, Publication, SignedIn, StoredPlan


@dataclass(frozen=True, slots=True)
class Author:
    """Who changes something, and when. Without a person it is the service itself or somebody not signed in."""

    person_id: int | None
    name: str
    at: datetime


def record(
    session: Session,
    author: Author,
    action: str,
    kind: str,
    key: str,
    before: Mapping[str, Any] | None,
    after: Mapping[str, Any] | None,
) -> None:
    """Add one change to the log, in the transaction that makes it."""
    session.add(
        Change(
            at=author.at,
            person_id=author.person_id,
            who=author.name,
            action=action,
            kind=kind,
            key=key,
            before=dict(before) if before is not None else None,
            after=dict(after) if after is not None else None,
        )
    )


def changes_since(session: Session, kind: str, key: str, version: int) -> list[Change]:
    """The changes of one thing that came after a version of it, the oldest first."""
    found = session.scalars(select(Change).where(Change.kind == kind, Change.key == key).order_by(Change.id))
    return [change for change in found if (change.after or {}).get("version", version + 1) > version]


def last_moment(session: Session) -> datetime | None:
    """The latest moment at which anything was booked, planned, published, changed or signed in to; None for nothing."""
    told = (BookedLoad.booked_at, Job.asked_at, StoredPlan.made_at, Publication.at, Change.at, SignedIn.created_at)
    found = [session.scalar(select(func.max(column))) for column in told]
    return max((moment for moment in found if moment is not None), default=None)


def shown(change: Change) -> dict[str, Any]:
    """A change as people see it."""
    return {
        "id": change.id,
        "at": change.at.isoformat(),
        "who": change.who,
        "action": change.action,
        "kind": change.kind,
        "key": change.key,
        "before": change.before,
        "after": change.after,
    }
