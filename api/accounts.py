"""People, their sessions, tokens and invitations."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from api.problems import ProblemError, not_there
from api.security import (
    FORGOTTEN_AFTER,
    FREE_FAILURES,
    FREE_FAILURES_OF_ADDRESS,
    LEAST_PASSWORD,
    Identity,
    Passwords,
    Role,
    new_secret,
    secret_hash,
    wait_after,
)
from api.storage.change_log import Author, record
from api.storage.engine import Store
from api.storage.studio_store import bump
from api.storage.tables import Attempt, BookedLoad, Feed, Invitation, Person, SignedIn, Token
from api.words import tell

INVITATION_DAYS = 7
"""How long a one-time link can be used [d]; house choice."""

NOBODY = "nobody yet"
"""Author of what happens before anybody is signed in."""


@dataclass(frozen=True, slots=True)
class Accounts:
    """Accounts of one service."""

    store: Store
    passwords: Passwords

    def first_link(self, now: datetime) -> str | None:
        """The secret of a one-time link that makes the first manager; None where there is a manager already.

        An unused earlier link ceases to work.
        """
        with self.store.write() as session:
            if session.scalar(select(Person.id).where(Person.role == Role.MANAGER)) is not None:
                return None
            session.execute(
                update(Invitation)
                .where(Invitation.person_id.is_(None), Invitation.used_at.is_(None))
                .values(used_at=now)
            )
            secret = new_secret()
            session.add(
                Invitation(
                    secret_hash=secret_hash(secret), created_at=now, expires_at=now + timedelta(days=INVITATION_DAYS)
                )
            )
        return secret

    def invited(self, secret: str, now: datetime) -> str | None:
        """Whose one-time link it is; None for the first link, which makes the manager, and for one not valid."""
        with self.store.read() as session:
            return session.scalar(
                select(Person.name)
                .join(Invitation, Invitation.person_id == Person.id)
                .where(
                    Invitation.secret_hash == secret_hash(secret),
                    Invitation.used_at.is_(None),
                    Invitation.expires_at > now,
                    Person.active,
                )
            )

    def accept(self, secret: str, name: str | None, password: str, now: datetime) -> Person:
        """Use a one-time link: set the password, and for the first link make the manager."""
        check_password(password)
        hashed = self.passwords.hashed(password)
        with self.store.write() as session:
            invitation = session.scalar(select(Invitation).where(Invitation.secret_hash == secret_hash(secret)))
            if invitation is None or invitation.used_at is not None or invitation.expires_at <= now:
                raise ProblemError(410, tell("refused.this_link_been"), name="link-not-valid")
            if invitation.person_id is None:
                if not name or not name.strip():
                    raise ProblemError(422, tell("refused.name_missing_say"), name="name-missing")
                person = new_person(session, name, Role.MANAGER, Author(None, NOBODY, now))
            else:
                found = session.get(Person, invitation.person_id)
                if found is None or not found.active:
                    raise not_there("person", invitation.person_id)
                person = found
                _revoke_all(session, person.id, now)
            person.password_hash = hashed
            invitation.used_at = now
            record(session, Author(person.id, person.name, now), "set password", "person", str(person.id), None, None)
        return person

    def sign_in(self, name: str, password: str, address: str, device: str, now: datetime, length: timedelta) -> str:
        """The secret of a new session.

        Raises
        ------
        ProblemError
            401 if name or password is wrong, 429 while waiting after failures.
        """
        keys = [f"name {name_key(name)}"[:260], f"address {address}"[:260]]
        with self.store.read() as session:
            for key in keys:
                self._must_not_wait(session, key, now)
            person = session.scalar(select(Person).where(Person.name_key == name_key(name), Person.active))
        right = self.passwords.right(password, person.password_hash if person is not None else None)
        secret = new_secret()
        with self.store.write() as session:
            if person is None or not right:
                for key in keys:
                    _count_failure(session, key, now)
            else:
                for key in keys:
                    _forget(session, key)
                session.add(
                    SignedIn(
                        secret_hash=secret_hash(secret),
                        person_id=person.id,
                        created_at=now,
                        expires_at=now + length,
                        device=device[:200],
                    )
                )
                record(session, Author(person.id, person.name, now), "sign in", "session", person.name, None, None)
        if person is None or not right:
            raise ProblemError(401, tell("refused.name_password_do"), name="wrong-password")
        return secret

    def identify(self, session_secret: str | None, token: str | None, now: datetime) -> Identity | None:
        """Who holds a session's or a token's secret; None for a secret that is none, or not any more."""
        if token is not None:
            return self._by_token(token)
        if session_secret is None:
            return None
        with self.store.read() as session:
            found = session.execute(
                select(SignedIn.id, SignedIn.expires_at, Person.id, Person.name, Person.role)
                .join(Person, Person.id == SignedIn.person_id)
                .where(
                    SignedIn.secret_hash == secret_hash(session_secret), SignedIn.revoked_at.is_(None), Person.active
                )
            ).first()
        if found is None or found[1] <= now:
            return None
        return Identity(found[2], found[3], Role(found[4]), ("session", found[0]))

    def _by_token(self, token: str) -> Identity | None:
        with self.store.read() as session:
            found = session.execute(
                select(Token.id, Token.kind, Token.label, Person.id, Person.name, Person.role, Person.active)
                .outerjoin(Person, Person.id == Token.person_id)
                .where(Token.secret_hash == secret_hash(token), Token.revoked_at.is_(None))
            ).first()
        if found is None:
            return None
        if found[1] == Role.DISPLAY:
            return Identity(None, found[2], Role.DISPLAY, ("token", found[0]))
        return Identity(found[3], found[4], Role(found[5]), ("token", found[0])) if found[6] else None

    def _must_not_wait(self, session: Session, key: str, now: datetime) -> None:
        row = session.get(Attempt, key)
        if row is None or now - row.last_at > FORGOTTEN_AFTER:
            return
        free = FREE_FAILURES if key.startswith("name ") else FREE_FAILURES_OF_ADDRESS
        rest = (row.last_at + wait_after(row.failures, free) - now).total_seconds()
        if rest > 0:
            raise ProblemError(
                429,
                tell("refused.too_many_failed", rest=int(rest) + 1),
                name="wait",
                headers={"retry-after": str(int(rest) + 1)},
            )


def name_key(name: str) -> str:
    """What makes two names the same: letters without case, single spaces."""
    return " ".join(name.split()).casefold()[:200]


def check_password(password: str) -> None:
    """Refuse a password that is too short.

    Raises
    ------
    ProblemError
        If it is.
    """
    if len(password) < LEAST_PASSWORD:
        raise ProblemError(
            422, tell("refused.password_too_short", least_password=LEAST_PASSWORD), name="password-too-short"
        )


def new_person(session: Session, name: str, role: Role, author: Author) -> Person:
    """Add a person.

    Raises
    ------
    ProblemError
        If somebody has that name.
    """
    key = name_key(name)
    if not key:
        raise ProblemError(422, tell("refused.name_empty_say"), name="name-missing")
    if session.scalar(select(Person.id).where(Person.name_key == key)) is not None:
        raise ProblemError(409, tell("refused.somebody_that_name"), name="name-taken")
    person = Person(
        name=" ".join(name.split())[:200], name_key=key, role=role, created_at=author.at, password_hash=None
    )
    session.add(person)
    session.flush()
    record(session, author, "add", "person", str(person.id), None, person_shown(person))
    return person


def person_shown(person: Person) -> dict[str, object]:
    """A person as others see them; never the password's hash."""
    return {
        "id": person.id,
        "name": person.name,
        "role": person.role,
        "active": person.active,
        "version": person.version or 1,
    }


