"""What occupies one kiln, in order of time, as arrays that compiled code reads without copying."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from scheduler.planning.problem import FAR

OUTAGE = -1
"""The firing number, and the work, of an entry in which the kiln is out of use."""


class Gaps(NamedTuple):
    """The gaps between a kiln's firings for one kind of work; see `find_place`."""

    opens: NDArray[np.int32]
    closes: NDArray[np.int32]
    cleaning: NDArray[np.int32]
    costs: NDArray[np.float64]
    least_cost: float


class Entries:
    """The firings and outages of a kiln.

    ``rows`` holds ``(from, to, firing)`` in slots, ordered; the same stands in arrays, one longer, so that they are the
    gaps between the entries: gap ``i`` is ``[opens[i], closes[i])``, where the first opens at 0 and the last never
    closes. ``works[i]`` is the work of entry ``i``.
    """

    __slots__ = ("_closes", "_gaps", "_opens", "_works", "rows")

    def __init__(self, outages: Iterable[tuple[int, int]]) -> None:
        self.rows: list[tuple[int, int, int]] = []
        self._opens = np.zeros(16, dtype=np.int32)
        self._closes = np.full(16, FAR, dtype=np.int32)
        self._works = np.full(16, OUTAGE, dtype=np.int32)
        self._gaps: Gaps | None = None
        for begin, end in outages:
            self.insert((begin, end, OUTAGE), OUTAGE)

    def __len__(self) -> int:
        return len(self.rows)

    def insert(self, row: tuple[int, int, int], work: int) -> int:
        """Put an entry in its place; returns its index."""
        self._gaps = None
        count = len(self.rows)
        if count + 2 > len(self._opens):
            self._opens = np.concatenate((self._opens, np.zeros_like(self._opens)))
            self._closes = np.concatenate((self._closes, np.full_like(self._closes, FAR)))
            self._works = np.concatenate((self._works, np.full_like(self._works, OUTAGE)))
        index = bisect_left(self.rows, row)
        self.rows.insert(index, row)
        opens, closes, works = self._opens, self._closes, self._works
        if index < count:
            opens[index + 2 : count + 2] = opens[index + 1 : count + 1]
            works[index + 1 : count + 1] = works[index:count]
        closes[index + 1 : count + 2] = closes[index : count + 1]
        closes[index], opens[index + 1], works[index] = row[0], row[1], work
        return index

    def remove(self, row: tuple[int, int, int]) -> None:
        """Take an entry out; raises ValueError where it is not there."""
        self._gaps = None
        index = self.index(row)
        count = len(self.rows)
        if index == count or self.rows[index] != row:
            raise ValueError(f"no such entry: {row}")
        del self.rows[index]
        self._opens[index + 1 : count] = self._opens[index + 2 : count + 1]
        self._works[index : count - 1] = self._works[index + 1 : count]
        self._closes[index:count] = self._closes[index + 1 : count + 1]

    def index(self, row: tuple[int, int, int]) -> int:
        """Where an entry stands, or would stand."""
        return bisect_left(self.rows, row)

    def gaps(self) -> Gaps:
        """The gaps, one more than there are entries, where no firing asks for a clean-out. Views, until it changes."""
        if self._gaps is None:
            count = len(self.rows) + 1
            nothing = np.zeros(count, dtype=np.int32)
            self._gaps = Gaps(self._opens[:count], self._closes[:count], nothing, np.zeros(count), 0.0)
        return self._gaps

    def columns(self) -> tuple[NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]]:
        """When each entry begins and ends [slots], and its work. Views."""
        count = len(self.rows)
        return self._closes[:count], self._opens[1 : count + 1], self._works[:count]
