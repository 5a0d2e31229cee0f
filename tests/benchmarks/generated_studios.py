"""Plans thirty generated studios and audits each plan; prints a table and fails if any plan is refused.

Run from the checkout: ``python -m tests.benchmarks.generated_studios [--seconds 10] [--only 7 8 9]``.
"""

from __future__ import annotations

import argparse
import platform
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from scheduler.audit import BrokenPlanError, prove
from scheduler.planning.door import Settings, plan
from shared.clock import Minute, wall_minute
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio
from shared.units import TemperatureUnit
from tests.benchmarks.studios import make_studio


@dataclass(frozen=True, slots=True)
class Case:
    """One studio to generate; ``start`` is the first day of its plan."""

    seed: int
    kilns: int
    loads: int
    unit: TemperatureUnit
    timezone: str
    start: date


_ZONES: tuple[tuple[str, TemperatureUnit, date], ...] = (
    ("Europe/Lisbon", "C", date(2026, 11, 30)),
    ("Australia/Adelaide", "C", date(2026, 5, 4)),  # half an hour off the full hour
    ("America/Chicago", "F", date(2026, 11, 30)),
)
_CLOCK_CHANGES: tuple[tuple[str, TemperatureUnit, date], ...] = (
    ("America/New_York", "F", date(2027, 3, 10)),  # 2027-03-14: 02:00 becomes 03:00
    ("Europe/London", "C", date(2026, 10, 22)),  # 2026-10-25: 02:00 becomes 01:00
    ("America/New_York", "C", date(2026, 10, 29)),  # 2026-11-01: 02:00 becomes 01:00
)
_SIZES = (
    (2, 10), (2, 16), (3, 15), (3, 24), (4, 20), (4, 32), (5, 30), (5, 45), (6, 36), (6, 50),
    (7, 40), (7, 60), (8, 48), (8, 70), (9, 60), (9, 80), (10, 60), (10, 100), (11, 80), (11, 110),
    (12, 70), (12, 120), (13, 90), (13, 130), (14, 100), (14, 140), (15, 90), (15, 120), (15, 140), (15, 150),
)  # fmt: skip
"""Kilns and loads of the thirty."""


def cases() -> list[Case]:
    """The thirty: 2 to 15 kilns, 10 to 150 loads, both units, zones on three continents, every fifth on a change."""
    chosen = []
    for number, (kilns, loads) in enumerate(_SIZES):
        if number % 5 == 4:
            timezone, unit, start = _CLOCK_CHANGES[number // 5 % len(_CLOCK_CHANGES)]
        else:
            timezone, unit, start = _ZONES[number % len(_ZONES)]
        chosen.append(Case(number + 1, kilns, loads, unit, timezone, start))
    return chosen


def made(case: Case) -> tuple[Studio, tuple[Load, ...], Minute, Minute]:
    """The studio of a case, its loads, when its plan is made and from when it holds."""
    studio, loads, now = make_studio(case.seed, case.kilns, case.loads, case.unit, case.timezone, case.start)
    return studio, loads, now, wall_minute(case.start, 0, studio.place.zone)


def kiln_use(result: Plan, studio: Studio) -> float:
    """Share of the kilns' time from loading to free [-]."""
    busy = sum(firing.free_at - firing.load_at for firing in result.firings)
    return busy / ((result.end - result.begin) * len(studio.kilns))


def run(case: Case, seconds: float, workers: int) -> tuple[str, bool]:
    """One line of the table, and whether the plan passed the audit."""
    studio, loads, now, begin = made(case)
    began = time.perf_counter()
    result = plan(studio, loads, now=now, begin=begin, settings=Settings(seconds=seconds, seed=0, workers=workers))
    took = time.perf_counter() - began
    try:
        prove(studio, loads, result)
        verdict, passed = "passed", True
    except BrokenPlanError as broken:
        verdict, passed = f"REFUSED\n{broken}", False
    line = (
        f"{case.seed:4d} {case.unit:>4} {case.timezone:<20} {case.start} {case.kilns:5d} {case.loads:5d}"
        f" {len(loads) - len(result.unplaced):6d} {len(result.firings):7d} {kiln_use(result, studio):5.0%}"
        f" {result.proof.cost:10.1f} {result.proof.bound:10.1f} {took:7.1f} {verdict}"
    )
    return line, passed


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the cases; 1 if the audit refused any plan."""
    parser = argparse.ArgumentParser(description="Plan thirty generated studios and audit every plan.")
    parser.add_argument("--seconds", type=float, default=10.0, help="search time for each studio [s]")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--only", type=int, nargs="*", help="seeds to run; all thirty without it")
    given = parser.parse_args(arguments)
    print(
        f"{platform.machine()}, Python {platform.python_version()}, {given.workers} workers, {given.seconds:g} s each"
    )
    print(
        f"seed unit {'zone':<20} {'start':<10} kilns loads placed firings   use       cost      bound seconds audit",
        flush=True,
    )
    refused = 0
    for case in cases():
        if given.only and case.seed not in given.only:
            continue
        line, passed = run(case, given.seconds, given.workers)
        print(line, flush=True)
        refused += not passed
    print(f"{refused} refused" if refused else "every plan passed the audit")
    return 1 if refused else 0


if __name__ == "__main__":
    sys.exit(main())
