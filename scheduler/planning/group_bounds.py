"""What no plan can cost less than, group by group: groups of kilns share nothing that costs.

Where a whole studio has too many possible firings to be listed, most of its groups have not: two kilns with two dozen
loads have some hundred. Each group is bounded as if it had all hands and all current for itself, and the sum holds for
the studio. The group that has most to gain is then decided exactly, as far as the time goes.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from scheduler.planning.blending import plan_around
from scheduler.planning.bounds import cost_bound, load_bounds
from scheduler.planning.columns import Column
from scheduler.planning.groups import Excerpt, groups
from scheduler.planning.proof import MOST_LISTED, columns_within, listed_bounds, plan_firings
from scheduler.planning.timetable import Placed, Timetable

LIST_SHARE, BOUND_SHARE, EXACT_SHARE = 0.2, 0.2, 0.4
"""Shares of the time for listing the groups' firings, for their bounds, and for deciding one group exactly [-]."""


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """A group by itself, its possible firings where they are listed, its bound, and what it costs in the plan now."""

    excerpt: Excerpt
    columns: tuple[Column, ...] | None
    bound: float
    cost: float

    @property
    def to_gain(self) -> float:
        """How much the group may still gain [currency]; nought where its firings are not listed."""
        return 0.0 if self.columns is None else self.cost - self.bound


def bounds_by_groups(timetable: Timetable, seconds: float) -> Iterator[tuple[float, tuple[Placed, ...]]]:
    """Bounds of what any plan costs [currency], with each the firings of a plan that may be cheaper, or none.

    Nothing in the timetable may be fixed. It takes no more than about ``seconds``, and leaves the timetable changed.
    """
    begun = time.monotonic()

    def left(share: float) -> float:
        return share * seconds - (time.monotonic() - begun)

    found = _listed(timetable, lambda: left(LIST_SHARE), lambda: left(LIST_SHARE + BOUND_SHARE))
    yield sum(group.bound for group in found), ()
    dearest = max(found, key=lambda group: group.to_gain, default=None)
    if dearest is None or dearest.to_gain < timetable.problem.studio.prices.unplaced:
        return
    yield from _decided(timetable, found, dearest, left(LIST_SHARE + BOUND_SHARE + EXACT_SHARE))


def _listed(timetable: Timetable, to_list: Callable[[], float], to_bound: Callable[[], float]) -> list[_Group]:
    """The groups, the smallest first, and in a last one the loads that no kiln may take."""
    parts = sorted(groups(timetable.batches), key=len)
    nowhere = set(range(len(timetable.problem.loads))).difference(*parts)
    excerpts = [Excerpt(timetable, part) for part in (*parts, tuple(sorted(nowhere))) if part]
    listed, most = [], MOST_LISTED
    for excerpt in excerpts:
        bounds = load_bounds(excerpt.batches)
        columns = columns_within(excerpt.batches, bounds, max(0.0, to_list()), most)
        listed.append((excerpt, columns, cost_bound(excerpt.batches, bounds)))
        most -= len(columns or ())
    found = []
    for number, (excerpt, columns, bound) in enumerate(listed):
        share = max(0.0, to_bound()) / (len(listed) - number)
        if columns and share > 0.0:
            better, _ = next(listed_bounds(excerpt.batches, columns, lambda: math.inf, share))
            bound = max(bound, better)
        found.append(_Group(excerpt, columns or None, bound, excerpt.timetable.cost()))
    return found


def _decided(
    timetable: Timetable, found: Sequence[_Group], group: _Group, seconds: float
) -> Iterator[tuple[float, tuple[Placed, ...]]]:
    """Better and better bounds, and a plan, by deciding one group exactly."""
    others = sum(other.bound for other in found if other is not group)
    excerpt = group.excerpt
    for bound, firings in listed_bounds(excerpt.batches, group.columns or (), lambda: group.cost, max(0.0, seconds)):
        plan: tuple[Placed, ...] = ()
        if plan_firings(excerpt.timetable, firings):
            plan_around(timetable, excerpt.in_whole(excerpt.timetable.snapshot()))
            plan = timetable.snapshot()
        yield others + max(group.bound, bound), plan
