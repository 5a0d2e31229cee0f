"""Each trade check alone: a profile that is in order, and one that is not, with its numbers."""

from __future__ import annotations

from typing import Any

import pytest

from scheduler.firing.rules import RULES, profile_warnings
from scheduler.firing.rules_glass import allowed_cooling_rate
from scheduler.firing.simulate import simulate_one
from shared.loads import Load
from shared.profiles import Profile, SizeRow


@pytest.fixture
def warned(kiln_of, firing_of):
    """The warnings of segments as a profile, by rule."""

    def of(segments, kiln=None, loads=(), row=None, ware_kg=10.0, unit="C", **profile: Any):
        kiln = kiln or kiln_of((400.0, 400.0, 400.0), 6.0, vented=True)
        given = {"id": "P", "work": "bisque", **profile}
        if "sizes" not in given:
            given["own_segments"] = tuple(segments)
        made = Profile(**given)
        course = simulate_one(
            firing_of(kiln, list(made.segments(row)), ware_kg, work=made.work, unload_hot=made.unload == "hot",
                      vented=made.vent, unload_below_c=made.unload_below_c or 100.0)
        )  # fmt: skip
        found = profile_warnings(kiln, made, row, course, loads, unit)
        return {w.rule: w for w in found}

    return of


def _load(**more: Any) -> Load:
    return Load(id="L1", profile="P", footprint_cm2=100, height_mm=50, mass_kg=1, **more)


def test_every_rule_says_what_it_is_and_where_it_is_from(warned, segment) -> None:
    """A docstring for each, unique names, and a source in each warning."""
    assert len({rule.__name__ for rule in RULES}) == len(RULES)
    assert all(rule.__doc__ for rule in RULES)
    found = warned([segment(300, 1200)], name="Bisque, cone 06")
    assert found
    assert all(w.source and w.numbers and "profile P" in w.where and "kiln K" in w.where for w in found.values())


def test_an_ordinary_bisque_raises_nothing(warned, segment) -> None:
    """A studio guide's cone 04 bisque: 110 to 121 held 30 min, 110 to 593, 83 to 927, 60 to 1063."""
    bisque = [segment(110, 121, 0.5), segment(110, 593), segment(83, 927), segment(60, 1063)]
    assert warned(bisque, name="Bisque, cone 04", loads=[_load(thickness_mm=7)], unload_below_c=90) == {}


@pytest.mark.parametrize(("name", "to_c", "ok"), [
    ("cone 6", 1222, True), ("cone 06", 998, True), ("cone 6", 1186, False), ("cone 06", 1222, False),
])  # fmt: skip
def test_cone_reached(warned, segment, name: str, to_c: float, ok: bool) -> None:
    """Orton's equivalents at 60 K/h: 1222, 998 and, for cone 5, 1186 °C."""
    found = warned([segment(150, to_c - 120), segment(60, to_c)], name=f"Glaze {name}", work="glaze")
    assert ("cone_reached" not in found) == ok
    if (name, to_c) == ("cone 06", 1222):
        assert "was cone 6 meant?" in found["cone_reached"].text
        assert dict(found["cone_reached"].numbers)["cones_off"] == pytest.approx(11, abs=0.5)
    if (name, to_c) == ("cone 6", 1186):
        assert dict(found["cone_reached"].numbers)["cones_off"] == pytest.approx(-1, abs=0.3)


def test_cone_stands_in_the_id_where_no_name_is_given(warned, segment) -> None:
    """``glaze-6`` means cone 6."""
    assert "cone_reached" in warned([segment(150, 900), segment(60, 1031)], id="glaze-6", work="glaze")


def test_water_smoking(warned, segment) -> None:
    """Thin greenware half an hour, 12 mm three hours, 50 mm twelve."""
    quick, slow = [segment(150, 1000)], [segment(80, 82, 3.0), segment(60, 1000)]
    assert "water_smoking" in warned(quick)
    assert "water_smoking" not in warned(slow, loads=[_load(thickness_mm=12)])
    assert "water_smoking" in warned(slow, loads=[_load(thickness_mm=50)])
    assert "water_smoking" not in warned(quick, work="glaze")


