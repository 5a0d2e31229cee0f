"""One more pair of hands on a named day: offered for a late load, added for that date alone; then it is in time."""

from __future__ import annotations

import html
import re
from datetime import date, datetime
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from shared.calendar import on_duty
from shared.clock import wall_minute
from shared.studio import Studio
from tests.api.pages.conftest import Reader
from tests.api.pages.test_mends import asked
from tests.api.pages.test_plan_pages import solved
from tests.api.service.house import EVENING

PROMISED = "2026-11-30T23:00:00+00:00"
FIRST, WEEKS = date(2026, 11, 23), 4


@pytest.fixture
def late(pages: Reader) -> Reader:
    """Flasks to be cast on Monday night, when nobody is there: the plan that holds has them a day late."""
    house = pages.house
    house.clock.now = EVENING
    for load in ("B1", "B2", "F1", "G1"):
        assert house.call("Marta", "POST", f"/loads/{load}/cancel", {"version": 1}).status_code == 200
    assert pages.post("Marta", "/shifts/2/end", {"version": "1"}).status_code == 303
    load = house.get("Marta", "/loads/C1")["load"] | {"promised": PROMISED, "ready": "2026-11-30T09:00"}
    assert house.call("Marta", "PUT", "/loads/C1", {"version": 1, "load": load}).status_code == 200
    house.planned()
    assert planned(pages)["out_at"] > PROMISED
    return pages


def planned(pages: Reader) -> Any:
    """Where the plan that holds has the flasks."""
    return pages.house.get("Marta", "/loads/C1")["planned"]


def studio_of(pages: Reader) -> Studio:
    """The studio as the service has it now."""
    with pages.house.service.store.read() as session:
        return pages.house.service.studio(session)


def hands_by_day(studio: Studio) -> dict[date, int]:
    """Minutes of hands on each of some weeks' days."""
    zone = studio.place.zone
    begin = wall_minute(FIRST, 0, zone)
    found: dict[date, int] = {}
    for duty in on_duty(studio, begin, begin + WEEKS * 7 * 24 * 60):
        day = date.fromordinal(FIRST.toordinal() + (duty.begin - begin) // (24 * 60))
        found[day] = found.get(day, 0) + (duty.end - duty.begin) * duty.shift.hands
    return found


def test_the_hour_that_mends_is_added_for_its_date_alone_and_the_next_plan_keeps_the_promise(late: Reader) -> None:
    offers = re.compile(r'>(one more pair of hands[^<]*)</h3><p>Then out ([^,]*), .*?href="([^"]*)"', re.DOTALL)
    text, out, link = offers.findall(html.unescape(asked(late, "C1")))[0]
    assert text.endswith("who may attend: casting")
    assert out.startswith("Mon 30 Nov ")

    form = html.unescape(late.get("Marta", link).text)
    fields = dict(re.findall(r'<input id="f-\w+" name="(\w+)" type="\w+" value="([^"]*)"', form))
    assert fields["on"] == "2026-11-30"
    assert fields["skills"] == "casting"
    assert re.findall(r'name="days"[^>]* checked', form) == []
    before, weekly = studio_of(late), late.house.get("Marta", "/studio/shifts")
    assert late.post("Marta", "/shifts", fields).headers["location"] == "/shifts?said=done"

    after = studio_of(late)
    minutes = {day: n - hands_by_day(before).get(day, 0) for day, n in hands_by_day(after).items()}
    begins, ends = (datetime.fromisoformat(parse_qs(urlsplit(link).query)[name][0]) for name in ("from", "to"))
    more = (ends - begins).total_seconds() / 60
    assert {day: n for day, n in minutes.items() if n} == {date(2026, 11, 30): more}
    assert late.house.get("Marta", "/studio/shifts")[: len(weekly)] == weekly, "no weekly shift has changed"
    assert "Monday 30 November 2026" in late.get("Marta", "/shifts").text

    was = planned(late)["out_at"]
    assert 'action="/broke"><input type="hidden" name="again" value="C1">' in late.get("Wout", "/trouble/C1").text
    path = solved(late, late.post("Marta", "/broke", {"again": "C1", "work": "3"}))
    (change,) = late.house.get("Marta", f"/plans/{path.rsplit('/', 1)[-1]}")["summary"]["notes"]["changes"]
    assert (change["before"]["out_at"], change["after"]["out_at"][:10]) == (was, "2026-11-30")
    late.house.publish(int(path.rsplit("/", 1)[-1]))
    assert planned(late)["out_at"] <= PROMISED
    assert planned(late)["out_at"].startswith("2026-11-30")
    assert out.endswith(planned(late)["out_at"][11:16])


def test_what_people_hold_is_not_placed_anew(late: Reader) -> None:
    form = {"on": "2026-11-30", "from": "19:30", "to": "21:30", "hands": "1", "skills": "casting"}
    late.post("Marta", "/shifts", form)
    late.post("Marta", f"/firings/{planned(late)['firing']}/hold")
    path = solved(late, late.post("Marta", "/broke", {"again": "C1", "work": "3"}))
    assert late.house.get("Marta", f"/plans/{path.rsplit('/', 1)[-1]}")["summary"]["notes"]["changes"] == []


def test_the_hour_is_gone_again_when_it_is_removed(late: Reader) -> None:
    before = hands_by_day(studio_of(late))
    form = {"on": "2026-11-30", "from": "19:30", "to": "21:30", "hands": "1", "skills": "casting"}
    assert late.post("Marta", "/shifts", form).status_code == 303
    assert hands_by_day(studio_of(late)) != before
    part = late.house.get("Marta", "/studio/shifts")[-1]
    assert part["body"]["on"] == "2026-11-30"
    assert late.post("Marta", f"/shifts/{part['key']}/end", {"version": "1"}).status_code == 303
    assert hands_by_day(studio_of(late)) == before
