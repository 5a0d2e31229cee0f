"""Where nothing waits for a hand, a leader's times follow from its start: that must not change what is cheapest."""

from __future__ import annotations

from typing import Any

import pytest
from ortools.sat.python import cp_model

from scheduler.planning.model import rules, variables
from scheduler.planning.model.solve import Limits, solve
from scheduler.planning.model.variables import Part, decide
from shared.studio import CleanOut, Outage, Prices, Studio
from tests.scheduler.planning.plain_studio import DAYTIME, bench_kiln, clock, load, slow_profile, studio, timetable_of

LOADS = (
    load("A", promised=clock("14:00")),
    load("B", profile="melt", promised=clock("20:00")),
    load("C", ready=clock("06:00"), promised=clock("18:00")),
    load("D", profile="melt", footprint_cm2=900.0, promised=clock("12:00", day=1)),
    load("E", ready=clock("03:00"), promised=clock("15:00"), priority=2),
)


def _place(*, with_clean_outs: bool = True, **changes: Any) -> Studio:
    return studio(
        kilns=(bench_kiln(work=("firing", "wax")),),
        profiles=(slow_profile(), slow_profile("melt", work="wax")),
        clean_outs=(CleanOut(after=("wax",), before=("firing",), minutes=60.0, price=7.0),) if with_clean_outs else (),
        prices=Prices(late_load=40.0, late_hour=1.5),
        **changes,
    )


OUT = (
    Outage(kiln="K1", begins=clock("09:00"), ends=clock("11:00")),
    Outage(kiln="K1", begins=clock("08:00", day=1), ends=clock("08:00", day=1) + 5),
)


def _cheapest(place: Studio, *, probes: bool = False) -> float:
    answer = solve(Part(timetable_of(place, LOADS), tuple(range(len(LOADS)))), Limits(60.0, workers=2, probes=probes))
    assert answer is not None
    assert answer.optimal
    return answer.cost


@pytest.mark.parametrize("out", [(), OUT])
@pytest.mark.parametrize("with_clean_outs", [True, False])
def test_the_cheapest_plan_costs_the_same_with_tied_and_with_free_times(
    monkeypatch: pytest.MonkeyPatch, with_clean_outs: bool, out: tuple[Outage, ...]
) -> None:
    place = _place(with_clean_outs=with_clean_outs, outages=out)
    costs = []
    for abound in (True, False):
        for module in (variables, rules):
            monkeypatch.setattr(module, "hands_abound", lambda _, answer=abound: answer)
        costs.append(_cheapest(place))
    assert costs[0] == pytest.approx(costs[1], abs=1e-6)


def test_an_outage_makes_the_cheapest_plan_dearer() -> None:
    assert _cheapest(_place(outages=OUT)) > _cheapest(_place()) + 1.0


@pytest.mark.parametrize("with_clean_outs", [True, False])
def test_it_costs_the_same_whether_the_place_between_bookings_is_a_decision(
    monkeypatch: pytest.MonkeyPatch, with_clean_outs: bool
) -> None:
    place = _place(with_clean_outs=with_clean_outs, outages=OUT)
    decided = _cheapest(place)
    monkeypatch.setattr(rules, "MOST_BOOKED", -1)
    assert _cheapest(place) == pytest.approx(decided, abs=1e-6)


def test_it_costs_the_same_with_single_decisions_tried_out_first() -> None:
    assert _cheapest(_place(outages=OUT), probes=True) == pytest.approx(_cheapest(_place(outages=OUT)), abs=1e-6)


def test_times_are_tied_only_where_there_is_a_hand_for_every_kiln_at_every_moment() -> None:
    for place, tied in ((_place(), True), (_place(shifts=(DAYTIME,)), False)):
        part = Part(timetable_of(place, LOADS), tuple(range(len(LOADS))))
        decided = decide(cp_model.CpModel(), part)
        assert decided.leaders
        assert any(leader.tied for leader in decided.leaders) is tied
