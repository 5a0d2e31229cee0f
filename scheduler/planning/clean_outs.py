"""Clean-outs on the grid: what a kiln needs between two kinds of work, by the numbers of the works."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from shared.studio import Studio

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
