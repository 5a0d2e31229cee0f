"""A day of a plan: what is shown on it, who does it, what the circuits carry."""

from __future__ import annotations

from datetime import date

import pytest

from api.day import Day, circuit_loads
from scheduler.audit import AuditedPlan
from shared.clock import wall_minute


def test_a_firing_is_shown_on_every_day_that_it_touches(audited: AuditedPlan) -> None:
    def shown(day: str) -> dict[str, list[str]]:
        view = Day(audited, date.fromisoformat(day))
        return {kiln.kiln.id: [f.firing.id for f in kiln.firings] for kiln in view.kilns if kiln.firings}

    assert shown("2026-11-29") == {}
    assert shown("2026-11-30") == {"K1": ["F1"], "K2": ["F2"], "K3": ["F3"]}
    assert shown("2026-12-01") == {"K1": ["F1"], "K2": ["F2"], "K3": ["F3"]}
    assert shown("2026-12-02") == {"K1": ["F1"]}  # only unloaded
    assert shown("2026-12-03") == {}


def test_tasks_stand_in_order_of_time_with_those_who_do_them(monday: Day) -> None:
    tasks = [(task.kind, task.firing.firing.id) for task in monday.tasks]
    assert tasks[:4] == [("load", "F1"), ("load", "F2"), ("start", "F1"), ("start", "F2")]
    assert [task.at for task in monday.tasks] == sorted(task.at for task in monday.tasks)
    load = monday.tasks[0]
    assert [duty.shift.who for duty in load.people] == ["Ana and Rui"]


def test_a_task_that_lasts_into_the_next_shift_names_both(audited: AuditedPlan, monday: Day) -> None:
    """From 17:50 to 18:20: Ana and Rui go home at 18:00, and whoever comes then is the one left with the open kiln."""
    firing = audited.firings_of("K1")[0]
    six = wall_minute(date(2026, 12, 2), 18 * 60, audited.studio.place.zone)
    late = firing.model_copy(update={"unload_at": six - 10, "unload_minutes": 30})
    assert [duty.begin for duty in monday.shown(late).unloaded_by] == [six - 9 * 60, six]
    before = firing.model_copy(update={"unload_at": six - 30, "unload_minutes": 30})
    assert [duty.begin for duty in monday.shown(before).unloaded_by] == [six - 9 * 60]


def test_heating_while_nobody_is_there_is_found(monday: Day) -> None:
    """F3 starts at 22:00, when the evening shift ends, and heats until the session of the next day."""
    burnout = next(kiln.firings[0] for kiln in monday.kilns if kiln.kiln.id == "K3")
    (alone,) = burnout.heats_alone
    assert (alone.begin - burnout.firing.start_at, alone.end - alone.begin) == (0, 11 * 60)
    fusing = next(kiln.firings[0] for kiln in monday.kilns if kiln.kiln.id == "K2")
    assert fusing.heats_alone == ()


def test_the_day_s_highest_currents_are_those_of_a_walk_through_every_minute(audited: AuditedPlan, monday: Day) -> None:
    studio = audited.studio
    for load in monday.circuits:
        for leg in load.legs:
            highest = 0.0
            for minute in range(monday.begin, monday.end):
                amps = 0.0
                for firing in audited.plan.firings:
                    kiln = studio.kiln_by_id[firing.kiln]
                    above = [feeder.id for feeder in studio.feeders(kiln.circuit)]
                    on = firing.start_at <= minute < firing.hot_until
                    if on and load.circuit.id in above and leg.leg in studio.legs_of(kiln):
                        amps += firing.amps
                highest = max(highest, amps)
            assert leg.amps == pytest.approx(highest)


def test_the_whole_plan_s_currents_are_the_audit_s(audited: AuditedPlan, monday: Day) -> None:
    last = max(firing.hot_until for firing in audited.plan.firings)
    walked = circuit_loads(audited.studio, audited.plan.firings, audited.plan.begin, last)
    assert [[leg.amps for leg in load.legs] for load in walked] == [
        [leg.amps for leg in load.legs] for load in monday.circuits_in_plan
    ]


def test_a_load_larger_than_a_shelf_fills_one_and_shares_the_rest(monday: Day) -> None:
    """B2 is 40 pieces of 150 cm² on shelves of 3136 cm²: 20 fill a shelf, 20 are left for the next."""
    bisque = next(kiln.firings[0] for kiln in monday.kilns if kiln.kiln.id == "K1")
    areas = [[(part.load.id, round(part.area_cm2)) for part in layer.on_it] for layer in bisque.layers]
    assert areas == [[("B2", 3000)], [("B2", 3000)], [("B1", 2380)]]


def test_the_expected_temperature_is_read_between_the_steps(monday: Day) -> None:
    bisque = next(kiln.firings[0] for kiln in monday.kilns if kiln.kiln.id == "K1")
    first = bisque.segments[0]
    assert bisque.temperature_at(first.reached_at) == pytest.approx(first.to_c, abs=2)
    assert bisque.temperature_at(bisque.firing.start_at - 60) == pytest.approx(18, abs=0.5)
    assert bisque.temperature_at(bisque.firing.start_at + 10**6) == pytest.approx(
        float(bisque.course.temperature_c[-1])
    )
