"""Firings that people fix: marked on every page, kept by planning, and let go with a word when they cannot stay."""

from __future__ import annotations

from typing import Any

import pytest

from api.storage.hold_store import held_firings, standing
from api.storage.tables import Change, Notice
from scheduler.audit import AuditedPlan
from tests.api.pages.conftest import Reader
from tests.api.pages.test_plan_pages import solved
from tests.api.service.house import Clock

LATER = {"kiln": "K2", "load_at": "2026-11-30T14:30", "start_at": "2026-11-30T16:00",
         "unload_at": "2026-12-02T09:00", "keep": "1"}  # fmt: skip
"""The fuse five hours later than planned, and opened a day later: no planner would."""


def holds(pages: Reader, audited: AuditedPlan) -> set[str]:
    with pages.house.service.store.read() as session:
        return set(held_firings(session, audited.plan))


def moved(pages: Reader) -> None:
    """F2 moved by hand, and published."""
    plan = pages.post("Marta", "/firings/F2/move", LATER).headers["location"]
    done = pages.post("Marta", f"{plan}/publish", {"publication": "1"})
    assert done.headers["location"] == "/day?said=done", done.text


def firing(pages: Reader, plan: str, load: str) -> Any:
    with pages.house.service.store.read() as session:
        audited = pages.house.service.audited(session, int(plan.rsplit("/", 1)[1]))
    return next(one for one in audited.plan.firings if load in one.loads)


def test_a_firing_is_fixed_and_let_go_with_a_button(pages: Reader, audited: AuditedPlan) -> None:
    assert "Fix it here" in pages.get("Wout", "/firings/F2").text
    assert pages.post("Wout", "/firings/F2/hold").headers["location"] == "/firings/F2?said=done"
    assert holds(pages, audited) == {"F2"}
    page = pages.get("Wout", "/firings/F2").text
    assert '<span class="badge fixed">fixed</span>' in page
    assert "Fixed here by hand (Wout, " in page
    pages.post("Wout", "/firings/F2/hold")  # once more changes nothing
    with pages.house.service.store.read() as session:
        assert len(standing(session)) == 1
    pages.post("Wout", "/firings/F2/let-go")
    assert holds(pages, audited) == set()
    assert "Fix it here" in pages.get("Wout", "/firings/F2").text
    with pages.house.service.store.read() as session:
        done = [(row.who, row.action) for row in session.query(Change).where(Change.kind == "hold")]
    assert done == [("Wout", "hold"), ("Wout", "let go")]


@pytest.mark.parametrize("path", ["/day?date=2026-11-30", "/week", "/firings/F2", "/plans/1"])
def test_it_is_marked_with_a_word_on_every_page_in_both_languages(pages: Reader, path: str) -> None:
    pages.post("Wout", "/firings/F2/hold")
    for language, word in (("en", "fixed"), ("de", "fest")):
        text = pages.get("Marta", path, headers={"accept-language": language}).text
        assert f'"badge fixed">{word}<' in text or f"F2 · {word}" in text


def test_programs_read_which_firings_are_fixed(pages: Reader) -> None:
    def fixed() -> dict[str, bool]:
        day = pages.house.get("Wout", "/day?date=2026-11-30")
        return {firing["id"]: firing["held"] for kiln in day["kilns"] for firing in kiln["firings"]}

    assert not any(fixed().values())
    pages.post("Wout", "/firings/F2/hold")
    assert [name for name, held in fixed().items() if held] == ["F2"]


def test_the_week_draws_a_double_frame_around_it(pages: Reader) -> None:
    """Never by colour alone: two lines around it, which the legend names."""
    before = pages.get("Marta", "/week").text.count('class="fix"')
    pages.post("Wout", "/firings/F2/hold")
    assert pages.get("Marta", "/week").text.count('class="fix"') == before + 2


def test_what_has_begun_is_not_fixed(pages: Reader, clock: Clock) -> None:
    clock.move(hours=3)
    answer = pages.post("Wout", "/firings/F2/hold")
    assert answer.status_code == 409
    assert "has begun" in answer.text


def test_a_member_fixes_nothing(pages: Reader) -> None:
    assert pages.post("Ben", "/firings/F2/hold").status_code == 403


def test_moving_by_hand_fixes_it_and_a_new_plan_leaves_it_there(pages: Reader) -> None:
    moved(pages)
    assert "badge fixed" in pages.get("Marta", "/firings/F2").text
    path = solved(pages, pages.post("Marta", "/plans", {"day": "2026-11-30", "work": "20"}))
    kept = firing(pages, path, "F1")
    assert (kept.kiln, kept.held) == ("K2", True)
    assert "16:00" in pages.get("Marta", path).text
    with pages.house.service.store.read() as session:
        (row,) = standing(session)
        assert (kept.load_at, kept.start_at, kept.unload_at) == (row.load_at, row.start_at, row.unload_at)


