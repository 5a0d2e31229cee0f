"""Every firing that a plan could hold, where there are few: each batch in each kiln, with its real mass.

A plan is a choice of such columns that fires each load once at most. What a column costs at least, alone in an empty
studio, is a bound on what it costs in any plan; `partition` and `model.timing` build on that. Costs are those of the
written plan: energy minute by minute at its price, lateness to the minute.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.batches import Batch, Batches, Fit
from scheduler.planning.heats import Charge, Phases, Power
from scheduler.planning.problem import FAR, Problem
from shared.calendar import PriceStep, price_steps

MOST_SETS = 20_000
"""Sets of loads looked at before a studio counts as too large to list its firings."""

_ROOM = 1.0 + 1e-6
Costs = NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """A batch in a kiln, and what it costs at least by its times.

    Attributes
    ----------
    energy, late
        Least cost of energy by starting slot, and of lateness by unloading slot [currency]; infinite where it cannot
        be. For hot work it is that of the least hold.
    by_start, by_unload
        Least cost by starting and by unloading slot, one left free, without the price of the firing [currency].
    least
        The least of them, with the price of the firing [currency].
    occupied
        Slots from loading to the end of unloading, at least.
    loads_at, frees_at
        By starting slot, the last slot in which loading can begin, and the first in which the kiln is free again.
    ready
        First slot in which it can be loaded.
    """

    batch: Batch
    kiln: int
    fit: Fit
    energy: Costs
    late: Costs
    by_start: Costs
    by_unload: Costs
    least: float
    occupied: int
    loads_at: NDArray[np.int64]
    frees_at: NDArray[np.int64]
    ready: int


def columns_of(batches: Batches, ready: Sequence[int], most_sets: int = MOST_SETS) -> tuple[Column, ...] | None:
    """All firings that ``batches`` allows; None where there are too many sets of loads.

    ``ready`` holds the first slot in which each load can be loaded in any plan, earlier stages included. Left out is
    only what has no place even in an empty studio, or does not pack (`layers.pack`).
    """
    found: list[tuple[Batch, int]] = []
    looked_at = 0
    for profile in batches.problem.studio.profiles:
        for loads, kilns in _sets(batches, profile.id):
            looked_at += 1
            if looked_at > most_sets:
                return None
            batch = batches.make(profile.id, loads)
            found += [] if batch is None else [(batch, kiln) for kiln in kilns]
    charges = [(batch, kiln, batches.charge(batch, kiln, exact=True)) for batch, kiln in found]
    batches.heats.prepare(charge[0] for *_, charge in charges if charge is not None)
    pricer = Pricer(batches.problem, batches.heats.powers([c[0] for *_, c in charges if c is not None]))
    columns = []
    for batch, kiln, charge in charges:
        phases = None if charge is None else batches.heats.phases(charge[0])
        if charge is not None and phases is not None:
            first = max(ready[load] for load in batch.loads)
            column = pricer.column(batch, kiln, Fit(charge[1], phases), max(batch.ready, first, 0))
            columns += [] if column is None else [column]
    return tuple(columns)


def _sets(batches: Batches, host: str) -> Iterator[tuple[tuple[int, ...], list[int]]]:
    """Sets of loads that may ride with a profile by room and by what two of them say, with the kilns left.

    Everything checked here stays refused when a set grows, so that no larger set is missed; a packing may fail for a
    set and succeed for a larger one, so it is not looked at here.
    """
    problem = batches.problem
    own = [load for load in range(len(problem.loads)) if host in batches.hosts(load)]
    work = problem.studio.profile_by_id[host].work
    stack: list[tuple[tuple[int, ...], dict[int, float]]] = [
        ((), {number: 0.0 for number, kiln in enumerate(problem.kilns) if work in kiln.work})
    ]
    while stack:
        loads, rooms = stack.pop()
        for load in own:
            if (loads and load <= loads[-1]) or any(not _may_meet(problem, other, load) for other in loads):
                continue
            left = {kiln: used + _room(problem, load, kiln) for kiln, used in rooms.items()}
            left = {kiln: used for kiln, used in left.items() if used <= _ROOM}
            if left:
                yield (*loads, load), list(left)
                stack.append(((*loads, load), left))


def _may_meet(problem: Problem, one: int, other: int) -> bool:
    first, second = problem.loads[one], problem.loads[other]
    if first.alone or second.alone or first.after == second.id or second.after == first.id:
        return False
    if first.session_at is not None and second.session_at is not None and first.session_at != second.session_at:
        return False
    choosy = problem.profile(one).one_family or problem.profile(other).one_family
    return not choosy or first.family_key == second.family_key


def _room(problem: Problem, load: int, kiln: int) -> float:
    """Part of a kiln that a load takes at least [-]; infinite where the load names other kilns."""
    row, oven = problem.loads[load], problem.kilns[kiln]
    if row.kilns and oven.id not in row.kilns:
        return math.inf
    return row.footprint_cm2 * (row.height_mm + oven.shelf_gap_mm) / (oven.shelf_area_cm2 * oven.height_mm)


class Pricer:
    """Works out what columns cost by their times; ``powers`` are those of their charges, hot ones held longest."""

    def __init__(self, problem: Problem, powers: Mapping[Charge, Power]) -> None:
        self.problem = problem
        self.powers = powers
        self._steps: list[PriceStep] = []
        self._until = 0

    def column(self, batch: Batch, kiln: int, fit: Fit, ready: int) -> Column | None:
        """A column with its costs; None where it has no place in an empty studio."""
        problem, phases = self.problem, fit.phases
        begins = _last_load(problem, phases, ready)
        starts = (begins >= 0) & problem.start_ok[kiln]
        hands = _hands(problem, batch, phases)
        late = np.where(hands, _lateness(batch, phases, problem), np.inf)
        work = problem.studio.profile_by_id[batch.profile].work
        last_hot = _run_ends(problem.heat_ok[kiln, work])
        tables = self._hot if phases.is_hot else self._cool
        energy, by_start, by_unload, out = tables(kiln, phases, starts, late, last_hot)
        for closed, opens in problem.blocked[kiln]:
            by_start[(begins < opens) & (_free(phases, out) > closed)] = np.inf
        if not np.isfinite(by_start).any():
            return None
        possible = np.isfinite(by_start)
        return Column(
            batch=batch,
            kiln=kiln,
            fit=fit,
            energy=np.where(possible, energy, np.inf),
            late=late,
            by_start=by_start,
            by_unload=by_unload,
            least=float(by_start.min()) + problem.studio.prices.firing,
            occupied=int((out - begins)[possible].min()),
            loads_at=begins,
            frees_at=_free(phases, out),
            ready=ready,
        )

    def _cool(
        self, kiln: int, phases: Phases, starts: NDArray[np.bool_], late: Costs, last_hot: NDArray[np.int64]
    ) -> tuple[Costs, Costs, Costs, NDArray[np.int64]]:
        """Energy by start, least cost by start and by unloading, and the end of unloading by start."""
        problem = self.problem
        slots = np.arange(problem.slots)
        ends = np.minimum(slots + phases.end_slot, problem.slots - 1)
        starts = starts & (last_hot >= slots + phases.hot) & problem.end_ok[kiln][ends]
        power = self.powers[phases.charge]
        energy = np.where(starts, self._energy(power.kw, power.step_minutes), np.inf)
        unload = _first_from(np.isfinite(late))[np.minimum(slots + phases.safe, problem.slots)]
        found = unload < problem.slots
        by_start = np.where(found, energy + late[np.minimum(unload, problem.slots - 1)], np.inf)
        sooner = np.minimum.accumulate(energy)
        by_unload = np.full(problem.slots, np.inf)
        if phases.safe < problem.slots:
            by_unload[phases.safe :] = sooner[: problem.slots - phases.safe] + late[phases.safe :]
        return energy, by_start, by_unload, unload + phases.unload

    def _hot(
        self, kiln: int, phases: Phases, starts: NDArray[np.bool_], late: Costs, last_hot: NDArray[np.int64]
    ) -> tuple[Costs, Costs, Costs, NDArray[np.int64]]:
        """The same for hot work, whose heating lasts until the session ends: all holds that are allowed."""
        problem = self.problem
        slots = np.arange(problem.slots)
        energy = np.full(problem.slots, np.inf)
        by_start, by_unload = energy.copy(), energy.copy()
        out = np.full(problem.slots, FAR, dtype=np.int64)
        power = self.powers[phases.charge]
        heated = 0
        spent = np.zeros(problem.slots)
        for wait in range(phases.latest - phases.safe + 1):
            unload = slots + phases.safe + wait
            until, part = _hold_ends(problem, phases, wait, power.step_minutes)
            spent = spent + self._energy(power.kw[heated:until], power.step_minutes, heated)
            whole = spent + self._energy(part * power.kw[until : until + 1], power.step_minutes, until)
            heated = until
            ends = unload + phases.unload
            fits = starts & (ends <= np.minimum(last_hot, problem.slots))
            fits[fits] = np.isfinite(late[unload[fits]])
            at = unload[fits]
            energy[fits] = np.minimum(energy[fits], whole[fits])
            by_start[fits] = np.minimum(by_start[fits], whole[fits] + late[at])
            by_unload[at] = np.minimum(by_unload[at], whole[fits] + late[at])
            out[fits] = np.minimum(out[fits], ends[fits])
        return energy, by_start, by_unload, out

    def _energy(self, power_kw: Costs, step_minutes: float, after: int = 0) -> Costs:
        """Cost of a course's energy by starting slot, each step at its price, from ``after`` steps on [currency]."""
        problem = self.problem
        length = len(power_kw)
        if problem.end + after + length + 1 > self._until:
            self._until = problem.end + 2 * (after + length) + 1
            self._steps = price_steps(problem.studio, problem.begin, self._until)
        sums = np.concatenate(([0.0], np.cumsum(power_kw) * step_minutes / 60.0))
        at = problem.begin + problem.grid_minutes * np.arange(problem.slots) + after * step_minutes
        total = np.zeros(problem.slots)
        for price in self._steps:
            first = np.clip(np.ceil((price.begin - at) / step_minutes), 0, length).astype(np.int64)
            last = np.clip(np.ceil((price.end - at) / step_minutes), 0, length).astype(np.int64)
            total += price.price * (sums[last] - sums[first])
        return total


