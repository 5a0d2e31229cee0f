"""Why a load has no place, or is late: the first rule that binds, and the single changes that would mend it.

What would help is found by trying: the load is placed again with one thing changed and all else as planned.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from scheduler.planning.batches import Batch
from scheduler.planning.problem import FAR, Problem
from scheduler.planning.soonest import places, soonest
from scheduler.planning.timetable import Placed, Timetable, out_minutes
from shared.clock import local_time
from shared.kilns import Kiln
from shared.loads import Load, size_row
from shared.plans import Unplaced
from shared.profiles import Profile
from shared.texts import Text, said_by, say


@dataclass(frozen=True, slots=True)
class Reason:
    """The rule that binds, in words, and what would help."""

    rule: str
    why: str
    would_help: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that a studio could change, and the problem that it then has."""

    rule: str
    text: str
    apply: Callable[[Problem], Problem]


MOST_EXPLAINED = 40
"""For so many loads it is tried what would help, the dearest first: each trial plans a studio that is not there, and a
list of hundreds helps nobody. `why` answers for any load."""

MOST_NAMED = 4
"""Loads in the way of one that are named: with more, the last says how many more there are."""


def unplaced_loads(timetable: Timetable) -> list[Unplaced]:
    """Every load without a firing, with the rule that binds."""
    problem = timetable.problem
    rows = []
    missing = timetable.pending()
    dearest = sorted(missing, key=lambda number: (-problem.loads[number].priority, number))[:MOST_EXPLAINED]
    for number, load in enumerate(problem.loads):
        if number not in timetable.firing_of:
            reason = why_unplaced(timetable, number, tried=number in dearest)
            rows.append(Unplaced(load=load.id, rule=reason.rule, why=reason.why, would_help=reason.would_help))
    return rows


def why_unplaced(timetable: Timetable, number: int, tried: bool = True) -> Reason:
    """The rule that keeps a load out of the plan, and what would help if that is ``tried``."""
    problem, batches = timetable.problem, timetable.batches
    load = problem.loads[number]
    barred = _barred(timetable, load, problem.profile(number), number)
    if barred is not None:
        return barred
    batch = batches.make(load.profile, (number,))
    if batch is None:
        return Reason("session_at", say("reason.session_not_booked"), (say("reason.another_time"),))
    earlier = problem.load_number.get(load.after or "")
    if earlier is not None and earlier not in timetable.firing_of:
        return Reason("after_gap", say("reason.earlier_stage_load_no", after=load.after), ())
    if batch.ready >= problem.slots:
        return Reason("ready", say("reason.ready_only_after"), (say("reason.a_longer_horizon"),))
    empty = Timetable(problem, batches)
    if _best(empty, batch, stages=timetable) is None:
        return _alone(timetable, batch)
    if not tried:
        return Reason("time", say("reason.every_kiln_that"))
    return Reason("time", _in_the_way(timetable, batch, FAR), tuple(_what_helps(timetable, batch, FAR)))


def why_late(timetable: Timetable, number: int) -> Reason:
    """The rule that keeps a placed load from being out when promised."""
    problem, batches = timetable.problem, timetable.batches
    load = problem.loads[number]
    firing = timetable.firings[timetable.firing_of[number]]
    batch = batches.make(load.profile, (number,))
    if batch is None or load.promised is None:
        return Reason("time", "", ())
    if firing.fixed and firing.place.load < 0:
        return Reason("computed_times", say("reason.firing_under_way"), ())
    promised = load.promised - problem.begin
    first = soonest(Timetable(problem, batches), batch, stages=timetable)
    if first is not None and out_minutes(first, problem.grid_minutes) > promised:
        when = local_time(problem.begin + out_minutes(first, problem.grid_minutes), problem.studio.place.zone)
        if promised <= 0:
            return Reason("ready", say("reason.promise_was_past", when=when), ())
        if load.after is not None and load.after in problem.load_number and _in_time(timetable, batch, promised):
            text = say("reason.load_earlier_stage", after=load.after, when=when)
            return Reason("after_gap", text, ())
        text = say("reason.even_empty_studio", when=when)
        return Reason("ready" if batch.ready > 0 else "computed_times", text, ())
    mark = len(timetable.log)
    rest = tuple(other for other in firing.batch.loads if other != number)
    timetable.remove(timetable.firing_of[number])
    if rest:
        smaller = batches.make(firing.batch.profile, rest)
        fit = None if smaller is None else batches.fit(smaller, firing.kiln)
        if smaller is not None and fit is not None:
            with batches.with_real_masses():  # as it was settled: it starts then
                placed = timetable.best_place(smaller, firing.kiln, fit, only_start=firing.place.start)
            if placed is not None:
                timetable.add(placed)
    helps = tuple(_what_helps(timetable, batch, promised))
    why = _in_the_way(timetable, batch, promised)
    timetable.undo(mark)
    return Reason("time", why, helps)


