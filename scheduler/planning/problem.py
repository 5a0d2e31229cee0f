"""The problem as the search sees it: whole slots of the grid, whole hundredths of an ampere, arrays over time.

One function makes it from a studio and its loads (`state_problem`). Everything in it is rounded to the safe side:
a slot counts as staffed only if it is staffed to its last minute, a phase takes as many slots as it touches.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.clean_outs import NO_CLEAN_OUTS, CleanOuts, clean_outs_of
from shared.calendar import kiln_outages, on_duty, power_outages, price_steps, quiet_spans
from shared.clock import Minute
from shared.kilns import Kiln
from shared.loads import Load
from shared.profiles import Profile
from shared.studio import Studio

CENTIAMPS = 100
"""Currents are counted in hundredths of an ampere, so that sums are exact."""

FAR = 1 << 28
"""A slot beyond every horizon."""

Slots = NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class KilnLine:
    """One leg of one circuit above a kiln: its row in the array of lines."""

    circuit: str
    leg: str


@dataclass(frozen=True, slots=True, eq=False)
class Crew:
    """The hands that a task takes: rows of ``people``, everybody first, and how many of each row."""

    rows: Slots
    hands: Slots

    def suffices(self, free: Slots) -> NDArray[np.bool_]:
        """Slots in which so many hands are ``free``, by the rows of ``people``."""
        return np.asarray(np.all(free[self.rows] >= self.hands[:, None], axis=0), dtype=np.bool_)


ONE_HAND = Crew(np.zeros(1, dtype=np.int32), np.ones(1, dtype=np.int32))
"""What loading, cleaning out and opening a cool kiln take."""


@dataclass(frozen=True)
class Problem:
    """Everything that the search needs, and nothing that it may change.

    Attributes
    ----------
    slots
        Number of grid slots in the plan [-].
    people
        Hands on duty, ``(groups, slots)``: row 0 everybody, further rows those with one of a set of skills.
    groups_of_skill
        Rows of ``people`` that a session asking for a skill draws on; ``None`` is any other task.
    crews
        By id of a profile that is unloaded hot, the hands that its session takes.
    line_limit, kiln_lines, kiln_amps
        Usable current of each circuit leg [cA], the rows that each kiln loads, and its plate current [cA].
    heat_ok
        ``(kiln, work)`` → slots in which that kiln may heat for that work: quiet times, supply, attendance.
    start_ok, end_ok
        Per kiln, slots in which the profile may start, and its heating may end.
    price
        Mean price per kWh of each slot.
    twins
        Per kiln, the first kiln that is the same in everything but its name.
    follower
        Per load, the loads that are later stages of the same pieces.
    clean_outs
        The work on an empty kiln between two kinds of work.
    cost_scale
        How many parts of the currency the exact model counts in: thousandths.
    """

    studio: Studio
    loads: tuple[Load, ...]
    begin: Minute
    end: Minute
    grid_minutes: int
    slots: int
    people: Slots
    skills: tuple[str, ...]
    groups_of_skill: dict[str | None, tuple[int, ...]]
    crews: dict[str, Crew]
    lines: tuple[KilnLine, ...]
    line_limit: Slots
    kiln_lines: tuple[Slots, ...]
    kiln_amps: tuple[int, ...]
    heat_ok: dict[tuple[int, str], NDArray[np.bool_]]
    start_ok: tuple[NDArray[np.bool_], ...]
    end_ok: tuple[NDArray[np.bool_], ...]
    blocked: tuple[tuple[tuple[int, int], ...], ...]
    price: NDArray[np.float64]
    twins: tuple[int, ...] = ()
    load_number: dict[str, int] = field(default_factory=dict)
    follower: dict[int, tuple[int, ...]] = field(default_factory=dict)
    clean_outs: CleanOuts = field(default_factory=lambda: NO_CLEAN_OUTS)
    cost_scale: int = 1000

    @property
    def kilns(self) -> tuple[Kiln, ...]:
        """The studio's kilns; a kiln's number is its place here."""
        return self.studio.kilns

    def at_any_time(self) -> Problem:
        """The problem with kilns that may start, heat and end at any hour."""
        always = np.ones(self.slots, dtype=np.bool_)
        kilns = tuple(always for _ in self.kilns)
        return replace(self, heat_ok=dict.fromkeys(self.heat_ok, always), start_ok=kilns, end_ok=kilns)

    def with_any_current(self) -> Problem:
        """The problem with no limit on any circuit."""
        return replace(self, line_limit=np.full_like(self.line_limit, FAR))

    def of_loads(self, numbers: Sequence[int]) -> Problem:
        """The problem with some of its loads, numbered anew in their order."""
        number_of = {load: number for number, load in enumerate(numbers)}
        loads = tuple(self.loads[number] for number in numbers)
        follower = {
            number_of[earlier]: tuple(number_of[later] for later in followers if later in number_of)
            for earlier, followers in self.follower.items()
            if earlier in number_of
        }
        return replace(
            self,
            loads=loads,
            load_number={load.id: number for number, load in enumerate(loads)},
            follower={earlier: later for earlier, later in follower.items() if later},
        )

    def profile(self, load: int) -> Profile:
        """The profile that a load asks for."""
        return self.studio.profile_by_id[self.loads[load].profile]

    def crew(self, profile: str, is_hot: bool) -> Crew:
        """The hands that unloading a firing of a profile takes, or its session where it ``is_hot``."""
        return self.crews[profile] if is_hot else ONE_HAND

    def slot_after(self, minute: Minute) -> int:
        """The first slot that begins at or after ``minute``."""
        return -((self.begin - minute) // self.grid_minutes)

    def minute(self, slot: int) -> Minute:
        """The minute at which ``slot`` begins."""
        return self.begin + slot * self.grid_minutes

    def slots_of(self, minutes: float) -> int:
        """Slots that a length of ``minutes`` touches when it begins with a slot."""
        return math.ceil(math.ceil(minutes) / self.grid_minutes)


def state_problem(studio: Studio, loads: Sequence[Load], begin: Minute, end: Minute) -> Problem:
    """Lay a studio and its loads out on the grid of the plan ``[begin, end)``."""
    grid = studio.rules.grid_minutes
    slots = (end - begin) // grid
    skills = tuple(sorted({p.skill for p in studio.profiles if p.skill is not None and p.unload == "hot"}))
    people, groups_of_skill = _people(studio, skills, begin, grid, slots)
    lines, limit, kiln_lines = _lines(studio)
    staffed = people[0] > 0
    everywhere = np.ones(slots, dtype=np.bool_)
    heat_ok: dict[tuple[int, str], NDArray[np.bool_]] = {}
    quiet = quiet_spans(studio, begin, end)
    for number, kiln in enumerate(studio.kilns):
        base = staffed.copy() if not kiln.unattended else everywhere.copy()
        for span in power_outages(studio, kiln.id, begin, end):
            base[_touched(span.begin, span.end, begin, grid, slots)] = False
        for work in {profile.work for profile in studio.profiles}:
            allowed = base.copy()
            for q in quiet:
                if q.work is None or work in q.work:
                    allowed[_touched(q.begin, q.end, begin, grid, slots)] = False
            heat_ok[number, work] = allowed
    number_of = {load.id: number for number, load in enumerate(loads)}
    follower: dict[int, list[int]] = {}
    for number, load in enumerate(loads):
        if load.after in number_of:
            follower.setdefault(number_of[load.after], []).append(number)
    return Problem(
        studio=studio,
        loads=tuple(loads),
        begin=begin,
        end=begin + slots * grid,
        grid_minutes=grid,
        slots=slots,
        people=people,
        skills=skills,
        groups_of_skill=groups_of_skill,
        crews={p.id: _crew(groups_of_skill[p.skill], p.session_people) for p in studio.profiles if p.unload == "hot"},
        lines=lines,
        line_limit=limit,
        kiln_lines=kiln_lines,
        kiln_amps=tuple(math.ceil(kiln.amps * CENTIAMPS - 1e-6) for kiln in studio.kilns),
        heat_ok=heat_ok,
        start_ok=tuple(staffed if not studio.rules.unattended_start else everywhere for _ in studio.kilns),
        end_ok=tuple(staffed if kiln.attend_end else everywhere for kiln in studio.kilns),
        blocked=tuple(_blocked(studio, kiln.id, begin, end, grid) for kiln in studio.kilns),
        price=_prices(studio, begin, grid, slots),
        twins=_twins(studio),
        load_number=number_of,
        follower={earlier: tuple(later) for earlier, later in follower.items()},
        clean_outs=clean_outs_of(studio),
    )


def _twins(studio: Studio) -> tuple[int, ...]:
    first: dict[object, int] = {}
    out = {outage.kiln for outage in studio.outages}
    twins = []
    for number, kiln in enumerate(studio.kilns):
        likeness = kiln.id if kiln.id in out else kiln.model_copy(update={"id": "-", "name": None})
        twins.append(first.setdefault(likeness, number))
    return tuple(twins)


def _touched(span_begin: Minute, span_end: Minute, begin: Minute, grid: int, slots: int) -> slice:
    """The slots that share a minute with a span."""
    first = max(0, (span_begin - begin) // grid)
    last = min(slots, -((begin - span_end) // grid))
    return slice(first, max(first, last))


def _people(
    studio: Studio, skills: tuple[str, ...], begin: Minute, grid: int, slots: int
) -> tuple[Slots, dict[str | None, tuple[int, ...]]]:
    """Hands of each skill set on duty throughout each slot.

    Sessions that ask for skills find hands for all of them exactly if, for every set of skills, no more sessions ask
    for one of the set than there are hands with one of it (Hall, J. London Math. Soc. 10 (1935) 26). Whoever only helps
    at a session may be anybody, and counts in the row of everybody alone.
    """
    sets: list[frozenset[str] | None] = [None]
    for size in range(1, len(skills) + 1):
        sets += [frozenset(chosen) for chosen in combinations(skills, size)]
    minutes = slots * grid
    on = np.zeros((len(sets), minutes), dtype=np.int32)
    for duty in on_duty(studio, begin, begin + minutes):
        span = slice(max(0, duty.begin - begin), max(0, min(minutes, duty.end - begin)))
        for row, wanted in enumerate(sets):
            if wanted is None or wanted & set(duty.shift.skills):
                on[row, span] += duty.shift.hands
    people = on.reshape(len(sets), slots, grid).min(axis=2)
    groups: dict[str | None, tuple[int, ...]] = {None: (0,)}
    for skill in skills:
        groups[skill] = tuple(row for row, wanted in enumerate(sets) if wanted is None or skill in wanted)
    return np.ascontiguousarray(people), groups


def _crew(rows: tuple[int, ...], hands: int) -> Crew:
    """A session's people: one of each set with its skill, ``hands`` of everybody."""
    return Crew(np.array(rows, dtype=np.int32), np.array([hands if row == 0 else 1 for row in rows], dtype=np.int32))


