"""Each rule of the CP-SAT model alone, on a model with no other rule.

Three questions for each: does it leave a model without work feasible, does it allow what it must, does it forbid what
it must.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from ortools.sat.python import cp_model

from scheduler.planning.model import rules
from scheduler.planning.model.variables import Part, Variables, decide, hands_abound
from scheduler.planning.timetable import Timetable
from shared.kilns import Circuit
from shared.loads import Load
from shared.profiles import Segment
from shared.studio import CleanOut, Quiet, Shift, Studio
from tests.scheduler.planning.plain_studio import (
    ALWAYS,
    DAYTIME,
    bench_kiln,
    clock,
    load,
    problem_of,
    slow_profile,
    studio,
    timetable_of,
)

HOT = slow_profile(
    unload="hot",
    unload_below_c=None,
    own_segments=(Segment(rate_k_per_hour=100.0, to_c=220.0, hold_minutes=60.0, hold_up_to_minutes=240.0),),
)
"""36 slots to the least hold's end, at most 60 to the end of the session, on a grid of five minutes."""

TWO = (load("A"), load("B"))


class Alone:
    """A model with some of the rules, to which a test adds what it wants to be true."""

    def __init__(self, place: Studio, loads: tuple[Load, ...], *wanted: rules.Rule) -> None:
        self.timetable: Timetable = timetable_of(place, loads)
        self.part = Part(self.timetable, tuple(range(len(loads))))
        self.model = cp_model.CpModel()
        self.v: Variables = decide(self.model, self.part)
        for rule in wanted:
            rule(self.model, self.part, self.v)

    def leader(self, number: int) -> Any:
        return next(leader for leader in self.v.leaders if leader.load == number)

    def fires(self, number: int, kiln: int = 0, **slots: int) -> None:
        """Load ``number`` leads a firing in ``kiln``, with these times."""
        leader = self.leader(number)
        self.model.add(leader.active == 1)
        options = [option for option in leader.options if option.kiln == kiln]
        self.model.add_exactly_one([option.present for option in options])
        for option in leader.options:
            if option.kiln != kiln:
                self.model.add(option.present == 0)
        for name, slot in slots.items():
            self.model.add(getattr(leader, name) == slot)

    def feasible(self) -> bool:
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        return solver.solve(self.model) in (cp_model.OPTIMAL, cp_model.FEASIBLE)


@pytest.mark.parametrize("rule", rules.RULES, ids=lambda rule: rule.__name__)
def test_a_model_without_loads_is_feasible_under_the_rule(rule: rules.Rule) -> None:
    assert Alone(studio(), (), rule).feasible()


@pytest.mark.parametrize("rule", rules.RULES, ids=lambda rule: rule.__name__)
def test_leaving_every_load_out_is_feasible_under_the_rule(rule: rules.Rule) -> None:
    case = Alone(studio(), TWO, rule)
    for load_number, unplaced in case.v.unplaced.items():
        case.model.add(unplaced == 1)
        for leader in case.v.leaders_of[load_number]:
            case.model.add(leader.members[load_number] == 0)
    for leader in case.v.leaders:
        for option in leader.options:
            case.model.add(option.present == 0)
    assert case.feasible()


def test_each_load_once_lets_a_load_join_another() -> None:
    case = Alone(studio(), TWO, rules.each_load_once)
    case.model.add(case.leader(0).members[1] == 1)
    assert case.feasible()


def test_each_load_once_forbids_to_lead_and_to_join() -> None:
    case = Alone(studio(), TWO, rules.each_load_once)
    case.model.add(case.leader(0).members[1] == 1)
    case.model.add(case.leader(1).active == 1)
    assert not case.feasible()


def test_each_load_once_forbids_to_join_where_nobody_leads() -> None:
    case = Alone(studio(), TWO, rules.each_load_once)
    case.model.add(case.leader(0).members[1] == 1)
    case.model.add(case.leader(0).active == 0)
    assert not case.feasible()


KILNS = (bench_kiln("K1"), bench_kiln("K2"))


@pytest.mark.parametrize("all_placed", [True, False])
def test_each_load_once_leaves_none_out_where_all_are_to_be_placed(all_placed: bool) -> None:
    case = Alone(studio(), TWO)
    rules.each_load_once(case.model, replace(case.part, all_placed=all_placed), case.v)
    case.model.add(case.v.unplaced[1] == 1)
    assert case.feasible() is not all_placed


