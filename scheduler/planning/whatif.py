"""What if: the same loads in other studios, planned with a few seeds each and set side by side.

A heuristic search does not always end at the same plan. Each studio is planned with several seeds, so that its spread
is seen: a difference smaller than the spread is the search's, not the studio's.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from scheduler.audit import prove
from scheduler.planning.door import plan
from scheduler.planning.session import Settings
from shared.clock import Minute
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio

SEEDS = (0, 1, 2)
"""Seeds of the runs of each studio, if nothing is said."""


@dataclass(frozen=True, slots=True)
class Figures:
    """What a plan comes to.

    Attributes
    ----------
    cost, lateness, unplaced, energy, firings, clean_outs
        The cost and its parts [currency].
    late_loads, late_hours, unplaced_loads, firing_count
        Loads out after their promise, by how many hours in all [h]; loads without a place; firings [-].
    kwh
        Energy [kWh].
    people_hours
        Time spent cleaning out, loading, opening and in sessions, by everybody together [h].
    use
        Share of each kiln's time from loading to free [-], by kiln id.
    """

    cost: float
    lateness: float
    unplaced: float
    energy: float
    firings: float
    clean_outs: float
    late_loads: int
    late_hours: float
    unplaced_loads: int
    firing_count: int
    kwh: float
    people_hours: float
    use: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class Variant:
    """One studio: the figures of each run, and its cheapest plan, proved."""

    name: str
    studio: Studio
    runs: tuple[Figures, ...]
    best: Plan

    def spread(self, figure: Callable[[Figures], float]) -> tuple[float, float]:
        """The least and the most that a figure came to in the runs."""
        values = [figure(run) for run in self.runs]
        return min(values), max(values)


def whatif(
    studios: Mapping[str, Studio],
    loads: Sequence[Load],
    *,
    now: Minute,
    begin: Minute,
    settings: Settings | None = None,
    seeds: Sequence[int] = SEEDS,
    progress: Callable[[str, int], None] | None = None,
) -> tuple[Variant, ...]:
    """Plan the same loads in several studios.

    Parameters
    ----------
    studios
        By name, in the order of the table.
    loads, now, begin
        What waits, when the plans are made and from when they hold [min].
    settings
        How long each run searches; its seed is not used.
    seeds
        A run for each.
    progress
        Called with the name of the studio and the seed before each run.

    Raises
    ------
    AuditError
        If a plan breaks a rule.
    """
    found = []
    for name, studio in studios.items():
        made = []
        for seed in seeds:
            if progress is not None:
                progress(name, seed)
            result = plan(
                studio, loads, now=now, begin=begin, settings=replace(settings or Settings(seconds=10.0), seed=seed)
            )
            made.append(prove(studio, loads, result).plan)
        runs = tuple(figures(studio, one) for one in made)
        found.append(Variant(name, studio, runs, min(made, key=lambda one: one.cost_parts.total)))
    return tuple(found)


def differ(first: Variant, second: Variant) -> bool:
    """Whether the costs differ by more than the search's own spread: no run of one lies among the other's."""
    low, high = first.spread(lambda run: run.cost)
    other_low, other_high = second.spread(lambda run: run.cost)
    return high < other_low - 0.005 or other_high < low - 0.005


def figures(studio: Studio, made: Plan) -> Figures:
    """What a plan comes to."""
    length = made.end - made.begin
    busy = dict.fromkeys(studio.kiln_by_id, 0)
    people = 0.0
    for firing in made.firings:
        busy[firing.kiln] += max(0, min(firing.free_at, made.end) - max(firing.load_at, made.begin))
        unloading = firing.unload_minutes * studio.profile_by_id[firing.profile].unload_people
        people += firing.clean_out_minutes + studio.kiln_by_id[firing.kiln].load_minutes + unloading
    parts = made.cost_parts
    return Figures(
        cost=parts.total,
        lateness=parts.lateness,
        unplaced=parts.unplaced,
        energy=parts.energy,
        firings=parts.firings,
        clean_outs=parts.clean_outs,
        late_loads=len(made.late),
        late_hours=sum(row.hours for row in made.late),
        unplaced_loads=len(made.unplaced),
        firing_count=len(made.firings),
        kwh=sum(firing.kwh for firing in made.firings),
        people_hours=people / 60.0,
        use={kiln: minutes / length for kiln, minutes in busy.items()},
    )
