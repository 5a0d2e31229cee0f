"""The week's rules on the absolute axis, clock changes included.

The outside check is a walk, minute by minute, over the wall clock that the standard library's ``zoneinfo`` shows: it
knows nothing of spans, and asks of each minute only what the clock on the wall says.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shared.calendar import OnDuty, Span, kiln_outages, on_duty, power_outages, price_steps, quiet_spans, staffed_spans
from shared.clock import WEEKDAYS, iso_text, wall_minute
from shared.kilns import Circuit, Kiln
from shared.studio import Absence, Band, Closed, Outage, Place, Quiet, Shift, Studio, Tariff
from shared.units import time_of_day_text as clock

EVERY_DAY = WEEKDAYS
CHANGE_DAYS = [
    ("Europe/London", date(2026, 3, 29)),
    ("Europe/London", date(2026, 10, 25)),
    ("America/New_York", date(2026, 3, 8)),
    ("America/New_York", date(2026, 11, 1)),
    ("Australia/Lord_Howe", date(2026, 10, 4)),
    ("Australia/Lord_Howe", date(2026, 4, 5)),
]


def studio(zone: str = "Europe/London", **parts: object) -> Studio:
    """A studio with two kilns on a main and a branch, and whatever ``parts`` it is asked about."""
    circuits = (
        Circuit(id="main", breaker_amps=100, legs=3),
        Circuit(id="branch", fed_from="main", breaker_amps=40, legs=3),
    )
    kilns = tuple(
        Kiln.model_validate(
            {
                "id": name,
                "work": ("bisque",),
                "circuit": circuit,
                "volts": 400,
                "amps": 24,
                "kilowatts": 16.6,
                "max_temperature_c": 1290,
                "inside_mm": (500, 600),
                "wall_mm": 115,
                "brick": 23,
                "load_minutes": 30,
                "unload_minutes": 30,
            }
        )
        for name, circuit in (("K1", "main"), ("K2", "branch"))
    )
    return Studio.model_validate(
        {"place": Place(name="S", timezone=zone), "circuits": circuits, "kilns": kilns, **parts}
    )


def told(duties: list[OnDuty], zone: ZoneInfo) -> list[tuple[str, str]]:
    """Shifts as people would read them."""
    return [(iso_text(duty.begin, zone), iso_text(duty.end, zone)) for duty in duties]


def on_the_wall(minute: int, zone: ZoneInfo) -> tuple[date, int]:
    """The day and minute of day that the wall clock shows."""
    shown = datetime.fromtimestamp(minute * 60, UTC).astimezone(zone)
    return shown.date(), shown.hour * 60 + shown.minute


def holds(days: tuple[str, ...], opens: int, closes: int, day: date, now: int) -> bool:
    """Whether a weekly window holds when the wall shows ``now`` on ``day``."""
    today, yesterday = WEEKDAYS[day.weekday()], WEEKDAYS[(day.weekday() - 1) % 7]
    if closes > opens:
        return today in days and opens <= now < closes
    return (today in days and now >= opens) or (yesterday in days and now < closes)


# Edges between 00:15 and 03:45 are left out: where the clock shows an edge twice or never, a walk over the wall clock
# has no one answer. Tests of their own below say which is meant.
EDGES = st.integers(0, 288).map(lambda k: 5 * k).filter(lambda m: m <= 15 or m >= 225)
DAYS = st.lists(st.sampled_from(WEEKDAYS), min_size=1, max_size=7, unique=True).map(tuple)
PLACES = st.sampled_from(CHANGE_DAYS)


@st.composite
def spans(draw: st.DrawFn) -> tuple[str, int, int]:
    """A span of some days around a clock change."""
    name, day = draw(PLACES)
    noon = wall_minute(day, 720, ZoneInfo(name))
    begin = noon - draw(st.integers(0, 2 * 1440))
    return name, begin, begin + draw(st.integers(60, 3 * 1440))


@settings(max_examples=60, deadline=None)
@given(spans(), DAYS, EDGES.filter(lambda m: m < 1440), EDGES)
def test_shifts_are_where_a_walk_over_the_wall_clock_finds_them(
    span: tuple[str, int, int], days: tuple[str, ...], opens: int, closes: int
) -> None:
    name, begin, end = span
    zone = ZoneInfo(name)
    shut = on_the_wall(begin, zone)[0] + timedelta(days=1)
    asked = studio(
        name,
        shifts=(Shift(days=days, opens=clock(opens), closes=clock(closes)),),
        closed=(Closed(first=shut, last=shut),),
    )
    duties = on_duty(asked, begin, end)
    for minute in range(begin, end, 5):
        day, now = on_the_wall(minute, zone)
        # On a closed day nobody comes, and whoever came the day before leaves at midnight. After it, the shift that
        # would have begun on the closed day is missing too.
        wanted = day != shut and holds(days, opens, closes, day, now)
        if wanted and day - timedelta(days=1) == shut and closes <= opens and now < closes:
            wanted = WEEKDAYS[day.weekday()] in days and now >= opens
        assert any(duty.begin <= minute < duty.end for duty in duties) == wanted, iso_text(minute, zone)


SHIFTS = st.fixed_dictionaries(
    {
        "days": DAYS,
        "opens": EDGES.filter(lambda m: m < 1440).map(clock),
        "closes": EDGES.map(clock),
        "hands": st.integers(1, 2),
        "skills": st.sampled_from([(), ("casting",)]),
    }
).map(lambda said: Shift(**said))


@settings(max_examples=60, deadline=None)
@given(spans(), st.lists(SHIFTS, max_size=4), st.integers(1, 3), st.sampled_from([None, "casting"]))
def test_people_enough_are_there_where_a_count_of_every_minute_finds_them(
    span: tuple[str, int, int], shifts: list[Shift], people: int, skill: str | None
) -> None:
    name, begin, end = span
    zone = ZoneInfo(name)
    found = staffed_spans(studio(name, shifts=tuple(shifts)), begin, end, people, skill)
    assert all(first.end < second.begin for first, second in pairwise(found))
    for minute in range(begin, end, 5):
        day, now = on_the_wall(minute, zone)
        here = [shift for shift in shifts if holds(shift.days, shift.opens, shift.closes, day, now)]
        able = skill is None or any(skill in shift.skills for shift in here)
        wanted = bool(here) and able and sum(shift.hands for shift in here) >= people
        assert any(there.begin <= minute < there.end for there in found) == wanted, iso_text(minute, zone)


@settings(max_examples=60, deadline=None)
@given(spans(), st.lists(st.tuples(DAYS, EDGES.filter(lambda m: m < 1440), EDGES), max_size=4))
def test_the_first_band_that_holds_gives_the_price(
    span: tuple[str, int, int], windows: list[tuple[tuple[str, ...], int, int]]
) -> None:
    name, begin, end = span
    zone = ZoneInfo(name)
    bands = tuple(
        Band(days=days, begins=clock(opens), ends=clock(closes), price=float(number))
        for number, (days, opens, closes) in enumerate(windows, 1)
    )
    steps = price_steps(studio(name, tariff=Tariff(default=0.5, bands=bands)), begin, end)
    assert (steps[0].begin, steps[-1].end) == (begin, end)
    assert all(left.end == right.begin and left.price != right.price for left, right in pairwise(steps))
    for minute in range(begin, end, 5):
        day, now = on_the_wall(minute, zone)
        wanted = next((band.price for band in bands if holds(band.days, band.begins, band.ends, day, now)), 0.5)
        assert next(step.price for step in steps if step.begin <= minute < step.end) == wanted, iso_text(minute, zone)


@settings(max_examples=30, deadline=None)
@given(spans(), DAYS, EDGES.filter(lambda m: m < 1440), EDGES)
def test_quiet_times_are_where_a_walk_over_the_wall_clock_finds_them(
    span: tuple[str, int, int], days: tuple[str, ...], begins: int, ends: int
) -> None:
    name, begin, end = span
    zone = ZoneInfo(name)
    quiet = quiet_spans(
        studio(name, quiet=(Quiet(days=days, begins=clock(begins), ends=clock(ends), work=("burnout",)),)), begin, end
    )
    assert all(found.work == ("burnout",) for found in quiet)
    for minute in range(begin, end, 5):
        wanted = holds(days, begins, ends, *on_the_wall(minute, zone))
        assert any(found.begin <= minute < found.end for found in quiet) == wanted, iso_text(minute, zone)


@pytest.mark.parametrize(
    ("name", "day", "hours"),
    [
        ("Europe/London", date(2026, 3, 28), 7.0),
        ("Europe/London", date(2026, 10, 24), 9.0),
        ("Australia/Lord_Howe", date(2026, 10, 3), 7.5),
        ("Australia/Lord_Howe", date(2026, 4, 4), 8.5),
    ],
)
def test_a_night_shift_over_the_clock_change_has_its_true_length(name: str, day: date, hours: float) -> None:
    asked = studio(name, shifts=(Shift(days=("sat",), opens="22:00", closes="06:00"),))
    noon = wall_minute(day, 720, asked.place.zone)
    (duty,) = on_duty(asked, noon, noon + 1440)
    assert (duty.end - duty.begin) / 60 == hours


def test_an_edge_that_the_clock_skips_is_moved_on_and_of_one_shown_twice_the_first_is_meant() -> None:
    asked = studio(shifts=(Shift(days=EVERY_DAY, opens="01:30", closes="10:00"),))
    zone = asked.place.zone
    for day, wanted in (
        (date(2026, 3, 29), "2026-03-29T02:30:00+01:00"),
        (date(2026, 10, 25), "2026-10-25T01:30:00+01:00"),
    ):
        begin = wall_minute(day, 0, zone)
        assert told(on_duty(asked, begin, begin + 600), zone)[0][0] == wanted


def test_a_shift_that_only_the_skipped_hour_held_is_none() -> None:
    asked = studio(shifts=(Shift(days=EVERY_DAY, opens="01:00", closes="02:00"),))
    begin = wall_minute(date(2026, 3, 29), 0, asked.place.zone)
    assert [duty.end - duty.begin for duty in on_duty(asked, begin, begin + 600)] == []


def test_a_shift_past_midnight_into_a_closed_day_ends_at_midnight_and_none_comes_from_it() -> None:
    asked = studio(
        shifts=(Shift(days=EVERY_DAY, opens="22:00", closes="02:00"),),
        closed=(Closed(first=date(2026, 12, 24), last=date(2026, 12, 25)),),
    )
    zone = asked.place.zone
    begin = wall_minute(date(2026, 12, 23), 720, zone)
    assert told(on_duty(asked, begin, begin + 4 * 1440), zone) == [
        ("2026-12-23T22:00:00+00:00", "2026-12-24T00:00:00+00:00"),
        ("2026-12-26T22:00:00+00:00", "2026-12-27T02:00:00+00:00"),
    ]


def test_shifts_come_whole_and_only_where_they_touch_the_span() -> None:
    asked = studio(shifts=(Shift(days=EVERY_DAY, opens="09:00", closes="17:00"),))
    zone = asked.place.zone
    morning = wall_minute(date(2026, 6, 1), 540, zone)
    assert told(on_duty(asked, morning + 60, morning + 120), zone) == [
        ("2026-06-01T09:00:00+01:00", "2026-06-01T17:00:00+01:00")
    ]
    assert on_duty(asked, morning - 60, morning) == []
    assert on_duty(asked, morning + 480, morning + 500) == []


def test_a_shift_on_one_date_comes_on_that_date_alone() -> None:
    asked = studio(shifts=(Shift(on=date(2026, 12, 2), opens="22:00", closes="02:00"),))
    begin = wall_minute(date(2026, 11, 20), 0, asked.place.zone)
    (duty,) = on_duty(asked, begin, begin + 30 * 24 * 60)
    assert duty.begin == wall_minute(date(2026, 12, 2), 22 * 60, asked.place.zone)
    assert duty.end == wall_minute(date(2026, 12, 3), 2 * 60, asked.place.zone)


def test_a_day_that_ends_at_24_00_ends_at_midnight() -> None:
    asked = studio(shifts=(Shift(days=("mon",), opens="18:00", closes="24:00"),))
    begin = wall_minute(date(2026, 6, 1), 0, asked.place.zone)
    (duty,) = on_duty(asked, begin, begin + 2880)
    assert duty.end == begin + 1440


def test_quiet_times_without_work_are_for_all_of_it() -> None:
    asked = studio(quiet=(Quiet(days=("mon",), begins="10:00", ends="11:00"),))
    begin = wall_minute(date(2026, 6, 1), 0, asked.place.zone)
    assert [
        (found.begin - begin, found.end - begin, found.work) for found in quiet_spans(asked, begin, begin + 1440)
    ] == [(600, 660, None)]


@pytest.mark.parametrize(
    ("kiln", "ask", "wanted"),
    [
        ("K1", kiln_outages, [(0, 50)]),
        ("K2", kiln_outages, []),
        ("K1", power_outages, [(80, 100)]),
        ("K2", power_outages, [(20, 60), (80, 100)]),
    ],
)
def test_outages_are_cut_to_the_span_and_come_down_from_every_feeding_circuit(
    kiln: str, ask: Callable[[Studio, str, int, int], list[Span]], wanted: list[tuple[int, int]]
) -> None:
    begin = 29_000_000
    asked = studio(
        outages=(
            Outage(kiln="K1", begins=begin - 100, ends=begin + 50),
            Outage(kiln="K1", begins=begin - 200, ends=begin - 100),
            Outage(circuit="branch", begins=begin + 20, ends=begin + 60),
            Outage(circuit="main", begins=begin + 80),
            Outage(circuit="main", begins=begin + 100, ends=begin + 200),
        )
    )
    assert [(s.begin - begin, s.end - begin) for s in ask(asked, kiln, begin, begin + 100)] == wanted


def test_spans_that_only_touch_do_not_overlap() -> None:
    assert not Span(10, 20).overlaps(20, 30)
    assert not Span(10, 20).overlaps(0, 10)
    assert Span(10, 20).overlaps(19, 30)


def test_who_is_away_is_not_counted() -> None:
    """Two shifts a day, the first of two hands: one person away leaves one, nobody named leaves none."""
    shifts = (
        Shift(days=WEEKDAYS, opens="09:00", closes="13:00", hands=2),
        Shift(days=WEEKDAYS, opens="14:00", closes="18:00", hands=1),
    )
    day = date(2026, 12, 3)
    zone = ZoneInfo("Europe/London")
    begin, end = wall_minute(day, 0, zone), wall_minute(day, 1440, zone)

    def hands(*absences: Absence) -> list[int]:
        return [duty.shift.hands for duty in on_duty(studio(shifts=shifts, absences=absences), begin, end)]

    assert hands() == [2, 1]
    assert hands(Absence(on=day, opens=540, hands=1)) == [1, 1]
    assert hands(Absence(on=day, opens=540)) == [1]
    assert hands(Absence(on=day)) == []
    assert hands(Absence(on=day + timedelta(days=1))) == [2, 1]
