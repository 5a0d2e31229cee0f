"""The command that reports how a kiln's elements age."""

from __future__ import annotations

from pathlib import Path

import pytest

from api.command_line import run

SAMPLE = Path(__file__).parents[2] / "sample_studio"
LOGS = sorted(str(path) for path in (SAMPLE / "logs").glob("*.csv"))
WARE = [
    "--mass",
    "26",
    "--mass",
    "36",
    "--mass",
    "21",
    "--layers",
    "4",
    "--layers",
    "4",
    "--layers",
    "3",
    "--size",
    "8",
]


def test_each_log_gives_a_reading_and_all_together_the_outlook(capsys: pytest.CaptureFixture[str]) -> None:
    """The logs were drawn for a kiln with 92 % of its plate's power (sample_studio/logs/ABOUT.txt and its script)."""
    assert run(["ageing", str(SAMPLE), "K2", *LOGS, *WARE, "--now", "2026-11-29T18:00"]) == 0
    lines = capsys.readouterr().out.splitlines()
    readings = [line for line in lines if line.startswith("2026-11-")]
    assert len(readings) == 3
    for line in readings:
        percent, spread = (float(word) for word in line.replace("%", " ").split() if word.isdigit())
        assert abs(percent - 92.0) <= 2.0 * spread
    assert "3 firings" in lines[-1]
    assert "a year, give or take" in lines[-1]


def test_a_kiln_that_is_not_there_is_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["ageing", str(SAMPLE), "K99", LOGS[0]]) == 2
    assert "K99" in capsys.readouterr().err
