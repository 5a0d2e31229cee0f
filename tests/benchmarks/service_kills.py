"""Kills the service at random moments and looks whether anything that it had answered is lost.

``python -m tests.benchmarks.service_kills [--kills 200] [--data URL] [--seed 0]`` runs ``kilnrota serve`` on the tests'
small studio (SQLite in a temporary folder, or an empty PostgreSQL database by URL), lets three clients book, and a
manager solve and publish, kills the whole service with SIGKILL after a random time, starts it again and checks:

- every booking that was answered is there, once, with what it said; none was made twice by its key, also when the
  client, having got no answer, sent it again after the restart;
- the database's own integrity check is clean (SQLite: integrity_check and foreign_key_check; PostgreSQL: every
  table read in full, constraints hold by themselves);
- the last publication that was answered holds, or one that was asked for after it, and its plan is readable and passes
  the audit;
- no solver process is left behind.

With ``--fork`` each run of the service is forked from one process that has imported the program, and its solvers from
another, instead of being started afresh: the same code runs, without five seconds of importing for each kill.

Loopback only, bounded by the number of kills.

Run with ``--kills 200 --fork`` on 2 cores that others were using too:

    SQLite,        seed 0: 5110 booked, 417 sent again, 1449 published, 36 solved, 200 kills, 1024 s; faults: none
    PostgreSQL 15, seed 1: 3809 booked, 479 sent again, 1044 published, 21 solved, 200 kills, 1121 s; faults: none
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import platform
import random
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

from api.storage.backup import look_through
from api.storage.engine import Store
from tests.api.small_studio import write_small_studio

ROOT = Path(__file__).parents[2]
PASSWORD = "four quiet kilns"
LOAD = {
    "profile": "bisque-04", "pieces": 4, "footprint_cm2": 300, "height_mm": 80, "mass_kg": 2, "family": "buff",
}  # fmt: skip

Answer = tuple[int, Any]

LONGEST_RUN_S = 2.5
"""The service is killed after a random time up to this [s]: long enough for some solves and publications."""


@dataclass
class Served:
    """One run of ``kilnrota serve``."""

    pid: int
    output: IO[str]
    address: str
    process: subprocess.Popen[str] | None = None

    def call(self, method: str, path: str, body: Any = None, token: str = "", key: str = "") -> Answer:
        """Send a request.

        Raises
        ------
        OSError
            If the service is gone before it has answered.
        """
        headers = {"content-type": "application/json"}
        if token:
            headers["authorization"] = f"Bearer {token}"
        if key:
            headers["idempotency-key"] = key
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(f"{self.address}/api/v1{path}", data=data, headers=headers, method=method)
        try:
            with urllib.request.urlopen(request, timeout=20) as answer:
                text = answer.read()
                return answer.status, json.loads(text) if text else None
        except urllib.error.HTTPError as error:
            return error.code, json.loads(error.read() or b"null")
        except http.client.HTTPException as error:
            raise ConnectionError("gone in the midst of its answer") from error

    def kill(self) -> None:
        """Kill it as a power cut would."""
        self.end(signal.SIGKILL)

    def end(self, by: signal.Signals) -> None:
        """Send it a signal and wait until it is gone."""
        os.kill(self.pid, by)
        if self.process is not None:
            self.process.wait()
            self.output.close()
        while Path(f"/proc/{self.pid}").exists():
            time.sleep(0.01)


def serve(data: str, studio: Path, nursery: Nursery | None = None) -> Served:
    """Start the service and wait until it answers."""
    if nursery is None:
        process = _started(data, studio)
        assert process.stdout is not None
        pid, output = process.pid, process.stdout
    else:
        process = None
        pid, output = nursery.start(data, studio)
    first = output.readline()
    found = re.search(r"http://\S+", first)
    if found is None:
        raise RuntimeError(f"the service did not start: {first!r}")
    served = Served(pid, output, found[0], process)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        with suppress(OSError):
            if served.call("GET", "/ready")[0] == 200:
                return served
        time.sleep(0.02)
    raise RuntimeError("the service is not ready within a minute")


class Nursery:
    """A process that has imported the program and forks a service for each start."""

    def __init__(self) -> None:
        command = [sys.executable, "-m", "tests.benchmarks.service_kills", "--nursery"]
        self.process = subprocess.Popen(
            command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
        )

    def start(self, data: str, studio: Path) -> tuple[int, IO[str]]:
        """A service of its own process: its id and where it writes."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(json.dumps([data, str(studio)]) + "\n")
        self.process.stdin.flush()
        return int(self.process.stdout.readline()), self.process.stdout

    def close(self) -> None:
        """End it."""
        self.process.kill()
        self.process.wait()


