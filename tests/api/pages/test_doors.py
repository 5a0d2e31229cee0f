"""Who sees which page; signing in; and that nothing leads out of the house."""

from __future__ import annotations

from html.parser import HTMLParser
from pathlib import Path

import pytest

from tests.api.pages.conftest import Reader
from tests.api.service.house import PASSWORD, running, template

FOR_ALL = ("/day", "/week", "/loads", "/loads/new", "/firings/F1", "/loads/B1", "/costs", "/me", "/more")
SHEETS = "/sheets/2026-11-30"
FOR_STAFF = ("/trouble", "/broke", "/plans", "/plans/1", "/kilns", "/circuits", SHEETS, f"{SHEETS}/overview",
             f"{SHEETS}/kiln/K1", "/sessions?date=2026-12-01", "/tags")  # fmt: skip
FOR_THE_MANAGER = ("/people", "/what-if")


@pytest.mark.parametrize("path", [*FOR_ALL, *FOR_STAFF, *FOR_THE_MANAGER])
def test_a_page_is_for_whom_it_is(read_only: Reader, path: str) -> None:
    allowed = {"Marta": True, "Wout": path not in FOR_THE_MANAGER, "Ana": path in FOR_ALL}
    for who, may in allowed.items():
        answer = read_only.get(who, path)
        assert answer.status_code == (200 if may else 403), (who, answer.text)
        assert "<h1" in answer.text
        assert len(answer.content) < 200_000
    stranger = read_only.get(None, path)
    assert stranger.status_code == 303
    assert stranger.headers["location"].startswith("/sign-in?then=/")


def test_before_a_plan_is_published_each_page_keeps_its_own_name(tmp_path: Path) -> None:
    with template("sqlite", tmp_path) as made, running(made.data, made.tokens) as house:
        for path, name in (("/day", "Day"), ("/week", "Week"), ("/trouble", "Trouble")):
            page = Reader(house).get("Marta", path).text
            assert f"<h1>{name}</h1>" in page
            assert "No plan has been published yet." in page


def test_members_see_their_own_work_alone(read_only: Reader) -> None:
    """Ana owns B1, which is fired in F1 with B2; Ben's F1 is fired in F2."""
    assert read_only.get("Ana", "/loads/B2").status_code == 404
    assert read_only.get("Ana", "/firings/F2").status_code == 404
    firing = read_only.get("Ana", "/firings/F1").text
    assert "/loads/B1" in firing
    assert "/loads/B2" not in firing
    day = read_only.get("Ana", "/day?date=2026-11-30").text
    assert "F1 Bisque" in day
    assert "Full fuse" not in day
    assert "Full fuse" not in read_only.get("Ana", "/week").text


def test_signing_in_leads_back_to_the_page_that_was_asked_for(read_only: Reader) -> None:
    answer = read_only.post(None, "/sign-in", {"name": "marta", "password": PASSWORD, "then": "/week?from=2026-11-30"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/week?from=2026-11-30")
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "samesite=lax" in cookie.lower()


@pytest.mark.parametrize("away", ["//evil.example", "https://evil.example/", "/\\evil.example", "javascript:x", "day"])
def test_signing_in_never_leads_to_another_site(read_only: Reader, away: str) -> None:
    answer = read_only.post(None, "/sign-in", {"name": "Marta", "password": PASSWORD, "then": away})
    assert answer.headers["location"] == "/"


def test_a_wrong_password_is_told_on_the_page(read_only: Reader) -> None:
    answer = read_only.post(None, "/sign-in", {"name": "Marta", "password": "not this one"})
    assert answer.status_code == 401
    assert "name and password do not go together" in answer.text


def test_a_form_that_another_site_sends_is_refused(read_only: Reader) -> None:
    answer = read_only.post(None, "/sign-in", {"name": "Marta"}, headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 403


def test_errors_are_pages_with_what_would_be_right(read_only: Reader) -> None:
    for path, text in (("/firings/F99", "there is no firing"), ("/day?date=yesterday", "write it as 2026-11-30")):
        answer = read_only.get("Marta", path)
        assert answer.status_code in (404, 422)
        assert text in answer.text
        assert "Traceback" not in answer.text


def test_the_wall_display_needs_its_own_link_and_changes_nothing(read_only: Reader) -> None:
    key = read_only.house.secrets["display"]
    shown = read_only.get(None, f"/display?key={key}")
    assert shown.status_code == 200
    assert "<button class=" not in shown.text
    assert read_only.get(None, "/display?key=wrong").status_code == 404
    assert read_only.post("display", "/firings/F1/note", {"step": "loaded", "version": "0"}).status_code == 403


class Links(HTMLParser):
    """Collects what a page loads."""

    def __init__(self) -> None:
        super().__init__()
        self.loaded: list[str] = []
        self.inline: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag in ("script", "img", "iframe") and given.get("src"):
            self.loaded.append(str(given["src"]))
        if tag == "link":
            self.loaded.append(str(given["href"]))
        self.inline += [name for name in given if name.startswith("on") or name == "style"]
        if tag == "style" or (tag == "script" and "src" not in given):
            self.inline.append(tag)


@pytest.mark.parametrize("path", [*FOR_ALL, "/trouble", "/plans/1", "/kilns", "/circuits", "/people", "/what-if"])
def test_pages_load_nothing_from_elsewhere_and_hold_no_code(read_only: Reader, path: str) -> None:
    found = Links()
    found.feed(read_only.get("Marta", path).text)
    assert found.inline == []
    assert found.loaded
    total = 0
    for address in found.loaded:
        answer = read_only.get(None, address)
        assert address.startswith("/static/")
        assert answer.status_code == 200
        total += len(answer.content)
    assert total < 60_000
