"""How long is long enough for a folder: its plans by search time and seed, each proved, as a table.

Run from the checkout: ``python -m tests.benchmarks.planning_seconds [FOLDER] [--seconds 10 20 60]``. The
sample studio is planned as on its own Sunday evening.

- points: energy and all that the studio's prices weigh. no place: loads.
- late, hours late: loads that are late, and their hours together.
- last better: when the search last found a cheaper plan [s].
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
from collections.abc import Sequence
from pathlib import Path

from api.present import present
from api.progress import SearchHistory
from api.requests import day_asked_for, plan_begin
from api.single_firing import warm_up
from scheduler.audit import prove
from scheduler.planning.door import Settings, plan
from shared.files import read_folder


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description="A folder's plans by search time.")
    parser.add_argument("folder", type=Path, nargs="?", default=Path("sample_studio"))
    parser.add_argument("--seconds", type=float, nargs="+", default=[10.0, 20.0, 60.0])
    parser.add_argument("--seeds", type=int, nargs="+", default=[0, 1, 2])
    parser.add_argument("--now", default="2026-11-29T18:00")
    given = parser.parse_args(arguments)
    studio, loads = read_folder(given.folder)
    now = present(given.now, studio)
    begin = plan_begin(day_asked_for(None, now, studio), now, studio)
    warm_up(studio)
    load = ", ".join(f"{part:.1f}" for part in os.getloadavg())
    print(f"{platform.machine()}, {os.cpu_count()} cores (load before: {load}), Python {platform.python_version()}")
    print("seconds seed    points  late  hours late  no place  last better")
    for seconds in given.seconds:
        for seed in given.seeds:
            history = SearchHistory()
            settings = Settings(seconds=seconds, seed=seed)
            made = plan(studio, loads, now=now, begin=begin, settings=settings, progress=history.note)
            proved = prove(studio, loads, made).plan
            hours = sum(late.hours for late in proved.late)
            print(
                f"{seconds:7.0f} {seed:4d} {proved.cost_parts.total:9.0f} {len(proved.late):5d} {hours:11.0f}"
                f" {len(proved.unplaced):9d} {history.until(seconds).last_better_seconds:12.1f}",
                flush=True,
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
