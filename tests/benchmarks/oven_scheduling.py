"""The planner on the published Oven Scheduling Problem, beside a plain model, a peer library and what is published.

Run from the checkout: ``python -m tests.benchmarks.oven_scheduling FOLDER [--seconds 60] [--all | --instances 1,11]``.
The folder holds the instances and ``best_known.csv``; it is the user's. Without a choice, twelve instances are run: of
each size the first and the last by number. Every method gets the same seconds and two processes or workers.

- ours: the planner, through `oven_studio`. plain: `oven_plain_model`, up to its largest size. peer: `oven_peer`, in the
  environment whose Python ``--peer`` names; without it the peer's columns stay empty.
- proved: the bound of that method, rounded up to a whole cost, is its cost (``o``, ``p``, ``e`` for ours, plain, peer).
- judged: every schedule by our judge, and by the peer's own ``satisfy`` and ``evaluate``, which must give our cost.
- Published costs are rounded from normalised ones: what differs by one unit, or by one part in a million, is equal.
"""

from __future__ import annotations

import argparse
import csv
import math
import platform
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from statistics import fmean

from scheduler.planning.dispatch import best_dispatch
from scheduler.planning.insertion import Inserter
from scheduler.planning.model.solve import Limits, put, solve
from scheduler.planning.model.variables import Part
from scheduler.planning.session import Session, Settings
from scheduler.planning.timetable import Timetable
from tests.benchmarks import oven_peer, oven_plain_model
from tests.benchmarks.oven_problem import Baked, Known, OvenProblem, cost, faults, instances, read_instance, read_known
from tests.benchmarks.oven_studio import lay_out, schedule_of

OURS, PLAIN, PEER = "ours", "plain", "peer"
MARKS = {OURS: "o", PLAIN: "p", PEER: "e"}

WHOLE_UP_TO = ((60, 0.15), (120, 0.35))
"""Up to so many jobs the search has this part of the time, and the exact model of the whole instance the rest."""

PROBED_UP_TO = 60
"""Up to so many jobs the exact model of the whole instance tries out single decisions first; of more it takes 13 s."""

ONE_UNIT, ONE_PART = 1, 1e-6
"""What the rounding of published costs may hide [units; of the cost]."""


@dataclass(frozen=True)
class Answer:
    """What a method found: a schedule (empty: none), a bound on every schedule's cost, and how long it took."""

    schedule: tuple[Baked, ...]
    bound: int
    seconds: float


@dataclass
class Row:
    """One instance with the methods' answers, what they cost and what the judges say of them."""

    path: Path
    problem: OvenProblem
    known: Known | None
    answers: dict[str, Answer] = field(default_factory=dict)
    costs: dict[str, int] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)
    peer_judged: str = "not installed"

    @property
    def jobs(self) -> int:
        """Its size."""
        return len(self.problem.jobs)

    def proved(self, method: str) -> bool:
        """Whether the method's own bound says that its schedule is the best."""
        return method in self.costs and self.answers[method].bound >= self.costs[method]

    def gap(self, method: str) -> float | None:
        """How far above the best-known cost [-]; 0 within the rounding."""
        if self.known is None or method not in self.costs:
            return None
        own = self.costs[method]
        return 0.0 if equal(own, self.known.best) else own / self.known.best - 1.0


def equal(one: float, other: float) -> bool:
    """Equal but for the rounding of what is published."""
    return abs(one - other) <= max(ONE_UNIT, ONE_PART * abs(other))


def solve_by_planner(problem: OvenProblem, seconds: float | None, seed: int, work_limit: int | None = None) -> Answer:
    """The planner's own search on the instance as a studio."""
    begun = time.monotonic()
    share = _search_share(len(problem.jobs)) if work_limit is None else 1.0
    part_of_time = None if seconds is None else share * seconds
    session = Session(partial(lay_out, problem), Settings(seconds=part_of_time, work_limit=work_limit, seed=seed))
    best_dispatch(session.timetable, session.clock.first_plan_is_due)
    session.search()
    bound = session.bound
    if share < 1.0 and seconds is not None:
        left = seconds - (time.monotonic() - begun)
        bound = max(bound, _decide_whole(session.timetable, left, seed, bound))
    schedule = schedule_of(session.timetable.snapshot())
    return Answer(tuple(schedule), whole(bound), time.monotonic() - begun)


def _search_share(jobs: int) -> float:
    """The part of the time that the search has before the planner's exact model decides the whole instance [-]."""
    return next((share for most, share in WHOLE_UP_TO if jobs <= most), 1.0)


