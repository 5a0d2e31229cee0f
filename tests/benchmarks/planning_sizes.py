"""The planner against a careful person (two of them), its own dispatch rules and one plain CP-SAT model, size by size.

Run from the checkout: ``python -m tests.benchmarks.planning_sizes [--sizes 20 60] [--seeds 1 2] [--seconds 30]``. Each
method runs in a process of its own, so that its memory is its own. Cost is by the studio's prices, in its currency;
the bound is the planner's relaxation; ``audit`` says whether every rule is proved kept (CP-SAT: by the timetable, since
its model rounds masses up and is not settled). ``--methods planner long --long-seconds 1200`` shows how much a longer
search of its own still finds.
"""

from __future__ import annotations

import argparse
import json
import platform
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from functools import partial
from statistics import median
from typing import Any

from scheduler.audit import BrokenPlanError, prove
from scheduler.planning.dispatch import best_dispatch
from scheduler.planning.door import Settings, plan
from scheduler.planning.model.solve import Limits, solve
from scheduler.planning.model.variables import Part
from scheduler.planning.reasons import unplaced_loads
from scheduler.planning.session import Session, studio_session
from scheduler.planning.settle import settle, write_plan_of
from scheduler.planning.timetable import Timetable
from shared.clock import Minute, local_time, wall_minute
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio
from tests.benchmarks.careful_person import best_wait, first_come
from tests.benchmarks.studios import make_studio

SIZES = {20: 4, 60: 6, 120: 10, 250: 15, 500: 25, 1000: 40}
"""Loads and kilns."""

PERSON, WAITS, RULES, PLAIN, OURS, LONG = "first come", "best wait", "dispatch", "one CP-SAT", "planner", "long"
LARGEST_PLAIN = 500
"""Largest number of loads that the plain model is asked for: beyond, building it alone takes longer than the search."""


def studio_of(seed: int, loads: int) -> tuple[Studio, tuple[Load, ...], Minute, Minute]:
    """A generated studio, what waits, when its plan is made and from when it holds."""
    studio, waiting, now = make_studio(seed, SIZES[loads], loads)
    zone = studio.place.zone
    return studio, waiting, now, wall_minute(local_time(now, zone).date(), 24 * 60, zone)


def _written(session: Session, now: Minute) -> Plan:
    return write_plan_of(
        session.timetable,
        made_at=now,
        bound=session.bound,
        seconds=0.0,
        unplaced=unplaced_loads(session.timetable),
    )


def _figures(made: Plan, studio: Studio, loads: Sequence[Load], bound: float) -> dict[str, Any]:
    try:
        prove(studio, loads, made)
        audit = "proved"
    except BrokenPlanError as broken:
        audit = f"REFUSED {len(broken.breaches)}: {broken.breaches[0].rule}"
    return {
        "cost": made.cost_parts.total,
        "bound": bound,
        "unplaced": len(made.unplaced),
        "late": len(made.late),
        "audit": audit,
    }


def by_person(seed: int, size: int, seconds: float, fill: Callable[[Timetable], None] = first_come) -> dict[str, Any]:
    """First come, first served; or, with the best wait in hindsight, a harder baseline."""
    studio, loads, now, begin = studio_of(seed, size)
    session = studio_session(studio, loads, begin, Settings(seconds=seconds), None)
    began = time.perf_counter()
    fill(session.timetable)
    took = time.perf_counter() - began
    return _figures(_written(session, now), studio, loads, session.bound) | {"seconds": took}


def by_rules(seed: int, size: int, seconds: float) -> dict[str, Any]:
    """The best of the dispatch rules, settled."""
    studio, loads, now, begin = studio_of(seed, size)
    began = time.perf_counter()
    session = studio_session(studio, loads, begin, Settings(seconds=seconds), None)
    best_dispatch(session.timetable)
    settle(session.timetable)
    took = time.perf_counter() - began
    return _figures(_written(session, now), studio, loads, session.bound) | {"seconds": took}


def by_plain_model(seed: int, size: int, seconds: float) -> dict[str, Any]:
    """One model of all loads, without a hint, with two workers of the solver."""
    studio, loads, _, begin = studio_of(seed, size)
    began = time.perf_counter()
    session = studio_session(studio, loads, begin, Settings(seconds=seconds), None)
    timetable, batches = session.timetable, session.batches
    answer = solve(Part(timetable, tuple(range(len(loads)))), Limits(seconds, workers=2))
    took = time.perf_counter() - began
    for decided in () if answer is None else answer.firings:
        batch = batches.make(decided.profile, decided.loads)
        fit = None if batch is None else batches.fit(batch, decided.kiln)
        assert batch is not None
        assert fit is not None
        timetable.add(timetable.placed_at(batch, decided.kiln, fit, decided.load_at, decided.start, decided.unload))
    late = sum(f.late_cost > 0 for f in timetable.firings.values())
    return {
        "cost": timetable.cost(),
        # The model's own bound is one for rounded-up masses: a settled plan may cost less.
        "bound": session.bound,
        "unplaced": len(loads) - len(timetable.firing_of),
        "late": late,
        "audit": "nothing found" if answer is None else ("sound" if timetable.is_sound() else "UNSOUND"),
        "seconds": took,
    }


