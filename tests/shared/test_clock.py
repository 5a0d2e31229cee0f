"""The absolute axis and the wall clock on days when the clocks change.

Change days from the rules themselves, worked by hand: European Union and United Kingdom at 01:00 UTC on the last
Sundays of March and October (Directive 2000/84/EC): 29 March and 25 October 2026; United States at 02:00 local on the
second Sunday of March and the first of November (Energy Policy Act of 2005): 8 March and 1 November 2026; Lord Howe
Island by half an hour at 02:00 local on the first Sundays of April and October (tz database, file australasia):
5 April and 4 October 2026.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError
from pydantic_core import PydanticCustomError

from shared.clock import Moment, exists, iso_text, local_time, minute_of, read_moment, wall_minute

LONDON, NEW_YORK, LORD_HOWE = ZoneInfo("Europe/London"), ZoneInfo("America/New_York"), ZoneInfo("Australia/Lord_Howe")
CHANGES = [
    (LONDON, date(2026, 3, 29), 23 * 60),
    (LONDON, date(2026, 10, 25), 25 * 60),
    (NEW_YORK, date(2026, 3, 8), 23 * 60),
    (NEW_YORK, date(2026, 11, 1), 25 * 60),
    (LORD_HOWE, date(2026, 10, 4), 23 * 60 + 30),
    (LORD_HOWE, date(2026, 4, 5), 24 * 60 + 30),
]
ZONES = st.sampled_from([LONDON, NEW_YORK, LORD_HOWE, ZoneInfo("Asia/Kathmandu"), ZoneInfo("UTC")])


class Sample(BaseModel):
    """One moment."""

    at: Moment


def from_file(value: object, zone: ZoneInfo) -> int:
    """A moment as a file of a studio in ``zone`` gives it."""
    return Sample.model_validate({"at": value}, context={"zone": zone}).at


@pytest.mark.parametrize(("zone", "day", "minutes"), CHANGES)
def test_a_day_with_a_clock_change_has_its_true_length(zone: ZoneInfo, day: date, minutes: int) -> None:
    assert wall_minute(day, 24 * 60, zone) - wall_minute(day, 0, zone) == minutes


@pytest.mark.parametrize(("zone", "day", "minutes"), CHANGES)
def test_a_hold_of_three_hours_over_the_change_stays_three_hours(zone: ZoneInfo, day: date, minutes: int) -> None:
    began = wall_minute(day, 30, zone)
    ended = began + 180
    shown = local_time(ended, zone).replace(tzinfo=None) - local_time(began, zone).replace(tzinfo=None)
    assert local_time(ended, zone) - local_time(began, ZoneInfo("UTC")) == timedelta(hours=3)
    assert shown == timedelta(minutes=180 + (1440 - minutes))


@pytest.mark.parametrize(
    ("zone", "skipped", "moved_to"),
    [
        (LONDON, "2026-03-29T01:30", "2026-03-29T02:30:00+01:00"),
        (NEW_YORK, "2026-03-08T02:30", "2026-03-08T03:30:00-04:00"),
        (LORD_HOWE, "2026-10-04T02:15", "2026-10-04T02:45:00+11:00"),
    ],
)
def test_a_time_that_the_clock_skips_is_refused_in_files_and_moved_on_in_weekly_hours(
    zone: ZoneInfo, skipped: str, moved_to: str
) -> None:
    naive = datetime.fromisoformat(skipped)
    assert not exists(naive, zone)
    with pytest.raises(PydanticCustomError, match="skipped by the clock change"):
        read_moment(skipped, zone)
    assert iso_text(wall_minute(naive.date(), naive.hour * 60 + naive.minute, zone), zone) == moved_to


@pytest.mark.parametrize(
    ("zone", "twice", "first", "second"),
    [
        (LONDON, "2026-10-25T01:30", "+01:00", "+00:00"),
        (NEW_YORK, "2026-11-01T01:30", "-04:00", "-05:00"),
        (LORD_HOWE, "2026-04-05T01:45", "+11:00", "+10:30"),
    ],
)
def test_of_a_time_shown_twice_the_first_is_meant_and_the_offset_tells_them_apart(
    zone: ZoneInfo, twice: str, first: str, second: str
) -> None:
    assert exists(datetime.fromisoformat(twice), zone)
    earlier, later = from_file(twice + first, zone), from_file(twice + second, zone)
    assert from_file(twice, zone) == earlier < later
    assert iso_text(earlier, zone) == f"{twice}:00{first}"
    assert iso_text(later, zone) == f"{twice}:00{second}"


@given(st.integers(10_600_000, 120_000_000), ZONES)
def test_a_moment_comes_back_as_it_was_written(minute: int, zone: ZoneInfo) -> None:
    assert from_file(iso_text(minute, zone), zone) == minute
    assert minute_of(local_time(minute, zone)) == minute


def test_seconds_are_rounded_up_to_the_minute() -> None:
    assert minute_of(datetime(1970, 1, 1, 0, 0, 1, tzinfo=UTC)) == 1
    assert minute_of(datetime(1970, 1, 1, 0, 1, 0, tzinfo=UTC)) == 1


def test_a_time_without_an_offset_has_no_place_on_the_axis() -> None:
    with pytest.raises(ValueError, match="without an offset"):
        minute_of(datetime(2026, 1, 1))


def test_a_toml_date_is_its_midnight_on_the_wall_clock() -> None:
    assert from_file(date(2026, 7, 1), LONDON) == minute_of(datetime(2026, 6, 30, 23, 0, tzinfo=UTC))


@pytest.mark.parametrize(
    "value", ["2026-02-30T09:00", "31.12.2026", "", "soon", 29_000_000, 1.5, True, None, "1989-12-31", "2201-01-01"]
)
def test_what_is_no_time_is_refused_in_files(value: Any) -> None:
    with pytest.raises(ValidationError):
        from_file(value, LONDON)


def test_code_hands_over_minutes() -> None:
    assert Sample(at=29_000_000).at == 29_000_000
    assert Sample(at=29_000_000).model_dump() == {"at": 29_000_000}
