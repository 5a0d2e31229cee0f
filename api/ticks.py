"""Marks on a time axis at round hours of the wall clock."""

from __future__ import annotations

from dataclasses import dataclass

from api.formats import Formats
from shared.clock import Minute

_HOUR_STEPS = (1, 2, 3, 4, 6, 8, 12, 24, 48)


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark on a time axis; ``new_day`` at midnight and at the first mark."""

    at: Minute
    clock: str
    day: str
    new_day: bool


def hour_ticks(begin: Minute, end: Minute, formats: Formats, most: int = 12) -> tuple[Tick, ...]:
    """Marks at round hours within ``[begin, end]``, at most about ``most`` of them, clock changes included."""
    hours = (end - begin) / 60
    step = next((step for step in _HOUR_STEPS if hours / step <= most), _HOUR_STEPS[-1])
    found: list[Tick] = []
    last_day = None
    for at in range(begin, end + 1):
        local = formats.local(at)
        on_step = local.hour % step == 0 if step <= 24 else local.hour == 0 and local.toordinal() % 2 == 0
        if local.minute == 0 and on_step:
            new_day = local.date() != last_day
            last_day = local.date()
            found.append(Tick(at, f"{local:%H:%M}", formats.short_day(local.date()), new_day))
    return tuple(found)