def test_a_re_plan_after_another_kilns_failure_leaves_it_there(pages: Reader) -> None:
    moved(pages)
    path = solved(pages, pages.post("Wout", "/broke", {"kiln": "K1", "work": "5"}))
    kept = firing(pages, path, "F1")
    assert (kept.id, kept.kiln, kept.held) == ("F2", "K2", True)
    assert "Firings that were fixed" not in pages.get("Marta", path).text
    pages.post("Marta", f"{path}/publish", {"publication": "2"})
    assert "badge fixed" in pages.get("Marta", "/firings/F2").text


def test_its_own_kilns_failure_lets_it_go_and_everybody_is_told(pages: Reader) -> None:
    moved(pages)
    path = solved(pages, pages.post("Wout", "/broke", {"kiln": "K2", "work": "5"}))
    page = pages.get("Marta", path).text
    assert "Firings that were fixed and cannot stay as they were" in page
    assert "F2 in K2 from" in page
    assert pages.post("Marta", f"{path}/publish", {"publication": "2"}).headers["location"] == "/day?said=done"
    with pages.house.service.store.read() as session:
        assert standing(session) == []
        (notice,) = session.query(Notice).where(Notice.kind == "hold ended")
        assert "K2" in notice.text
        assert "outages" in notice.text
    assert "could not stay, and is fixed no more" in pages.get("Wout", "/day").text


def test_a_firing_fixed_while_a_plan_was_made_is_not_overrun_in_silence(pages: Reader) -> None:
    """F2 moves in the plan that was made before somebody fixed it: publishing stops and says so."""
    plan = pages.post("Marta", "/firings/F2/move", LATER).headers["location"]
    other = pages.post("Marta", "/firings/F1/hold")
    assert other.status_code == 303
    done = pages.post("Marta", f"{plan}/publish", {"publication": "1"})
    assert done.status_code == 303  # F1 stays in it, so nothing is overrun
    pages.post("Marta", "/firings/F2/let-go")
    path = solved(pages, pages.post("Marta", "/plans", {"day": "2026-11-30", "work": "5"}))
    assert firing(pages, path, "F1").start_at != firing(pages, plan, "F1").start_at
    pages.post("Marta", "/firings/F2/hold")
    stopped = pages.post("Marta", f"{path}/publish", {"publication": "2"})
    assert stopped.status_code == 409
    assert "held since" in stopped.text or "have been held" in stopped.text
    anyway = pages.post("Marta", f"{path}/publish", {"publication": "2", "anyway": "1"})
    assert anyway.status_code == 303
    with pages.house.service.store.read() as session:
        assert [notice.kind for notice in session.query(Notice).where(Notice.kind == "hold ended")] == ["hold ended"]


def test_moved_once_more_it_is_fixed_at_the_new_place_alone(pages: Reader) -> None:
    moved(pages)
    plan = pages.post("Marta", "/firings/F2/move", LATER | {"start_at": "2026-11-30T15:30"}).headers["location"]
    assert pages.post("Marta", f"{plan}/publish", {"publication": "2"}).status_code == 303
    with pages.house.service.store.read() as session:
        (row,) = standing(session)
        assert row.start_at == firing(pages, plan, "F1").start_at
        assert session.query(Notice).where(Notice.kind == "hold ended").count() == 0


def test_a_re_plan_shows_what_was_still_to_come_of_the_cost(pages: Reader) -> None:
    path = solved(pages, pages.post("Wout", "/broke", {"kiln": "K1", "work": "1"}))
    page = pages.get("Marta", path).text
    assert "of it still to come when something happened" in page
    assert "The plan before, together" in page


def test_work_on_a_kiln_with_a_charge_in_it_is_said_to_wait(pages: Reader, clock: Clock) -> None:
    """K2 is to be worked on at once, while F2 is in it: the work begins once F2 is out."""
    pages.post("Marta", "/kilns/K2/out", {"begins": "2026-11-30T12:00", "ends": "2026-12-03T12:00", "reason": "relay"})
    clock.move(hours=2)
    for step, version in (("loaded", "0"), ("started", "1")):
        pages.post("Wout", "/firings/F2/note", {"step": step, "version": version})
    clock.move(minutes=30)
    path = solved(pages, pages.post("Wout", "/broke", {"others": "went", "work": "1"}))
    page = pages.get("Marta", path).text
    assert "Work on kilns that waits" in page
    assert "can begin only once the kiln is empty" in page
