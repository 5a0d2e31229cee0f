"""One planning session: a problem, its bounds, a timetable, and the search over it until time or work is over."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from scheduler.planning.batches import Batches, Stay
from scheduler.planning.blending import plan_anew_around, plan_around
from scheduler.planning.bounds import LoadBound, cost_bound, load_bounds
from scheduler.planning.colleague import Colleague, Job, LayOut
from scheduler.planning.columns import Column
from scheduler.planning.compiled import load_compiled
from scheduler.planning.group_bounds import bounds_by_groups
from scheduler.planning.heats import Heats, Known
from scheduler.planning.model.solve import Limits
from scheduler.planning.neighbourhoods import DETERMINISTIC_EACH, ExactNeighbourhoods
from scheduler.planning.problem import state_problem
from scheduler.planning.proof import columns_within, listed_bounds, plan_firings
from scheduler.planning.reasons import unplaced_loads
from scheduler.planning.scarce import ScarceFirst
from scheduler.planning.search import BEFORE_IT_GOES_BACK, BOLDER, Search
from scheduler.planning.settle import settle, write_plan_of
from scheduler.planning.timetable import Placed, Timetable, out_minutes
from shared.clock import Minute
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Studio

EXACT_EVERY = 60
"""Rounds of the search between two exact neighbourhoods, where work is counted instead of time."""

EXACT_SHARE = 0.15
"""Share of the time that exact neighbourhoods may take [-]."""

EXACT_SECONDS = 1.0
"""Time for one exact neighbourhood [s]."""

LIST_SHARE, PROOF_SHARE = 0.1, 0.4
"""Shares of the time for listing a small studio's firings, and for the bound that they give [-]."""

GROUPS_SHARE, LEAST_SECONDS_FOR_GROUPS = 0.4, 45.0
"""Share of the time for the bounds of a larger studio's groups, one of them decided exactly [-], and from how much time
on [s]. Measured at 250 loads: a second core that lists and bounds for most of 30 s finds no plans."""

LIST_SECONDS = 2.0
"""As many firings are listed as that takes [s], where work is counted instead of time."""

DISPATCH_SHARE = 0.2
"""Share of the time after which no further dispatch rule is tried [-]."""

LEAST_SECONDS_FOR_TWO = 4.0
"""A second process takes a second or two to begin; it is not asked for less than this [s]."""

MOST_BOUNDED_AT_ONCE = 100
"""Loads that are bounded in no time; of more, a colleague bounds them while the first plan is made. Measured: 1.2 s at
250 loads, 11 s at 1000."""

COLLEAGUE_ENDS_EARLIER = 0.5
"""The colleague is to be done before the search that asked it [s]."""


REHEATS = 4
"""How often the search is heated anew. Measured on the sample studio, 10 s, six seeds: mean cost 2696 with one
cooling, 2343 with four."""


SCARCE_SHARE, SCARCE_AGAIN_SHARE, AROUND_SHARE = 0.15, 0.05, 0.05
"""Shares of the time in which scarce kilns are searched by themselves, at first and whenever the whole search is heated
anew while they have loads without a place; and in which plans of the rest are made around them [-]. Measured at 250
loads, one core, 30 s, four searches of each of five studios: mean cost 3766 with these (and any setback), 3965
without."""

BEAM_SHARE, SETS_A_SECOND, MOST_SETS = 0.1, 250, 700
"""Share of the time in which a group of few possible firings is planned by `beams` [-], and sets of loads that this
takes a second for, measured; and most of them, however long the search is. Measured on the glass of five studios of
250 loads, 200 to 600 sets, 1 to 2 s: 1373, 87, 94, 2644, 599 by beams, 1435, 88, 97, 3130, 1817 by 3000 rounds."""

GUARDED_UNTIL = REHEATS - 1
"""From which round of cooling on scarce loads may lose their places to others again: a plan around scarce kilns is dear
at first, and what gives a place of theirs away for a hundred late pots is seldom undone when the pots are in time."""

SETBACK_LOADS = 4
"""Loads without a place more that a plan around scarce kilns may have, when the whole search turns to it again [-]."""

CALM = 0.2
"""How boldly a re-plan is searched for once a load that moves costs a multiple of its price [-]."""

SURCHARGES = ((0.25, 20.0), (0.6, 6.0))
"""From which shares of a re-plan's search on a moved load costs how many times the studio's price [-]; house choice.
Before the first it is as bold as a fresh plan's. Measured at 250 loads, a kiln out for three days, 8 s: bold for 0.4 of
the time, up to 17 loads moved that did not have to."""

