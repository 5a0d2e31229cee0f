"""The commands about a plan in hand, as a person calls them: what they print, write and return."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

from api.command_line import run
from api.events_asked_for import SaidEvents, events_asked_for
from api.formats import Formats
from api.printing.chances_text import chances_text, percent
from api.printing.replan_text import change_text
from api.words import read_words
from scheduler.planning.chances import Chances, LoadChance
from scheduler.planning.changes import Change, Whereabouts
from shared.clock import iso_text
from shared.errors import FolderError
from shared.files import read_folder, read_plan
from tests.api.small_studio import write_small_studio

NOW = ["--now", "2026-11-29T18:00"]
LATER = ["--now", "2026-11-30T12:00"]
MORE = """\
id,owner,profile,pieces,footprint_cm2,height_mm,mass_kg,family
N1,Newcomer,bisque-04,4,500,100,4,buff
"""

Captured = pytest.CaptureFixture[str]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "studio").mkdir()
    return write_small_studio(tmp_path / "studio")


@pytest.fixture
def plan(folder: Path, tmp_path: Path, capsys: Captured) -> Path:
    out = tmp_path / "plan.json"
    assert run(["plan", str(folder), *NOW, "--work", "10", "--out", str(out)]) == 0
    capsys.readouterr()
    return out


@pytest.fixture
def more(tmp_path: Path) -> Path:
    path = tmp_path / "more.csv"
    path.write_text(MORE, encoding="utf-8")
    return path


def replan(folder: Path, plan: Path, *options: str) -> int:
    return run(["replan", str(folder), "--plan", str(plan), *LATER, "--work", "5", *options])


def test_a_dead_kiln_is_told_person_by_person_and_the_new_plan_is_proved_from_its_file(
    folder: Path, plan: Path, tmp_path: Path, capsys: Captured
) -> None:
    new, sheets = tmp_path / "new.json", tmp_path / "sheets"
    options = ["--down", "K1:2026-12-02T09:00", "--out", str(new), "--sheets", str(sheets), "--write"]
    assert replan(folder, plan, *options) == 0
    printed = capsys.readouterr().out
    assert "What changes, person by person" in printed
    assert "If nobody plans again" in printed
    assert re.search(r"\n  out of use: firing F\d+, .* kiln K1 is out of use", printed)
    assert "Proved: none of the 25 rules is broken." in printed
    assert len(list(sheets.glob("*.html"))) == 5
    studio, _ = read_folder(folder)
    assert [outage.kiln for outage in studio.outages] == ["K4", "K1"]
    made = read_plan(new, studio)
    assert made.replanned
    assert set(made.under_way) <= {firing.id for firing in made.firings}
    assert run(["audit", str(folder), str(new)]) == 0
    assert capsys.readouterr().out.startswith("Proved: ")


def test_a_re_plan_days_before_the_plan_begins_reaches_as_far_as_the_plan_does(
    folder: Path, plan: Path, tmp_path: Path, capsys: Captured
) -> None:
    new, before = tmp_path / "new.json", read_folder(folder)[0].rules
    early = ["--now", "2026-11-26T13:00", "--work", "5", "--down", "K1:2026-11-27T09:00", "--out", str(new), "--write"]
    assert run(["replan", str(folder), "--plan", str(plan), *early]) == 0
    assert "has no place any more" not in capsys.readouterr().out
    studio, _ = read_folder(folder)
    assert studio.rules == before
    assert read_plan(new, studio).end >= read_plan(plan, studio).end
    assert run(["audit", str(folder), str(new)]) == 0


def test_a_load_that_changes_kiln_and_day_is_told_with_both(formats: Formats) -> None:
    before, after = Whereabouts("K2", "F1", 29_766_240), Whereabouts("K1", "F2", 29_767_680)
    told = change_text(Change("B1", "Ada", before, after, None), formats)
    assert re.search(r"now \w+ \d+ Aug \S+ in kiln K1 instead of \w+ \d+ Aug \S+ in K2\.$", told), told
    same = change_text(Change("B1", "Ada", before, replace(before, kiln="K1"), None), formats)
    assert same.endswith("kiln K1 instead of K2.")
    late = change_text(Change("B1", "Ada", before, after, before.out_at - 60), formats)
    by = formats.spelt_duration(after.out_at - before.out_at + 60)
    assert late.endswith(f"That is {by} later than promised. It was late before, and is later now: tell them.")


def test_of_many_names_a_refusal_lists_some_and_counts_the_rest(folder: Path, plan: Path) -> None:
    studio, loads = read_folder(folder)
    asked = SaidEvents(cancel=["ZZ"])
    many = [loads[0].model_copy(update={"id": f"X{number}"}) for number in range(33)]
    with pytest.raises(FolderError, match=r"X28, X29 and 3 more$"):
        events_asked_for(asked, studio, many, read_plan(plan, studio), 29_766_240)


def test_without_write_the_folder_stays_as_it_is_and_that_is_said(folder: Path, plan: Path, capsys: Captured) -> None:
    before = read_folder(folder)
    assert replan(folder, plan, "--absent", "2026-12-02") == 0
    assert "--write puts what has happened" in capsys.readouterr().err
    assert read_folder(folder) == before


def test_loads_come_and_go(folder: Path, plan: Path, more: Path, capsys: Captured) -> None:
    assert replan(folder, plan, "--add", str(more), "--cancel", "G1", "--write") == 0
    printed = capsys.readouterr().out
    assert "  Newcomer\n    N1, not promised: new, out " in printed
    assert "G1" not in printed
    names = {load.id for load in read_folder(folder)[1]}
    assert "N1" in names
    assert "G1" not in names


def test_nothing_happened_changes_nothing(folder: Path, plan: Path, capsys: Captured) -> None:
    assert replan(folder, plan) == 0
    printed = capsys.readouterr().out
    assert "No load changes its kiln or its day." in printed
    assert "Nothing breaks" in printed


def test_an_interrupted_firing_is_asked_about_and_the_answer_is_taken(
    folder: Path, plan: Path, capsys: Captured
) -> None:
    studio, _ = read_folder(folder)
    firing = next(f for f in read_plan(plan, studio).firings if f.profile == "burnout")
    middle = iso_text((firing.start_at + firing.target_at) // 2, studio.place.zone)
    command = ["replan", str(folder), "--plan", str(plan), "--now", middle, "--work", "3", "--down", "K3"]
    assert run(command) == 0
    printed = " ".join(capsys.readouterr().out.split())
    assert f"--outcome {firing.id}=refire" in printed
    assert "Counted as lost: C1." in printed
    assert run([*command, "--outcome", f"{firing.id}=refire"]) == 0
    assert "Counted as lost" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--down", "K9"], "--down K9: there is no such kiln; there are K1, K2, K3, K4"),
        (["--down", "K1:yesterday"], "--down K1:yesterday: 'yesterday' is no time"),
        (["--down", "K1:2020-01-01"], "is over already"),
        (["--circuit-down", "attic"], "there is no such circuit; there are main, bench"),
        (["--late", "F1"], "gives no hours; write it as F7:2.5"),
        (["--late", "F1:-2"], "gives no hours"),
        (["--late", "F99:2"], "there is no such firing"),
        (["--cancel", "ZZ"], "there is no such waiting load"),
        (["--absent", "tomorrow"], "is no day"),
        (["--absent", "2026-02-30"], "is no day"),
        (["--absent", "2026-12-01T03:00"], "names no shift; shifts begin at 09:00, 18:00"),
        (["--outcome", "F1=melted"], "gives no outcome; write it as F7=refire"),
        (["--add", "nowhere.csv"], "nowhere.csv: is not there"),
    ],
)
def test_an_option_that_means_nothing_is_one_line_with_what_would_be_right(
    folder: Path, plan: Path, capsys: Captured, options: list[str], told: str
) -> None:
    assert replan(folder, plan, *options) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert told in line


def test_every_fault_of_the_options_is_told_at_once(folder: Path, plan: Path, capsys: Captured) -> None:
    assert replan(folder, plan, "--down", "K9", "--cancel", "ZZ", "--late", "x") == 2
    assert len(capsys.readouterr().err.splitlines()) == 3


def test_an_added_load_is_checked_like_those_that_wait(folder: Path, plan: Path, more: Path, capsys: Captured) -> None:
    more.write_text(MORE.replace("N1", "B1").replace("bisque-04", "bisque-40"), encoding="utf-8")
    assert replan(folder, plan, "--add", str(more)) == 2
    assert '"B1" is the id of another load' in capsys.readouterr().err
    more.write_text(MORE.replace("bisque-04", "bisque-40"), encoding="utf-8")
    assert replan(folder, plan, "--add", str(more)) == 2
    assert 'more.csv, N1, profile: there is no profile "bisque-40"' in capsys.readouterr().err


def test_a_promise_names_time_kiln_and_company(folder: Path, plan: Path, more: Path, capsys: Captured) -> None:
    assert run(["promise", str(folder), str(plan), str(more), *NOW]) == 0
    printed = capsys.readouterr().out
    assert printed.startswith("N1 can be out ")
    assert "every promise made is" in printed


def test_why_tells_the_rule_and_what_would_mend_it(folder: Path, plan: Path, capsys: Captured) -> None:
    """G1 waits for the test kiln, which is out of use; B2 is promised sooner than the kiln can do it."""
    late = {row["load"] for row in json.loads(plan.read_text(encoding="utf-8"))["late"]}
    assert "B2" in late
    assert run(["why", str(folder), str(plan), "B2", "--work", "5"]) == 0
    printed = capsys.readouterr().out
    assert "What binds: " in printed
    assert not re.search(r"\b[a-z]+_[a-z]+\b", printed)  # rules are named in words
    assert "promised for " in printed
    assert run(["why", str(folder), str(plan), "F1"]) == 2
    assert "breaks no promise" in capsys.readouterr().err


@pytest.mark.parametrize("asked", [["why", "B2", "--work", "0"], ["chances", "--samples", "100"]])
def test_a_question_about_a_plan_takes_now_and_says_that_it_is_asked_of_the_plan_as_made(
    folder: Path, plan: Path, capsys: Captured, asked: list[str]
) -> None:
    name, *rest = asked
    assert run([name, str(folder), str(plan), *rest, *NOW]) == 0
    before = capsys.readouterr()
    assert "as it was made" not in before.err
    assert run([name, str(folder), str(plan), *rest, *LATER]) == 0
    after = capsys.readouterr()
    assert "asked of the plan as it was made, from Mon 30 Nov 00:00: what has happened until Mon 30 Nov 12" in after.err
    assert after.out == before.out


def test_a_re_plan_writes_pdf_only_with_sheets(folder: Path, plan: Path, capsys: Captured) -> None:
    assert replan(folder, plan, "--down", "K1:2026-12-02T09:00", "--pdf") == 2
    assert "--sheets" in capsys.readouterr().err


def test_whatif_sets_the_studio_and_the_changed_one_side_by_side(
    folder: Path, tmp_path: Path, capsys: Captured
) -> None:
    (tmp_path / "cheap.toml").write_text("[tariff]\ndefault = 0.1\n", encoding="utf-8")
    command = ["whatif", str(folder), str(tmp_path / "cheap.toml"), *NOW, "--work", "3", "--seeds", "2"]
    assert run(command) == 0
    printed = capsys.readouterr().out
    assert printed.splitlines()[1] == "Planned Sun 29 Nov 18:00 for Mon 30 Nov 00:00 to Sun 6 Dec 00:00."
    assert "cheap" in printed.splitlines()[2]
    assert "cheap is better than the studio as it is by " in " ".join(printed.split())


def test_chances_name_each_promise_and_session(folder: Path, plan: Path, capsys: Captured) -> None:
    assert run(["chances", str(folder), str(plan), "--samples", "500"]) == 0
    printed = capsys.readouterr().out
    assert re.search(r"\n  B2 \S.* {2,}\w{3} \d+ Dec \d\d:\d\d +<1%   \w{3} ", printed)
    assert re.search(r"\n  F\d+ in K3 +\w{3} \d+ Dec \d\d:\d\d +>?\d+%\n", printed)
    assert run(["chances", str(folder), str(plan), "--samples", "500"]) == 0
    assert capsys.readouterr().out == printed


def chance(load: str, kept: float) -> LoadChance:
    """How sure a load's promise for an hour after 1970 is."""
    return LoadChance(load=load, firing="F1", promised=60, kept=kept, early=10, middle=30, late=90)


