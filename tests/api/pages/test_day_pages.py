"""The day: what is noted with a tap, and what the card then says."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from api.notices import raise_notice
from api.storage.tables import FiringRecord, Reading
from api.words import tell
from tests.api.pages.conftest import Reader
from tests.api.service.house import Clock, running, template

BACK = "/day?date=2026-11-30"


def test_the_day_shows_each_kiln_and_what_is_next(pages: Reader) -> None:
    text = pages.get("Wout", "/day").text
    assert "Monday 30 November 2026" in text
    for kiln in ("Front loader", "Glass kiln", "Flask oven", "Test kiln"):
        assert kiln in text
    assert "relay on order" in text
    assert "Next: <strong>09:00–09:40</strong>" in text


def test_steps_are_noted_one_after_the_other(pages: Reader, clock: Clock) -> None:
    assert "K1 is loaded" in pages.get("Wout", "/day").text
    clock.now += timedelta(hours=1, minutes=30)
    noted = pages.post("Wout", "/firings/F1/note", {"step": "loaded", "version": "0", "back": BACK})
    assert noted.headers["location"] == f"{BACK}&said=done"
    text = pages.get("Wout", "/day").text
    assert "done 09:30" in text
    assert "K1 has started" in text
    pages.post("Wout", "/firings/F1/note", {"step": "started", "version": "1", "back": BACK})
    text = pages.get("Wout", "/day").text
    assert '<p class="state hot">heating</p>' in text


def test_no_button_invites_to_open_a_kiln_that_is_hot(pages: Reader, clock: Clock) -> None:
    """F1 starts on Monday at 10:00 and is cool enough on Tuesday night; the card's button comes then, not before."""
    clock.now += timedelta(hours=2)
    for step, version in (("loaded", "0"), ("started", "1")):
        pages.post("Wout", "/firings/F1/note", {"step": step, "version": version})
    assert "K1 is opened" not in pages.get("Wout", "/day").text
    assert "Leave it shut: nothing is opened early." in pages.get("Wout", "/firings/F1").text
    clock.now += timedelta(hours=12)
    assert "K1 is opened" not in pages.get("Wout", "/day").text
    clock.now += timedelta(hours=40)
    assert "K1 is opened" in pages.get("Wout", "/day").text
    assert "Leave it shut" not in pages.get("Wout", "/firings/F1").text


def test_what_is_only_planned_says_so_and_what_is_overdue_is_listed(pages: Reader, clock: Clock) -> None:
    clock.now += timedelta(hours=3)
    text = pages.get("Wout", "/day").text
    assert "nothing noted; by the plan: heating" in text
    asked = text.split('data-part="overdue"')[1].split('data-part="next"')[0]
    assert '<a href="/firings/F1">F1, K1: ' in asked
    assert 'href="/unnoted"' in asked
    pages.post("Wout", "/firings/F1/note", {"step": "loaded", "version": "0"})
    asked = pages.get("Wout", "/day").text.split('data-part="overdue"')[1].split('data-part="next"')[0]
    assert "F1, K1: " not in asked
    assert "start F1" in asked


def test_an_opening_asks_how_it_came_out(pages: Reader, clock: Clock) -> None:
    clock.now += timedelta(hours=2)
    pages.post("Wout", "/firings/F2/note", {"step": "loaded", "version": "0"})
    pages.post("Wout", "/firings/F2/note", {"step": "started", "version": "1"})
    clock.now += timedelta(hours=24)
    asked = pages.post("Wout", "/firings/F2/note", {"step": "opened", "version": "2"})
    assert asked.headers["location"] == "/firings/F2#open"
    pages.post("Wout", "/firings/F2/note", {"step": "opened", "version": "2", "result": "good", "kwh": "9,5"})
    assert "fired" in pages.get("Ben", "/loads/F1").text
    assert "K2 F2" in pages.get("Ben", "/costs").text
    assert "K2 F2" not in pages.get("Ana", "/costs").text


