"""How times, temperatures, durations and money are written for people, in a studio's own units and zone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from api.words import Words
from shared.clock import Minute, local_time, minute_of
from shared.studio import Studio
from shared.units import TemperatureUnit, degree_span, degrees, duration_text

SLOW_RATE = 20.0
"""Below this rate [degrees/h] a tenth of a degree matters when a rate is keyed in; above it whole degrees are written.
Our own choice: half a degree an hour in 20 is 2.5 %, within what a controller holds."""


@dataclass(frozen=True, slots=True)
class Formats:
    """Writes values for people of one studio in one language."""

    studio: Studio
    words: Words

    def local(self, minute: Minute) -> datetime:
        """The studio's wall-clock time of a minute."""
        return local_time(minute, self.studio.place.zone)

    def clock(self, minute: Minute, day: date | None = None) -> str:
        """A time of day; with its day where that is not ``day``; with its offset in an hour that the clock repeats."""
        local = self.local(minute)
        text = f"{local:%H:%M}"
        if _shown_twice(local):
            text += f" (UTC{local:%z})"
        return text if local.date() == day else f"{self.short_day(local.date())} {text}"

    def stretch(self, begin: Minute, end: Minute, day: date | None = None) -> str:
        """A stretch of time, from and to."""
        first = self.local(begin).date()
        return f"{self.clock(begin, day)}–{self.clock(end, day if first == day else first)}"

    def short_day(self, day: date) -> str:
        """A day in short: ``Mon 30 Nov``."""
        weekday = self.words.each("calendar.weekdays_short")[day.weekday()]
        month = self.words.each("calendar.months_short")[day.month - 1]
        return self.words("number.short_day", weekday=weekday, day=day.day, month=month)

    def long_day(self, day: date) -> str:
        """A day in full: ``Monday 30 November 2026``."""
        weekday = self.words.each("calendar.weekdays")[day.weekday()]
        month = self.words.each("calendar.months")[day.month - 1]
        return self.words("number.long_day", weekday=weekday, day=day.day, month=month, year=day.year)

    def temperature(self, temperature_c: float, unit: TemperatureUnit | None = None) -> str:
        """A temperature in whole degrees of ``unit``, or of the studio's unit."""
        shown = unit or self.studio.place.temperature
        return f"{degrees(temperature_c, shown):.0f} °{shown}"

    def rate(self, rate_k_per_hour: float, unit: TemperatureUnit) -> str:
        """A rate per hour in ``unit``, without its sign."""
        rate = degree_span(rate_k_per_hour, unit)
        return f"{rate:.0f} °{unit}/h" if rate >= SLOW_RATE else f"{self.number(rate, 1)} °{unit}/h"

    def number(self, amount: float, decimals: int) -> str:
        """A number with its decimals, after the language's decimal mark."""
        return f"{amount:.{decimals}f}".replace(".", self.words("number.decimal"))

    def duration(self, minutes: float) -> str:
        """Hours and minutes: ``2:30``."""
        return duration_text(minutes)

    def spelt_duration(self, minutes: float) -> str:
        """Hours and minutes in words, for running text: ``2 h 30 min``."""
        return spelt_duration(minutes)

    def money(self, amount: float) -> str:
        """An amount in the studio's currency."""
        return f"{self.number(amount, 2)} {self.studio.place.currency}"

    def points(self, amount: float) -> str:
        """What something weighs by the studio's prices, which nobody pays: lateness, loads without a place."""
        return self.words("number.points", n=self.number(amount, 2))

    def join(self, parts: Sequence[str]) -> str:
        """Parts as one enumeration: ``a, b and c``."""
        if len(parts) < 2:
            return "".join(parts)
        return self.words("list.last", first=", ".join(parts[:-1]), last=parts[-1])


def spelt_duration(minutes: float) -> str:
    """Hours and minutes as they are written alike in every language.

    >>> spelt_duration(150), spelt_duration(45)
    ('2 h 30 min', '45 min')
    """
    hours, rest = divmod(int(minutes + 0.5), 60)
    return " ".join(([f"{hours} h"] if hours else []) + ([f"{rest} min"] if rest or not hours else []))


def _shown_twice(local: datetime) -> bool:
    """Whether the wall clock shows this time twice, in the autumn night when it is set back."""
    first, second = (minute_of(local.replace(fold=fold)) for fold in (0, 1))
    return first < second
