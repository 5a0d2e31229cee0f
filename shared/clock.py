"""One absolute axis of minutes, and the studio's wall clock at its edges.

A *minute* in this code is a whole number of minutes since 1970-01-01T00:00Z. Lengths on that axis are
true lengths: a hold of three hours stays three hours on the nights when the clocks change.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from typing import Annotated, Any
from zoneinfo import ZoneInfo

from pydantic import BeforeValidator, PlainSerializer, SerializationInfo, ValidationInfo
from pydantic_core import PydanticCustomError

from shared.texts import refusal

Minute = int
"""Minutes since 1970-01-01T00:00Z."""

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def minute_of(moment: datetime) -> Minute:
    """The minute on the absolute axis, seconds rounded up, of an aware ``moment``.

    Raises
    ------
    ValueError
        If ``moment`` carries no offset.

    >>> minute_of(datetime(1970, 1, 2, tzinfo=UTC))
    1440
    """
    if moment.tzinfo is None:
        raise ValueError("a time without an offset has no place on the absolute axis")
    return -((_EPOCH - moment.astimezone(UTC)) // timedelta(minutes=1))


def local_time(minute: Minute, zone: ZoneInfo) -> datetime:
    """The wall-clock time in ``zone`` of a minute, with its offset."""
    return (_EPOCH + timedelta(minutes=minute)).astimezone(zone)


def iso_text(minute: Minute, zone: ZoneInfo) -> str:
    """ISO 8601 text, always with the offset.

    >>> iso_text(29_000_000, ZoneInfo("Europe/Lisbon"))
    '2025-02-19T21:20:00+00:00'
    """
    return local_time(minute, zone).isoformat()


def iso_minute(text: str) -> Minute:
    """The minute that ISO 8601 text with an offset means: what `iso_text` wrote.

    Raises
    ------
    ValueError
        If it is no time, or has no offset.

    >>> iso_minute("2025-02-19T21:20:00+00:00")
    29000000
    """
    return minute_of(datetime.fromisoformat(text))


def wall_minute(day: date, minute_of_day: int, zone: ZoneInfo) -> Minute:
    """The minute at which the wall clock shows ``minute_of_day`` on ``day``.

    A time that the clock skips in spring is moved on by the gap; of a time that it shows twice in autumn
    the first is meant. 24:00 is the next day's midnight.

    >>> spring = date(2026, 3, 29)
    >>> wall_minute(spring, 6 * 60, ZoneInfo("Europe/London")) - wall_minute(spring, 0, ZoneInfo("Europe/London"))
    300
    """
    day += timedelta(days=minute_of_day // 1440)
    hour, minute = divmod(minute_of_day % 1440, 60)
    return minute_of(datetime.combine(day, time(hour, minute), tzinfo=zone))


def exists(moment: datetime, zone: ZoneInfo) -> bool:
    """Whether the wall clock in ``zone`` ever shows the naive ``moment`` (it skips an hour in spring)."""
    aware = moment.replace(tzinfo=zone)
    return aware.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == moment


def zone_of(info: ValidationInfo | SerializationInfo) -> ZoneInfo:
    """The zone of the file being read or written; UTC outside files."""
    context = info.context
    if isinstance(context, dict) and isinstance(context.get("zone"), ZoneInfo):
        zone: ZoneInfo = context["zone"]
        return zone
    return ZoneInfo("UTC")


def read_moment(value: object, zone: ZoneInfo) -> Minute:
    """The minute that a file's time means: ISO 8601 text, or a TOML date or date-time.

    Raises
    ------
    PydanticCustomError
        If it is no time, or one that the wall clock skips.
    """
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value.strip())
        except ValueError:
            raise _not_a_time() from None
    if isinstance(value, date) and not isinstance(value, datetime):
        value = datetime.combine(value, time(0, 0))
    if not isinstance(value, datetime):
        raise _not_a_time()
    if not 1990 <= value.year <= 2200:
        raise refusal("moment_range")
    if value.tzinfo is None:
        if not exists(value, zone):
            raise refusal("moment_gap", zone=str(zone))
        value = value.replace(tzinfo=zone)
    return minute_of(value)


def _not_a_time() -> PydanticCustomError:
    return refusal("moment")


def _read_minute(value: object, info: ValidationInfo) -> Minute:
    # Code hands over minutes; files never hold bare integers for a time.
    if isinstance(value, int) and not isinstance(value, bool) and not _from_file(info):
        return value
    return read_moment(value, zone_of(info))


def _from_file(info: ValidationInfo) -> bool:
    return isinstance(info.context, dict)


def _write_minute(minute: Minute, info: SerializationInfo) -> Any:
    if not isinstance(info.context, dict):
        return minute
    return iso_text(minute, zone_of(info))


Moment = Annotated[int, BeforeValidator(_read_minute), PlainSerializer(_write_minute)]
"""A point in time: a minute of the absolute axis in the code, ISO 8601 in files."""
