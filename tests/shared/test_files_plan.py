"""Plan files: written the same each time, read back the same, refused in plain words."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from shared.clock import read_moment
from shared.errors import FolderError
from shared.files import plan_text, read_folder, read_plan, write_plan
from shared.plans import CostParts, Firing, Late, Plan, PlannedSegment, Proof, Unplaced
from shared.studio import Studio
from tests.shared.quayside import STUDIO, exchanged, write_quayside


@pytest.fixture
def studio(tmp_path: Path) -> Studio:
    """The example studio."""
    return read_folder(write_quayside(tmp_path / "studio"))[0]


def at(studio: Studio, text: str) -> int:
    """A moment on the studio's wall clock."""
    return read_moment(text, studio.place.zone)


def plan(studio: Studio) -> Plan:
    """A plan by hand over the night of 24 October 2026, when the clocks go back in London at 02:00."""
    begins = at(studio, "2026-10-24T09:00")
    firing = Firing(
        id="F1", kiln="K1", profile="bisque-04", size_row=None, loads=("L1", "L3"),
        load_at=begins, start_at=begins + 40, target_at=begins + 800, hot_until=begins + 810, safe_at=begins + 1500,
        unload_at=begins + 1560, free_at=begins + 1600,
        segments=(
            PlannedSegment(
                rate_k_per_hour=None, to_c=1060.0, hold_minutes=10.0, reached_at=begins + 800, hold_ends_at=begins + 810
            ),
        ),
        layers=(("L1",), ("L3",)), amps=24.0, kwh=84.2, energy_cost=11.9, share_used=0.71, unload_minutes=30,
    )  # fmt: skip
    return Plan(
        studio=studio.place.name, made_at=begins - 60, begin=begins, end=begins + 14_400,
        proof=Proof(status="within", cost=812.5, bound=798.0, seconds=9.7), cost_parts=CostParts(lateness=812.5),
        firings=(firing, firing.model_copy(update={"id": "F2", "hot_until_between": (begins + 1, begins + 2)})),
        unplaced=(Unplaced(load="L2", rule="max_temperature", why="too hot", would_help=("a cooler profile",)),),
        late=(Late(load="L1", promised=begins, out_at=begins + 1590, hours=26.5),),
    )  # fmt: skip


def test_a_plan_comes_back_as_it_was_written(studio: Studio, tmp_path: Path) -> None:
    made = plan(studio)
    write_plan(tmp_path / "plan.json", made, studio)
    assert read_plan(tmp_path / "plan.json", studio) == made
    assert list(tmp_path.glob(".*")) == []


def test_the_same_plan_gives_the_same_bytes(studio: Studio, tmp_path: Path) -> None:
    for name in ("a.json", "b.json"):
        write_plan(tmp_path / name, plan(studio), studio)
    again = plan_text(read_plan(tmp_path / "a.json", studio), studio)
    assert (tmp_path / "a.json").read_bytes() == (tmp_path / "b.json").read_bytes() == again.encode()


def test_the_file_is_what_the_contract_says(studio: Studio) -> None:
    document = json.loads(plan_text(plan(studio), studio))
    first = document["firings"][0]
    assert (document["format"], document["from"]) == (1, "2026-10-24T09:00:00+01:00")
    assert document["to"] == "2026-11-03T08:00:00+00:00"
    assert first["size_row"] is None
    assert first["segments"][0]["rate"] == "full"
    assert first["segments"][0]["hold_hours"] == pytest.approx(1 / 6)
    assert first["layers"] == [["L1"], ["L3"]]
    contract = (
        "id kiln profile size_row loads load_at start_at target_at hot_until safe_at unload_at free_at segments layers "
        "amps kwh energy_cost share_used"
    )
    assert set(contract.split()) <= set(first)


def test_clean_outs_stand_in_the_file_only_where_there_are_any(studio: Studio, tmp_path: Path) -> None:
    made = plan(studio)
    assert "clean_out" not in plan_text(made, studio)
    assert "last_work" not in plan_text(made, studio)
    first, second = made.firings
    parts = made.cost_parts.model_copy(update={"clean_outs": 4.5})
    cleaned = made.model_copy(
        update={"firings": (first, second.model_copy(update={"clean_out_minutes": 30})), "cost_parts": parts}
        | {"last_work": {"K1": "burnout"}}
    )
    write_plan(tmp_path / "plan.json", cleaned, studio)
    document = json.loads((tmp_path / "plan.json").read_text())
    assert ["clean_out_minutes" in firing for firing in document["firings"]] == [False, True]
    assert read_plan(tmp_path / "plan.json", studio) == cleaned
    del document["firings"][1]["clean_out_minutes"], document["cost_parts"]["clean_outs"], document["last_work"]
    (tmp_path / "plan.json").write_text(json.dumps(document))
    assert read_plan(tmp_path / "plan.json", studio) == made


def test_a_studio_in_fahrenheit_writes_its_plan_in_fahrenheit(tmp_path: Path) -> None:
    text = exchanged(
        STUDIO,
        ('temperature = "C"', 'temperature = "F"'),
        ("= 1290", "= 2354"),
        ("= 1000", "= 1832"),
        ("room = 20", "room = 68"),
    )
    studio, _ = read_folder(write_quayside(tmp_path, studio=text))
    made = plan(studio)
    document = plan_text(made, studio)
    assert json.loads(document)["firings"][0]["segments"][0]["to"] == 1940
    write_plan(tmp_path / "plan.json", made, studio)
    assert read_plan(tmp_path / "plan.json", studio).firings[0].segments[0].to_c == pytest.approx(1060)


def changed(studio: Studio, change: Callable[[dict[str, Any]], Any]) -> str:
    """The plan's text with something changed in it."""
    document = json.loads(plan_text(plan(studio), studio))
    change(document)
    return json.dumps(document)


