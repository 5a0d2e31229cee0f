"""The other tariff that a what-if's form supposes: one price at all hours, another one for named hours, or both."""

from __future__ import annotations

from typing import Any

from api.pages.forms import Form, TwoWaysError, read_number, two_ways
from api.problems import ProblemError
from api.wire import read_record, said
from api.words import Words, tell
from shared.clock import WEEKDAYS
from shared.errors import Fault, FolderError
from shared.studio import Band, Studio

FIELDS = ("flat", "price", "days", "from", "to")
"""The fields of the form: the price at all hours; the price for some, and which these are."""


def tariff_labels(words: Words, studio: Studio) -> dict[str, str]:
    """What the fields are called on the page, by their names; so the errors name them too."""
    currency = studio.place.currency
    return {
        "flat": words("what_if.flat", currency=currency),
        "price": words("what_if.price", currency=currency),
        "days": words("what_if.days"),
        "from": words("what_if.from"),
        "to": words("what_if.to"),
    }


def supposed_tariff(form: Form, studio: Studio) -> dict[str, Any]:
    """The tariff as it might be.

    A price at all hours takes the place of all prices that there are. One for named hours goes before them, since of
    several bands the first counts; without a day named it holds on every day.

    Raises
    ------
    ProblemError
        If the form says no price at all.
    FolderError
        With every fault of what it says.
    """
    if not any(form(name) for name in FIELDS):
        raise ProblemError(422, tell("refused.say_a_price"), name="faults")
    faults: list[Fault] = []
    tariff: dict[str, Any] = said(studio.tariff, studio.place)
    if form("flat"):
        tariff = {"default": _price(form, "flat", faults)}
    if any(form(name) for name in FIELDS[1:]):
        tariff["bands"] = [_band(form, studio, faults), *tariff.get("bands", ())]
    if faults:
        raise FolderError(faults)
    return tariff


def _price(form: Form, name: str, faults: list[Fault]) -> float:
    """A price per kWh; 0.0 with a fault where it is none."""
    try:
        price = read_number(form(name), form.decimal)
    except TwoWaysError:
        faults.append(Fault("form", name, *two_ways(form(name))))
        return 0.0
    except ValueError:
        price = -1.0
    if price < 0:
        faults.append(Fault("form", name, _wrong(form, name), tell("refused.price_kwh_do")))
        return 0.0
    return price


def _wrong(form: Form, name: str) -> str:
    return tell("refused.no_price", text=repr(form(name))) if form(name) else tell("refused.is_missing")


def _band(form: Form, studio: Studio, faults: list[Fault]) -> dict[str, Any]:
    band: dict[str, Any] = {"days": list(form.every("days") or WEEKDAYS), "from": form("from"), "to": form("to")}
    band["price"] = _price(form, "price", faults)
    missing = [name for name in ("from", "to") if not form(name)]
    faults += [Fault("form", name, tell("refused.is_missing"), tell("refused.hour_do")) for name in missing]
    strange = [day for day in band["days"] if day not in WEEKDAYS]
    faults += [
        Fault("form", "days", tell("refused.no_week_day", day=repr(day)), tell("refused.week_day_do"))
        for day in strange
    ]
    try:
        # What is wrong already has its fault; something right stands in for it, so that the rest is looked at too.
        right = {"days": list(WEEKDAYS)} | dict.fromkeys(missing, "00:00")
        read_record(Band, band | right, "tariff", studio.place)
    except FolderError as error:
        faults += error.faults
    return band
