"""What would mend a late load: solved in the background, told with its action, and the action leads where it says."""

from __future__ import annotations

import re
import time
from datetime import date
from urllib.parse import parse_qs

import pytest

from api.formats import Formats
from api.pages.mends import Action, mends_of
from api.storage.studio_store import counter
from api.storage.tables import BookedLoad, Job, Notice
from api.words import read_words
from scheduler.audit import AuditedPlan
from scheduler.planning.mending import Kind
from shared.calendar import on_duty
from shared.clock import wall_minute
from shared.texts import packed, unpacked
from tests.api.pages.conftest import Reader
from tests.api.pages.test_plan_pages import PATIENCE_SECONDS

AT = "2026-12-02T17:00:00+00:00"


def asked(pages: Reader, load: str) -> str:
    """The page of a load once what would mend it has been solved."""
    job = pages.post("Wout", f"/trouble/{load}/mends", {"work": "5"}).headers["location"]
    end = time.monotonic() + PATIENCE_SECONDS
    while time.monotonic() < end:
        shown = pages.get("Wout", job)
        if shown.status_code == 303:
            assert shown.headers["location"] == f"/trouble/{load}"
            text: str = pages.get("Marta", f"/trouble/{load}").text
            return text
        assert "Solving each change" in shown.text, shown.text
        time.sleep(0.1)
    raise AssertionError("the question was not answered")


def test_trouble_offers_to_look_for_what_would_mend(pages: Reader) -> None:
    text = pages.get("Wout", "/trouble").text
    assert 'action="/trouble/B2/mends"' in text
    assert 'action="/trouble/G1/mends"' in text
    assert "Each single change that could mend it is solved" in pages.get("Wout", "/trouble/B2").text


def test_a_later_promise_that_was_solved_is_made_with_a_button_and_the_owner_is_told(pages: Reader) -> None:
    text = asked(pages, "B2")
    assert "What keeps it:" in text
    assert 'action="/trouble/B2/promise"' in text
    promised = text.split('name="promised" value="')[1].split('"')[0]
    version = text.split('name="version" value="')[1].split('"')[0]
    before = pages.house.get("Marta", "/loads/B2")
    done = pages.post("Wout", "/trouble/B2/promise", {"promised": promised, "version": version})
    assert done.headers["location"] == "/trouble/B2?said=done"
    after = pages.house.get("Marta", "/loads/B2")
    assert after["load"]["promised"] == promised
    assert {**after["load"], "promised": ""} == {**before["load"], "promised": ""}
    assert "by now. The plan learns of it when it is planned again." in pages.get("Wout", "/trouble/B2").text
    with pages.house.service.store.read() as session:
        (notice,) = session.query(Notice).where(Notice.kind == "promise")
        assert unpacked(notice.text).startswith("Load B2 is now promised for ")
        assert notice.person_id == session.query(BookedLoad).where(BookedLoad.key == "B2").one().person_id


def test_the_mend_that_keeps_the_promise_is_the_one_that_stands_out(pages: Reader) -> None:
    """C1's session lacks somebody on the evening before: a shift keeps the promise, a later day does not."""
    about, result = {"load": "B2", "plan": 1}, solved_with_a_shift_and_a_later_day()
    with pages.house.service.store.write() as session:
        about["studio"] = counter(session, "studio")
        session.add(Job(kind="why", state="done", asked_at=pages.house.service.now(), request=about, result=result))
    text = pages.get("Marta", "/trouble/B2").text
    cards = text.split('<ul class="cards">')[1].split("</ul>")[0]
    assert re.findall(r'class="(?:button )?main"[^>]*>([^<]*)<', cards) == ["Add this shift"]
    assert "Promise" in cards
    listed = pages.get("Marta", "/trouble").text
    assert "Too few hands are free to load or open it in time." in listed
    assert "too few hands" in pages.get("Marta", "/plans/1").text.lower()


