"""How functions are compiled: at the first call, and kept for later processes where there is a folder to keep them."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

from numba import njit

_Function = TypeVar("_Function", bound=Callable[..., Any])


def compiled(function: _Function) -> _Function:
    """Compile at the first call and keep the machine code beside the source, for the next process.

    A division by zero gives infinity, as numpy's does, and other threads run meanwhile.
    """
    try:
        return cast(_Function, njit(cache=True, nogil=True, error_model="numpy")(function))
    except RuntimeError:  # no folder that can be written: compile in every process, which takes seconds
        return cast(_Function, njit(nogil=True, error_model="numpy")(function))
