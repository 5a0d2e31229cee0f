"""How soon "when could this be out?" is answered, beside a plan of many loads, and whether the answer holds.

Run from the checkout: ``python -m tests.benchmarks.planning_promise [--loads 250]``. Each load asked about is
one that waits, under another name. An answer holds if, with the load promised for the time offered, the plan made again
with nothing searched keeps that promise and every promise that was kept before, and is proved.
"""

from __future__ import annotations

import argparse
import platform
import sys
import time
from collections.abc import Sequence
from random import Random
from statistics import median

from scheduler.audit import prove
from scheduler.planning.door import Settings, plan
from scheduler.planning.events import Events
from scheduler.planning.promise import promise
from scheduler.planning.replan import replan
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio
from tests.benchmarks.planning_sizes import SIZES, studio_of


def holds(studio: Studio, loads: Sequence[Load], made: Plan, new: Load) -> bool:
    """Whether a promise can be given without breaking another."""
    # A minute before its begin nothing of the plan is under way.
    found = replan(studio, loads, made, now=made.begin - 1, events=Events(add=(new,)), settings=Settings(work_limit=0))
    prove(found.studio, found.loads, found.plan)
    before = {row.load for row in (*made.late, *made.unplaced)}
    return not {row.load for row in (*found.plan.late, *found.plan.unplaced)} - before


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the times; 1 if a promise does not hold."""
    parser = argparse.ArgumentParser(description="How soon a promise is given.")
    parser.add_argument("--loads", type=int, default=250, choices=list(SIZES))
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--asked", type=int, default=20)
    parser.add_argument("--plan-seconds", type=float, default=15.0, help="search time of the plan in hand [s]")
    given = parser.parse_args(arguments)
    studio, loads, now, begin = studio_of(given.seed, given.loads)
    made = plan(studio, loads, now=now, begin=begin, settings=Settings(seconds=given.plan_seconds))
    random = Random(given.seed)
    asked = [load for load in loads if load.session_at is None and load.after is None]
    times, kept, offered = [], 0, 0
    for load in random.sample(asked, min(given.asked, len(asked))):
        new = load.model_copy(update={"id": "asked", "promised": None})
        began = time.perf_counter()
        found = promise(studio, loads, made, new, now=begin)
        times.append(time.perf_counter() - began)
        if found.offer is not None:
            offered += 1
            wanted = new.model_copy(update={"promised": found.offer.out_at, "priority": 9})
            kept += holds(studio, loads, made, wanted)
    print(
        f"{platform.machine()}, {given.loads}/{SIZES[given.loads]}: {len(times)} asked, median {median(times):.3f} s,"
        f" longest {max(times):.3f} s; {offered} offers, {kept} hold"
    )
    return 0 if kept == offered else 1


if __name__ == "__main__":
    sys.exit(main())
