"""What is now expected of firings: from what was noted of them, and of those before them in the same kiln."""

from __future__ import annotations

from datetime import date

import pytest

from api.day import Day, Task, tasks_of
from api.expected import Expected, expected_of_kiln, tasks_expected
from api.formats import Formats
from api.printing.plan_text import next_text
from api.storage.tables import FiringRecord
from api.words import read_words
from scheduler.audit import AuditedPlan, prove
from shared.clock import Minute, local_time
from shared.files import read_folder
from shared.plans import Firing
from tests.api.placed_plan import at, place, whole_plan
from tests.api.small_studio import LOADS, write_small_studio

WEDNESDAY = date(2026, 12, 2)
LATER = "F9,Rui,production,fuse,6,1500,12,4,,art glass,,,2026-12-04T17:00,,,\n"


@pytest.fixture(scope="module")
def audited(tmp_path_factory: pytest.TempPathFactory) -> AuditedPlan:
    """Two firings of glass in K2: started on Monday at 10:00 and opened on Tuesday, then loaded on Tuesday at 15:00."""
    folder = write_small_studio(tmp_path_factory.mktemp("studio"), loads=LOADS + LATER)
    studio, loads = read_folder(folder)
    loads = tuple(load for load in loads if load.id in ("F1", "F9"))

    def fired(name: str, load: str, *times: str) -> Firing:
        load_at, start_at, unload_at = (at(studio, *text.split(" ")) for text in times)
        return place(studio, loads, name, "K2", [[load]], load_at, start_at, unload_at)

    firings = [
        fired("F1", "F1", "2026-11-30 9:30", "2026-11-30 10:00", "2026-12-01 10:00"),
        fired("F2", "F9", "2026-12-01 15:00", "2026-12-01 15:30", "2026-12-02 15:00"),
    ]
    begin = at(studio, "2026-11-30", "0:00")
    return prove(studio, loads, whole_plan(studio, loads, firings, [], begin - 360, begin))


def noted(audited: AuditedPlan, firing_id: str, state: str, late: Minute = 0, lost: Minute = 0) -> FiringRecord:
    """A record of a firing that was started ``late`` [min] and has ``lost`` more since [min]."""
    firing = next(one for one in audited.plan.firings if one.id == firing_id)
    utc = audited.studio.place.zone
    row = FiringRecord(firing_id=firing_id, kiln=firing.kiln, state=state, loaded_at=local_time(firing.load_at, utc))
    if state != "loaded":
        row.started_at = local_time(firing.start_at + late, utc)
        row.expected_hot_until = firing.hot_until + late + lost
        row.expected_safe_at = firing.safe_at + late + lost
    return row


def expected(audited: AuditedPlan, now: Minute, *records: FiringRecord) -> tuple[Expected, Expected]:
    """What is expected of both firings."""
    day = Day(audited, WEDNESDAY)
    found = expected_of_kiln(day, audited.studio.kiln_by_id["K2"], {one.firing_id: one for one in records}, now)
    return found["F1"], found["F2"]


def test_where_nothing_is_noted_everything_is_expected_as_planned(audited: AuditedPlan) -> None:
    for one, firing in zip(expected(audited, audited.plan.end), audited.plan.firings, strict=True):
        assert (one.load_at, one.start_at, one.hot_until) == (firing.load_at, firing.start_at, firing.hot_until)
        assert (one.safe_at, one.unload_at, one.free_at) == (firing.safe_at, firing.unload_at, firing.free_at)


def test_what_started_late_ends_later_and_is_opened_as_planned_if_it_is_safe_by_then(audited: AuditedPlan) -> None:
    firing = audited.plan.firings[0]
    late = firing.unload_at - firing.safe_at - 10
    assert late > 0
    first, second = expected(audited, firing.start_at + late, noted(audited, "F1", "started", late))
    assert first.hot_until == firing.hot_until + late
    assert first.unload_at == firing.unload_at
    assert second.load_at == audited.plan.firings[1].load_at


def test_what_is_not_safe_in_time_is_opened_when_somebody_is_there_and_the_next_load_waits(
    audited: AuditedPlan,
) -> None:
    """Safe at 23:00 on Tuesday, when nobody is there: opened on Wednesday at 09:00, and only then loaded again."""
    firing, after = audited.plan.firings
    night = at(audited.studio, "2026-12-01", "23:00")
    morning = at(audited.studio, "2026-12-02", "9:00")
    record = noted(audited, "F1", "started", 60, night - firing.safe_at - 60)
    first, second = expected(audited, firing.start_at + 600, record)
    assert (first.safe_at, first.unload_at) == (night, morning)
    assert first.out_at == morning + firing.unload_minutes
    assert second.load_at == first.free_at >= first.out_at
    assert second.start_at - second.load_at >= after.start_at - after.load_at
    assert second.hot_until - after.hot_until == second.start_at - after.start_at


def test_what_is_loaded_and_does_not_start_falls_behind_by_the_clock(audited: AuditedPlan) -> None:
    firing = audited.plan.firings[0]
    first, _ = expected(audited, firing.start_at + 45, noted(audited, "F1", "loaded"))
    assert first.start_at == firing.start_at
    assert first.hot_until == firing.hot_until + 45


def test_what_was_opened_late_leaves_its_kiln_later(audited: AuditedPlan) -> None:
    firing = audited.plan.firings[0]
    record = noted(audited, "F1", "opened")
    record.opened_at = local_time(firing.unload_at + 90, audited.studio.place.zone)
    first, _ = expected(audited, firing.unload_at + 100, record)
    assert first.unload_at == firing.unload_at
    assert first.free_at == firing.free_at + 90


def test_a_moved_task_is_for_whoever_is_there_then_and_a_few_minutes_are_no_move(audited: AuditedPlan) -> None:
    firing = audited.plan.firings[0]
    day = Day(audited, WEDNESDAY)
    shown = day.shown(firing)
    planned = {task.kind: task for task in tasks_of(shown)}
    assert [task.kind for task in tasks_of(shown)] == ["load", "start", "look", "open"]

    def tasks(late: Minute) -> dict[str, Task]:
        first, _ = expected(audited, firing.start_at + late, noted(audited, "F1", "started", late))
        return {task.kind: task for task in tasks_expected(day, shown, first)}

    assert tasks(4) == planned
    assert planned["look"].people
    late = at(audited.studio, "2026-11-30", "23:00") - firing.hot_until
    moved = tasks(late)["look"]
    assert (moved.at, moved.people) == (firing.hot_until + late, ())


def test_the_next_loading_says_after_which_of_the_days_firings_it_is(audited: AuditedPlan) -> None:
    """K2 is loaded on Monday and again on Tuesday: on Monday that is after F1; on Sunday it is simply the next."""
    formats = Formats(audited.studio, read_words("en"))
    for day, said in (
        (date(2026, 11, 29), "next loaded Mon 30 Nov 09:30"),
        (date(2026, 11, 30), "after F1 loaded again Tue 1 Dec 15:00"),
        (date(2026, 12, 1), "no further firing in the plan"),
    ):
        view = Day(audited, day)
        kiln_day = next(one for one in view.kilns if one.kiln.id == "K2")
        assert next_text(view, kiln_day, formats) == said