MOVED_SHARE, LEAST_MOVED = 0.04, 10
"""Most loads that may leave the places that they have in the first plan after a disturbance, as a part of all [-], but
a firing or two in any studio, and any number where moving has no price; our own. Measured as above, five studios, two
searches each: 0 to 10 moved, and cheaper in all but one than with the same limit for the best plan alone, which a
search that goes where it likes seldom meets."""


@dataclass(frozen=True, slots=True)
class Settings:
    """How long and how the planner searches.

    ``work_limit`` counts rounds of the search instead of seconds: the same input, seed and work give the same plan.
    """

    seconds: float | None = 20.0
    work_limit: int | None = None
    seed: int = 0
    workers: int = 2


@dataclass(frozen=True, slots=True)
class Progress:
    """What the planner has found so far.

    Attributes
    ----------
    cost, bound
        What the best plan weighs by the studio's prices, and what no plan weighs less than.
    late, unplaced
        How many of its loads are late, and have no place; None where that is not known [-].
    energy
        What its energy costs, before firings are computed with their real masses [currency].
    """

    seconds: float
    cost: float
    bound: float
    note: str
    late: int | None = None
    unplaced: int | None = None
    energy: float | None = None


def lay_out(
    studio: Studio,
    loads: Sequence[Load],
    begin: Minute,
    stays: Mapping[str, Stay] | None = None,
    *,
    known: Known | None = None,
) -> Batches:
    """A studio and its loads as the search sees them; ``stays`` tells where loads were in the plan before, by id.

    Phases that are ``known`` are not computed again.
    """
    problem = state_problem(studio, loads, begin, begin + studio.rules.horizon_days * 24 * 60)
    numbers = problem.load_number
    kept = {numbers[load]: stay for load, stay in (stays or {}).items() if load in numbers}
    heats = Heats(problem)
    heats.learn(known or {})
    batches = Batches(problem, heats, kept)
    batches.prepare_alone()
    return batches


def studio_session(
    studio: Studio,
    loads: Sequence[Load],
    begin: Minute,
    settings: Settings | None = None,
    progress: Callable[[Progress], None] | None = None,
    stays: Mapping[str, Stay] | None = None,
    *,
    helped: bool = False,
) -> Session:
    """The session that plans a studio's loads from ``begin`` for its horizon; ``helped`` as there."""
    return Session(partial(lay_out, studio, tuple(loads), begin, stays), settings, progress, helped=helped)