def told(folder: Path, studio: Studio, text: str | bytes) -> list[str]:
    """The faults of a plan file."""
    file = folder / "plan.json"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    with pytest.raises(FolderError) as caught:
        read_plan(file, studio)
    faults = [str(fault) for fault in caught.value.faults]
    assert all(fault.remedy and fault.problem for fault in caught.value.faults)
    assert not any("input should" in fault.casefold() for fault in faults)
    return faults


CHANGES: list[tuple[Callable[[dict[str, Any]], Any], str]] = [
    (lambda d: d.update(format=2), "plan.json, format: is 2; this program reads format 1"),
    (lambda d: d.pop("format"), "plan.json, format: is missing"),
    (lambda d: d.update({"from": "2026-10-24T09:00"}), 'plan.json, from: "2026-10-24T09:00" has no offset'),
    (lambda d: d["firings"][0].update(load_at="2026-10-24"), 'firings[0], load_at: "2026-10-24" has no offset'),
    (
        lambda d: d["firings"][1].update(hot_until_between=["2026-10-24T09:00", "2026-10-24T09:30+01:00"]),
        "firings[1], hot_until_between[0]",
    ),
    (lambda d: d["firings"][0].pop("kiln"), "firings[0] F1, kiln: is missing"),
    (
        lambda d: d["firings"][0].update(klin="K1"),
        'firings[0] F1, klin: "klin" is not a key here; did you mean "kiln"?',
    ),
    (lambda d: d["firings"][0].update(loads=[]), "firings[0] F1, loads"),
    (lambda d: d["firings"][0].update(kwh=-1), "firings[0] F1, kwh: -1 is too small"),
    (lambda d: d["firings"][0].update(kwh=10**400), "15 digits"),
    (lambda d: d["firings"][0].update(clean_out_minutes=-5), "firings[0] F1, clean_out_minutes: -5 is too small"),
    (lambda d: d["firings"][0].update(clean_out_minutes=2.5), "clean_out_minutes: 2.5 is not a whole number"),
    (
        lambda d: d["firings"][0]["segments"][0].update(to="hot"),
        'firings[0] F1, segments[0], to: "hot" is not a number',
    ),
    (lambda d: d["firings"][0]["segments"][0].update(hold_hours=True), "hold_hours: true is not a number"),
    (lambda d: d["late"][0].update(promised="soon"), 'late[0] L1, promised: "soon" is not a time'),
    (lambda d: d["proof"].update(status="sure"), "proof, status"),
    (lambda d: d.update(firings={}), "plan.json, firings: a table is not a list"),
    (lambda d: d.update(firings=[1]), "plan.json, firings[0]: 1 is not a table"),
]


@pytest.mark.parametrize(("change", "words"), CHANGES)
def test_a_fault_in_a_plan_file_is_told_at_its_place(
    studio: Studio, tmp_path: Path, change: Callable[[dict[str, Any]], Any], words: str
) -> None:
    (fault,) = told(tmp_path, studio, changed(studio, change))
    assert words in fault


@pytest.mark.parametrize(
    "text",
    [
        *("", "[]", "null", "NaN", "{", '{"format": 1}', "[" * 200_000, b"\xff\xfe{", b"\0", b"\xe9"),
        '{"format": 1, "x": ' + "[" * 500 + "]" * 500 + "}",
        '{"format": 1, "cost_parts": {"energy": NaN}}',
        '{"format": ' + "9" * 6000 + "}",
        '{"studio": "\\ud800", "format": 1}',
    ],
    ids=lambda text: repr(text[:40]),
)
def test_what_is_no_plan_file_gives_faults_and_no_traceback(studio: Studio, tmp_path: Path, text: str | bytes) -> None:
    assert all(fault.startswith("plan.json") for fault in told(tmp_path, studio, text))


def test_several_faults_of_a_plan_file_are_told_at_once(studio: Studio, tmp_path: Path) -> None:
    def change(document: dict[str, Any]) -> None:
        document["firings"][0]["load_at"] = "2026-10-24T09:00"
        document["firings"][1]["amps"] = "many"
        document["proof"]["seconds"] = -1

    assert len(told(tmp_path, studio, changed(studio, change))) == 3


def test_unknown_ids_are_left_to_the_audit(studio: Studio, tmp_path: Path) -> None:
    file = tmp_path / "plan.json"
    file.write_text(changed(studio, lambda d: d["firings"][0].update(kiln="K9", profile="none")))
    assert read_plan(file, studio).firings[0].kiln == "K9"


@pytest.mark.parametrize(
    ("kiln", "profile", "minutes"), [("K1", "bisque-04", 30), ("K3", "burnout", 45), ("K9", "x", 0)]
)
def test_a_plan_of_another_program_need_not_say_how_long_unloading_takes(
    studio: Studio, tmp_path: Path, kiln: str, profile: str, minutes: int
) -> None:
    # Hot work: from unload_at to hot_until; else the kiln's unload_minutes.
    def change(document: dict[str, Any]) -> None:
        firing = document["firings"][0]
        del firing["unload_minutes"]
        firing |= {"kiln": kiln, "profile": profile, "hot_until": "2026-10-25T14:45:00+00:00"}
        firing |= {"unload_at": "2026-10-25T14:00:00+00:00"}

    file = tmp_path / "plan.json"
    file.write_text(changed(studio, change))
    assert read_plan(file, studio).firings[0].unload_minutes == minutes


def test_a_plan_file_that_is_not_there_is_a_fault(studio: Studio, tmp_path: Path) -> None:
    with pytest.raises(FolderError, match=r"plan\.json: is not there"):
        read_plan(tmp_path / "plan.json", studio)
