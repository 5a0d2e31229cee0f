"""A second search in a process of its own, with another seed: what two cores are for.

The interpreter runs one search at a time, so threads would take turns; and a fault in the solver's compiled core would
end the process that it happens in, which here is only the colleague's. The two speak by pickled messages over pipes:
the job goes down once, plans come up whenever the colleague has found a better one at the end of a round of cooling.
"""

from __future__ import annotations

import os
import pickle
import queue
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from scheduler.planning.batches import Batches
from scheduler.planning.timetable import Placed

_LENGTH_BYTES = 8


@dataclass(frozen=True, slots=True)
class Job:
    """What a colleague is asked to improve, and for how long [s]."""

    lay_out: Callable[[], Batches]
    firings: tuple[Placed, ...]
    seed: int
    seconds: float


class Colleague:
    """The process, seen from the search that asked for it."""

    def __init__(self, job: Job) -> None:
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
        self._found: queue.SimpleQueue[tuple[Placed, ...]] = queue.SimpleQueue()
        self._to, self._from = self._process.stdin, self._process.stdout
        self._reader = threading.Thread(target=self._listen, name="colleague", daemon=True)
        try:
            _send(self._to, job)
        except BrokenPipeError:
            return  # it could not start; the search goes on alone
        self._reader.start()

    def _listen(self) -> None:
        while (found := _receive(self._from)) is not None:
            self._found.put(found)

    def better(self) -> tuple[Placed, ...] | None:
        """A plan that has come up since the last call, the newest if there are several."""
        newest = None
        while True:
            try:
                newest = self._found.get_nowait()
            except queue.Empty:
                return newest

    def stop(self) -> tuple[Placed, ...] | None:
        """End the process; its last word, if it had one."""
        self._process.kill()
        self._process.wait()
        if self._reader.ident is not None:
            self._reader.join()
        self._to.close()
        self._from.close()
        return self.better()


def _send(stream: IO[bytes], message: object) -> None:
    data = pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL)
    stream.write(len(data).to_bytes(_LENGTH_BYTES, "big") + data)
    stream.flush()


def _receive(stream: IO[bytes]) -> tuple[Placed, ...] | None:
    """The next plan; None when the other side is gone, even in the middle of a message."""
    head = stream.read(_LENGTH_BYTES)
    if len(head) < _LENGTH_BYTES:
        return None
    data = stream.read(int.from_bytes(head, "big"))
    if len(data) < int.from_bytes(head, "big"):
        return None
    found: tuple[Placed, ...] = pickle.loads(data)
    return found


def main() -> None:
    """Do one job: read it from standard input, write better plans to standard output until the time is over."""
    from scheduler.planning.session import Session, Settings

    head = sys.stdin.buffer.read(_LENGTH_BYTES)
    job: Job = pickle.loads(sys.stdin.buffer.read(int.from_bytes(head, "big")))
    session = Session(job.lay_out, Settings(seconds=job.seconds, seed=job.seed, workers=1))
    session.timetable.restore(job.firings)
    session.search(tell_better=lambda firings: _send(sys.stdout.buffer, firings))


if __name__ == "__main__":
    main()
