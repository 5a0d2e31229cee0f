"""A recorded firing, as a logger or a notebook gives it: irregular, with gaps, in either unit."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from shared.clock import Minute
from shared.errors import FolderError
from shared.files.fault_list import FaultList
from shared.files.text import read_text
from shared.files.values import clipped, shown
from shared.texts import say
from shared.units import TemperatureUnit, celsius

if TYPE_CHECKING:
    import pandas as pd

LARGEST_LOG_BYTES = 30_000_000
"""Largest log that is read [byte]; house choice: three days at one reading a second."""

FEWEST_READINGS = 10
"""A firing with fewer readings tells nothing of a kiln; house choice."""

COOLEST_C, HOTTEST_C = -60.0, 2000.0
"""What a kiln's thermocouple can show [°C]; beyond is a broken wire or a wrong unit."""

_ELAPSED_MINUTES = {"h": 60.0, "hour": 60.0, "hours": 60.0, "min": 1.0, "minute": 1.0, "minutes": 1.0}
_ELAPSED_MINUTES |= {"s": 1 / 60.0, "sec": 1 / 60.0, "second": 1 / 60.0, "seconds": 1 / 60.0}
_TIME_WORDS = ("time", "timestamp", "datetime", "date", "elapsed", *_ELAPSED_MINUTES)
_TEMPERATURE_WORDS = ("temperature", "temp", "measured", "actual", "reading")
_CLOCK = re.compile(r"(\d{1,3}):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?")
_OFFSET = r"(?:[Zz]|[+-]\d\d:?\d\d)$"


@dataclass(frozen=True)
class FiringLog:
    """The readings of one firing, times strictly growing.

    Attributes
    ----------
    file
        Its file's name.
    began
        The minute in which the first reading lies; None where the log counts from its own start.
    elapsed_minutes
        Time of each reading after the first [min].
    temperature_c
        What the thermocouple showed [°C].
    """

    file: str
    began: Minute | None
    elapsed_minutes: NDArray[np.float64]
    temperature_c: NDArray[np.float64]


def read_log(path: Path, unit: TemperatureUnit = "C", zone: ZoneInfo | None = None) -> FiringLog:
    """A recorded firing from a CSV file with a column of times and one of temperatures.

    The header says what they are: ``time`` with ISO 8601 times, or times as ``H:MM`` from the start; ``time_h``,
    ``elapsed_min`` or ``seconds`` with numbers; ``temperature``, ``temp_f`` or ``temperature (°C)``. Other columns are
    passed over. Rows with an empty temperature are gaps. Readings of one moment are averaged.

    Parameters
    ----------
    path
        The CSV file.
    unit
        The unit of the temperatures where the header does not say: the studio's.
    zone
        The zone of times without an offset: the studio's. UTC without it.

    Raises
    ------
    FolderError
        With every fault of the file.
    """
    path = Path(path)
    faults = FaultList(clipped(path.name))
    text = read_text(path, faults, LARGEST_LOG_BYTES)
    log = _log(text, faults, unit, zone or ZoneInfo("UTC")) if text is not None else None
    if log is None or faults.count:
        raise FolderError(faults.listed())
    return log


def _log(text: str, faults: FaultList, unit: TemperatureUnit, zone: ZoneInfo) -> FiringLog | None:
    table = _table(text, faults)
    if table is None:
        return None
    header = [str(name).strip() for name in table.iloc[0].fillna("")]
    time_column = _column(header, _TIME_WORDS)
    heat_column = _column(header, _TEMPERATURE_WORDS)
    if heat_column is None:
        heat_column = next(
            (i for i, name in enumerate(header) if re.fullmatch(r"[°º]?[CF]", name, re.IGNORECASE)), None
        )
    if time_column is None:
        faults.add(say("fault.row_1"), say("fault.no_column_called"), say("fault.head_times_time"))
    if heat_column is None:
        faults.add(
            say("fault.row_1"), say("fault.no_column_called_temperature"), say("fault.head_readings_temperature_c")
        )
    if time_column is None or heat_column is None:
        return None

    body = table.iloc[1:]
    times = body[time_column].fillna("").str.strip()
    heats = body[heat_column].fillna("").str.strip()
    there = (times != "") & (heats != "")
    for row in times.index[(times == "") & (heats != "")]:
        faults.add(_cell(row, header[time_column]), say("fault.empty_beside_reading"), say("fault.write_time_clear"))
    times, heats = times[there], heats[there]
    temperature_c = _temperatures(heats, header[heat_column], unit, faults)
    minutes, absolute = _minutes(times, header[time_column], zone, faults)
    if faults.count or temperature_c is None or minutes is None:
        return None
    return _ordered(minutes, temperature_c, absolute, list(times.index), header[time_column], faults)