def test_thick_ware_ramps(warned, segment) -> None:
    """100 K/h suits 8 mm, not 20 mm."""
    ramp = [segment(60, 110, 8.0), segment(100, 1000)]
    assert "thick_ware_ramps" not in warned(ramp, loads=[_load(thickness_mm=8)])
    found = warned(ramp, loads=[_load(thickness_mm=6), _load(thickness_mm=20)])["thick_ware_ramps"]
    assert dict(found.numbers)["rate_k_per_h"] == pytest.approx(100, rel=0.05)
    assert "segment 2" in found.where


def test_kiln_and_material_maximum(warned, segment, kiln_of) -> None:
    """Above the plate, and above what a clay stands."""
    found = warned([segment(150, 1310)], loads=[_load(max_temperature=1100)])
    assert dict(found["kiln_maximum"].numbers) == {"limit_c": 1300.0, "target_c": 1310.0}
    assert "load L1 stands 1100 °C" in found["material_maximum"].text
    assert not {"kiln_maximum", "material_maximum"} & set(
        warned([segment(150, 1050)], loads=[_load(max_temperature=1100)])
    )


def test_target_out_of_reach_names_the_supply(warned, segment, kiln_of) -> None:
    """208 V on 240 V: 75.1 % of the power; the rules that need a course are left out."""
    weak = kiln_of(kilowatts=6.3, supply_volts=208.0)
    found = warned([segment(200, 1290)], kiln=weak, name="cone 10", work="glaze")
    assert "75.1%" in found["target_within_reach"].text
    assert "cone_reached" not in found
    assert "target_within_reach" not in warned([segment(200, 1200)], kiln=kiln_of(kilowatts=8.0), work="glaze")


def test_ramps_that_stretch_are_told(warned, segment) -> None:
    """600 K/h to 1000 °C is written as 98 min, but takes this kiln more."""
    found = warned([segment(600, 1000)], work="glaze", ware_kg=25.0)["ramps_followed"]
    numbers = dict(found.numbers)
    assert numbers["written_min"] == pytest.approx(98.0)
    assert numbers["takes_min"] > 110.0


def test_allowed_glass_cooling_is_that_of_the_craft_tables() -> None:
    """55, 25 and 15 K/h for 12, 19 and 25 mm (glasstips.blogspot.com 2011/08 and 2025/02); formula within 15 %."""
    assert [allowed_cooling_rate(d) for d in (12.0, 19.0, 25.0)] == pytest.approx([55.0, 25.0, 15.0], rel=0.15)
    assert allowed_cooling_rate(3.0) == 100.0


def test_glass_annealing(warned, segment) -> None:
    """Soak and fall by thickness; no soak at all."""

    def fuse(soak_h: float, fall: float | None):
        return [
            segment(150, 540),
            segment(150, 790, 0.2),
            segment(None, 515, soak_h),
            segment(fall, 450),
            segment(fall, 380),
        ]

    six, twelve = [_load(thickness_mm=6)], [_load(thickness_mm=12)]
    rules = {"annealing_soak", "annealing_cooling_rate"}
    assert not rules & set(warned(fuse(1.0, 60), work="glass", loads=six))
    assert rules <= set(warned(fuse(1.0, 100), work="glass", loads=twelve))
    found = warned([segment(150, 790, 0.2)], work="glass", loads=six)["annealing_soak"]
    assert "holds nowhere" in found.text
    assert "glass_unload_limit" in warned(fuse(1.0, 60), work="glass", unload_below_c=90)


