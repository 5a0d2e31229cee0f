"""What the pages of the house say in the house's own words: devices, shifts, fits, and who a link is for."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from api.pages.house_pages import device_name
from api.words import read_words
from shared.kilns import Fitted
from tests.api.pages.conftest import Reader
from tests.api.service.house import Clock, running, template


@pytest.mark.parametrize(("told", "name"), [
    ("Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 (KHTML, like Gecko)", "computer (Linux)"),
    ("Mozilla/5.0 (Linux; Android 14; Pixel) AppleWebKit/537.36 Mobile Safari/537.36", "phone (Android)"),
    ("Mozilla/5.0 (Linux; Android 14; SM-X700) AppleWebKit/537.36 Safari/537.36", "tablet (Android)"),
    ("Mozilla/5.0 (iPhone; CPU iPhone OS 17_0 like Mac OS X) AppleWebKit/605.1.15", "phone (iOS)"),
    ("Mozilla/5.0 (iPad; CPU OS 17_0 like Mac OS X) AppleWebKit/605.1.15", "tablet (iPadOS)"),
    ("Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) AppleWebKit/605.1.15", "computer (macOS)"),
    ("Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36", "computer (Windows)"),
    ("logger/2", "a program: logger/2"),
    ("", "a device that does not say what it is"),
])  # fmt: skip
def test_a_device_is_named_as_people_name_it(told: str, name: str) -> None:
    assert device_name(told, read_words("en")) == name


def test_shifts_are_listed_in_order_of_time(pages: Reader) -> None:
    for days, begins in (("sat", "10:00"), ("mon", "06:00")):
        sent = pages.post("Marta", "/shifts", {"days": days, "from": begins, "to": "23:00"})
        assert sent.status_code == 303, sent.text
    sent = pages.post("Marta", "/shifts", {"on": "2026-12-06", "from": "08:00", "to": "09:00"})
    assert sent.status_code == 303, sent.text
    text = pages.get("Marta", "/shifts").text
    assert re.findall(r"<td>(\d\d:\d\d)–", text) == ["06:00", "09:00", "18:00", "10:00", "08:00"]


def test_a_fit_says_what_to_do_with_it(pages: Reader) -> None:
    assert "have the elements and the supply looked at" not in pages.get("Wout", "/kilns").text
    house = pages.house
    with house.service.store.read() as session:
        kiln = house.service.studio(session).kiln_by_id["K1"]
    assert kiln.fitted == Fitted()
    part = next(one for one in house.get("Marta", "/studio/kilns") if one["body"]["id"] == "K1")
    body = part["body"] | {"fitted": {"power": 0.8, "loss": 1.0, "storage": 1.0}}
    changed = house.call("Marta", "PUT", "/studio/kilns/K1", {"version": part["version"], "body": body})
    assert changed.status_code == 200, changed.text
    assert "have the elements and the supply looked at" in pages.get("Wout", "/kilns").text


def test_whoever_has_an_account_is_told_whose_link_it_is_and_gives_no_name(tmp_path: Path, clock: Clock) -> None:
    with template("sqlite", tmp_path) as made, running(made.data, made.tokens, clock=clock) as house:
        people = house.get("Marta", "/people")
        ana = next(one for one in people if one["name"] == "Ana")
        told = house.post("Marta", f"/people/{ana['id']}/invitation")
        secret = next(str(value) for value in told.values() if isinstance(value, str)).rsplit("link=", 1)[-1]
        text = Reader(house).get(None, f"/welcome?link={secret}").text
        assert "You sign in as Ana." in text
        assert 'name="name"' not in text
        nobody = Reader(house).get(None, "/welcome?link=none").text
        assert 'name="name"' in nobody
        assert "You set the studio up" in nobody
        refused = Reader(house).post(None, "/welcome", {"link": secret, "password": "short"})
        assert refused.status_code == 422
        assert 'role="alert"' in refused.text
        assert "use at least 10 characters" in refused.text
        assert "You sign in as Ana." in refused.text


def test_a_password_that_is_too_short_reaches_the_page_that_says_so(read_only: Reader) -> None:
    """A browser that holds the form back shows a bubble for a moment, or nothing at all."""
    for who, path in ((None, "/welcome?link=none"), ("Ana", "/me")):
        assert "minlength" not in read_only.get(who, path).text
    refused = read_only.post("Ana", "/me/password", {"old": "four quiet kilns", "new": "short"})
    assert refused.status_code == 422
    assert "use at least 10 characters" in refused.text
