"""Packing of layers."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from scheduler.planning.layers import pack
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


sizes = st.tuples(st.integers(1, 12), st.floats(20.0, 2200.0), st.floats(10.0, 280.0))


@given(st.lists(sizes, min_size=1, max_size=9))
def test_layers_never_hold_more_than_the_kiln_does(rows: list[tuple[int, float, float]]) -> None:
    """Checked by adding areas and heights up again, from the layers alone."""
    loads = [
        Load(id=f"L{n}", profile="warm", pieces=pieces, footprint_cm2=area, height_mm=height, mass_kg=1.0)
        for n, (pieces, area, height) in enumerate(rows)
    ]
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
