"""A what-if beside the studio as it is: both searched alike, with several seeds each, from the same moment."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from api.formats import Formats
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

    as_is = [_cost(solved) for solved in searched(base)]
    found = searched(task)
    best = min(found, key=_cost)
    notes = {name: value for name, value in best.notes.items() if name not in OF_A_REPLAN}
    notes |= {
        "tried": [str(text) for text in task.tried],
        "tried_told": [packed(text) for text in task.tried],
        "costs": [_cost(solved) for solved in found],
        "costs_as_is": as_is,
        "begins": iso_text(task.begin, task.studio.place.zone),
        "begins_how": task.begins_how,
    }
    return replace(best, notes=notes)


def _cost(solved: Solved) -> float:
    return solved.audited.plan.proof.cost


def verdict_lines(notes: dict[str, Any], begin: str, formats: Formats) -> list[str]:
    """What a what-if costs beside the studio as it is, and how sure that is; ``begin`` says from when on."""
    words = formats.words
    (low, high), (low_as_is, high_as_is) = ((min(notes[k]), max(notes[k])) for k in ("costs", "costs_as_is"))
    lines = [
        words(
            "tried.compared",
            runs=len(notes["costs"]),
            begin=begin,
            low=formats.money(low),
            high=formats.money(high),
            low_as_is=formats.money(low_as_is),
            high_as_is=formats.money(high_as_is),
        )
    ]
    if high < low_as_is - LEAST_DIFFERENCE or high_as_is < low - LEAST_DIFFERENCE:
        key = "tried.cheaper" if high < low_as_is else "tried.dearer"
        least, most = sorted((abs(low_as_is - high), abs(high_as_is - low)))
        lines.append(words(key, low=formats.money(least), high=formats.money(most)))
    elif max(high, high_as_is) - min(low, low_as_is) < LEAST_DIFFERENCE:
        lines.append(words("tried.alike"))
    else:
        lines.append(words("tried.same"))
    lines.append(words("tried.spread"))
    return lines