def chances_of(folder: Path, kept: dict[str, float], everything: bool = False) -> list[str]:
    """The lines printed of some loads' chances."""
    studio, loads = read_folder(folder)
    found = Chances(tuple(chance(*row) for row in kept.items()), (), (), 1000)
    text = chances_text(found, {load.id: load for load in loads}, Formats(studio, read_words()), everything)
    assert max(len(line) for line in text.splitlines()) <= 100
    return text.splitlines()


def test_chances_list_doubtful_promises_first_and_count_the_sure_ones(folder: Path) -> None:
    kept = {"B1": 0.95, "B2": 0.2, "C1": 0.0, "F1": 0.8951, "G1": 0.8949}
    lines = chances_of(folder, kept)
    assert [line.split()[0] for line in lines[2:5]] == ["C1", "B2", "G1"]
    assert lines[5] == "  2 more promises are kept in at least 90% of cases; --all lists them too."
    listed = chances_of(folder, kept, everything=True)
    assert [line.split()[0] for line in listed[2:7]] == ["C1", "B2", "G1", "F1", "B1"]
    assert not any("--all" in line for line in listed)


def test_where_every_promise_is_sure_one_line_says_so(folder: Path) -> None:
    lines = chances_of(folder, {"B1": 0.999, "B2": 1.0})
    assert lines[1] == "  All 2 promises are kept in at least 90% of cases; --all lists them."


