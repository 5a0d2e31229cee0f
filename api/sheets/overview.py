"""What the one-page overview of a day says, in words, ready for the template."""

from __future__ import annotations

from dataclasses import dataclass

from api.day import CircuitLoad, Day, Task
from api.formats import Formats
from api.people import names_text
from api.words import rule_name


@dataclass(frozen=True, slots=True)
class TaskRow:
    """One thing to do at a kiln."""

    time: str
    kiln: str
    what: str
    who: str


@dataclass(frozen=True, slots=True)
class CircuitRow:
    """One circuit: its limit, and the highest current of each leg of the supply, empty where it has none."""

    name: str
    limit: str
    legs: tuple[str, ...]


def task_rows(day: Day, formats: Formats) -> tuple[TaskRow, ...]:
    """The day in order of time. A kiln that is started as soon as it is loaded has one row for both."""
    return tuple(
        _task_row(task, day, formats)
        for task in day.tasks
        if not (task.kind == "start" and _at_once(task) and day.begin <= task.firing.firing.load_at)
    )


def all_task_rows(day: Day, formats: Formats) -> tuple[TaskRow, ...]:
    """A row for each task of the day."""
    return tuple(_task_row(task, day, formats) for task in day.tasks)


def _at_once(task: Task) -> bool:
    return task.firing.firing.start_at == task.firing.loaded_at


def circuit_rows(day: Day, formats: Formats, legs: tuple[str, ...]) -> tuple[CircuitRow, ...]:
    """The circuits that carry anything on the day, with their highest load."""
    words = formats.words
    return tuple(
        CircuitRow(
            load.circuit.id,
            words("overview.amps", amps=load.circuit.usable_amps),
            tuple(_leg_text(load, leg, day, formats) for leg in legs),
        )
        for load in day.circuits
        if any(leg.at is not None for leg in load.legs)
    )


def late_texts(day: Day, formats: Formats) -> list[str]:
    """The loads of the whole plan that are late or have no place, in short."""
    words = formats.words
    texts = [
        words(
            "overview.late_row",
            load=f"{late.load} {day.load(late.load).owner}".strip(),
            out=formats.clock(late.out_at),
            hours=late.hours,
        )
        for late in day.late
    ]
    texts += [
        words("overview.unplaced_row", load=f"{one.load} {day.load(one.load).owner}".strip(), rule=rule_name(one.rule))
        for one in day.unplaced
    ]
    if not day.late:
        texts.append(words("plan.none_late"))
    if not day.unplaced:
        texts.append(words("plan.all_placed", n=len(day.audited.loads)))
    return texts


def _leg_text(load: CircuitLoad, name: str, day: Day, formats: Formats) -> str:
    for leg in load.legs:
        if leg.leg == name:
            if leg.at is None:
                return formats.words("overview.amps", amps=0.0)
            return formats.words("overview.amps_at", amps=leg.amps, at=formats.clock(leg.at, day.date))
    return ""


def _task_row(task: Task, day: Day, formats: Formats) -> TaskRow:
    words, shown = formats.words, task.firing
    firing = shown.firing
    loads = ", ".join(f"{load.id} {load.owner}".strip() for load in shown.loads)
    texts = {
        "load": words(
            "overview.task_load_start" if _at_once(task) else "overview.task_load",
            firing=firing.id,
            profile=shown.profile.title,
            loads=loads,
        ),
        "clean": words("overview.task_clean", firing=firing.id, profile=shown.profile.title),
        "start": words("overview.task_start", firing=firing.id, profile=shown.profile.title),
        "open": words(
            "overview.task_open",
            firing=firing.id,
            temperature=formats.temperature(shown.open_below_c, shown.unit),
            loads=loads,
        ),
        "session": words(
            "overview.task_session",
            session=shown.profile.session or words("firing.session_plain"),
            firing=firing.id,
            loads=loads,
        ),
        "look": words("overview.task_look" if task.people else "overview.task_look_unseen", firing=firing.id),
    }
    alone = any(span.begin <= task.at < span.end for span in shown.heats_alone)
    if task.kind == "start":
        who = words("sheet.on_timer" if alone else "sheet.by_hand")
    else:
        who = names_text(task.people, formats)
    time = formats.clock(task.at, day.date)
    if task.until > task.at:
        time = formats.stretch(task.at, task.until, day.date)
    return TaskRow(time, shown.kiln.id, texts[task.kind], who)
