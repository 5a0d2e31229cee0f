"""The steps of a firing as the day's page says them: when, what, by whom, what is done, and what can be noted now."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from api.day import Day, FiringOnDay, KilnDay, Task, tasks_of
from api.expected import UNDER_WAY, Expected, expected_of_kiln, tasks_expected
from api.formats import Formats
from api.people import names_text
from api.sheets.overview import TaskRow, task_row
from api.storage.tables import FiringRecord
from shared.clock import Minute, minute_of

SOON_MINUTES = 60
"""How long before its time the button of a step stands out [min]; our own choice: earlier than that it would only hide
the buttons that are due."""

LATE_NOTE_MINUTES = 30
"""How long after its time a step's button asks when it was [min]; our own choice, as long as the service waits before
it tells of a loading that nobody noted. A kiln that was started yesterday and noted as started now would be taken for
younger, and one noted as loaded now for cold."""

NOTED_BY = {"load": "loaded", "start": "started", "open": "opened", "session": "opened"}
"""What is noted in the record when a step is done; that somebody looked is not."""

TAP_TEXTS = {"loaded": "step.tap_load", "started": "step.tap_start", "opened": "step.tap_open"}


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a firing on its card, expected to be over at ``ends`` [min].

    ``brief`` says it in one line; ``tap`` is what a button would note, empty where there is none; ``due`` says that the
    button's time has come, and ``late`` that it is past, so that a note has to say when it was. ``planned_at`` [min] is
    when the step was to be done by the plan, ``planned`` the same in words.
    """

    ends: Minute
    clock: str
    brief: str
    text: str
    remark: str
    done: str
    tap: str
    tap_text: str
    due: bool
    late: bool
    planned_at: Minute
    planned: str


@dataclass(frozen=True, slots=True)
class FiringCard:
    """One firing on its kiln's card.

    ``coming`` says its next step in one line; ``calls`` that it has a button, so that it is never folded away.
    """

    id: str
    profile: str
    loads: str
    version: int
    steps: tuple[Step, ...]
    note: str
    held: bool
    coming: str
    calls: bool


@dataclass(frozen=True, slots=True)
class KilnNow:
    """A kiln's day by what is known of it: its firings with what is now expected of each."""

    kiln_day: KilnDay
    firings: tuple[tuple[FiringOnDay, Expected], ...]


@dataclass(frozen=True, slots=True)
class DayRow:
    """One thing to do, as now expected; ``planned`` says when it was to be if that changed, ``done`` when it was."""

    task: Task
    row: TaskRow
    planned: str
    done: str

    @property
    def firing(self) -> str:
        """The firing's id."""
        return self.task.firing.firing.id


def kilns_now(day: Day, kept: Mapping[str, FiringRecord], now: Minute) -> tuple[KilnNow, ...]:
    """Every kiln with its firings of the day; one that should be over before the day and is not comes first."""
    found = []
    for kiln_day in day.kilns:
        expected = expected_of_kiln(day, kiln_day.kiln, kept, now)
        there = {shown.firing.id for shown in kiln_day.firings}
        held_up = [
            day.shown(firing)
            for firing in day.audited.firings_of(kiln_day.kiln.id)
            if firing.id not in there
            and is_under_way(kept.get(firing.id))
            and firing.load_at < day.end
            and max(expected[firing.id].free_at, min(now, day.end)) > day.begin
        ]
        shown = (*held_up, *kiln_day.firings)
        found.append(KilnNow(kiln_day, tuple((one, expected[one.firing.id]) for one in shown)))
    return tuple(found)


def day_rows(
    day: Day, kilns: tuple[KilnNow, ...], kept: Mapping[str, FiringRecord], formats: Formats
) -> tuple[DayRow, ...]:
    """What is to be done on the day, in the order in which it is now expected, a row for each task."""
    rows = []
    for kiln in kilns:
        for shown, expected in kiln.firings:
            row = kept.get(shown.firing.id)
            for planned, task in zip(tasks_of(shown), tasks_expected(day, shown, expected), strict=True):
                if day.begin <= task.at < day.end:
                    moved = formats.clock(planned.at, day.date) if planned.at != task.at else ""
                    done = noted_at(row, task.kind)
                    done_text = "" if done is None else formats.clock(done, day.date)
                    rows.append(DayRow(task, task_row(task, day, formats), moved, done_text))
    return tuple(sorted(rows, key=lambda one: (one.task.at, one.task.firing.kiln.id, one.task.until)))


def rows_in_order(rows: tuple[DayRow, ...]) -> tuple[DayRow, ...]:
    """The same for reading from top to bottom: a kiln that is started as soon as it is loaded has one row for both.

    Once it is loaded and not started, the start has a row of its own again: it is what is left to do.
    """
    loading = {one.firing: one for one in rows if one.task.kind == "load"}
    return tuple(
        one
        for one in rows
        if not (
            one.task.kind == "start"
            and one.task.firing.firing.start_at == one.task.firing.loaded_at
            and one.firing in loading
            and bool(loading[one.firing].done) == bool(one.done)
        )
    )


