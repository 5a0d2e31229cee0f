"""Units at the edges: what people write in a studio folder, and what the code counts in.

Inside the code temperatures are degrees Celsius, ramp rates kelvin per hour, durations minutes.
A studio may write degrees Fahrenheit; the conversion happens here and nowhere else, driven by the
validation context ``{"temperature": "C" | "F"}`` of the file being read or written.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PlainSerializer, SerializationInfo, ValidationInfo
from pydantic_core import PydanticCustomError

from shared.texts import refusal

TemperatureUnit = Literal["C", "F"]

DAY_MINUTES = 24 * 60

_DURATION = re.compile(r"^(\d{1,4}):([0-5]\d)$")
_TIME_OF_DAY = re.compile(r"^([01]?\d|2[0-4]):([0-5]\d)(?::00)?$")


def celsius(degrees: float, unit: TemperatureUnit) -> float:
    """Temperature [°C] of a reading in ``unit``.

    >>> celsius(1350, "F")
    732.222222
    """
    return degrees if unit == "C" else (degrees - 32.0) / 1.8


def degrees(temperature_c: float, unit: TemperatureUnit) -> float:
    """Reading in ``unit`` of a temperature [°C]; rounded to a millionth, so that files read back the same.

    >>> degrees(celsius(1350, "F"), "F")
    1350.0
    """
    return round(temperature_c if unit == "C" else temperature_c * 1.8 + 32.0, 6)


def kelvin_span(span: float, unit: TemperatureUnit) -> float:
    """Temperature difference, or rate per hour [K, K/h], of one in ``unit``.

    >>> kelvin_span(550, "F")
    305.555556
    """
    return span if unit == "C" else span / 1.8


def degree_span(span_k: float, unit: TemperatureUnit) -> float:
    """Difference, or rate per hour, in ``unit`` of one in kelvin.

    >>> degree_span(kelvin_span(550, "F"), "F")
    550.0
    """
    return round(span_k if unit == "C" else span_k * 1.8, 6)


def minutes_of(duration: object) -> float:
    """Minutes [min] of a duration: ``"H:MM"`` or a number of hours.

    Raises
    ------
    PydanticCustomError
        If it is neither.

    >>> minutes_of("2:30"), minutes_of(1.25)
    (150.0, 75.0)
    """
    if isinstance(duration, str):
        match = _DURATION.match(duration.strip())
        if match:
            return float(int(match[1]) * 60 + int(match[2]))
        try:
            duration = float(duration)
        except ValueError:
            raise _not_a_duration() from None
    if isinstance(duration, bool) or not isinstance(duration, int | float):
        raise _not_a_duration()
    if not 0 <= duration < 10_000:
        raise _not_a_duration()
    return round(float(duration) * 60.0, 6)


def duration_text(minutes: float) -> str:
    """A duration as people write it, ``H:MM``, rounded to the minute.

    >>> duration_text(149.7)
    '2:30'
    """
    whole = int(minutes + 0.5)
    return f"{whole // 60}:{whole % 60:02d}"


def _not_a_duration() -> PydanticCustomError:
    return refusal("duration")


def minute_of_day(text: object) -> int:
    """Minutes after local midnight [min] of a wall-clock time ``"HH:MM"``; ``"24:00"`` is the day's end.

    >>> minute_of_day("09:30")
    570
    """
    match = _TIME_OF_DAY.match(str(text).strip())
    if not match or int(match[1]) * 60 + int(match[2]) > DAY_MINUTES:
        raise refusal("time_of_day")
    return int(match[1]) * 60 + int(match[2])


def time_of_day_text(minute: int) -> str:
    """Wall-clock time ``HH:MM`` of minutes after local midnight.

    >>> time_of_day_text(570)
    '09:30'
    """
    return f"{minute // 60:02d}:{minute % 60:02d}"


def unit_of(info: ValidationInfo | SerializationInfo) -> TemperatureUnit:
    """The temperature unit of the file being read or written; Celsius outside files."""
    context = info.context
    if isinstance(context, dict) and context.get("temperature") == "F":
        return "F"
    return "C"


def _number(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise refusal("number")
    try:
        number = float(value)
    except (ValueError, OverflowError):
        raise refusal("number") from None
    if number != number or number in (float("inf"), float("-inf")):
        raise refusal("number_finite")
    return number


def _read_temperature(value: object, info: ValidationInfo) -> float:
    temperature_c = celsius(_number(value), unit_of(info))
    if not -60.0 <= temperature_c <= 2000.0:
        celsius_meant = unit_of(info) == "C"
        low, high = (-60, 2000) if celsius_meant else (-76, 3632)
        raise refusal("temperature", low=low, high=high, unit=unit_of(info))
    return temperature_c


def _read_rate(value: object, info: ValidationInfo) -> float | None:
    if value is None or (isinstance(value, str) and value.strip().lower() == "full"):
        return None
    if isinstance(value, str):
        raise refusal("rate")
    rate = kelvin_span(_number(value), unit_of(info))
    if not 0 < rate <= 20_000:
        raise refusal("rate_above")
    return rate


def _write_rate(rate: float | None, info: SerializationInfo) -> Any:
    return "full" if rate is None else _tidy(degree_span(rate, unit_of(info)))


def _tidy(number: float) -> int | float:
    """Whole numbers without a decimal point, as people write them."""
    return int(number) if number == int(number) and abs(number) < 1e15 else number


def _write_duration(minutes: float) -> Any:
    whole = round(minutes)
    return duration_text(whole) if abs(minutes - whole) < 1e-6 else round(minutes / 60.0, 9)


TemperatureC = Annotated[
    float,
    BeforeValidator(_read_temperature),
    PlainSerializer(lambda value, info: _tidy(degrees(value, unit_of(info)))),
]
"""A temperature, °C in the code, studio unit in files."""

RateKPerHour = Annotated[float | None, BeforeValidator(_read_rate), PlainSerializer(_write_rate)]
"""A ramp rate, K/h in the code, studio unit per hour in files; None is ``"full"``."""


def _read_duration(value: object, info: ValidationInfo) -> float:
    # A bare number is hours in a file and minutes in the code, where the field's name says so.
    if isinstance(info.context, dict) or isinstance(value, str):
        return minutes_of(value)
    minutes = _number(value)
    if not 0 <= minutes < 600_000:
        raise _not_a_duration()
    return minutes


DurationMinutes = Annotated[float, BeforeValidator(_read_duration), PlainSerializer(_write_duration)]
"""A duration, minutes in the code, ``"H:MM"`` or hours in files."""


def _read_minute_of_day(value: object, info: ValidationInfo) -> int:
    if isinstance(value, int) and not isinstance(value, bool) and not isinstance(info.context, dict):
        return value
    return minute_of_day(value)


MinuteOfDay = Annotated[
    int, BeforeValidator(_read_minute_of_day), PlainSerializer(time_of_day_text), Field(ge=0, le=DAY_MINUTES)
]
"""A wall-clock time, minutes after local midnight in the code, ``"HH:MM"`` in files."""
