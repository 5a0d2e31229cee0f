"""The manager's whole story and the member's, at a desk and on a phone, and once more by keyboard alone."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest

from tests.api.service.house import PASSWORD
from tests.browser.conftest import NARROW, WIDE, Heard, Running, open_page, sign_in
from tests.browser.hands import Hands, Keys, Pointer

HANDS = [pytest.param(Pointer(), WIDE, id="desk"), pytest.param(Pointer(), NARROW, id="phone"),
         pytest.param(Keys(), WIDE, id="keyboard")]  # fmt: skip
SOLVED_MS = 60_000


def book(page: Any, hands: Hands, owner: str | None = None) -> None:
    """Fill the booking form."""
    hands.choose(page, page.get_by_label("Firing"), "Bisque, cone 04")
    for label, text in (
        ("Pieces (needed)", "12"),
        ("Shelf area", "900"),
        ("Tallest piece", "80"),
        ("Mass of all", "4.5"),
    ):
        hands.write(page, page.get_by_label(label), text)
    hands.write(page, page.get_by_label("Clay, glass or metal"), "buff")
    if owner is not None:
        hands.write(page, page.get_by_label("Whose, if they do not sign in"), owner)


def make_and_publish(page: Any, hands: Hands) -> None:
    """From a solve that runs to a plan that holds."""
    page.wait_for_url(re.compile(r"/plans/\d+$"), timeout=SOLVED_MS)
    hands.press(page, page.get_by_role("button", name="Publish this plan"))
    page.wait_for_url("**/day?said=done")


@pytest.mark.parametrize(("hands", "size"), HANDS)
def test_the_manager_plans_prints_and_mends(
    bare: Running, chromium: Any, heard: Heard, hands: Hands, size: tuple[int, int]
) -> None:
    """Sign in by the first link, book, plan, publish, print, break a kiln, plan again, publish."""
    page = open_page(chromium, heard, size)
    secret = bare.service.accounts.first_link(bare.service.now())
    page.goto(f"{bare.address}/welcome?link={secret}")
    hands.write(page, page.get_by_label("Name"), "Marta")
    hands.write(page, page.get_by_label("New password"), PASSWORD)
    hands.press(page, page.get_by_role("button", name="Set password and come in"))
    page.wait_for_url("**/day")

    hands.press(page, page.get_by_role("link", name="Loads", exact=True))
    hands.press(page, page.get_by_role("link", name="Book a load"))
    page.wait_for_url("**/loads/new")
    book(page, hands, "Monday group")
    hands.press(page, page.get_by_role("button", name="Book it"))
    page.wait_for_url("**/loads/L*")
    assert "Monday group" in page.inner_text("h1")

    hands.press(page, page.get_by_role("link", name="Plans", exact=True))
    hands.choose(page, page.get_by_label("Search for"), "5 s")
    hands.press(page, page.get_by_role("button", name="Plan", exact=True))
    make_and_publish(page, hands)
    assert page.get_by_text("Monday 30 November 2026").is_visible()

    hands.press(page, page.get_by_role("link", name="Print"))
    page.wait_for_url("**/sheets/2026-11-30")
    with page.context.expect_page() as opened:
        page.evaluate("open(document.querySelector('a[href*=\"/kiln/K1\"]').href)")
    sheet = opened.value
    sheet.wait_for_load_state()
    assert sheet.get_by_text("Key in (°C)").first.is_visible()
    sheet.close()

    hands.press(page, page.get_by_role("link", name="Trouble"))
    hands.press(page, page.get_by_role("link", name="Something broke"))
    page.wait_for_url("**/broke")
    hands.press(page, page.get_by_label("K1 Front loader"))
    hands.press(page, page.get_by_role("button", name="Propose a new plan"))
    page.wait_for_url(re.compile(r"/plans/\d+$"), timeout=SOLVED_MS)
    assert page.get_by_role("heading", name="What changes, by person").is_visible()
    assert page.get_by_text("no place any more").first.is_visible()
    make_and_publish(page, hands)
    hands.press(page, page.get_by_role("link", name="Trouble"))
    page.wait_for_url("**/trouble")
    assert page.get_by_text("no place yet").first.is_visible()


@pytest.mark.parametrize(("hands", "size"), HANDS)
def test_a_member_books_sees_and_gets_the_calendar(
    settled: Running, chromium: Any, heard: Heard, hands: Hands, size: tuple[int, int]
) -> None:
    """The promise comes while the form is filled in, without a button."""
    page = open_page(chromium, heard, size)
    sign_in(page, settled, "Ana")
    page.wait_for_url("**/loads")
    hands.press(page, page.get_by_role("link", name="Book a load").first)
    page.wait_for_url("**/loads/new")
    book(page, hands)
    page.get_by_text("Earliest: out").wait_for()
    hands.press(page, page.get_by_role("button", name="Book it"))
    page.wait_for_url("**/loads/L*")
    assert page.get_by_text("no place in the plan that holds").is_visible()
    hands.press(page, page.get_by_role("link", name="My loads"))
    page.wait_for_url("**/loads")
    hands.press(page, page.get_by_role("link", name="K1 F1"))
    page.wait_for_url("**/firings/F1")
    assert page.get_by_role("heading", name="Expected course").is_visible()
    hands.press(page, page.get_by_role("link", name="Me", exact=True))
    hands.press(page, page.get_by_role("button", name="Make a calendar link"))
    address = page.locator("#made").inner_text()
    with urlopen(address) as answer:  # a calendar program, which sends no cookie
        calendar = answer.read().decode()
    assert "BEGIN:VEVENT" in calendar
    assert "B1 can be fetched" in calendar


def test_what_one_notes_another_sees_without_loading_the_page_again(
    settled: Running, chromium: Any, heard: Heard
) -> None:
    wall, tablet = open_page(chromium, heard, WIDE), open_page(chromium, heard, NARROW)
    for page, name in ((wall, "Marta"), (tablet, "Wout")):
        sign_in(page, settled, name)
        page.goto(f"{settled.address}/day?date=2026-11-30")
    tablet.get_by_role("button", name="K3 is loaded").click()
    tablet.wait_for_url("**said=done")
    wall.get_by_text("load · done 08:00").wait_for(timeout=8000)


def test_a_move_is_audited_while_it_is_chosen(settled: Running, chromium: Any, heard: Heard) -> None:
    page = open_page(chromium, heard, WIDE)
    sign_in(page, settled, "Wout")
    page.goto(f"{settled.address}/firings/F2")
    page.get_by_label("Load (needed)").fill("2026-11-30T08:30")
    page.get_by_text("hands: firing F2").first.wait_for()
    page.get_by_label("Load (needed)").fill("2026-11-30T09:30")
    page.get_by_text("It breaks no rule.").wait_for()


def test_a_curve_is_had_as_table_drawing_and_picture(
    settled: Running, chromium: Any, heard: Heard, tmp_path: Path
) -> None:
    page = open_page(chromium, heard, WIDE)
    sign_in(page, settled, "Wout")
    page.goto(f"{settled.address}/firings/F1")
    for name, begins in (("CSV", b"time,"), ("SVG", b"<svg"), ("PNG", b"\x89PNG")):
        with page.expect_download() as download:
            page.get_by_text(name, exact=True).click()
        download.value.save_as(tmp_path / name)
        assert (tmp_path / name).read_bytes().lstrip().startswith(begins)
