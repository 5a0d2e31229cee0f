"""A what-if beside the studio as it is: both searched alike, with several seeds each, from the same moment."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from api.formats import Formats
from api.words import Words
from scheduler.planning.door import Progress
from shared.clock import iso_text
from shared.texts import packed

if TYPE_CHECKING:
    from api.solving import Solved, SolveTask

SEEDS = 3
"""How many searches each of the two is given [-]; their spread is the search's own uncertainty. House choice, the same
as in ``kilnrota whatif``."""

LEAST_DIFFERENCE = 0.005
"""Costs that are nearer to each other are written alike [currency]."""

COUNTS = ("late", "late_as_is", "unplaced", "unplaced_as_is")
"""How many loads are late and have no place, by search, with what is tried and without it."""

OF_A_REPLAN = ("do_nothing", "do_nothing_told", "happened", "happened_told", "cost_before", "cost_left", "brings")
"""What a re-plan notes that says nothing of a what-if."""


def compared(
    task: SolveTask,
    base: SolveTask,
    once: Callable[[SolveTask, Callable[[Progress], None]], Solved],
    progress: Callable[[Progress], None],
) -> Solved:
    """The cheapest plan of a what-if, with the costs of all its searches and of those for the studio as it is.

    Parameters
    ----------
    task, base
        What is tried, and the same without it. Each of their searches takes a third of the time of one solve.
    once
        Solves one of them.
    """
    began = time.monotonic()

    def tell(report: Progress) -> None:
        progress(replace(report, seconds=round(time.monotonic() - began, 3)))

    def searched(one: SolveTask) -> list[Solved]:
        seconds = None if one.settings.seconds is None else one.settings.seconds / SEEDS
        return [
            once(replace(one, settings=replace(one.settings, seed=one.settings.seed + n, seconds=seconds)), tell)
            for n in range(SEEDS)
        ]

    as_is, found = searched(base), searched(task)
    best = min(found, key=_cost)
    notes = {name: value for name, value in best.notes.items() if name not in OF_A_REPLAN}
    notes |= {
        "tried": [str(text) for text in task.tried],
        "tried_told": [packed(text) for text in task.tried],
        "costs": [_cost(solved) for solved in found],
        "costs_as_is": [_cost(solved) for solved in as_is],
        "late": [_late(solved) for solved in found],
        "late_as_is": [_late(solved) for solved in as_is],
        "unplaced": [_unplaced(solved) for solved in found],
        "unplaced_as_is": [_unplaced(solved) for solved in as_is],
        "begins": iso_text(task.begin, task.studio.place.zone),
        "begins_how": task.begins_how,
    }
    return replace(best, notes=notes)


def _cost(solved: Solved) -> float:
    return solved.audited.plan.proof.cost


def _late(solved: Solved) -> int:
    return len(solved.audited.plan.late)


def _unplaced(solved: Solved) -> int:
    return len(solved.audited.plan.unplaced)


def verdict_lines(notes: dict[str, Any], begin: str, formats: Formats) -> list[str]:
    """What a what-if costs beside the studio as it is, and how sure that is; ``begin`` says from when on.

    Last comes what it does for loads, where that was kept: an answer also where points do not differ.
    """
    words = formats.words
    (low, high), (low_as_is, high_as_is) = ((min(notes[k]), max(notes[k])) for k in ("costs", "costs_as_is"))
    lines = [
        words(
            "tried.compared",
            runs=len(notes["costs"]),
            begin=begin,
            low=formats.points(low),
            high=formats.points(high),
            low_as_is=formats.points(low_as_is),
            high_as_is=formats.points(high_as_is),
        )
    ]
    if high < low_as_is - LEAST_DIFFERENCE or high_as_is < low - LEAST_DIFFERENCE:
        key = "tried.cheaper" if high < low_as_is else "tried.dearer"
        least, most = sorted((abs(low_as_is - high), abs(high_as_is - low)))
        lines.append(words(key, low=formats.points(least), high=formats.points(most)))
    elif max(high, high_as_is) - min(low, low_as_is) < LEAST_DIFFERENCE:
        lines.append(words("tried.alike"))
    else:
        lines.append(words("tried.same"))
    lines.append(words("tried.spread"))
    if all(name in notes for name in COUNTS):
        lines.append(words("tried.loads", **{name: _span(notes[name], words) for name in COUNTS}))
    return lines


def _span(counts: Sequence[int], words: Words) -> str:
    low, high = min(counts), max(counts)
    return str(low) if low == high else words("tried.span", low=low, high=high)
