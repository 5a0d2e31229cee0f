"""Loads: the size row that they pick, how they lie on layers, how long their session is."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from shared.kilns import Kiln
from shared.loads import Load, area_on_last_layer_cm2, pieces_on_a_layer, session_minutes, size_row
from shared.profiles import Profile, Segment, SizeRow

SEGMENT = Segment(rate_k_per_hour=100, to_c=700)


def load(**said: object) -> Load:
    """A load of ten pieces, changed as said."""
    usual = {"id": "L1", "profile": "P", "pieces": 10, "footprint_cm2": 1000, "height_mm": 100, "mass_kg": 8}
    return Load.model_validate(usual | said)


def flasks(*limits: float | None) -> Profile:
    """A profile sized by diameter."""
    rows = tuple(SizeRow(up_to=limit, segments=(SEGMENT,)) for limit in limits)
    return Profile(id="P", work="burnout", sized_by="diameter_mm", unload="hot", sizes=rows)


def kiln(unload_minutes: float) -> Kiln:
    """A kiln for the time that it takes to unload."""
    return Kiln.model_validate(
        {"id": "K", "work": ("burnout",), "circuit": "c", "volts": 230, "amps": 13, "kilowatts": 3, "wall_mm": 75}
        | {"max_temperature_c": 1000, "inside_mm": (300, 300), "brick": "fibre", "load_minutes": 20}
        | {"unload_minutes": unload_minutes}
    )


@pytest.mark.parametrize(
    ("diameters", "row"), [((40,), 0), ((65,), 0), ((65.1,), 1), ((40, 90), 1), ((40, 90, 101), 2), ((5000,), 2)]
)
def test_the_largest_load_picks_the_size_row(diameters: tuple[float, ...], row: int) -> None:
    assert size_row(flasks(65, 100, None), [load(diameter_mm=d) for d in diameters]) == row


def test_a_load_without_the_measure_or_too_large_for_every_row_has_no_size_row() -> None:
    with pytest.raises(LookupError, match="gives no diameter_mm"):
        size_row(flasks(65), [load(diameter_mm=40), load(id="L2")])
    with pytest.raises(LookupError, match="no size row"):
        size_row(flasks(65), [load(diameter_mm=66)])


def test_a_profile_without_sizes_needs_no_measure() -> None:
    assert size_row(Profile(id="P", work="bisque", own_segments=(SEGMENT,)), [load()]) is None


# Worked by hand: ten pieces of 100 cm².
@pytest.mark.parametrize(
    ("shelf_cm2", "full", "rest_cm2"),
    [(1000, 0, 1000), (999.9, 1, 100), (500, 1, 500), (400, 2, 200), (350, 3, 100), (199, 9, 100), (100, 9, 100)],
)
def test_a_load_larger_than_a_layer_fills_some_and_shares_the_last(
    shelf_cm2: float, full: int, rest_cm2: float
) -> None:
    assert area_on_last_layer_cm2(load(), shelf_cm2) == (full, pytest.approx(rest_cm2))


def test_a_piece_larger_than_the_layer_lies_nowhere() -> None:
    assert pieces_on_a_layer(load(), 99) == 0
    with pytest.raises(LookupError, match="larger than the shelf"):
        area_on_last_layer_cm2(load(), 99)


@given(st.integers(1, 500), st.integers(1, 2000), st.integers(100, 10_000))
def test_no_area_is_lost_or_won_over_the_layers(pieces: int, each_cm2: int, shelf_cm2: int) -> None:
    lot = load(pieces=pieces, footprint_cm2=pieces * each_cm2)
    if each_cm2 > shelf_cm2:
        return
    full, rest_cm2 = area_on_last_layer_cm2(lot, shelf_cm2)
    on_full = pieces_on_a_layer(lot, shelf_cm2) * each_cm2
    assert 0 < rest_cm2 <= shelf_cm2 + 1e-6
    assert full * on_full + rest_cm2 == pytest.approx(pieces * each_cm2)


def test_sessions_follow_one_another_and_unnamed_ones_are_one_unloading() -> None:
    assert session_minutes(kiln(20), [load(session_minutes="1:30"), load(session_minutes="0:30")]) == 120
    assert session_minutes(kiln(20), [load(session_minutes="1:30"), load(), load()]) == 110
    assert session_minutes(kiln(20), [load()]) == 20


def test_a_load_does_not_wait_for_itself() -> None:
    with pytest.raises(ValidationError, match="names the load itself"):
        load(after="L1")


@pytest.mark.parametrize("typed", ["Buff stoneware", " buff  stoneware ", "BUFF\u00a0STONEWARE"])
def test_a_family_is_compared_without_regard_to_capitals_and_blanks(typed: str) -> None:
    assert load(family=typed).family_key == load(family="buff stoneware").family_key
    assert load(family=typed).family_key != load(family="bluff stoneware").family_key
    assert load(family="").family_key == load(family=None).family_key
