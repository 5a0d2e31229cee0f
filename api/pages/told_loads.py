"""What the day says of loads that have changed: whose owners have a notice, and whom the staff has to tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.formats import Formats
from api.moves import READS_NOTICES, Hearing
from api.notices import LOAD_KINDS, load_told
from api.pages.plan_changes import Telling, telling
from api.security import Identity
from api.service import Service
from api.storage.tables import BookedLoad, Notice, Person


@dataclass(frozen=True, slots=True)
class ToldLoads:
    """Notices of changed loads in two lots: ``by_staff`` those that reach no owner, ``by_notice`` those that do.

    ``telling`` says of both lots whom it is about, as the page does from which a plan is published.
    """

    head: str
    telling: Telling
    by_staff: tuple[str, ...]
    by_notice: tuple[str, ...]
    ids: tuple[int, ...]


def told_loads(
    service: Service, who: Identity, listed: Sequence[Mapping[str, Any]], formats: Formats
) -> ToldLoads | None:
    """What the staff reads of the notices that are about loads; None where there are none. One's own come apart."""
    about = [one for one in listed if who.staff and one["kind"] in LOAD_KINDS and one["person"] != who.person_id]
    if not about:
        return None
    with service.store.read() as session:
        readers = _readers(session)
        read = [one for one in about if one["person"] in readers]
        unread = [one for one in about if one["person"] not in readers]
        by_staff = _by_owner(session, unread)
    names = {readers[one["person"]] for one in read}
    head = formats.words("day.told", count=len(about)) + " "
    head += formats.words.count("day.told_staff", len(by_staff)) if by_staff else formats.words("day.told_notice")
    return ToldLoads(
        head,
        telling(Hearing(tuple(sorted(names)), by_staff), (), formats),
        tuple(one["text"] for one in unread),
        tuple(one["text"] for one in read),
        tuple(one["id"] for one in about),
    )


def _readers(session: Session) -> dict[int, str]:
    """The names of the people who read their notices, by id."""
    asked = select(Person.id, Person.name).where(*READS_NOTICES)
    return {row[0]: row[1] for row in session.execute(asked)}


def _by_owner(session: Session, listed: Sequence[Mapping[str, Any]]) -> dict[str, tuple[str, ...]]:
    """The loads that some notices are about, by owner, both in order; the owner is empty where nobody is named."""
    asked = select(Notice.kind, Notice.key).where(Notice.id.in_([one["id"] for one in listed]))
    loads = sorted({load_told(row[0], row[1]) for row in session.execute(asked)})
    kept = select(BookedLoad.key, BookedLoad.body).where(BookedLoad.key.in_(loads))
    owners = {row[0]: str(row[1].get("owner", "")) for row in session.execute(kept)}
    found: dict[str, tuple[str, ...]] = {}
    for load in sorted(loads, key=lambda load: owners.get(load, "")):
        owner = owners.get(load, "")
        found[owner] = (*found.get(owner, ()), load)
    return found
