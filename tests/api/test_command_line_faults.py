"""Bad input through the command line: one clear line a fault, exit code 2, never a traceback (issue 2, Shows 4)."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from api.command_line import run
from tests.api.small_studio import LOADS, PROFILES, STUDIO, write_small_studio

NOW = ["--now", "2026-11-29T18:00"]
Spoil = Callable[[Path], object]


def _text(name: str, old: str, new: str) -> Spoil:
    def spoil(folder: Path) -> None:
        text = (folder / name).read_text(encoding="utf-8")
        assert old in text
        (folder / name).write_text(text.replace(old, new, 1), encoding="utf-8")

    return spoil


def _bytes(name: str, content: bytes) -> Spoil:
    return lambda folder: (folder / name).write_bytes(content)


def _load_line(line: str) -> Spoil:
    return lambda folder: (folder / "loads.csv").write_text(LOADS + line + "\n", encoding="utf-8")


BAD: dict[str, tuple[Spoil, str]] = {
    "an empty studio.toml": (_bytes("studio.toml", b""), "studio.toml"),
    "an empty profiles.toml": (_bytes("profiles.toml", b""), "profiles.toml"),
    "an empty loads.csv": (_bytes("loads.csv", b""), "loads.csv"),
    "a wrong encoding": (_bytes("loads.csv", LOADS.encode("utf-16")), "loads.csv"),
    "a latin-1 name": (_bytes("loads.csv", LOADS.encode("latin-1")), "loads.csv"),
    "10 MB of junk for loads": (_bytes("loads.csv", random.Random(1).randbytes(10_000_000)), "loads.csv"),
    "10 MB of junk for a studio": (_bytes("studio.toml", random.Random(2).randbytes(10_000_000)), "studio.toml"),
    "NaN": (_text("loads.csv", ",11.5,", ",NaN,"), "mass_kg"),
    "an infinite height": (_text("loads.csv", ",112,", ",inf,"), "height_mm"),
    "a negative mass": (_text("loads.csv", ",11.5,", ",-11.5,"), "mass_kg"),
    "NaN in a kiln": (_text("studio.toml", "kilowatts = 16.6", "kilowatts = nan"), "kilowatts"),
    "an unknown kiln": (
        _text("studio.toml", 'kiln = "K4"', 'kiln = "K9"'),
        "K9",
    ),
    "an unknown profile": (_load_line("X1,,student,raku,1,100,10,1,,,,,,1,,"), "raku"),
    "an unknown key": (_text("studio.toml", "kilowatts = 16.6", "kilowats = 16.6"), "kilowatts"),
    "a circular fed_from": (
        _text("studio.toml", 'id = "main"\nbreaker_amps = 63', 'id = "main"\nfed_from = "bench"\nbreaker_amps = 63'),
        "fed_from",
    ),
    "a profile without segments": (
        _text("profiles.toml", 'segments = [{ rate = 100, to = 1215, hold = "0:10" }]', ""),
        "glaze-6",
    ),
    "a duplicate id": (_load_line("B1,,student,fuse,1,100,10,1,,,,,,1,,"), "B1"),
    "a deep nesting": (_bytes("studio.toml", b"x = " + b"[" * 100_000), "studio.toml"),
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write_small_studio(tmp_path)


@pytest.mark.parametrize("command", ["check", "plan"])
@pytest.mark.parametrize("name", BAD)
def test_bad_input_is_told_in_one_line_a_fault(
    name: str, command: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    spoil, named = BAD[name]
    spoil(folder)
    arguments = [command, str(folder), *NOW, *(["--work", "1"] if command == "plan" else [])]
    assert run(arguments) == 2
    output = capsys.readouterr()
    lines = output.err.splitlines()
    assert lines
    assert named in output.err
    assert "Traceback" not in output.err
    assert "kilnrota itself" not in output.err
    assert all(len(line) < 500 for line in lines)
    assert output.out == ""


def test_a_circular_after_is_a_fault(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = LOADS.splitlines()
    lines[0] += ",after"
    lines[1] += ",B2"
    lines[2] += ",B1"
    lines[3:] = [f"{line}," for line in lines[3:]]
    (folder / "loads.csv").write_text("\n".join(lines), encoding="utf-8")
    assert run(["check", str(folder), *NOW]) == 2
    assert "after" in capsys.readouterr().err


def test_twelve_faults_give_twelve_lines_in_one_run(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for spoil in (
        _text("studio.toml", "kilowatts = 16.6", "kilowatts = -1"),
        _text("studio.toml", 'controller = "F"', 'controller = "K"'),
        _text("studio.toml", "max_temperature = 1000", "max_temperature = 9999"),
        _text("studio.toml", "hands = 3", "hands = 0"),
        _text("studio.toml", 'to = "18:00"', 'to = "25:00"'),
        _text("studio.toml", "default = 0.30", "defalt = 0.30"),
        _text("profiles.toml", 'hold = "2:00" }, { rate = 110', 'hold = "2 h" }, { rate = 110'),
        _text("profiles.toml", "rate = 150, to = 540", "rate = -150, to = 540"),
        _text("loads.csv", "student,bisque-04,28", "student,bisque-04,0"),
        _text("loads.csv", ",11.5,", ",heavy,"),
        _text("loads.csv", "production,fuse", "resale,fuse"),
        _text("loads.csv", "2026-12-03T17:00", "31.02.2026"),
    ):
        spoil(folder)
    assert run(["check", str(folder), *NOW]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 12
    assert len(set(lines)) == 12


def test_no_shifts_at_all_is_a_plan_with_reasons(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nothing can be loaded, which is no fault of the folder: every load is unplaced, and the reader is told why."""
    head, rest = STUDIO.split("[[shifts]]", 1)
    (folder / "studio.toml").write_text(head + rest[rest.index("[[circuits]]") :], encoding="utf-8")
    (folder / "profiles.toml").write_text(PROFILES.replace('skill = "casting"\n', ""), encoding="utf-8")
    assert run(["check", str(folder), *NOW]) == 0
    assert "shift" in capsys.readouterr().out
    assert run(["plan", str(folder), *NOW, "--work", "2"]) == 0
    printed = capsys.readouterr().out
    assert "0 of 5 loads placed" in printed
    assert all(f"{load} " in printed.split("Late, or without a place")[1] for load in ("B1", "B2", "F1", "C1", "G1"))


