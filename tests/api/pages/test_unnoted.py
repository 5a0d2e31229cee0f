"""Firings that have begun by the plan and that nobody has noted: asked about before anything is planned."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest

from api.storage.tables import BookedLoad, FiringRecord
from tests.api.pages.conftest import Reader
from tests.api.pages.test_plan_pages import solved
from tests.api.service.house import Clock

WENT = {"others": "went"}


def states(pages: Reader) -> dict[str, str]:
    with pages.house.service.store.read() as session:
        return {row.key: row.state for row in session.query(BookedLoad)}


def noted(pages: Reader) -> dict[str, str]:
    with pages.house.service.store.read() as session:
        return {row.firing_id: row.state for row in session.query(FiringRecord)}


@pytest.fixture
def later(pages: Reader, clock: Clock) -> Reader:
    """Two days after the plan's first firing was to begin; nothing is noted."""
    clock.now += timedelta(days=2)
    return pages


def test_nothing_is_asked_while_nothing_has_begun(pages: Reader) -> None:
    assert "There is none" in pages.get("Wout", "/unnoted").text
    assert 'name="others"' not in pages.get("Wout", "/broke").text


@pytest.mark.parametrize(("who", "path", "form"), [
    ("Marta", "/plans", {"day": "2026-12-03"}),
    ("Marta", "/what-if", {"try": "kiln", "kiln": "K4", "work": "1"}),
    ("Wout", "/broke", {"kiln": "K2", "work": "1"}),
])  # fmt: skip
def test_nothing_is_planned_before_it_is_known_what_was_fired(
    later: Reader, who: str, path: str, form: dict[str, str]
) -> None:
    answer = later.post(who, path, form)
    assert answer.status_code in (409, 422)
    assert "F1" in answer.text
    assert 'href="/unnoted"' in answer.text or 'name="others"' in answer.text
    assert noted(later) == {}


def test_what_went_by_the_plan_is_noted_and_never_planned_again(later: Reader) -> None:
    """Its loads are fired: a plan made afresh does not have them, and the plan that holds goes on."""
    before = set(re.findall(r'name="not" value="(\w+)"', later.get("Wout", "/unnoted").text))
    assert "F1" in before
    assert later.post("Wout", "/unnoted", WENT).headers["location"] == "/day?said=done"
    assert set(noted(later)) == before
    assert "There is none" in later.get("Wout", "/unnoted").text
    out = {firing for firing, state in noted(later).items() if state == "opened"}
    assert out
    fired = {load for load, state in states(later).items() if state == "fired"}
    assert fired
    with later.house.service.store.read() as session:
        loads = {load for row in session.query(FiringRecord) if row.firing_id in out for load in row.planned["loads"]}
    assert fired == loads


def test_what_did_not_happen_is_planned_again_and_the_rest_is_not(later: Reader) -> None:
    path = solved(later, later.post("Wout", "/unnoted", {"not": "F1", **WENT, "work": "1"}))
    text = later.get("Wout", path).text
    assert "F1" not in noted(later)
    assert "by what was noted or said it did not" in text
    loads = {load for load, state in states(later).items() if state == "waiting"}
    assert "B1" in loads or "C1" in loads


def test_the_form_of_what_broke_asks_and_keeps_what_was_said(later: Reader) -> None:
    refused = later.post("Wout", "/broke", {"kiln": "K2", "not": "F1", "again": "C1", "work": "1"})
    assert refused.status_code == 422
    assert '<input type="checkbox" name="not" value="F1" checked>' in refused.text
    assert '<input type="hidden" name="again" value="C1">' in refused.text
    assert noted(later) == {}
    solved(later, later.post("Wout", "/broke", {"kiln": "K2", **WENT, "work": "1"}))
    assert "F1" in noted(later)


def test_a_wrong_event_is_refused_before_anything_is_noted(later: Reader) -> None:
    assert later.post("Wout", "/broke", {"kiln": "K9", **WENT}).status_code == 422
    assert noted(later) == {}


def test_the_question_is_put_in_german_too(later: Reader) -> None:
    text = later.get("Wout", "/unnoted", headers={"accept-language": "de"}).text
    assert "Was wurde aus diesen Bränden?" in text
    assert "nach dem Plan" in text


def test_members_are_not_asked(later: Reader) -> None:
    assert later.get("Ana", "/unnoted").status_code == 403
    assert later.post("Ana", "/unnoted", WENT).status_code == 403