class Session:
    """Everything that `plan` and `replan` have in common.

    ``lay_out`` makes what the search sees; it is called again in the colleague's process, so it is a function that can
    be pickled. A session that is ``helped`` begins that process first, if there is use for one; of a larger studio it
    then leaves the ``bounds`` of its loads to it, where they are not given.
    """

    def __init__(
        self,
        lay_out: LayOut,
        settings: Settings | None = None,
        progress: Callable[[Progress], None] | None = None,
        *,
        helped: bool = False,
        bounds: tuple[LoadBound, ...] | None = None,
    ) -> None:
        load_compiled()
        self.settings = settings or Settings()
        self.clock = Clock(self.settings)
        self._progress = progress
        self._exact_seconds, self._exact_since = 0.0, 0.0
        self._second: Colleague | None = None
        self._lay_out = lay_out
        if helped:
            self._call_colleague()
        self.batches = lay_out(known=None)
        self._shared = len(self.batches.heats)
        if self._second is not None:
            self._second.begin(lay_out, self.batches.heats.known())
        self.problem = self.batches.problem
        self.timetable = Timetable(self.problem, self.batches)
        self.bound = 0.0
        self._load_bounds = bounds
        if self._second is None or len(self.problem.loads) <= MOST_BOUNDED_AT_ONCE:
            self.bound = cost_bound(self.batches, self.load_bounds)

    @property
    def load_bounds(self) -> tuple[LoadBound, ...]:
        """What each load costs at least."""
        if self._load_bounds is None:
            self._load_bounds = load_bounds(self.batches)
        return self._load_bounds

    def tell(self, cost: float, note: str, firings: Iterable[Placed] | None = None) -> None:
        """Report progress; ``firings`` are those of the plan that costs so much, if not the timetable's."""
        if self._progress is None:
            return
        placed = tuple(self.timetable.firings.values() if firings is None else firings)
        late = sum(_late_loads(one, self.problem.grid_minutes) for one in placed)
        unplaced = len(self.problem.loads) - sum(len(one.batch.loads) for one in placed)
        energy = sum(one.place.energy for one in placed)
        price = self.timetable.moved_price
        if price:
            # A re-plan asks more than the studio's price for a load that moves, for as long as it searches.
            cost -= sum(one.moved_cost for one in placed) * (1.0 - self.problem.studio.prices.moved / price)
        self._progress(Progress(self.clock.seconds(), cost, self.bound, note, late, unplaced, energy))

    def prove(self, known: Callable[[], float], tell: Callable[[tuple[Placed, ...], float], None]) -> None:
        """Bound the cost by all possible firings, or by those of groups; ``known`` says what the best plan costs.

        ``tell`` is called with each bound, and with the firings of a plan that may be better than the timetable's. The
        timetable is left with the best plan.
        """
        columns = columns_within(self.batches, self.load_bounds, LIST_SHARE * self.clock.left())
        if columns is not None:
            self._raise_bound(columns, known, self.clock.left(), tell)
            return
        if self.clock.left() < LEAST_SECONDS_FOR_GROUPS:
            return
        best, cost = self.timetable.snapshot(), self.timetable.cost()
        for bound, firings in bounds_by_groups(self.timetable, GROUPS_SHARE * self.clock.left()):
            self.bound = max(self.bound, bound)
            if firings and self.timetable.cost() < cost:
                best, cost = firings, self.timetable.cost()
            tell(firings, bound)
        self.timetable.restore(best)

    def _list_firings(self) -> tuple[Column, ...] | None:
        """All possible firings where they are few, with time kept back for `_raise_bound`; None in larger studios."""
        seconds = self.clock.share(LIST_SHARE)
        columns = columns_within(self.batches, self.load_bounds, LIST_SECONDS if seconds is None else seconds)
        if columns is not None and seconds is not None:
            self.clock.keep_back(PROOF_SHARE)
        return columns

    def _raise_bound(
        self,
        columns: Sequence[Column],
        known: Callable[[], float],
        seconds: float | None,
        tell: Callable[[tuple[Placed, ...], float], None],
    ) -> None:
        """Bound the cost by the columns, and keep a plan made of them where it is better than the timetable's."""
        for bound, firings in listed_bounds(self.batches, columns, known, seconds):
            self.bound = max(self.bound, bound)
            tell(self.timetable.snapshot() if plan_firings(self.timetable, firings) else (), bound)

    def search(
        self,
        tell_better: Callable[[tuple[Placed, ...]], None] | None = None,
        *,
        proves: bool = False,
        before: tuple[Placed, ...] = (),
        bolder: bool = False,
    ) -> None:
        """Improve what is in the timetable until time or work is over, or the cost is the bound; leave the best.

        With more than one worker a colleague works beside in a process of its own: where the search ``proves``, and the
        studio's possible firings are few, at a bound by them, in a larger studio, given time, at one by groups for a
        while, and then at a search of its own. ``tell_better`` is called with the best plan at the end of each round of
        cooling that improved it. ``before`` are the firings of a plan to stay near to, as in `Search`; only at first is
        the search bold then. Of two searches one is the ``bolder``: by steps, as in `Search`, and in how much goes back
        to a plan before.
        """
        settings, clock = self.settings, self.clock
        colleague = self._colleague(proves, before)
        columns = self._list_firings() if proves and colleague is None else None
        near = bool(before) and self.problem.studio.prices.moved > 0.0
        most_moved = max(LEAST_MOVED, int(MOVED_SHARE * len(self.problem.loads))) if near else None
        search = Search(self.timetable, settings.seed, before, most_moved, by_steps=bolder)
        part = BOLDER if bolder else BEFORE_IT_GOES_BACK
        # The exact model knows no price of moving: near a plan before, nearly all that it finds is refused.
        exact = None if colleague is not None or before else ExactNeighbourhoods(search.timetable, settings.seed)
        scarce = ScarceFirst(self.timetable, search.groups, settings.seed)
        told, asked, begun = search.best_cost, 0, clock.done(0)
        try:
            self._scarce_first(search, scarce, SCARCE_SHARE)
            self._exact_since = clock.seconds()
            round_of_cooling = clock.cooling(search.rounds)
            while not clock.over(search.rounds) and search.best_cost > self.bound + 0.005:
                if before and asked < len(SURCHARGES) and clock.passed(SURCHARGES[asked][0], search.rounds, begun):
                    search.ask(SURCHARGES[asked][1] * self.problem.studio.prices.moved, part)
                    told = math.inf  # what was told was at another price
                    asked += 1
                if search.step(clock.heat(search.rounds) * (CALM if asked else 1.0)):
                    self.tell(search.best_cost, "search", search.best)
                if colleague is not None:
                    self._hear(colleague, search)
                if exact is not None and self._exact_is_due(search.rounds):
                    self._exact(exact, search)
                now_at = clock.cooling(search.rounds)
                if now_at != round_of_cooling and tell_better is not None and search.best_cost < told - 1e-6:
                    tell_better(search.best)
                    told = search.best_cost
                if now_at != round_of_cooling and not asked:
                    self._scarce_first(search, scarce, SCARCE_AGAIN_SHARE)
                if now_at >= GUARDED_UNTIL:
                    search.guarded = frozenset()
                round_of_cooling = now_at
        finally:
            last = None if colleague is None else colleague.stop()
        if last is not None:
            search.adopt(last)
        if colleague is not None:
            self.bound = max(self.bound, colleague.bound)
        if tell_better is not None and search.best_cost < told - 1e-6:
            tell_better(search.best)
        self.timetable.restore(search.best)
        if columns is not None:
            self._raise_bound(columns, self.timetable.cost, clock.share(PROOF_SHARE), lambda *_: None)

    def _scarce_first(self, search: Search, scarce: ScarceFirst, share: float) -> None:
        """Search the scarce kilns by themselves for a share of the time, then turn to a plan around what that gave."""
        clock, anew = self.clock, search.rounds == 0
        due = scarce.due(search.best)
        if clock.over(search.rounds) or search.best_cost <= self.bound + 0.005 or not due:
            return
        self.timetable.restore(search.best)

        def burst(done: int) -> Callable[[int], float | None]:
            return clock.burst(share / 2.0, search.rounds + done)

        firings, rounds = scarce.search(due, burst, search.before, search.most_moved, self._most_sets(search))
        search.rounds += rounds
        plan_around(self.timetable, firings)
        if search.before or (not anew and self.timetable.cost() > search.best_cost + self._setback()):
            # What people have, or a good plan, is left only for what is better.
            found = self.timetable.snapshot()
            self.timetable.restore(search.best)
            search.turn_to()
            search.adopt(found)
            return
        if anew:
            around = clock.burst(AROUND_SHARE, search.rounds)
            plan_anew_around(self.timetable, firings, lambda: around(0) is None)
        search.turn_to()
        search.guarded = frozenset(scarce.loads)

    def _most_sets(self, search: Search) -> int:
        """Most sets of loads for which a group is planned by beams; none near a plan before, which they do not know."""
        seconds = self.clock.share(BEAM_SHARE)
        return 0 if search.before else MOST_SETS if seconds is None else min(MOST_SETS, int(SETS_A_SECOND * seconds))

    def _setback(self) -> float:
        """How much dearer a plan may be to go on from it [currency]."""
        return SETBACK_LOADS * self.problem.studio.prices.unplaced

    def _hear(self, colleague: Colleague, search: Search) -> None:
        """Take over what a colleague has found, and tell it what there is."""
        found = colleague.better()
        if found is not None and search.adopt(found):
            self.tell(search.best_cost, "second core", search.best)
        if colleague.bound > self.bound:
            self.bound = colleague.bound
            self.tell(search.best_cost, "bound", search.best)
        colleague.tell(search.best_cost)

    def _exact_is_due(self, rounds: int) -> bool:
        """Whether it is the exact model's turn: by rounds where plans must be repeatable, else by its share of time."""
        if self.settings.work_limit is not None:
            return rounds % EXACT_EVERY == 0
        return self._exact_seconds < EXACT_SHARE * (self.clock.seconds() - self._exact_since)

    def _exact(self, exact: ExactNeighbourhoods, search: Search) -> None:
        """One exact neighbourhood of the best plan so far."""
        timed = self.settings.work_limit is None
        begun = self.clock.seconds()
        limits = Limits(EXACT_SECONDS) if timed else Limits(DETERMINISTIC_EACH, deterministic=True)
        found = exact.improve(search.best, limits)
        if found is not None and search.adopt(found):
            self.tell(search.best_cost, "exact", search.best)
        self._exact_seconds += self.clock.seconds() - begun

    def _call_colleague(self) -> None:
        """Begin a second process, if there is use for one, so that it is ready when the search has a job for it."""
        settings = self.settings
        if settings.work_limit is None and settings.workers > 1 and self.clock.left() >= LEAST_SECONDS_FOR_TWO:
            self._second = Colleague()

    def _colleague(self, proves: bool, before: tuple[Placed, ...]) -> Colleague | None:
        if self._second is None:
            self._call_colleague()
            if self._second is not None:
                self._second.begin(self._lay_out, self.batches.heats.known())
        colleague, self._second = self._second, None
        if colleague is not None:
            job = Job(
                known=self.batches.heats.known(self._shared),
                firings=self.timetable.snapshot(),
                seed=self.settings.seed + 1_000_003,
                seconds=self.clock.left() - COLLEAGUE_ENDS_EARLIER,
                proves=proves,
                before=before,
            )
            colleague.ask(job)
        return colleague

    def finish(self, now: Minute, names: Callable[[Sequence[Placed]], Sequence[str]] | None = None) -> Plan:
        """Settle the timetable and write the plan that it means, at the studio's own prices."""
        if self._second is not None:
            self.bound = max(self.bound, self._second.bound)
            self._second.stop()  # it was never asked
            self._second = None
        if not self.bound:
            self.bound = cost_bound(self.batches, self.load_bounds)  # nobody else has said it
        settle(self.timetable)
        self.timetable.reprice(self.problem.studio.prices.moved)
        result = write_plan_of(
            self.timetable,
            made_at=now,
            bound=self.bound,
            seconds=self.clock.seconds() if self.settings.work_limit is None else 0.0,
            unplaced=unplaced_loads(self.timetable),
            names=None if names is None else names(self.timetable.snapshot()),
        )
        self.tell(result.proof.cost, "settled")
        return result


