"""Files that are no studio files at all: each gives clear faults, quickly, and never a traceback."""

from __future__ import annotations

import os
import random
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from shared.errors import FolderError
from shared.files import read_folder
from shared.files.fault_list import SHOWN_FAULTS
from tests.shared.quayside import CONTENTS, LOADS, PROFILES, STUDIO, exchanged, write_quayside

QUICK_SECONDS = 8.0
"""A generous limit on processor time, for a machine that others use too; most take a hundredth of it."""

NAMES = ("studio.toml", "profiles.toml", "loads.csv")
HEADER = LOADS.split("\n", 1)[0]


def told(folder: Path) -> list[str]:
    """The faults of a hostile folder, found quickly."""
    began = time.process_time()
    with pytest.raises(FolderError) as caught:
        read_folder(folder)
    assert time.process_time() - began < QUICK_SECONDS
    faults = caught.value.faults
    assert 0 < len(faults) <= 3 * (SHOWN_FAULTS + 1)
    for fault in faults:
        assert len(str(fault)) < 800
        assert str(fault).isprintable()
        assert fault.problem
        assert fault.remedy
    return [str(fault) for fault in faults]


def junk(size: int, kind: str) -> bytes:
    """Repeatable junk."""
    source = random.Random(size)
    if kind == "bytes":
        return source.randbytes(size)
    return bytes(source.choices(b'abc,;"=[]{}\n\t 0123456789.-', k=size))


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"\xff\xfea\0", "UTF-16"),
        (b"# caf\xe9\n", "is not UTF-8 text (byte e9 hex)"),
        (b"a = 1\n\0\n", "line 2: holds a zero byte"),
        (junk(10_000_000, "bytes"), "has 10.0 MB; keep it under 5 MB"),
        (junk(4_000_000, "bytes"), "is no text file"),
    ],
    ids=["utf-16", "latin-1", "zero byte", "10 MB", "4 MB"],
)
def test_what_is_no_text_is_one_fault(tmp_path: Path, name: str, content: bytes, words: str) -> None:
    (fault,) = told(write_quayside(tmp_path, **{name.split(".")[0]: content}))
    assert fault.startswith(name)
    assert words in fault


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    "content",
    [
        junk(4_000_000, "text"),
        b"a" * 4_900_000,
        b"," * 4_900_000,
        b"abc,def\n" * 500_000,
        b'id,profile\n"' + b"x" * 1_000_000,
        b"[" * 200_000,
        b"a = " + b"[" * 100_000 + b"]" * 100_000,
        b"[a" + b".a" * 50_000 + b"]\n",
        b"x = {a=" * 50_000,
        b"\xef\xbb\xbf\xef\xbb\xbf",
        b"=\n",
        '"\u2028\u202e\x07'.encode(),
    ],
    ids=[
        *("junk", "one word", "commas", "rows", "open quote", "brackets", "deep list", "deep table", "deep inline"),
        *("marks", "sign", "unprintable"),
    ],
)
def test_text_of_no_sense_gives_faults_and_no_traceback(tmp_path: Path, name: str, content: bytes) -> None:
    assert told(write_quayside(tmp_path, **{name.split(".")[0]: content}))[0].startswith(name)


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("price = 0.11", "price = " + "9" * 6000, "a number or a date that no one can mean"),
        ("price = 0.11", "price = 0x" + "f" * 60_000, "more than 15 digits"),
        ("price = 0.11", "price = 1e999", "inf is not a finite number"),
        ("price = 0.11", "price = 9999999999999999", "more than 15 digits"),
        ("price = 0.11", "price = 2026-99-99", "is not a time"),
        ("price = 0.11", "price = " + "{ a = " * 90 + "1" + " }" * 90, "a table is not a number"),
        ("room = 20 ", "room = " + "9" * 400 + " ", "more than 15 digits"),
        ("hands = 2", "hands = 1e400", "is not a finite number"),
        ('name = "Quayside Workshops"', 'name = "' + "x" * 100_000 + '"', "is too long; write at most 200 letters"),
        ("from = 2026-12-24", "from = 0001-01-01T00:00:00", "0001-01-01T00:00:00 is not a date"),
        ("from = 2026-11-30T12:00", "from = 0001-01-01T00:00:00+14:00", "far from today"),
        ("from = 2026-11-30T12:00", "from = 9999-12-31T23:59:59-14:00", "far from today"),
        ("[tariff]", "[tariff]\n[tariff]", "second time"),
        ('id = "K3"', 'id = "' + "K" * 5000 + '"', "is too long"),
    ],
)
def test_values_that_no_one_can_mean_are_faults(tmp_path: Path, old: str, new: str, words: str) -> None:
    faults = told(write_quayside(tmp_path, studio=exchanged(STUDIO, (old, new))))
    assert any(words in fault for fault in faults), faults


