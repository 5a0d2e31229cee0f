"""``kilnrota fit``: logs in, factors out; refusals in words. The logs are drawn by the model, for a known kiln."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from api.command_line import run
from api.single_firing import firing_request
from scheduler.firing.simulate import simulate_one
from shared.files import read_folder
from shared.kilns import Fitted
from tests.api.small_studio import write_small_studio

TRUE = Fitted(power=0.92, loss=1.2, storage=1.05)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small studio with two logs of K1, drawn by the model with less power and more loss than the plate says."""
    folder = write_small_studio(tmp_path_factory.mktemp("studio"))
    studio, _ = read_folder(folder)
    kiln = studio.kiln_by_id["K1"].model_copy(update={"fitted": TRUE})
    for name, profile, kg in (("a-glaze-6.csv", "glaze-6", 20.0), ("b-bisque-04.csv", "bisque-04", 35.0)):
        course = simulate_one(firing_request(studio, kiln, studio.profile_by_id[profile], None, kg, 3))
        rows = [f"{minute},{course.temperature_c[minute]:.1f}" for minute in range(0, len(course.temperature_c), 5)]
        (folder / name).write_text("elapsed_min,temperature_c\n" + "\n".join(rows), encoding="utf-8")
    return folder


def arguments(folder: Path, *more: str) -> list[str]:
    logs = [str(folder / name) for name in ("a-glaze-6.csv", "b-bisque-04.csv")]
    return ["fit", str(folder), "K1", *logs, "--mass", "20", "--mass", "35", "--layers", "3", *more]


def test_a_fit_finds_the_kiln_that_drew_the_logs_and_writes_it(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Ratios are determined by a log of temperatures; the power itself by the plate, to its 8 % (`fit.POWER_PRIOR`)."""
    here = write_small_studio(tmp_path)
    plot = tmp_path / "fit.svg"
    told = arguments(folder, "--plot", str(plot), "--write")
    told[1] = str(here)
    assert run(told) == 0
    printed = capsys.readouterr().out
    assert "fitted to 2 recorded firings" in printed
    assert "Foretold by a fit to the other records" in printed
    studio, _ = read_folder(here)
    fitted = studio.kiln_by_id["K1"].fitted
    assert fitted.firings == 2
    assert fitted.loss / fitted.power == pytest.approx(TRUE.loss / TRUE.power, rel=0.05)
    assert fitted.power == pytest.approx(TRUE.power, rel=0.08)
    panels = ElementTree.parse(plot).getroot().findall("{http://www.w3.org/2000/svg}polyline")
    assert len(panels) == 2


def test_without_write_nothing_is_changed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = (folder / "studio.toml").read_bytes()
    assert run(arguments(folder)) == 0
    assert "Nothing was changed." in capsys.readouterr().out
    assert (folder / "studio.toml").read_bytes() == before


def test_a_log_of_another_firing_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = str(folder / "a-glaze-6.csv")
    assert run(["fit", str(folder), "K1", log, "--profile", "bisque-04"]) == 2
    assert re.search(r"reads up to 12\d\d °C where the profile goes to 1060 °C", capsys.readouterr().err)


@pytest.mark.parametrize(
    ("more", "named"),
    [
        (["nowhere-glaze-6.csv"], "nowhere-glaze-6.csv"),
        (["a-glaze-6.csv", "--mass", "1", "--mass", "2"], "--mass is given 2 times for 1 logs"),
        (["a-glaze-6.csv", "--profile", "raku"], "no profile 'raku'"),
        (["loads.csv"], "loads.csv"),
    ],
)
def test_what_cannot_be_fitted_is_answered_in_words(
    more: list[str], named: str, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["fit", str(folder), "K1", str(folder / more[0]), *more[1:]]) == 2
    output = capsys.readouterr().err
    assert named in output
    assert "Traceback" not in output


def test_a_log_whose_name_names_no_profile_asks_for_it(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "monday.csv").write_text((folder / "a-glaze-6.csv").read_text(encoding="utf-8"), encoding="utf-8")
    assert run(["fit", str(folder), "K1", str(folder / "monday.csv")]) == 2
    assert "--profile" in capsys.readouterr().err


def test_a_refused_fit_names_the_options_that_say_what_was_fired(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A bisque that is said to have been a glaze firing fits nothing."""
    told = ["fit", str(folder), "K1", str(folder / "b-bisque-04.csv"), "--profile", "glaze-6", "--mass", "35"]
    assert run(told) == 2
    assert capsys.readouterr().err.rstrip().endswith("(--profile, --size, --mass and --layers say what was fired)")
