"""A service for tests: the small studio, five people, a clock that the test moves, on SQLite or PostgreSQL."""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from fastapi import FastAPI
from sqlalchemy import create_engine, text
from starlette.testclient import TestClient

from api.accounts import new_person
from api.app import create_app
from api.security import Role, new_secret, secret_hash
from api.service import Service
from api.settings import Settings
from api.storage.change_log import Author
from api.storage.engine import url_of
from api.storage.tables import Token
from tests.api.small_studio import write_small_studio

EVENING = datetime(2026, 11, 29, 18, 0, tzinfo=UTC)
"""Sunday evening in Lisbon: when the small studio's week is planned."""

PASSWORD = "four quiet kilns"
POSTGRES = os.environ.get("KILNROTA_TEST_POSTGRES")
"""URL of a PostgreSQL server on which the tests may make databases; without it they run on SQLite alone."""

DATABASES = ("sqlite", "postgresql") if POSTGRES else ("sqlite",)
PEOPLE = {"Marta": Role.MANAGER, "Wout": Role.ATTENDANT, "Ana": Role.MEMBER, "Ben": Role.MEMBER}

BISQUE = {"profile": "bisque-04", "footprint_cm2": 900, "height_mm": 90, "mass_kg": 5, "family": "buff", "pieces": 10}
"""A load that the small studio can fire."""


@dataclass
class Clock:
    """A clock that stands still until it is moved."""

    now: datetime = EVENING

    def __call__(self) -> datetime:
        return self.now

    def move(self, **by: float) -> None:
        """Move on by so much."""
        self.now += timedelta(**by)


@dataclass
class House:
    """A running service and its people."""

    app: FastAPI
    clock: Clock
    data: str
    client: TestClient
    secrets: dict[str, str] = field(default_factory=dict)

    @property
    def service(self) -> Service:
        """The service behind the application."""
        service: Service = self.app.state.service
        return service

    def call(self, who: str | None, method: str, path: str, body: Any = None, **more: Any) -> Any:
        """Send a request as somebody; the path is the API's."""
        headers = dict(more.pop("headers", {}))
        if who is not None:
            headers["authorization"] = f"Bearer {self.secrets[who]}"
        if body is not None:
            more["json"] = body
        return self.client.request(method, f"/api/v1{path}", headers=headers, **more)

    def get(self, who: str | None, path: str, **more: Any) -> Any:
        """What a request answers, which must be well."""
        answer = self.call(who, "GET", path, **more)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def post(self, who: str | None, path: str, body: Any = None, **more: Any) -> Any:
        """What a request answers, which must be well."""
        answer = self.call(who, "POST", path, body if body is not None else {}, **more)
        assert answer.status_code in (200, 201, 202), answer.text
        return answer.json()

    def solve(self, path: str = "/plans", body: Any = None, who: str = "Marta") -> Any:
        """Ask for a solve of a few rounds and wait for its end."""
        job = self.post(who, path, {"work": 3, **(body or {})})
        events = self.call(who, "GET", f"/jobs/{job['id']}/events")
        assert "event: ended" in events.text
        return self.get(who, f"/jobs/{job['id']}")

    def publish(self, plan: int, who: str = "Marta", **more: Any) -> Any:
        """Publish a plan over the one that holds."""
        holds = self.get(who, "/published")["publication"]
        return self.post(who, f"/plans/{plan}/publish", {"publication": holds, **more})

    def planned(self) -> Any:
        """Make and publish a plan; returns its id."""
        job = self.solve()
        assert job["state"] == "done", job
        self.publish(job["plan"])
        return job["plan"]


def settings(data: str, clock: Clock, folder: Path | None = None) -> Settings:
    """Settings for tests: quick passwords, nothing in the background."""
    return Settings(
        data=data,
        folder=folder,
        clock=clock,
        hash_passwords_quickly=True,
        watch_seconds=None,
        warm=False,
        solver_threads=1,
        public_url="http://testserver",
    )


def settle(data: str, folder: Path) -> dict[str, str]:
    """Take the small studio in and give everybody a token; returns the tokens."""
    app = create_app(settings(data, Clock(), folder))
    service: Service = app.state.service
    author = Author(None, "the test", EVENING)
    found = {}
    with service.store.write() as session:
        for name, role in PEOPLE.items():
            person = new_person(session, name, role, author)
            person.password_hash = service.accounts.passwords.hashed(PASSWORD)
            found[name] = new_secret()
            session.add(
                Token(
                    secret_hash=secret_hash(found[name]),
                    kind="person",
                    person_id=person.id,
                    label="test",
                    created_at=EVENING,
                )
            )
        found["display"] = new_secret()
        session.add(
            Token(
                secret_hash=secret_hash(found["display"]),
                kind=Role.DISPLAY,
                person_id=None,
                label="wall",
                created_at=EVENING,
            )
        )
    service.store.close()
    return found


@dataclass
class Template:
    """A database in which the small studio is settled, to be copied for each test."""

    database: str
    data: str
    tokens: dict[str, str]

    @contextmanager
    def copy(self, folder: Path) -> Iterator[str]:
        """A copy of one's own."""
        if self.database == "sqlite":
            target = folder / f"{secrets.token_hex(4)}.db"
            shutil.copyfile(self.data, target)
            yield str(target)
        else:
            with own_database(f'TEMPLATE "{url_of(self.data).database}"') as data:
                yield data


@contextmanager
def own_database(options: str = "") -> Iterator[str]:
    """A PostgreSQL database for a while."""
    assert POSTGRES is not None
    url = url_of(POSTGRES)
    name = f"kilnrota_test_{secrets.token_hex(6)}"
    server = create_engine(url, isolation_level="AUTOCOMMIT")
    try:
        with server.connect() as connection:
            connection.execute(text(f'CREATE DATABASE "{name}" {options}'))
        try:
            yield url.set(database=name).render_as_string(hide_password=False)
        finally:
            with server.connect() as connection:
                connection.execute(text(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)'))
    finally:
        server.dispose()


@contextmanager
def template(database: str, folder: Path) -> Iterator[Template]:
    """A settled database to copy from."""
    studio = folder / "studio"
    studio.mkdir()
    write_small_studio(studio)
    if database == "sqlite":
        data = str(folder / "template.db")
        yield Template(database, data, settle(data, studio))
    else:
        with own_database() as data:
            yield Template(database, data, settle(data, studio))


@contextmanager
def running(data: str, tokens: dict[str, str], **changes: Any) -> Iterator[House]:
    """A service over a database, while it runs."""
    clock = changes.pop("clock", None) or Clock()
    app = create_app(settings(data, clock))
    with TestClient(app) as client:
        yield House(app, clock, data, client, dict(tokens))
