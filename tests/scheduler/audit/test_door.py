"""Proving a plan: who may make an audited plan, what it tells, what becomes of plans that make no sense."""

from __future__ import annotations

import pickle
import time
from dataclasses import FrozenInstanceError, replace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from scheduler.audit import RULES, AuditedPlan, BrokenPlanError, breaches, explain, prove
from scheduler.audit.form import REASONS
from shared.errors import AuditError
from shared.plans import Plan
from shared.studio import Circuit, Shift

Bench = Any  # the class lives in conftest.py, which is no module to import from


def test_only_prove_makes_an_audited_plan(bench: Bench) -> None:
    audited = prove(bench.studio, bench.loads, bench.plan())
    given = {name: getattr(audited, name) for name in ("plan", "studio", "loads", "courses", "peaks")}
    with pytest.raises(TypeError, match="prove"):
        AuditedPlan(**given, seal=None)
    with pytest.raises(TypeError):
        AuditedPlan(**given)  # type: ignore[call-arg]
    with pytest.raises((TypeError, ValueError)):
        replace(audited, plan=bench.plan())
    with pytest.raises(FrozenInstanceError):
        audited.plan = bench.plan()  # type: ignore[misc]


def test_an_audited_plan_carries_courses_loads_and_peaks_and_travels_between_processes(bench: Bench) -> None:
    audited = pickle.loads(pickle.dumps(prove(bench.studio, bench.loads, bench.plan())))
    assert set(audited.courses) == {draft.id for draft in bench.drafts}
    assert set(audited.loads) == {load.id for load in bench.loads}
    assert [firing.id for firing in audited.firings_of("E1")] == ["F4", "F5", "F9"]
    # On Thursday K1 glazes and A1 bisques, 24 A each on all three legs of the main circuit; else one kiln at a time.
    main = audited.peaks["main", "C"]
    assert (main.amps, main.usable_amps, main.at, main.firing_ids) == (48.0, 64.0, bench.at(3, "09:40"), ("F6", "F7"))
    assert audited.peaks["back", "B"].amps == 24.0
    assert audited.peaks["front", "A"].amps == 14.0
    assert audited.peaks["front", "B"].amps == 10.0
    assert ("front", "C") not in audited.peaks


def test_a_circuit_without_kilns_has_a_peak_of_nothing(bench: Bench) -> None:
    spare = Circuit(id="spare", breaker_amps=16)
    bench = bench.with_studio(circuits=(*bench.studio.circuits, spare))
    peak = prove(bench.studio, bench.loads, bench.plan()).peaks["spare", "A"]
    assert (peak.amps, peak.at, peak.firing_ids) == (0.0, None, ())


def test_a_refused_plan_tells_rule_firing_and_local_time(bench: Bench) -> None:
    plan = bench.change("F2", unload_at=bench.at(2, "08:45")).plan()
    with pytest.raises(AuditError) as refused:
        prove(bench.studio, bench.loads, plan)
    assert isinstance(refused.value, BrokenPlanError)
    [breach] = refused.value.breaches
    assert (breach.rule, breach.firing_id, breach.at) == ("hands", "F2", bench.at(2, "08:45"))
    line = explain(breach, bench.studio)
    assert line.startswith("hands: firing F2, Wed 2 Dec 08:45: the unloading of kiln K2")
    assert line in str(refused.value)


def test_local_times_are_the_studio_s_own(bench: Bench) -> None:
    place = bench.studio.place.model_copy(update={"timezone": "America/New_York"})
    [breach, *_] = bench.change("F1", start_at=bench.at(0, "09:35")).audit()
    assert "Mon 30 Nov 04:35" in explain(breach, bench.studio.model_copy(update={"place": place}))


def test_the_reasons_for_unplaced_loads_are_the_rules_and_time() -> None:
    names = {rule.__name__ for rule in RULES}
    assert names - REASONS == {"well_formed", "on_grid"}  # a load is never unplaced for the plan's own form
    assert REASONS - names == {"time"}


@pytest.mark.parametrize("unit", ["C", "F"])
def test_a_plan_read_back_from_its_file_is_still_proved(bench: Bench, unit: str) -> None:
    context = {"temperature": unit, "zone": bench.studio.place.zone}
    text = bench.plan().model_dump_json(by_alias=True, context=context)
    plan = Plan.model_validate_json(text, by_alias=True, by_name=False, context=context)
    assert bench.audit(plan) == []


def test_rounded_amounts_in_a_file_are_no_breach(bench: Bench) -> None:
    plan = bench.plan()
    firings = tuple(
        f.model_copy(
            update={
                "kwh": round(f.kwh, 1),
                "energy_cost": round(f.energy_cost, 2),
                "share_used": round(f.share_used, 2),
            }
        )
        for f in plan.firings
    )
    parts = plan.cost_parts.model_copy(update={"energy": sum(firing.energy_cost for firing in firings)})
    proof = plan.proof.model_copy(update={"cost": round(parts.total, 2)})
    assert bench.audit(plan.model_copy(update={"firings": firings, "cost_parts": parts, "proof": proof})) == []


