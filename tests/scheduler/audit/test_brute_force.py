"""Firings moved about at random: the audit agrees with a count minute by minute, also across the clock changes."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from shared.clock import WEEKDAYS, Minute, local_time
from shared.plans import Firing

Bench = Any  # the class lives in conftest.py, which is no module to import from

DAYS_BEFORE, DAYS = 5, 26
COMPARED = {
    "kiln_one_at_a_time", "circuit_amps", "hands", "skills", "ready", "after_gap", "session_at", "outages", "quiet",
    "attendance", "load_order", "within_plan", "clean_out",
}  # fmt: skip


class Week:
    """The studio's hours written out for every minute, read off the wall clock."""

    def __init__(self, bench: Bench) -> None:
        studio, zone = bench.studio, bench.studio.place.zone
        self.first = bench.at(-DAYS_BEFORE)
        count = DAYS * 1440
        self.hands = np.zeros(count, int)
        self.casters = np.zeros(count, int)
        self.quiet_all = np.zeros(count, bool)
        self.quiet_burnout = np.zeros(count, bool)
        for index in range(count):
            local = local_time(self.first + index, zone)
            of_day, name = local.hour * 60 + local.minute, WEEKDAYS[local.weekday()]
            closed = any(closed.first <= local.date() <= closed.last for closed in studio.closed)
            for shift in studio.shifts:
                if not closed and name in shift.days and shift.opens <= of_day < shift.closes:
                    self.hands[index] += shift.hands
                    self.casters[index] += shift.hands * ("casting" in shift.skills)
            for quiet in studio.quiet:
                if name in quiet.days and quiet.begins <= of_day < quiet.ends:
                    self.quiet_all[index] |= quiet.work is None
                    self.quiet_burnout[index] |= quiet.work == ("burnout",)

    def minutes(self, begin: Minute, end: Minute) -> slice:
        return slice(max(0, begin - self.first), max(0, end - self.first))

    def blank(self) -> NDArray[np.int64]:
        return np.zeros(len(self.hands), np.int64)


def _broken(bench: Bench, firings: tuple[Firing, ...]) -> set[str]:
    """The rules among `COMPARED` that a plan breaks, by counting minutes. Knows this test's studio."""
    week, studio = _week_of(bench), bench.studio
    tasks, casts = week.blank(), week.blank()
    in_kiln = {kiln.id: week.blank() for kiln in studio.kilns}
    amps = {(circuit.id, leg): np.zeros(len(tasks)) for circuit in studio.circuits for leg in circuit.leg_names}
    found = set()
    out_at = {load_id: firing.out_at for firing in firings for load_id in firing.loads}
    for firing in firings:
        kiln, profile = studio.kiln_by_id[firing.kiln], studio.profile_by_id[firing.profile]
        cleaning = week.minutes(firing.load_at - firing.clean_out_minutes, firing.load_at)
        loading = week.minutes(firing.load_at, firing.load_at + int(kiln.load_minutes))
        session = week.minutes(firing.unload_at, firing.out_at)
        heating = week.minutes(firing.start_at, firing.hot_until)
        tasks[cleaning] += 1
        tasks[loading] += 1
        tasks[session] += 2 if profile.id == "dip" else 1
        if profile.id == "burnout":
            casts[session] += 1
        # Out before it is in is nonsense, but the kiln is taken in the minute in which its loading begins.
        in_kiln[kiln.id][week.minutes(firing.load_at, max(firing.free_at, firing.load_at + 1))] += 1
        for leg in kiln.legs or ("A", "B", "C"):
            amps["main", leg][heating] += kiln.amps
            if kiln.circuit != "main":
                amps[kiln.circuit, leg][heating] += kiln.amps
        if week.quiet_all[heating].any() or (profile.id == "burnout" and week.quiet_burnout[heating].any()):
            found.add("quiet")
        kiln_out, front_out = studio.outages
        dirty = firing.load_at - firing.clean_out_minutes
        if kiln.id == kiln_out.kiln and any(kiln_out.begins <= m < kiln_out.ends for m in range(dirty, firing.load_at)):
            found.add("clean_out")
        earlier = [f for f in firings if f.kiln == kiln.id and f.load_at < firing.load_at]
        if dirty < max((f.free_at for f in earlier), default=dirty) <= firing.load_at:
            found.add("clean_out")
        if kiln.id == kiln_out.kiln and firing.load_at < kiln_out.ends and kiln_out.begins < firing.free_at:
            found.add("outages")
        hot = max(firing.start_at, front_out.begins), min(firing.hot_until, front_out.ends)
        if kiln.circuit == "front" and hot[0] < hot[1]:
            found.add("outages")
        if kiln.id == "E1" and (week.hands[heating] == 0).any():
            found.add("attendance")
        end = firing.hot_until - week.first
        if kiln.id == "A1" and week.hands[end] == 0 and week.hands[end - 1] == 0:
            found.add("attendance")
        if firing.start_at < firing.load_at + kiln.load_minutes or firing.unload_at < firing.safe_at:
            found.add("load_order")
        if dirty < bench.at(0) or firing.out_at > bench.at(10):
            found.add("within_plan")
        for load_id in firing.loads:
            load = bench.load(load_id)
            if load.ready is not None and firing.load_at < load.ready:
                found.add("ready")
            if load.session_at not in (None, firing.unload_at):
                found.add("session_at")
            if load.after is not None and firing.load_at < out_at[load.after] + load.gap_minutes:
                found.add("after_gap")
    if (tasks > week.hands).any():
        found.add("hands")
    if (casts > week.casters).any():
        found.add("skills")
    if any((busy > 1).any() for busy in in_kiln.values()):
        found.add("kiln_one_at_a_time")
    if any((load > studio.circuit_by_id[circuit].usable_amps).any() for (circuit, _), load in amps.items()):
        found.add("circuit_amps")
    return found


