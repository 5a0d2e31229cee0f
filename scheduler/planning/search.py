"""Neighbourhood search: take some firings out, put their loads back better.

Ruin and recreate (Schrimpf et al., J. Comput. Phys. 159 (2000) 139) with the exact placement of `find_place`,
accepted by a falling threshold (record-to-record travel, Dueck, J. Comput. Phys. 104 (1993) 86). The neighbourhoods
are those of the design: a window of time, two kilns, one profile, a circuit's kilns, late loads and what is in their
way; how often each is used follows how often it helped. `neighbourhoods` decides parts of a
plan exactly, in turns with this.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from scheduler.planning.batches import Batch
from scheduler.planning.blending import blend
from scheduler.planning.clearing import BACK, CLEAR, Clearing
from scheduler.planning.dispatch import in_stages
from scheduler.planning.groups import groups
from scheduler.planning.insertion import Inserter
from scheduler.planning.ousting import OUST, Ousting
from scheduler.planning.overdue import at_stake, avoidable_cost, late_firings, overdue_load
from scheduler.planning.pushing import PUSH, in_the_way
from scheduler.planning.rivals import RIVALS, rivals
from scheduler.planning.shortages import is_away
from scheduler.planning.thinning import CHOICES, nearest, thin
from scheduler.planning.timetable import Placed, Timetable, heating_end, out_minutes

LEAST_SHARE = 0.02
"""No neighbourhood has a smaller share of the rounds, however seldom it helps: some help once, and much [-]."""

FADING = 0.99
"""How much of what a neighbourhood has gained so far still counts after its next round [-]."""

HASTE = (-3.5, -2.0)
"""Powers of ten between which the worth of a slot sooner is drawn [currency per slot]: 0.1 to 3 a day."""

HASTY = 0.2
"""Share of the rounds in which sooner is worth something of its own [-]."""

THRESHOLD = 0.1
"""How much worse a plan may be at full heat, as a part of how much worse the plans of late were that were worse [-].
Measured with equal rounds, dispatch to final cost: 250 loads 6105 where 0.5 found 7413 and a fixed part of a firing's
mean cost 6570 to 7940; 60 loads (three seeds) 1241, 968, 1417 where 0.03 found 1169, 1472, 1432."""

STEPS, STEPS_END = 2.0, 0.004
"""Where lateness costs a flat price plans differ by that or by far less. A bold search begins with plans that have so
many more late loads, and ends each cooling at this part of that [-], by equal ratios, so that it has time for both."""

TO_THE_END = 0.1
"""Share of the rounds that are played to the end even when they cost too much: how much worse plans are is measured
on these [-]."""

MEMORY = 0.05
"""Weight of the newest worse plan in their mean [-]."""

LATE_LAST = 0.8
"""Share of the rounds in which loads that come too late anyway wait until all others have their places [-]."""

MOST_FIRINGS = 6
"""Most firings that are taken out at once, but of a `MOST_IN_ROW`."""

MOST_IN_ROW = 10
"""Most firings in a row of one kiln that are taken out for a load without a place."""

HOMELESS_SHARE = 0.15
"""Share of the rounds that are for loads without a place, while there are any, whatever these gained of late [-].
Measured at 250 loads, 30 s on one core, six searches in four studios, loads without a place in all: 27 without this and
rows of six at most; 24 with this alone, 22 with rows of ten alone, 21 with both and six firings at once, not twelve,
which cost the least too."""

BEFORE_IT_GOES_BACK, BOLDER = 0.3, 0.1
"""Parts of the price of a moved load at which a bold plan is weighed that has not gone back to its places yet [-]: in
the search itself, and in its colleague, which may find that far more goes back."""

ORDERS = 6
"""Orders in which loads are put back; see `Search._key`."""

Neighbourhood = Callable[["Search"], list[int]]


@dataclass(slots=True)
class Record:
    """How a neighbourhood fared of late: what it gained [currency], and how many places were looked for (work)."""

    gained: float = 0.0
    work: float = 1e-9

    def add(self, gained: float, work: int) -> None:
        """One more round."""
        self.gained = FADING * self.gained + gained
        self.work = FADING * self.work + max(1, work)


@dataclass(frozen=True, slots=True)
class Ruin:
    """What is out of the timetable: whole ``batches``, single loads, and those that were ``pending`` before.

    ``urgent`` loads go back first. ``in_order``: the first of them is to be in time, and the batches go back whole, in
    their order.
    """

    batches: list[Batch]
    single: list[int]
    pending: list[int]
    urgent: list[int] = field(default_factory=list)
    in_order: bool = False

    @property
    def taken(self) -> list[int]:
        """The loads that had a place before."""
        return [*self.single, *(load for batch in self.batches for load in batch.loads)]


@dataclass
class Search:
    """The state of one search over a timetable. Fixed firings are never touched.

    ``before`` are the firings of a plan to stay near to; they are tried again at the places that they had. Of the loads
    that are where that plan has them when the search begins, no more than ``most_moved`` ever leave. No load of
    ``guarded`` loses its place. A search ``by_steps`` is bolder where hours late cost nothing; see `STEPS`.
    """

    timetable: Timetable
    seed: int
    before: tuple[Placed, ...] = ()
    most_moved: int | None = None
    rounds: int = 0
    best: tuple[Placed, ...] = ()
    best_cost: float = float("inf")
    records: dict[str, Record] = field(default_factory=dict)
    usual_loss: float = 0.0
    guarded: frozenset[int] = frozenset()
    by_steps: bool = False

    def __post_init__(self) -> None:
        self.random = np.random.default_rng(self.seed)
        self.inserter = Inserter(self.timetable, self.seed + 1)
        self.best = self.begun = self.timetable.snapshot()
        self.best_cost = self.timetable.cost()
        self.guide = self.timetable.guide()
        prices = self.timetable.problem.studio.prices
        self._step = prices.late_load if self.by_steps and not prices.late_hour else 0.0
        self.at_home = tuple(load for load in self.timetable.batches.stays if not is_away(self.timetable, load))
        self.clearing = Clearing(self.timetable, self.random, self.before)
        ousting = Ousting(self.timetable, self.random, self.inserter, self.clearing)
        # These place, or change, a firing, and tell which loads had to make way for it.
        self.clearings = {CLEAR: self.clearing.make_way, OUST: ousting.make_room}
        if self.before:
            self.clearings[BACK] = self.clearing.go_back
        self.records = {name: Record() for name in (*NEIGHBOURHOODS, *CHOICES, PUSH, RIVALS, *self.clearings)}

    @cached_property
    def groups(self) -> tuple[tuple[int, ...], ...]:
        """Loads by groups of kilns that no load links; see `groups`."""
        return groups(self.timetable.batches)

    def step(self, heat: float) -> bool:
        """One ruin and recreate; ``heat`` from 1 to 0 is how much worse it may be. True where the best got better."""
        self.rounds += 1
        name = self._pick()
        looked_for = self._looked_for()
        timetable = self.timetable
        mark = len(timetable.log)
        ruin = self._ruin(name)
        if ruin is None:
            timetable.undo(mark)
            self.records[name].add(0.0, 1)
            return False
        allowed = self.guide + self._threshold(heat)
        to_the_end = bool(self.random.random() < TO_THE_END)
        most = math.inf if to_the_end else allowed
        done = self._recreate(ruin, most) and not self._loses(ruin.taken)
        guide = timetable.guide() if done else math.inf
        if to_the_end and done:
            self._remember(guide - self.guide)
        better = False
        self.records[name].add(max(0.0, self.guide - guide), self._looked_for() - looked_for)
        if guide <= allowed and self._is_near():
            self.guide = guide
            timetable.log.clear()
            cost = timetable.cost()
            if cost < self.best_cost - 1e-6:
                self.best_cost = cost
                self.best = timetable.snapshot()
                better = True
        else:
            timetable.undo(mark)
        return better

    def _looked_for(self) -> int:
        """Places looked for so far: work done."""
        return self.inserter.looked_for + self.clearing.looked_for

    def _loses(self, loads: list[int]) -> bool:
        """Whether one of these loads has no place any more though it is guarded, or a later stage of it has one."""
        placed, follower = self.timetable.firing_of, self.timetable.problem.follower
        return any(
            load not in placed and (load in self.guarded or any(later in placed for later in follower.get(load, ())))
            for load in loads
        )

    def _ruin(self, name: str) -> Ruin | None:
        """Take out what a neighbourhood chooses; None where there is nothing, or something fixed would have to go."""
        timetable = self.timetable
        if name in self.clearings:
            out = self.clearings[name]()
            return None if out is None else Ruin([], out, [load for load in timetable.pending() if load not in out])
        thinned: list[int] = []
        chosen: list[int] = []
        if name in CHOICES:
            thinned = CHOICES[name](timetable, self.random)
        elif name == PUSH:
            pushed = in_the_way(timetable, self.random)
            if pushed is None:
                return None
            thinned, chosen = [pushed[0]], pushed[1]
        elif name == RIVALS:
            found = rivals(timetable, self.random)
            if found is None:
                return None
            thinned, chosen = found
        else:
            chosen = self.chosen(name)
        pending = timetable.pending()
        if not chosen and not thinned and not pending:
            return None
        urgent = {PUSH: thinned, UNPLACED: pending}.get(name, [])
        out = thin(timetable, thinned)
        batches = self._take_out(chosen)
        if batches is None or out is None:
            return None
        return Ruin(batches, out, pending, urgent, name == PUSH)

    def _take_out(self, chosen: list[int]) -> list[Batch] | None:
        """Take firings out, and those whose clean-out then has no room; None where one of these is fixed."""
        timetable = self.timetable
        batches: list[Batch] = []
        while chosen:
            kilns = dict.fromkeys(timetable.firings[number].kiln for number in chosen)
            if any(timetable.firings[number].fixed for number in chosen):
                return None
            batches += [timetable.remove(number).batch for number in chosen]
            chosen = [number for kiln in kilns if (number := timetable.unclean(kiln)) is not None]
        return batches

    def chosen(self, name: str) -> list[int]:
        """The firings of a neighbourhood, each once, without those that are fixed."""
        firings = self.timetable.firings
        return [number for number in dict.fromkeys(NEIGHBOURHOODS[name](self)) if not firings[number].fixed]

    def _threshold(self, heat: float) -> float:
        """How much worse than the present plan a new one may be [currency]."""
        if self._step:
            return STEPS * self._step * math.pow(STEPS_END, 1.0 - math.sqrt(heat))
        return THRESHOLD * self.usual_loss * heat

    def _remember(self, loss: float) -> None:
        """Keep a running mean of how much worse the worse plans are: the scale of the problem's own costs."""
        if loss > 1e-6:
            self.usual_loss += (loss - self.usual_loss) * (MEMORY if self.usual_loss else 1.0)

    def adopt(self, firings: tuple[Placed, ...]) -> bool:
        """Go on from another plan, or from the best of both, if better than the best so far; False if it is not.

        The two plans are blended by groups of kilns: one may have found what the other lacks.
        """
        timetable = self.timetable
        before = timetable.snapshot()
        timetable.restore([timetable.priced(self._own(firing)) for firing in firings])
        theirs, is_better = timetable.snapshot(), timetable.cost() < self.best_cost and self._is_near()
        plans = (theirs, self.best) if is_better else (self.best, theirs)
        blend(timetable, *plans, self.groups, self._is_near)
        if timetable.cost() >= self.best_cost - 1e-6:
            timetable.restore(before)
            return False
        self.turn_to()
        return True

    def _own(self, firing: Placed) -> Placed:
        """A firing of another process with the phases known here, so that they are seen to be the same."""
        phases = self.timetable.batches.heats.phases(firing.fit.phases.charge)
        return firing if phases is None else replace(firing, fit=replace(firing.fit, phases=phases))

    def turn_to(self) -> None:
        """Go on from what the timetable holds now, be it better than the best plan or not."""
        self.guide, cost = self.timetable.guide(), self.timetable.cost()
        if cost < self.best_cost - 1e-6:
            self.best_cost, self.best = cost, self.timetable.snapshot()

    def ask(self, moved_price: float, part: float) -> None:
        """Go on at another price of a load that moves [currency]: from the best plan, the one begun with, or a blend.

        Which of them it is, is asked at a ``part`` of that price: much of what has moved can still go back.
        """
        timetable = self.timetable
        plans = []
        for firings in (self.best, self.begun):
            timetable.restore(firings)
            timetable.reprice(moved_price * part)
            plans.append((timetable.cost(), timetable.snapshot()))
        (_, better), (_, other) = sorted(plans, key=lambda plan: plan[0])
        blend(timetable, better, other, self.groups, self._is_near)
        timetable.reprice(moved_price)
        self.best_cost = math.inf  # what it was, it was at another price
        self.turn_to()

    def moved(self) -> int:
        """How many loads that were where the plan before had them when the search began are so no more."""
        return sum(is_away(self.timetable, load) for load in self.at_home)

    def _is_near(self) -> bool:
        return self.most_moved is None or self.moved() <= self.most_moved

    def _pick(self) -> str:
        """A neighbourhood at random, the likelier the more it gained of late for its work."""
        names = list(self.records)
        everywhere = len(self.timetable.firing_of) == len(self.timetable.problem.loads)
        if not everywhere and self.random.random() < HOMELESS_SHARE:
            return (CLEAR, UNPLACED, OUST)[int(self.random.integers(3))]
        worth = np.array([record.gained / record.work for record in self.records.values()])
        total = float(worth.sum())
        shares = worth / total if total > 0.0 else np.full(len(names), 1.0 / len(names))
        reached = (LEAST_SHARE + (1.0 - LEAST_SHARE * len(names)) * shares).cumsum()
        return names[int(reached.searchsorted(self.random.random() * reached[-1], side="right"))]

    def _recreate(self, ruin: Ruin, most: float) -> bool:
        """Put back what is out; False as soon as the plan costs more than ``most``."""
        batches, pending, urgent, in_order = ruin.batches, ruin.pending + ruin.single, ruin.urgent, ruin.in_order
        random = self.random
        inserter = self.inserter
        inserter.blink = 0.02 if random.random() < 0.7 else 0.15
        inserter.haste = float(10.0 ** random.uniform(*HASTE)) if random.random() < HASTY else 0.0
        if in_order:
            if not inserter.insert_in_time(urgent[0]):
                return False
            pending = [load for load in pending if load != urgent[0]]
        whole = random.random() < 0.35
        problem = self.timetable.problem
        loads: list[int] = list(pending)
        # Whole batches would go back in before what had no place.
        if in_order or (whole and not urgent):
            order = list(range(len(batches)))
            if not in_order:
                random.shuffle(order)
            # A batch with earlier stages still to come waits for them as single loads.
            for number in order:
                batch = batches[number]
                if (not in_order and random.random() < 0.15) or not inserter.insert_batch(batch):
                    loads += batch.loads
        else:
            for batch in batches:
                loads += batch.loads
        key = self._key(int(random.integers(ORDERS)))
        first = set(urgent)
        loads.sort(key=lambda load: (problem.loads[load].session_at is None, load not in first, key(load), load))
        late_last = bool(random.random() < LATE_LAST)
        return inserter.insert_loads(in_stages(problem, loads), late_last, most - self.timetable.placed_guide())

    def _key(self, kind: int) -> Callable[[int], float]:
        problem = self.timetable.problem
        guides = self.timetable.batches.guides
        random = self.random
        if kind == 0:
            return lambda load: float(random.random())
        if kind == 1:
            return lambda load: -problem.loads[load].footprint_cm2 * problem.loads[load].height_mm
        if kind == 2:
            return lambda load: float(problem.loads[load].ready or 0)
        if kind == 3:
            # The most wanted first; or for the room that they take (Dantzig, Operations Research 5 (1957) 266).
            by_room, vague = float(random.choice((0.0, 0.0, 0.5, 1.0))), float(random.choice((0.0, 0.3, 1.0)))
            return lambda load: (
                by_room * math.log(problem.loads[load].footprint_cm2 * problem.loads[load].height_mm)
                - math.log(problem.loads[load].priority)
                + vague * float(random.normal())
            )

        def due(load: int) -> float:
            own = problem.loads[load].promised
            asked = [promise for promise, _ in guides[load]]
            first = min([own - problem.begin] if own is not None else [], default=1e9)
            return min([first, *asked]) + float(random.normal(0.0, 300.0 if kind == 4 else 2000.0))

        return due

    # -- sizes ---------------------------------------------------------------------------------------------------

    def size(self) -> int:
        """How many firings to take out this time."""
        count = len(self.timetable.firings)
        most = max(2, min(MOST_FIRINGS, count // 2))
        return int(self.random.integers(1, most + 1))

    def some_firing(self) -> int | None:
        """A firing at random."""
        numbers = at_stake(self.timetable, list(self.timetable.firings), self.random)
        return numbers[int(self.random.integers(len(numbers)))] if numbers else None


def _nearest(search: Search, number: int, pool: list[int]) -> list[int]:
    """The firings of ``pool`` nearest in time to firing ``number``, itself first."""
    return nearest(search.timetable, number, pool)[: search.size()]


def time_window(search: Search) -> list[int]:
    """Firings near one another in time, in any kiln."""
    number = search.some_firing()
    return [] if number is None else _nearest(search, number, list(search.timetable.firings))


def two_kilns(search: Search) -> list[int]:
    """Firings of two kilns that may do the same kind of work."""
    number = search.some_firing()
    if number is None:
        return []
    firings = search.timetable.firings
    kilns = search.timetable.problem.kilns
    own = firings[number].kiln
    alike = [k for k in range(len(kilns)) if k != own and set(kilns[k].work) & set(kilns[own].work)]
    other = alike[int(search.random.integers(len(alike)))] if alike else own
    return _nearest(search, number, [n for n, f in firings.items() if f.kiln in (own, other)])


def one_profile(search: Search) -> list[int]:
    """Firings of one profile: batches that could trade loads."""
    number = search.some_firing()
    if number is None:
        return []
    profile = search.timetable.firings[number].batch.profile
    return _nearest(search, number, list(search.timetable.by_profile[profile]))


def one_circuit(search: Search) -> list[int]:
    """Firings that heat at the same time on a shared line."""
    number = search.some_firing()
    if number is None:
        return []
    firings = search.timetable.firings
    lines = search.timetable.problem.kiln_lines
    own = set(lines[firings[number].kiln].tolist())
    begin, end = firings[number].place.start, heating_end(firings[number])
    pool = [
        n
        for n, f in firings.items()
        if f.place.start < end and heating_end(f) > begin and own & set(lines[f.kiln].tolist())
    ]
    return _nearest(search, number, pool)


def late_and_blockers(search: Search) -> list[int]:
    """A costly late firing, and what stands before it in its own and like kilns."""
    firings = search.timetable.firings
    late = late_firings(search.timetable)
    if not late:
        return time_window(search)
    costs = np.array([avoidable_cost(search.timetable, firings[n]) for n in late])
    number = late[int(search.random.choice(len(late), p=costs / costs.sum()))]
    end = firings[number].place.unload
    kilns = search.timetable.problem.kilns
    work = set(kilns[firings[number].kiln].work)
    pool = [n for n, f in firings.items() if f.place.load <= end and work & set(kilns[f.kiln].work)]
    return _nearest(search, number, [*pool, number] if number not in pool else pool)


def late_and_before_its_promise(search: Search) -> list[int]:
    """The firing of a late load, and what is out about the time at which that load was promised."""
    timetable = search.timetable
    problem, batches = timetable.problem, timetable.batches
    overdue = overdue_load(timetable, search.random, late_firings(timetable))
    if overdue is None:
        return time_window(search)
    number, load, due = overdue
    firing = timetable.firings[number]
    alone = batches.make(problem.loads[load].profile, (load,))
    if alone is None:
        return time_window(search)
    kilns = batches.kilns_for(alone)
    pool = [n for n, f in timetable.firings.items() if f.kiln in kilns and n != number]
    wanted = due - float(search.random.exponential(firing.fit.phases.safe)) * problem.grid_minutes
    pool.sort(key=lambda n: (abs(out_minutes(timetable.firings[n], problem.grid_minutes) - wanted), n))
    return [number, *pool[: search.size()]]


def unplaced_and_blockers(search: Search) -> list[int]:
    """Firings in a row in a kiln that could take a load without a place."""
    timetable = search.timetable
    problem = timetable.problem
    pending = timetable.pending()
    random = search.random
    random.shuffle(pending)
    for load in pending:
        alone = timetable.batches.make(problem.loads[load].profile, (load,))
        if alone is None:
            continue
        kilns = timetable.batches.kilns_for(alone)
        if not kilns:
            continue
        kiln = kilns[int(random.integers(len(kilns)))]
        row = [number for _, free, number in timetable.busy(kiln) if number >= 0 and free > alone.ready]
        if row:
            begin = int(random.integers(len(row)))
            return row[begin : begin + int(random.integers(1, MOST_IN_ROW + 1))]
    return time_window(search)


def smallest(search: Search) -> list[int]:
    """The emptiest firings: their loads may find room elsewhere."""
    firings = search.timetable.firings
    if not firings:
        return []
    numbers = list(firings)
    area = np.array(
        [
            sum(search.timetable.problem.loads[load].footprint_cm2 for load in firings[n].batch.loads)
            / search.timetable.problem.kilns[firings[n].kiln].shelf_area_cm2
            + 0.05
            for n in numbers
        ]
    )
    weights = 1.0 / area
    count = min(len(numbers), int(search.random.integers(1, 4)))
    picked = search.random.choice(len(numbers), size=count, replace=False, p=weights / weights.sum())
    return [numbers[int(index)] for index in picked]


def stages(search: Search) -> list[int]:
    """The firings of the stages of some pieces, and what is near them."""
    problem = search.timetable.problem
    pairs = [
        (earlier, later)
        for earlier, followers in problem.follower.items()
        for later in followers
        if earlier in search.timetable.firing_of
    ]
    if not pairs:
        return time_window(search)
    earlier, later = pairs[int(search.random.integers(len(pairs)))]
    own = search.timetable.firing_of
    chosen = [own[load] for load in (earlier, later) if load in own]
    near = _nearest(search, chosen[0], list(search.timetable.firings))
    return [*chosen, *near[: max(1, search.size() // 2)]]


UNPLACED = "unplaced loads and their blockers"

NEIGHBOURHOODS: dict[str, Neighbourhood] = {
    "time window": time_window,
    "two kilns": two_kilns,
    "one profile": one_profile,
    "one circuit": one_circuit,
    "late loads and their blockers": late_and_blockers,
    "a late load and what is before its promise": late_and_before_its_promise,
    UNPLACED: unplaced_and_blockers,
    "emptiest firings": smallest,
    "stages of the same pieces": stages,
}
