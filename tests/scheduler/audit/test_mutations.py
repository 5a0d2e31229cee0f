"""A valid plan damaged in one rule alone is refused for that rule alone, and the firing is named."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import pytest

from scheduler.audit import RULES, AuditedPlan, BrokenPlanError, prove
from shared.plans import Plan

Bench = Any  # the class lives in conftest.py, which is no module to import from


@dataclass(frozen=True)
class Mutation:
    """A damage to the valid plan: what it breaks, in which firing, for which load."""

    name: str
    rule: str
    firing: str | None
    damage: Callable[[Bench], Plan]
    load: str | None = None


def _moved(firing_id: str, **places: Any) -> Callable[[Bench], Plan]:
    """A firing whose choices change; ``(day, clock)`` pairs are times. All that follows is worked out anew."""

    def damage(bench: Bench) -> Plan:
        return bench.change(
            firing_id, **{key: bench.at(*value) if key.endswith("_at") else value for key, value in places.items()}
        ).plan()

    return damage


def _off(firing_id: str, field: str, by: float) -> Callable[[Bench], Plan]:
    """A firing with one of its computed values off, nothing else touched."""

    def damage(bench: Bench) -> Plan:
        value = getattr(bench.firing(bench.draft(firing_id)), field)
        return bench.damaged(firing_id, **{field: value + by})

    return damage


def _segment_off(field: str, by: int) -> Callable[[Bench], Plan]:
    def damage(bench: Bench) -> Plan:
        first, *others = bench.firing(bench.draft("F1")).segments
        first = first.model_copy(update={field: getattr(first, field) + by})
        return bench.damaged("F1", segments=(first, *others))

    return damage


def _proof(**changes: Any) -> Callable[[Bench], Plan]:
    def damage(bench: Bench) -> Plan:
        plan = bench.plan()
        values = {key: change(plan.proof) if callable(change) else change for key, change in changes.items()}
        return plan.model_copy(update={"proof": plan.proof.model_copy(update=values)})

    return damage


def _part(**by: float) -> Callable[[Bench], Plan]:
    """One part of the cost wrong, the total with it."""

    def damage(bench: Bench) -> Plan:
        plan = bench.plan()
        parts = plan.cost_parts.model_copy(
            update={name: getattr(plan.cost_parts, name) + amount for name, amount in by.items()}
        )
        proof = plan.proof.model_copy(update={"cost": parts.total})
        return plan.model_copy(update={"cost_parts": parts, "proof": proof})

    return damage


def _late(change: Callable[[tuple[Any, ...]], tuple[Any, ...]]) -> Callable[[Bench], Plan]:
    def damage(bench: Bench) -> Plan:
        plan = bench.plan()
        return plan.model_copy(update={"late": change(plan.late)})

    return damage


def _renamed(bench: Bench) -> Plan:
    return bench.change("F8", id="F7").plan()


def _unplaced(*load_ids: str) -> Callable[[Bench], Plan]:
    return lambda bench: replace(bench, unplaced=load_ids).plan()


def _odd_reason(bench: Bench) -> Plan:
    plan = bench.plan()
    return plan.model_copy(update={"unplaced": (plan.unplaced[0].model_copy(update={"rule": "weather"}),)})


def _swapped_between_firings(bench: Bench) -> Plan:
    return bench.change("F2", layers=(("G4",),)).change("F7", layers=(("G1", "G2", "G3"),)).plan()


def _glaze_in_a_bisque_firing(bench: Bench) -> Plan:
    return bench.change("F7", layers=(("G1",),)).change("F1", layers=(("P1",), ("P2", "R1"), ("G2",))).plan()


def _other_on_two_of_three(bench: Bench) -> Plan:
    return (
        bench.change("F1", layers=(("P1",), ("R1",))).change("F6", layers=(("P3", "P2"), ("P3",), ("P3", "P4"))).plan()
    )


def _two_hosts(bench: Bench) -> Plan:
    return bench.change("F6", layers=(("P3",), ("P3",), ("P3", "P4"), ("P2",))).plan()


def _shared_alone(bench: Bench) -> Plan:
    return bench.change("F7", layers=(("G1",),)).change("F8", layers=(("N1", "G2"),)).plan()


def _earlier_stage_dropped(bench: Bench) -> Plan:
    """P1 finds no place, though its later stage G1 has one."""
    changed = bench.change("F1", layers=(("P2", "R1"),))
    return replace(changed, unplaced=("W1", "P1")).plan()


def _uncalled_for(bench: Bench) -> Plan:
    """Bisque before glaze needs none; there is time for it, and a hand."""
    later = bench.change("F7", load_at=bench.at(3, "10:00"), start_at=bench.at(3, "10:40"))
    return later.damaged("F7", clean_out_minutes=25)


def _cleaned_while_full(bench: Bench) -> Plan:
    """F2 comes out just before F8 goes in."""
    return bench.change("F2", unload_at=bench.at(4, "09:30")).plan()


MUTATIONS = (
    Mutation("two firings with one id", "well_formed", "F7", _renamed),
    Mutation("another studio's plan", "well_formed", None, lambda b: b.plan(studio="Elsewhere")),
    Mutation("a reason that is no rule", "well_formed", None, _odd_reason, load="W1"),
    Mutation("a load in two firings", "each_load_once", "F6", _two_hosts, load="P2"),
    Mutation("a load in a firing and unplaced", "each_load_once", "F2", _unplaced("W1", "G3"), load="G3"),
    Mutation("a load forgotten", "each_load_once", None, _unplaced(), load="W1"),
    Mutation("a load nobody brought", "each_load_once", None, lambda b: _with_stranger(b), load="Z9"),
    Mutation("burnout in a kiln for metal", "work_fits_kiln", "F3", _moved("F3", kiln="M1")),
    Mutation("a glaze load in a bisque firing", "profile_shared", "F1", _glaze_in_a_bisque_firing, load="G2"),
    Mutation("a row for larger flasks", "size_row", "F3", _moved("F3", row=1)),
    Mutation("a hold longer than the profile's", "size_row", "F1", _moved("F1", hold_minutes=25.0)),
    Mutation("a hold beyond hold_up_to", "size_row", "F3", _moved("F3", start_at=(1, "11:00"), unload_at=(1, "21:00"))),
    Mutation("a session long after an inelastic hold", "size_row", "F9", _moved("F9", unload_at=(7, "11:00"))),
    Mutation("above the kiln's limit", "max_temperature", "F1", _moved("F1", kiln="K3")),
    Mutation("two families in one glaze", "shares_firing", "F7", _swapped_between_firings),
    Mutation("company for a load that fires alone", "shares_firing", "F8", _shared_alone, load="N1"),
    Mutation("all on one shelf", "capacity", "F1", _moved("F1", layers=(("P1", "P2", "R1"),))),
    Mutation("a wide load on too few shelves", "capacity", "F6", _moved("F6", layers=(("P3",), ("P3", "P4"))), "P3"),
    Mutation(
        "a wide load with another between its shelves",
        "capacity",
        "F6",
        _moved("F6", layers=(("P3",), ("P4",), ("P3",), ("P3",))),
        "P3",
    ),
    Mutation(
        "a wide load that shares two shelves",
        "capacity",
        "F6",
        _other_on_two_of_three,
        "P3",
    ),
    Mutation("an empty shelf", "capacity", "F2", _moved("F2", layers=(("G3", "G4"), ()))),
    Mutation("loaded before it is free", "kiln_one_at_a_time", "F8", _moved("F2", unload_at=(4, "10:00"))),
    Mutation("no clean-out", "clean_out", "F8", _off("F8", "clean_out_minutes", -25)),
    Mutation("a clean-out too short by a grid step", "clean_out", "F8", _off("F8", "clean_out_minutes", -5)),
    Mutation("a clean-out too long by a grid step", "clean_out", "F8", _off("F8", "clean_out_minutes", 5)),
    Mutation("a clean-out not rounded up", "clean_out", "F8", _off("F8", "clean_out_minutes", -3)),
    Mutation("a clean-out that nobody asks for", "clean_out", "F7", _uncalled_for),
    Mutation("a clean-out in a kiln that is not free", "clean_out", "F8", _cleaned_while_full),
    Mutation("another last work than the studio's", "clean_out", None, lambda b: b.plan(last_work={"A1": "bisque"})),
    Mutation("the last work of no kiln", "clean_out", None, lambda b: b.plan(last_work={"Z9": "glaze"})),
    Mutation("two kilns hot on a small circuit", "circuit_amps", "F2", _moved("F2", start_at=(0, "18:00"))),
    Mutation("three tasks for two hands", "hands", "F2", _moved("F2", unload_at=(3, "09:05"))),
    Mutation(
        "cleaning out before the shift",
        "hands",
        "F8",
        _moved("F8", load_at=(5, "10:15"), start_at=(5, "10:55"), unload_at=(7, "12:00")),
    ),
    Mutation("a third task beside a session of two", "hands", "F8", _moved("F8", unload_at=(7, "11:00"))),
    Mutation(
        "a session of two with one hand there",
        "hands",
        "F9",
        _moved("F9", load_at=(5, "10:05"), start_at=(5, "10:15"), unload_at=(5, "11:00")),
    ),
    Mutation("unloading before the shift", "hands", "F2", _moved("F2", unload_at=(2, "08:45"))),
    Mutation("unloading on a closed day", "hands", "F8", _moved("F8", unload_at=(8, "11:00"))),
    Mutation(
        "casting before the caster comes", "skills", "F3", _moved("F3", start_at=(1, "11:00"), unload_at=(1, "17:15"))
    ),
    Mutation("loaded wet", "ready", "F8", _moved("F8", load_at=(4, "09:25"), start_at=(4, "10:05")), load="N1"),
    Mutation(
        "glazed in no time",
        "after_gap",
        "F7",
        _moved("F7", load_at=(2, "12:00"), start_at=(2, "13:00"), unload_at=(3, "14:00")),
        load="G1",
    ),
    Mutation("the earlier stage unplaced", "after_gap", "F7", _earlier_stage_dropped, load="G1"),
    Mutation("later than booked", "session_at", "F4", _moved("F4", unload_at=(2, "14:05")), load="E1a"),
    Mutation(
        "a kiln out of use",
        "outages",
        "F7",
        _moved("F7", load_at=(7, "09:00"), start_at=(7, "09:40"), unload_at=(9, "10:00")),
    ),
    Mutation(
        "a circuit out of use",
        "outages",
        "F5",
        _moved("F5", load_at=(4, "11:00"), start_at=(4, "11:15"), unload_at=(4, "12:00")),
    ),
    Mutation("fumes in a class", "quiet", "F3", _moved("F3", start_at=(1, "10:55"))),
    Mutation(
        "heat in the quiet hour",
        "quiet",
        "F4",
        _moved("F4", load_at=(2, "12:40"), start_at=(2, "12:55")),
    ),
    Mutation(
        "nobody at lunch",
        "attendance",
        "F5",
        _moved("F5", load_at=(4, "12:40"), start_at=(4, "12:50"), unload_at=(4, "14:00")),
    ),
    Mutation(
        "nobody at the end",
        "attendance",
        "F6",
        _moved("F6", load_at=(4, "09:00"), start_at=(4, "09:40"), unload_at=(5, "12:30")),
    ),
    Mutation("fumes without a vent", "vent", "F3", _moved("F3", kiln="U1")),
    Mutation("started while being loaded", "load_order", "F1", _moved("F1", start_at=(0, "09:35"))),
    Mutation("opened too warm", "load_order", "F1", _moved("F1", unload_at=(1, "11:00"))),
    Mutation("the session before the least hold", "load_order", "F3", _moved("F3", start_at=(1, "12:40"))),
    Mutation("off the grid", "on_grid", "F2", _moved("F2", load_at=(0, "10:02"))),
    Mutation("out after the plan's end", "within_plan", "F8", _moved("F8", unload_at=(10, "09:00"))),
    Mutation("target_at wrong", "computed_times", "F1", _off("F1", "target_at", -60)),
    Mutation("hot_until wrong", "computed_times", "F1", _off("F1", "hot_until", -60)),
    Mutation("safe_at wrong by a minute", "computed_times", "F1", _off("F1", "safe_at", -1)),
    Mutation("free_at wrong by a minute", "computed_times", "F1", _off("F1", "free_at", -1)),
    Mutation("unload_minutes wrong", "computed_times", "F1", _off("F1", "unload_minutes", -5)),
    Mutation("amps wrong", "computed_times", "F1", _off("F1", "amps", -1.0)),
    Mutation("kwh wrong", "computed_times", "F1", _off("F1", "kwh", 0.2)),
    Mutation("share_used wrong", "computed_times", "F1", _off("F1", "share_used", 0.02)),
    Mutation("a segment's target reached sooner", "computed_times", "F1", _segment_off("reached_at", -2)),
    Mutation("a segment's hold over sooner", "computed_times", "F1", _segment_off("hold_ends_at", -2)),
    Mutation("the energy of day prices at night", "computed_times", "F2", lambda b: _energy_at_day_price(b)),
    Mutation("a cost left out", "costs", None, _proof(cost=lambda proof: proof.cost - 1.0)),
    Mutation("a bound above the cost", "costs", None, _proof(bound=lambda proof: proof.cost + 1.0)),
    Mutation("called optimal, and is not", "costs", None, _proof(status="optimal")),
    Mutation("called within a twentieth, and is not", "costs", None, _proof(status="within")),
    Mutation("lateness wrong", "costs", None, _part(lateness=-1.0)),
    Mutation("unplaced wrong", "costs", None, _part(unplaced=-500.0)),
    Mutation("energy wrong", "costs", None, _part(energy=-1.0)),
    Mutation("firings wrong", "costs", None, _part(firings=-4.0)),
    Mutation("clean-outs wrong", "costs", None, _part(clean_outs=-3.0)),
    Mutation("a late load's own price left out", "costs", None, _part(lateness=-3.0)),
    Mutation("changes in a first plan", "costs", None, _part(changes=2.0)),
    Mutation("a late load hidden", "costs", "F8", _late(lambda late: ()), load="N1"),
    Mutation(
        "a late load's hours made less",
        "costs",
        "F8",
        _late(lambda late: (late[0].model_copy(update={"hours": late[0].hours - 1.0}),)),
        load="N1",
    ),
    Mutation(
        "a load called late that is not",
        "costs",
        None,
        _late(lambda late: (*late, late[0].model_copy(update={"load": "G3"}))),
        load="G3",
    ),
)


def _with_stranger(bench: Bench) -> Plan:
    plan = bench.plan()
    stranger = plan.unplaced[0].model_copy(update={"load": "Z9"})
    return plan.model_copy(update={"unplaced": (*plan.unplaced, stranger)})


def _energy_at_day_price(bench: Bench) -> Plan:
    """The price of the energy is wrong, and every sum agrees with it."""
    firing = bench.firing(bench.draft("F2"))
    dear = firing.kwh * bench.studio.tariff.default
    plan = bench.damaged("F2", energy_cost=dear)
    parts = plan.cost_parts.model_copy(update={"energy": plan.cost_parts.energy + dear - firing.energy_cost})
    proof = plan.proof.model_copy(update={"cost": parts.total})
    return plan.model_copy(update={"cost_parts": parts, "proof": proof})


@pytest.mark.parametrize("monday", [date(2026, 11, 30), date(2027, 3, 22), date(2026, 10, 19)], ids=str)
def test_the_plan_placed_by_hand_keeps_every_rule_also_across_a_clock_change(
    monday: date, bench_for: Callable[[date], Bench]
) -> None:
    bench = bench_for(monday)
    assert bench.audit() == []
    assert isinstance(prove(bench.studio, bench.loads, bench.plan()), AuditedPlan)


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda one: f"{one.rule}: {one.name}")
def test_a_plan_damaged_in_one_rule_is_refused_for_that_rule_alone(mutation: Mutation, bench: Bench) -> None:
    found = bench.audit(mutation.damage(bench))
    assert {breach.rule for breach in found} == {mutation.rule}, found
    assert mutation.firing in {breach.firing_id for breach in found}, found
    if mutation.firing is not None:
        assert {breach.firing_id for breach in found} == {mutation.firing}
    if mutation.load is not None:
        assert mutation.load in {breach.load_id for breach in found}, found


@pytest.mark.parametrize("mutation", MUTATIONS, ids=lambda one: f"{one.rule}: {one.name}")
def test_a_damaged_plan_cannot_be_proved(mutation: Mutation, bench: Bench) -> None:
    with pytest.raises(BrokenPlanError, match=mutation.rule) as refused:
        prove(bench.studio, bench.loads, mutation.damage(bench))
    assert refused.value.breaches
    if mutation.firing is not None:
        assert f"firing {mutation.firing}" in str(refused.value)


def test_every_rule_has_a_mutation() -> None:
    assert {mutation.rule for mutation in MUTATIONS} == {rule.__name__ for rule in RULES}