def _in_the_way(timetable: Timetable, batch: Batch, promised: int) -> Text:
    """How a batch could be out by its promise: in a firing of its own, or in a kiln without the fewest loads.

    Where neither will do, what others need more than kilns. All else is as planned. Of a load without a place it is
    asked how it could be out at all, which is a promise ``FAR`` off.
    """
    problem, grid = timetable.problem, timetable.problem.grid_minutes

    def told(key: str, placed: Placed, **values: object) -> Text:
        when = local_time(problem.begin + out_minutes(placed, grid), problem.studio.place.zone)
        return say(key, kiln=problem.kilns[placed.kiln].id, when=when, **values)

    first = soonest(timetable, batch, stages=timetable)
    if first is not None and out_minutes(first, grid) <= promised:
        return told("reason.firing_of_its_own", first)
    everywhere = places(Timetable(problem, timetable.batches), batch.at_any_price(), stages=timetable)
    able = [placed.kiln for placed in everywhere if out_minutes(placed, grid) <= promised]
    emptied = {kiln: _if_empty(timetable, batch, kiln) for kiln in able}
    in_time = [p for p in emptied.values() if p is not None and out_minutes(p, grid) <= promised]
    if able and not in_time:
        key = "reason.hands_or_current" if promised < FAR else "reason.no_place_if_emptied"
        return say(key, kilns=tuple(problem.kilns[kiln].id for kiln in able))
    taken = [(loads, placed) for placed in in_time if (loads := _loads_in(timetable, placed))]
    if not taken:
        return say("reason.kilns_hands_current" if promised < FAR else "reason.every_kiln_that")
    loads, placed = min(taken, key=lambda pair: (len(pair[0]), out_minutes(pair[1], grid)))
    return told("reason.kiln_fires_others", placed, loads=_some_of(loads))


def _if_empty(timetable: Timetable, batch: Batch, kiln: int) -> Placed | None:
    """Where a batch is out first in a kiln without that kiln's firings but those of its own earlier stages."""
    problem = timetable.problem
    bounds, fit = timetable.bounds(batch.loads), timetable.batches.fit(batch, kiln)
    if bounds is None or fit is None:
        return None
    earlier = {problem.load_number.get(problem.loads[load].after or "") for load in batch.loads}
    mark = len(timetable.log)
    for _, _, number in list(timetable.busy(kiln)):
        if number >= 0 and not earlier & set(timetable.firings[number].batch.loads):
            timetable.remove(number)
    urgent = replace(batch.at_any_price(), ready=max(batch.ready, bounds[0]))
    placed = timetable.best_place(urgent, kiln, fit, free_of_stages=True, last_out_minutes=bounds[1])
    timetable.undo(mark)
    return placed


def _loads_in(timetable: Timetable, placed: Placed) -> list[str]:
    """The loads that are in a firing's kiln at its time, by the plan."""
    loads = timetable.problem.loads
    numbers = timetable.in_its_kiln(placed)
    return [loads[load].id for number in numbers for load in timetable.firings[number].batch.loads]


def _some_of(loads: Sequence[str]) -> tuple[str, ...]:
    """Loads for a sentence: all of a few, of many the first and how many more."""
    if len(loads) <= MOST_NAMED:
        return tuple(loads)
    named = loads[: MOST_NAMED - 1]
    return (*named, say("reason.more_loads", number=len(loads) - len(named)))


def _barred(timetable: Timetable, load: Load, profile: Profile, number: int) -> Reason | None:
    """The rule about kilns and material that no kiln of the studio passes, if there is one."""
    problem = timetable.problem
    try:
        row = size_row(profile, [load])
    except LookupError as error:
        return Reason("size_row", said_by(error), (say("reason.size_row_that"),))
    peak_c = profile.peak_c(row)
    if load.max_temperature_c is not None and load.max_temperature_c < peak_c:
        why = say("reason.profile_goes_c", profile=profile.id, peak=peak_c, max_temperature=load.max_temperature_c)
        return Reason("max_temperature", why, (say("reason.a_cooler_profile"), say("reason.ask_owner_what")))
    left: list[Kiln] = list(problem.kilns)
    sieves: tuple[tuple[str, Callable[[Kiln], bool], Text], ...] = (
        ("work_fits_kiln", lambda k: profile.work in k.work, say("reason.no_kiln_fires", work=profile.work)),
        ("work_fits_kiln", lambda k: not load.kilns or k.id in load.kilns, say("reason.none_kilns_named")),
        ("vent", lambda k: k.vented or not profile.vent, say("reason.profile_needs_vented")),
        (
            "max_temperature",
            lambda k: k.max_temperature_c >= peak_c,
            say("reason.no_kiln_that", peak=peak_c),
        ),
    )
    for rule, passes, why in sieves:
        left = [kiln for kiln in left if passes(kiln)]
        if not left:
            return Reason(rule, why, ())
    names = ", ".join(kiln.id for kiln in left)
    batch = timetable.batches.make(load.profile, (number,))
    if batch is None:
        return None
    numbers = [k for k, kiln in enumerate(problem.kilns) if kiln in left]
    if all(timetable.batches.charge(batch, k) is None for k in numbers):
        return Reason("capacity", say("reason.does_not_fit", names=names), (say("reason.split_the_load"),))
    if all(timetable.batches.fit(batch, k) is None for k in numbers):
        why = say("reason.cannot_reach_profiles", names=names)
        return Reason("computed_times", why, (say("reason.another_kiln"), say("reason.a_longer_hold_up_to")))
    return None


