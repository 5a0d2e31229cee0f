"""The faults of one file as they are found, kept to a number that a person can read."""

from __future__ import annotations

import re

from shared.errors import Fault
from shared.texts import say

SHOWN_FAULTS = 50
"""How many faults of one file are told in full; house choice: more than a page helps nobody."""

COUNTED_FAULTS = 1000
"""After this many faults a file is not read on: it is no file of the wanted kind; house choice."""


class FaultList:
    """Collects the faults of one file.

    Parameters
    ----------
    file
        The file's name, relative to the folder.
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self.count = 0
        self._shown: list[Fault] = []

    def add(self, place: str, problem: str, remedy: str) -> None:
        """Note one fault; those past the number shown are only counted."""
        self.count += 1
        if not self.full:
            self._shown.append(Fault(self.file, place, problem, remedy))

    @property
    def full(self) -> bool:
        """Whether further faults are only counted, so that nobody need look for their remedy."""
        return len(self._shown) >= SHOWN_FAULTS

    @property
    def hopeless(self) -> bool:
        """Whether reading on is a waste."""
        return self.count >= COUNTED_FAULTS

    def listed(self) -> list[Fault]:
        """The faults in the order of their rows, else as found; the last one says how many more there are."""
        shown = sorted(self._shown, key=lambda fault: _row(fault.place))
        more = self.count - len(shown)
        if not more:
            return shown
        number = say("fault.at_least", more=more) if self.hopeless else str(more)
        last = Fault(self.file, "", say("fault.and_more_faults", number=number), say("fault.put_ones_above"))
        return [*shown, last]


def _row(place: str) -> int:
    match = re.match(r"row (\d+)", place)
    return int(match[1]) if match else 0