def _decide_whole(timetable: Timetable, seconds: float, seed: int, bound: float) -> float:
    """The exact model on all jobs at once, hinted with what was found: its bound; a cheaper schedule is kept.

    In the instance as a studio no phase depends on the mass, so the model has no simplification here.
    """
    found, before = timetable.snapshot(), timetable.cost()
    for number in list(timetable.firings):
        timetable.remove(number)
    jobs = len(timetable.problem.loads)
    # The published problem leaves no job out.
    part = Part(timetable, tuple(range(jobs)), found, before, bound, all_placed=True)
    answer = solve(part, Limits(seconds, workers=2, seed=seed, probes=jobs <= PROBED_UP_TO))
    if answer is None or not put(part, answer, Inserter(timetable, seed)) or timetable.cost() >= before:
        timetable.restore(found)
    return 0.0 if answer is None else answer.bound


def whole(bound: float) -> int:
    """A bound rounded up, since every cost is a whole number; what floats may have added is taken off first."""
    return math.ceil(bound - max(1e-6, 1e-12 * abs(bound)))


def run(row: Row, methods: Sequence[str], seconds: float, seed: int, peer: Path | None) -> None:
    """Ask every method, and judge what they say."""
    for method in methods:
        if method == PEER and peer is not None:
            found = oven_peer.solve(peer, row.path, seconds, seed)
            row.answers[PEER] = Answer(found.schedule, found.bound, found.seconds)
        elif method == PLAIN:
            begun = time.monotonic()
            plain = oven_plain_model.solve(row.problem, seconds, seed)
            row.answers[PLAIN] = Answer(plain.schedule, plain.bound, time.monotonic() - begun)
        elif method == OURS:
            row.answers[OURS] = solve_by_planner(row.problem, seconds, seed)
    judge(row, peer)


def judge(row: Row, peer: Path | None) -> None:
    """Price what our judge accepts; compare with the peer's judge; hold every bound against every cost."""
    for method, answer in row.answers.items():
        wrong = faults(row.problem, answer.schedule)
        if not answer.schedule:
            continue
        if wrong:
            row.refused.append(f"{method}: {wrong[0]}" + (f" and {len(wrong) - 1} more" if wrong[1:] else ""))
        else:
            row.costs[method] = cost(row.problem, answer.schedule)
    if peer is not None and row.costs:
        row.peer_judged = _ask_peer(row, peer)
    best = min([*row.costs.values(), *([row.known.best] if row.known else [])], default=math.inf)
    for method, answer in row.answers.items():
        if answer.bound > best and not equal(answer.bound, best):
            row.refused.append(f"{method}: the bound {answer.bound} is above the cost {best}")


def _ask_peer(row: Row, peer: Path) -> str:
    names = list(row.costs)
    verdicts = oven_peer.judge(peer, row.path, [row.answers[name].schedule for name in names])
    said = []
    for name, (accepted, price) in zip(names, verdicts, strict=True):
        if not accepted or price != row.costs[name]:
            row.refused.append(f"{name}: the peer's judge says {'ok' if accepted else 'no'} at cost {price}")
        else:
            said.append(name)
    return " ".join(said) + " ok" if said else "none ok"


def chosen(folder: Path, wanted: str | None, every: bool) -> Iterator[tuple[Path, OvenProblem]]:
    """The instances to run: those named, all, or the first and the last of each size."""
    found = [(path, read_instance(path)) for path in instances(folder)]
    if wanted is not None:
        numbers = {int(number) for number in wanted.split(",")}
        missing = numbers - {number_of(path) for path, _ in found}
        if missing:
            raise SystemExit(f"no such instance in the folder: {', '.join(map(str, sorted(missing)))}")
        yield from (pair for pair in found if number_of(pair[0]) in numbers)
    elif every:
        yield from found
    else:
        for size in sorted({len(problem.jobs) for _, problem in found}):
            alike = [pair for pair in found if len(pair[1].jobs) == size]
            yield alike[0]
            yield from alike[1:][-1:]


def number_of(path: Path) -> int:
    """The number with which an instance's name begins."""
    return int(path.stem.split("-")[0])


HEAD = (
    "  nr jobs ovens        ours       plain        peer  best-known pub. bound  our bound proved"
    "   gap % ours  plain   peer  seconds o/p/e    peer's judge"
)


def printed(row: Row) -> str:
    """A row of the table."""

    def number(value: int | None) -> str:
        return "–" if value is None else str(value)

    def share(value: float | None) -> str:
        return f"{'–':>6}" if value is None else f"{100.0 * value:6.2f}"

    costs = " ".join(f"{number(row.costs.get(name)):>11}" for name in MARKS)
    ours = row.answers.get(OURS)
    known = (None, None) if row.known is None else (row.known.best, row.known.bound)
    marks = "".join(mark if row.proved(name) else "-" for name, mark in MARKS.items())
    gaps = " ".join(share(row.gap(name)) for name in MARKS)
    seconds = "/".join(f"{row.answers[name].seconds:.0f}" if name in row.answers else "–" for name in MARKS)
    line = (
        f"{number_of(row.path):4d} {row.jobs:4d} {len(row.problem.ovens):5d} {costs} {number(known[0]):>11}"
        f" {number(known[1]):>10} {number(ours.bound if ours else None):>10} {marks:>6}"
        f"      {gaps}  {seconds:>13}    {row.peer_judged}"
    )
    return "\n".join([line, *(f"     REFUSED {fault}" for fault in row.refused)])


