"""People, tokens, sessions and displays as the manager, and everybody for themselves, sees and changes them."""

from __future__ import annotations

from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.accounts import check_password, invite, name_key, new_person, person_shown, revoke_access, take_over_loads
from api.booking import stale
from api.problems import ProblemError, not_there
from api.security import Identity, Role, new_secret, secret_hash
from api.service import Service
from api.storage.change_log import record
from api.storage.tables import Person, SignedIn, Token
from api.words import tell

PERSON_ROLES = (Role.MANAGER, Role.ATTENDANT, Role.MEMBER)
"""The roles that a person can have; a display is a link, not a person."""


def people(service: Service) -> list[dict[str, Any]]:
    """Everybody, by name."""
    with service.store.read() as session:
        return [person_shown(person) for person in session.scalars(select(Person).order_by(Person.name_key))]


def add_person(service: Service, who: Identity, name: str, role: Role, takes_over: str | None) -> dict[str, Any]:
    """Add somebody, with a one-time link to hand to them."""
    now = service.now()
    author = who.author(now)
    with service.store.write() as session:
        person = new_person(session, name, role, author)
        taken = take_over_loads(session, person, takes_over, author) if takes_over else 0
        secret = invite(session, person, now, author)
        shown = person_shown(person)
    return shown | {"loads_taken_over": taken, "link": link(service, secret)}


def change_person(
    service: Service, who: Identity, person_id: int, version: int, name: str, role: Role, active: bool
) -> dict[str, Any]:
    """Change somebody's name, role, or whether they may sign in; their access ends where it shrinks."""
    now = service.now()
    with service.store.write() as session:
        person = _person(session, person_id)
        before = person_shown(person)
        if person.version != version:
            raise stale(session, "person", str(person_id), version, before)
        if person.role == Role.MANAGER and (role != Role.MANAGER or not active) and _managers(session) == 1:
            raise ProblemError(409, tell("refused.this_only_manager"), name="last-manager")
        other = session.scalar(select(Person.id).where(Person.name_key == name_key(name), Person.id != person_id))
        if other is not None or not name_key(name):
            raise ProblemError(409, tell("refused.somebody_that_name_already"), name="name-taken")
        if role != person.role or not active:
            revoke_access(session, person, now)
        person.name, person.name_key = " ".join(name.split())[:200], name_key(name)
        person.role, person.active = role, active
        person.version += 1
        shown = person_shown(person)
        record(session, who.author(now), "change", "person", str(person_id), before, shown)
    return shown


def invite_person(service: Service, who: Identity, person_id: int) -> dict[str, Any]:
    """A new one-time link for somebody who has lost theirs, or their password."""
    now = service.now()
    with service.store.write() as session:
        secret = invite(session, _person(session, person_id), now, who.author(now))
    return {"person": person_id, "link": link(service, secret)}


def link(service: Service, secret: str) -> str:
    """The address of a one-time link."""
    return f"{service.settings.public_url}/welcome?link={secret}"


def change_password(service: Service, who: Identity, old: str, new: str) -> None:
    """Change one's own password; all other sessions end."""
    check_password(new)
    now = service.now()
    with service.store.read() as session:
        kept = _person(session, who.person_id).password_hash
    if not service.accounts.passwords.right(old, kept):
        raise ProblemError(422, tell("refused.old_password_not"), name="wrong-password")
    hashed = service.accounts.passwords.hashed(new)
    with service.store.write() as session:
        _person(session, who.person_id).password_hash = hashed
        others = session.scalars(
            select(SignedIn).where(SignedIn.person_id == who.person_id, SignedIn.revoked_at.is_(None))
        )
        for other in others:
            if ("session", other.id) != who.credential:
                other.revoked_at = now
        record(session, who.author(now), "set password", "person", str(who.person_id), None, None)


def sessions(service: Service, who: Identity) -> list[dict[str, Any]]:
    """One's own sessions that are not over."""
    now = service.now()
    with service.store.read() as session:
        rows = session.scalars(
            select(SignedIn)
            .where(SignedIn.person_id == who.person_id, SignedIn.revoked_at.is_(None), SignedIn.expires_at > now)
            .order_by(SignedIn.id)
        )
        return [
            {
                "id": row.id,
                "device": row.device,
                "created_at": row.created_at.isoformat(),
                "expires_at": row.expires_at.isoformat(),
                "this_one": who.credential == ("session", row.id),
            }
            for row in rows
        ]


def end_session(service: Service, who: Identity, session_id: int) -> None:
    """End one of one's own sessions."""
    now = service.now()
    with service.store.write() as session:
        row = session.get(SignedIn, session_id) if 0 < session_id < 2**31 else None
        if row is None or row.person_id != who.person_id:
            raise not_there("session", session_id)
        if row.revoked_at is None:
            row.revoked_at = now
            record(session, who.author(now), "end", "session", str(session_id), None, None)


def add_token(service: Service, who: Identity, label: str, display: bool) -> dict[str, Any]:
    """A token for a program of one's own, or the link of a wall display; its secret is shown this once."""
    if display and who.role != Role.MANAGER:
        raise ProblemError(403, tell("refused.displays_managers_set"), name="not-allowed")
    now = service.now()
    secret = new_secret()
    with service.store.write() as session:
        row = Token(
            secret_hash=secret_hash(secret),
            kind=Role.DISPLAY if display else "person",
            person_id=None if display else who.person_id,
            label=label,
            created_at=now,
        )
        session.add(row)
        session.flush()
        shown = token_shown(row)
        record(session, who.author(now), "add", "token", str(row.id), None, shown)
    address = f"{service.settings.public_url}/display?key={secret}" if display else None
    return shown | {"secret": secret, "address": address}


def tokens(service: Service, who: Identity) -> list[dict[str, Any]]:
    """One's own tokens; a manager sees the displays too."""
    with service.store.read() as session:
        rows = session.scalars(select(Token).where(Token.revoked_at.is_(None)).order_by(Token.id))
        return [token_shown(row) for row in rows if _theirs(who, row)]


def revoke_token(service: Service, who: Identity, token_id: int) -> None:
    """End a token."""
    now = service.now()
    with service.store.write() as session:
        row = session.get(Token, token_id) if 0 < token_id < 2**31 else None
        if row is None or not _theirs(who, row):
            raise not_there("token", token_id)
        if row.revoked_at is None:
            row.revoked_at = now
            record(session, who.author(now), "revoke", "token", str(token_id), None, None)


def token_shown(row: Token) -> dict[str, Any]:
    """A token as people see it; never its secret."""
    return {
        "id": row.id,
        "kind": str(row.kind),
        "label": row.label,
        "created_at": row.created_at.isoformat(),
    }


def _theirs(who: Identity, row: Token) -> bool:
    if row.kind == Role.DISPLAY:
        return who.role == Role.MANAGER
    return row.person_id == who.person_id


def _person(session: Session, person_id: int | None) -> Person:
    found = session.get(Person, person_id) if person_id is not None and 0 < person_id < 2**31 else None
    if found is None:
        raise not_there("person", person_id)
    return found


def _managers(session: Session) -> int:
    return len(session.scalars(select(Person.id).where(Person.role == Role.MANAGER, Person.active)).all())
