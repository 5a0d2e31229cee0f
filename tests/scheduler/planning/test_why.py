"""Reasons on forty planted cases: the rule named is the planted one, and the change named mends it when applied."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from scheduler.audit import prove
from scheduler.planning.door import Settings, plan
from scheduler.planning.mending import unusual
from scheduler.planning.why import Explanation, explain_load
from shared.errors import RequestError
from shared.loads import Load
from shared.plans import Plan
from shared.studio import Outage
from tests.scheduler.planning.plain_studio import BEGIN, clock, load
from tests.scheduler.planning.planted import Planted, full, place, planted

WORK = Settings(work_limit=30)
CASES = planted()


def planned(case: Planted) -> Plan:
    made = plan(case.studio, case.loads, now=BEGIN, begin=BEGIN, settings=WORK)
    prove(case.studio, case.loads, made)
    return made


def out_in_time(made: Plan, name: str) -> bool:
    return name not in {row.load for row in (*made.late, *made.unplaced)}


def explained(case: Planted) -> Explanation:
    made = planned(case)
    assert not out_in_time(made, case.late), "nothing is planted: the load is out in time"
    return explain_load(case.studio, case.loads, made, case.late, settings=WORK)


def test_forty_cases_are_planted_five_of_each_kind() -> None:
    assert len(CASES) == 40
    assert set(Counter(case.rule for case in CASES).values()) == {5}


@pytest.mark.parametrize("case", CASES, ids=[f"{case.rule}-{n % 5}" for n, case in enumerate(CASES)])
def test_the_rule_named_is_the_planted_one_and_the_change_named_mends_it(case: Planted) -> None:
    """The change is applied, and the studio planned afresh without the plan in which the change was found."""
    found = explained(case)
    assert found.rule == case.rule
    assert found.mends
    mend = found.mends[0]
    changed = plan(mend.change.studio, mend.change.loads, now=BEGIN, begin=BEGIN, settings=WORK)
    prove(mend.change.studio, mend.change.loads, changed)
    assert out_in_time(changed, case.late)


@pytest.mark.parametrize("case", CASES[10:15], ids=[f"circuit-{n}" for n in range(5)])
def test_the_breaker_named_is_the_least_that_will_do(case: Planted) -> None:
    """Two kilns of 20 A ask for a breaker of 40 A / 0.8 = 50 A."""
    mend = explained(case).mends[0]
    assert (mend.change.kind, mend.change.who, mend.change.amount) == ("circuit", "main", 50.0)


def test_the_earliest_promise_is_the_one_that_the_model_can_keep() -> None:
    case = Planted("computed_times", place(), (load("L", promised=clock("08:00")),), "L")
    (mend,) = explained(case).mends
    assert mend.change.kind == "promise"
    assert mend.change.begins == mend.out_at
    sooner = load("L", promised=mend.out_at - 5)
    assert not out_in_time(planned(Planted("", case.studio, (sooner,), "L")), "L")


def test_a_kiln_out_of_order_is_named() -> None:
    outage = Outage(kiln="K1", begins=BEGIN, ends=clock("12:00"))
    found = explained(Planted("outages", place(outages=(outage,)), (load("L", promised=clock("14:00")),), "L"))
    assert found.rule == "outages"
    assert (found.mends[0].change.kind, found.mends[0].change.who) == ("outage", "K1")


def test_a_load_that_is_ready_too_late_is_told_when_it_would_have_to_be() -> None:
    late = load("L", ready=clock("09:00"), promised=clock("14:00"))
    found = explained(Planted("ready", place(), (late,), "L"))
    assert found.rule == "ready"
    assert found.mends[0].change.kind == "ready"
    assert found.mends[0].change.begins == clock("03:30")


def test_a_full_kiln_is_mended_by_one_more_like_it() -> None:
    loads = (full("A", promised=clock("11:00"), priority=9), full("L", promised=clock("11:00")))
    found = explained(Planted("kiln_one_at_a_time", place(), loads, "L"))
    assert found.rule == "kiln_one_at_a_time"
    assert [mend.change.kind for mend in found.mends] == ["new_kiln", "promise"]


def test_lateness_that_is_cheaper_than_a_firing_is_told_as_such() -> None:
    """Late by some hours at a cent, against a second firing at a hundred."""
    cheap = place().model_copy(update={"prices": place().prices.model_copy(update={"firing": 100.0})})
    loads = (load("L", promised=clock("11:00")), load("M", ready=clock("01:00")))
    priced = cheap.model_copy(update={"prices": cheap.prices.model_copy(update={"late_hour": 0.01})})
    kilns = (*priced.kilns, priced.kilns[0].model_copy(update={"id": "K2"}))
    found = explained(Planted("costs", priced.model_copy(update={"kilns": kilns}), loads, "L"))
    assert found.rule == "costs"


def test_a_load_that_no_kiln_can_take_says_so_and_nothing_is_solved() -> None:
    found = explained(Planted("capacity", place(), (load("L", height_mm=400.0),), "L"))
    assert (found.rule, found.mends, found.tried) == ("capacity", (), 0)


def test_a_load_that_is_out_in_time_is_not_asked_about() -> None:
    case = Planted("", place(), (load("L"),), "L")
    with pytest.raises(RequestError, match="breaks no promise"):
        explain_load(case.studio, case.loads, planned(case), "L", settings=WORK)
    with pytest.raises(RequestError, match="no load Z waits"):
        explain_load(case.studio, case.loads, planned(case), "Z", settings=WORK)


def test_hands_on_a_day_off_are_offered_at_a_time_at_which_people_are_there_on_others() -> None:
    """Two days of 24 slots, staffed from slot 8 to 16 of the first: midnight of the second comes last."""
    staffed = np.zeros(48, dtype=np.int32)
    staffed[8:16] = 1
    within, beside = unusual(staffed, 9, 10, 24), unusual(staffed, 16, 17, 24)
    noon, midnight = unusual(staffed, 36, 37, 24), unusual(staffed, 24, 25, 24)
    assert within < beside < noon < midnight


def staged(promised: str, *others: Load) -> Planted:
    """L waits for S, which is fired in the other kiln first; both take hours."""
    loads = (load("S", profile="else"), full("L", after="S", promised=clock(promised)), *others)
    return Planted("after_gap", place(), loads, "L")


def test_an_earlier_stage_that_is_out_too_late_for_any_studio_is_named() -> None:
    found = explained(staged("12:00"))
    assert found.rule == "after_gap"
    assert [mend.change.kind for mend in found.mends] == ["promise"]


def test_an_earlier_stage_that_is_out_long_before_is_not_called_too_late() -> None:
    """S is out in the morning, L would be out by 24:00 after it, had the kiln not been taken for A from noon on.

    Without its earlier stage L would be in time too: it would be fired before noon, while S is not out yet.
    """
    case = staged("23:59", full("A", ready=clock("12:00"), promised=clock("23:00"), priority=9))
    made = planned(case)
    stage = next(firing for firing in made.firings if "S" in firing.loads)
    assert stage.out_at + 11 * 60 < clock("23:59")
    alone = staged("23:59")
    assert out_in_time(planned(Planted("", alone.studio, alone.loads, "L")), "L")
    free = Planted("", case.studio, tuple(one.model_copy(update={"after": None}) for one in case.loads), "L")
    assert out_in_time(planned(free), "L")
    found = explained(case)
    assert found.rule == "kiln_one_at_a_time"
    assert "after_gap" not in found.binding


def test_the_plans_own_list_names_the_earlier_stage_only_where_it_binds() -> None:
    """Of 11:00 L would be late even by itself; of 12:00 only since S has to be out first."""
    for promised, words in (("08:00", "even in an empty studio"), ("12:00", "load S is its earlier stage")):
        made = planned(staged(promised))
        why = next(row.why for row in made.late if row.load == "L")
        assert words in why
        assert ("earlier stage" in why) is (promised == "12:00")
