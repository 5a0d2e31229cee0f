"""A file of changes over a studio folder: what is merged, added, replaced and taken away, and every fault in it."""

from __future__ import annotations

from pathlib import Path

import pytest

from shared.errors import FolderError
from shared.files import read_folder
from shared.files.changed import read_changed
from shared.studio import Studio
from tests.api.small_studio import write_small_studio


def changed(tmp_path: Path, text: str) -> tuple[Studio, Studio]:
    """The studio as it is, and with the changes."""
    folder = tmp_path / "studio"
    folder.mkdir(exist_ok=True)
    write_small_studio(folder)
    (tmp_path / "more.toml").write_text(text, encoding="utf-8")
    studio, _ = read_folder(folder)
    return studio, read_changed(folder, tmp_path / "more.toml")


def test_no_change_gives_the_same_studio(tmp_path: Path) -> None:
    before, after = changed(tmp_path, "# nothing\n")
    assert after == before


def test_a_kiln_like_another_is_added_with_what_is_said_of_it(tmp_path: Path) -> None:
    before, after = changed(tmp_path, '[[kilns]]\nid = "K9"\nlike = "K1"\namps = 30\n')
    new, old = after.kiln_by_id["K9"], before.kiln_by_id["K1"]
    assert (new.amps, new.kilowatts, new.inside_mm, new.name) == (30.0, old.kilowatts, old.inside_mm, None)
    assert after.kilns[:-1] == before.kilns


def test_one_that_is_there_changes_only_in_what_is_said(tmp_path: Path) -> None:
    before, after = changed(tmp_path, '[[circuits]]\nid = "main"\nbreaker_amps = 80\n[tariff]\ndefault = 0.5\n')
    assert after.circuit_by_id["main"] == before.circuit_by_id["main"].model_copy(update={"breaker_amps": 80.0})
    assert after.tariff.default == 0.5
    assert after.kilns == before.kilns


def test_shifts_are_added_or_replaced(tmp_path: Path) -> None:
    shift = '[[shifts]]\ndays = ["sun"]\nfrom = "10:00"\nto = "12:00"\nskills = ["casting"]\n'
    before, after = changed(tmp_path, shift)
    assert len(after.shifts) == len(before.shifts) + 1
    _, after = changed(tmp_path, 'replace = ["shifts", "outages"]\n' + shift)
    assert [one.days for one in after.shifts] == [("sun",)]
    assert after.outages == ()


def test_clean_outs_are_added_or_replaced(tmp_path: Path) -> None:
    one = '[[clean_outs]]\nafter = ["glaze"]\nbefore = ["bisque"]\nminutes = 20\n'
    before, after = changed(tmp_path, one)
    assert len(after.clean_outs) == len(before.clean_outs) + 1
    _, after = changed(tmp_path, 'replace = ["clean_outs"]\n' + one)
    assert [one.minutes for one in after.clean_outs] == [20.0]


def test_a_kiln_can_be_taken_away(tmp_path: Path) -> None:
    _, after = changed(tmp_path, 'replace = ["outages"]\n[[kilns]]\nid = "K4"\nremove = true\n')
    assert list(after.kiln_by_id) == ["K1", "K2", "K3"]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ('[[kilns]]\nid = "K9"\nlike = "K11"\n', 'kiln K9, like: "K11" is not there; did you mean "K1"?'),
        ("[[kilns]]\namps = 3\n", "[[kilns]] 1: has no id"),
        ('[[circuits]]\nid = "attic"\nremove = true\n', "circuit attic, remove: is not there"),
        ("[tarif]\ndefault = 1\n", 'did you mean "tariff"?'),
        ('replace = ["kilns"]\n', "replace: is a list; write a list of some of shifts"),
        ('[[kilns]]\nid = "K1"\namps = "many"\n', 'kiln K1, amps: "many" is not a number'),
        ('[[kilns]]\nid = "K1"\ncircuit = "attic"\n', 'there is no circuit "attic"'),
        ("[rules]\ngrid_minutes = 7\n", "rules, grid_minutes: does not divide the hour"),
        ("rules = 3\n", "rules: is 3, not one table"),
        ("shifts = 3\n", "shifts: is 3, not a list of tables"),
        ("kilns = 3\n", "kilns: is 3, not a list of tables"),
        ("[[kilns\n", "line 1, column"),
    ],
)
def test_a_fault_names_the_file_of_changes_the_place_and_what_would_be_right(
    tmp_path: Path, text: str, told: str
) -> None:
    with pytest.raises(FolderError) as caught:
        changed(tmp_path, text)
    (fault,) = caught.value.faults
    assert str(fault).startswith("more.toml, ")
    assert told in str(fault)


def test_a_kiln_that_loads_ask_for_is_missed_in_the_file_of_changes(tmp_path: Path) -> None:
    with pytest.raises(FolderError, match=r"more\.toml, \[\[outages\]\] 1"):
        changed(tmp_path, '[[kilns]]\nid = "K4"\nremove = true\n')
