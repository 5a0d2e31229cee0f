"""A firing is fixed and let go, dragged on the week's picture, and what would mend a late load is looked for."""

from __future__ import annotations

import re
from typing import Any

import pytest

from tests.browser.conftest import NARROW, WIDE, Heard, Running, open_page, sign_in
from tests.browser.hands import Hands, Keys, Pointer
from tests.browser.test_every_page import violations

HANDS = [pytest.param(Pointer(), NARROW, id="phone"), pytest.param(Keys(), WIDE, id="keyboard")]
SOLVED_MS = 60_000


@pytest.mark.parametrize(("hands", "size"), HANDS)
def test_a_firing_is_fixed_seen_in_the_week_and_let_go(
    settled: Running, chromium: Any, heard: Heard, hands: Hands, size: tuple[int, int]
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    page = open_page(chromium, heard, size)
    sign_in(page, settled, "Wout")
    page.goto(f"{settled.address}/firings/F2")
    hands.press(page, page.get_by_role("button", name="Fix it here"))
    page.wait_for_url("**/firings/F2?said=done")
    assert page.get_by_text("Fixed here by hand (Wout, ").is_visible()
    assert violations(Axe(), page) == []
    page.goto(f"{settled.address}/week")
    assert page.locator("svg text", has_text="F2 · fixed").count() == 1
    assert violations(Axe(), page) == []
    page.goto(f"{settled.address}/day?date=2026-11-30")
    assert page.locator(".badge.fixed").is_visible()
    page.goto(f"{settled.address}/firings/F2")
    hands.press(page, page.get_by_role("button", name="Let it go again"))
    page.wait_for_url("**/firings/F2?said=done")
    assert page.get_by_role("button", name="Fix it here").is_visible()


def dragged(page: Any, running: Running, by: float, down: float) -> None:
    """F2 pressed on the week's picture and moved by some hundredths of the picture's width and height; still held."""
    page.goto(f"{running.address}/week")
    firing = page.locator("a[data-firing=F2] .frame")
    box, picture = firing.bounding_box(), page.locator("svg[data-grid]").bounding_box()
    x, y = box["x"] + min(20, box["width"] / 2), box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + by * picture["width"] / 200, y)
    page.mouse.move(x + by * picture["width"] / 100, y + down, steps=4)


def test_a_firing_is_dragged_to_a_later_time_and_the_audit_answers_before_anything_is_published(
    settled: Running, chromium: Any, heard: Heard
) -> None:
    page = open_page(chromium, heard, WIDE)
    sign_in(page, settled, "Wout")
    dragged(page, settled, 2.5, 0)
    told = page.locator(".ghost-text").text_content()
    assert re.fullmatch(r"F2 → K2, \d+:(00|15|30|45) h later", told)
    page.mouse.up()
    page.wait_for_url(re.compile(r"/firings/F2\?kiln=K2&later=\d+#move-head$"))
    later = int(re.search(r"later=(\d+)", page.url)[1])  # type: ignore[index]
    assert later % 15 == 0
    hours, minutes = re.search(r"(\d+):(\d+) h", told).groups()  # type: ignore[union-attr]
    assert later == int(hours) * 60 + int(minutes)
    load = 9 * 60 + 30 + later
    assert page.get_by_label("Load (needed)").input_value() == f"2026-11-30T{load // 60:02}:{load % 60:02}"
    assert page.locator("#move-answer").get_by_text("In K2: start").is_visible()
    page.goto(f"{settled.address}/plans")
    assert page.get_by_role("link", name="Plan 2").count() == 0


def test_a_firing_is_dragged_into_a_kiln_that_cannot_take_it_and_the_answer_says_so(
    settled: Running, chromium: Any, heard: Heard
) -> None:
    page = open_page(chromium, heard, WIDE)
    sign_in(page, settled, "Wout")
    page.goto(f"{settled.address}/week")
    tops = [page.locator(f"[data-kiln={kiln}]").bounding_box()["y"] for kiln in ("K2", "K4")]
    dragged(page, settled, 0.05, tops[1] - tops[0])
    page.mouse.up()
    page.wait_for_url(re.compile(r"/firings/F2\?kiln=K4&later="))
    text = page.inner_text("main")
    assert any(said in text for said in ("kiln does not fire this", "do not fit", "does not reach"))
    heard.complaints.clear()  # the browser notes that the answer was a refusal


def test_escape_ends_a_drag_and_a_click_still_opens_the_firing(settled: Running, chromium: Any, heard: Heard) -> None:
    page = open_page(chromium, heard, WIDE)
    sign_in(page, settled, "Wout")
    dragged(page, settled, 2.5, 0)
    page.keyboard.press("Escape")
    assert page.locator(".ghost").count() == 0
    page.mouse.up()
    assert page.url.endswith("/week")
    page.locator("a[data-firing=F2] .frame").click()
    page.wait_for_url("**/firings/F2")


def test_what_would_mend_a_late_load_is_answered_with_and_without_scripts(
    settled: Running, chromium: Any, heard: Heard
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    for scripts in (False, True):
        page = open_page(chromium, heard, NARROW, java_script_enabled=scripts)
        sign_in(page, settled, "Marta")
        page.goto(f"{settled.address}/trouble/B2")
        page.get_by_role("button", name=re.compile("What would mend this|Look again")).click()
        page.wait_for_url("**/trouble/B2", timeout=SOLVED_MS)
        page.get_by_text("What keeps it:").wait_for()
        assert page.get_by_role("button", name="Promise a later day").is_visible()
    assert violations(Axe(), page) == []
    page.goto(f"{settled.address}/trouble")
    assert page.get_by_role("link", name=re.compile("What would mend it: \\d way")).is_visible()


def test_refusals_are_pages(settled: Running, chromium: Any, heard: Heard) -> None:
    from axe_playwright_python.sync_playwright import Axe

    page = open_page(chromium, heard, NARROW)
    sign_in(page, settled, "Wout")
    for path, status in (("/none/such", 404), ("/people", 403)):
        assert page.goto(f"{settled.address}{path}").status == status
        assert page.get_by_role("link", name="Back to the front").is_visible()
        assert violations(Axe(), page) == []
    heard.complaints.clear()  # the browser notes a refusal by itself
