"""What the one-page overview of a day says, in words, ready for the template."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from api.day import CircuitLoad, Day, Task
from api.formats import Formats
from api.people import names_text
from api.sheets.overview_room import MOST_LINES, NAME_LETTERS, lines_taken, shortened, shortened_people
from api.starting import start_shortly
from api.words import rule_name

MOST_LATE, LEAST_LATE = 12, 2
"""How many loads the overview names as late or without a place, on a day with little and with much to do."""

ROOMY_LINES = 20
"""Lines of tasks and circuits up to which the one page, Letter or A4, has room for the longer list."""

MOST_LOADS = 8
"""How many loads of one firing a task names; the kiln's sheet has them all."""

OWNER_LETTERS = 24
"""Letters of an owner's name in that list; the tasks and the kiln sheets have it whole."""


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


def fitting_rows(
    day: Day, formats: Formats, circuits: Sequence[CircuitRow], duties: Sequence[str]
) -> tuple[TaskRow, ...]:
    """The day's tasks beside its circuits and duties on one page, with names as long as there is room for.

    Where no length has room, names are as long as they can be on the fewest lines.
    """
    named = [circuit.name for circuit in circuits]
    fewest: tuple[int, tuple[TaskRow, ...]] | None = None
    for letters in NAME_LETTERS:
        rows = task_rows(day, formats, letters)
        lines = lines_taken(rows, named, duties)
        if fewest is None or lines < fewest[0]:
            fewest = lines, rows
        if lines <= MOST_LINES:
            break
    return fewest[1] if fewest else ()


def task_rows(day: Day, formats: Formats, letters: int | None = None) -> tuple[TaskRow, ...]:
    """The day in order of time. A kiln that is started as soon as it is loaded has one row for both.

    Names are shortened to ``letters``, where that is given.
    """
    return tuple(
        task_row(task, day, formats, letters)
        for task in day.tasks
        if not (task.kind == "start" and _at_once(task) and day.begin <= task.firing.firing.load_at)
    )


def all_task_rows(day: Day, formats: Formats) -> tuple[TaskRow, ...]:
    """A row for each task of the day."""
    return tuple(task_row(task, day, formats) for task in day.tasks)


def task_row(task: Task, day: Day, formats: Formats, letters: int | None = None) -> TaskRow:
    """One task in words, with its time and whoever is there for it; names have no more than ``letters``."""
    words, shown = formats.words, task.firing
    firing = shown.firing
    named = shown.loads if len(shown.loads) <= MOST_LOADS + 1 else shown.loads[:MOST_LOADS]
    loads = ", ".join(f"{load.id} {shortened(load.owner, letters)}".strip() for load in named)
    if len(named) < len(shown.loads):
        loads += words("overview.more_loads", n=len(shown.loads) - len(named))
    profile = shortened(shown.profile.title, letters)
    texts = {
        "load": words(
            "overview.task_load_start" if _at_once(task) else "overview.task_load",
            firing=firing.id,
            profile=profile,
            loads=loads,
        ),
        "clean": words("overview.task_clean", firing=firing.id, profile=profile),
        "start": words("overview.task_start", firing=firing.id, profile=profile),
        "open": words(
            "overview.task_open",
            firing=firing.id,
            temperature=formats.temperature(shown.open_below_c, shown.unit),
            loads=loads,
        ),
        "session": words(
            "overview.task_session",
            session=shortened(shown.profile.session or words("firing.session_plain"), letters),
            firing=firing.id,
            loads=loads,
        ),
        "look": words("overview.task_look" if task.people else "overview.task_look_unseen", firing=firing.id),
    }
    if task.kind == "start":
        who = start_shortly(shown, formats, day.date)
    else:
        who = names_text(shortened_people(task.people, letters), formats)
    time = formats.clock(task.at, day.date)
    if task.until > task.at:
        time = formats.stretch(task.at, task.until, day.date)
    return TaskRow(time, shown.kiln.id, texts[task.kind], who)


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


def late_texts(day: Day, formats: Formats, above: int = 0) -> list[str]:
    """The loads of the whole plan that are late or have no place, in short.

    The latest come first, as many as have room below ``above`` lines of tasks and circuits.
    """
    words = formats.words

    def named(load: str) -> str:
        owner = day.load(load).owner
        return f"{load} {shortened(owner, OWNER_LETTERS)}".strip()

    texts = [
        words(
            "overview.late_row",
            load=named(late.load),
            out=formats.clock(late.out_at),
            hours=late.hours,
        )
        for late in day.late
    ]
    texts += [words("overview.unplaced_row", load=named(one.load), rule=rule_name(one.rule)) for one in day.unplaced]
    room = max(LEAST_LATE, MOST_LATE - 2 * max(0, above - ROOMY_LINES))
    if len(texts) > room + 1:
        late, unplaced = _shown_of_each(len(day.late), len(day.unplaced), room)
        more = words("overview.more_late", n=len(texts) - room, page=words("nav.trouble"))
        texts = [*texts[:late], *texts[len(day.late) : len(day.late) + unplaced], more]
    if not day.late:
        texts.append(words("plan.none_late"))
    if not day.unplaced:
        texts.append(words("plan.all_placed", n=len(day.audited.loads)))
    return texts


def _shown_of_each(late: int, unplaced: int, room: int) -> tuple[int, int]:
    """How many late loads and how many without a place are named: half the room each, and what the other leaves."""
    half = room // 2
    shown = min(late, max(room - half, room - unplaced))
    return shown, room - shown


def _leg_text(load: CircuitLoad, name: str, day: Day, formats: Formats) -> str:
    for leg in load.legs:
        if leg.leg == name:
            if leg.at is None:
                return formats.words("overview.amps", amps=0.0)
            return formats.words("overview.amps_at", amps=leg.amps, at=formats.clock(leg.at, day.date))
    return ""
