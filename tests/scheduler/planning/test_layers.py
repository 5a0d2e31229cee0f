"""Packing of layers."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.layers import Packing, pack
from shared.loads import Load, area_on_last_layer_cm2
from tests.scheduler.planning.plain_studio import bench_kiln, load

KILN = bench_kiln()  # 900 cm² of shelf, 300 mm high, 15 mm of furniture a layer


def test_low_loads_share_a_layer_and_tall_ones_open_their_own() -> None:
    layers = pack(KILN, [load("A"), load("B"), load("C"), load("D", height_mm=150.0)])
    assert layers == (("D", "A", "B"), ("C",))


def test_a_charge_higher_than_the_kiln_is_refused() -> None:
    loads = [load(f"L{n}", footprint_cm2=800.0, height_mm=90.0) for n in range(3)]
    assert pack(KILN, loads[:2]) is not None
    assert pack(KILN, loads) is None  # three layers of 105 mm in 300 mm


def test_a_load_larger_than_a_shelf_fills_layers_and_shares_its_last() -> None:
    large = load("L", pieces=10, footprint_cm2=1500.0, height_mm=80.0)  # six pieces a layer, four left
    layers = pack(KILN, [large, load("S", footprint_cm2=290.0, height_mm=70.0)])
    assert layers == (("L",), ("L", "S"))


def test_what_is_left_of_two_loads_larger_than_a_shelf_shares_one_layer() -> None:
    """Each fills a layer and has one piece of 300 cm² left; three layers of 95 mm fit in 300 mm, four do not."""
    left = {"pieces": 4, "footprint_cm2": 1200.0, "height_mm": 80.0}  # three pieces a layer, one left
    assert pack(KILN, [load("L", **left), load("M", **left)]) == (("L",), ("L", "M"), ("M",))
    low = {"pieces": 4, "footprint_cm2": 1200.0, "height_mm": 20.0}
    # A third has no layer of its own beside the one that the two end on, so it ends on another.
    assert pack(KILN, [load(name, **low) for name in "LMN"]) == (("L",), ("L", "M"), ("M",), ("N",), ("N",))


def test_a_piece_larger_than_the_shelf_is_refused() -> None:
    assert pack(KILN, [load("A", footprint_cm2=901.0)]) is None


def test_of_equal_heights_the_larger_is_packed_first_and_of_equals_the_first_by_name() -> None:
    """By hand: B 500 and C 400 cm² fill 900 of 900; A 450 opens the next layer, which D 400 joins."""
    loads = [load("D", footprint_cm2=400.0), load("A", footprint_cm2=450.0), load("C", footprint_cm2=400.0)]
    assert pack(KILN, [*loads, load("B", footprint_cm2=500.0)]) == (("B", "C"), ("A", "D"))


def test_a_load_goes_on_the_first_layer_with_room_also_below_the_last() -> None:
    """By hand: 120 + 90 + 3 x 15 mm leave 45 of 300, so that E has to lie on the first layer, beside A."""
    loads = [load("A", footprint_cm2=600.0, height_mm=120.0), load("B", footprint_cm2=800.0, height_mm=90.0)]
    assert pack(KILN, [*loads, load("E", footprint_cm2=300.0, height_mm=60.0)]) == (("A", "E"), ("B",))
    assert pack(KILN, [*loads, load("E", footprint_cm2=301.0, height_mm=60.0)]) is None
    assert pack(KILN, [*loads, load("E", footprint_cm2=301.0, height_mm=45.0)]) == (("A",), ("B",), ("E",))


def test_a_load_larger_than_a_shelf_lies_around_layers_that_smaller_ones_opened() -> None:
    """By hand: L is two layers of three pieces and a piece of 300 cm², which is beside A; a layer of it takes 55 mm."""
    loads = [load("A", height_mm=100.0), load("L", pieces=7, footprint_cm2=2100.0, height_mm=40.0)]
    assert pack(KILN, loads) == (("L",), ("L",), ("A", "L"))
    # 115 + 2 x 55 mm leave 75: M takes 45 for a layer of its own and leaves 30, of which B would take 31.
    low = load("M", pieces=4, footprint_cm2=1200.0, height_mm=30.0)
    assert pack(KILN, [*loads, low]) == (("L",), ("L",), ("A", "L", "M"), ("M",))
    assert pack(KILN, [*loads, low, load("B", footprint_cm2=900.0, height_mm=16.0)]) is None


def test_as_many_layers_as_the_kiln_is_high_fit_to_the_millimetre() -> None:
    loads = [load(name, footprint_cm2=900.0, height_mm=85.0) for name in "ABC"]  # three layers of 100 mm
    assert pack(KILN, loads) == (("A",), ("B",), ("C",))
    assert pack(KILN, [*loads[:2], load("C", footprint_cm2=900.0, height_mm=85.001)]) is None


def test_nothing_takes_no_layer() -> None:
    assert pack(KILN, []) == ()


sizes = st.tuples(st.integers(1, 12), st.floats(20.0, 2200.0), st.floats(10.0, 280.0))


def _loads(rows: list[tuple[int, float, float]]) -> list[Load]:
    return [
        Load(id=f"L{n}", profile="warm", pieces=pieces, footprint_cm2=area, height_mm=height, mass_kg=1.0)
        for n, (pieces, area, height) in enumerate(rows)
    ]


@given(st.lists(sizes, min_size=1, max_size=9))
def test_layers_never_hold_more_than_the_kiln_does(rows: list[tuple[int, float, float]]) -> None:
    """Checked by adding areas and heights up again, from the layers alone."""
    loads = _loads(rows)
    layers = pack(KILN, loads)
    if layers is None:
        return
    by_id = {row.id: row for row in loads}
    assert sorted({name for layer in layers for name in layer}) == sorted(by_id)
    assert sum(max(by_id[n].height_mm for n in layer) + 15.0 for layer in layers) <= 300.0 + 1e-6
    seen: dict[str, list[int]] = {}
    for number, layer in enumerate(layers):
        for name in layer:
            seen.setdefault(name, []).append(number)
    area = [0.0] * len(layers)
    for name, on in seen.items():
        alone, rest = area_on_last_layer_cm2(by_id[name], KILN.shelf_area_cm2)
        assert on == list(range(on[0], on[0] + alone + 1))
        shared = next((n for n in on if len(layers[n]) > 1), on[-1])
        for number in on:
            area[number] += rest if number == shared else KILN.shelf_area_cm2
    assert all(taken <= KILN.shelf_area_cm2 + 1e-6 for taken in area)


@given(st.lists(sizes, min_size=1, max_size=9), st.sets(st.integers(0, 8)))
def test_loads_are_packed_among_others_and_in_any_of_several_kilns_as_by_themselves(
    rows: list[tuple[int, float, float]], chosen: set[int]
) -> None:
    loads = _loads(rows)
    numbers = [number for number in chosen if number < len(loads)]
    kilns = (KILN, bench_kiln("K2", inside_mm=(300.0, 300.0, 600.0)), bench_kiln("K3", inside_mm=(400.0, 400.0, 500.0)))
    packing = Packing(kilns, loads)
    for number, kiln in enumerate(kilns):
        assert packing.layers(number, numbers) == pack(kiln, [loads[n] for n in numbers])