def nursery() -> None:
    """Fork a service for each line that is read."""
    from multiprocessing import forkserver

    import api.app
    import api.solving  # noqa: F401 - imported here once, for all services
    from api.service_commands import serve as serve_command

    forkserver.set_forkserver_preload(["api.solving"])
    forkserver.ensure_running()
    for line in sys.stdin:
        data, studio = json.loads(line)
        pid = os.fork()
        if pid == 0:
            # The solvers' server is another process's child here, so that it cannot be waited for; it runs.
            forkserver._forkserver.ensure_running = forkserver.ensure_running = lambda: None  # type: ignore
            print(os.getpid(), flush=True)
            os.close(0)
            serve_command(studio=Path(studio), data=data, host="127.0.0.1", port=0, url=None)
            os._exit(0)
        threading.Thread(target=os.waitpid, args=(pid, 0), daemon=True).start()


def _started(data: str, studio: Path) -> subprocess.Popen[str]:
    command = [
        sys.executable,
        "-m",
        "api.command_line",
        "serve",
        "--data",
        data,
        "--studio",
        str(studio),
        "--port",
        "0",
    ]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, bufsize=1)


@dataclass
class Truth:
    """What the service has answered so far, and what was asked without an answer."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    booked: dict[str, tuple[str, int]] = field(default_factory=dict)
    unanswered: dict[str, int] = field(default_factory=dict)
    published: int = 0
    counts: Counter[str] = field(default_factory=Counter)
    faults: list[str] = field(default_factory=list)


def book(served: Served, truth: Truth, token: str, who: int, stop: threading.Event, seed: int) -> None:
    """Book until the service is gone."""
    rng = random.Random(seed)
    while not stop.is_set():
        key, pieces = f"{who}-{rng.getrandbits(60):x}", rng.randrange(1, 1000)
        with truth.lock:
            truth.unanswered[key] = pieces
        try:
            status, told = served.call("POST", "/loads", {"load": {**LOAD, "pieces": pieces}}, token, key)
        except (OSError, ValueError):
            return
        with truth.lock:
            if status != 201:
                truth.faults.append(f"a booking was answered {status}: {told}")
                return
            del truth.unanswered[key]
            truth.booked[key] = (told["id"], pieces)
            truth.counts["booked"] += 1
        time.sleep(rng.random() * 0.2)


def publish(served: Served, truth: Truth, token: str, plan: int) -> bool:
    """Publish a plan over the one that holds; somebody else may have been quicker, which is no fault."""
    holds = served.call("GET", "/published", token=token)[1]["publication"]
    body = {"publication": holds, "anyway": True}
    status, told = served.call("POST", f"/plans/{plan}/publish", body, token)
    with truth.lock:
        if status == 200:
            truth.published = max(truth.published, told["publication"])
            truth.counts["published"] += 1
        elif told.get("type") != "/problems/stale":
            truth.faults.append(f"a publication was answered {status}: {told}")
            return False
    return True


def publish_again(served: Served, truth: Truth, token: str, stop: threading.Event, seed: int) -> None:
    """Publish plans that are there, one after the other, until the service is gone."""
    rng = random.Random(seed)
    try:
        plans = [plan["id"] for plan in served.call("GET", "/plans?limit=5", token=token)[1]]
        while not stop.is_set() and publish(served, truth, token, rng.choice(plans)):
            time.sleep(rng.random() * 0.2)
    except (OSError, ValueError):
        return


def plan_and_publish(served: Served, truth: Truth, token: str, stop: threading.Event) -> None:
    """Solve, publish, and again, until the service is gone."""
    try:
        while not stop.is_set():
            status, job = served.call("POST", "/plans", {"work": 1}, token)
            if status != 202:
                truth.faults.append(f"a solve was answered {status}: {job}")
                return
            while job["state"] == "running" and not stop.is_set():
                time.sleep(0.03)
                _, job = served.call("GET", f"/jobs/{job['id']}", token=token)
            if job["state"] != "done":
                truth.faults.append(f"a solve ended {job['state']}: {job['message']}")
                return
            truth.counts["solved"] += 1
            if not publish(served, truth, token, job["plan"]):
                return
    except (OSError, ValueError):
        return


def check(served: Served, truth: Truth, token: str, data: str) -> None:
    """Compare what the service has with what it had answered."""
    for key, pieces in list(truth.unanswered.items()):
        # As a phone would: the same request again. It is booked now, or was; either way once.
        status, told = served.call("POST", "/loads", {"load": {**LOAD, "pieces": pieces}}, token, key)
        if status != 201:
            truth.faults.append(f"a repeated booking was answered {status}: {told}")
            continue
        truth.booked[key] = (told["id"], pieces)
        truth.counts["sent again"] += 1
        del truth.unanswered[key]
    there: Counter[str] = Counter()
    pieces_of: dict[str, int] = {}
    offset = 0
    while True:
        page = served.call("GET", f"/loads?limit=2000&offset={offset}", token=token)[1]
        for load in page:
            there[load["id"]] += 1
            pieces_of[load["id"]] = load["load"].get("pieces", 1)
        if len(page) == 0:
            break
        offset += 2000
    for key, (name, pieces) in truth.booked.items():
        if there[name] != 1 or pieces_of[name] != pieces:
            truth.faults.append(
                f"booking {key} as {name} is there {there[name]} times with {pieces_of.get(name)} pieces"
            )
    mine = [name for name in there if re.fullmatch(r"L\d+", name)]
    if len(mine) != len(truth.booked) or len({name for name, _ in truth.booked.values()}) != len(truth.booked):
        truth.faults.append(f"{len(mine)} bookings are there, {len(truth.booked)} were made")
    holds = served.call("GET", "/published", token=token)[1]
    if holds["publication"] < truth.published:
        truth.faults.append(f"publication {truth.published} was answered, {holds['publication']} holds")
    truth.published = holds["publication"]
    if holds["plan"] is not None:
        status, whole = served.call("GET", f"/plans/{holds['plan']}", token=token)
        if status != 200 or not whole["plan"]["firings"]:
            truth.faults.append(f"the published plan is answered {status}")


def look_into(data: str, truth: Truth) -> None:
    """The database itself, while the service is down."""
    store = Store(data)
    try:
        contents = look_through(store)
        if contents.publication < truth.published:
            truth.faults.append("the last publication is not in the database")
    except Exception as error:
        truth.faults.append(f"the database is not whole: {error}")
    finally:
        store.close()


def solvers_left(parent: int) -> list[int]:
    """Processes that still have the dead service's forked solvers' command line and no living service."""
    left = []
    for entry in Path("/proc").iterdir():
        if not entry.name.isdigit():
            continue
        with suppress(OSError):
            words = (entry / "environ").read_bytes()
            if f"KILNROTA_KILLS={parent}".encode() in words and int(entry.name) != os.getpid():
                left.append(int(entry.name))
    return left


def run(kills: int, data: str, studio: Path, seed: int, fork: bool = False) -> Truth:
    """Kill the service so many times; what was found stands in the truth's ``faults``."""
    rng = random.Random(seed)
    truth = Truth()
    os.environ["KILNROTA_KILLS"] = str(os.getpid())
    forked = Nursery() if fork else None
    served, token = _first_start(data, studio, forked)
    try:
        job = served.call("POST", "/plans", {"work": 1}, token)[1]
        while job["state"] == "running":
            time.sleep(0.05)
            job = served.call("GET", f"/jobs/{job['id']}", token=token)[1]
        for number in range(kills):
            stop = threading.Event()
            work = [threading.Thread(target=plan_and_publish, args=(served, truth, token, stop))]
            work += [
                threading.Thread(target=book, args=(served, truth, token, who, stop, rng.getrandbits(32)))
                for who in range(3)
            ]
            work.append(threading.Thread(target=publish_again, args=(served, truth, token, stop, rng.getrandbits(32))))
            for thread in work:
                thread.start()
            time.sleep(rng.uniform(0.05, LONGEST_RUN_S))
            served.kill()
            stop.set()
            for thread in work:
                thread.join()
            look_into(data, truth)
            served = serve(data, studio, forked)
            check(served, truth, token, data)
            _clear(served, token)
            if truth.faults:
                print(f"after kill {number + 1}: {truth.faults[:5]}", file=sys.stderr)
                break
            truth.counts["kills"] += 1
            if (number + 1) % 20 == 0:
                print(f"{number + 1} kills, {dict(truth.counts)}", file=sys.stderr, flush=True)
    finally:
        served.kill()
        if forked is not None:
            forked.close()
    deadline = time.monotonic() + 10
    while (left := solvers_left(os.getpid())) and time.monotonic() < deadline:
        time.sleep(0.1)
    if left:
        truth.faults.append(f"{len(left)} processes are left behind")
    return truth


