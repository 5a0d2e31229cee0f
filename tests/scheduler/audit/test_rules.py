"""The rules at their edges: what is just allowed, and what is just not."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from shared.kilns import Circuit
from shared.loads import Load
from shared.studio import Outage, Shift

Bench = Any  # the class lives in conftest.py, which is no module to import from


def _named(bench: Bench, **options: Any) -> set[tuple[str, str | None]]:
    return {(breach.rule, breach.firing_id) for breach in bench.audit(**options)}


def _kilns(bench: Bench, kiln_id: str, **changes: Any) -> Bench:
    return bench.with_studio(
        kilns=tuple(k.model_copy(update=changes) if k.id == kiln_id else k for k in bench.studio.kilns)
    )


def _profiles(bench: Bench, profile_id: str, **changes: Any) -> Bench:
    return bench.with_studio(
        profiles=tuple(p.model_copy(update=changes) if p.id == profile_id else p for p in bench.studio.profiles)
    )


# Who, and in which kiln


def test_a_load_goes_only_into_the_kilns_that_it_names(bench: Bench) -> None:
    assert _named(bench.with_load("P3", kilns=("K1", "A1"))) == set()
    assert _named(bench.with_load("P3", kilns=("K1", "K2"))) == {("work_fits_kiln", "F6")}


def test_a_rider_may_ride_only_where_the_leading_profile_says_so(bench: Bench) -> None:
    assert _named(_profiles(bench, "bisque", shares_with=())) == {("profile_shared", "F1")}


def test_a_guest_gets_the_vent_and_the_cool_opening_that_its_own_profile_asks_for(bench: Bench) -> None:
    assert _named(_profiles(bench, "sketch", unload_below_c=150.0)) == set()
    assert _named(_profiles(bench, "sketch", unload_below_c=40.0)) == {("profile_shared", "F1")}
    assert _named(_profiles(bench, "sketch", vent=True)) == {("vent", "F1")}
    assert _named(_profiles(bench, "sketch", unload="hot", unload_below_c=None)) == {("profile_shared", "F1")}


def test_a_rider_whose_own_profile_is_for_one_family_makes_the_firing_so(bench: Bench) -> None:
    choosy = _profiles(bench, "sketch", one_family=True)
    assert _named(choosy) == set()
    assert _named(choosy.with_load("P1", family="porcelain")) == {("shares_firing", "F1")}
    assert _named(choosy.with_load("P1", family=None)) == {("shares_firing", "F1")}
    assert _named(choosy.with_load("P1", family=" Stone  Ware")) == {("shares_firing", "F1")}
    assert _named(choosy.with_load("P1", family=" STONEWARE ")) == set()
    assert _named(bench.with_load("P1", family="porcelain")) == set()


def test_sessions_booked_for_different_times_never_share(bench: Bench) -> None:
    booked = bench.with_load("X1", session_at=bench.at(1, "18:30"))
    assert _named(booked) == set()
    assert _named(booked.with_load("X2", session_at=bench.at(1, "18:30"))) == set()
    apart = booked.with_load("X2", session_at=bench.at(1, "19:00"))
    assert _named(apart) == {("shares_firing", "F3"), ("session_at", "F3")}


# Heat


def test_a_load_is_refused_a_firing_hotter_than_it_stands(bench: Bench) -> None:
    assert _named(bench.with_load("P2", max_temperature_c=1060.0)) == set()
    assert _named(bench.with_load("P2", max_temperature_c=1059.0)) == {("max_temperature", "F1")}


def test_a_flask_without_its_diameter_has_no_size_row(bench: Bench) -> None:
    plan = bench.plan()
    [breach] = bench.with_load("X2", diameter_mm=None).audit(plan)
    assert (breach.rule, breach.firing_id) == ("size_row", "F3")
    assert "diameter_mm" in breach.text


def test_an_inelastic_hot_hold_ends_with_a_session_at_the_next_grid_point(bench: Bench) -> None:
    """The dip is ready at 10:51; the session at 10:55 is right, at 11:00 too late, at 10:50 too early."""
    assert _named(bench.change("F9", unload_at=bench.at(7, "10:55"))) == set()
    assert _named(bench.change("F9", unload_at=bench.at(7, "11:00"))) == {("size_row", "F9")}
    assert _named(bench.change("F9", unload_at=bench.at(7, "10:50"))) == {("load_order", "F9")}


@pytest.mark.parametrize("field", ["to_c", "rate_k_per_hour"])
def test_segments_of_another_ramp_are_refused(bench: Bench, field: str) -> None:
    first, *others = bench.firing(bench.draft("F1")).segments
    other = first.model_copy(update={field: getattr(first, field) + 5.0})
    assert {b.rule for b in bench.audit(bench.damaged("F1", segments=(other, *others)))} == {"size_row"}
    full = first.model_copy(update={"rate_k_per_hour": None})
    assert {b.rule for b in bench.audit(bench.damaged("F1", segments=(full, *others)))} == {"size_row"}


def test_a_cooling_hold_may_be_stretched_as_far_as_the_profile_says(bench: Bench) -> None:
    bisque = bench.studio.profile_by_id["bisque"]
    ramp, top = bisque.own_segments
    elastic = _profiles(bench, "bisque", own_segments=(ramp, top.model_copy(update={"hold_up_to_minutes": 25.0})))
    assert _named(elastic.change("F1", hold_minutes=25.0)) == set()
    assert _named(elastic.change("F1", hold_minutes=26.0)) == {("size_row", "F1")}
    assert _named(elastic.change("F1", hold_minutes=9.0)) == {("size_row", "F1")}


# Room in the kiln


def test_layers_may_fill_the_height_to_the_last_millimetre(bench: Bench) -> None:
    """F1 has two layers of 120 mm and 15 mm of furniture each: 270 mm."""
    inside = bench.studio.kiln_by_id["K1"].inside_mm
    tall = bench.with_load("P2", height_mm=inside[2] - 120.0 - 30.0)
    assert _named(tall) == set()
    assert _named(tall.with_load("P1", height_mm=121.0)) == {("capacity", "F1")}


def test_a_layer_may_be_filled_to_the_last_square_centimetre(bench: Bench) -> None:
    shelf = bench.studio.kiln_by_id["K1"].shelf_area_cm2
    full = bench.with_load("P2", footprint_cm2=shelf - 900.0)
    assert _named(full) == set()
    assert _named(full.with_load("R1", footprint_cm2=901.0)) == {("capacity", "F1")}


def test_a_wide_load_shares_its_first_or_its_last_layer(bench: Bench) -> None:
    """P3 is 10 pieces of 700 cm², four to a shelf of 3136 cm²: two layers of its own and 1400 cm² of a third."""
    assert _named(bench.change("F6", layers=(("P3", "P4"), ("P3",), ("P3",)))) == set()
    assert _named(bench.with_load("P4", footprint_cm2=1736.0)) == set()
    assert _named(bench.with_load("P4", footprint_cm2=1737.0)) == {("capacity", "F6")}


def test_a_piece_larger_than_the_shelf_fits_no_layer(bench: Bench) -> None:
    assert ("capacity", "F6") in _named(bench.with_load("P3", pieces=1))


# Power


def test_legs_are_counted_apart_and_feeders_carry_all_that_they_feed(bench: Bench) -> None:
    """Thursday: K1 (on ``back``) and A1 (on ``main``) both load all legs of ``main`` with 24 A each, 48 A."""
    back, front = bench.studio.circuits[1:]
    tight = bench.with_studio(circuits=(Circuit(id="main", breaker_amps=60, legs=3), back, front))
    assert _named(tight) == set()  # 60 A x 0.8 is just 48 A
    found = bench.with_studio(circuits=(Circuit(id="main", breaker_amps=59, legs=3), back, front)).audit()
    assert {(breach.rule, breach.firing_id, breach.at) for breach in found} == {
        ("circuit_amps", "F7", bench.at(3, "09:40"))
    }
    assert sorted(breach.text.split(":")[0] for breach in found) == [f"circuit main, leg {leg}" for leg in "ABC"]
    assert [breach.by for breach in found] == pytest.approx([0.8, 0.8, 0.8])


def test_a_kiln_that_starts_as_another_ends_adds_nothing_to_it(bench: Bench) -> None:
    hot_until = bench.firing(bench.draft("F1")).hot_until
    next_grid = hot_until + -hot_until % 5
    assert _named(bench.change("F2", start_at=next_grid)) == set()
    assert _named(bench.change("F2", start_at=next_grid - 5)) == {("circuit_amps", "F2")}


# People


def test_skilled_hands_serve_one_session_each(bench: Bench) -> None:
    """Two skills, one person who has both: two sessions at once need a second person, whatever the second can."""
    at = bench.at
    enamel = _profiles(bench, "enamel", skill="enamel").without("F5").without("F9").without("F4")
    loads = tuple(load for load in enamel.loads if load.id not in ("E1b", "E1c"))
    loads = tuple(load.model_copy(update={"session_at": None}) if load.id == "E1a" else load for load in loads)
    both = replace(enamel, loads=loads).add(
        replace(bench.draft("F4"), load_at=at(1, "17:00"), start_at=at(1, "17:40"), unload_at=at(1, "18:30"))
    )
    weekdays = ("mon", "tue", "wed", "thu", "fri", "sat")

    def staffed(*evening: tuple[str, ...]) -> set[tuple[str, str | None]]:
        day = Shift(days=weekdays, opens="09:00", closes="18:00", hands=2)
        evenings = [Shift(days=("tue", "thu"), opens="18:00", closes="22:00", skills=skills) for skills in evening]
        return _named(both.with_studio(shifts=(day, *evenings)))

    assert staffed(("casting", "enamel"), ("casting",)) == set()
    assert staffed(("casting",), ("casting", "enamel")) == set()
    assert staffed(("casting",), ("enamel",)) == set()
    assert {rule for rule, _ in staffed(("casting", "enamel"), ())} == {"skills"}
    assert staffed(("casting",), ("casting",)) == {("skills", "F4")}
    assert {rule for rule, _ in staffed(("casting", "enamel"))} == {"hands", "skills"}


def test_a_casting_of_two_wants_a_caster_and_anybody(bench: Bench) -> None:
    """Tuesday evening one caster is there; the casting at 18:30 has a second with whoever else comes."""
    helped = _profiles(bench, "burnout", session_people=2)
    at_work = bench.studio.shifts[:-1]

    def evening(*shifts: tuple[int, tuple[str, ...]]) -> set[tuple[str, str | None]]:
        days = ("tue", "thu")
        there = [Shift(days=days, opens="18:00", closes="22:00", hands=n, skills=skills) for n, skills in shifts]
        return _named(helped.with_studio(shifts=(*at_work, *there)))

    assert _named(helped) == {("hands", "F3")}
    assert evening((1, ("casting",))) == {("hands", "F3")}
    assert evening((1, ("casting",)), (1, ())) == set()
    assert evening((1, ("casting",)), (1, ("enamel",))) == set()
    assert evening((2, ("casting",))) == set()
    assert evening((2, ())) == {("skills", "F3")}


def test_a_casting_of_two_needs_the_second_to_its_last_minute(bench: Bench) -> None:
    """From 18:30 to 19:30: two flasks of half an hour each."""
    helped = _profiles(bench, "burnout", session_people=2)

    def until(closes: str) -> set[tuple[str, str | None]]:
        helper = Shift(days=("tue",), opens="18:30", closes=closes)
        return _named(helped.with_studio(shifts=(*helped.studio.shifts, helper)))

    assert until("19:30") == set()
    assert until("19:29") == {("hands", "F3")}


def test_hands_that_are_missing_are_told_with_how_many_the_session_takes(bench: Bench) -> None:
    helped = _profiles(bench, "burnout", session_people=3)
    [breach] = helped.audit()
    assert breach.text.startswith("3 pairs of hands are needed at once, but there are 1: the session of kiln B1 from")
    assert breach.by == 2


def test_a_session_that_takes_no_time_still_needs_all_its_people_at_that_moment(bench: Bench) -> None:
    """Monday two are there, Saturday one. E1 asks no minute of its own to be emptied."""
    quick = bench.with_load("E1c", session_minutes=None)
    saturday = quick.change(
        "F9", load_at=bench.at(5, "10:05"), start_at=bench.at(5, "10:15"), unload_at=bench.at(5, "11:00")
    )
    assert _named(quick) == set()
    assert _named(saturday) == {("hands", "F9")}


def test_a_guest_gets_as_many_people_at_the_session_as_its_own_profile_asks_for(bench: Bench) -> None:
    """E1c asks for a dip, which takes two; it rides in an enamel firing, whose session takes one."""
    shared = _profiles(bench, "enamel", shares_with=("dip",)).without("F9")
    shared = shared.change("F5", layers=(("E1b", "E1c"),))
    assert _named(shared) == {("profile_shared", "F5")}
    assert _named(_profiles(shared, "dip", session_people=1)) == set()
    assert ("profile_shared", "F5") not in _named(_profiles(shared, "enamel", session_people=2))


def test_a_task_that_takes_no_time_still_needs_somebody_there(bench: Bench) -> None:
    quick = _kilns(bench, "K2", unload_minutes=0.0)
    assert _named(quick.change("F2", unload_at=bench.at(2, "18:00"))) == set()
    assert _named(quick.change("F2", unload_at=bench.at(2, "18:05"))) == {("hands", "F2")}


def test_a_task_may_pass_from_one_shift_into_the_next(bench: Bench) -> None:
    assert _named(bench.change("F1", unload_at=bench.at(1, "17:45"))) == set()
    assert _named(bench.change("F2", unload_at=bench.at(2, "17:45"))) == {("hands", "F2")}


def test_a_night_shift_ends_at_the_midnight_before_a_closed_day(bench: Bench) -> None:
    night = Shift(days=("mon",), opens="20:00", closes="02:00")
    late = bench.with_studio(shifts=(*bench.studio.shifts, night))
    assert _named(late.change("F2", unload_at=bench.at(1, "00:30")).change("F2", start_at=bench.at(0, "19:00"))) == {
        ("load_order", "F2")
    }
    assert _named(late.change("F8", unload_at=bench.at(7, "23:30"))) == set()
    assert _named(late.change("F8", unload_at=bench.at(7, "23:35"))) == {("hands", "F8")}


def test_a_house_that_asks_for_it_has_somebody_there_at_every_start(bench: Bench) -> None:
    watched = bench.with_studio(rules=bench.studio.rules.model_copy(update={"unattended_start": False}))
    assert _named(watched) == {("attendance", "F2")}  # on Monday K2 starts at 19:00 on its timer
    tuesday = watched.change("F2", start_at=bench.at(1, "21:55"), unload_at=bench.at(3, "10:00"))
    assert _named(tuesday) == set()
    assert _named(tuesday.change("F2", start_at=bench.at(1, "22:00"))) == {("attendance", "F2")}


# Order


def test_a_load_may_go_in_at_the_minute_when_it_is_ready_or_its_gap_is_over(bench: Bench) -> None:
    out_at = bench.firing(bench.draft("F1")).out_at
    gap = bench.draft("F7").load_at - out_at
    assert _named(bench.with_load("G1", gap_minutes=float(gap))) == set()
    assert _named(bench.with_load("G1", gap_minutes=gap + 0.5)) == {("after_gap", "F7")}
    assert _named(bench.with_load("G2", ready=bench.at(3, "09:00"))) == set()
    assert _named(bench.with_load("G2", ready=bench.at(3, "09:00") + 1)) == {("ready", "F7")}


def test_an_earlier_stage_that_waits_no_more_has_been_fired_before(bench: Bench) -> None:
    loads = tuple(load for load in bench.loads if load.id != "P1")
    assert _named(replace(bench.change("F1", layers=(("P2", "R1"),)), loads=loads)) == set()


def test_both_stages_may_be_unplaced(bench: Bench) -> None:
    without = bench.change("F1", layers=(("P2", "R1"),)).change("F7", layers=(("G2",),))
    assert _named(replace(without, unplaced=("W1", "P1", "G1"))) == set()


def test_an_open_outage_lasts_until_further_notice(bench: Bench) -> None:
    kiln, circuit = bench.studio.outages
    broken = bench.with_studio(outages=(kiln.model_copy(update={"kiln": "K2", "ends": None}), circuit))
    assert _named(broken) == set()
    assert _named(broken.change("F8", unload_at=bench.at(7, "11:30"))) == set()
    assert _named(broken.change("F8", unload_at=bench.at(7, "11:35"))) == {("outages", "F8")}


# Costs


def test_a_promise_kept_to_the_minute_is_not_late(bench: Bench) -> None:
    out_at = bench.firing(bench.draft("F2")).out_at
    assert bench.with_load("G3", promised=out_at).plan().late == bench.plan().late
    late = bench.with_load("G3", promised=out_at - 1, priority=9)
    assert _named(late) == set()
    assert [one.load for one in late.plan().late] == ["G3", "N1"]


def test_a_load_may_be_promised_before_the_plan_begins(bench: Bench) -> None:
    assert _named(bench.with_load("G4", promised=bench.at(-2))) == set()


def test_a_plan_with_nothing_to_do_is_proved(bench: Bench) -> None:
    idle = replace(bench, drafts=(), loads=(), unplaced=())
    assert _named(idle) == set()
    lonely = Load(id="L", profile="glaze", footprint_cm2=1, height_mm=1, mass_kg=1)
    assert _named(replace(idle, loads=(lonely,))) == {("each_load_once", None)}
    assert _named(replace(idle, loads=(lonely,), unplaced=("L",))) == set()


# Clean-outs


def test_a_clean_out_may_begin_the_minute_its_kiln_is_free_and_no_sooner(bench: Bench) -> None:
    early = bench.change("F2", unload_at=bench.at(4, "09:00"))
    free_at = early.firing(early.draft("F2")).free_at
    assert free_at == bench.at(4, "09:30")
    assert _named(early.change("F8", load_at=bench.at(4, "09:55"))) == set()
    assert _named(early.change("F8", load_at=bench.at(4, "09:50"))) == {("clean_out", "F8")}


def test_nobody_cleans_out_a_kiln_that_is_out_of_use(bench: Bench) -> None:
    def until(clock: str) -> Bench:
        out = Outage(kiln="K2", begins=bench.at(3, "12:00"), ends=bench.at(4, clock))
        return bench.with_studio(outages=(*bench.studio.outages, out))

    assert _named(until("09:35")) == set()
    assert _named(until("09:36")) == {("clean_out", "F8")}


def test_the_first_firing_is_cleaned_for_after_the_last_work_before_the_plan(bench: Bench) -> None:
    used = _kilns(bench, "K2", last_work="glaze")
    plan = used.plan()
    assert [firing.clean_out_minutes for firing in plan.firings if firing.id == "F2"] == [25]
    assert plan.cost_parts.clean_outs == 6.0
    assert _named(used, plan=plan) == set()
    # Too early, it would lie before anybody comes, and at last before the plan.
    assert _named(used.change("F2", load_at=bench.at(0, "09:25"))) == set()
    assert _named(used.change("F2", load_at=bench.at(0, "09:20"))) == {("hands", "F2")}
    assert _named(used.change("F2", load_at=bench.at(0, "00:20"))) == {("hands", "F2"), ("within_plan", "F2")}


def test_the_first_table_that_names_both_works_counts(bench: Bench) -> None:
    turned = bench.with_studio(clean_outs=bench.studio.clean_outs[::-1])
    later = turned.change("F8", load_at=bench.at(4, "11:00"), start_at=bench.at(4, "11:40"))
    plan = later.plan()
    assert plan.cost_parts.clean_outs == 9.0
    assert next(firing.clean_out_minutes for firing in plan.firings if firing.id == "F8") == 60
    assert _named(later, plan=plan) == set()


def test_a_replan_may_know_better_what_a_kiln_fired_last(bench: Bench) -> None:
    plan = bench.plan(last_work={"A1": "bisque"})
    assert _named(bench, plan=plan, replanned=True) == set()
    assert _named(bench, plan=plan) == {("clean_out", None)}


def test_a_clean_out_that_began_before_the_plan_is_judged_from_its_begin_on(bench: Bench) -> None:
    """K2 is cleaned out from 09:35 to 10:00 on Monday; the plan begins at 09:50."""
    used = _kilns(bench, "K2", last_work="glaze")
    plan, begun = used.plan(begin=bench.at(0, "09:50")), frozenset({"F1", "F2"})
    assert _named(used, plan=plan, under_way=begun) == set()
    assert _named(used, plan=plan, under_way=frozenset({"F1"})) == {("within_plan", "F2")}
    shorter = tuple(f.model_copy(update={"clean_out_minutes": 20}) if f.id == "F2" else f for f in plan.firings)
    assert _named(used, plan=plan.model_copy(update={"firings": shorter}), under_way=begun) == {("clean_out", "F2")}
    # From 09:50 to 09:55 nobody would be there.
    first, *others = used.studio.shifts
    days = first.model_copy(update={"days": ("tue", "wed", "thu")})
    early = Shift(days=("mon",), opens="09:00", closes="09:45", hands=2)
    late = Shift(days=("mon",), opens="09:55", closes="18:00", hands=2)
    gap = used.with_studio(shifts=(days, early, late, *others))
    assert _named(gap, plan=plan, under_way=begun) == {("hands", "F2")}


def test_a_clean_out_before_the_plan_began_has_happened(bench: Bench) -> None:
    used = _kilns(bench, "K2", last_work="glaze")
    begun = frozenset({"F1", "F2", "F3"})
    firings = tuple(f.model_copy(update={"clean_out_minutes": 0}) if f.id == "F2" else f for f in used.plan().firings)
    plan = used.plan(begin=bench.at(1, "12:00"), firings=firings)
    assert _named(used, plan=plan, under_way=begun) == set()
    assert _named(used, plan=plan, under_way=begun - {"F2"}) == {("clean_out", "F2"), ("within_plan", "F2")}
