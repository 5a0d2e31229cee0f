"""The present moment of a command: the time that ``--now`` names, else the clock's."""

from __future__ import annotations

from datetime import UTC, datetime

from api.requests import moment_asked_for
from shared.clock import Minute, minute_of
from shared.studio import Studio


def present(text: str | None, studio: Studio) -> Minute:
    """The minute named, else the clock's: the only place of the command line that asks the clock."""
    return minute_of(datetime.now(UTC)) if text is None else moment_asked_for(text, "--now", studio)