def solved_with_a_shift_and_a_later_day() -> dict[str, object]:
    mend = {"who": "", "from": AT, "to": AT, "amount": None, "out_at": AT, "moved": [], "skills": []}
    return {
        "load": "B2", "out_at": AT, "rule": "hands", "why": packed(""), "binding": ["hands"], "tried": 2,
        "mends": [mend | {"kind": "hands"}, mend | {"kind": "promise", "who": "B2"}],
    }  # fmt: skip


def test_what_was_found_stays_until_the_studio_or_the_plan_changes(pages: Reader) -> None:
    asked(pages, "B2")
    assert 'href="/trouble/B2">What would mend it: ' in pages.get("Wout", "/trouble").text
    pages.post("Marta", "/shifts", {"days": "sat", "from": "10:00", "to": "12:00"})
    assert 'action="/trouble/B2/mends"' in pages.get("Wout", "/trouble").text


def test_a_question_does_not_end_a_solve_nor_a_solve_a_question(pages: Reader) -> None:
    solve = pages.post("Marta", "/plans", {"day": "2026-11-30", "seconds": "60"}).headers["location"]
    asked(pages, "B2")
    assert "Searching for a plan" in pages.get("Marta", solve).text
    pages.post("Marta", f"{solve}/stop")
    with pages.house.service.store.read() as session:
        assert [(job.kind, job.state) for job in session.query(Job).order_by(Job.id)] == [
            ("plan", "cancelled"),
            ("why", "done"),
        ]


@pytest.mark.parametrize(
    ("kind", "who", "path", "sends"),
    [
        ("promise", "B2", "/trouble/B2/promise", True),
        ("hands", "", "/shifts?from=2026-12-02", False),
        ("skill", "1", "/shifts", False),
        ("circuit", "bench", "/what-if?try=current&circuit=bench&amps=63", False),
        ("outage", "K4", "/kilns", False),
        ("leave_out", "B1", "/what-if?try=cancel&loads=B1", False),
        ("other_kiln", "K3", "/loads/B2/change?kiln=K3", False),
        ("ready", "B2", "/loads/B2/change?ready=2026-12-02T17%3A00", False),
        ("priority", "B2", "/loads/B2/change?priority=63", False),
        ("new_kiln", "K1", "/what-if?try=kiln&kiln=K1", False),
    ],
)
def test_each_kind_of_change_leads_to_its_action(
    audited: AuditedPlan, kind: Kind, who: str, path: str, sends: bool
) -> None:
    """By the change's kind and values, not by any words."""
    (action, *_) = actions(audited, kind, who)
    assert action.path.startswith(path)
    assert action.sends == sends


@pytest.mark.parametrize("kind", ["night_start", "heats_alone", "end_alone", "quiet", "kiln_work"])
def test_what_others_have_to_allow_is_named_and_never_a_button(audited: AuditedPlan, kind: Kind) -> None:
    assert actions(audited, kind, "K1") == ()


def actions(audited: AuditedPlan, kind: Kind, who: str) -> tuple[Action, ...]:
    ends = "2026-12-02T18:00:00+00:00" if kind in ("hands", "outage") else None
    item = {"kind": kind, "who": who, "from": AT, "to": ends, "amount": 63.0, "out_at": AT, "moved": ["B1"]}
    result = {"load": "B2", "rule": "hands", "why": "", "mends": [item]}
    (mend,) = mends_of(result, 1, Formats(audited.studio, read_words()))
    assert mend.follows == "Then out Wed 2 Dec 17:00, and B1 moves."
    if not mend.actions:
        assert mend.mind
    return mend.actions


def test_hands_for_a_session_of_several_are_a_shift_of_one_who_may_attend_it_and_one_of_helpers(
    audited: AuditedPlan,
) -> None:
    ends = "2026-12-02T18:00:00+00:00"
    item = {"kind": "hands", "who": "", "from": AT, "to": ends, "amount": 3.0, "out_at": AT, "moved": []}
    result = {"load": "B2", "rule": "hands", "why": "", "mends": [item | {"skills": ["casting"]}]}
    (mend,) = mends_of(result, 1, Formats(audited.studio, read_words()))
    assert mend.text.startswith("3 more pairs of hands Wed 2 Dec 17:00")
    assert mend.text.endswith(", one of whom may attend: casting")
    skilled, helpers = [parse_qs(action.path.partition("?")[2]) for action in mend.actions]
    assert (skilled["skills"], skilled.get("hands")) == (["casting"], None)
    assert (helpers["hands"], helpers.get("skills")) == (["2"], None)