def _table(text: str, faults: FaultList) -> pd.DataFrame | None:
    import pandas as pd

    if not text.strip():
        faults.add("", say("fault.is_empty"), say("fault.write_header_row"))
        return None
    first = text.split("\n", 1)[0]
    separator = max((",", ";", "\t"), key=first.count)
    try:
        with warnings.catch_warnings():
            # Rows longer than the header are cut and warned of; the two columns wanted stand in the header.
            warnings.simplefilter("ignore", pd.errors.ParserWarning)
            table = pd.read_csv(
                io.StringIO(text),
                sep=separator,
                header=None,
                names=range(first.count(separator) + 1),
                index_col=False,
                dtype="string",
                keep_default_na=False,
                skip_blank_lines=False,
            )
    except (pd.errors.ParserError, pd.errors.EmptyDataError, ValueError, OverflowError):
        faults.add("", say("fault.not_table_cells"), say("fault.save_csv_one"))
        return None
    # From here the index is the row as a spreadsheet counts it.
    table.index = pd.RangeIndex(1, len(table) + 1)
    return table


def _column(header: Sequence[str], words: Sequence[str]) -> int | None:
    for position, name in enumerate(header):
        parts = re.findall(r"[a-z]+", name.casefold())
        if parts and parts[0] in words:
            return position
    return None


def _cell(row: object, column: str) -> str:
    return say("fault.row_column", row=row, column=clipped(column))