def test_glass_that_the_kiln_lets_fall_slowly_is_in_order(warned, segment, kiln_of) -> None:
    """The rate is that of the kiln, not of the paper: "full" down in a big brick kiln can be slow enough."""
    profile = [segment(150, 790, 0.2), segment(None, 515, 1.0), segment(None, 300)]
    heavy = kiln_of((600.0, 600.0, 600.0), 14.0, 115.0)
    light = kiln_of((300.0, 300.0, 150.0), 2.0, 40.0, "fibre")
    glass = [_load(thickness_mm=6)]
    assert "annealing_cooling_rate" not in warned(profile, kiln=heavy, work="glass", loads=glass, ware_kg=20.0)
    assert "annealing_cooling_rate" in warned(profile, kiln=light, work="glass", loads=glass, ware_kg=0.5)


def test_flask_rules(warned, segment) -> None:
    """An investment maker's cycle for 89 mm is in order; too hot, too short and too cold are not."""
    hot = {"work": "burnout", "unload": "hot", "vent": True}

    def cycle(top_c: float = 732, top_h: float = 3.0, cast_c: float = 480, rate: float | None = 100):
        return [
            segment(120, 149, 2.0),
            segment(220, 371, 2.0),
            segment(220, top_c, top_h),
            segment(rate, cast_c, 1.0, 8.0),
        ]

    flask = [_load(diameter_mm=89)]
    assert warned(cycle(), loads=flask, **hot) == {}
    assert dict(warned(cycle(800), loads=flask, **hot)["investment_limit"].numbers)["limit_c"] == 788.0
    assert dict(warned(cycle(top_h=1.0), loads=flask, **hot)["flask_dwells"].numbers)["usual_min"] == 180.0
    assert "flask_dwells" in warned(cycle(), loads=[_load(diameter_mm=102)], **hot)
    assert "flask_cooling" in warned(cycle(cast_c=200), loads=flask, **hot)
    assert "vented_where_it_fumes" not in warned(cycle(), loads=flask, **hot)


def test_large_flasks_are_not_let_fall_freely(warned, segment, kiln_of) -> None:
    """A light kiln falls at several hundred K/h from 732 °C."""
    light = kiln_of((300.0, 300.0, 200.0), 3.0, 50.0, "fibre", vented=True)
    cycle = [segment(100, 149, 2), segment(150, 371, 4), segment(150, 732, 4), segment(None, 480, 2.0, 9.0)]
    found = warned(
        cycle, kiln=light, loads=[_load(diameter_mm=102)], ware_kg=0.5, work="burnout", unload="hot", vent=True
    )
    assert dict(found["flask_cooling"].numbers)["rate_k_per_h"] > 110.0


@pytest.mark.parametrize(("family", "to_c", "ok"), [
    ("fine silver", 900, True), ("fine silver", 950, False), ("bronze", 843, True), ("bronze", 900, False),
    ("copper", 980, True), ("sterling silver", 900, False),
])  # fmt: skip
def test_metal_clay_limit(warned, segment, family: str, to_c: float, ok: bool) -> None:
    """Suppliers' tables; fine silver melts at 961.8 °C."""
    found = warned([segment(None, to_c, 2.0)], work="metal-clay", loads=[_load(family=family)], ware_kg=0.5)
    assert ("metal_clay_limit" not in found) == ok


def test_hot_work_without_an_elastic_hold(warned, segment) -> None:
    """Nobody may be late."""
    enamel = {"work": "enamel", "unload": "hot", "ware_kg": 0.2}
    assert "hot_unload_is_elastic" in warned([segment(None, 800, 1.0)], **enamel)
    assert "hot_unload_is_elastic" not in warned([segment(None, 800, 1.0, 6.0)], **enamel)


def test_size_row_stands_in_for_loads_and_texts_speak_the_studios_unit(warned, segment) -> None:
    """Without loads the row's limit counts; °F in the text, °C in the numbers."""
    sizes = (SizeRow(up_to=8, segments=(segment(150, 1000),)), SizeRow(segments=(segment(150, 1000),)))
    found = warned([], sizes=sizes, sized_by="thickness_mm", row=0, unit="F")["water_smoking"]
    assert "149 °F to 266 °F" in found.text
    assert "size 1 (up to 8 mm)" in found.where
    assert dict(found.numbers)["thickness_mm"] == 8.0