def _hold_ends(problem: Problem, phases: Phases, wait: int, step_minutes: float) -> tuple[int, float]:
    """When the hold of hot work ends whose session begins ``wait`` slots after the least one: whole steps, and a part.

    The hold ends as a written plan has it: it begins at the target, and its length is counted from the minute after.
    """
    target = phases.target_minutes
    session_end = (phases.safe + wait) * problem.grid_minutes + phases.out_minutes
    steps = (target + session_end - math.ceil(target)) / step_minutes
    return math.floor(steps), steps - math.floor(steps)


def _free(phases: Phases, out: NDArray[np.int64]) -> NDArray[np.int64]:
    """By starting slot, when the kiln is empty and cool at the soonest, from the end of unloading."""
    if phases.is_hot:
        return out + min(phases.cold, phases.open_cool)
    shut = np.arange(len(out)) + phases.cold
    return np.asarray(np.maximum(out, np.minimum(shut, out + phases.open_cool)))


def _lateness(batch: Batch, phases: Phases, problem: Problem) -> Costs:
    """Price of lateness by unloading slot [currency]."""
    out = problem.grid_minutes * np.arange(problem.slots) + phases.out_minutes
    late = np.zeros(problem.slots)
    for at, each, once in batch.promises:
        late += np.where(out > at, once + (out - at) * each, 0.0)
    return late


