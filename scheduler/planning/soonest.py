"""Where a batch could go in each kiln beside what is booked, and where it is out first."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from scheduler.planning.batches import Batch
from scheduler.planning.problem import FAR
from scheduler.planning.timetable import Placed, Timetable, out_minutes


def soonest(timetable: Timetable, batch: Batch, stages: Timetable | None) -> Placed | None:
    """The place from which a batch is out first; ``stages`` as in `places`. None where it has no place."""
    grid = timetable.problem.grid_minutes
    return min(places(timetable, batch.at_any_price(), stages), key=lambda p: out_minutes(p, grid), default=None)


def places(timetable: Timetable, batch: Batch, stages: Timetable | None) -> Iterator[Placed]:
    """The cheapest place of a batch in each kiln that has one.

    Earlier and later stages of the same pieces are as planned in ``stages``, or left out of account.
    """
    bounds = (-FAR, FAR) if stages is None else stages.bounds(batch.loads)
    if bounds is None:
        return
    held = replace(batch, ready=max(batch.ready, bounds[0]))
    for kiln in range(len(timetable.problem.kilns)):
        fit = timetable.batches.fit(batch, kiln)
        if fit is not None:
            placed = timetable.best_place(held, kiln, fit, free_of_stages=True, last_out_minutes=bounds[1])
            if placed is not None:
                yield placed
