"""Calendar feeds: read by a parser of other people's, right in two time zones and over clock changes."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
import vobject

from api.feeds import Entry, written
from shared.clock import minute_of, wall_minute
from tests.api.service.house import BISQUE, House


def _feed(house: House, who: str, **body: str) -> str:
    address = house.post(who, "/feeds", body)["address"]
    answer = house.client.get(address)
    assert answer.headers["content-type"] == "text/calendar; charset=utf-8"
    return str(answer.text)


def _events(text: str) -> list[Any]:
    """The events of a calendar, as vobject reads and validates them (RFC 5545's required properties among others)."""
    calendar = vobject.readOne(text)
    assert calendar.validate(raiseException=True)
    return list(calendar.contents.get("vevent", []))


def _instant(moment: Any) -> datetime:
    found: datetime = moment.value
    assert found.tzinfo is not None
    return found.astimezone(UTC)


def test_the_staffs_feed_says_what_the_plan_says(house: House) -> None:
    """Each loading, start, look and opening at its own time, once."""
    plan = house.planned()
    with house.service.store.read() as session:
        firings = house.service.audited(session, plan).plan.firings
    events = _events(_feed(house, "Wout", kind="staff"))
    loads = sorted(minute_of(_instant(e.dtstart)) for e in events if e.summary.value.startswith("Load "))
    assert loads == sorted(firing.load_at for firing in firings)
    outs = sorted(minute_of(_instant(e.dtend)) for e in events if e.summary.value.split()[0] in ("Open", "Session"))
    assert outs == sorted(firing.out_at for firing in firings)
    assert len({e.uid.value for e in events}) == len(events)


def test_a_kilns_feed_shows_it_taken_from_loading_to_free(house: House) -> None:
    """And shows no other kiln."""
    plan = house.planned()
    with house.service.store.read() as session:
        firings = house.service.audited(session, plan).firings_of("K1")
    events = _events(_feed(house, "Marta", kind="kiln", subject="K1"))
    spans = sorted((minute_of(_instant(e.dtstart)), minute_of(_instant(e.dtend))) for e in events)
    assert spans == [(firing.load_at, max(firing.free_at, firing.out_at)) for firing in firings]


def test_a_members_feed_holds_their_own_loads_alone(house: House) -> None:
    """When each can be fetched, and nobody else's name."""
    house.post("Ana", "/loads", {"load": {**BISQUE, "id": "MINE"}})
    house.post("Ben", "/loads", {"load": {**BISQUE, "id": "HIS"}})
    house.planned()
    text = _feed(house, "Ana")
    (event,) = _events(text)
    assert event.summary.value == "MINE can be fetched"
    out_at = house.get("Ana", "/loads/MINE")["planned"]["out_at"]
    assert _instant(event.dtstart) == datetime.fromisoformat(out_at)
    assert "HIS" not in text


def test_a_revoked_link_leads_nowhere(house: House) -> None:
    """As one that never was."""
    made = house.post("Ana", "/feeds", {})
    assert house.client.get(made["address"]).status_code == 200
    assert house.call("Ben", "DELETE", f"/feeds/{made['id']}").status_code == 404
    assert house.call("Ana", "DELETE", f"/feeds/{made['id']}").status_code == 204
    assert house.client.get(made["address"]).status_code == 404
    assert house.client.get("/feeds/nothing.ics").status_code == 404


def test_a_feed_without_a_plan_is_an_empty_calendar(house: House) -> None:
    """Nothing published, nothing shown, no error."""
    assert _events(_feed(house, "Ana")) == []


def test_a_moved_firing_keeps_its_id_so_that_calendars_move_it(house: House) -> None:
    """The same work has the same id after a re-plan, and a higher sequence number."""
    house.planned()
    before = {e.uid.value: int(e.sequence.value) for e in _events(_feed(house, "Wout", kind="staff"))}
    job = house.solve("/re-plans", {"away": [{"on": "2026-11-30"}]})
    house.publish(job["plan"])
    after = {e.uid.value: int(e.sequence.value) for e in _events(_feed(house, "Wout", kind="staff"))}
    kept = before.keys() & after.keys()
    assert kept
    assert all(after[uid] > before[uid] for uid in kept)


@pytest.mark.parametrize("zone", ["Europe/London", "America/New_York", "Australia/Lord_Howe"])
@pytest.mark.parametrize("day", ["2026-03-08", "2026-03-29", "2026-04-05", "2026-10-04", "2026-10-25", "2026-11-01"])
def test_times_are_right_over_a_clock_change_wherever_the_reader_is(zone: str, day: str) -> None:
    """Every hour of the day of the change: the other parser, with the zone's rules that stand in the file alone, finds
    the same instants as the studio meant."""
    studio_zone = ZoneInfo(zone)
    midnight = wall_minute(datetime.fromisoformat(day).date(), 0, studio_zone)
    entries = [
        Entry(f"e{hour}", midnight + 60 * hour, midnight + 60 * hour + 45, f"e{hour}", "") for hour in range(-3, 30)
    ]
    text = written("Test", entries, datetime(2026, 1, 1, tzinfo=UTC), 1, "http://kilns.example", studio_zone).decode()
    events = _events(text)
    assert [minute_of(_instant(event.dtstart)) for event in events] == [entry.begin for entry in entries]
    assert [minute_of(_instant(event.dtend)) for event in events] == [entry.end for entry in entries]


def test_a_reader_in_another_zone_sees_their_own_clock(tmp_path: Path) -> None:
    """Nine in the evening in London is four in the afternoon in New York; in the week between their two clock changes,
    five."""
    london, new_york = ZoneInfo("Europe/London"), ZoneInfo("America/New_York")
    shown = []
    for day in ("2026-03-01", "2026-03-15", "2026-04-01"):
        begin = wall_minute(datetime.fromisoformat(day).date(), 21 * 60, london)
        text = written(
            "Test", [Entry("e", begin, begin + 30, "e", "")], datetime(2026, 1, 1, tzinfo=UTC), 1, "x", london
        )
        (event,) = _events(text.decode())
        shown.append(event.dtstart.value.astimezone(new_york).hour)
    assert shown == [16, 17, 16]