def test_the_same_tap_twice_is_told_not_counted(pages: Reader) -> None:
    pages.post("Wout", "/firings/F1/note", {"step": "loaded", "version": "0"})
    again = pages.post("Wout", "/firings/F1/note", {"step": "loaded", "version": "0"})
    assert again.status_code == 409
    assert "look again" in again.text


def test_readings_appear_on_the_curve_and_as_a_table(pages: Reader, clock: Clock) -> None:
    """F2's kiln shows Fahrenheit, the studio Celsius: what is typed is what the kiln shows, 572 °F, 300 °C.

    Taken in the studio's unit, a glass kiln at 300 °C would have been noted at 572 °C.
    """
    clock.now += timedelta(hours=2)
    for step, version in (("loaded", "0"), ("started", "1")):
        pages.post("Wout", "/firings/F2/note", {"step": step, "version": version})
    clock.now += timedelta(hours=2)
    assert "The controller shows now, °F" in pages.get("Wout", "/firings/F2").text
    assert pages.post("Wout", "/firings/F2/reading", {"temperature": "572"}).status_code == 303
    with pages.house.service.store.read() as session:
        assert session.query(Reading).one().temperature_c == pytest.approx(300)
    page = pages.get("Wout", "/firings/F2").text
    assert "572 °F read" in page
    assert page.count('r="2.6"') == 1
    table = pages.get("Wout", "/firings/F2/curve.csv").text.splitlines()
    assert table[0] == "time,minutes after start,computed [°F],read [°F]"
    assert [row for row in table if row.endswith(",572.0")]
    assert pages.get("Wout", "/firings/F2/curve.svg").headers["content-type"] == "image/svg+xml"
    wrong = pages.post("Wout", "/firings/F2/reading", {"temperature": "hot"})
    assert (wrong.status_code, "write it as 612" in wrong.text) == (422, True)


def test_the_step_to_open_says_the_limit_in_the_controllers_unit(read_only: Reader) -> None:
    """F1's kiln shows Celsius, F2's Fahrenheit; its glass is opened under 45 °C, and hands read the controller."""
    text = read_only.get("Wout", "/day?date=2026-12-01").text
    assert "open, under 90 °C" in text
    assert "open, under 113 °F" in text
    for firing, limit in (("F1", "90 °C"), ("F2", "113 °F")):
        assert f"under {limit}" in read_only.get("Wout", f"/firings/{firing}").text


def test_each_kiln_has_a_line_above_the_cards_that_leads_to_its_card(read_only: Reader) -> None:
    text = read_only.get("Wout", "/day?date=2026-11-30").text
    strip = text.split('data-part="strip"')[1].split("</nav>")[0]
    assert strip.count("<li>") == 4
    for number, kiln in enumerate(("K1", "K2", "K3", "K4"), start=1):
        assert f'<a href="#k-{number}"><strong>{kiln}</strong>' in strip
        assert f'<h2 id="k-{number}" tabindex="-1">{kiln} ' in text


def test_a_kiln_that_runs_late_is_still_to_be_seen_off(pages: Reader, clock: Clock) -> None:
    """F2 is started two hours late: when its planned end is over, it still heats, and somebody still has to look."""
    clock.move(hours=4)
    for step, version in (("loaded", "0"), ("started", "1")):
        pages.post("Wout", "/firings/F2/note", {"step": step, "version": version})
    with pages.house.service.store.read() as session:
        record = session.query(FiringRecord).one()
        assert record.expected_hot_until is not None
        clock.now = datetime.fromtimestamp(record.expected_hot_until * 60, UTC) - timedelta(minutes=5)
    strip = pages.get("Wout", "/day?date=2026-11-30").text.split('data-part="strip"')[1]
    row = strip.split("<strong>K2</strong>")[1].split("</li>")[0]
    assert "see it off" in row or "should switch off" in row


