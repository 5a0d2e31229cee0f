"""Times the pages of a generated studio with a thousand loads, and the first one of a fresh process; prints a table.

Run from the checkout: ``python -m tests.benchmarks.page_speed [--loads 1000] [--kilns 40]``. The plan is made by
dispatch alone, since only its size matters here. Times are the service's own, from request to answer.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from starlette.testclient import TestClient

from api.accounts import new_person
from api.app import create_app
from api.security import Role, new_secret, secret_hash
from api.settings import Settings
from api.storage.change_log import Author
from api.storage.plan_store import keep_plan, publish
from api.storage.tables import Token
from scheduler.audit import prove
from scheduler.planning.door import Settings as Search
from scheduler.planning.door import plan
from shared.clock import local_time
from shared.files import write_folder
from tests.benchmarks.studios import make_studio

RUNS = 15
FRESH = 5
"""How many fresh processes are asked for their first day [-]."""

PAGES = ("/day", "/week", "/loads", "/trouble", "/circuits", "/kilns")


def main() -> None:
    """Make the studio, publish a plan, time the pages."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--loads", type=int, default=1000)
    parser.add_argument("--kilns", type=int, default=40)
    asked = parser.parse_args()
    studio, loads, now = make_studio(1, kilns=asked.kilns, loads=asked.loads)
    began = time.perf_counter()
    made = plan(studio, loads, now=now, begin=now + 360, settings=Search(seconds=None, work_limit=0, workers=1))
    audited = prove(studio, loads, made)
    print(f"{platform.machine()}, {os.cpu_count()} cores; planned and proved in {time.perf_counter() - began:.0f} s")
    print(f"{len(loads)} loads, {len(made.firings)} firings, {len(studio.kilns)} kilns")
    with tempfile.TemporaryDirectory() as folder:
        measure(Path(folder), audited, studio, loads, local_time(now, studio.place.zone).astimezone(UTC))


def measure(folder: Path, audited, studio, loads, at: datetime) -> None:  # type: ignore[no-untyped-def]
    """Time each page of a service that holds the plan."""
    write_folder(folder / "studio", studio, loads)
    clock = at + timedelta(days=2)
    app = create_app(Settings(data=folder / "kilnrota.db", folder=folder / "studio", clock=lambda: clock,
                              watch_seconds=None, hash_passwords_quickly=True))  # fmt: skip
    author, secret = Author(None, "benchmark", at), new_secret()
    with app.state.service.store.write() as session:
        person = new_person(session, "Marta", Role.MANAGER, author)
        session.add(Token(secret_hash=secret_hash(secret), kind="person", person_id=person.id, label="", created_at=at))
        row = keep_plan(session, audited, author, "plan")
        publish(session, row.id, 0, author, anyway=True)
    measure_first(folder / "kilnrota.db", secret, clock)
    with TestClient(app, headers={"authorization": f"Bearer {secret}"}) as client:
        print(f"{'page':<12}{'bytes':>9}{'first ms':>10}{'median ms':>11}{'worst ms':>10}")
        for path in PAGES:
            times = []
            for _ in range(RUNS):
                began = time.perf_counter()
                answer = client.get(path)
                times.append(1000 * (time.perf_counter() - began))
                assert answer.status_code == 200, answer.text[:300]
            rest = times[1:]
            print(
                f"{path:<12}{len(answer.content):>9}{times[0]:>10.0f}{statistics.median(rest):>11.0f}{max(rest):>10.0f}"
            )


def measure_first(data: Path, secret: str, clock: datetime) -> None:
    """Start fresh processes over the data, and time the first day that each is asked for."""
    starts, firsts = [], []
    for _ in range(FRESH):
        command = [sys.executable, "-m", "tests.benchmarks.page_speed", "--first", str(data), clock.isoformat()]
        said = subprocess.run(
            command, check=True, capture_output=True, text=True, env=os.environ | {"KILNROTA_BENCHMARK_KEY": secret}
        ).stdout.split()
        starts.append(float(said[-2]))
        firsts.append(float(said[-1]))
    print(
        f"a fresh process, {FRESH} times: ready after {statistics.median(starts):.0f} ms, "
        f"then its first /day in {statistics.median(firsts):.0f} ms (worst {max(firsts):.0f})"
    )


def first_day(data: str, at: str) -> None:
    """In a fresh process: start the service, ask for the day once, print how long both took [ms]."""
    clock = datetime.fromisoformat(at)
    headers = {"authorization": f"Bearer {os.environ['KILNROTA_BENCHMARK_KEY']}"}
    began = time.perf_counter()
    app = create_app(Settings(data=data, clock=lambda: clock, watch_seconds=None))
    with TestClient(app, headers=headers) as client:
        ready = time.perf_counter()
        answer = client.get("/day")
        done = time.perf_counter()
        assert answer.status_code == 200, answer.text[:300]
    print(f"{1000 * (ready - began):.1f} {1000 * (done - ready):.1f}")


if __name__ == "__main__":
    if sys.argv[1:2] == ["--first"]:
        first_day(*sys.argv[2:4])
    else:
        main()
