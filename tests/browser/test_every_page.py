"""Every page: no violation that axe-core finds, nothing wider than the screen, readable without scripts."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from api.notices import moved_key, raise_notice
from api.storage.tables import Notice, Person
from api.words import tell
from tests.browser.conftest import NARROW, WIDE, Heard, Running, open_page, sign_in

PAGES = (
    "/day?date=2026-11-30", "/week", "/firings/F1", "/firings/F3", "/loads", "/loads/new", "/loads/B1",
    "/loads/B1/change", "/trouble", "/broke", "/plans", "/plans/1", "/what-if?try=hours", "/what-if?try=tariff",
    "/kilns", "/circuits", "/people", "/shifts", "/unnoted", "/trouble/B2", "/costs", "/me", "/more",
    "/sheets/2026-11-30", "/sheets/2026-11-30/overview", "/sheets/2026-11-30/kiln/K1", "/sessions?date=2026-12-01",
    "/tags",
)  # fmt: skip


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["desk", "phone"])
def test_every_page_is_accessible_and_fits(
    settled: Running, chromium: Any, heard: Heard, size: tuple[int, int]
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    axe = Axe()
    page = open_page(chromium, heard, size)
    found = {}
    for path in ("/sign-in", "/welcome?link=none"):
        page.goto(f"{settled.address}{path}")
        found[path] = violations(axe, page)
    sign_in(page, settled, "Marta")
    for path in PAGES:
        answer = page.goto(f"{settled.address}{path}")
        assert answer.status == 200, path
        assert len(answer.body()) < 200_000
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
        found[path] = violations(axe, page)
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), f"{path} is wider than the screen"
    assert {path: names for path, names in found.items() if names} == {}


def test_every_page_fits_a_phone_in_german_too(settled: Running, chromium: Any, heard: Heard) -> None:
    page = open_page(chromium, heard, NARROW)
    sign_in(page, settled, "Marta")
    page.get_by_role("button", name="Deutsch").click()
    page.wait_for_load_state()
    wide = []
    for path in PAGES:
        page.goto(f"{settled.address}{path}")
        assert page.locator("html").get_attribute("lang") == "de"
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
        if not page.evaluate("document.documentElement.scrollWidth <= innerWidth"):
            wide.append(path)
    assert wide == []


def test_fields_beside_one_another_stand_in_line_however_long_their_labels(
    settled: Running, chromium: Any, heard: Heard
) -> None:
    page = open_page(chromium, heard, WIDE)
    sign_in(page, settled, "Marta")
    page.goto(f"{settled.address}/loads/new")
    boxes = page.evaluate(
        """() => [...document.querySelectorAll('.fields > .field')].map(one => [
            Math.round(one.getBoundingClientRect().top),
            Math.round(one.querySelector('input, select').getBoundingClientRect().top),
            Math.round(one.querySelector('label').getBoundingClientRect().height)])"""
    )
    rows: dict[int, list[tuple[int, int]]] = {}
    for top, box, label in boxes:
        rows.setdefault(top, []).append((box, label))
    several = [row for row in rows.values() if len({label for _, label in row}) > 1]
    assert several, "all labels are of one line: nothing was tested"
    assert all(len({box for box, _ in row}) == 1 for row in rows.values()), rows


@pytest.fixture
def later(settled: Running) -> Iterator[Running]:
    """The same on Tuesday at 14:00: two firings should be out and one cool, nobody has noted any, and loads moved."""
    clock, at = settled.clock, settled.clock.now
    clock.move(hours=30)
    with settled.service.store.write() as session:
        ana = session.query(Person).filter(Person.name == "Ana").one().id
        for load, person in (("B1", ana), ("B2", None)):
            text = tell("notice.no_place", load=load)
            raise_notice(session, moved_key(1, load), "moved", clock.now, text, person_id=person)
    yield settled
    clock.now = at
    with settled.service.store.write() as session:
        session.query(Notice).delete()


@pytest.mark.parametrize("language", ["English", "Deutsch"])
@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["desk", "phone"])
def test_pages_of_what_nobody_noted_are_accessible_and_nothing_is_cut_off(
    later: Running, chromium: Any, heard: Heard, size: tuple[int, int], language: str
) -> None:
    from axe_playwright_python.sync_playwright import Axe

    axe = Axe()
    page = open_page(chromium, heard, size)
    sign_in(page, later, "Marta")
    if language == "Deutsch":
        page.get_by_role("button", name="Deutsch").click()
        page.wait_for_load_state()
    found, cut = {}, {}
    for path in ("/day?date=2026-12-01", "/firings/F1", "/firings/F2", "/loads/F1", "/unnoted"):
        page.goto(f"{later.address}{path}")
        page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true })")
        found[path] = violations(axe, page)
        cut[path] = page.evaluate(
            """() => [...document.querySelectorAll('main button, main summary, main .note, main .state')]
                .filter(one => one.scrollWidth > one.clientWidth + 1
                    || one.getBoundingClientRect().right > innerWidth).map(one => one.innerText)"""
        )
    assert {path: names for path, names in found.items() if names} == {}
    assert {path: texts for path, texts in cut.items() if texts} == {}
    page.goto(f"{later.address}/day?date=2026-12-01")
    asked = "bitte notieren, ob der Brand lief" if language == "Deutsch" else "please note whether it ran"
    assert page.get_by_text(asked).count() == 3


def test_members_errors_and_the_wall_are_accessible_too(settled: Running, chromium: Any, heard: Heard) -> None:
    from axe_playwright_python.sync_playwright import Axe

    axe = Axe()
    page = open_page(chromium, heard, NARROW)
    sign_in(page, settled, "Ana")
    found = {}
    for path in ("/loads", "/loads/new", "/day?date=2026-11-30", "/firings/F1", "/week", "/me", "/more", "/costs"):
        page.goto(f"{settled.address}{path}")
        found[path] = violations(axe, page)
    assert page.goto(f"{settled.address}/firings/F99").status == 404
    found["an error"] = violations(axe, page)
    page.goto(f"{settled.address}/display?key={settled.display}")
    assert page.get_by_text("Front loader").is_visible()
    found["the wall"] = violations(axe, page)
    assert {path: names for path, names in found.items() if names} == {}
    # The browser itself notes the error page's 404; nothing else.
    assert [text for text in heard.complaints if "404" not in text] == []
    heard.complaints.clear()


def violations(axe: Any, page: Any) -> list[str]:
    """What axe-core finds, all of its rules."""
    return [
        f"{rule['id']}: {rule['nodes'][0]['target']}: {rule['nodes'][0]['failureSummary']}"
        for rule in axe.run(page).response["violations"]
    ]


def test_pages_can_be_read_and_used_without_scripts(settled: Running, chromium: Any, heard: Heard) -> None:
    page = open_page(chromium, heard, NARROW, java_script_enabled=False)
    sign_in(page, settled, "Marta")
    for path, text in (("/day?date=2026-11-30", "Front loader"), ("/week", "Current on each leg"), ("/loads", "B1")):
        page.goto(f"{settled.address}{path}")
        assert text in page.inner_text("main")
    page.goto(f"{settled.address}/firings/F2")
    page.get_by_role("button", name="What would that break?").click()
    assert "It breaks no rule." in page.inner_text("main")


def test_the_first_tab_stop_leads_past_the_menu(settled: Running, chromium: Any, heard: Heard) -> None:
    page = open_page(chromium, heard, WIDE)
    sign_in(page, settled, "Marta")
    page.goto(f"{settled.address}/day")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"


def test_the_pages_speak_german_to_whoever_asks_for_it(settled: Running, chromium: Any, heard: Heard) -> None:
    page = open_page(chromium, heard, NARROW)
    sign_in(page, settled, "Marta")
    page.goto(f"{settled.address}/day")
    page.get_by_role("button", name="Deutsch").click()
    assert page.locator("html").get_attribute("lang") == "de"
    assert page.get_by_role("link", name="Woche").is_visible()
    page.get_by_role("button", name="English").click()
    assert page.get_by_role("link", name="Week").is_visible()


def test_printing_leaves_out_what_cannot_be_pressed_on_paper(settled: Running, chromium: Any, heard: Heard) -> None:
    page = open_page(chromium, heard, WIDE)
    sign_in(page, settled, "Marta")
    page.goto(f"{settled.address}/day")
    page.emulate_media(media="print")
    assert not page.get_by_role("navigation", name="Pages").is_visible()
    assert page.get_by_text("The plan does not make a firing safe.").is_visible()
