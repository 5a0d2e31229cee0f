"""What no plan can cost less than: relaxations that hold for any size.

Each load is looked at by itself, with every kiln empty, all current and its own mass alone: it cannot be out sooner
than that. What remains of the cost is firings and their energy, and a kiln holds only so much: a load that needs a
third of a kiln's room pays at least a third of the cheapest firing of that kiln.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from scheduler.planning.batches import Batch, Batches, Fit
from scheduler.planning.heats import Charge, energy_costs
from scheduler.planning.timetable import Placed, Timetable

_ROUNDING_H = 1e-9


@dataclass(frozen=True, slots=True)
class LoadBound:
    """The least that one load costs by itself: lateness, and its share of a firing; ``unplaced`` if left out."""

    load: int
    late: float
    share: float
    least_firing: float
    room: float
    unplaced: float
    places: tuple[Placed, ...]


def load_bounds(batches: Batches) -> tuple[LoadBound, ...]:
    """The bound of each load alone in an empty studio."""
    problem = batches.problem
    empty = Timetable(problem, batches)
    price = problem.studio.prices
    charges: list[tuple[int, Batch, int, tuple[Charge, tuple[tuple[str, ...], ...]]]] = []
    for load in range(len(problem.loads)):
        batch = batches.make(problem.loads[load].profile, (load,))
        if batch is None:
            continue
        for kiln in range(len(problem.kilns)):
            exact = batches.charge(batch, kiln, exact=True)
            if exact is not None:
                charges.append((load, batch, kiln, exact))
    batches.heats.prepare(exact[0] for *_, exact in charges)
    fits: dict[int, list[tuple[int, Fit]]] = {}
    own: dict[int, Batch] = {}
    for load, batch, kiln, (charge, layers) in charges:
        phases = batches.heats.phases(charge)
        if phases is not None:
            own[load] = batch
            fits.setdefault(load, []).append((kiln, Fit(layers, phases)))
    alone = [(load, own[load], kilns) for load, kilns in fits.items()]
    bounds = {}
    for load, batch, kilns in alone:
        placed = [p for kiln, fit in kilns if (p := _earliest(empty, batch, kiln, fit)) is not None]
        unplaced = price.unplaced * problem.loads[load].priority
        if not placed:
            continue
        shares = []
        for firing in placed:
            room = _room(batches, load, firing.kiln)
            cheapest = price.firing + float(energy_costs(problem, firing.fit.phases).min())
            shares.append((room * cheapest, cheapest, room))
        bounds[load] = LoadBound(
            load=load,
            late=min(firing.late_cost for firing in placed),
            share=min(share for share, _, _ in shares),
            least_firing=min(cheapest for _, cheapest, _ in shares),
            room=min(room for _, _, room in shares),
            unplaced=unplaced,
            places=tuple(placed),
        )
    return tuple(
        bounds.get(load) or LoadBound(load, math.inf, 0.0, 0.0, 0.0, price.unplaced * problem.loads[load].priority, ())
        for load in range(len(problem.loads))
    )


def _earliest(empty: Timetable, batch: Batch, kiln: int, fit: Fit) -> Placed | None:
    """The least late place in an empty studio, earlier and later stages left aside."""
    return empty.best_place(batch, kiln, fit, free_of_stages=True)


def _room(batches: Batches, load: int, kiln: int) -> float:
    """Part of a kiln's room that a load takes at least [-]: its area times its height, of the kiln's."""
    own = batches.problem.loads[load]
    oven = batches.problem.kilns[kiln]
    if own.alone:
        return 1.0
    volume = own.footprint_cm2 * (own.height_mm + oven.shelf_gap_mm)
    return min(1.0, volume / (oven.shelf_area_cm2 * oven.height_mm))


def cost_bound(batches: Batches, bounds: tuple[LoadBound, ...]) -> float:
    """A cost that no plan goes below [currency].

    Loads that could never share a firing with one another's profiles are bounded apart; within one such group the
    bound is the best of: shares of firings; one whole firing; as many whole firings as the room asks for.
    """
    groups: dict[str, list[LoadBound]] = {}
    for bound in bounds:
        groups.setdefault(_group(batches, bound.load), []).append(bound)
    return sum(_group_bound(group) for group in groups.values())


def _group(batches: Batches, load: int) -> str:
    """A name shared by loads that may, directly or through others, share a firing."""
    profiles = batches.problem.studio.profiles
    leader = {profile.id: profile.id for profile in profiles}

    def root(name: str) -> str:
        while leader[name] != name:
            name = leader[name]
        return name

    for profile in profiles:
        for guest in profile.shares_with:
            if guest in leader:
                leader[root(guest)] = root(profile.id)
    own = batches.problem.loads[load]
    profile = batches.problem.studio.profile_by_id[own.profile]
    apart = f"|{own.family}" if profile.one_family and root(own.profile) == own.profile else ""
    alone = f"|{own.id}" if own.alone else ""
    shared = any(p.shares_with for p in profiles if root(p.id) == root(own.profile))
    return root(own.profile) + ("" if shared else apart) + alone


def _group_bound(group: list[LoadBound]) -> float:
    each = sum(min(b.unplaced, b.late + b.share) for b in group)
    placeable = [b for b in group if b.places]
    never = sum(b.unplaced for b in group if not b.places)
    if not placeable:
        return never
    cheapest = min(b.least_firing for b in placeable)
    lateness = sum(min(b.unplaced, b.late) for b in placeable)
    one = min(sum(b.unplaced for b in placeable), cheapest + lateness)
    needed = math.ceil(sum(b.room for b in placeable) - _ROUNDING_H)
    some_left_out = min(b.unplaced for b in placeable)
    whole = min(some_left_out + lateness_without_dearest(placeable), needed * cheapest + lateness)
    return max(each, never + one, never + whole)


def lateness_without_dearest(group: list[LoadBound]) -> float:
    """The least lateness if one load, whichever, is left out."""
    costs = [min(b.unplaced, b.late) for b in group]
    return sum(costs) - max(costs)
