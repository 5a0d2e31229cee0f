"""The commands as a person calls them: what they print, write and return."""

from __future__ import annotations

import io
import json
import re
from dataclasses import dataclass
from pathlib import Path

import pytest

from api import command_line
from api.command_line import run
from api.printing.plot import plot
from api.progress import ProgressLine
from api.words import read_words
from scheduler.audit import AuditedPlan
from shared.files import write_plan
from tests.api.small_studio import write_small_studio

NOW = ["--now", "2026-11-29T18:00"]
PLAN = [*NOW, "--work", "3"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "studio").mkdir()
    return write_small_studio(tmp_path / "studio")


def test_plan_prints_writes_and_is_proved_again(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out, sheets = tmp_path / "plan.json", tmp_path / "sheets"
    assert run(["plan", str(folder), *PLAN, "--out", str(out), "--sheets", str(sheets)]) == 0
    output = capsys.readouterr()
    assert "Monday 30 November 2026 · Weir Lane Kilns" in output.out
    assert "without a place, energy" in output.err
    assert len(list(sheets.glob("*.html"))) == 5
    assert run(["audit", str(folder), str(out)]) == 0
    assert capsys.readouterr().out.startswith("Proved: ")


def test_the_same_work_gives_the_same_plan_byte_for_byte(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made = []
    for name in ("a.json", "b.json"):
        assert run(["plan", str(folder), *PLAN, "--seed", "7", "--out", str(tmp_path / name)]) == 0
        made.append((capsys.readouterr().out, (tmp_path / name).read_bytes()))
    assert made[0] == made[1]


def test_a_plan_that_breaks_a_rule_is_refused_with_exit_code_3(
    audited: AuditedPlan, folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The bisque opened two hours early."""
    first = audited.plan.firings[0]
    early = first.model_copy(update={"unload_at": first.safe_at - 120})
    broken = audited.plan.model_copy(update={"firings": (early, *audited.plan.firings[1:])})
    write_plan(tmp_path / "plan.json", broken, audited.studio)
    assert run(["audit", str(folder), str(tmp_path / "plan.json")]) == 3
    printed = capsys.readouterr().out
    assert printed.startswith("Refused: ")
    assert "load_order: firing F1" in printed


def test_planning_today_begins_now_on_the_grid(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "plan.json"
    arguments = ["plan", str(folder), "--now", "2026-11-30T09:02", "--day", "2026-11-30", "--work", "1"]
    assert run([*arguments, "--out", str(out)]) == 0
    assert json.loads(out.read_text(encoding="utf-8"))["from"] == "2026-11-30T09:05:00+00:00"


def test_check_counts_what_it_has_read(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["check", str(folder), *NOW]) == 0
    last = capsys.readouterr().out.splitlines()[-1]
    assert last.startswith("Weir Lane Kilns: 4 kilns, 4 profiles, 5 loads; no fault")


def test_check_tells_what_the_trade_doubts_of_a_profile_in_its_kilns(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Opened at 250 °C a glaze may dunt: 200 °C is the limit that the trade names (`scheduler.firing.rules_clay`)."""
    text = (folder / "profiles.toml").read_text(encoding="utf-8")
    (folder / "profiles.toml").write_text(text.replace("unload_below = 90", "unload_below = 250"), encoding="utf-8")
    assert run(["check", str(folder), *NOW]) == 0
    told = [line for line in capsys.readouterr().out.splitlines() if "profile glaze-6, in K1, K4" in line]
    assert any("250 °C" in line for line in told)


def test_fire_shows_a_table_and_a_curve(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["fire", str(folder), "K2", "fuse", "--mass", "4"]) == 0
    printed = capsys.readouterr().out
    assert "270 °F/h to  1004 °F" in printed
    assert "1500 °F ⠀" in printed
    assert "Computed for 4.0 kg of ware on 1 layer" in printed


def test_fire_as_json_holds_the_course(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["fire", str(folder), "K3", "burnout", "--size", "64", "--mass", "4.5", "--layers", "1", "--json"]) == 0
    course = json.loads(capsys.readouterr().out)
    assert (course["size_row"], course["ware_kg"], course["temperature_unit"]) == (0, 4.5, "C")
    assert max(course["course"]["temperature"]) == pytest.approx(732, abs=2)
    assert course["segments"][-1]["reached_hours"] == course["target_hours"]


def test_a_kiln_that_cannot_get_there_says_how_far_it_gets(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (folder / "studio.toml").read_text(encoding="utf-8")
    weak = text.replace("kilowatts = 16.6", "kilowatts = 3.0")
    (folder / "studio.toml").write_text(weak, encoding="utf-8")
    assert run(["fire", str(folder), "K1", "bisque-04"]) == 0
    assert "It does not get there" in capsys.readouterr().out


def test_an_error_of_its_own_is_one_line_with_what_to_report(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fails(*_: object) -> None:
        raise ZeroDivisionError("by hand")

    monkeypatch.delenv(command_line.DEBUG, raising=False)
    monkeypatch.setattr("shared.files.read_folder", fails)
    assert run(["check", str(folder)]) == 1
    (line,) = capsys.readouterr().err.splitlines()
    assert "ZeroDivisionError: by hand" in line
    monkeypatch.setenv(command_line.DEBUG, "1")
    assert run(["check", str(folder)]) == 1
    assert "Traceback" in capsys.readouterr().err


def test_stopping_it_is_no_error(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("shared.files.read_folder", stopped)
    assert run(["check", str(folder)]) == 130


def test_help_names_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["--help"]) == 0
    printed = capsys.readouterr().out
    assert all(command in printed for command in ("plan", "check", "fire", "audit"))


@dataclass
class Report:
    seconds: float
    cost: float | None
    bound: float | None
    note: str = ""
    late: int | None = 1
    unplaced: int | None = 0
    energy: float | None = 42.4


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_progress_is_one_changing_line_on_a_terminal_and_few_lines_elsewhere() -> None:
    reports = [Report(0.1, None, None), Report(1.0, 120.5, 80.0, "dispatch"), Report(9.0, 100.0, 80.0, "search")]
    for stream, lines in ((Terminal(), 1), (io.StringIO(), 2)):
        progress = ProgressLine(stream, read_words())
        for report in reports:
            progress(report)
        progress.close()
        assert stream.getvalue().count("\n") == lines
        told = stream.getvalue()
        assert "9.0 s  best so far: 1 load late, 0 without a place, energy 42  (searching for a better one)" in told
        assert not re.search("cost|below|dispatch|[0-9]e[0-9]", told), "words of the solver's, not of the kiln room's"


def test_the_drawn_curve_reaches_as_high_as_the_course() -> None:
    lines = plot([0.0, 500.0, 1000.0, 0.0], 60, "C", [(0, "0:00"), (180, "3:00")], width=40, height=11).splitlines()
    assert lines[0].startswith("  1000 °C")
    assert any(sign > "⠀" for sign in lines[0][10:])
    assert lines[-1].split() == ["0:00", "3:00"]
    assert lines[-1].rstrip().endswith("3:00")


def test_ramps_that_a_kiln_cannot_follow_are_told_in_one_line_a_profile_and_kiln(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Glass at 5000 °C an hour twice over: by the model neither is followed by the small glass kiln."""
    profiles = (folder / "profiles.toml").read_text(encoding="utf-8")
    hasty = """
[[profiles]]
id = "hasty"
work = "glass"
unload = "cool"
segments = [{ rate = 5000, to = 540, hold = "1:00" }, { rate = 5000, to = 800, hold = "0:10" }]
"""
    (folder / "profiles.toml").write_text(profiles + hasty, encoding="utf-8")
    assert run(["check", str(folder), *NOW]) == 0
    lines = [line for line in capsys.readouterr().out.splitlines() if "profile hasty" in line and "follow" in line]
    assert len(lines) == 1
    assert lines[0].startswith("look at: profile hasty in K2: 2 ramps are faster than the kiln can follow")
    # 520 K and 260 K at 5000 K/h are 6 and 3 min.
    assert re.search(r"segment 1, written 6 min, takes \d+; segment 2, written 3 min, takes \d+;", lines[0])
