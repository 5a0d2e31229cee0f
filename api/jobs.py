"""Solves in worker processes: one at a time, a newer one supersedes; a crash of one harms nothing else.

A question (`api.asking`) runs beside a solve, and is superseded by a newer question alone.
"""

from __future__ import annotations

import multiprocessing
import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from multiprocessing import forkserver
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import TYPE_CHECKING, Any

from sqlalchemy import select

from api.logs import log
from api.storage.engine import Store
from api.storage.tables import Job
from api.words import tell
from shared.texts import packed

if TYPE_CHECKING:
    from api.asking import WhyTask
    from api.solving import SolveTask

LIVE = ("running",)
"""States in which a job is at work."""

QUESTION = "why"
"""The kind of a job that ends in an answer and not in a plan."""

KEPT_RUNS = 20
"""How many jobs' progress is kept in memory [-]."""


@dataclass
class Run:
    """The progress of one job, for those who watch it."""

    job_id: int
    process: BaseProcess
    follower: threading.Thread | None = None
    reports: list[dict[str, Any]] = field(default_factory=list)
    ended: bool = False


class Jobs:
    """The solves of one service.

    Parameters
    ----------
    store
        Where jobs and plans are kept.
    clock
        What time it is.
    niceness
        How much workers stand back.
    """

    def __init__(self, store: Store, clock: Callable[[], datetime], niceness: int) -> None:
        self._store, self._clock, self._niceness = store, clock, niceness
        self._lock = threading.Lock()
        self._runs: dict[int, Run] = {}
        self._context = multiprocessing.get_context("forkserver")
        self._context.set_forkserver_preload(["api.solving", "api.asking"])

    def warm_up(self) -> None:
        """Start the process from which workers are forked, so that the first solve need not wait for it."""
        forkserver.ensure_running()

    def recover(self) -> None:
        """Mark the jobs that an earlier service left running."""
        with self._store.write() as session:
            for job in session.scalars(select(Job).where(Job.state.in_(LIVE))):
                job.state, job.ended_at = "interrupted", self._clock()
                job.message = packed(tell("job.interrupted"))

    def ask(self, task: SolveTask | WhyTask, request: dict[str, Any]) -> int:
        """Start a solve or a question; one of its sort that runs is superseded. Returns the job's id."""
        with self._lock:
            with self._store.write() as session:
                same = (Job.kind == QUESTION) if task.kind == QUESTION else (Job.kind != QUESTION)
                old = session.scalars(select(Job).where(Job.state.in_(LIVE), same)).all()
                for job in old:
                    job.state, job.ended_at = "superseded", self._clock()
                new = Job(kind=task.kind, state="running", request=request, person_id=task.person_id, asked_at=task.at)
                session.add(new)
                session.flush()
                job_id = new.id
            for job in old:
                self._end(job.id)
            ours, theirs = self._context.Pipe()
            process = self._context.Process(
                target=_work,
                args=(theirs, task, job_id, self._store.url.render_as_string(hide_password=False), self._niceness),
                daemon=True,
            )
            process.start()
            theirs.close()
            run = Run(job_id, process)
            self._runs[job_id] = run
            for oldest in sorted(self._runs)[:-KEPT_RUNS]:
                del self._runs[oldest]
            run.follower = threading.Thread(target=self._follow, args=(run, ours), name=f"job-{job_id}", daemon=True)
            run.follower.start()
        log("solve began", job=job_id, kind=task.kind)
        return job_id

    def cancel(self, job_id: int) -> bool:
        """Stop a job; False if it has ended already."""
        with self._lock, self._store.write() as session:
            job = session.get(Job, job_id)
            if job is None or job.state not in LIVE:
                return False
            job.state, job.ended_at = "cancelled", self._clock()
            session.flush()
            self._end(job_id)
        return True

    def run_of(self, job_id: int) -> Run | None:
        """A job's progress, if this process has started it."""
        return self._runs.get(job_id)

    def running(self) -> int:
        """How many solves run."""
        return sum(not run.ended for run in list(self._runs.values()))

    def close(self) -> None:
        """Stop whatever runs."""
        for run in list(self._runs.values()):
            self._end(run.job_id)
        for run in list(self._runs.values()):
            if run.follower is not None:
                run.follower.join(timeout=15.0)

    def _end(self, job_id: int) -> None:
        run = self._runs.get(job_id)
        if run is not None and run.process.is_alive():
            run.process.kill()

    def _follow(self, run: Run, pipe: Connection) -> None:
        message: str | None = packed(tell("job.solver_stopped"))
        try:
            while True:
                kind, said = pipe.recv()
                if kind == "progress":
                    told = ("seconds", "cost", "bound", "note", "late", "unplaced", "energy")
                    run.reports.append({name: getattr(said, name) for name in told})
                else:
                    message = said if kind == "failed" else None
                    break
        except (EOFError, OSError):
            pass
        finally:
            pipe.close()
            run.process.join(timeout=10.0)
            try:
                state = self._finish(run.job_id, message)
                log("solve ended", job=run.job_id, state=state)
            finally:
                run.ended = True

    def _finish(self, job_id: int, message: str | None) -> str:
        with self._store.write() as session:
            job = session.get(Job, job_id)
            if job is None:
                return "gone"
            if job.state in LIVE:
                job.state = "failed"
                job.message = message or packed(tell("job.not_kept"))
            job.ended_at = job.ended_at or self._clock()
            return job.state


def _work(pipe: Connection, task: SolveTask | WhyTask, job_id: int, data: str, niceness: int) -> None:
    from api import asking, solving

    if isinstance(task, solving.SolveTask):
        solving.work(pipe, task, job_id, data, niceness)
    else:
        asking.work(pipe, task, job_id, data, niceness)
