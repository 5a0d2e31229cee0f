"""Re-planning after a kiln's failure: how soon a proved plan is there, what moves, and what it costs against afresh.

Run from the checkout: ``python -m tests.benchmarks.planning_replan [--loads 250] [--seeds 1 2 3]``. The kiln with most
loads still to fire fails at noon of the second day and stays out of use for three days.

- first: a proved plan from the old one repaired, nothing searched. final: a proved plan with ``--seconds`` of search.
- moved: loads whose kiln or day changes though neither they, nor an earlier stage of theirs, were in the kiln that
  failed; as a share of the loads still to be fired.
- afresh: the same loads, under way and prices of moving, with the search begun from an empty plan filled by dispatch
  instead of from the old one, with the same time.
"""

from __future__ import annotations

import argparse
import platform
import sys
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from unittest.mock import patch

from scheduler.audit import prove
from scheduler.planning import replan as replanning
from scheduler.planning.dispatch import place_missing
from scheduler.planning.door import Settings, plan
from scheduler.planning.events import Events, KilnDown, Situation
from scheduler.planning.replan import Replanned, replan
from scheduler.planning.session import Session
from shared.clock import Minute
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio
from tests.benchmarks.planning_sizes import SIZES, studio_of

OUT_MINUTES = 3 * 24 * 60
"""How long the kiln is out of use [min]."""


@dataclass(frozen=True)
class Failure:
    """A studio with its plan, and the kiln that fails."""

    studio: Studio
    loads: tuple[Load, ...]
    plan: Plan
    at: Minute
    kiln: str

    @property
    def events(self) -> Events:
        """What happens."""
        return Events(down=(KilnDown(self.kiln, self.at + OUT_MINUTES),))


def failure(seed: int, loads: int, seconds: float) -> Failure:
    """Plan a generated studio, and let its busiest kiln fail."""
    studio, waiting, now, begin = studio_of(seed, loads)
    made = plan(studio, waiting, now=now, begin=begin, settings=Settings(seconds=seconds, seed=seed))
    at = begin + 36 * 60
    busy = Counter({kiln.id: 0 for kiln in studio.kilns})
    for firing in made.firings:
        if at < firing.load_at < at + OUT_MINUTES:
            busy[firing.kiln] += len(firing.loads)
    return Failure(studio, waiting, made, at, busy.most_common(1)[0][0])


def timed(case: Failure, settings: Settings) -> tuple[Replanned, float]:
    """A proved new plan, and how long it took [s]."""
    began = time.perf_counter()
    found = replan(case.studio, case.loads, case.plan, now=case.at, events=case.events, settings=settings)
    prove(found.studio, found.loads, found.plan)
    return found, time.perf_counter() - began


def needlessly_moved(case: Failure, found: Replanned) -> tuple[int, int]:
    """Loads moved though nothing of theirs was in the kiln that failed, and loads still to be fired."""
    kiln_of = {name: f.kiln for f in case.plan.firings if f.out_at > case.at for name in f.loads}
    after = {load.id: load.after for load in case.loads}

    def touched(name: str | None) -> bool:
        return name is not None and (kiln_of.get(name) == case.kiln or touched(after.get(name)))

    moved = [change.load for change in found.changes if change.load in kiln_of and not touched(change.load)]
    return len(moved), len(kiln_of)


def _dispatch_only(session: Session, state: Situation) -> None:
    place_missing(session.timetable, session.settings.seed)
    session.timetable.log.clear()


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Re-planning after a kiln's failure.")
    parser.add_argument("--loads", type=int, default=250, choices=list(SIZES))
    parser.add_argument("--seeds", type=int, nargs="*", default=[1, 2, 3])
    parser.add_argument("--plan-seconds", type=float, default=30.0, help="search time of the first plan [s]")
    parser.add_argument("--seconds", type=float, default=8.0, help="search time of the re-plan, and afresh [s]")
    given = parser.parse_args(arguments)
    print(f"{platform.machine()}, Python {platform.python_version()}, {given.loads}/{SIZES[given.loads]}")
    print("seed kiln     first s  cost first  final s  cost final  moved      cost afresh  final against afresh")
    for seed in given.seeds:
        case = failure(seed, given.loads, given.plan_seconds)
        first, first_s = timed(case, Settings(work_limit=0))
        final, final_s = timed(case, Settings(seconds=given.seconds, seed=seed))
        with patch.object(replanning, "_repair", _dispatch_only), patch.object(replanning, "mend", Session.search):
            afresh, _ = timed(case, Settings(seconds=given.seconds, seed=seed))
        moved, still = needlessly_moved(case, final)
        cost, other = final.plan.cost_parts.total, afresh.plan.cost_parts.total
        print(
            f"{seed:4d} {case.kiln:<8} {first_s:7.2f} {first.plan.cost_parts.total:11.1f} {final_s:8.2f} {cost:11.1f}"
            f"  {moved:3d} {moved / max(1, still):5.1%} {other:13.1f}  {cost / other - 1.0:+.1%}",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