def by_planner(seed: int, size: int, seconds: float) -> dict[str, Any]:
    """Ours."""
    studio, loads, now, begin = studio_of(seed, size)
    began = time.perf_counter()
    made = plan(studio, loads, now=now, begin=begin, settings=Settings(seconds=seconds, seed=seed))
    took = time.perf_counter() - began
    return _figures(made, studio, loads, made.proof.bound) | {"seconds": took}


METHODS: dict[str, Callable[[int, int, float], dict[str, Any]]] = {
    PERSON: by_person,
    WAITS: partial(by_person, fill=best_wait),
    RULES: by_rules,
    PLAIN: by_plain_model,
    OURS: by_planner,
    LONG: by_planner,
}
USUAL = [method for method in METHODS if method != LONG]


def measured(method: str, seed: int, size: int, seconds: float) -> dict[str, Any]:
    """One method in a process of its own."""
    command = [sys.executable, "-m", "tests.benchmarks.planning_sizes", "--one", method]
    command += ["--seeds", str(seed), "--sizes", str(size), "--seconds", str(seconds)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        return {"failed": done.stderr.strip().splitlines()[-1] if done.stderr.strip() else "killed"}
    found: dict[str, Any] = json.loads(done.stdout.strip().splitlines()[-1])
    return found


def _gap(row: dict[str, Any]) -> float:
    """By how much a cost is above its bound, to a hundredth [-]; at the bound but for rounding it is 0, not -0."""
    return round(row["cost"] / row["bound"] - 1.0, 2) + 0.0


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table, and the medians; 1 if a plan is refused."""
    parser = argparse.ArgumentParser(description="The planner against baselines, size by size.")
    parser.add_argument("--sizes", type=int, nargs="*", default=list(SIZES), choices=list(SIZES))
    parser.add_argument("--seeds", type=int, nargs="*", default=[1, 2, 3, 4, 5])
    parser.add_argument("--seconds", type=float, default=30.0, help="search time of CP-SAT and the planner [s]")
    parser.add_argument("--long-seconds", type=float, default=1200.0, help="search time of the long method [s]")
    parser.add_argument("--methods", nargs="*", default=USUAL, choices=list(METHODS))
    parser.add_argument("--one", choices=list(METHODS), help=argparse.SUPPRESS)
    given = parser.parse_args(arguments)
    if given.one:
        found = METHODS[given.one](given.seeds[0], given.sizes[0], given.seconds)
        peak = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
        print(json.dumps(found | {"megabytes": peak / 1024.0}))
        return 0
    print(f"{platform.machine()}, Python {platform.python_version()}, {given.seconds:g} s each")
    print("loads kilns seed method            cost      bound      gap unplaced late seconds   MB  audit")
    costs: dict[tuple[int, str], list[float]] = {}
    refused = 0
    for size in given.sizes:
        for seed in given.seeds:
            for method in given.methods:
                if method == PLAIN and size > LARGEST_PLAIN:
                    continue
                row = measured(method, seed, size, given.long_seconds if method == LONG else given.seconds)
                head = f"{size:5d} {SIZES[size]:5d} {seed:4d} {method:<10}"
                if "failed" in row:
                    print(f"{head} FAILED: {row['failed']}", flush=True)
                    refused += 1
                    continue
                costs.setdefault((size, method), []).append(row["cost"])
                refused += row["audit"].isupper() or row["audit"].startswith("REFUSED")
                gap = f"{_gap(row):8.0%}" if row["bound"] > 0 else "       –"
                print(
                    f"{head} {row['cost']:11.1f} {row['bound']:10.1f} {gap} {row['unplaced']:8d} {row['late']:4d}"
                    f" {row['seconds']:7.1f} {row['megabytes']:4.0f}  {row['audit']}",
                    flush=True,
                )
    print("\nmedian cost, and the planner's against it")
    for (size, method), values in costs.items():
        ours = costs.get((size, OURS))
        against = f"  planner at {median(ours) / median(values):.0%}" if ours and method != OURS else ""
        print(f"{size:5d} {method:<10} {median(values):11.1f}{against}")
    return 1 if refused else 0


if __name__ == "__main__":
    sys.exit(main())
