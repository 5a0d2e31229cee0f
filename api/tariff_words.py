"""A tariff in words: what a kilowatt-hour costs at which hours, as the first band that holds makes it."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from api.words import tell
from shared.clock import WEEKDAYS
from shared.studio import Band, Tariff, Weekday
from shared.texts import Text

A_MONDAY = date(2026, 11, 30)
"""A day to count weekdays from; any Monday would do."""


def tariff_told(tariff: Tariff, currency: str) -> tuple[Text, ...]:
    """Each band's price per kWh with its hours, in the order in which they count, and the price at all other hours."""
    told = [_band(band, currency) for band in tariff.bands]
    rest = "tariff.rest" if tariff.bands else "tariff.all"
    return (*told, tell(rest, price=float(tariff.default), currency=currency))


def week_days(days: tuple[Weekday, ...]) -> tuple[datetime, ...]:
    """Weekdays as moments that a text writes as ``{days:weekday}``."""
    return tuple(datetime.combine(A_MONDAY + timedelta(days=WEEKDAYS.index(day)), datetime.min.time()) for day in days)


def clock_text(minute: int) -> str:
    """A minute of the day as people write it.

    >>> clock_text(1335)
    '22:15'
    """
    return f"{minute // 60:02}:{minute % 60:02}"


def _band(band: Band, currency: str) -> Text:
    values = {"price": float(band.price), "currency": currency}
    values |= {"opens": clock_text(band.begins), "closes": clock_text(band.ends)}
    if set(band.days) == set(WEEKDAYS):
        return tell("tariff.daily", **values)
    return tell("tariff.then", days=week_days(band.days), **values)
