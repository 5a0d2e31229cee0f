"""What no plan can cost less than: relaxations that hold for any size.

Each load is looked at by itself, with every kiln empty, all current and its own mass alone: it cannot be out sooner
than that, nor a later stage before its earlier one. What remains of the cost is firings and their energy, and a kiln
holds only so much: a load that needs a third of a kiln's room pays at least a third of the cheapest firing of that
kiln. Times are those of the plan's grid, as the planner rounds them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from scheduler.planning.batches import Batch, Batches, Fit
from scheduler.planning.clean_outs import NO_CLEAN_OUTS
from scheduler.planning.dispatch import in_stages
from scheduler.planning.heats import Charge, least_energy, mass_step_below_kg
from scheduler.planning.problem import FAR
from scheduler.planning.timetable import Timetable, out_minutes

_ROUNDING_H = 1e-9


@dataclass(frozen=True, slots=True)
class LoadBound:
    """The least that one load costs by itself.

    Attributes
    ----------
    late
        Price of being out as soon as possible in an empty studio; infinite where it has no place even there.
    share
        Its share of the cheapest firing that could take it, by room.
    least_firing, room
        The cheapest whole firing that could take it, and the least part of a kiln that it needs [-].
    unplaced
        Price of leaving it out.
    soonest_minutes
        When it is out at the soonest [min after the plan's begin].
    """

    load: int
    late: float
    share: float
    least_firing: float
    room: float
    unplaced: float
    soonest_minutes: float

    @property
    def has_place(self) -> bool:
        """Whether it has a place in an empty studio."""
        return self.soonest_minutes < math.inf


def load_bounds(batches: Batches) -> tuple[LoadBound, ...]:
    """The bound of each load alone in an empty studio, its earlier stages as soon as they can be.

    Notes
    -----
    A guest may ride in another profile's firing, which can be shorter or cheaper than its own, so it is given the
    courses of that profile's loads as well. No clean-outs are asked for: other loads may have been fired before. Nobody
    has to be there when heating ends: with other loads it ends later, when somebody may be.
    """
    problem = batches.problem
    empty = Timetable(replace(problem, clean_outs=NO_CLEAN_OUTS, end_ok=problem.at_any_time().end_ok), batches)
    fits = _fits_alone(batches)
    by_profile: dict[str, list[tuple[int, Fit]]] = {}
    for load, own in fits.items():
        by_profile.setdefault(problem.loads[load].profile, []).extend(own)
    bounds: dict[int, LoadBound] = {}
    for load in in_stages(problem, list(range(len(problem.loads)))):
        hosts = batches.hosts(load)
        courses = [*fits.get(load, ()), *(fit for host in hosts[1:] for fit in by_profile.get(host, ()))]
        bounds[load] = _bound(empty, load, courses, bounds)
    return tuple(bounds[load] for load in range(len(problem.loads)))


def _fits_alone(batches: Batches) -> dict[int, list[tuple[int, Fit]]]:
    """Each load alone in every kiln that may fire it, no heavier than it is (the ladder's step below its mass)."""
    problem = batches.problem
    charges: list[tuple[int, int, tuple[Charge, tuple[tuple[str, ...], ...]]]] = []
    for load in range(len(problem.loads)):
        batch = batches.make(problem.loads[load].profile, (load,))
        for kiln in range(len(problem.kilns)) if batch is not None else ():
            exact = None if batch is None else batches.charge(batch, kiln, exact=True)
            if exact is not None:
                lighter = replace(exact[0], ware_kg=mass_step_below_kg(exact[0].ware_kg))
                charges.append((load, kiln, (lighter, exact[1])))
    batches.heats.prepare(exact[0] for *_, exact in charges)
    fits: dict[int, list[tuple[int, Fit]]] = {}
    for load, kiln, (charge, layers) in charges:
        phases = batches.heats.phases(charge)
        if phases is not None:
            # With other loads it is ready later, maybe for a session until which it could not be held by itself; and
            # with its real mass it may start whenever somebody is there.
            held = replace(phases, latest=FAR, start_late=0) if phases.is_hot else phases
            fits.setdefault(load, []).append((kiln, Fit(layers, held)))
    return fits


def _bound(
    empty: Timetable, load: int, courses: Sequence[tuple[int, Fit]], earlier: Mapping[int, LoadBound]
) -> LoadBound:
    problem, batches = empty.problem, empty.batches
    row = problem.loads[load]
    unplaced = problem.studio.prices.unplaced * row.priority
    nowhere = LoadBound(load, math.inf, 0.0, 0.0, 0.0, unplaced, math.inf)
    batch = batches.make(row.profile, (load,))
    if batch is None or not courses:
        return nowhere
    stage = earlier.get(problem.load_number.get(row.after or "", -1))
    ready = batch.ready
    if stage is not None:
        if not stage.has_place:
            return nowhere
        ready = max(ready, problem.slots_of(stage.soonest_minutes + row.gap_minutes))
    # Wanted at any price, so that the sweep finds the soonest end and not the cheapest.
    urgent = replace(batch.at_any_price(), ready=ready, stays=())
    ways = [way for way in courses if not row.kilns or problem.kilns[way[0]].id in row.kilns]
    alone = _Alone(empty, urgent, ways)
    soonest = alone.soonest_minutes()
    if soonest == math.inf:
        return nowhere
    rooms = [_room(batches, load, kiln) for kiln, _ in ways]
    return LoadBound(
        load=load,
        late=batch.late_cost(int(soonest)),
        share=alone.least_price(rooms),
        least_firing=alone.least_price([1.0] * len(ways)),
        room=alone.least(rooms, rooms.__getitem__),
        unplaced=unplaced,
        soonest_minutes=soonest,
    )


class _Alone:
    """A batch in an empty studio, by kiln and course: no more ways are looked at than each answer takes."""

    def __init__(self, empty: Timetable, batch: Batch, ways: Sequence[tuple[int, Fit]]) -> None:
        self._empty, self._batch, self._ways = empty, batch, ways
        self._problem = empty.problem
        self._out: dict[int, float] = {}

    def soonest_minutes(self) -> float:
        """When it is out at the soonest [min after the plan's begin]; infinite where it has no place."""
        first, grid = max(self._batch.ready, 0), self._problem.grid_minutes
        phases = [fit.phases for _, fit in self._ways]
        return self.least([(first + p.load + p.safe) * grid + p.out_minutes for p in phases], self._out_minutes)

    def least_price(self, parts: Sequence[float]) -> float:
        """The least price of a firing, of which it pays a part by way [currency]."""
        firing, cheapest_kwh = self._problem.studio.prices.firing, float(self._problem.price.min())
        # At the cheapest hour throughout; less a rounding.
        floors = [
            part * (firing + cheapest_kwh * float(fit.phases.kwh_by_slot.sum()) - 1e-5)
            for part, (_, fit) in zip(parts, self._ways, strict=True)
        ]
        return self.least(
            floors, lambda way: parts[way] * (firing + least_energy(self._problem, self._ways[way][1].phases))
        )

    def least(self, floors: Sequence[float], value: Callable[[int], float]) -> float:
        """The least ``value`` of a way in which it has a place, none below its floor; infinite where it has none."""
        found = math.inf
        for way in sorted(range(len(floors)), key=floors.__getitem__):
            if floors[way] >= found:
                break
            if self._out_minutes(way) < math.inf:
                found = min(found, value(way))
        return found

    def _out_minutes(self, way: int) -> float:
        if way not in self._out:
            placed = self._empty.best_place(self._batch, *self._ways[way], free_of_stages=True)
            self._out[way] = math.inf if placed is None else out_minutes(placed, self._problem.grid_minutes)
        return self._out[way]


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
    apart = f"|{own.family_key}" if profile.one_family and root(own.profile) == own.profile else ""
    alone = f"|{own.id}" if own.alone else ""
    shared = any(p.shares_with for p in profiles if root(p.id) == root(own.profile))
    return root(own.profile) + ("" if shared else apart) + alone


def _group_bound(group: list[LoadBound]) -> float:
    each = sum(min(b.unplaced, b.late + b.share) for b in group)
    placeable = [b for b in group if b.has_place]
    never = sum(b.unplaced for b in group if not b.has_place)
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
