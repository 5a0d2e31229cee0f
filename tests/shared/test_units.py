"""Units at the edges. Conversions are checked against NIST SP 811 (2008), B.8 and B.9: t/°C = (t/°F − 32)/1.8."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError
from pydantic_core import PydanticCustomError

from shared.units import (
    DurationMinutes,
    MinuteOfDay,
    RateKPerHour,
    TemperatureC,
    celsius,
    degree_span,
    degrees,
    duration_text,
    kelvin_span,
    minute_of_day,
    minutes_of,
    time_of_day_text,
)


class Sample(BaseModel):
    """One value of each kind."""

    temperature: TemperatureC = 0.0
    rate: RateKPerHour = None
    hold: DurationMinutes = 0.0
    at: MinuteOfDay = 0


def read(unit: str = "C", **values: object) -> Sample:
    """Values as a file in ``unit`` gives them."""
    return Sample.model_validate(values, context={"temperature": unit})


# Ice and steam points, the point where both scales read the same, and absolute zero: exact by definition
# (NIST SP 811 B.8). 1945 °F for cone 04 at 60 °C/h and its 1063 °C: rounded pair as cone tables print them,
# from memory.
@pytest.mark.parametrize(
    ("fahrenheit", "wanted_c", "within"),
    [(32, 0, 1e-9), (212, 100, 1e-9), (-40, -40, 1e-9), (-459.67, -273.15, 1e-9), (1945, 1063, 0.5)],
)
def test_fixed_points_of_both_scales_convert(fahrenheit: float, wanted_c: float, within: float) -> None:
    assert celsius(fahrenheit, "F") == pytest.approx(wanted_c, abs=within)
    assert degrees(wanted_c, "F") == pytest.approx(fahrenheit, abs=1.8 * within)


def test_a_span_of_180_fahrenheit_degrees_is_100_kelvin_with_no_offset() -> None:
    assert kelvin_span(180, "F") == pytest.approx(100)
    assert degree_span(100, "F") == pytest.approx(180)
    assert kelvin_span(180, "C") == 180


@given(st.integers(-70_000, 3_600_000), st.sampled_from(["C", "F"]))
def test_a_reading_comes_back_as_it_was_written(thousandths: int, unit: Any) -> None:
    reading = thousandths / 1000
    assert degrees(celsius(reading, unit), unit) == reading


def test_a_file_in_fahrenheit_is_read_and_written_in_fahrenheit() -> None:
    sample = read("F", temperature=1922, rate=180)
    assert sample.temperature == pytest.approx(1050)
    assert sample.rate == pytest.approx(100)
    written = sample.model_dump(context={"temperature": "F"})
    assert (written["temperature"], written["rate"]) == (1922, 180)


def test_full_rate_is_no_rate_at_all() -> None:
    assert read(rate="full").rate is None
    assert read(rate="full").model_dump()["rate"] == "full"


@pytest.mark.parametrize("value", ["fast", "120", 0, -5, float("nan"), float("inf"), True, [1], 1e9])
def test_a_rate_that_is_none_is_refused(value: object) -> None:
    with pytest.raises(ValidationError):
        read(rate=value)


@pytest.mark.parametrize("value", [-273.15, 2001, float("inf"), "hot", True, None, "nan", 10**400])
def test_a_temperature_that_no_studio_meets_is_refused(value: object) -> None:
    with pytest.raises(ValidationError):
        read(temperature=value)


def test_the_range_of_temperatures_is_told_in_the_files_unit() -> None:
    with pytest.raises(ValidationError, match=r"between -76 and 3632 °F"):
        read("F", temperature=4000)
    assert read("F", temperature=3632).temperature == pytest.approx(2000)


@pytest.mark.parametrize(
    ("written", "minutes"),
    [("2:30", 150), ("0:05", 5), ("100:00", 6000), (1.25, 75), (0, 0), ("2.5", 150), (" 1:00 ", 60)],
)
def test_durations_are_hours_and_minutes_or_hours(written: object, minutes: float) -> None:
    assert minutes_of(written) == minutes


@pytest.mark.parametrize(
    "written", ["2:60", "2:3", "-1:00", "1:00:00", -1, "", "soon", True, None, float("nan"), 10_000]
)
def test_a_duration_that_is_none_is_refused(written: object) -> None:
    with pytest.raises(PydanticCustomError):
        minutes_of(written)


@given(st.integers(0, 9_999 * 60))
def test_a_duration_of_whole_minutes_comes_back_as_it_was_written(minutes: int) -> None:
    assert minutes_of(duration_text(minutes)) == minutes


@given(st.integers(0, 1440))
def test_a_time_of_day_comes_back_as_it_was_written(minute: int) -> None:
    assert minute_of_day(time_of_day_text(minute)) == minute


@pytest.mark.parametrize("written", ["24:01", "25:00", "9", "09:60", "9.30", "noon", "", 540, "-1:00"])
def test_a_time_of_day_that_is_none_is_refused(written: object) -> None:
    with pytest.raises(PydanticCustomError):
        minute_of_day(written)
