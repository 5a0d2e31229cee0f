"""Compiled functions are made ready before a search's time begins.

Numba compiles a function at its first call, some 10 s for all of them, and keeps the machine code for later processes.
The first search of a new installation is not to spend its seconds on that.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from numba import boolean, float64, int32, int64

from scheduler.firing.kernel import fire
from scheduler.planning.beams import ways_by_slot
from scheduler.planning.clean_outs import fill_gaps, first_unclean
from scheduler.planning.placement import book, book_firing, find_place

_I, _N, _X, _B = int32[::1], int64[::1], float64[::1], boolean[::1]
_I2, _N2, _X2 = int32[:, ::1], int64[:, ::1], float64[:, ::1]

TAKES: dict[Any, tuple[object, ...]] = {
    fire: (
        *(float64, int64, _X, _X, _X, _X2, _X2, _X, _X, _X, float64, float64, boolean, boolean),
        *(_X, _X, _X, float64, float64, float64, _X, _X, _X, _X, _X),
    ),
    book: (_I2, _I, int64, int64, int64),
    book_firing: (_I2, _I, _I, _I2, _I, *(int64,) * 8),
    find_place: (
        *(int64, int64, int64, boolean, *(int64,) * 8, _I, _I, _I, _X, float64, boolean, _I2, _I2, _I, _I, _I2, _I, _I),
        *(int64, _B, _B, _B, _X, float64, _X, float64, int64, _X, _X, _X, _X, _X, float64, int64, int64),
        *(float64, float64),
    ),
    fill_gaps: (_I, _I, _I, int64, int64, _I2, _N2, boolean, _I2, _I2, _I, _I, _X),
    first_unclean: (_I, _I, _I, int64, _I2, boolean, _I2, _I2),
    ways_by_slot: (_N, _N, _N, _X, int64, int64),
}
"""Each compiled function that the search calls, with the types that it is called with."""


@cache
def load_compiled() -> None:
    """Load what has been compiled once on this machine; compile what has not."""
    for function, types in TAKES.items():
        function.compile(types)