def test_what_is_next_follows_what_is_known(pages: Reader, clock: Clock) -> None:
    """F2 was to go off at 19:57 and goes off at 21:27, before F1 at 21:40: at 20:02 that is what comes next."""
    clock.move(hours=3, minutes=30)
    for step, version in (("loaded", "0"), ("started", "1")):
        pages.post("Wout", "/firings/F2/note", {"step": step, "version": version})
    with pages.house.service.store.read() as session:
        planned = pages.house.service.audited(session, 1).plan.firings[1].hot_until
    clock.now = datetime.fromtimestamp(planned * 60, UTC) + timedelta(minutes=5)
    text = pages.get("Wout", "/day?date=2026-11-30").text
    said = text.split('data-part="next"')[1].split("</p>")[0]
    assert "K2: " in said
    assert "<strong>21:27</strong>" in said
    assert "planned 19:57" in said
    row = text.split('data-part="tasks"')[1].split('<th scope="row">21:27')[1].split("</tr>")[0]
    assert "planned 19:57" in row
    assert "F2" in row


def test_a_step_that_is_done_is_not_next_however_early_it_was(pages: Reader) -> None:
    """F1 is to be loaded at 09:00 and F2 at 09:30; at 08:00 F1 is loaded."""
    assert "K1: load" in pages.get("Wout", BACK).text.split('data-part="next"')[1].split("</p>")[0]
    pages.post("Wout", "/firings/F1/note", {"step": "loaded", "version": "0"})
    text = pages.get("Wout", BACK).text
    assert "K2: load" in text.split('data-part="next"')[1].split("</p>")[0]
    tasks = text.split('data-part="tasks"')[1]
    assert '<tr class="done"><th scope="row">09:00–09:40' in tasks
    assert "start F1" in tasks


def test_an_opening_that_is_expected_later_is_not_asked_about(pages: Reader, clock: Clock) -> None:
    """F2 was to be opened on Tuesday at 10:00; started eight hours late it is not cool by then."""
    clock.move(hours=10)
    for step, version in (("loaded", "0"), ("started", "1")):
        pages.post("Wout", "/firings/F2/note", {"step": step, "version": version})
    clock.move(hours=17)
    text = pages.get("Wout", "/day?date=2026-12-01").text
    overdue = text.split('data-part="overdue"')[1].split('data-part="strip"')[0]
    assert "K2" not in overdue
    assert "Until then it heats" not in pages.get("Wout", "/firings/F2").text


def test_a_firing_that_should_be_over_since_yesterday_stays_on_the_day(pages: Reader, clock: Clock) -> None:
    """F2 was to be out of K2 on Tuesday; nobody has noted that, and on Wednesday it is still asked about."""
    clock.move(hours=2)
    for step, version in (("loaded", "0"), ("started", "1")):
        pages.post("Wout", "/firings/F2/note", {"step": step, "version": version})
    clock.move(hours=48)
    text = pages.get("Wout", "/day?date=2026-12-02").text
    card = text.split('<h2 id="k-2"')[1].split("</section>")[0]
    assert "F2 Full fuse" in card
    assert "K2 is opened" in card


def test_only_a_button_whose_time_has_come_stands_out(pages: Reader, clock: Clock) -> None:
    """F1 is to be loaded at 09:00; at 08:00 that is an hour away, at 07:00 two."""
    clock.now -= timedelta(hours=1)
    assert 'class="tap early">K1 is loaded' in pages.get("Wout", BACK).text
    clock.now += timedelta(hours=1)
    assert 'class="tap">K1 is loaded' in pages.get("Wout", BACK).text