@pytest.mark.parametrize(
    "text",
    [
        "studio = 1\nshifts = 2\nclosed = [1]\ncircuits = [[]]\nkilns = {}\nrules = []\ntariff = 'x'\n",
        "[studio]\n[[kilns]]\n[[circuits]]\n[[shifts]]\n[[closed]]\n[[outages]]\n[[quiet]]\n[tariff]\nbands = 3\n",
        "[[kilns]]\n" * 100_000,
        "".join(f"[t{number}]\n" for number in range(100_000)),
    ],
    ids=["wrong kinds", "empty tables", "many kilns", "many unknown tables"],
)
def test_tables_of_the_wrong_kind_are_faults(tmp_path: Path, text: str) -> None:
    assert told(write_quayside(tmp_path, studio=text))


def test_many_faults_of_a_file_end_with_how_many_more(tmp_path: Path) -> None:
    rows = "".join(f"L{number},bisque-04,1,1,0\n" for number in range(60))
    faults = told(write_quayside(tmp_path, loads="id,profile,footprint_cm2,height_mm,mass_kg\n" + rows))
    assert len(faults) == SHOWN_FAULTS + 1
    assert "row 51, column mass_kg" in faults[-2]
    assert "and 10 more faults" in faults[-1]


def test_a_file_full_of_faults_is_not_read_to_its_end(tmp_path: Path) -> None:
    rows = "".join(f"L{number},nope,1,1,nan\n" for number in range(150_000))
    faults = told(write_quayside(tmp_path, loads="id,profile,footprint_cm2,height_mm,mass_kg\n" + rows))
    assert "at least" in faults[-1]


def test_more_loads_than_any_studio_has_are_one_fault(tmp_path: Path) -> None:
    rows = "".join(f"L{number},bisque-04,1,1,1\n" for number in range(20_100))
    (fault,) = told(write_quayside(tmp_path, loads="id,profile,footprint_cm2,height_mm,mass_kg\n" + rows))
    assert "20000" in fault


def test_a_long_chain_of_stages_is_followed_to_its_end(tmp_path: Path) -> None:
    count = 5000
    rows = "".join(f"L{number},bisque-04,1,1,1,L{(number + 1) % count}\n" for number in range(count))
    (fault,) = told(write_quayside(tmp_path, loads="id,profile,footprint_cm2,height_mm,mass_kg,after\n" + rows))
    assert "row 2, column after" in fault
    assert "waits, in the end, for itself" in fault


@pytest.mark.parametrize("name", NAMES)
def test_a_folder_or_a_pipe_in_place_of_a_file_is_a_fault(tmp_path: Path, name: str) -> None:
    made: list[tuple[Callable[[Path], None], str]] = [(Path.mkdir, "is a folder, not a file")]
    made.append((os.mkfifo, "is not an ordinary file"))
    for number, (make, words) in enumerate(made):
        folder = write_quayside(tmp_path / str(number))
        (folder / name).unlink()
        make(folder / name)
        (fault,) = told(folder)
        assert fault.startswith(f"{name}: {words}")


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    ("error", "words"),
    [
        (PermissionError(13, "Permission denied"), "may not be read"),
        (OSError(5, "Input/output error"), "cannot be read"),
    ],
)
def test_a_file_that_the_system_refuses_is_a_fault(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, error: OSError, words: str
) -> None:
    folder = write_quayside(tmp_path)
    read_bytes = Path.read_bytes

    def refuse(path: Path) -> bytes:
        if path.name == name:
            raise error
        return read_bytes(path)

    monkeypatch.setattr(Path, "read_bytes", refuse)
    (fault,) = told(folder)
    assert fault.startswith(f"{name}: {words}")


@pytest.mark.parametrize("name", ["nowhere", "a\0b", "x" * 5000])
def test_a_folder_that_is_not_there_is_a_fault(tmp_path: Path, name: str) -> None:
    (fault,) = told(tmp_path / name)
    assert "is not there" in fault


def test_a_file_in_place_of_the_folder_is_a_fault(tmp_path: Path) -> None:
    folder = write_quayside(tmp_path)
    (fault,) = told(folder / "studio.toml")
    assert "is not a folder" in fault


def test_no_cut_and_no_changed_letter_of_a_sound_folder_gives_a_traceback(tmp_path: Path) -> None:
    source = random.Random(7)
    for name, content in CONTENTS.items():
        for _ in range(40):
            letters = list(content)
            if source.random() < 0.5:
                del letters[source.randrange(len(letters)) :]
            else:
                for _ in range(source.randrange(1, 6)):
                    letters[source.randrange(len(letters))] = source.choice('"[]{}=,;\n\\\u00b5\u20281 ')
            folder = write_quayside(tmp_path, **{name.split(".")[0]: "".join(letters)})
            # Anything but a FolderError would end the test here.
            with suppress(FolderError):
                read_folder(folder)
        write_quayside(tmp_path)


def test_a_profile_of_more_segments_than_any_controller_runs_is_a_fault(tmp_path: Path) -> None:
    many = ", ".join(["{ rate = 60, to = 120 }"] * 61)
    (fault,) = told(
        write_quayside(tmp_path, profiles=exchanged(PROFILES, ('{ rate = 60, to = 120, hold = "2:00" }', many)))
    )
    assert "at most 60" in fault
