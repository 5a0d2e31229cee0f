"""Writing a studio folder: what is written is read back the same, and a file is never half there."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pytest
import tomli
from hypothesis import HealthCheck, Phase, given, settings

from shared.errors import FolderError, RequestError
from shared.files import read_folder, write_fitted, write_folder
from shared.kilns import Fitted
from shared.loads import Load
from shared.studio import Studio
from tests.shared.quayside import CONTENTS, STUDIO, exchanged, write_quayside
from tests.shared.random_studios import studios

FIT = Fitted(power=0.91, loss=1.1, storage=1.25, power_error=0.02, firings=7)


def contents(folder: Path) -> dict[str, bytes]:
    """All that lies in a folder."""
    return {path.name: path.read_bytes() for path in sorted(folder.iterdir())}


# Making a failing studio smaller takes minutes; with Phase.shrink added it is done.
@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
    phases=[Phase.explicit, Phase.reuse, Phase.generate],
)
@given(studios())
def test_what_is_written_is_read_back_the_same(made: tuple[Studio, tuple[Load, ...]]) -> None:
    studio, loads = made
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "new"
        write_folder(folder, studio, loads)
        assert read_folder(folder) == (studio, loads)


def test_the_example_is_read_back_the_same_and_written_with_offsets(tmp_path: Path) -> None:
    studio, loads = read_folder(write_quayside(tmp_path / "old"))
    write_folder(tmp_path / "new", studio, loads)
    assert read_folder(tmp_path / "new") == (studio, loads)
    written = (tmp_path / "new" / "studio.toml").read_text()
    assert "from = 2026-11-30T12:00:00+00:00" in written
    assert "2026-12-04T17:00:00+00:00" in (tmp_path / "new" / "loads.csv").read_text()
    assert sorted(contents(tmp_path / "new")) == ["loads.csv", "profiles.toml", "studio.toml"]


@pytest.mark.parametrize(("minutes", "cell"), [(90, "1.5"), (20, "0:20"), (1440, "24"), (0.5, "0.008333333"), (0, "0")])
def test_hours_are_written_as_people_write_them(tmp_path: Path, minutes: float, cell: str) -> None:
    studio, loads = read_folder(write_quayside(tmp_path))
    write_folder(tmp_path / "new", studio, [*loads[:3], loads[3].model_copy(update={"gap_minutes": minutes})])
    last = (tmp_path / "new" / "loads.csv").read_text().splitlines()[-1].split(",")
    assert last[-4] == cell
    assert read_folder(tmp_path / "new")[1][3].gap_minutes == pytest.approx(minutes)


def test_a_file_that_says_the_same_already_keeps_its_comments(tmp_path: Path) -> None:
    folder = write_quayside(tmp_path)
    studio, loads = read_folder(folder)
    before = contents(folder)
    write_folder(folder, studio, loads[:3])
    after = contents(folder)
    assert [name for name in before if before[name] != after[name]] == ["loads.csv"]
    assert read_folder(folder) == (studio, loads[:3])


def test_another_unit_means_other_numbers_in_every_file(tmp_path: Path) -> None:
    folder = write_quayside(tmp_path)
    studio, loads = read_folder(folder)
    place = studio.place.model_copy(update={"temperature": "F"})
    write_folder(folder, studio.model_copy(update={"place": place}), loads)
    assert tomli.loads((folder / "studio.toml").read_text())["kilns"][0]["max_temperature"] == 2354
    again, _ = read_folder(folder)
    assert again.kilns[0].max_temperature_c == pytest.approx(1290)
    assert again.profiles[1].segments(None)[1].to_c == pytest.approx(1060)


def test_what_could_not_be_read_again_is_not_written(tmp_path: Path) -> None:
    folder = write_quayside(tmp_path)
    studio, loads = read_folder(folder)
    before = contents(folder)
    twice = (*loads, loads[0])
    with pytest.raises(FolderError, match="is the id of row 2 too"):
        write_folder(folder, studio, twice)
    with pytest.raises(FolderError, match="zero byte"):
        write_folder(folder, studio, [loads[0].model_copy(update={"note": "a\0b"})])
    assert contents(folder) == before


@pytest.mark.parametrize("moment", ["fsync", "replace"])
def test_a_full_disk_leaves_every_file_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, moment: str) -> None:
    folder = write_quayside(tmp_path)
    studio, _ = read_folder(folder)
    before = contents(folder)

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(*((os, "fsync") if moment == "fsync" else (Path, "replace")), fail)
    with pytest.raises(RequestError, match=r"cannot be written \(no space left on device\)"):
        write_folder(folder, studio.model_copy(update={"shifts": ()}), ())
    assert contents(folder) == before


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    studio, loads = read_folder(write_quayside(tmp_path))
    with pytest.raises(RequestError, match="cannot be made"):
        write_folder(tmp_path / "loads.csv", studio, loads)


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
@pytest.mark.parametrize(
    ("kiln", "old", "new"),
    [
        ("K1", "fitted = { power = 0.96, loss = 1.04, storage = 1.00 }", "{}"),
        ("K1", "fitted = { power = 0.96, loss = 1.04, storage = 1.00 }", "fitted = {\n power = 0.96, # old\n}"),
        ("K3", "vented = true", "vented = true"),
    ],
)
def test_a_fit_is_put_in_its_place_and_nothing_else_changes(
    tmp_path: Path, kiln: str, old: str, new: str, ending: str
) -> None:
    text = exchanged(STUDIO, (old, old if new == "{}" else new)).replace("\n", ending)
    folder = write_quayside(tmp_path, studio=text.encode())
    studio, loads = read_folder(folder)
    write_fitted(folder, kiln, FIT)
    again, same = read_folder(folder)
    kilns = tuple(k.model_copy(update={"fitted": FIT}) if k.id == kiln else k for k in studio.kilns)
    assert again == studio.model_copy(update={"kilns": kilns})
    assert same == loads
    written = (folder / "studio.toml").read_bytes().decode()
    changed = set(written.split(ending)) ^ set(text.split(ending))
    assert "# room temperature, studio unit" in written
    assert all("fitted" in line or "power" in line or line == "}" for line in changed), changed
    assert "fitted = { power = 0.91, loss = 1.1, storage = 1.25, power_error = 0.02, firings = 7 }" in written
    for name in ("profiles.toml", "loads.csv"):
        assert (folder / name).read_text() == CONTENTS[name]


@pytest.mark.parametrize("style", ["dotted", "own table", "inline kilns", "last line without an end"])
def test_a_fit_finds_its_place_however_the_file_is_written(tmp_path: Path, style: str) -> None:
    old = "fitted = { power = 0.96, loss = 1.04, storage = 1.00 }"
    text = {
        "dotted": exchanged(STUDIO, (old, "fitted.power = 0.96\nfitted.loss = 1.04")),
        "own table": exchanged(STUDIO, (old, "[kilns.fitted]\npower = 0.96\nloss = 1.04")),
        "inline kilns": STUDIO,
        "last line without an end": STUDIO,
    }[style]
    if style == "inline kilns":
        head, _, rest = text.partition("[[kilns]]")
        body, _, tail = rest.partition("# the element came")
        tables = [
            "{" + ",".join(line.split("#")[0] for line in t.strip().splitlines()) + "}" for t in body.split("[[kilns]]")
        ]
        text = "kilns = [" + ",\n".join(tables) + "]\n" + head + tail.split("\n", 1)[1]
    if style == "last line without an end":
        head, _, rest = text.partition("[[kilns]]")
        body, mark, tail = rest.partition("# the element came")
        text = head + mark + tail + "\n[[kilns]]" + body.rstrip()
    folder = write_quayside(tmp_path, studio=text)
    studio, loads = read_folder(folder)
    for name in ("K1", "K3"):
        write_fitted(folder, name, FIT)
    again, same = read_folder(folder)
    assert [kiln.fitted for kiln in again.kilns] == [FIT, FIT]
    assert [k.model_copy(update={"fitted": Fitted()}) for k in again.kilns] == [
        k.model_copy(update={"fitted": Fitted()}) for k in studio.kilns
    ]
    assert (again.outages, same) == (studio.outages, loads)


def test_a_fit_of_a_kiln_that_is_not_there_is_refused(tmp_path: Path) -> None:
    folder = write_quayside(tmp_path)
    before = contents(folder)
    with pytest.raises(RequestError, match='no kiln "k1"; did you mean "K1"'):
        write_fitted(folder, "k1", FIT)
    assert contents(folder) == before