def _first_start(data: str, studio: Path, forked: Nursery | None) -> tuple[Served, str]:
    served = serve(data, studio, forked)
    link = served.output.readline().split("link=")[1].strip()
    served.call("POST", "/welcome", {"link": link, "name": "Marta", "password": PASSWORD})
    body = json.dumps({"name": "Marta", "password": PASSWORD}).encode()
    request = urllib.request.Request(
        f"{served.address}/api/v1/sign-in", data=body, headers={"content-type": "application/json"}
    )
    with urllib.request.urlopen(request) as answer:
        cookie = answer.headers["set-cookie"].split(";")[0]
    request = urllib.request.Request(
        f"{served.address}/api/v1/me/tokens",
        data=json.dumps({"label": "kills"}).encode(),
        headers={"content-type": "application/json", "cookie": cookie},
    )
    with urllib.request.urlopen(request) as answer:
        return served, json.loads(answer.read())["secret"]


def _clear(served: Served, token: str) -> None:
    """Cancel most of what waits, so that solves stay quick; cancelled loads are still looked for."""
    waiting = served.call("GET", "/loads?state=waiting&limit=2000", token=token)[1]
    for load in waiting:
        if re.fullmatch(r"L\d+", load["id"]):
            served.call("POST", f"/loads/{load['id']}/cancel", {"version": load["version"]}, token)


def main() -> None:
    """Parse, run, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--data", default=None, help="URL of an empty PostgreSQL database; SQLite without it")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--fork", action="store_true", help="Fork each run of the service instead of starting it.")
    parser.add_argument("--nursery", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.nursery:
        nursery()
        return
    with tempfile.TemporaryDirectory(prefix="kilnrota-kills-") as folder:
        data = given.data or str(Path(folder) / "kills.db")
        began = time.monotonic()
        studio = Path(folder) / "studio"
        studio.mkdir()
        truth = run(given.kills, data, write_small_studio(studio), given.seed, given.fork)
    kind = "PostgreSQL" if given.data else "SQLite"
    print(f"{kind}, {os.cpu_count()} cores, Python {platform.python_version()}, seed {given.seed}")
    print(f"{dict(truth.counts)} in {time.monotonic() - began:.0f} s; faults: {truth.faults[:5] or 'none'}")
    sys.exit(1 if truth.faults else 0)


if __name__ == "__main__":
    main()
