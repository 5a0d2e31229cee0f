"""Recorded firings: whatever a logger writes, or a fault at its row."""

from __future__ import annotations

from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from shared.errors import FolderError
from shared.files import FiringLog, read_log

LONDON = ZoneInfo("Europe/London")
COUNT = 12


def written(folder: Path, text: str | bytes) -> Path:
    """A log file."""
    file = folder / "log.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return file


def log_of(folder: Path, header: str, times: list[str], unit: str = "C", zone: ZoneInfo = LONDON) -> FiringLog:
    """A log with these times, at 20, 70, 120 … degrees."""
    rows = [f"{time},{20 + 50 * number}" for number, time in enumerate(times)]
    return read_log(written(folder, "\n".join([header, *rows, ""])), unit, zone)  # type: ignore[arg-type]


def told(file: Path) -> list[str]:
    """The faults of a log."""
    with pytest.raises(FolderError) as caught:
        read_log(file, "C", LONDON)
    assert all(fault.problem and fault.remedy for fault in caught.value.faults)
    return [str(fault) for fault in caught.value.faults]


@pytest.mark.parametrize(
    ("header", "times"),
    [
        ("time,temperature", [f"2026-11-30T{8 + n // 4:02d}:{15 * (n % 4):02d}" for n in range(COUNT)]),
        ("Time,Temp", [f"2026-11-30 {8 + n // 4:02d}:{15 * (n % 4):02d}:00" for n in range(COUNT)]),
        ("timestamp,temp_c", [f"2026-11-30T{9 + n // 4:02d}:{15 * (n % 4):02d}:00+01:00" for n in range(COUNT)]),
        ("time_h,temperature (°C)", [str(n / 4) for n in range(COUNT)]),
        ("elapsed minutes,actual", [str(15 * n) for n in range(COUNT)]),
        ("seconds,measured", [str(900 * n + 77) for n in range(COUNT)]),
        ("time,temperature", [f"{n // 4}:{15 * (n % 4):02d}" for n in range(COUNT)]),
        ("elapsed,temperature", [f"{n // 4:02d}:{15 * (n % 4):02d}:00" for n in range(COUNT)]),
    ],
)
def test_times_are_read_however_they_are_written(tmp_path: Path, header: str, times: list[str]) -> None:
    log = log_of(tmp_path, header, times)
    np.testing.assert_allclose(log.elapsed_minutes, 15.0 * np.arange(COUNT), atol=1e-6)
    np.testing.assert_allclose(log.temperature_c, 20.0 + 50.0 * np.arange(COUNT))
    moments = "T" in times[0] or "-" in times[0]
    assert log.began == (29_933_760 if moments else None)  # 2026-11-30T08:00Z: 20 787 days of 1440 min, and 480


@pytest.mark.parametrize(
    ("header", "unit", "fahrenheit"),
    [
        ("time_h,temp_f", "C", True),
        ("time_h,Temperature (°F)", "C", True),
        ("time_h,temperature fahrenheit", "C", True),
        ("time_h,temperature", "F", True),
        ("time_h,temperature_c", "F", False),
        ("time_h,°F", "C", True),
    ],
)
def test_the_header_says_the_unit_else_the_studio_does(
    tmp_path: Path, header: str, unit: str, fahrenheit: bool
) -> None:
    log = log_of(tmp_path, header, [str(n) for n in range(COUNT)], unit)
    readings = 20.0 + 50.0 * np.arange(COUNT)
    np.testing.assert_allclose(log.temperature_c, (readings - 32.0) / 1.8 if fahrenheit else readings)


def test_over_the_hour_that_is_shown_twice_the_order_of_the_readings_tells(tmp_path: Path) -> None:
    wall = ["00:00", "00:30", "01:00", "01:30", "01:00", "01:30", "02:00", "02:30", "03:00", "03:30", "04:00", "04:30"]
    log = log_of(tmp_path, "time,temp", [f"2026-10-25T{time}" for time in wall])
    np.testing.assert_allclose(log.elapsed_minutes, 30.0 * np.arange(COUNT))


