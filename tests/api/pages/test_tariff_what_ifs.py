"""Another tariff as a what-if: one price at all hours, another one for some hours, and one fault for each mistake."""

from __future__ import annotations

import html
import re
from typing import Any

import pytest

from api.pages.forms import Form
from api.pages.supposed_tariff import supposed_tariff
from api.wire import read_record
from scheduler.audit import AuditedPlan
from shared.studio import Band, Studio, Tariff
from tests.api.pages.conftest import Reader
from tests.api.pages.test_plan_pages import heading, solved

NIGHTS = Band.model_validate({"days": ("sat", "sun"), "begins": 1320, "ends": 480, "price": 0.11})


def supposed(studio: Studio, **fields: str | list[str]) -> Tariff:
    sent = {name: [value] if isinstance(value, str) else value for name, value in fields.items()}
    return read_record(Tariff, supposed_tariff(Form(sent), studio), "tariff", studio.place)


def faults(text: str) -> list[str]:
    listed = re.search(r'<div class="fault" role="alert">.*?</div>', text, re.DOTALL)
    assert listed is not None, text
    return [html.unescape(one) for one in re.findall(r"<li>(.*?)</li>", listed[0])]


@pytest.fixture
def banded(audited: AuditedPlan) -> Studio:
    """The small studio, with cheaper energy in the nights that follow Saturdays and Sundays."""
    return audited.studio.model_copy(update={"tariff": Tariff(default=0.3, bands=(NIGHTS,))})


def test_a_price_at_all_hours_takes_the_place_of_all_prices(banded: Studio) -> None:
    assert supposed(banded, flat="0.2") == Tariff(default=0.2)


def test_a_price_for_some_hours_goes_before_the_prices_that_there_are(banded: Studio) -> None:
    """Of several bands the first that holds counts."""
    found = supposed(banded, price="0.5", days=["mon", "sun"], **{"from": "17:00", "to": "23:00"})
    evening = Band.model_validate({"days": ("mon", "sun"), "begins": 1020, "ends": 1380, "price": 0.5})
    assert found == Tariff(default=0.3, bands=(evening, NIGHTS))


def test_both_prices_make_a_tariff_of_two(banded: Studio) -> None:
    found = supposed(banded, flat="0.2", price="0", **{"from": "22:00", "to": "06:00"})
    assert found.default == 0.2
    (band,) = found.bands
    assert (band.begins, band.ends, band.price, len(band.days)) == (1320, 360, 0.0, 7)


def test_another_tariff_is_planned_and_told_beside_the_present_one(pages: Reader) -> None:
    """A third of the price at all hours: the same firings cost a third."""
    text = pages.get("Marta", "/what-if?try=tariff").text
    assert "Now: 0.3 EUR per kWh at all hours." in text
    path = solved(pages, pages.post("Marta", "/what-if", {"try": "tariff", "flat": "0.1", "work": "1"}))
    told = "another tariff: 0.1 EUR per kWh at all hours, instead of 0.3 EUR per kWh at all hours"
    assert heading(pages, path) == f"Plan 2, what if: {told}"
    found = pages.house.get("Marta", f"/plans/{path.split('/')[-1]}")["plan"]
    for firing in found["firings"]:
        assert firing["energy_cost"] == pytest.approx(0.1 * firing["kwh"], rel=1e-3, abs=0.006)
    published = pages.house.get("Marta", "/plans/1")["plan"]
    assert published["firings"][0]["energy_cost"] == pytest.approx(0.3 * published["firings"][0]["kwh"], rel=1e-3)


def test_another_price_for_some_hours_is_told_with_them_in_german_too(pages: Reader) -> None:
    form = {"try": "tariff", "price": "0.05", "days": ["mon", "tue"], "from": "22:00", "to": "06:00", "work": "1"}
    path = solved(pages, pages.post("Marta", "/what-if", form))
    assert heading(pages, path) == (
        "Plan 2, what if: another tariff: 0.05 EUR per kWh Mon, Tue 22:00–06:00; 0.3 EUR at all other hours, "
        "instead of 0.3 EUR per kWh at all hours"
    )
    assert heading(pages, path, "de") == (
        "Plan 2, was wäre, wenn: ein anderer Tarif: 0,05 EUR je kWh Mo, Di 22:00–06:00; 0,3 EUR zu allen anderen "
        "Zeiten, statt 0,3 EUR je kWh rund um die Uhr"
    )
    text = pages.get("Marta", path).text
    kept = dict(re.findall(r'<input type="hidden" name="(price|from|to)" value="([^"]*)">', text))
    assert kept == {"price": "0.05", "from": "22:00", "to": "06:00"}, "the same can be searched longer"


@pytest.mark.parametrize(
    ("form", "told"),
    [
        ({}, ["say a price at all hours, or one for some hours"]),
        ({"flat": "cheap"}, ["Price per kWh at all hours, EUR: 'cheap' is no number from 0 on; write it as 0.25"]),
        ({"flat": "-0.1"}, ["Price per kWh at all hours, EUR: '-0.1' is no number from 0 on; write it as 0.25"]),
        ({"price": "0.1"}, ["From: is missing; write it as 22:00", "To: is missing; write it as 22:00"]),
        (
            {"days": ["mon"], "from": "22:00", "to": "06:00"},
            ["Price per kWh in these hours, EUR: is missing; write it as 0.25"],
        ),
        (
            {"flat": "x", "price": "y", "from": "22:00"},
            [
                "Price per kWh at all hours, EUR: 'x' is no number from 0 on; write it as 0.25",
                "Price per kWh in these hours, EUR: 'y' is no number from 0 on; write it as 0.25",
                "To: is missing; write it as 22:00",
            ],
        ),
    ],
)
def test_each_mistake_has_one_fault_and_what_was_said_stays(
    read_only: Reader, form: dict[str, Any], told: list[str]
) -> None:
    answer = read_only.post("Marta", "/what-if", {"try": "tariff", "work": "1", **form})
    assert answer.status_code == 422
    assert faults(answer.text) == told
    for name in ("flat", "price", "from"):
        if name in form:
            assert re.search(rf'name="{name}"[^>]* value="{re.escape(form[name])}"', answer.text)
    assert answer.text.count(" checked") == len(form.get("days", []))


def test_an_hour_that_is_none_and_a_day_that_is_none_are_told_beside_the_price(read_only: Reader) -> None:
    """No browser sends them; a program may."""
    form = {"try": "tariff", "price": "-1", "days": "caturday", "from": "25:10", "to": "06:00"}
    assert faults(read_only.post("Marta", "/what-if", form).text) == [
        "Price per kWh in these hours, EUR: '-1' is no number from 0 on; write it as 0.25",
        "On: 'caturday' is no day of the week; tick days of the list",
        'From: "25:10" is not a time of day; write it as "09:30"',
    ]


def test_a_german_decimal_comma_is_a_price_and_the_fault_is_german(read_only: Reader) -> None:
    german = {"accept-language": "de"}
    form = {"try": "tariff", "flat": "0,2", "price": "0,1", "from": "22:00"}
    found = faults(read_only.post("Marta", "/what-if", form, headers=german).text)
    assert found == ["Bis: fehlt; als 22:00 schreiben"]
