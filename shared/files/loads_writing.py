"""loads.csv as text: comma, UTF-8, every column of the contract."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from shared.files.loads_csv import COLUMNS
from shared.files.toml_tables import Reading
from shared.loads import Load
from shared.units import TemperatureUnit, duration_text


def loads_text(loads: Sequence[Load], unit: TemperatureUnit, zone: ZoneInfo) -> str:
    """loads.csv of some loads; a cell stays empty where the load says nothing."""
    context = Reading(unit, zone).context
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(COLUMNS)
    for load in loads:
        said = load.model_dump(by_alias=True, exclude_unset=True, exclude_none=True, context=context)
        said |= {key: _hours(getattr(load, minutes)) for key, minutes in _DURATIONS.items() if key in said}
        writer.writerow([_cell(said.get(column)) for column in COLUMNS])
    return stream.getvalue()


_DURATIONS = {"gap_hours": "gap_minutes", "session_hours": "session_minutes"}


def _hours(minutes: float) -> int | float | str:
    # The columns are in hours; "0:20" stands where a decimal would have no end.
    hours = round(minutes / 60.0, 9)
    if hours == int(hours):
        return int(hours)
    return duration_text(minutes) if minutes == int(minutes) and round(hours, 2) != hours else hours


def _cell(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list | tuple):
        return ";".join(value)
    if isinstance(value, float) and value == int(value) and abs(value) < 1e15:
        return str(int(value))
    return str(value)