def test_no_chance_is_printed_as_sure_or_impossible() -> None:
    assert [percent(chance) for chance in (0.0, 0.0099, 0.01, 0.5, 0.99, 0.9901, 1.0)] == [
        "<1%", "<1%", "1%", "50%", "99%", ">99%", ">99%",
    ]  # fmt: skip


def places(file: Path, folder: Path) -> dict[str, tuple[object, ...]]:
    made = read_plan(file, read_folder(folder)[0])
    return {f.id: (f.kiln, f.load_at, f.start_at, f.unload_at, f.loads) for f in made.firings}


def test_a_firing_that_is_held_by_name_or_mark_stays_in_a_re_plan_and_in_a_new_plan(
    folder: Path, plan: Path, tmp_path: Path, capsys: Captured
) -> None:
    first, second, third = (tmp_path / f"{name}.json" for name in "abc")
    last = max(places(plan, folder).items(), key=lambda item: item[1][1:3])[0]  # type: ignore[arg-type, return-value]
    assert replan(folder, plan, "--hold", last, "--out", str(first)) == 0
    assert [f["id"] for f in json.loads(first.read_text())["firings"] if f.get("held")] == [last]
    assert replan(folder, first, "--out", str(second)) == 0  # the mark alone holds it now
    assert places(second, folder)[last] == places(plan, folder)[last]
    assert [f["id"] for f in json.loads(second.read_text())["firings"] if f.get("held")] == [last]
    anew = ["plan", str(folder), *NOW, "--work", "10", "--hold", str(second), "--out", str(third)]
    assert run(anew) == 0
    assert places(third, folder)[last] == places(plan, folder)[last]
    assert "fixed and cannot stay" not in capsys.readouterr().out