def _lines(studio: Studio) -> tuple[tuple[KilnLine, ...], Slots, tuple[Slots, ...]]:
    row: dict[tuple[str, str], int] = {}
    limits: list[int] = []
    for circuit in studio.circuits:
        for leg in circuit.leg_names:
            row[circuit.id, leg] = len(limits)
            limits.append(math.floor(circuit.usable_amps * CENTIAMPS + 1e-6))
    kiln_lines = tuple(
        np.array(
            [
                row[circuit.id, leg]
                for circuit in studio.feeders(kiln.circuit)
                for leg in studio.legs_of(kiln)
                if (circuit.id, leg) in row
            ],
            dtype=np.int32,
        )
        for kiln in studio.kilns
    )
    return tuple(KilnLine(*key) for key in row), np.array(limits, dtype=np.int32), kiln_lines


def _blocked(studio: Studio, kiln: str, begin: Minute, end: Minute, grid: int) -> tuple[tuple[int, int], ...]:
    """Slots of a kiln's outages in order. Those that overlap are one: room is looked for behind the end of each."""
    found: list[tuple[int, int]] = []
    spans = kiln_outages(studio, kiln, begin, end)
    for first, last in sorted(((span.begin - begin) // grid, -((begin - span.end) // grid)) for span in spans):
        if found and first <= found[-1][1]:
            found[-1] = (found[-1][0], max(found[-1][1], last))
        else:
            found.append((first, last))
    return tuple(found)


def _prices(studio: Studio, begin: Minute, grid: int, slots: int) -> NDArray[np.float64]:
    price = np.empty(slots * grid)
    for step in price_steps(studio, begin, begin + slots * grid):
        price[step.begin - begin : step.end - begin] = step.price
    mean: NDArray[np.float64] = price.reshape(slots, grid).mean(axis=1)
    return mean
