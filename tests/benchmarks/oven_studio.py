"""The Oven Scheduling Problem as a studio, so that the planner's own search solves it.

Attributes are kinds of work with a profile each, whose size rows are the times that jobs need; ovens are kilns,
times without availability are outages, latest ends are promises with a price for being late at all, setups are
clean-outs that take no hands, oven runtime is energy. One unit of the instance's time is one slot of the grid.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from scheduler.planning.batches import Batch, Batches
from scheduler.planning.clean_outs import MICRO, CleanOuts
from scheduler.planning.heats import Charge, Heats, Known, Phases, Power
from scheduler.planning.layers import Layers
from scheduler.planning.problem import FAR, Problem, state_problem
from scheduler.planning.timetable import Placed
from shared.kilns import Circuit, Kiln
from shared.loads import Load
from shared.profiles import Profile, Segment, SizeRow
from shared.studio import Place, Prices, Rules, Studio, Tariff
from tests.benchmarks.oven_problem import Baked, OvenProblem

BEGIN = 29_411_040
"""Any midnight [min since 1970]."""

SHELF_MM2_PER_SIZE = 10_000
"""A job of size 1 takes 100 cm² of the one shelf that an oven has."""

NO_LIMIT = 1 << 20
"""More hands than there are tasks."""

UNPLACED_LATES = 4.0
"""A job without a place costs so many late ones: more than any place that it can have."""


def lay_out(problem: OvenProblem, *, known: Known | None = None) -> Batches:
    """The instance as the search sees it; ``known`` phases are as quickly made again."""
    del known
    stated = _state(problem)
    batches = OvenBatches(stated, OvenHeats(stated, problem), problem)
    batches.prepare_alone()
    return batches


def schedule_of(firings: Iterable[Placed]) -> list[Baked]:
    """The schedule that the planner's firings mean."""
    return [
        Baked(firing.kiln, firing.batch.loads, firing.place.start, firing.place.start + firing.fit.phases.safe)
        for firing in firings
    ]


class OvenHeats(Heats):
    """Phases by what the instance says instead of the thermal model: the longest least time of the batch."""

    def __init__(self, problem: Problem, instance: OvenProblem) -> None:
        super().__init__(problem)
        self.minutes = _times(instance)
        self.price = instance.runtime_weight
        self._known: dict[Charge, Phases] = {}

    def prepare(self, charges: Iterable[Charge]) -> None:
        """Nothing to compute."""

    def phases(self, charge: Charge) -> Phases | None:
        """The batch is in the oven for as long as its size row says, and out at once."""
        if charge not in self._known:
            self._known[charge] = self._phases_of(charge)
        return self._known[charge]

    def powers(self, charges: Iterable[Charge]) -> dict[Charge, Power]:
        """The price of a slot, spread evenly over its minute."""
        phases = {charge: self.phases(charge) for charge in charges}
        return {
            charge: Power(np.full(found.safe, 60.0 * self.price), 1.0)
            for charge, found in phases.items()
            if found is not None
        }

    def _phases_of(self, charge: Charge) -> Phases:
        assert charge.row is not None
        slots = self.minutes[int(charge.profile[1:])][charge.row]
        return Phases(
            charge=charge,
            is_hot=False,
            load=0,
            unload=0,
            out_minutes=0,
            hot=slots,
            end_slot=slots,
            safe=slots,
            latest=FAR,
            cold=0,
            open_cool=0,
            kwh_by_slot=np.full(slots, float(self.price)),
            hold_kw=0.0,
            target_minutes=0.0,
        )


class OvenBatches(Batches):
    """Batches that also keep each job's longest time."""

    def __init__(self, problem: Problem, heats: OvenHeats, instance: OvenProblem) -> None:
        self.instance = instance
        self.minutes = heats.minutes
        super().__init__(problem, heats)

    def of_loads(self, numbers: Sequence[int]) -> OvenBatches:
        """The batches of some jobs."""
        jobs = tuple(self.instance.jobs[number] for number in numbers)
        assert isinstance(self.heats, OvenHeats)
        return OvenBatches(self.problem.of_loads(numbers), self.heats, replace(self.instance, jobs=jobs))

    def _make(self, profile_id: str, numbers: tuple[int, ...]) -> Batch | None:
        batch = super()._make(profile_id, numbers)
        if batch is None or batch.row is None:
            return None
        longest = self.minutes[int(profile_id[1:])][batch.row]
        return batch if all(longest <= self.instance.jobs[number].max_time for number in numbers) else None

    def _charge(self, batch: Batch, kiln: int, exact: bool) -> tuple[Charge, Layers] | None:
        """The oven and the size row decide; the mass does not."""
        jobs = [self.instance.jobs[number] for number in batch.loads]
        oven = self.instance.ovens[kiln]
        if sum(job.size for job in jobs) > oven.capacity or any(kiln not in job.ovens for job in jobs):
            return None
        return Charge(kiln, batch.profile, batch.row, 1.0, 1, 0.0), (tuple(str(number) for number in batch.loads),)