# Plans that make no sense


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"kiln": "K99"}, "well_formed"),
        ({"profile": "raku"}, "well_formed"),
        ({"id": " "}, "well_formed"),
        ({"load_at": 10**15}, "well_formed"),
        ({"unload_at": -(10**15)}, "well_formed"),
        ({"unload_minutes": 10**12}, "well_formed"),
        ({"size_row": 7}, "size_row"),
        ({"size_row": -1}, "size_row"),
        ({"segments": ()}, "size_row"),
        ({"layers": ()}, "capacity"),
        ({"layers": (("P1",), ("P2", "R1", "W1"))}, "capacity"),
        ({"layers": (("P1",), ("P2",))}, "capacity"),
        ({"layers": (("P1", "P1"), ("P2", "R1"))}, "capacity"),
        ({"loads": ("P1", "P1", "P2", "R1")}, "each_load_once"),
        ({"loads": ("P1", "P2", "R1", "nobody")}, "each_load_once"),
    ],
    ids=lambda value: str(value)[:40],
)
def test_a_plan_that_names_what_is_not_there_is_a_breach_and_no_crash(
    bench: Bench, changes: dict[str, Any], rule: str
) -> None:
    found = bench.audit(bench.damaged("F1", **changes))
    assert rule in {breach.rule for breach in found}
    assert all(explain(breach, bench.studio) for breach in found)


def test_times_out_of_order_are_a_breach_and_no_crash(bench: Bench) -> None:
    at = bench.at
    plan = bench.damaged("F3", load_at=at(3), start_at=at(2), hot_until=at(1), safe_at=at(6), free_at=at(0))
    assert {"load_order", "computed_times"} <= {breach.rule for breach in bench.audit(plan)}


def test_an_endless_hold_is_a_breach_and_is_not_simulated(bench: Bench) -> None:
    segments = bench.firing(bench.draft("F1")).segments
    endless = segments[-1].model_copy(update={"hold_minutes": 1e9})
    found = bench.audit(bench.damaged("F1", segments=(*segments[:-1], endless)))
    assert "well_formed" in {breach.rule for breach in found}


@pytest.mark.parametrize(
    "changes",
    [{"begin": 10**14}, {"begin": -(10**14)}, {"end": 0}, {"end": 10**14}, {"studio": ""}, {"firings": ()}],
    ids=str,
)
def test_a_plan_with_a_wild_frame_is_a_breach_and_no_crash(bench: Bench, changes: dict[str, Any]) -> None:
    found = bench.audit(bench.plan(**changes))
    assert found
    assert all(explain(breach, bench.studio) for breach in found)


def test_a_plan_that_begins_off_the_grid_is_refused(bench: Bench) -> None:
    found = bench.audit(bench.plan(begin=bench.at(0) - 3))
    assert {breach.rule for breach in found} == {"on_grid"}
    assert None in {breach.firing_id for breach in found}


def test_two_waiting_loads_with_one_id_are_told(bench: Bench) -> None:
    found = breaches(bench.studio, (*bench.loads, bench.loads[0]), bench.plan())
    assert [(breach.rule, breach.load_id) for breach in found] == [("well_formed", "P1")]


def test_a_profile_beyond_the_kiln_s_power_is_a_breach(bench: Bench) -> None:
    kilns = tuple(k.model_copy(update={"kilowatts": 4.0}) if k.id == "A1" else k for k in bench.studio.kilns)
    found = bench.with_studio(kilns=kilns).audit(bench.plan())
    assert {(breach.rule, breach.firing_id) for breach in found} == {("computed_times", "F6")}
    assert "does not reach" in found[0].text


_wild_minutes = st.one_of(st.integers(-(10**18), 10**18), st.integers(29_930_000, 29_950_000))
_ids = st.sampled_from(["K1", "B1", "E1", "zz", "", "burnout", "glaze", "enamel", "P1", "X1", "F1", "F2"])
_changes = st.fixed_dictionaries(
    {},
    optional={
        "id": _ids,
        "kiln": _ids,
        "profile": _ids,
        "size_row": st.one_of(st.none(), st.integers(-3, 3)),
        "loads": st.lists(_ids, min_size=1, max_size=4).map(tuple),
        "layers": st.lists(st.lists(_ids, max_size=3).map(tuple), max_size=3).map(tuple),
        "segments": st.just(()),
        "unload_minutes": st.integers(0, 10**9),
        "amps": st.floats(0, 1e9),
        "kwh": st.floats(0, 1e9),
        **dict.fromkeys(
            ("load_at", "start_at", "target_at", "hot_until", "safe_at", "unload_at", "free_at"), _wild_minutes
        ),
    },
)


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(firing_id=st.sampled_from(["F1", "F3", "F4", "F6"]), changes=_changes)
def test_no_damage_to_a_firing_makes_the_audit_crash(bench: Bench, firing_id: str, changes: dict[str, Any]) -> None:
    plan = bench.damaged(firing_id, **changes)
    original = next(firing for firing in bench.plan().firings if firing.id == firing_id)
    found = bench.audit(plan)
    assert all(explain(breach, bench.studio) for breach in found)
    # A new name is no damage, as long as no other firing has it.
    assert found or all(getattr(original, name) == value for name, value in changes.items() if name != "id")


