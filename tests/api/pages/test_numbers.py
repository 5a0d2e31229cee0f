"""Numbers in forms: read as the reader's language writes them, shown so, and never guessed where there are two ways."""

from __future__ import annotations

import html
import re

import pytest

from api.pages.forms import TwoWaysError, field_number, field_query, read_number
from tests.api.pages.conftest import Reader
from tests.api.pages.test_load_pages import BOWLS

GERMAN = {"accept-language": "de"}


@pytest.mark.parametrize(
    ("text", "decimal", "number"),
    [
        ("5,5", ",", 5.5),
        ("5.5", ",", 5.5),
        ("5,5", ".", 5.5),
        ("1,125", ",", 1.125),
        ("1.125", ".", 1.125),
        ("0.350", ",", 0.35),
        ("12.5000", ",", 12.5),
        ("1 200", ",", 1200.0),
        ("1\u202f200,5", ",", 1200.5),
        ("-20", ",", -20.0),
    ],
)
def test_a_number_is_read_with_a_comma_or_a_point(text: str, decimal: str, number: float) -> None:
    assert read_number(text, decimal) == number


@pytest.mark.parametrize(("text", "decimal"), [("1.200", ","), ("1,200", "."), ("120.000", ","), ("-1.200", ",")])
def test_a_mark_that_may_part_thousands_is_not_guessed(text: str, decimal: str) -> None:
    with pytest.raises(TwoWaysError):
        read_number(text, decimal)


@pytest.mark.parametrize("text", ["", "heavy", "nan", "inf", "1e5", "1_000", "1.200,5", "1.200.500", "5,", ",5", "0x1"])
def test_what_is_no_number_is_none_in_any_language(text: str) -> None:
    for decimal in ".,":
        with pytest.raises(ValueError, match=re.escape(text) or None):
            read_number(text, decimal)


@pytest.mark.parametrize("value", [0.0, 1.125, 1200.0, 123456.75, 0.001, 31.25])
def test_what_a_form_shows_is_read_back_as_the_same(value: float) -> None:
    for decimal in ".,":
        assert read_number(field_number(value, decimal), decimal) == value
        assert read_number(field_query(str(value), decimal), decimal) == value


def test_a_german_reader_types_commas_and_sees_them_again(pages: Reader) -> None:
    form = BOWLS | {"mass_kg": "5,125", "gap_hours": "1,5"}  # a gap after no load is asked about
    booked = pages.insist("Ana", "/loads/new", form, headers=GERMAN)
    path = booked.headers["location"].removesuffix("?said=done")
    load = pages.house.get("Ana", path)["load"]
    assert (load["mass_kg"], load["gap_hours"]) == (5.125, "1:30")
    form = pages.get("Ana", f"{path}/change", headers=GERMAN).text
    assert 'name="mass_kg" type="text" value="5,125"' in form
    assert 'name="mass_kg" type="text" value="5.125"' in pages.get("Ana", f"{path}/change").text
    again = dict(re.findall(r'name="(\w+)" type="text" value="([^"]+)"', form))
    assert "<td>5,125</td>" in pages.get("Ana", path, headers=GERMAN).text
    kept = pages.insist("Ana", f"{path}/change", BOWLS | again | {"version": "1"}, headers=GERMAN)
    assert kept.status_code == 303, kept.text
    assert pages.house.get("Ana", path)["load"]["mass_kg"] == 5.125


def test_a_number_that_can_be_read_in_two_ways_is_asked_about_in_the_readers_language(pages: Reader) -> None:
    form = BOWLS | {"footprint_cm2": "1.200", "height_mm": "1.050"}
    answer = html.unescape(pages.post("Ana", "/loads/new", form, headers=GERMAN).text)
    assert "'1.200' lässt sich auf zwei Arten lesen; 1200 oder 1,2 schreiben, wie es gemeint ist" in answer
    assert "1050 oder 1,05" in answer
    assert 'value="1.200"' in answer
    assert pages.insist("Ana", "/loads/new", form).status_code == 303, "in English a point is a decimal point"


def test_prices_are_kept_and_shown_with_a_comma(pages: Reader) -> None:
    rule = {"version": "0", "firing": "4,50", "litre": "0,125", "energy_factor": "1", "energy_by_mass": "0,5"}
    assert pages.post("Marta", "/costs", rule, headers=GERMAN).status_code == 303
    assert pages.house.get("Marta", "/cost-rule")["rule"]["litre"] == 0.125
    shown = pages.get("Marta", "/costs", headers=GERMAN).text
    assert 'value="0,125"' in shown
    assert 'value="4,5"' in shown
    assert pages.post("Marta", "/costs", rule | {"version": "1", "firing": "1.250"}, headers=GERMAN).status_code == 422


def test_amperes_hours_and_meter_take_commas_and_refuse_what_is_unclear(pages: Reader) -> None:
    for path, form in (
        ("/what-if", {"try": "current", "circuit": "bench", "amps": "1.063"}),
        ("/broke", {"late": "F1", "hours": "1.250"}),
        ("/firings/F1/reading", {"temperature": "1.050"}),
    ):
        answer = pages.post("Marta", path, form, headers=GERMAN)
        assert answer.status_code == 422, path
        assert "lässt sich auf zwei Arten lesen" in html.unescape(answer.text), path
    shown = pages.get("Marta", "/what-if?try=current&circuit=bench&amps=31.25", headers=GERMAN).text
    assert 'name="amps" inputmode="decimal" value="31,25"' in shown
    late = pages.get("Marta", "/broke?late=F1&hours=2.25", headers=GERMAN).text
    assert 'value="2,25"' in late