def test_many_loads_that_have_moved_take_one_line_before_the_kilns(pages: Reader) -> None:
    at = pages.house.service.now()
    with pages.house.service.store.write() as session:
        for number in range(30):
            raise_notice(session, f"moved 1 L{number}", "moved", at, tell("notice.no_place", load=f"L{number}"))
        raise_notice(session, "hot 1", "over temperature", at, "F1 is too hot")
    text = pages.get("Marta", "/day?date=2026-11-30").text
    assert "Loads that have changed: 30." in text
    news = text.split('data-part="notices"')[1].split('data-part="overdue"')[0]
    assert news.count('<div class="note">') == 1
    assert news.count("<li>") == 30
    fields = [("notice", part.split('"')[0]) for part in news.split('name="notice" value="')[1:]]
    assert len(fields) == 30
    done = pages.post("Marta", "/notices/seen", {"notice": [value for _, value in fields], "back": "/day"})
    assert done.headers["location"] == "/day"
    after = pages.get("Marta", "/day?date=2026-11-30").text
    assert "Loads that have changed" not in after
    assert "F1 is too hot" in after


def test_a_member_reads_no_names_of_others_in_a_firing_that_they_share(read_only: Reader) -> None:
    """Ana's B1 shares F1 with Zoë's B2."""
    text = read_only.get("Ana", "/day?date=2026-11-30").text
    assert "B1 Tue evening class" in text
    assert "B2" not in text
    assert "Zoë" not in text
    assert "Zoë" in read_only.get("Wout", "/day?date=2026-11-30").text


def test_paper_without_a_plan_says_that_there_is_none(tmp_path: Path) -> None:
    with template("sqlite", tmp_path) as made, running(made.data, made.tokens) as house:
        for path, head in (("/sheets/2026-12-01", "Print"), ("/sessions", "Sessions")):
            answer = Reader(house).get("Marta", path)
            assert answer.status_code == 404
            assert f"<h1>{head}</h1>" in answer.text
            assert "No plan has been published yet." in answer.text
            assert "That did not work" not in answer.text


def test_what_was_noted_of_a_firing_that_only_cools_holds_when_its_kiln_fails(pages: Reader, clock: Clock) -> None:
    """F1 went off on Monday night; on Tuesday morning K1's relay fails. F1 counts as fired and is opened when safe."""
    clock.move(hours=2)
    for step, version in (("loaded", "0"), ("started", "1")):
        pages.post("Wout", "/firings/F1/note", {"step": step, "version": version})
    clock.move(hours=23)
    house = pages.house
    job = house.solve("/re-plans", {"kilns_down": [{"kiln": "K1"}]})
    notes = house.get("Marta", f"/plans/{job['plan']}")["summary"]["notes"]
    assert [(one["firing"], one["default"]) for one in notes["questions"]] == [("F1", "fired")]
    house.publish(job["plan"])
    with house.service.store.read() as session:
        row = session.query(FiringRecord).one()
        assert (row.plan_id, row.firing_id, row.state) == (job["plan"], "F1", "started")
    card = pages.get("Wout", "/day?date=2026-12-01").text.split('<h2 id="k-1"')[1].split("</section>")[0]
    assert "cooling: leave it shut" in card
    assert "nothing noted" not in card
    assert "K1 is loaded" not in card


def test_the_wall_leads_nowhere_that_asks_to_sign_in(read_only: Reader) -> None:
    key = read_only.house.secrets["display"]
    text = read_only.get(None, f"/display?key={key}&date=2026-11-30").text
    assert "F1 Bisque" in text
    assert "/firings/" not in text
    assert "/firings/F1" in read_only.get("Wout", "/day?date=2026-11-30").text


def test_what_can_be_folded_on_a_phone_stands_open_without_scripts_and_what_has_a_button_is_never_folded(
    pages: Reader,
) -> None:
    text = pages.get("Wout", "/day?date=2026-11-30").text
    assert '<details open class="fold" data-fold="tasks">' in text
    card = text.split('<h2 id="k-1"')[1].split("</section>")[0]
    assert 'class="tap">K1 is loaded' in card
    assert "data-fold" not in card
    assert '<details open class="fold" data-fold="F1">' in pages.get("Wout", "/day?date=2026-12-01").text
    week = pages.get("Wout", "/week").text
    assert "Move it sideways for the other days" in week
