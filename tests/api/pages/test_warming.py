"""What the first reader needs is prepared before the service is ready, and nothing that fails there stops it."""

from __future__ import annotations

import threading
import time
from dataclasses import replace
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from api import warming
from api.app import create_app
from api.service import Memory
from api.sheets.environment import template_environment
from tests.api.service.house import Clock, Template, settings


def test_the_plan_that_holds_is_proved_before_anybody_asks(furnished: Template, tmp_path: Path, clock: Clock) -> None:
    with furnished.copy(tmp_path) as data:
        app = create_app(replace(settings(data, clock), warm=True))
        made: list[int] = []
        with TestClient(app):
            app.state.service.plans.get(1, lambda: made.append(1))
            compiled = {name for _, name in template_environment().cache or ()}
    assert made == []
    assert {"pages/day.html", "pages/week.html", "pages/firing.html"} <= compiled


def test_what_cannot_be_prepared_stops_nothing(
    furnished: Template, tmp_path: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr(warming, "kiln_cards", broken)
    with furnished.copy(tmp_path) as data:
        app = create_app(replace(settings(data, clock), warm=True))
        with TestClient(app) as client:
            assert client.get("/api/v1/health").status_code == 200


def test_what_two_ask_for_at_once_is_made_once() -> None:
    memory, made = Memory(5), []

    def slow() -> str:
        made.append(1)
        time.sleep(0.1)
        return "done"

    found: list[str] = []
    threads = [threading.Thread(target=lambda: found.append(memory.get("key", slow))) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == ["done"] * 8
    assert made == [1]


def test_what_fails_is_made_again_by_the_next_who_asks() -> None:
    memory = Memory(5)
    with pytest.raises(ZeroDivisionError):
        memory.get("key", lambda: 1 // 0)
    assert memory.get("key", lambda: 7) == 7