_weeks: dict[date, Week] = {}


def _week_of(bench: Bench) -> Week:
    if bench.monday not in _weeks:
        _weeks[bench.monday] = Week(bench)
    return _weeks[bench.monday]


_steps = st.one_of(st.just(0), st.integers(-3, 3), st.integers(-60, 60))
_moves = st.fixed_dictionaries(
    {
        "firing": st.sampled_from([f"F{number}" for number in range(1, 10)]),
        "days": st.sampled_from([0, 0, 0, -1, 1, 2, 3]),
        "all": _steps,
        "load_at": st.one_of(st.just(0), st.integers(-12, 12)),
        "start_at": st.one_of(st.just(0), st.integers(-12, 12)),
        "unload_at": _steps,
        "kiln": st.booleans(),
    }
)
_other_kiln = {"K1": "K2", "K2": "K1"}


@settings(max_examples=300, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(
    monday=st.sampled_from([date(2026, 11, 30), date(2027, 3, 22), date(2026, 10, 19)]),
    moves=st.lists(_moves, min_size=1, max_size=3),
)
def test_firings_moved_at_random_break_what_a_count_of_every_minute_finds(
    bench_for: Callable[[date], Bench], monday: date, moves: list[dict[str, Any]]
) -> None:
    bench = bench_for(monday)
    for move in moves:
        draft = bench.draft(move["firing"])
        along = 1440 * move["days"] + 5 * move["all"]
        changes = {name: getattr(draft, name) + along + 5 * move[name] for name in ("load_at", "start_at", "unload_at")}
        if move["kiln"]:
            changes["kiln"] = _other_kiln.get(draft.kiln, draft.kiln)
        bench = bench.change(draft.id, **changes)
    plan = bench.plan()
    found = {breach.rule for breach in bench.audit(plan)} & COMPARED
    assert found == _broken(bench, plan.firings)


@pytest.mark.parametrize("rule", sorted(COMPARED))
def test_the_count_of_every_minute_can_find_each_rule(rule: str, bench: Bench) -> None:
    """The check that checks the audit is itself no blank: a move that breaks each rule, found by it."""
    at = bench.at
    broken = {
        "kiln_one_at_a_time": bench.change("F2", unload_at=at(4, "10:00")),
        "circuit_amps": bench.change("F2", start_at=at(0, "18:00")),
        "hands": bench.change("F2", unload_at=at(3, "09:05")),
        "skills": bench.change("F3", start_at=at(1, "11:00"), unload_at=at(1, "17:15")),
        "clean_out": bench.change("F2", unload_at=at(4, "09:30")),
        "ready": bench.change("F8", load_at=at(4, "09:25")),
        "after_gap": bench.change("F7", load_at=at(2, "12:00"), start_at=at(2, "13:00"), unload_at=at(3, "14:00")),
        "session_at": bench.change("F4", unload_at=at(2, "14:05")),
        "outages": bench.change("F5", load_at=at(4, "11:00"), start_at=at(4, "11:15"), unload_at=at(4, "12:00")),
        "quiet": bench.change("F3", start_at=at(1, "10:55")),
        "attendance": bench.change("F6", load_at=at(4, "09:00"), start_at=at(4, "09:40"), unload_at=at(5, "12:30")),
        "load_order": bench.change("F1", start_at=at(0, "09:35")),
        "within_plan": bench.change("F8", unload_at=at(10, "09:00")),
    }[rule]
    assert _broken(broken, broken.plan().firings) == {rule}
