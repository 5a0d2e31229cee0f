"""Whether promised chances hold: plans played through in simulated weeks, by a simulator that is not the planner's.

Run from the checkout: ``python -m tests.benchmarks.planning_chances [--weeks 2000]``. Exits 1 if, of the promises said
to hold in 80 to 90 cases of 100, fewer than 80 or more than 90 in 100 do.

A simulated week draws a true kiln for each kiln (its fit's covariance), differs from it by a little in each firing, and
runs the thermal model itself with those factors; then it goes through the plan event by event, one week at a time.
`scheduler.planning.chances` knows only bands and plays all samples at once. What goes wrong how often is the same in
both, since that is what is assumed.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

import numpy as np

from scheduler.firing.network import Factors
from scheduler.firing.recorded import WEIGHED_ERROR
from scheduler.firing.simulate import simulate_afresh
from scheduler.firing.uncertainty import SCATTER, covariance_of
from scheduler.planning.chances import Assumptions, Chances, chances, request_of
from scheduler.planning.door import Settings, plan
from shared.calendar import OnDuty, on_duty
from shared.clock import Minute, local_time, wall_minute
from shared.loads import Load
from shared.plans import Firing, Plan
from shared.studio import Studio
from tests.benchmarks.studios import make_studio

TIMING_MINUTES = 1.5
"""What no factor moves [min], as in `scheduler.firing.bands`."""

FAR: Minute = 1 << 40


@dataclass(frozen=True)
class Promised:
    """A studio, its plan, and promises that are neither sure nor hopeless."""

    studio: Studio
    loads: tuple[Load, ...]
    plan: Plan
    said: Chances


def promised(seed: int, kilns: int = 4, loads: int = 20, samples: int = 4000) -> Promised:
    """A generated studio, planned; each load promised some hours to some days after it is planned to be out."""
    studio, waiting, now = make_studio(seed, kilns, loads)
    zone = studio.place.zone
    begin = wall_minute(local_time(now, zone).date(), 24 * 60, zone)
    made = plan(studio, waiting, now=now, begin=begin, settings=Settings(work_limit=10, seed=seed))
    random = Random(seed)
    out = {name: firing.out_at for firing in made.firings for name in firing.loads}
    asked = tuple(
        load.model_copy(update={"promised": out[load.id] + int(60 * random.choice((0, 0.5, 2, 8, 26, 50)))})
        for load in waiting
        if load.id in out
    )
    return Promised(studio, asked, made, chances(studio, asked, made, samples=samples, seed=seed))


class Week:
    """One week as it might come: true kilns, true firings, and what goes wrong."""

    def __init__(self, case: Promised, seed: int, assumed: Assumptions) -> None:
        self.case, self.assumed = case, assumed
        self.random = Random(seed)
        self.numpy = np.random.default_rng(seed)
        self.loads = {load.id: load for load in case.loads}
        self.kilns = {
            kiln.id: self.numpy.multivariate_normal(np.zeros(3), covariance_of(kiln.fitted))
            for kiln in case.studio.kilns
        }
        begin = min(firing.load_at for firing in case.plan.firings)
        self.duties: list[OnDuty] = on_duty(case.studio, begin - 1440, case.plan.end + 20 * 1440)

    def run(self) -> dict[str, Minute]:
        """When each load is really out."""
        free: dict[str, Minute] = {}
        out: dict[str, Minute] = {}
        for firing in sorted(self.case.plan.firings, key=lambda f: (f.load_at, f.id)):
            self._fire(firing, free, out)
        return out

    def _true_minutes(self, firing: Firing) -> tuple[float, float]:
        logs = self.kilns[firing.kiln] + self.numpy.multivariate_normal(np.zeros(3), SCATTER)
        mass = self.numpy.normal(0.0, WEIGHED_ERROR)
        factors = Factors(*(math.exp(v) for v in logs), math.exp(mass))
        request = request_of(self.case.studio, tuple(self.loads.values()), firing)
        course = simulate_afresh(request, factors)[0]
        noise = self.numpy.normal(0.0, TIMING_MINUTES)
        return (course.hot_minutes + noise, course.safe_minutes + noise) if course.reached else (math.inf, math.inf)

    def _somebody(self, at: Minute, skill: str | None) -> Minute:
        for duty in self.duties:
            if duty.end > at and (skill is None or skill in duty.shift.skills):
                return max(at, duty.begin)
        return FAR

    def _fire(self, firing: Firing, free: dict[str, Minute], out: dict[str, Minute]) -> None:
        studio = self.case.studio
        kiln, profile = studio.kiln_by_id[firing.kiln], studio.profile_by_id[firing.profile]
        load_at = firing.load_at
        may = max([load_at, free.get(firing.kiln, 0)])
        for name in firing.loads:
            earlier = self.loads[name].after
            if earlier in out:
                may = max(may, out[earlier] + math.ceil(self.loads[name].gap_minutes))
        if may > load_at:
            load_at = self._somebody(may, None)
        start = max(firing.start_at, load_at + math.ceil(kiln.load_minutes))
        if self.random.random() < self.assumed.forgotten:
            start = self._somebody(start + self.assumed.noticed_minutes, None)
        hot_minutes, safe_minutes = self._true_minutes(firing)
        hot = profile.unload == "hot"
        breaks = self.random.random() < self.assumed.breaks_off or math.isinf(hot_minutes)
        takes = hot_minutes if hot else safe_minutes
        if math.isinf(takes):
            takes = float(firing.safe_at - firing.start_at)
        ready = start + math.ceil(takes)
        unload = firing.unload_at
        if ready > unload:
            unload = self._somebody(ready, profile.skill if hot else None)
        length = unload + firing.unload_minutes - load_at
        if hot:
            last = profile.segments(firing.size_row)[-1]
            longest = max(last.longest_hold_minutes, last.hold_minutes + firing.unload_minutes)
            breaks = breaks or unload + firing.unload_minutes > ready - last.hold_minutes + longest
        if breaks:
            unload = self._somebody(unload + length, profile.skill if hot else None)
        emptied = unload + firing.unload_minutes
        free[firing.kiln] = emptied + firing.free_at - firing.out_at
        for name in firing.loads:
            again = self.random.random() < self.assumed.again
            out[name] = self._somebody(emptied + length, None) if again else emptied


BINS = ((0.0, 0.5), (0.5, 0.8), (0.8, 0.9), (0.9, 0.95), (0.95, 1.0001))


def counted(weeks: int, studios: int, seed: int = 1) -> dict[tuple[float, float], list[float]]:
    """For each band of said chances: promises said, what was said on average, what came true."""
    assumed = Assumptions()
    found: dict[tuple[float, float], list[float]] = {band: [0.0, 0.0, 0.0] for band in BINS}
    for number in range(studios):
        case = promised(seed + number)
        said = {row.load: row.kept for row in case.said.loads if row.kept is not None}
        share = weeks // studios
        for week in range(share):
            out = Week(case, 1_000_003 * (seed + number) + week, assumed).run()
            for name, chance in said.items():
                band = next(b for b in BINS if b[0] <= chance < b[1])
                promise = next(load.promised for load in case.loads if load.id == name)
                assert promise is not None
                row = found[band]
                row[0] += 1
                row[1] += chance
                row[2] += out[name] <= promise
    return found


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table; exit code 1 if the promises said to hold at 80 to 90 % do not."""
    parser = argparse.ArgumentParser(description="Calibration of promised chances on simulated weeks.")
    parser.add_argument("--weeks", type=int, default=2000)
    parser.add_argument("--studios", type=int, default=20)
    given = parser.parse_args(arguments)
    found = counted(given.weeks, given.studios)
    print(f"{given.weeks} simulated weeks of {given.studios} studios\nsaid            promises  said on average  kept")
    for (low, high), (count, said, kept) in found.items():
        if count:
            print(
                f"{low:.0%} to {min(high, 1.0):.0%}".ljust(14),
                f"{count:9.0f}  {said / count:15.1%}  {kept / count:.1%}",
            )
    count, _, kept = found[0.8, 0.9]
    held = count > 0 and 0.8 <= kept / count <= 0.9
    print("calibrated" if held else "NOT calibrated")
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