def _alone(timetable: Timetable, batch: Batch) -> Reason:
    """Why a batch finds no place even in an empty studio."""
    problem = timetable.problem
    if not problem.people[0].any():
        return Reason("hands", say("reason.nobody_there_load"), (say("reason.a_shift"),))
    for change in _changes(problem, batch):
        eased = Timetable(change.apply(problem), timetable.batches)
        if _best(eased, batch, stages=timetable) is not None:
            return Reason(change.rule, say("reason.no_place_even", why=_BINDS[change.rule]), (change.text,))
    earlier = problem.loads[batch.loads[0]].after
    empty = Timetable(problem, timetable.batches)
    if earlier is not None and earlier in problem.load_number and _best(empty, batch, stages=None) is not None:
        why = say("reason.earlier_stage_load", earlier=earlier)
        return Reason("after_gap", why, (say("reason.a_longer_horizon"),))
    return Reason("within_plan", say("reason.cannot_fired_out"), (say("reason.a_longer_horizon"),))


def _what_helps(timetable: Timetable, batch: Batch, promised: int) -> Iterator[str]:
    """Single changes with which a batch is out by its promise, all else as planned."""
    problem = timetable.problem
    plan = timetable.snapshot()

    def mends(eased: Timetable) -> bool:
        first = soonest(eased, batch, stages=timetable)
        return first is not None and out_minutes(first, problem.grid_minutes) <= promised

    for change in _changes(problem, batch):
        eased = Timetable(change.apply(problem), timetable.batches)
        eased.restore(plan)
        if mends(eased):
            yield change.text
    for kiln in range(len(problem.kilns)):
        if timetable.batches.fit(batch, kiln) is None or problem.twins[kiln] != kiln:
            continue
        eased = Timetable(problem, timetable.batches)
        eased.restore([firing for firing in plan if firing.kiln != kiln])
        if mends(eased):
            yield say("reason.one_more_kiln", kiln=problem.kilns[kiln].id)


def _in_time(timetable: Timetable, batch: Batch, promised: int) -> bool:
    """Whether in an empty studio, without its earlier stage, a batch could be out by its promise [min]."""
    empty = Timetable(timetable.problem, timetable.batches)
    first = soonest(empty, batch, stages=None)
    return first is not None and out_minutes(first, timetable.problem.grid_minutes) <= promised


def _best(timetable: Timetable, batch: Batch, stages: Timetable | None) -> Placed | None:
    """The cheapest place of a batch in any kiln; earlier stages as planned in ``stages``, or left out of account."""
    return next(iter(sorted(places(timetable, batch, stages), key=lambda p: p.place.guide)), None)


def _more_hands(problem: Problem, more: int) -> Problem:
    """One more with every skill on each shift, and others who help."""
    people = np.where(problem.people > 0, problem.people + 1, problem.people)
    people[0] = np.where(problem.people[0] > 0, problem.people[0] + more, 0)
    return replace(problem, people=people.astype(np.int32))


def _all_hours(problem: Problem, least: int) -> Problem:
    """Somebody with every skill there at every hour, and as many people as are needed at least."""
    people = np.maximum(problem.people, 1)
    people[0] = np.maximum(people[0], least)
    return replace(problem, people=people.astype(np.int32))


def _changes(problem: Problem, batch: Batch) -> list[Change]:
    """Single changes that are tried for a batch, the mildest first: of hands so many as its session may lack."""
    people = problem.studio.profile_by_id[batch.profile].unload_people
    more_hands = [
        Change(
            "hands",
            say("reason.one_more_pair") if more == 1 else say("reason.more_pairs", number=more),
            partial(_more_hands, more=more),
        )
        for more in range(1, max(2, people))
    ]
    other_hours = say("reason.somebody_there_other") if people == 1 else say("reason.people_other_hours", number=people)
    return [
        *more_hands,
        Change("circuit_amps", say("reason.more_current_on"), Problem.with_any_current),
        Change("quiet", say("reason.no_quiet_time"), Problem.at_any_time),
        Change("hands", other_hours, partial(_all_hours, least=people)),
    ]


_BINDS = {
    "hands": say("reason.there_not_hands"),
    "circuit_amps": say("reason.kiln_draws_more"),
    "quiet": say("reason.quiet_times_outages"),
}