def test_over_the_hour_that_is_skipped_no_time_is_lost(tmp_path: Path) -> None:
    wall = ["00:00", "00:30", "02:00", "02:30", "03:00", "03:30", "04:00", "04:30", "05:00", "05:30", "06:00", "06:30"]
    log = log_of(tmp_path, "time,temp", [f"2026-03-29T{time}" for time in wall])
    np.testing.assert_allclose(log.elapsed_minutes, 30.0 * np.arange(COUNT))


def test_gaps_other_columns_and_readings_of_one_moment_are_taken_as_they_are(tmp_path: Path) -> None:
    rows = [f"{n};{n};30;note" for n in range(20, 40)]
    text = "time_min;temperature;setpoint;remark\n0;10;;\n0;20;;\n1;;;sensor off\n\n;;;\n7,5;\n"
    text = text.replace("7,5;\n", "7.5;12;;\n") + "\n".join(rows)
    log = read_log(written(tmp_path, "\ufeff" + text))
    np.testing.assert_allclose(log.elapsed_minutes, [0, 7.5, *range(20, 40)])
    np.testing.assert_allclose(log.temperature_c, [15, 12, *range(20, 40)])


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("2026-11-30T25:00,50", 'row 3, column time: "2026-11-30T25:00" is not a time'),
        ("soon,50", 'row 3, column time: "soon" is not a time'),
        (",50", "row 3, column time: is empty beside a reading"),
        ("2026-11-30T07:00,50", "row 3, column time: is before the row above"),
        ("2026-11-30T08:01+01:00,50", "has no offset where others have one"),
        ("2026-11-30T08:01,Err", 'row 3, column temperature: "Err" is not a number'),
        ("2026-11-30T08:01,nan", 'row 3, column temperature: "nan" is not a number'),
        ("2026-11-30T08:01,inf", 'row 3, column temperature: "inf" is not a number'),
        ("2026-11-30T08:01,2300", 'row 3, column temperature: "2300" is no temperature of a kiln in °C'),
        ("2026-11-30T08:01,-200", 'row 3, column temperature: "-200" is no temperature'),
        ("0001-01-01T00:00,50", "is not a time"),
    ],
)
def test_a_fault_in_a_log_is_told_at_its_row(tmp_path: Path, row: str, words: str) -> None:
    rows = [f"2026-11-30T{8 + number:02d}:00,{20 + number}" for number in range(COUNT)]
    (fault,) = told(written(tmp_path, "\n".join(["time,temperature", rows[0], row, *rows[1:]])))
    assert words in fault


def test_a_skipped_time_is_refused(tmp_path: Path) -> None:
    rows = [f"2026-03-29T{number:02d}:15,{20 + number}" for number in range(COUNT)]
    (fault,) = told(written(tmp_path, "\n".join(["time,temperature", *rows])))
    assert 'row 3, column time: "2026-03-29T01:15" is skipped by the clock change' in fault


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("\n\n", "is empty"),
        ("a,b\n1,2\n", "no column is called time"),
        ("time,heat\n1,2\n", "no column is called temperature"),
        ("time,temp\n" + "1,2\n" * 20, "does not say what it counts"),
        ("time,temperature\n", "has 0 readings"),
        ("time_h,temperature\n1,20\n2,30\n", "has 2 readings"),
        ('time_h,temperature\n"1,20\n', "is not a table of cells"),
        (b"\xff\xfea\0", "UTF-16"),
        (b"time,temp\xb0\n", "is not UTF-8"),
        (b"time\0", "zero byte"),
    ],
)
def test_what_is_no_log_is_told(tmp_path: Path, text: str | bytes, words: str) -> None:
    assert any(words in fault for fault in told(written(tmp_path, text)))


def test_a_log_that_is_not_there_is_a_fault(tmp_path: Path) -> None:
    assert "is not there" in told(tmp_path / "log.csv")[0]


def test_many_faulty_readings_end_with_how_many_more(tmp_path: Path) -> None:
    faults = told(written(tmp_path, "time_h,temperature\n" + "x,y\n1,2\n2,3\n" * 40_000))
    assert "more faults" in faults[-1]
    assert len(faults) == 51