# Plans that replace another


def test_what_has_begun_before_the_plan_is_not_judged(bench: Bench) -> None:
    """The same week, planned anew on Tuesday at noon, while F1 and F2 cool and F3 has just begun."""
    plan = bench.plan(begin=bench.at(1, "12:00"))
    assert {breach.firing_id for breach in bench.audit(plan)} == {"F1", "F2", "F3"}
    assert {breach.rule for breach in bench.audit(plan)} == {"within_plan"}
    assert bench.audit(plan, under_way=frozenset({"F1", "F2", "F3"})) == []


def test_history_may_lie_outside_shifts_and_rules_of_the_hour(bench: Bench) -> None:
    """F3 was in fact loaded early, before the shift, off the grid, and started in the quiet time."""
    early = bench.change("F3", load_at=bench.at(1, "08:02"), start_at=bench.at(1, "10:51"))
    plan = early.plan(begin=bench.at(1, "12:00"))
    assert {b.rule for b in early.audit(early.plan())} == {"hands", "on_grid", "quiet"}
    assert early.audit(plan, under_way=frozenset({"F1", "F2", "F3"})) == []


def test_what_is_still_to_come_of_a_firing_under_way_is_judged(bench: Bench) -> None:
    late = bench.change("F3", unload_at=bench.at(1, "17:15"), start_at=bench.at(1, "11:00"))
    plan = late.plan(begin=bench.at(1, "12:00"))
    found = late.audit(plan, under_way=frozenset({"F1", "F2", "F3"}))
    assert {(breach.rule, breach.firing_id) for breach in found} == {("skills", "F3")}


def test_a_firing_under_way_that_the_plan_forgot_is_told(bench: Bench) -> None:
    found = bench.audit(under_way=frozenset({"F99"}))
    assert [(breach.rule, breach.firing_id) for breach in found] == [("well_formed", "F99")]


def test_only_a_plan_that_replaces_another_counts_changes(bench: Bench) -> None:
    plan = bench.plan()
    parts = plan.cost_parts.model_copy(update={"changes": 4.0})
    plan = plan.model_copy(update={"cost_parts": parts, "proof": plan.proof.model_copy(update={"cost": parts.total})})
    assert bench.audit(plan, replanned=True) == []
    assert {breach.rule for breach in bench.audit(plan)} == {"costs"}


# Speed


def test_a_plan_of_250_loads_is_audited_in_well_under_half_a_second(bench: Bench) -> None:
    """15 kilns, 60 firings, 250 loads; the simulation is in memory already, as it is after planning."""
    model, week = bench.studio.kiln_by_id["K1"], ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
    kilns = tuple(model.model_copy(update={"id": f"K{number}", "circuit": "hall"}) for number in range(15))
    crowd = replace(
        bench.with_studio(
            kilns=kilns,
            circuits=(Circuit(id="hall", breaker_amps=1000, legs=3),),
            outages=(),
            closed=(),
            quiet=(),
            shifts=(Shift(days=week, opens="08:00", closes="20:00", hands=9),),
        ),
        loads=tuple(
            bench.load("P2").model_copy(update={"id": f"L{n}", "footprint_cm2": 600.0, "mass_kg": 2.0 + n % 7})
            for n in range(250)
        ),
        drafts=(),
        unplaced=(),
    )
    drafts = []
    draft_class = type(bench.drafts[0])
    for place in range(60):
        kiln, turn = place % 15, place // 15
        loads = [f"L{n}" for n in range(place, 250, 60)]
        hour, minute = divmod(8 * 60 + 45 * (kiln // 3) + 5 * kiln, 60)
        begin = crowd.at(2 * turn, f"{hour:02d}:{minute:02d}")
        layers = (tuple(loads[:2]), tuple(loads[2:]))
        drafts.append(draft_class(f"F{place}", f"K{kiln}", "bisque", layers, begin, begin + 40, begin + 30 * 60))
    crowd = crowd.add(*drafts)
    plan = crowd.plan()
    assert crowd.audit(plan) == []
    began = time.process_time()
    prove(crowd.studio, crowd.loads, plan)
    assert time.process_time() - began < 0.4