def _times(instance: OvenProblem) -> list[list[int]]:
    """Per attribute, the least times of its jobs, shortest first: the size rows."""
    return [
        sorted({job.min_time for job in instance.jobs if job.attribute == attribute}) or [1]
        for attribute in range(len(instance.setup_times) - 1)
    ]


def _state(instance: OvenProblem) -> Problem:
    studio, loads = _studio(instance)
    slots = instance.horizon + 2
    stated = state_problem(studio, loads, BEGIN, BEGIN + slots)
    return replace(
        stated,
        people=np.full((1, slots), NO_LIMIT, dtype=np.int32),
        kiln_lines=tuple(np.empty(0, dtype=np.int32) for _ in instance.ovens),
        heat_ok={key: np.ones(slots, dtype=np.bool_) for key in stated.heat_ok},
        start_ok=tuple(np.ones(slots, dtype=np.bool_) for _ in instance.ovens),
        end_ok=tuple(np.ones(slots, dtype=np.bool_) for _ in instance.ovens),
        blocked=tuple(tuple(_closed(oven.open, slots)) for oven in instance.ovens),
        clean_outs=_setups(instance),
        twins=tuple(range(len(instance.ovens))),
        cost_scale=1,
    )


def _closed(spans: Sequence[tuple[int, int]], slots: int) -> list[tuple[int, int]]:
    """The times between those of availability; one of no length still parts two batches."""
    edges = [0, *(edge for span in sorted(spans) for edge in span), slots]
    pairs = list(zip(edges[::2], edges[1::2], strict=True))
    return [pair for number, pair in enumerate(pairs) if pair[0] < pair[1] or 0 < number < len(pairs) - 1]


def _setups(instance: OvenProblem) -> CleanOuts:
    """The setup tables; number 0 is the work of an oven that starts in none."""
    order = [len(instance.setup_times) - 1, *range(len(instance.setup_times) - 1)]
    times = np.array([instance.setup_times[row] for row in order], dtype=np.int32)
    costs = np.array([instance.setup_costs[row] for row in order], dtype=np.int64)
    price = instance.setup_cost_weight * costs + instance.setup_time_weight * times
    nothing = np.zeros((len(order), 1), dtype=np.int64)
    return CleanOuts(
        slots=np.hstack((nothing, times)).astype(np.int32),
        micros=np.hstack((nothing, price * MICRO)),
        work_of={f"work {attribute}": attribute + 1 for attribute in range(len(order) - 1)},
        first=tuple(0 if oven.first_attribute is None else oven.first_attribute + 1 for oven in instance.ovens),
        takes_hands=False,
    )


def _studio(instance: OvenProblem) -> tuple[Studio, tuple[Load, ...]]:
    works = tuple(f"work {attribute}" for attribute in range(len(instance.setup_times) - 1))
    heat = (Segment(rate_k_per_hour=100.0, to_c=100.0),)
    profiles = tuple(
        Profile(
            id=f"A{attribute}",
            work=works[attribute],
            sized_by="thickness_mm",
            unload_below_c=60.0,
            sizes=tuple(SizeRow(up_to=float(time), segments=heat) for time in times),
        )
        for attribute, times in enumerate(_times(instance))
    )
    kilns = tuple(
        Kiln(
            id=f"K{number}",
            work=works,
            circuit="main",
            volts=230.0,
            amps=1.0,
            kilowatts=0.23,
            max_temperature_c=1000.0,
            inside_mm=(float(oven.capacity), float(SHELF_MM2_PER_SIZE), 1.0),
            shelf_gap_mm=0.0,
            wall_mm=100.0,
            brick=23,
            load_minutes=0.0,
            unload_minutes=0.0,
        )
        for number, oven in enumerate(instance.ovens)
    )
    loads = tuple(
        Load(
            id=f"J{number}",
            profile=f"A{job.attribute}",
            footprint_cm2=100.0 * job.size,
            height_mm=1.0,
            mass_kg=1e-3,
            thickness_mm=float(job.min_time),
            ready=BEGIN + job.earliest_start,
            promised=BEGIN + job.latest_end,
            kilns=tuple(f"K{oven}" for oven in sorted(job.ovens)),
        )
        for number, job in enumerate(instance.jobs)
    )
    studio = Studio(
        place=Place(name=instance.name, timezone="UTC"),
        circuits=(Circuit(id="main", breaker_amps=9000.0),),
        kilns=kilns,
        profiles=profiles,
        rules=Rules(grid_minutes=1, horizon_days=120),
        tariff=Tariff(default=1.0),
        prices=Prices(
            late_hour=0.0,
            late_load=float(instance.late_weight),
            unplaced=UNPLACED_LATES * instance.late_weight,
            firing=0.0,
            moved=0.0,
        ),
    )
    return studio, loads