def test_a_hold_that_its_kilns_failure_ends_is_told(folder: Path, plan: Path, tmp_path: Path, capsys: Captured) -> None:
    new = tmp_path / "new.json"
    firings = places(plan, folder)
    last = max(firings, key=lambda name: firings[name][1:3])  # type: ignore[arg-type, return-value]
    assert replan(folder, plan, "--hold", last, "--down", str(firings[last][0]), "--out", str(new)) == 0
    printed = capsys.readouterr().out
    assert "Firings that were fixed and cannot stay as they were" in printed
    assert f"{last} in {firings[last][0]} from" in " ".join(printed.split())
    (note,) = json.loads(new.read_text())["hold_notes"]
    assert (note["firing"], note["rule"]) == (last, "outages")


def test_a_firing_that_is_not_there_cannot_be_held(folder: Path, plan: Path, capsys: Captured) -> None:
    assert replan(folder, plan, "--hold", "F99") == 2
    assert "there is no firing F99" in capsys.readouterr().err


def test_any_day_of_a_plan_in_hand_is_shown_and_printed_and_nothing_is_planned(
    folder: Path, plan: Path, tmp_path: Path, capsys: Captured
) -> None:
    before = plan.read_bytes()
    sheets = tmp_path / "tuesday"
    assert run(["show", str(folder), str(plan), "--day", "2026-12-01", "--sheets", str(sheets), *NOW]) == 0
    printed = capsys.readouterr().out
    assert printed.startswith("Tuesday 1 December 2026")
    assert len(list(sheets.glob("*.html"))) == 5
    assert "Tuesday 1 December 2026" in (sheets / "kiln-K3.html").read_text(encoding="utf-8")
    assert plan.read_bytes() == before
    assert run(["show", str(folder), str(plan), "--day", "2026-12-01", "--kiln", "K3", *NOW]) == 0
    assert "K1 Front loader" not in capsys.readouterr().out


@pytest.mark.parametrize(
    ("now", "shown"),
    [
        ("2026-11-29T18:00", "Monday 30 Nov"),
        ("2026-12-02T08:00", "Wednesday 2 Dec"),
        ("2027-03-01T08:00", "Monday 30 N"),
    ],
)
def test_without_a_day_today_is_shown_or_the_plans_first(
    folder: Path, plan: Path, capsys: Captured, now: str, shown: str
) -> None:
    assert run(["show", str(folder), str(plan), "--now", now]) == 0
    assert capsys.readouterr().out.startswith(shown)


@pytest.mark.parametrize(
    ("day", "words"),
    [("2026-11-29", "it reaches from 2026-11-30 to"), ("2027-01-01", "it reaches from"), ("soon", "is not a day")],
)
def test_a_day_that_the_plan_does_not_reach_is_refused(
    folder: Path, plan: Path, capsys: Captured, day: str, words: str
) -> None:
    assert run(["show", str(folder), str(plan), "--day", day, *NOW]) == 2
    assert words in capsys.readouterr().err


def test_a_plan_that_breaks_a_rule_is_not_shown(folder: Path, plan: Path, tmp_path: Path, capsys: Captured) -> None:
    broken = json.loads(plan.read_text(encoding="utf-8"))
    broken["firings"][0]["amps"] = 1.0
    (tmp_path / "broken.json").write_text(json.dumps(broken), encoding="utf-8")
    assert run(["show", str(folder), str(tmp_path / "broken.json"), *NOW]) == 3
    assert capsys.readouterr().out == ""
