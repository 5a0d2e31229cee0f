"""A service on a port of its own, and headless Chromium. Skipped, and said so, where there is none."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from api.accounts import new_person
from api.app import create_app
from api.security import Identity, Role
from api.service import Service
from api.settings import Settings
from api.storage.change_log import Author
from api.storage.plan_store import keep_plan, publish
from api.storage.tables import BookedLoad
from api.team import add_token
from scheduler.audit import AuditedPlan
from tests.api.conftest import audited as audited
from tests.api.service.house import EVENING, PASSWORD, Clock
from tests.api.small_studio import write_small_studio

CHROMIUM = next(
    (path for name in ("chromium", "chromium-browser", "google-chrome") if (path := shutil.which(name))), ""
)
WIDE, NARROW = (1440, 900), (390, 844)
PEOPLE = {"Marta": Role.MANAGER, "Wout": Role.ATTENDANT, "Ana": Role.MEMBER}


@dataclass
class Running:
    """A service that answers at an address."""

    address: str
    service: Service
    clock: Clock
    display: str = ""


@dataclass
class Heard:
    """What a browser complained of."""

    complaints: list[str] = field(default_factory=list)

    def listen(self, page: Any) -> None:
        """Note errors and warnings of the console, of scripts, and answers that are none."""
        page.on("console", lambda m: self.complaints.append(m.text) if m.type in ("error", "warning") else None)
        page.on("pageerror", lambda error: self.complaints.append(str(error)))


def serve(folder: Path, clock: Clock) -> tuple[uvicorn.Server, threading.Thread, Running]:
    """Start a service with the small studio and nobody in it."""
    studio = folder / "studio"
    studio.mkdir(parents=True)
    write_small_studio(studio)
    listening = socket.create_server(("127.0.0.1", 0))
    address = f"http://127.0.0.1:{listening.getsockname()[1]}"
    app = create_app(
        Settings(data=folder / "kilnrota.db", folder=studio, public_url=address, clock=clock, plan_seconds=2.0,
                 solver_threads=1, watch_seconds=None, hash_passwords_quickly=True)
    )  # fmt: skip
    config = uvicorn.Config(app, log_config=None, access_log=False, timeout_graceful_shutdown=2)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    return server, thread, Running(address, app.state.service, clock)


def stop(server: uvicorn.Server, thread: threading.Thread, running: Running) -> None:
    """Stop a service as its command does."""
    running.service.stopping.set()
    server.should_exit = True
    thread.join(timeout=20)


@pytest.fixture
def bare(tmp_path: Path) -> Iterator[Running]:
    """A service in which nobody has signed in yet."""
    server, thread, running = serve(tmp_path, Clock())
    yield running
    stop(server, thread, running)


@pytest.fixture(scope="session")
def settled(tmp_path_factory: pytest.TempPathFactory, audited: AuditedPlan) -> Iterator[Running]:
    """A service with people and a published plan, on the plan's first morning."""
    server, thread, running = serve(tmp_path_factory.mktemp("house"), Clock(EVENING + timedelta(hours=14)))
    author = Author(None, "the test", EVENING)
    with running.service.store.write() as session:
        for name, role in PEOPLE.items():
            person = new_person(session, name, role, author)
            person.password_hash = running.service.accounts.passwords.hashed(PASSWORD)
            if name == "Ana":
                session.query(BookedLoad).filter(BookedLoad.key == "B1").one().person_id = person.id
        row = keep_plan(session, audited, author, "plan")
        publish(session, row.id, 0, author, anyway=True)
    manager = Identity(1, "Marta", Role.MANAGER, ("token", 0))
    running.display = str(add_token(running.service, manager, "wall", True)["secret"])
    yield running
    stop(server, thread, running)


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """The browser."""
    if not CHROMIUM:
        pytest.skip("there is no Chromium on this machine: install the package chromium to run the browser tests")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture
def heard() -> Iterator[Heard]:
    """What the browser complained of during a test: nothing."""
    made = Heard()
    yield made
    assert made.complaints == []


def open_page(chromium: Any, heard: Heard, size: tuple[int, int], **more: Any) -> Any:
    """A page in a browser of its own."""
    context = chromium.new_context(
        viewport={"width": size[0], "height": size[1]}, locale="en-GB", accept_downloads=True, **more
    )
    context.set_default_timeout(15_000)
    page = context.new_page()
    heard.listen(page)
    return page


def sign_in(page: Any, running: Running, name: str) -> None:
    """Come in by the front door."""
    page.goto(f"{running.address}/sign-in")
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in").click()
    page.wait_for_url(lambda url: "/sign-in" not in url)
