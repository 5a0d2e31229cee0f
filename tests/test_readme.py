"""The README's commands do what it says, and print what it shows."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from shared.clock import read_moment
from shared.files import read_folder
from shared.kilns import Circuit, Kiln
from shared.loads import Load
from shared.studio import Outage, Shift
from tests.refresh_readme import README, printed_by, shown_blocks

ROOT = README.parent
TEXT = README.read_text(encoding="utf-8")


@pytest.mark.parametrize(("command", "shown"), shown_blocks(TEXT))
def test_output_in_the_readme_is_what_the_command_prints(command: str, shown: str) -> None:
    """If the output changed for a good reason: python -m tests.refresh_readme."""
    assert printed_by(command) == shown


def test_the_command_beside_the_sheet_is_the_one_that_made_it() -> None:
    flowing = " ".join(TEXT.split())
    assert all(f"`.venv/bin/kilnrota {command}`" in flowing for command, _ in shown_blocks(TEXT))


def test_the_setup_command_plans_shows_all_and_writes_the_sheets(tmp_path: Path) -> None:
    setup = next(line for line in TEXT.splitlines() if line.startswith("python3 -m venv") and "kilnrota plan" in line)
    command = setup.split(".venv/bin/kilnrota ")[1].replace("--sheets out", f"--sheets {tmp_path}")
    printed = printed_by(f"{command} --work 20")  # by work, so that the test does not take the 20 s
    studio, loads = read_folder(ROOT / "sample_studio")
    assert all(kiln.title in printed for kiln in studio.kilns)
    placed = int(re.search(r"(\d+) of (\d+) loads\s+placed", printed)[1])  # type: ignore[index]
    explained = [load for load in loads if re.search(rf"^  {load.id} .*no place \(", printed, re.MULTILINE)]
    assert placed + len(explained) == len(loads)
    assert {path.name for path in tmp_path.iterdir()} == {
        "overview.html",
        *(f"kiln-{kiln.id}.html" for kiln in studio.kilns),
    }


def test_the_walk_from_plan_to_re_plan_and_fit_runs_as_it_stands(tmp_path: Path) -> None:
    """Each command on the files that those before it wrote; the searches by work, so as not to take their seconds."""
    start = TEXT.index("the first plan to a kiln")
    block = TEXT[start:].split("```sh\n")[1].split("```")[0].splitlines()
    assert [line.split()[1] for line in block] == ["plan", "show", "chances", "replan", "fit"]
    quick = {"plan": " --work 20", "show": "", "chances": " --samples 200", "replan": " --work 5", "fit": ""}
    printed = {}
    for line in block:
        name = line.split()[1]
        command = line.removeprefix(".venv/bin/kilnrota ")
        for file in ("plan.json", "new.json", " out"):
            command = command.replace(file, f"{' ' if file[0] == ' ' else ''}{tmp_path / file.strip()}")
        logs = " ".join(str(path) for path in sorted((ROOT / "sample_studio/logs").glob("*.csv")))
        printed[name] = printed_by(command.replace("sample_studio/logs/*.csv", logs) + quick[name])
    assert printed["show"].startswith("Tuesday 1 December 2026")
    assert "Chance that each promise is kept" in printed["chances"]
    assert "What changes, person by person" in printed["replan"]
    assert "No load changes" not in printed["replan"]
    assert "K1" in printed["replan"]
    assert "fitted to 3 recorded firings" in printed["fit"]
    assert (tmp_path / "new.json").exists()


def test_ci_runs_the_readmes_test_command_and_nothing_else() -> None:
    command = next(line for line in TEXT.splitlines() if line.startswith("python3 -m venv") and ".ci/check" in line)
    script = [line for line in (ROOT / ".ci/run").read_text(encoding="utf-8").splitlines() if line[:1] not in ("#", "")]
    assert script == ["set -euo pipefail", 'cd "$(dirname "$0")/.."', command]


def test_every_file_that_the_readme_names_is_there() -> None:
    names = set(re.findall(r"`([A-Z]+\.md|sample_studio|\.ci/[a-z.]+)`", TEXT))
    assert names
    assert all((ROOT / name).exists() for name in names)


def test_git_ignores_what_the_readmes_commands_write_in_the_checkout() -> None:
    """The plans, sheets and data of a newcomer's first walk are not left beside the programme as its own."""
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8").split()
    block = TEXT[TEXT.index("the first plan to a kiln") :].split("```sh\n")[1].split("```")[0]
    written = set(re.findall(r"--(?:out|sheets) (\S+)", block))
    assert written == {"plan.json", "new.json", "out"}
    assert all(f"/{name}" in ignored or f"{name}/" in ignored for name in written)
    assert "/kilnrota.db*" in ignored


def test_the_keys_told_are_those_that_a_kiln_a_circuit_a_shift_and_a_load_have() -> None:
    """Each key that the reader takes stands in the lists of the README."""
    lists = TEXT.split("What a table takes;")[1].split("A layer takes")[0]
    told = set(re.findall(r"`([a-z_0-9]+)`", lists))
    for record in (Kiln, Circuit, Shift, Outage, Load):
        keys = {field.alias or name for name, field in record.model_fields.items()}
        assert keys <= told, (record.__name__, keys - told)


def test_the_constraints_name_no_host_and_no_path() -> None:
    lines = (ROOT / ".ci/constraints.txt").read_text(encoding="utf-8").split()
    assert all(re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.+]+", line) for line in lines)


def test_the_walk_through_the_service_names_what_its_pages_say() -> None:
    """Each button and page that a newcomer is told to look for is there under that name."""
    walk = TEXT.split("## The service")[1].split("\n## ")[0]
    told = [" ".join(name.split()) for name in re.findall(r"\*([^*]+)\*", walk)]
    words = tomllib.loads((ROOT / "api/catalogue/en.toml").read_text(encoding="utf-8"))
    said = {
        text for part in words.values() if isinstance(part, dict) for text in part.values() if isinstance(text, str)
    }
    assert len(told) >= 8
    assert [name for name in told if name not in said] == []


def test_the_sample_can_be_planned_at_the_time_that_the_walk_sets_the_clock_to() -> None:
    """Every load that waits is promised after it, most of them within the days of a plan made then."""
    studio, loads = read_folder(ROOT / "sample_studio")
    said = re.search(r"kilnrota serve --studio sample_studio --now (\S+)", TEXT)
    assert said is not None
    now = read_moment(said[1], studio.place.zone)
    promised = [load.promised for load in loads if load.promised is not None]
    assert min(promised) > now
    assert sum(moment < now + studio.rules.horizon_days * 1440 for moment in promised) > len(promised) / 2
