"""How the overview keeps to its one page: names are shortened on it, as little as need be, where they are long."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from textwrap import wrap
from typing import Protocol

from shared.calendar import OnDuty

TASK_LETTERS, WHO_LETTERS, DUTY_LETTERS = 53, 36, 95
"""Letters on one line of a task, of who is there for it, and of who is there on the day."""

NAME_LETTERS = (None, 40, 32, 24, 20, 16, 12)
"""Letters that are left of a name, the first that has room; None: all. Kiln sheets have every name whole."""

MOST_LINES = 36
"""Lines of tasks, circuits and duties that fit, with the least list of late loads, on Letter and so on A4."""

CIRCUIT_LETTERS = 24
"""Letters on one line of a circuit's name, which is never shortened: it is what is switched off."""


class Row(Protocol):
    """A row of the overview's tasks."""

    @property
    def what(self) -> str: ...

    @property
    def who(self) -> str: ...


def shortened(name: str, letters: int | None) -> str:
    """A name with no more than so many letters.

    >>> shortened("Tuesday beginners", 9), shortened("Tue", 9), shortened("Tuesday beginners", None)
    ('Tuesday…', 'Tue', 'Tuesday beginners')
    """
    if letters is None or len(name) <= letters:
        return name
    return name[: letters - 1].rstrip(" ,;-") + "…"


def shortened_people(duties: Sequence[OnDuty], letters: int | None) -> list[OnDuty]:
    """People on duty under shortened names, which may fill a line together."""
    most = None if letters is None else max(letters, WHO_LETTERS // max(1, len(duties)) - 2)
    return [_shortened(duty, most) for duty in duties]


def _shortened(duty: OnDuty, letters: int | None) -> OnDuty:
    if not duty.shift.who:
        return duty
    return replace(duty, shift=duty.shift.model_copy(update={"who": shortened(duty.shift.who, letters)}))


def lines_taken(tasks: Sequence[Row], circuits: Sequence[str], duties: Sequence[str] = ()) -> int:
    """About how many lines the overview's two tables have, and its line of duties beyond one."""
    rows = sum(max(_lines(task.what, TASK_LETTERS), _lines(task.who, WHO_LETTERS)) for task in tasks)
    names = sum(_lines(circuit, CIRCUIT_LETTERS) for circuit in circuits)
    return names + rows + _lines("; ".join(duties), DUTY_LETTERS) - 1


def _lines(text: str, letters: int) -> int:
    return max(1, len(wrap(text, letters)))