@pytest.mark.parametrize(("kiln", "allowed"), [(0, False), (1, True)])
def test_work_fits_kiln_keeps_a_member_out_of_kilns_that_it_does_not_name(kiln: int, allowed: bool) -> None:
    loads = (load("A"), load("B", kilns=("K2",)))
    case = Alone(studio(kilns=KILNS), loads, rules.each_load_once, rules.work_fits_kiln)
    case.fires(0, kiln)
    case.model.add(case.leader(0).members[1] == 1)
    assert case.feasible() is allowed


@pytest.mark.parametrize(("times", "allowed"), [(("14:00", "14:00"), True), (("14:00", "15:00"), False)])
def test_shares_firing_keeps_two_booked_sessions_apart(times: tuple[str, str], allowed: bool) -> None:
    """Either may join a leader without a booking of its own; both only if they are booked for one moment."""
    loads = (
        load("A"),
        load("B", session_at=clock(times[0])),
        load("C", session_at=clock(times[1])),
    )
    case = Alone(studio(profiles=(HOT,)), loads, rules.shares_firing)
    members = case.leader(0).members
    case.model.add_bool_and([members[1], members[2]])
    assert case.feasible() is allowed


@pytest.mark.parametrize(("footprint_cm2", "allowed"), [(300.0, True), (900.0, False)])
def test_capacity_counts_the_room_of_the_kiln(footprint_cm2: float, allowed: bool) -> None:
    # Each takes 215 mm of 300 with its furniture: on one shelf, or not at all.
    loads = tuple(load(name, footprint_cm2=footprint_cm2, height_mm=200.0) for name in "AB")
    case = Alone(studio(), loads, rules.each_load_once, rules.capacity)
    case.fires(0)
    case.model.add(case.leader(0).members[1] == 1)
    assert case.feasible() is allowed


@pytest.mark.parametrize(("kiln", "allowed"), [(0, False), (1, True)])
def test_capacity_is_that_of_the_kiln_that_is_chosen(kiln: int, allowed: bool) -> None:
    loads = tuple(load(name, footprint_cm2=650.0, height_mm=200.0) for name in "AB")
    large = bench_kiln("K2", inside_mm=(500.0, 500.0, 300.0))
    case = Alone(studio(kilns=(bench_kiln(), large)), loads, rules.each_load_once, rules.capacity)
    case.fires(0, kiln)
    case.model.add(case.leader(0).members[1] == 1)
    assert case.feasible() is allowed


@pytest.mark.parametrize(
    ("load_at", "start", "unload", "allowed"),
    [(0, 6, 600, True), (0, 5, 600, False), (0, 6, 41, False)],
)
def test_load_order_wants_loading_before_and_safety_after(load_at: int, start: int, unload: int, allowed: bool) -> None:
    case = Alone(studio(), TWO, rules.load_order)
    case.fires(0, load_at=load_at, start=start, unload=unload)
    assert case.feasible() is allowed


@pytest.mark.parametrize(("unload", "allowed"), [(35, False), (36, True), (54, True), (55, False)])
def test_load_order_keeps_a_session_within_the_hold(unload: int, allowed: bool) -> None:
    """Two hours up and one of hold end at slot 36; four hours of hold less half an hour of session begin at 66 - 12."""
    case = Alone(studio(profiles=(HOT,)), (load("A", session_minutes=90.0),), rules.each_load_once, rules.load_order)
    case.fires(0, start=0 + 6, load_at=0, unload=6 + unload)
    assert case.feasible() is allowed


