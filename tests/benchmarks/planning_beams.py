"""A scarce group by itself: dispatch, the search, and beams, on the glass of generated studios.

Run from the checkout: ``python -m tests.benchmarks.planning_beams [--loads 250] [--seeds 1 2 3 4 5]``. All three plan
the same loads with all hands and all current for themselves; costs are those of the planner's grid.

- dispatch: the cheapest of the portfolio's rules, where the search begins.
- search: the best of ``--rounds`` rounds, cooled once.
- beams: with the time to list the firings, which computes each with the thermal model. On the first line compiled code
  is loaded too.
- placed: how many of the loads have a place, by the three.
"""

from __future__ import annotations

import argparse
import platform
import sys
import time
from collections.abc import Callable, Sequence

from scheduler.planning.beams import plan_by_beams
from scheduler.planning.dispatch import best_dispatch
from scheduler.planning.groups import Excerpt, groups
from scheduler.planning.search import Search
from scheduler.planning.session import MOST_SETS, lay_out
from scheduler.planning.timetable import Timetable
from tests.benchmarks.planning_sizes import SIZES, studio_of


def glass_of(seed: int, loads: int) -> Timetable:
    """The glass of a generated studio in a timetable of its own."""
    studio, waiting, _, begin = studio_of(seed, loads)
    whole = lay_out(studio, waiting, begin)
    profiles = studio.profile_by_id
    for group in groups(whole):
        if {profiles[whole.problem.loads[number].profile].work for number in group} == {"glass"}:
            return Excerpt(Timetable(whole.problem, whole), group).timetable
    raise SystemExit(f"the studio of seed {seed} has no kilns for glass alone")


def searched(timetable: Timetable, seed: int, rounds: int) -> None:
    """Search from what is there, cooled once."""
    search = Search(timetable, seed)
    for number in range(rounds):
        search.step((1.0 - number / rounds) ** 2)
    timetable.restore(search.best)


def measured(timetable: Timetable, how: Callable[[], object]) -> tuple[float, int, float]:
    """Cost, loads with a place, and seconds."""
    began = time.perf_counter()
    how()
    return timetable.cost(), len(timetable.firing_of), time.perf_counter() - began


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description="A scarce group by itself: dispatch, the search, and beams.")
    parser.add_argument("--loads", type=int, default=250, choices=list(SIZES))
    parser.add_argument("--seeds", type=int, nargs="*", default=[1, 2, 3, 4, 5])
    parser.add_argument("--rounds", type=int, default=3000, help="rounds of the search")
    given = parser.parse_args(arguments)
    print(f"{platform.machine()}, Python {platform.python_version()}, glass of {given.loads}/{SIZES[given.loads]}")
    print("seed loads   dispatch      s     search      s      beams      s  placed")
    for seed in given.seeds:
        timetable = glass_of(seed, given.loads)
        by_rule = measured(timetable, lambda: best_dispatch(timetable))  # noqa: B023  # called at once
        by_search = measured(timetable, lambda: searched(timetable, seed, given.rounds))  # noqa: B023
        timetable.restore(())
        by_beams = measured(timetable, lambda: plan_by_beams(timetable, MOST_SETS))  # noqa: B023
        found = (by_rule, by_search, by_beams)
        costs = "  ".join(f"{cost:9.1f} {seconds:6.2f}" for cost, _, seconds in found)
        placed = "/".join(str(placed) for _, placed, _ in found)
        print(f"{seed:4d} {len(timetable.problem.loads):5d}  {costs}  {placed}", flush=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
