"""What looks doubtful in a studio that can be read: its data, and its profiles by the rules of the trade."""

from __future__ import annotations

from collections.abc import Sequence

from shared.clock import Minute
from shared.files import folder_warnings
from shared.loads import Load
from shared.studio import Studio


def warnings_of(studio: Studio, loads: Sequence[Load], now: Minute) -> tuple[str, ...]:
    """All warnings, one line each."""
    return tuple(str(fault) for fault in folder_warnings(studio, loads, now))
