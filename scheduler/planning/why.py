"""Why a load is late or has no place, and the smallest single changes that would mend it, each solved first.

The rule that binds is the one that, set aside alone with all other firings as planned, lets the load be out in time.
For each such rule the least change is looked for, and the plan is made again with that one change, at the price of
moving, and proved; a change is named only if the load is then out in time and no promise that was kept is broken.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from scheduler.audit import BrokenPlanError, prove
from scheduler.planning.eased import EASES, Beside, Ease, any_kiln, at_once, free_of_all, with_load
from scheduler.planning.events import Events
from scheduler.planning.mending import Change, Need, changes, left_out, without
from scheduler.planning.reasons import Reason, why_unplaced
from scheduler.planning.replan import Replanned, replan
from scheduler.planning.session import Settings
from shared.clock import Minute
from shared.errors import RequestError
from shared.loads import Load
from shared.plans import Firing, Plan
from shared.studio import Studio
from shared.texts import say

BARRING = frozenset({"size_row", "max_temperature", "vent", "capacity", "session_at"})
"""Rules that a load breaks in every kiln, whatever else is planned."""

MOST_PER_RULE = 2
"""Verified changes of one rule that are told [-]; house choice, the smallest are found first."""

AS_PLANNED = Settings(work_limit=0)
"""Every other firing stays where it is."""

SHORT = Settings(seconds=1.5)
"""How long each change is solved, if nothing is said."""


@dataclass(frozen=True, slots=True)
class Mend:
    """A change with which the load is out in time: the proved plan with it, and when the load is then out [min].

    ``moved`` are the other loads whose kiln or day changes.
    """

    change: Change
    plan: Plan
    out_at: Minute
    moved: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Explanation:
    """Why a load is late or has no place.

    Attributes
    ----------
    load
        The load's id.
    out_at
        When it is out in the plan [min]; None where it has no place.
    rule, why
        The rule that binds (``time`` where no single one does), and what is known of it beside the rule, in words.
    binding
        All rules that mend it when set aside alone.
    mends
        Changes that mend it, verified, the mildest first.
    tried
        How many changes were solved [-].
    """

    load: str
    out_at: Minute | None
    rule: str
    why: str
    binding: tuple[str, ...]
    mends: tuple[Mend, ...]
    tried: int


def explain_load(
    studio: Studio,
    loads: Sequence[Load],
    plan: Plan,
    load_id: str,
    *,
    settings: Settings | None = None,
    progress: Callable[[str], None] | None = None,
) -> Explanation:
    """Why ``load_id`` is late or has no place in ``plan``, and what would mend it.

    Parameters
    ----------
    studio, loads, plan
        The studio, what waits in it, and its plan.
    load_id
        The load asked about.
    settings
        How long each change is solved.
    progress
        Called with the rule that is being looked at.

    Raises
    ------
    RequestError
        If the load does not wait, or is out in time.
    """
    own = next((load for load in loads if load.id == load_id), None)
    if own is None:
        raise RequestError(
            say("request.no_load_waits", load=load_id, loads=tuple(load.id for load in loads) or say("text.none"))
        )
    firing = next((f for f in plan.firings if load_id in f.loads), None)
    out_at = None if firing is None else firing.out_at
    if out_at is not None and (own.promised is None or out_at <= own.promised):
        raise RequestError(say("request.load_place_breaks", load=load_id))
    if firing is not None and firing.id in plan.under_way:
        return Explanation(load_id, out_at, "computed_times", say("reason.firing_under_way"), (), (), 0)
    return _Asking(studio, tuple(loads), plan, own, firing, settings or SHORT, progress).answer()


@dataclass
class _Asking:
    studio: Studio
    loads: tuple[Load, ...]
    plan: Plan
    own: Load
    firing: Firing | None
    settings: Settings
    progress: Callable[[str], None] | None
    tried: int = 0

    def answer(self) -> Explanation:
        need = self._need()
        barred = self._barred(need)
        if barred is not None:
            return self._told(barred.rule, barred.why, (), ())
        rule = self._beyond_all(need)
        if rule is not None:
            found = [*self._verified(need, changes(need, rule, ()), 1), *self._later(need)]
            return self._told(rule, "", (rule,), found)
        binding = list(self._binding(need))
        mends: list[Mend] = []
        for rule in binding:
            if self.progress is not None:
                self.progress(rule)
            mends += self._verified(need, changes(need, rule, self._mates()), MOST_PER_RULE)
        mends += self._later(need)
        return self._told(binding[0] if binding else "time", "", tuple(binding), mends)

    def _told(self, rule: str, why: str, binding: tuple[str, ...], mends: Sequence[Mend]) -> Explanation:
        out_at = None if self.firing is None else self.firing.out_at
        return Explanation(self.own.id, out_at, rule, why, binding, tuple(mends), self.tried)

    def _need(self) -> Need:
        promised = self.own.promised if self.firing is not None else None
        out_by = self.plan.end if promised is None else promised
        return Need(self.studio, self.loads, without(self.plan, (self.own.id,)), self.own, out_by)

    def _mates(self) -> tuple[str, ...]:
        return () if self.firing is None else tuple(load for load in self.firing.loads if load != self.own.id)

    def _barred(self, need: Need) -> Reason | None:
        """The rule that the load breaks in every kiln."""
        if self.firing is not None:
            return None
        beside = Beside(need.studio, need.loads, need.rest, need.load.id)
        reason = why_unplaced(beside.timetable, beside.number)
        static = reason.rule in BARRING or (reason.rule == "computed_times")
        if reason.rule == "after_gap" and beside.timetable.bounds((beside.number,)) is None:
            static = True
        return reason if static else None

    def _beyond_all(self, need: Need) -> str | None:
        """The rule of the load itself that keeps it even from an empty studio without any rule of people or power."""
        empty = need.rest.model_copy(update={"firings": ()})
        bare = with_load(need.loads, need.load.model_copy(update={"after": None, "kilns": need.load.kilns}))

        def out(loads: Sequence[Load], ease: Ease) -> Minute | None:
            return Beside(need.studio, loads, empty, need.load.id, ease).out_at()

        at = out(bare, Ease("", problem=free_of_all))
        if at is not None and at <= need.out_by:
            return "after_gap" if self._stage_binds(need) else None
        at = out(bare, Ease("ready", setting=at_once, problem=free_of_all))
        if at is not None and at <= need.out_by:
            return "ready"
        at = out(bare, Ease("work_fits_kiln", setting=any_kiln, problem=free_of_all))
        if at is not None and at <= need.out_by:
            return "work_fits_kiln"
        return "computed_times" if need.out_by < need.rest.end else "within_plan"

    def _stage_binds(self, need: Need) -> bool:
        """Whether its earlier stage, as it is planned, is out too late whatever else there is in the studio.

        That it could be out in time without that stage is not enough: it may then just take a place that was free
        before the stage was out.
        """
        stage = next((firing for firing in need.rest.firings if need.load.after in firing.loads), None)
        if stage is None:
            return False
        alone = need.rest.model_copy(update={"firings": (stage,)})
        at = Beside(need.studio, need.loads, alone, need.load.id, Ease("", problem=free_of_all)).out_at()
        return at is None or at > need.out_by

    def _binding(self, need: Need) -> Iterator[str]:
        """The rules that mend it when set aside alone, all else as planned."""
        told: set[str] = set()
        if need.met(need.studio, need.loads):
            # It could be out in time as things are; the plan finds other things dearer.
            yield "costs"
            return
        for ease in EASES:
            if ease.rule not in told and need.met_by(ease):
                told.add(ease.rule)
                yield ease.rule
        if self._mates() and any(left_out(need, self._mates())):
            yield "shares_firing"
        if not told and any(changes(need, "kiln_one_at_a_time", ())):
            yield "kiln_one_at_a_time"

    def _verified(self, need: Need, found: Iterator[Change], most: int) -> list[Mend]:
        mends: list[Mend] = []
        for change in found:
            mend = self._solved(need, change)
            if mend is not None:
                mends.append(mend)
            if len(mends) >= most:
                break
        return mends

    def _later(self, need: Need) -> list[Mend]:
        """The earliest promise that can be kept with all other promises."""
        if self.firing is None:
            return []
        beside = Beside(need.studio, need.loads, need.rest, need.load.id).out_at()
        times = sorted({at for at in (beside, self.firing.out_at) if at is not None})
        for at in times:
            loads = with_load(need.loads, need.load.model_copy(update={"promised": at}))
            mend = self._solved(need, Change("promise", need.studio, loads, need.load.id, begins=at), out_by=at)
            if mend is not None:
                return [mend]
        return []

    def _solved(self, need: Need, change: Change, out_by: Minute | None = None) -> Mend | None:
        """The plan made again with a change, if it is proved, mends, and breaks no promise that was kept.

        First with everything else left where it is; then, if that does not do, searched.
        """
        self.tried += 1
        for settings in (AS_PLANNED, self.settings):
            mend = self._solved_by(need, change, need.out_by if out_by is None else out_by, settings)
            if mend is not None:
                return mend
        return None

    def _solved_by(self, need: Need, change: Change, out_by: Minute, settings: Settings) -> Mend | None:
        gone = {load.id for load in need.loads} - {load.id for load in change.loads}
        rest = without(need.rest, tuple(gone))
        # A minute before its begin nothing new of the plan is under way.
        found = replan(change.studio, change.loads, rest, now=rest.begin - 1, events=Events(), settings=settings)
        try:
            prove(found.studio, found.loads, found.plan)
        except BrokenPlanError:
            return None
        out_at = next((f.out_at for f in found.plan.firings if need.load.id in f.loads), None)
        if out_at is None or out_at > out_by:
            return None
        broken = {row.load for row in found.plan.late} | {row.load for row in found.plan.unplaced}
        before = {row.load for row in self.plan.late} | {row.load for row in self.plan.unplaced}
        if broken - before - {need.load.id}:
            return None
        return Mend(change, found.plan, out_at, _moved(found, need.load.id))


def _moved(found: Replanned, load: str) -> tuple[str, ...]:
    return tuple(change.load for change in found.changes if change.load != load)
