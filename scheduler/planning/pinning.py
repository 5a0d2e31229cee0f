"""Which firings of the old plan a re-plan leaves alone: all but those near the damage.

A plan is never the best there is, and a search over all of it would move loads here and there for a small gain that has
nothing to do with what has happened. People have their dates already: only a few firings that could make room for a
load that lost its place, in the kilns that could take it and about the time that it was wanted, are looked at again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from scheduler.planning.timetable import Timetable, out_minutes

MOST_MOVED = 0.05
"""Share of the loads with a place that may move for others' sake, at most [-]; house choice: one in twenty. Loads of
firings that a displaced load has joined count first. Measured at 250 loads, a kiln out for three days, 8 s
(tests/benchmarks/planning_replan.py): without a limit a quarter of the other loads moved, for 3 to 5 % of the cost."""

LEAST_MOVED = 6
"""Loads that may move for others' sake in any studio, however small [-]; house choice."""

NEAREST = 20
"""Firings among which those that are looked at again are picked [-]; house choice."""


def damaged(timetable: Timetable, new: Sequence[int]) -> list[int]:
    """Loads that are not where they were: in another kiln or on another day, without a place, or new."""
    grid = timetable.problem.grid_minutes
    found = set(new)
    for load, stay in timetable.batches.stays.items():
        number = timetable.firing_of.get(load)
        if number is None:
            found.add(load)
            continue
        firing = timetable.firings[number]
        if stay.kiln != firing.kiln or not stay.begin <= out_minutes(firing, grid) < stay.end:
            found.add(load)
    return sorted(found)


def near(timetable: Timetable, loads: Sequence[int]) -> set[int]:
    """The firings near some damaged loads: their own, and the nearest in time in kilns that could take them."""
    problem, batches = timetable.problem, timetable.batches
    chosen = {timetable.firing_of[load] for load in loads if load in timetable.firing_of}
    distance: dict[int, float] = {}
    for load in loads:
        alone = batches.make(problem.loads[load].profile, (load,))
        if alone is None:
            continue
        kilns = batches.kilns_for(alone)
        wanted = _wanted(timetable, load)
        for number, firing in timetable.firings.items():
            if firing.kiln in kilns and not firing.fixed and number not in chosen:
                away = abs(out_minutes(firing, problem.grid_minutes) - wanted)
                distance[number] = min(away, distance.get(number, away))
    others = sum(load not in loads for number in chosen for load in timetable.firings[number].batch.loads)
    budget = max(LEAST_MOVED, MOST_MOVED * len(timetable.firing_of))
    for number in sorted(distance, key=lambda number: (distance[number], number))[:NEAREST]:
        if others + len(timetable.firings[number].batch.loads) <= budget:
            others += len(timetable.firings[number].batch.loads)
            chosen.add(number)
    return chosen


def pin(timetable: Timetable, free: set[int]) -> None:
    """Hold every firing that is not ``free`` where it is."""
    for number in list(timetable.firings):
        firing = timetable.firings[number]
        if number not in free and not firing.fixed:
            timetable.remove(number)
            timetable.add(replace(firing, fixed=True))
    timetable.log.clear()


def _wanted(timetable: Timetable, load: int) -> float:
    """When a load is wanted [min after the plan's begin]: when it was to be out, else when it was promised."""
    stay = timetable.batches.stays.get(load)
    if stay is not None:
        return float(stay.end)
    promised = timetable.problem.loads[load].promised
    return 0.0 if promised is None else float(promised - timetable.problem.begin)