def test_the_forms_are_filled_in_as_the_mends_ask(pages: Reader) -> None:
    shift = pages.get("Marta", "/shifts?from=2026-12-02T17:00:00%2B00:00&to=2026-12-02T18:00:00%2B00:00").text
    assert " checked>" not in shift
    assert 'type="date" value="2026-12-02"' in shift
    assert 'value="17:00"' in shift
    assert 'value="18:00"' in shift
    helpers = pages.get("Marta", "/shifts?from=2026-12-02T17:00:00%2B00:00&to=2026-12-02T18:00:00%2B00:00&hands=2").text
    assert len(re.findall(r'name="hands"[^>]*value="2"', helpers)) == 1
    assert len(re.findall(r'name="hands"[^>]*value="1"', shift)) == 1
    change = pages.get("Wout", "/loads/B2/change?kiln=K2&priority=3").text
    assert 'name="kilns" value="K2" checked' in change
    assert 'name="priority" type="text" value="3"' in change
    what_if = pages.get("Marta", "/what-if?try=current&circuit=bench&amps=63").text
    assert 'name="amps" inputmode="decimal" value="63"' in what_if


def test_an_hour_more_on_one_date_is_there_on_that_date_alone(pages: Reader) -> None:
    form = {"on": "2026-12-02", "from": "18:00", "to": "19:00", "who": "Ines"}
    assert pages.post("Marta", "/shifts", form).headers["location"] == "/shifts?said=done"
    assert "Wednesday 2 December 2026" in pages.get("Marta", "/shifts").text
    with pages.house.service.store.read() as session:
        studio = pages.house.service.studio(session)
    begin = wall_minute(date(2026, 11, 25), 0, studio.place.zone)
    more = [duty for duty in on_duty(studio, begin, begin + 28 * 24 * 60) if duty.shift.who == "Ines"]
    assert [duty.begin for duty in more] == [wall_minute(date(2026, 12, 2), 18 * 60, studio.place.zone)]


def test_a_shift_without_days_and_date_or_with_both_is_refused(pages: Reader) -> None:
    for form in ({}, {"on": "2026-12-02", "days": "wed"}):
        answer = pages.post("Marta", "/shifts", {**form, "from": "18:00", "to": "19:00"})
        assert answer.status_code == 422
        assert "needs days of the week, or one date, not both" in answer.text


def test_a_shift_is_added_and_removed(pages: Reader) -> None:
    form = {"days": "sat", "from": "10:00", "to": "12:00", "hands": "2", "who": "Ines", "skills": "casting, torch"}
    assert pages.post("Marta", "/shifts", form).headers["location"] == "/shifts?said=done"
    text = pages.get("Marta", "/shifts").text
    assert "Saturday" in text
    assert "casting, torch" in text
    key = text.split('action="/shifts/')[-1].split("/")[0]
    assert pages.post("Marta", f"/shifts/{key}/end", {"version": "1"}).status_code == 303
    assert "casting, torch" not in pages.get("Marta", "/shifts").text


def test_a_shift_without_a_day_is_told(pages: Reader) -> None:
    answer = pages.post("Marta", "/shifts", {"from": "10:00", "to": "12:00"})
    assert answer.status_code == 422
    assert "days" in answer.text


def test_a_load_that_is_in_time_needs_no_mending(pages: Reader) -> None:
    job = pages.post("Wout", "/trouble/B1/mends").headers["location"]
    end = time.monotonic() + PATIENCE_SECONDS
    while "Solving each change" in pages.get("Wout", job).text and time.monotonic() < end:
        time.sleep(0.1)
    assert "breaks no promise" in pages.get("Wout", job).text
    assert pages.post("Wout", "/trouble/X9/mends").status_code == 404