def take_over_loads(session: Session, person: Person, owner: str, author: Author) -> int:
    """Give a person the loads that were booked under a name before they had an account."""
    rows = session.scalars(select(BookedLoad).where(BookedLoad.person_id.is_(None))).all()
    mine = [row for row in rows if row.body.get("owner") == owner]
    for row in mine:
        row.person_id = person.id
        row.version += 1
        record(session, author, "take over", "load", row.key, None, {"person": person.name, "version": row.version})
    if mine:
        bump(session, "live")
    return len(mine)


def invite(session: Session, person: Person, now: datetime, author: Author) -> str:
    """A one-time link's secret, with which a person sets a password; earlier links of theirs cease to work."""
    session.execute(
        update(Invitation).where(Invitation.person_id == person.id, Invitation.used_at.is_(None)).values(used_at=now)
    )
    secret = new_secret()
    session.add(
        Invitation(
            secret_hash=secret_hash(secret),
            person_id=person.id,
            created_at=now,
            expires_at=now + timedelta(days=INVITATION_DAYS),
        )
    )
    record(session, author, "invite", "person", str(person.id), None, None)
    return secret


def revoke_access(session: Session, person: Person, now: datetime) -> None:
    """End all sessions, tokens and feeds of somebody."""
    _revoke_all(session, person.id, now)
    session.execute(
        update(Token).where(Token.person_id == person.id, Token.revoked_at.is_(None)).values(revoked_at=now)
    )
    session.execute(update(Feed).where(Feed.person_id == person.id, Feed.revoked_at.is_(None)).values(revoked_at=now))


def _revoke_all(session: Session, person_id: int, now: datetime) -> None:
    session.execute(
        update(SignedIn).where(SignedIn.person_id == person_id, SignedIn.revoked_at.is_(None)).values(revoked_at=now)
    )


def _count_failure(session: Session, key: str, now: datetime) -> None:
    row = session.get(Attempt, key)
    if row is None:
        session.add(Attempt(key=key, failures=1, last_at=now))
        return
    row.failures = 1 if now - row.last_at > FORGOTTEN_AFTER else row.failures + 1
    row.last_at = now


def _forget(session: Session, key: str) -> None:
    row = session.get(Attempt, key)
    if row is not None:
        session.delete(row)