def next_row(rows: tuple[DayRow, ...], now: Minute) -> DayRow | None:
    """The first thing that is still to come."""
    return next((one for one in rows if one.task.at >= now and not one.done), None)


def overdue(rows: tuple[DayRow, ...], kept: Mapping[str, FiringRecord], now: Minute) -> tuple[DayRow, ...]:
    """Loadings, starts and openings that should be done by now, and that nobody has noted."""
    found = []
    for one in rows:
        record, kind = kept.get(one.firing), one.task.kind
        # A start or an opening is not asked about before what comes first is noted.
        asked = kind == "load" or (kind == "start" and record is not None)
        asked = asked or (kind in ("open", "session") and record is not None and record.started_at is not None)
        if asked and not one.done and one.task.until < now:
            found.append(one)
    return tuple(found)


def noted_at(kept: FiringRecord | None, kind: str) -> Minute | None:
    """When a step was done, if that was noted."""
    if kept is None or kind not in NOTED_BY:
        return None
    moment = {"loaded": kept.loaded_at, "started": kept.started_at, "opened": kept.opened_at}[NOTED_BY[kind]]
    return None if moment is None else minute_of(moment)


def is_under_way(kept: FiringRecord | None) -> bool:
    """Whether somebody noted that it is in the kiln, and nobody that it is out again."""
    return kept is not None and kept.state in UNDER_WAY


def may_open(expected: Expected, now: Minute) -> bool:
    """Whether a firing may be opened by now, by what was noted and read of it or else by the plan.

    A button that invites to open a kiln earlier would be a danger; the firing's own page takes the note at any time.
    """
    return now >= expected.safe_at


def firing_card(
    day: Day,
    shown: FiringOnDay,
    expected: Expected,
    formats: Formats,
    kept: FiringRecord | None,
    taps_at: Minute | None,
    held: bool,
    only: Collection[str] | None = None,
) -> FiringCard:
    """One firing's steps, with a button on the first that is not noted where ``taps_at`` [min] says what time it is.

    ``only`` loads are named, where not everybody's are the reader's to see.
    """
    words = formats.words
    steps = []
    offered = False
    for planned, task in zip(tasks_of(shown), tasks_expected(day, shown, expected), strict=True):
        done = noted_at(kept, task.kind)
        tap = ""
        if taps_at is not None and not offered and task.kind in NOTED_BY and done is None:
            offered = True
            opens = NOTED_BY[task.kind] == "opened"
            tap = NOTED_BY[task.kind] if not opens or may_open(expected, taps_at) else ""
        begin = formats.clock(task.at, day.date)
        text = _step_text(task, formats)
        remark = _step_remark(day, task, formats)
        if planned.at != task.at:
            remark += ", " + words("step.planned", at=formats.clock(planned.at, day.date))
        steps.append(
            Step(
                ends=task.until,
                clock=begin if task.until <= task.at else formats.stretch(task.at, task.until, day.date),
                brief=f"{begin} {words('step.look_brief') if task.kind == 'look' and task.people else text}",
                text=text,
                remark=remark,
                done="" if done is None else words("step.done", at=formats.clock(done, day.date)),
                tap=tap,
                tap_text=words(TAP_TEXTS[tap], kiln=shown.kiln.id) if tap else "",
                due=taps_at is not None and task.at - taps_at <= SOON_MINUTES,
                late=bool(tap) and taps_at is not None and taps_at > planned.until + LATE_NOTE_MINUTES,
                planned_at=planned.until if task.kind == "load" else planned.at,
                planned=formats.clock(planned.until if task.kind == "load" else planned.at, day.date),
            )
        )
    return FiringCard(
        id=shown.firing.id,
        profile=shown.profile.title,
        loads=", ".join(f"{load.id} {load.owner}".strip() for load in shown.loads if only is None or load.id in only),
        version=0 if kept is None else kept.version,
        steps=tuple(steps),
        note="" if kept is None else kept.note or "",
        held=held,
        coming=next((step.brief for step in steps if not step.done), words("step.all_done")),
        calls=any(step.tap for step in steps),
    )


def _step_text(task: Task, formats: Formats) -> str:
    words, shown = formats.words, task.firing
    if task.kind == "open":
        # The limit belongs to the step, not to its remark: it keeps hands and ware whole.
        return words("step.open", temperature=formats.temperature(shown.open_below_c, shown.unit))
    if task.kind == "look":
        return words("step.look" if task.people else "step.look_unseen")
    keys = {"clean": "step.clean", "load": "step.load", "start": "step.start", "session": "step.session"}
    return words(keys[task.kind])


def _step_remark(day: Day, task: Task, formats: Formats) -> str:
    if task.kind == "start":
        return formats.words("sheet.by_hand" if day.people_at(task.at, task.at) else "sheet.on_timer")
    return names_text(task.people, formats, task.takes)