def _late_loads(placed: Placed, grid_minutes: int) -> int:
    out = out_minutes(placed, grid_minutes)
    return sum(out > promised for promised, _, _ in placed.batch.promises)


def _cooling(done: float, reheats: int) -> float:
    """From 1 to 0 so many times over while what is ``done`` goes from 0 to 1 [-]."""
    left = 1.0 - (done * reheats) % 1.0
    return left * left


class Clock:
    """Time or work, whichever limits the search."""

    def __init__(self, settings: Settings) -> None:
        self._begun = time.monotonic()
        self._seconds = settings.seconds if settings.seconds is not None else 20.0
        self._whole = self._seconds
        self._work = settings.work_limit

    def seconds(self) -> float:
        """Seconds since the session began [s]."""
        return round(time.monotonic() - self._begun, 3)

    def late(self) -> bool:
        """Whether time is over; a session limited by work has time."""
        return self._work is None and self.seconds() > self._seconds

    def first_plan_is_due(self) -> bool:
        """Whether dispatch has had its share of the time; a session limited by work has time."""
        return self._work is None and self.seconds() > DISPATCH_SHARE * self._seconds

    def share(self, part: float) -> float | None:
        """A part of the whole time [s]; None where work is counted instead."""
        return None if self._work is not None else part * self._whole

    def keep_back(self, part: float) -> None:
        """End the search sooner by a part of the whole time."""
        self._seconds -= part * self._whole

    def over(self, rounds: int) -> bool:
        """Whether time or work is over after so many rounds."""
        return rounds >= self._work if self._work is not None else self.late()

    def heat(self, rounds: int) -> float:
        """How boldly to search [-]: from 1 to 0, over and over, so that the search leaves a dead end it settled in."""
        return _cooling(self.done(rounds), REHEATS)

    def burst(self, share: float, since: int) -> Callable[[int], float | None]:
        """How boldly to search by the rounds of a shorter search that begins now, after ``since`` rounds [-].

        None when its share of the whole is over, or the whole.
        """
        begun = self.done(since)

        def heat(rounds: int) -> float | None:
            done = (self.done(since + rounds) - begun) / share
            if done >= 1.0 or self.over(since + rounds):
                return None
            return _cooling(done, 1)

        return heat

    def passed(self, share: float, rounds: int, begun: float) -> bool:
        """Whether a share of a search is over that was ``begun`` when so much of the whole was done."""
        return self.done(rounds) > begun + share * (1.0 - begun)

    def cooling(self, rounds: int) -> int:
        """Which round of cooling the search is in, from 0."""
        return int(self.done(rounds) * REHEATS)

    def left(self) -> float:
        """Seconds left [s]."""
        return self._seconds - self.seconds()

    def done(self, rounds: int) -> float:
        """Which part of the time or work is done after so many rounds [-]."""
        done = rounds / max(1, self._work) if self._work is not None else self.seconds() / max(0.001, self._seconds)
        return min(done, 0.999999)
