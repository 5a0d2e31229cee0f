"""The single changes of a studio that could mend a late or unplaced load, each with the least amount that would do.

What is found here is found by the quick look of `eased`; `why` solves the changed studio before it names one.
Whether a circuit, a quiet time or a kiln's work may be changed at all is for the people there, an electrician and the
kiln's maker to say: a mend is a question to them, never a permission.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Literal

import numpy as np

from scheduler.planning.eased import Beside, Ease, profile_of, with_load
from shared.clock import Minute, local_time, wall_minute
from shared.loads import Load, session_minutes
from shared.plans import Plan
from shared.studio import Shift, Studio

Kind = Literal[
    "hands", "skill", "circuit", "night_start", "heats_alone", "end_alone", "quiet", "outage", "leave_out",
    "other_kiln", "kiln_work", "ready", "priority", "new_kiln", "promise",
]  # fmt: skip
"""What is changed."""

HOUR_STEP_MINUTES = 30
"""Hours of hands are tried at every half hour [min]; house choice."""

LONGEST_HELP_HOURS = 4
"""Longest stretch of more hands that counts as a small change [h]; house choice."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change, and the studio and loads that it makes.

    Attributes
    ----------
    kind, who
        What is changed, and the id (kiln, circuit, load) or the number of what it is changed of.
    begins, ends
        The stretch of time that it is about [min]; None where it is about none.
    amount
        The new value: amperes of a breaker, a priority, pairs of hands where one is not enough; None where it has none.
    """

    kind: Kind
    studio: Studio
    loads: tuple[Load, ...]
    who: str = ""
    begins: Minute | None = None
    ends: Minute | None = None
    amount: float | None = None


@dataclass(frozen=True, slots=True)
class Need:
    """What is to be mended: the load, when it is to be out, and the plan without it."""

    studio: Studio
    loads: tuple[Load, ...]
    rest: Plan
    load: Load
    out_by: Minute

    def met(self, studio: Studio, loads: Sequence[Load], rest: Plan | None = None) -> bool:
        """Whether the load is out in time in a changed studio, all else as planned."""
        at = Beside(studio, loads, rest or self.rest, self.load.id).out_at()
        return at is not None and at <= self.out_by

    def met_by(self, ease: Ease) -> bool:
        """Whether it is out in time with a rule set aside, all else as planned."""
        at = Beside(self.studio, self.loads, self.rest, self.load.id, ease).out_at()
        return at is not None and at <= self.out_by


def changes(need: Need, rule: str, mates: Sequence[str]) -> Iterator[Change]:
    """The changes that concern a rule, the least first; each would do by the quick look."""
    makers = {
        "hands": _hours, "skills": _skills, "circuit_amps": _circuits, "attendance": _unattended, "quiet": _quiet,
        "outages": _outages, "work_fits_kiln": _other_kilns, "ready": _ready, "kiln_one_at_a_time": _new_kilns,
    }  # fmt: skip
    if rule == "shares_firing":
        yield from left_out(need, mates)
    elif rule == "costs":
        yield from _priorities(need)
    elif rule in makers:
        yield from makers[rule](need)


def _hours(need: Need) -> Iterator[Change]:
    """One more pair of hands for an hour of a day, or for as few hours as will do.

    Where one pair never is enough people for the session, as many as will do: the fewest hours of people come first.
    """
    beside = Beside(need.studio, need.loads, need.rest, need.load.id)
    problem, profile = beside.problem, profile_of(need.studio, need.load)
    kilns = [k for k in problem.kilns if profile.work in k.work]
    hot = profile.unload == "hot"
    shortest = min(
        (max(k.load_minutes, session_minutes(k, [need.load]) if hot else k.unload_minutes) for k in kilns), default=60.0
    )
    zone, grid = need.studio.place.zone, problem.grid_minutes
    first = max(1, math.ceil(shortest / 60.0))
    days = (problem.end - problem.begin) // (24 * 60) + 1
    ways = [
        (hours, hands)
        for hands in range(1, profile.unload_people + 1)
        for hours in range(first, first + LONGEST_HELP_HOURS)
    ]
    for hours, hands in sorted(ways, key=lambda way: (way[0] * way[1], way[1])):
        found: list[tuple[tuple[float, ...], Minute]] = []
        for number in range(days):
            day = local_time(problem.begin, zone).date() + timedelta(days=number)
            for at in range(0, 24 * 60 - hours * 60 + 1, HOUR_STEP_MINUTES):
                begins = wall_minute(day, at, zone)
                low, high = (begins - problem.begin) // grid, (begins + hours * 60 - problem.begin) // grid
                if low < 0 or high > problem.slots:
                    continue
                people = problem.people.copy()
                people[:, low:high] += 1
                people[0, low:high] += hands - 1
                beside.timetable.problem = replace(problem, people=people)
                out = beside.out_at()
                if out is not None and out <= need.out_by:
                    found.append(((*unusual(problem.people[0], low, high, 24 * 60 // grid), begins), begins))
        for _, begins in sorted(found)[:3]:
            ends, amount = begins + hours * 60, None if hands == 1 else float(hands)
            yield Change("hands", _with_hour(need, begins, hours, hands), need.loads, "", begins, ends, amount)
        if found:
            return


def unusual(
    staffed: np.ndarray[tuple[int], np.dtype[np.int32]], low: int, high: int, slots_a_day: int
) -> tuple[float, ...]:
    """How far a stretch lies from the hours at which people are there: within, next to, away from them.

    Away from them, by the share of days on which nobody is there at that time of the day: noon of a day off comes
    before midnight.
    """
    if np.all(staffed[low:high] > 0):
        return (0.0, 0.0)
    beside = staffed[max(0, low - 1)] > 0 or staffed[min(len(staffed) - 1, high)] > 0 or np.any(staffed[low:high] > 0)
    if beside:
        return (1.0, 0.0)
    at_that_time = np.concatenate([staffed[slot % slots_a_day :: slots_a_day] for slot in range(low, high)])
    return 2.0, 1.0 - float(np.mean(at_that_time > 0))


def _with_hour(need: Need, begins: Minute, hours: int, hands: int) -> Studio:
    """The studio with a shift of ``hours`` on one day alone; of several hands one has the skill that is asked for."""
    studio = need.studio
    local = local_time(begins, studio.place.zone)
    opens = local.hour * 60 + local.minute
    skill = profile_of(studio, need.load).skill
    skills = () if skill is None else (skill,)
    shift = Shift(on=local.date(), opens=opens, closes=opens + hours * 60, hands=1, skills=skills)
    helpers = shift.model_copy(update={"hands": hands - 1, "skills": ()})
    return studio.model_copy(update={"shifts": (*studio.shifts, shift, *([helpers] if hands > 1 else []))})


def _skills(need: Need) -> Iterator[Change]:
    skill = profile_of(need.studio, need.load).skill
    if skill is None:
        return
    for number, shift in enumerate(need.studio.shifts):
        if skill not in shift.skills:
            shifts = list(need.studio.shifts)
            shifts[number] = shift.model_copy(update={"skills": (*shift.skills, skill)})
            changed = need.studio.model_copy(update={"shifts": tuple(shifts)})
            if need.met(changed, need.loads):
                yield Change("skill", changed, need.loads, str(number + 1))


def _circuits(need: Need) -> Iterator[Change]:
    """Each circuit by itself with the least breaker, in whole amperes, that lets the load be out in time."""
    for circuit in need.studio.circuits:

        def raised(amps: int, name: str = circuit.id) -> Studio:
            circuits = tuple(
                c.model_copy(update={"breaker_amps": float(amps)}) if c.id == name else c for c in need.studio.circuits
            )
            return need.studio.model_copy(update={"circuits": circuits})

        low, high = math.floor(circuit.breaker_amps), 9_999
        if not need.met(raised(high), need.loads):
            continue
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if need.met(raised(middle), need.loads) else (middle, high)
        yield Change("circuit", raised(high), need.loads, circuit.id, amount=float(high))


def _unattended(need: Need) -> Iterator[Change]:
    studio = need.studio
    found: list[tuple[Kind, str, Studio]] = []
    if not studio.rules.unattended_start:
        rules = studio.rules.model_copy(update={"unattended_start": True})
        found.append(("night_start", "", studio.model_copy(update={"rules": rules})))
    for kiln in studio.kilns:
        ways: list[tuple[Kind, dict[str, bool]]] = []
        if kiln.attend_end:
            ways.append(("end_alone", {"attend_end": False}))
        if not kiln.unattended:
            ways.append(("heats_alone", {"unattended": True}))
        for kind, update in ways:
            kilns = tuple(k.model_copy(update=update) if k.id == kiln.id else k for k in studio.kilns)
            found.append((kind, kiln.id, studio.model_copy(update={"kilns": kilns})))
    for kind, who, changed in found:
        if need.met(changed, need.loads):
            yield Change(kind, changed, need.loads, who)


def _quiet(need: Need) -> Iterator[Change]:
    for number in range(len(need.studio.quiet)):
        left = tuple(quiet for n, quiet in enumerate(need.studio.quiet) if n != number)
        changed = need.studio.model_copy(update={"quiet": left})
        if need.met(changed, need.loads):
            yield Change("quiet", changed, need.loads, str(number + 1))


def _outages(need: Need) -> Iterator[Change]:
    for number, outage in enumerate(need.studio.outages):
        left = tuple(other for n, other in enumerate(need.studio.outages) if n != number)
        changed = need.studio.model_copy(update={"outages": left})
        if need.met(changed, need.loads):
            yield Change("outage", changed, need.loads, outage.kiln or outage.circuit or "", outage.begins, outage.ends)


def _other_kilns(need: Need) -> Iterator[Change]:
    """Another kiln: one that does the work and is not named by the load, else one that would have to do the work."""
    studio, load = need.studio, need.load
    work = profile_of(studio, load).work
    for kiln in studio.kilns:
        named = not load.kilns or kiln.id in load.kilns
        if work in kiln.work and not named:
            loads = with_load(need.loads, load.model_copy(update={"kilns": (*load.kilns, kiln.id)}))
            if need.met(studio, loads):
                yield Change("other_kiln", studio, loads, kiln.id)
        elif work not in kiln.work and named:
            kilns = tuple(
                k.model_copy(update={"work": (*k.work, work)}) if k.id == kiln.id else k for k in studio.kilns
            )
            changed = studio.model_copy(update={"kilns": kilns})
            if need.met(changed, need.loads):
                yield Change("kiln_work", changed, need.loads, kiln.id)


def _ready(need: Need) -> Iterator[Change]:
    """The latest time at which the load would have to be ready."""
    if need.load.ready is None:
        return
    grid = need.studio.rules.grid_minutes

    def ready(at: Minute) -> tuple[Load, ...]:
        return with_load(need.loads, need.load.model_copy(update={"ready": at}))

    low, high = 0, (need.load.ready - need.rest.begin) // grid
    if high <= 0 or not need.met(need.studio, ready(need.rest.begin)):
        return
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if need.met(need.studio, ready(need.rest.begin + middle * grid)) else (low, middle)
    at = need.rest.begin + low * grid
    yield Change("ready", need.studio, ready(at), need.load.id, begins=at)


def _new_kilns(need: Need) -> Iterator[Change]:
    seen: set[object] = set()
    for kiln in need.studio.kilns:
        likeness = kiln.model_copy(update={"id": "-", "name": None})
        if likeness in seen or profile_of(need.studio, need.load).work not in kiln.work:
            continue
        seen.add(likeness)
        twin = kiln.model_copy(update={"id": f"{kiln.id[:50]} twin", "name": None})
        changed = need.studio.model_copy(update={"kilns": (*need.studio.kilns, twin)})
        named = need.load.kilns
        loads = (
            need.loads
            if not named
            else with_load(need.loads, need.load.model_copy(update={"kilns": (*named, twin.id)}))
        )
        if need.met(changed, loads):
            yield Change("new_kiln", changed, loads, kiln.id)


def left_out(need: Need, mates: Sequence[str]) -> Iterator[Change]:
    """Each batch-mate left out of this plan by itself."""
    for mate in mates:
        if any(load.after == mate for load in need.loads):
            continue
        loads = tuple(load for load in need.loads if load.id != mate)
        if need.met(need.studio, loads, without(need.rest, (mate,))):
            yield Change("leave_out", need.studio, loads, mate)


def _priorities(need: Need) -> Iterator[Change]:
    for priority in range(need.load.priority + 1, 10):
        loads = with_load(need.loads, need.load.model_copy(update={"priority": priority}))
        yield Change("priority", need.studio, loads, need.load.id, amount=float(priority))


def without(plan: Plan, gone: Sequence[str]) -> Plan:
    """A plan without some loads: firings that hold nothing else are gone too."""
    firings = []
    for firing in plan.firings:
        kept = tuple(load for load in firing.loads if load not in gone)
        if kept == firing.loads:
            firings.append(firing)
        elif kept:
            layers = tuple(rest for layer in firing.layers if (rest := tuple(one for one in layer if one not in gone)))
            firings.append(firing.model_copy(update={"loads": kept, "layers": layers}))
    return plan.model_copy(
        update={
            "firings": tuple(firings),
            "unplaced": tuple(row for row in plan.unplaced if row.load not in gone),
            "late": tuple(row for row in plan.late if row.load not in gone),
        }
    )
