"""What the day says of a kiln's state: never colder than it can be, never sure of what nobody has noted."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from api.day import Day
from api.expected import expected_of_kiln
from api.formats import Formats
from api.notices import look_round
from api.pages import day_states
from api.pages.day_states import known, warm_until
from api.printing.plan_text import outage_texts
from api.storage.tables import FiringRecord
from api.words import read_words
from tests.api.pages.conftest import Reader
from tests.api.pages.test_plan_pages import solved
from tests.api.service.house import Clock

MONDAY = date(2026, 11, 30)
TUESDAY = "/day?date=2026-12-01"
WEDNESDAY = "/day?date=2026-12-02"


def card(pages: Reader, number: int, path: str = "/day", language: str = "en") -> str:
    text: str = pages.get("Wout", path, headers={"accept-language": language}).text
    return text.split(f'<h2 id="k-{number}"')[1].split("</section>")[0]


def noted(pages: Reader, firing: str, *steps: str) -> None:
    for version, step in enumerate(steps):
        answer = pages.post("Wout", f"/firings/{firing}/note", {"step": step, "version": str(version)})
        assert answer.status_code == 303


def test_no_kiln_is_called_cold_by_the_plan_alone(pages: Reader, clock: Clock) -> None:
    """Two days after the last firing of the plan was to be out, with nothing noted at all."""
    for _ in range(10):
        for number in range(1, 5):
            said = card(pages, number)
            assert "cold" not in said
            assert "nothing noted" in said
        assert "kalt" not in card(pages, 1, language="de")
        clock.move(hours=12)
    asked = r"nothing noted: please note whether it ran\. By the plan opened [^.]+\. Look before you touch\."
    assert re.search(asked, card(pages, 1))
    assert "nothing noted; by the plan empty. Look before you touch." in card(pages, 4)
    assert "Erst nachsehen, dann anfassen." in card(pages, 1, language="de")


def test_a_firing_that_nobody_noted_is_not_under_way_once_it_should_have_ended(pages: Reader, clock: Clock) -> None:
    """F1 heats by the plan from Monday 9:40 until 21:40, is safe on Tuesday at 13:04 and opened on Wednesday at 9:00.

    Until it should have ended it is said as the plan has it; then it is asked about, and counts as hot as it can be.
    """
    clock.move(hours=13)
    assert "nothing noted; by the plan: heating" in card(pages, 1)
    clock.move(hours=1)
    said = card(pages, 1)
    assert "nothing noted: please note whether it ran. If it ran by the plan it cools, and may still heat if" in said
    assert '<p class="state cools">' in said
    strip = pages.get("Wout", "/day").text.split('data-part="strip"')[1].split("</nav>")[0]
    assert "not noted: did it run?" in strip.split("<strong>K1</strong>")[1].split("</li>")[0]
    assert "nichts notiert: bitte notieren, ob der Brand lief." in card(pages, 1, language="de")
    clock.move(hours=16)
    said = card(pages, 1, TUESDAY)
    assert "nothing noted: please note whether it ran. If it ran by the plan it is cool enough to open since" in said
    assert "still hot if it started later: look before you touch." in said
    assert '<p class="state cools">' in said
    clock.move(hours=24)
    said = card(pages, 1, "/day?date=2026-12-02")
    assert "please note whether it ran. By the plan opened 09:00. Look before you touch." in said


def test_a_kiln_may_be_too_warm_as_long_as_one_firing_in_ten_is_also_where_nobody_noted_it(
    pages: Reader, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    with pages.house.service.store.read() as session:
        firing = pages.house.service.audited(session, 1).plan.firings[0]
    monkeypatch.setattr(day_states, "warm_until", lambda shown, expected: firing.safe_at + 90)
    clock.now = datetime.fromtimestamp((firing.safe_at + 60) * 60, UTC)
    until = f"{datetime.fromtimestamp((firing.safe_at + 90) * 60, UTC):%H:%M}"
    assert f"If it ran by the plan it may be too warm to open until {until}, and longer if it started later" in card(
        pages, 1, TUESDAY
    )


def test_what_somebody_noted_of_a_firing_is_not_asked_again(pages: Reader, clock: Clock) -> None:
    clock.move(hours=2)
    noted(pages, "F1", "loaded", "started")
    clock.move(hours=14)
    said = card(pages, 1, TUESDAY)
    assert "please note whether it ran" not in said
    assert "cooling: leave it shut" in said


def test_pages_of_a_firing_and_its_loads_ask_too_and_members_are_told_that_nobody_knows(
    pages: Reader, clock: Clock
) -> None:
    """Ana owns B1, which by the plan is out of F1 on Wednesday at 9:30."""
    assert "Nothing noted yet." in pages.get("Wout", "/firings/F1").text
    clock.move(hours=40)
    assert "it is over: please note whether it ran." in pages.get("Wout", "/firings/F1").text
    assert 'href="/unnoted"' in pages.get("Wout", "/firings/F1").text
    assert "it is over: whether it ran is not known." in pages.get("Ana", "/firings/F1").text
    assert "/unnoted" not in pages.get("Ana", "/firings/F1").text
    assert "nobody has noted whether it was fired" not in pages.get("Ana", "/loads/B1").text
    clock.move(hours=10)
    assert "nobody has noted whether it was fired. Please note it." in pages.get("Wout", "/loads/B1").text
    assert "Ask in the studio before you come for it." in pages.get("Ana", "/loads/B1").text
    german = pages.get("Ana", "/loads/B1", headers={"accept-language": "de"}).text
    assert "Vor dem Abholen in der Werkstatt fragen." in german
    own = pages.get("Ana", "/day?date=2026-12-02").text
    assert "please note" not in own
    pages.post("Wout", "/unnoted", {"others": "went"})
    assert "nobody has noted" not in pages.get("Wout", "/loads/B1").text
    assert "please note whether it ran" not in pages.get("Wout", "/firings/F1").text


def test_a_kiln_that_may_still_be_warm_at_its_planned_opening_says_until_when(
    pages: Reader, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """F1 is opened by the plan at its likely time; in one firing of ten it is safe three hours later."""
    with pages.house.service.store.read() as session:
        plan = pages.house.service.audited(session, 1).plan
    firing = next(one for one in plan.firings if one.id == "F1")
    late = firing.free_at + 180
    monkeypatch.setattr(day_states, "warm_until", lambda shown, expected: late)
    clock.now = datetime.fromtimestamp((firing.free_at + 60) * 60, UTC)
    until = f"{datetime.fromtimestamp(late * 60, UTC):%H:%M}"
    assert f"It may be hot until {until}: look before you touch." in card(pages, 1)


def test_the_band_of_a_firing_moves_with_what_is_expected_of_it(pages: Reader) -> None:
    with pages.house.service.store.read() as session:
        audited = pages.house.service.audited(session, 1)
    day = Day(audited, MONDAY)
    one = next(firing for firing in audited.plan.firings if firing.id == "F1")
    shown = day.shown(one.model_copy(update={"safe_between": (one.safe_at - 60, one.safe_at + 90)}))
    expected = expected_of_kiln(day, shown.kiln, {}, one.load_at)["F1"]
    assert warm_until(shown, expected) == one.safe_at + 90
    assert warm_until(shown, replace(expected, safe_at=one.safe_at + 30)) == one.safe_at + 120


def test_a_kiln_that_somebody_noted_as_opened_is_empty_since_then(pages: Reader, clock: Clock) -> None:
    clock.move(hours=2)
    noted(pages, "F2", "loaded", "started")
    clock.move(hours=25)
    form = {"step": "opened", "version": "2", "result": "good"}
    assert pages.post("Wout", "/firings/F2/note", form).status_code == 303
    assert "opened 11:00; still warm" in card(pages, 2)
    assert "leave it shut" not in card(pages, 2)
    clock.move(hours=8)
    assert "empty: opened 11:00, as noted" in card(pages, 2)
    with pages.house.service.store.read() as session:
        opened = known(session, pages.house.service.studio(session)).opened
    assert opened == {"K2": int(datetime(2026, 12, 1, 11, tzinfo=UTC).timestamp()) // 60}


def test_a_kiln_noted_as_loaded_late_stays_as_hot_as_it_can_be(pages: Reader, clock: Clock) -> None:
    """F1 was to start on Monday at 10:00 and to be safe on Tuesday night: at 16:00, and on Tuesday at 12:00 it may be
    hot, whenever somebody remembers to note that it was loaded."""
    clock.move(hours=8)
    assert "by the plan: heating" in card(pages, 1)
    noted(pages, "F1", "loaded")
    said = card(pages, 1)
    assert "loaded, waits for its start" not in said
    assert "its start is not noted; by the plan: heating" in said
    assert '<p class="state hot">' in said
    clock.move(hours=20)
    said = card(pages, 1, TUESDAY)
    assert "its start is not noted; by the plan: heating" in said or "cooling: leave it shut" in said


def test_a_loaded_kiln_whose_start_nobody_noted_is_never_called_cool(pages: Reader, clock: Clock) -> None:
    """By the plan F1 has been cool for hours, but it may have been started by hand a moment ago."""
    clock.move(hours=1, minutes=45)
    noted(pages, "F1", "loaded")
    clock.move(hours=47)
    said = card(pages, 1, WEDNESDAY)
    assert "its start is not noted: did it start, and when? It may still be hot. Look before you touch." in said
    assert "cool enough" not in said


def test_a_kiln_loaded_in_time_still_waits_for_its_start(pages: Reader, clock: Clock) -> None:
    clock.move(hours=1, minutes=30)
    noted(pages, "F1", "loaded")
    assert "loaded, waits for its start" in card(pages, 1)


def test_a_late_note_asks_when_it_was_and_keeps_the_planned_time(pages: Reader, clock: Clock) -> None:
    clock.move(hours=1)
    assert "When was it?" not in card(pages, 1)
    clock.move(hours=27)
    said = card(pages, 1, TUESDAY)
    assert "When was it?" in said
    assert "at the planned time, Mon 30 Nov 09:40" in said
    assert "now, 12:00" in said
    assert "Wann war das?" in card(pages, 1, TUESDAY, "de")
    form = {"step": "loaded", "version": "0", "when": "planned"}
    assert pages.post("Wout", "/firings/F1/note", form).status_code == 303
    form = {"step": "started", "version": "1", "when": "other", "at": "2026-11-30T10:15"}
    assert pages.post("Wout", "/firings/F1/note", form).status_code == 303
    with pages.house.service.store.read() as session:
        row = session.query(FiringRecord).one()
        assert row.loaded_at is not None
        assert row.started_at is not None
        assert (f"{row.loaded_at:%H:%M}", f"{row.started_at:%H:%M}") == ("09:40", "10:15")
    assert "cooling: leave it shut" in card(pages, 1, TUESDAY)


def test_another_time_that_is_not_said_or_lies_ahead_is_refused(pages: Reader, clock: Clock) -> None:
    clock.move(hours=28)
    form = {"step": "loaded", "version": "0", "when": "other", "at": ""}
    answer = pages.post("Wout", "/firings/F1/note", form)
    assert answer.status_code == 422
    assert "say when it was" in answer.text
    assert pages.post("Wout", "/firings/F1/note", form | {"at": "2026-12-09T10:00"}).status_code == 422
    with pages.house.service.store.read() as session:
        assert session.query(FiringRecord).count() == 0


def test_an_opening_noted_late_asks_when_it_was(pages: Reader, clock: Clock) -> None:
    clock.move(hours=2)
    noted(pages, "F2", "loaded", "started")
    assert "When was it?" not in pages.get("Wout", "/firings/F2").text
    clock.move(hours=48)
    assert "at the planned time, Tue 1 Dec" in pages.get("Wout", "/firings/F2").text
    form = {"step": "opened", "version": "2", "result": "good", "when": "planned"}
    assert pages.post("Wout", "/firings/F2/note", form).status_code == 303
    with pages.house.service.store.read() as session:
        row = session.query(FiringRecord).one()
        planned = pages.house.service.audited(session, 1).plan.firings[1]
        assert row.opened_at is not None
        assert row.opened_at.timestamp() == planned.unload_at * 60


def test_a_kiln_that_broke_with_a_firing_in_it_is_out_of_use_at_once_wherever_it_is_shown(
    pages: Reader, clock: Clock
) -> None:
    """K1 fails on Tuesday at 09:00 while F1 cools in it. The plan counts it as occupied until F1 is out, people as
    broken from now on."""
    clock.move(hours=2)
    noted(pages, "F1", "loaded", "started")
    clock.move(hours=23)
    down = {"kiln": "K1", "until": "2026-12-03T09:00", "others": "went", "work": "1"}
    path = solved(pages, pages.post("Wout", "/broke", down))
    holds = pages.house.get("Marta", "/published")["publication"]
    answer = pages.post("Marta", f"{path}/publish", {"publication": str(holds), "anyway": "1"})
    assert answer.status_code == 303, answer.text
    said = card(pages, 1, TUESDAY)
    assert '<p class="out-of-use">out of use until Thu 3 Dec 09:00' in said
    assert "cooling: leave it shut" in said
    strip = pages.get("Wout", TUESDAY).text.split('data-part="strip"')[1].split("</nav>")[0]
    assert "out of use" in strip.split("<strong>K1</strong>")[1].split("</li>")[0]
    assert '<p class="out-of-use">out of use until Thu 3 Dec 09:00' in pages.get("Wout", "/kilns").text
    assert "außer Betrieb bis Do" in card(pages, 1, TUESDAY, "de")
    with pages.house.service.store.read() as session:
        audited = pages.house.service.audited(session, int(path.rsplit("/", 1)[1]))
    day = Day(audited, date(2026, 12, 1))
    formats = Formats(audited.studio, read_words("en"))
    kiln_day = next(one for one in day.kilns if one.kiln.id == "K1")
    assert [text[:33] for text in outage_texts(day, kiln_day, formats)] == ["out of use until Thu 3 Dec 09:00 "]
    clock.move(hours=48)
    assert '<p class="out-of-use">out of use until' not in card(pages, 1, "/day?date=2026-12-03")


def test_a_firing_that_nobody_noted_is_told_once_and_all_of_them_alike(pages: Reader, clock: Clock) -> None:
    clock.move(hours=5)
    look_round(pages.house.service)
    text = pages.get("Wout", "/day").text
    assert "was to be loaded at" not in text
    for firing in ("F1", "F2"):
        assert text.count(f'<li><a href="/firings/{firing}">{firing}, ') == 1