def test_a_load_that_fits_no_kiln_and_a_promise_in_the_past_are_planned_around(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _load_line("BIG,,student,fuse,1,100,900,1,,,,,,1,,\nOLD,,student,fuse,1,100,10,1,,,,,2026-11-01T12:00,1,,")(folder)
    assert run(["check", str(folder), *NOW]) == 0
    warned = capsys.readouterr().out
    assert "BIG" in warned
    assert "OLD" in warned
    assert run(["plan", str(folder), *NOW, "--work", "2"]) == 0
    told = capsys.readouterr().out.split("Late, or without a place")[1]
    assert "BIG: no place" in told
    assert "OLD: promised" in told


@pytest.mark.parametrize(
    ("arguments", "named"),
    [
        (["plan", "{folder}", "--day", "tomorrow"], "--day"),
        (["plan", "{folder}", *NOW, "--day", "2026-11-01"], "is over"),
        (["plan", "{folder}", *NOW, "--kiln", "K9"], "K1, K2, K3, K4"),
        (["plan", "{folder}", *NOW, "--pdf"], "name their folder too, as --sheets out"),
        (["plan", "{folder}", "--now", "soon"], "--now"),
        (["plan", "{folder}", "--seconds", "-3"], "seconds"),
        (["plan", "{folder}", "--work", "many"], "work"),
        (["plan", "{folder}/nowhere"], "nowhere"),
        (["plan", "{folder}/loads.csv"], "loads.csv"),
        (["fire", "{folder}", "K9", "fuse"], "K1, K2, K3, K4"),
        (["fire", "{folder}", "K1", "bisque-4"], "did you mean 'bisque-04'"),
        (["fire", "{folder}", "K3", "burnout", "--size", "200"], "largest is 90"),
        (["fire", "{folder}", "K1", "bisque-04", "--size", "5"], "leave --size out"),
        (["fire", "{folder}", "K1", "bisque-04", "--mass", "nan"], "mass"),
        (["audit", "{folder}", "{folder}/plan.json"], "plan.json"),
        (["audit", "{folder}", "{folder}/loads.csv"], "loads.csv"),
        (["bake", "{folder}"], "bake"),
        (["plan"], "FOLDER'; kilnrota plan --help tells what it takes"),
        (["bake"], "kilnrota --help tells"),
        (["why", "{folder}", "{folder}/p1.json", "L1"], "or make it: kilnrota plan FOLDER --out p1.json"),
    ],
)
def test_what_is_not_there_is_answered_in_words(
    arguments: list[str], named: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run([argument.format(folder=folder) for argument in arguments]) == 2
    output = capsys.readouterr().err
    assert named in output
    assert "Traceback" not in output
    assert "kilnrota itself" not in output
