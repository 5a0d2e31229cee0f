"""A service with the small studio and its hand-made plan published; people read its pages."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from api.storage.change_log import Author
from api.storage.plan_store import keep_plan, publish
from api.storage.tables import BookedLoad, Person
from scheduler.audit import AuditedPlan
from tests.api.service.house import EVENING, Clock, House, Template, running, template


@dataclass
class Reader:
    """Reads pages as one of the people."""

    house: House

    def get(self, who: str | None, path: str, **more: Any) -> Any:
        """A page, without following where it leads."""
        return self._client.get(path, headers=self._headers(who, more), follow_redirects=False, **more)

    def post(self, who: str | None, path: str, form: dict[str, Any] | None = None, **more: Any) -> Any:
        """What a form answers."""
        return self._client.post(
            path, data=form or {}, headers=self._headers(who, more), follow_redirects=False, **more
        )

    def insist(self, who: str | None, path: str, form: dict[str, Any], **more: Any) -> Any:
        """What a form answers once its doubts have been answered with yes."""
        asked = self.post(who, path, form, **more)
        tokens = re.findall(r'name="sure" value="(\w+)"', asked.text)
        assert tokens, "nothing was doubted"
        return self.post(who, path, form | {"sure": tokens[0]}, **more)

    @property
    def _client(self) -> TestClient:
        return self.house.client

    def _headers(self, who: str | None, more: dict[str, Any]) -> dict[str, str]:
        headers = dict(more.pop("headers", {}))
        if who is not None:
            headers["authorization"] = f"Bearer {self.house.secrets[who]}"
        return headers


@pytest.fixture(scope="session")
def furnished(tmp_path_factory: pytest.TempPathFactory, audited: AuditedPlan) -> Iterator[Template]:
    """A settled database with the plan published; member Ana owns load B1, Ben owns F1."""
    with template("sqlite", tmp_path_factory.mktemp("pages")) as made:
        with running(made.data, made.tokens) as house, house.service.store.write() as session:
            people = {person.name: person.id for person in session.query(Person)}
            for load in session.query(BookedLoad):
                load.person_id = {"B1": people["Ana"], "F1": people["Ben"]}.get(load.key)
            row = keep_plan(session, audited, Author(people["Marta"], "Marta", EVENING), "plan")
            publish(session, row.id, 0, Author(people["Marta"], "Marta", EVENING), anyway=True)
        yield made


@pytest.fixture
def clock() -> Clock:
    """Monday 08:00 in Lisbon, before anything is loaded."""
    return Clock(EVENING + timedelta(hours=14))


@pytest.fixture
def pages(furnished: Template, tmp_path: Path, clock: Clock) -> Iterator[Reader]:
    """The pages of a service of one's own."""
    with furnished.copy(tmp_path) as data, running(data, furnished.tokens, clock=clock) as house:
        yield Reader(house)


@pytest.fixture(scope="session")
def read_only(furnished: Template, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Reader]:
    """The pages of one service for all tests that change nothing in it."""
    clock = Clock(EVENING + timedelta(hours=14))
    data = tmp_path_factory.mktemp("read")
    with furnished.copy(data) as copied, running(copied, furnished.tokens, clock=clock) as house:
        yield Reader(house)
