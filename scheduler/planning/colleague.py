"""A second search, or the proof of a small studio's plan, in a process of its own: what two cores are for.

The interpreter runs one search at a time, so threads would take turns; and a fault in the solver's compiled core would
end the process that it happens in, which here is only the colleague's. The two speak by pickled messages over pipes:
down go how to lay the studio out, then the job, then what the best plan costs; up come pairs of a better plan, or none,
and a bound. What no plan costs less than, load by load, comes first: it is computed while the first plan is made.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import queue
import subprocess
import sys
import threading
import time
import weakref
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any, Protocol

from scheduler.planning.batches import Batches
from scheduler.planning.heats import Known
from scheduler.planning.timetable import Placed

_LENGTH_BYTES = 8

LEAST_SECONDS_BETWEEN = 0.25
"""The colleague is told what the best plan costs no more often than that [s]."""


class LayOut(Protocol):
    """Makes what the search sees; phases that are ``known`` need not be computed again. It can be pickled."""

    def __call__(self, *, known: Known | None) -> Batches: ...


@dataclass(frozen=True, slots=True)
class Job:
    """What a colleague is asked to improve, and for how long [s].

    Where it ``proves``, it lists the studio's possible firings if they are few, and bounds the cost by them, before it
    searches; in a larger studio it bounds the cost by groups first. ``before`` as in `Search`; ``known`` phases
    need not be computed again. The seconds count from when it was ``made_at``, by the clock that all processes share.
    """

    firings: tuple[Placed, ...]
    seed: int
    seconds: float
    proves: bool = False
    before: tuple[Placed, ...] = ()
    known: Known | None = None
    made_at: float = field(default_factory=time.monotonic)


@dataclass(slots=True)
class _Heard:
    """What has come up from the process, and whether it listens to what the best plan costs."""

    bound: float = 0.0
    listens: bool = False
    found: queue.SimpleQueue[tuple[Placed, ...]] = field(default_factory=queue.SimpleQueue)


_Messages = queue.SimpleQueue[tuple[bytes, bool]]


class Colleague:
    """The process, seen from the search that asked for it.

    It lays the studio out and bounds the cost by its loads, then waits for its job. It ends when nobody can give it
    one: when it is stopped, forgotten, or its search is gone.
    """

    def __init__(self) -> None:
        root = str(Path(__file__).parents[2])
        path = os.pathsep.join([root, *filter(None, [os.environ.get("PYTHONPATH")])])
        self._process = subprocess.Popen(
            [sys.executable, "-m", "scheduler.planning.colleague"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": path},
        )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._told_at = 0.0
        self._heard = _Heard()
        self._to = self._process.stdin
        self._messages: _Messages = queue.SimpleQueue()
        # Threads, so that the search does not wait until the process has begun to read. They do not know the colleague
        # itself, so that one that is forgotten, as after an error, is ended.
        arguments = (self._to, self._messages, self._heard)
        self._writer = threading.Thread(target=_write_all, args=arguments, name="to the colleague", daemon=True)
        self._reader = threading.Thread(
            target=_listen, args=(self._process.stdout, self._heard), name="colleague", daemon=True
        )
        self._end = weakref.finalize(self, _end, self._process, self._to, self._messages)
        self._writer.start()
        self._reader.start()

    @property
    def bound(self) -> float:
        """What no plan costs less than, by what it has said [currency]."""
        return self._heard.bound

    def begin(self, lay_out: LayOut, known: Known) -> None:
        """Let it lay the studio out, with phases that are known already, and bound the cost by its loads."""
        self._messages.put((_packed((lay_out, known)), False))

    def ask(self, job: Job) -> None:
        """Give it its one job."""
        self._messages.put((_packed(job), job.proves))

    def tell(self, cost: float) -> None:
        """Say what the best plan costs [currency], to a colleague that proves; not more often than it can use it."""
        now = time.monotonic()
        if not self._heard.listens or now < self._told_at + LEAST_SECONDS_BETWEEN:
            return
        self._told_at = now
        try:
            _send(self._to, cost)
        except OSError:
            self._heard.listens = False  # it is gone

    def better(self) -> tuple[Placed, ...] | None:
        """A plan that has come up since the last call, the newest if there are several."""
        newest = None
        while True:
            try:
                newest = self._heard.found.get_nowait()
            except queue.Empty:
                return newest

    def stop(self) -> tuple[Placed, ...] | None:
        """End the process; its last word, if it had one."""
        self._end()
        self._writer.join()
        self._reader.join()
        return self.better()


def _end(process: subprocess.Popen[bytes], to: IO[bytes], messages: _Messages) -> None:
    process.kill()
    process.wait()
    messages.put((b"", False))  # for a writer that waits for the job
    with contextlib.suppress(OSError):
        to.close()


def _write_all(to: IO[bytes], messages: _Messages, heard: _Heard) -> None:
    """Send how to lay out, and the job, which may be large."""
    for _ in range(2):
        message, listens = messages.get()
        try:
            _write(to, message)
        except (OSError, ValueError):
            return  # it could not start, or is gone; the search goes on alone
        heard.listens = listens


def _listen(stream: IO[bytes], heard: _Heard) -> None:
    with stream:
        while (news := _receive(stream)) is not None:
            firings, bound = news
            heard.bound = max(heard.bound, bound)
            if firings:
                heard.found.put(firings)


def _packed(message: object) -> bytes:
    return pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL)


def _write(stream: IO[bytes], data: bytes) -> None:
    stream.write(len(data).to_bytes(_LENGTH_BYTES, "big"))
    stream.write(data)
    stream.flush()


def _send(stream: IO[bytes], message: object) -> None:
    _write(stream, _packed(message))


def _receive(stream: IO[bytes]) -> Any:
    """The next message; None when the other side is gone, even in the middle of one."""
    head = stream.read(_LENGTH_BYTES)
    if len(head) < _LENGTH_BYTES:
        return None
    data = stream.read(int.from_bytes(head, "big"))
    if len(data) < int.from_bytes(head, "big"):
        return None
    return pickle.loads(data)


class KnownCost:
    """What the best plan costs [currency], as the search that asked last said it.

    When nobody is left to say it, the process ends: a search that was killed leaves none behind.
    """

    def __init__(self, cost: float, told: IO[bytes]) -> None:
        self.cost = cost
        threading.Thread(target=self._listen, args=(told,), daemon=True).start()

    def _listen(self, told: IO[bytes]) -> None:
        while (cost := _receive(told)) is not None:
            self.cost = min(self.cost, cost)
        os._exit(0)


def main() -> None:
    """Do one job: read it from standard input, write what is found to standard output until the time is over."""
    from scheduler.planning.bounds import cost_bound, load_bounds
    from scheduler.planning.session import Session, Settings

    beginning: tuple[LayOut, Known] | None = _receive(sys.stdin.buffer)
    if beginning is None:
        return  # nobody needs it any more
    lay_out, known_before = beginning
    batches = lay_out(known=known_before)
    bounds = load_bounds(batches)
    _send(sys.stdout.buffer, ((), cost_bound(batches, bounds)))
    job: Job | None = _receive(sys.stdin.buffer)
    if job is None:
        return
    batches.heats.learn(job.known or {})
    seconds = job.seconds - (time.monotonic() - job.made_at)
    settings = Settings(seconds=seconds, seed=job.seed, workers=1)
    session = Session(lambda known: batches, settings, bounds=bounds)
    session.timetable.restore(job.firings)
    known = KnownCost(session.timetable.cost(), sys.stdin.buffer)
    if job.proves:
        session.prove(lambda: known.cost, lambda firings, bound: _send(sys.stdout.buffer, (firings, bound)))
    session.search(lambda firings: _send(sys.stdout.buffer, (firings, session.bound)), before=job.before, bolder=True)


if __name__ == "__main__":
    main()