@pytest.mark.parametrize(("second", "allowed"), [(100, False), (2000 // 5 + 200, True)])
def test_kiln_one_at_a_time_forbids_overlap(second: int, allowed: bool) -> None:
    case = Alone(studio(), TWO, rules.load_order, rules.kiln_one_at_a_time)
    case.fires(0, load_at=0, start=6)
    case.fires(1, load_at=second, start=second + 6)
    assert case.feasible() is allowed


def _two_works(**changes: Any) -> Studio:
    """A kiln for two kinds of work, with an hour of cleaning (12 slots) from the first to the second."""
    return studio(
        kilns=(bench_kiln(work=("firing", "wax")),),
        profiles=(slow_profile(), slow_profile("melt", work="wax")),
        clean_outs=(CleanOut(after=("wax",), before=("firing",), minutes=60.0, price=7.0),),
        **changes,
    )


WAX_AND_WARE = (load("A", profile="melt"), load("B"))


@pytest.mark.parametrize(("after", "allowed"), [(11, False), (12, True)])
def test_clean_out_leaves_time_between_two_works(after: int, allowed: bool) -> None:
    case = Alone(
        _two_works(shifts=(DAYTIME,)),
        (load("A", profile="melt"), load("B")),
        rules.load_order,
        rules.kiln_one_at_a_time,
        rules.clean_out,
    )
    case.fires(0, load_at=0, start=6, unload=300, out=306, free=306)
    case.fires(1, load_at=306 + after, start=330 + after)
    assert case.feasible() is allowed


def test_clean_out_asks_for_nothing_the_other_way_round() -> None:
    case = Alone(
        _two_works(shifts=(DAYTIME,)),
        (load("A", profile="melt"), load("B")),
        rules.load_order,
        rules.kiln_one_at_a_time,
        rules.clean_out,
    )
    case.fires(1, load_at=0, start=6, unload=300, out=306, free=306)
    case.fires(0, load_at=306, start=330)
    assert case.feasible()


@pytest.mark.parametrize(("begin", "allowed"), [("08:00", False), ("07:00", True)])
def test_clean_out_takes_hands(begin: str, allowed: bool) -> None:
    """Loading at 08:00, so cleaning from 07:00; the shift begins then, or an hour later."""
    kilns = (bench_kiln(work=("firing", "wax"), last_work="wax"),)
    shift = Shift(days=("mon", "tue"), opens=begin, closes="20:00")
    place = _two_works(shifts=(shift,)).model_copy(update={"kilns": kilns})
    case = Alone(place, (load("B"),), rules.load_order, rules.kiln_one_at_a_time, rules.clean_out, rules.hands)
    case.fires(0, load_at=8 * 12)
    assert case.feasible() is allowed


@pytest.mark.parametrize(("start", "allowed"), [(100, True), (120, False), (156, True)])
def test_heating_keeps_out_of_quiet_times(start: int, allowed: bool) -> None:
    """Heating takes three hours, 36 slots; quiet is 12:00 to 13:00, slots 144 to 156."""
    place = studio(quiet=(Quiet(days=("mon",), begins="12:00", ends="13:00"),))
    case = Alone(place, (load("A"),), rules.each_load_once, rules.heating)
    case.fires(0, start=start)
    assert case.feasible() is allowed


@pytest.mark.parametrize(("start", "allowed"), [(100, False), (108, True), (168, True), (170, False)])
def test_heating_of_an_attended_kiln_lies_inside_the_shifts(start: int, allowed: bool) -> None:
    """Somebody is there from 09:00 to 17:00, slots 108 to 204."""
    place = studio(kilns=(bench_kiln(unattended=False),), shifts=(DAYTIME,))
    case = Alone(place, (load("A"),), rules.each_load_once, rules.heating)
    case.fires(0, start=start)
    assert case.feasible() is allowed


@pytest.mark.parametrize(("second", "allowed"), [(20, False), (46, True)])
def test_circuit_amps_lets_kilns_heat_one_after_the_other(second: int, allowed: bool) -> None:
    place = studio(kilns=KILNS, circuits=(Circuit(id="main", breaker_amps=32.0),))
    case = Alone(place, TWO, rules.heating, rules.circuit_amps)
    case.fires(0, 0, start=10)
    case.fires(1, 1, start=second)
    assert case.feasible() is allowed


@pytest.mark.parametrize(("second", "allowed"), [(110, False), (114, True)])
def test_hands_are_counted_at_every_moment(second: int, allowed: bool) -> None:
    one_hand = DAYTIME.model_copy(update={"hands": 1})
    case = Alone(studio(kilns=KILNS, shifts=(one_hand,)), TWO, rules.hands)
    case.fires(0, 0, load_at=108, unload=150, out=156)
    case.fires(1, 1, load_at=second, unload=156, out=162)
    assert case.feasible() is allowed


@pytest.mark.parametrize(("load_at", "allowed"), [(107, False), (108, True), (198, True), (199, False)])
def test_hands_load_only_while_somebody_is_there(load_at: int, allowed: bool) -> None:
    case = Alone(studio(shifts=(DAYTIME,)), (load("A"),), rules.each_load_once, rules.hands)
    case.fires(0, load_at=load_at)
    assert case.feasible() is allowed


@pytest.mark.parametrize(("skill", "allowed"), [("casting", True), ("enamelling", False)])
def test_hands_of_a_session_have_its_skill(skill: str, allowed: bool) -> None:
    shift = DAYTIME.model_copy(update={"skills": ("casting",)})
    profile = HOT.model_copy(update={"skill": skill})
    case = Alone(studio(profiles=(profile,), shifts=(shift,)), (load("A"),), rules.each_load_once, rules.hands)
    case.fires(0)
    assert case.feasible() is allowed


HELPED = HOT.model_copy(update={"skill": "casting", "session_people": 2})
"""A session of two, one of whom has to be able to cast."""


@pytest.mark.parametrize(
    ("casters", "helpers", "allowed"), [(1, 0, False), (0, 2, False), (1, 1, True), (2, 0, True), (0, 1, False)]
)
def test_hands_of_a_session_of_two_are_one_with_its_skill_and_anybody(
    casters: int, helpers: int, allowed: bool
) -> None:
    shifts = (
        *([DAYTIME.model_copy(update={"hands": casters, "skills": ("casting",)})] if casters else []),
        *([DAYTIME.model_copy(update={"hands": helpers})] if helpers else []),
    )
    case = Alone(studio(profiles=(HELPED,), shifts=shifts), (load("A"),), rules.each_load_once, rules.hands)
    case.fires(0)
    assert case.feasible() is allowed


@pytest.mark.parametrize(("second", "allowed"), [(144, True), (145, False), (155, False), (156, True)])
def test_hands_of_a_session_of_two_leave_nobody_to_load_another_kiln(second: int, allowed: bool) -> None:
    """Two are there; loading takes six slots, and the session lies in slots 150 to 156."""
    shift = DAYTIME.model_copy(update={"skills": ("casting",)})
    case = Alone(studio(kilns=KILNS, profiles=(HELPED,), shifts=(shift,)), TWO, rules.hands)
    case.fires(0, 0, load_at=108, unload=150, out=156)
    case.fires(1, 1, load_at=second, unload=190, out=196)
    assert case.feasible() is allowed


@pytest.mark.parametrize(("hands", "allowed"), [(3, True), (2, False)])
def test_hands_abound_only_where_every_kiln_can_have_its_session(hands: int, allowed: bool) -> None:
    """A kiln for castings of two and one for others: nothing waits for a hand where there are three."""
    kilns = (bench_kiln("K1", work=("cast",)), bench_kiln("K2"))
    profiles = (slow_profile(), HELPED.model_copy(update={"id": "cast", "work": "cast"}))
    shifts = (ALWAYS.model_copy(update={"hands": hands}),)
    assert hands_abound(problem_of(studio(kilns=kilns, profiles=profiles, shifts=shifts), TWO)) is allowed


@pytest.mark.parametrize(("load_at", "allowed"), [(119, False), (120, True)])
def test_ready_holds_for_every_member(load_at: int, allowed: bool) -> None:
    loads = (load("A"), load("B", ready=clock("10:00")))
    case = Alone(studio(), loads, rules.each_load_once, rules.ready)
    case.fires(0, load_at=load_at)
    case.model.add(case.leader(0).members[1] == 1)
    assert case.feasible() is allowed


@pytest.mark.parametrize(("later", "allowed"), [(111, False), (112, True)])
def test_after_gap_waits_for_the_earlier_stage(later: int, allowed: bool) -> None:
    loads = (load("A"), load("B", after="A", gap_minutes=60.0))
    case = Alone(studio(shifts=(DAYTIME,)), loads, rules.each_load_once, rules.after_gap)
    case.fires(0, out=100)
    case.fires(1, load_at=later)
    assert case.feasible() is allowed


def test_after_gap_leaves_the_later_stage_out_with_the_earlier() -> None:
    loads = (load("A"), load("B", after="A"))
    case = Alone(studio(), loads, rules.each_load_once, rules.after_gap)
    case.model.add(case.v.unplaced[0] == 1)
    case.fires(1)
    assert not case.feasible()


@pytest.mark.parametrize(("unload", "allowed"), [(191, False), (192, True)])
def test_session_at_is_kept_to_the_slot(unload: int, allowed: bool) -> None:
    loads = (load("A", session_at=clock("16:00")),)
    case = Alone(studio(profiles=(HOT,)), loads, rules.each_load_once, rules.session_at)
    case.fires(0, unload=unload)
    assert case.feasible() is allowed


def test_every_rule_has_a_test_of_its_own() -> None:
    tested = " ".join(name for name in globals() if name.startswith("test_"))
    names: list[Callable[..., None]] = list(rules.RULES)
    assert [rule.__name__ for rule in names if f"test_{rule.__name__}" not in tested] == []