def _last_load(problem: Problem, phases: Phases, ready: int) -> NDArray[np.int64]:
    """By starting slot, the last slot in which loading can begin; -1 where there is none."""
    slots = np.arange(problem.slots)
    able = _whole(problem.people[0] > 0, max(1, phases.load)) & (slots >= ready)
    latest = np.maximum.accumulate(np.where(able, slots, -1))
    begins = np.full(problem.slots, -1, dtype=np.int64)
    if phases.load < problem.slots:
        begins[phases.load :] = latest[: problem.slots - phases.load]
    return begins


def _hands(problem: Problem, batch: Batch, phases: Phases) -> NDArray[np.bool_]:
    """Slots in which unloading, or the session, can begin; only the booked one where there is a booking."""
    crew = problem.crew(batch.profile, phases.is_hot)
    able = _whole(crew.suffices(problem.people), max(1, phases.unload))
    if batch.session_slot >= 0:
        able &= np.arange(problem.slots) == batch.session_slot
    return able


def _whole(allowed: NDArray[np.bool_], length: int) -> NDArray[np.bool_]:
    """Slots from which ``length`` slots in a row are true."""
    return np.asarray(_run_ends(allowed) >= np.arange(len(allowed)) + length)


def _run_ends(allowed: NDArray[np.bool_]) -> NDArray[np.int64]:
    """By slot, the first slot from it on that is not true."""
    count = len(allowed)
    closed = np.where(allowed, count, np.arange(count))
    return np.asarray(np.minimum.accumulate(closed[::-1])[::-1], dtype=np.int64)


def _first_from(able: NDArray[np.bool_]) -> NDArray[np.int64]:
    """By slot (and one past the last), the first slot from it on that is true; far where there is none."""
    coming = np.where(able, np.arange(len(able)), FAR)
    return np.append(np.minimum.accumulate(coming[::-1])[::-1], FAR).astype(np.int64)