def summary(rows: Sequence[Row], methods: Sequence[str]) -> Iterator[str]:
    """By size and method: proved, gaps to the best known, and how many are below it."""
    yield "jobs method  solved proved  mean gap %  worst gap %  below best-known  mean bound/best-known"
    for size in sorted({row.jobs for row in rows}):
        of_size = [row for row in rows if row.jobs == size]
        for method in methods:
            gaps = [gap for gap in (row.gap(method) for row in of_size) if gap is not None]
            bounds = [
                row.answers[method].bound / row.known.best for row in of_size if row.known and method in row.answers
            ]
            solved = sum(method in row.costs for row in of_size)
            mean, worst = (f"{100.0 * fmean(gaps):.2f}", f"{100.0 * max(gaps):.2f}") if gaps else ("–", "–")
            yield (
                f"{size:4d} {method:<6} {solved:3d}/{len(of_size):<3d} {sum(row.proved(method) for row in of_size):6d}"
                f" {mean:>11} {worst:>12} {sum(gap < 0.0 for gap in gaps):17d}"
                f" {f'{fmean(bounds):.3f}' if bounds else '–':>22}"
            )
        published = [row.known.bound / row.known.best for row in of_size if row.known]
        closed = sum(row.known is not None and equal(row.known.bound, row.known.best) for row in of_size)
        if published:
            yield f"{size:4d} {'published':<12} {closed:7d} {'':43} {fmean(published):>21.3f}"


def record(row: Row, seconds: float, seed: int) -> dict[str, object]:
    """A row of the CSV file."""
    values: dict[str, object] = {
        "instance": number_of(row.path),
        "jobs": row.jobs,
        "ovens": len(row.problem.ovens),
        "seconds": seconds,
        "seed": seed,
        "best_known": row.known.best if row.known else "",
        "published_bound": row.known.bound if row.known else "",
    }
    for name in MARKS:
        answer, gap = row.answers.get(name), row.gap(name)
        values |= {
            f"{name}_cost": row.costs.get(name, ""),
            f"{name}_bound": answer.bound if answer else "",
            f"{name}_proved": int(row.proved(name)) if answer else "",
            f"{name}_gap": "" if gap is None else f"{gap:.6f}",
            f"{name}_seconds": f"{answer.seconds:.1f}" if answer else "",
        }
    return values | {"refused": "; ".join(row.refused), "peer_judged": row.peer_judged}


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table, row by row, and the summary; 1 if a judge refuses anything."""
    parser = argparse.ArgumentParser(description="The planner on the published Oven Scheduling Problem.")
    parser.add_argument("folder", type=Path, help="instances and best_known.csv")
    parser.add_argument("--seconds", type=float, default=60.0, help="for each method and instance [s]")
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--all", action="store_true", help="every instance of the folder")
    which.add_argument("--instances", help="numbers, with commas")
    parser.add_argument("--methods", default=",".join(MARKS), help="of ours,plain,peer")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--csv", type=Path, help="a file that the rows are written to as well")
    parser.add_argument("--peer", type=Path, help="the Python of an environment with the peer library")
    given = parser.parse_args(arguments)
    methods = [name for name in MARKS if name in given.methods.split(",")]
    if given.peer is None and PEER in methods:
        methods.remove(PEER)
        print("the peer is left out: --peer names no Python of an environment with it")
    known = read_known(given.folder)
    print(f"{platform.machine()}, Python {platform.python_version()}, {given.seconds:g} s each, seed {given.seed}")
    print(HEAD, flush=True)
    rows: list[Row] = []
    for path, problem in chosen(given.folder, given.instances, given.all):
        row = Row(path, problem, known.get(str(number_of(path))))
        run(row, methods, given.seconds, given.seed, given.peer)
        rows.append(row)
        print(printed(row), flush=True)
        if given.csv is not None:
            values = record(row, given.seconds, given.seed)
            with given.csv.open("w" if len(rows) == 1 else "a", encoding="utf-8", newline="") as file:
                writer = csv.DictWriter(file, list(values))
                if len(rows) == 1:
                    writer.writeheader()
                writer.writerow(values)
    print()
    print("\n".join(summary(rows, methods)))
    return 1 if any(row.refused for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