def _temperatures(
    cells: pd.Series[str], column: str, unit: TemperatureUnit, faults: FaultList
) -> NDArray[np.float64] | None:
    import pandas as pd

    said = re.findall(r"[a-z]+", column.casefold())
    if said[-1] in ("f", "fahrenheit"):
        unit = "F"
    elif said[-1] in ("c", "celsius"):
        unit = "C"
    numbers = pd.to_numeric(cells, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    degrees_c = np.array(numbers, copy=True) if unit == "C" else celsius_array(numbers)
    finite = np.isfinite(numbers)
    sound = finite & (degrees_c >= COOLEST_C) & (degrees_c <= HOTTEST_C)
    for position in np.flatnonzero(~sound)[:2000]:
        cell = str(cells.iloc[position])
        if finite[position]:
            problem = say("fault.no_temperature_kiln", value=shown(cell), unit=unit)
            remedy = say("fault.clear_cell_if")
        else:
            problem, remedy = say("fault.is_not_a_number", value=shown(cell)), say("fault.write_degrees_612")
        faults.add(_cell(cells.index[position], column), problem, remedy)
    return degrees_c if bool(sound.all()) else None


def celsius_array(readings_f: NDArray[np.float64]) -> NDArray[np.float64]:
    """Temperatures [°C] of readings in °F."""
    return np.array([celsius(float(reading), "F") for reading in readings_f], dtype=np.float64)


def _minutes(
    cells: pd.Series[str], column: str, zone: ZoneInfo, faults: FaultList
) -> tuple[NDArray[np.float64] | None, bool]:
    """Times [min], and whether they are moments or counted from the log's own start."""
    import pandas as pd

    parts = re.findall(r"[a-z]+", column.casefold())
    if cells.empty:
        return np.empty(0), False
    clock = cells.str.fullmatch(_CLOCK.pattern).fillna(False).to_numpy(dtype=bool)
    if clock.all():
        return np.array([_clock_minutes(str(cell)) for cell in cells], dtype=np.float64), False
    numbers = pd.to_numeric(cells, errors="coerce").to_numpy(dtype=np.float64, na_value=np.nan)
    if np.isfinite(numbers).mean() > 0.5:
        scale = _ELAPSED_MINUTES.get(parts[-1])
        if scale is None:
            faults.add(
                say("fault.row_1_column", column=clipped(column)),
                say("fault.does_not_say"),
                say("fault.head_time_h_time_min"),
            )
            return None, False
        for position in np.flatnonzero(~np.isfinite(numbers))[:2000]:
            cell = str(cells.iloc[position])
            faults.add(
                _cell(cells.index[position], column),
                say("fault.is_not_a_number", value=shown(cell)),
                say("fault.write_the_time"),
            )
        return numbers * scale, False
    return _moments(cells, column, zone, faults), True


def _clock_minutes(cell: str) -> float:
    match = _CLOCK.fullmatch(cell)
    if match is None:
        raise ValueError(cell)
    return int(match[1]) * 60.0 + int(match[2]) + float(match[3] or 0.0) / 60.0


def _moments(cells: pd.Series[str], column: str, zone: ZoneInfo, faults: FaultList) -> NDArray[np.float64] | None:
    import pandas as pd

    with_offset = cells.str.contains(_OFFSET, regex=True).fillna(False).to_numpy(dtype=bool)
    if with_offset.any() and not with_offset.all():
        odd = int(np.flatnonzero(~with_offset)[0])
        faults.add(_cell(cells.index[odd], column), say("fault.no_offset_where"), say("fault.write_all_times"))
        return None
    times = pd.to_datetime(cells, format="ISO8601", errors="coerce", utc=bool(with_offset.all()))
    bad = times.isna() | (times.dt.year < 1990) | (times.dt.year > 2200)
    for position in np.flatnonzero(bad.to_numpy(dtype=bool))[:2000]:
        cell = str(cells.iloc[position])
        faults.add(
            _cell(cells.index[position], column), say("fault.is_not_a", value=shown(cell)), say("fault.write_2026_11")
        )
    if bad.any():
        return None
    if not with_offset.all():
        times = _on_the_wall(times, zone)
        skipped = times.isna().to_numpy(dtype=bool)
        for position in np.flatnonzero(skipped)[:2000]:
            cell = str(cells.iloc[position])
            problem = say("fault.skipped_by_clock", value=shown(cell), zone=zone)
            faults.add(_cell(cells.index[position], column), problem, say("fault.add_offset_times"))
        if skipped.any():
            return None
    microseconds = times.dt.tz_convert("UTC").dt.tz_localize(None).astype("datetime64[us]").astype("int64")
    return microseconds.to_numpy(dtype=np.float64) / 60e6


def _on_the_wall(times: pd.Series[pd.Timestamp], zone: ZoneInfo) -> pd.Series[pd.Timestamp]:
    # In autumn an hour is shown twice; the order of the readings tells which is which, else the first is meant.
    try:
        return times.dt.tz_localize(zone, ambiguous="infer", nonexistent="NaT")
    except ValueError:
        first = np.ones(len(times), dtype=bool)
        return times.dt.tz_localize(zone, ambiguous=first, nonexistent="NaT")


def _ordered(
    minutes: NDArray[np.float64],
    temperature_c: NDArray[np.float64],
    absolute: bool,
    rows: Sequence[int],
    column: str,
    faults: FaultList,
) -> FiringLog | None:
    for position in np.flatnonzero(np.diff(minutes) < 0)[:2000]:
        faults.add(
            _cell(rows[position + 1], column),
            say("fault.before_row_above"),
            say("fault.put_readings_order"),
        )
    if faults.count:
        return None
    moments, inverse = np.unique(minutes, return_inverse=True)
    mean_c = np.bincount(inverse, weights=temperature_c) / np.bincount(inverse) if len(moments) else temperature_c
    if len(moments) < FEWEST_READINGS:
        faults.add(
            "",
            say("fault.has_readings", number=len(moments)),
            say("fault.record_least_firing", number=FEWEST_READINGS),
        )
        return None
    began = int(moments[0] // 1) if absolute else None
    return FiringLog(faults.file, began, moments - moments[0], mean_c)
