"""Plan files: a firing that is held, and what a plan tells of those that could not be."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from shared.errors import FolderError
from shared.files import read_plan, write_plan
from shared.plans import HoldNote
from tests.scheduler.planning.test_replan import week


def test_a_hold_and_its_notes_come_back_and_plain_plans_say_nothing_of_them(tmp_path: Path) -> None:
    place, _, made = week()
    plain = tmp_path / "plain.json"
    write_plan(plain, made, place)
    assert "held" not in plain.read_text()
    assert "hold_notes" not in plain.read_text()
    first = made.firings[0]
    note = HoldNote(
        firing="F9", kiln="K1", start_at=first.start_at, loads=("A",), rule="hands", why="nobody is there", kept=True
    )
    held = made.model_copy(
        update={"firings": (first.model_copy(update={"held": True}), *made.firings[1:]), "hold_notes": (note,)}
    )
    write_plan(tmp_path / "held.json", held, place)
    assert read_plan(tmp_path / "held.json", place) == held


@pytest.mark.parametrize(("value", "known"), [('"yes"', False), ("1", False), ("true", True), ("false", True)])
def test_a_hold_is_true_or_false(tmp_path: Path, value: str, known: bool) -> None:
    place, _, made = week()
    file = tmp_path / "plan.json"
    write_plan(file, made, place)
    document = json.loads(file.read_text())
    document["firings"][0]["held"] = json.loads(value)
    file.write_text(json.dumps(document))
    if known:
        assert read_plan(file, place).firings[0].held == (value == "true")
        return
    with pytest.raises(FolderError) as told:
        read_plan(file, place)
    assert len(told.value.faults) == 1
    assert "held" in told.value.faults[0].place
