"""Clean-outs on the grid: what a kiln needs between two kinds of work, by the numbers of the works."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scheduler.compiling import compiled
from shared.studio import Studio

Ints = NDArray[np.int32]
Floats = NDArray[np.float64]

MICRO = 1_000_000
"""Prices of clean-outs are counted in millionths, so that sums are exact however often they are changed."""


@dataclass(frozen=True, slots=True, eq=False)
class CleanOuts:
    """Slots and price of the clean-out between two works.

    Attributes
    ----------
    slots, micros
        Length [slots] and price [millionths of the currency], ``(works, works)``: row what was fired before, column
        what comes next. Row 0 is a kiln of which nothing is known.
    work_of
        The number of each work.
    first
        The number of the work that each kiln did last before the plan.
    takes_hands
        Whether somebody has to be there for it.
    """

    slots: NDArray[np.int32]
    micros: NDArray[np.int64]
    work_of: dict[str, int] = field(default_factory=dict)
    first: tuple[int, ...] = ()
    takes_hands: bool = True

    @property
    def any(self) -> bool:
        """Whether there are any."""
        return bool(self.work_of)


NO_CLEAN_OUTS = CleanOuts(np.zeros((1, 1), dtype=np.int32), np.zeros((1, 1), dtype=np.int64))
"""A studio without clean-outs: every work has the number 0."""


def clean_outs_of(studio: Studio) -> CleanOuts:
    """The studio's clean-outs on its grid, each rounded up to whole slots."""
    if not studio.clean_outs:
        return NO_CLEAN_OUTS
    works = sorted({profile.work for profile in studio.profiles} | {k.last_work for k in studio.kilns if k.last_work})
    work_of = {work: number for number, work in enumerate(works, start=1)}
    slots = np.zeros((len(works) + 1, len(works) + 1), dtype=np.int32)
    micros = np.zeros(slots.shape, dtype=np.int64)
    for after, row in work_of.items():
        for before, column in work_of.items():
            asked = studio.clean_out(after, before)
            if asked is not None:
                slots[row, column] = math.ceil(math.ceil(asked.minutes) / studio.rules.grid_minutes)
                micros[row, column] = round(asked.price * MICRO)
    first = tuple(work_of.get(kiln.last_work or "", 0) for kiln in studio.kilns)
    return CleanOuts(slots, micros, work_of, first)


@compiled
def fill_gaps(
    loads: Ints,
    frees: Ints,
    works: Ints,
    first: int,
    work: int,
    slots: Ints,
    micros: NDArray[np.int64],
    takes_hands: bool,
    people_used: Ints,
    people: Ints,
    closes: Ints,
    cleaning: Ints,
    costs: Floats,
) -> None:
    """Fill in the gaps between a kiln's entries for a firing of ``work``.

    ``loads``, ``frees``, ``works`` are the entries in order (work -1: an outage). Filled in are when the firing must
    have left the kiln (``closes``; -1 where there is no cleaning for the entry after), the slots of the clean-out
    before it, and what clean-outs then cost more [millionths]. Between a gap and the next firing there may be outages,
    in which nobody cleans.
    """
    count = len(loads)
    before = np.empty(count + 1, np.int64)
    before[0] = first
    for entry in range(count):
        before[entry + 1] = before[entry] if works[entry] < 0 else works[entry]
    after = -1
    for gap in range(count, -1, -1):
        if gap < count and works[gap] >= 0:
            after = gap
        was = before[gap]
        cleaning[gap] = slots[was, work]
        costs[gap] = micros[was, work]
        if after < 0:
            continue
        then = works[after]
        costs[gap] += micros[work, then] - micros[was, then]
        needed = slots[work, then]
        now = slots[was, then]
        load = loads[after]
        room = True
        if takes_hands and needed > now:
            for slot in range(max(0, load - needed), max(0, load - now)):
                if people_used[0, slot] >= people[0, slot]:
                    room = False
        if after == gap:
            closes[gap] = load - needed
        elif needed > 0 and frees[after - 1] > load - needed:
            room = False
        if not room:
            closes[gap] = -1


@compiled
def first_unclean(
    loads: Ints,
    frees: Ints,
    works: Ints,
    first: int,
    slots: Ints,
    takes_hands: bool,
    people_used: Ints,
    people: Ints,
) -> int:
    """The first entry of a kiln whose clean-out has no room or no hands; -1 where all have."""
    work = first
    opens = 0
    for entry in range(len(loads)):
        own = works[entry]
        if own >= 0:
            load = loads[entry]
            begin = load - slots[work, own]
            if load > 0 and begin < load:
                if begin < opens:
                    return entry
                if takes_hands:
                    for slot in range(max(0, begin), load):
                        if people_used[0, slot] > people[0, slot]:
                            return entry
            work = own
        opens = frees[entry]
    return -1
