"""The progress line while the planner works: one line that changes on a terminal, plain lines elsewhere."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol, TextIO

from api.words import Words

PLAIN_LINE_SECONDS = 5.0
"""Least time between two plain lines [s], so that a file or a log is not flooded. Our own choice."""


class ProgressReport(Protocol):
    """What the planner tells while it works."""

    @property
    def seconds(self) -> float:
        """Time spent so far [s]."""

    @property
    def cost(self) -> float | None:
        """Cost of the best plan so far."""

    @property
    def bound(self) -> float | None:
        """What no plan can be cheaper than, as far as known."""

    @property
    def note(self) -> str:
        """What is being done."""

    @property
    def late(self) -> int | None:
        """How many loads of the best plan so far are late [-]."""

    @property
    def unplaced(self) -> int | None:
        """How many have no place [-]."""

    @property
    def energy(self) -> float | None:
        """What its energy costs [currency]."""


NOTES = {
    "dispatch": "progress.first", "repaired": "progress.repaired", "settled": "progress.settled",
    "bound": "progress.bound",
}  # fmt: skip
"""What the planner does, in words; anything else is its search."""


BETTER = 0.005
"""Costs that differ by less are the same [currency]; they are shown in hundredths."""


@dataclass
class SearchHistory:
    """What the best plan cost at which second, so that a search can say whether more time would help."""

    steps: list[tuple[float, float]] = field(default_factory=list)
    """Each time a cheaper plan was found: seconds since the beginning, and its cost."""

    def note(self, report: ProgressReport) -> None:
        """Take in a report of the planner."""
        if report.cost is not None and (not self.steps or report.cost < self.steps[-1][1] - BETTER):
            self.steps.append((report.seconds, report.cost))

    def until(self, seconds: float) -> SearchHistory:
        """What was found within the time of the search; settling the plan comes after it."""
        return SearchHistory([(at, cost) for at, cost in self.steps if at <= seconds])

    @property
    def last_better_seconds(self) -> float:
        """When a cheaper plan was last found [s]; 0 before any."""
        return self.steps[-1][0] if self.steps else 0.0

    def gain_since(self, seconds: float) -> float:
        """By how much of its cost the plan got cheaper from then on [-]; 0 where nothing was known then."""
        before = [cost for at, cost in self.steps if at <= seconds]
        return 1.0 - self.steps[-1][1] / before[-1] if before and before[-1] > 0 else 0.0


@dataclass
class ProgressLine:
    """Writes the planner's reports; call it with each, and ``close`` it at the end."""

    stream: TextIO
    words: Words
    history: SearchHistory = field(default_factory=SearchHistory)
    _width: int = 0
    _last_seconds: float = field(default=float("-inf"))

    def __call__(self, report: ProgressReport) -> None:
        """Show a report."""
        self.history.note(report)
        if self.stream.isatty() or report.seconds - self._last_seconds >= PLAIN_LINE_SECONDS:
            self.say(self._text(report))
            self._last_seconds = report.seconds

    def say(self, text: str) -> None:
        """Show a text in the line's place."""
        if self.stream.isatty():
            self.stream.write("\r" + text.ljust(self._width))
            self._width = len(text)
        else:
            self.stream.write(text + "\n")
        self.stream.flush()

    def close(self) -> None:
        """End the changing line, so that what follows begins on its own."""
        if self._width:
            self.stream.write("\n")
            self.stream.flush()
            self._width = 0

    def _text(self, report: ProgressReport) -> str:
        words = self.words
        if report.cost is None:
            return words("progress.begins", seconds=report.seconds)
        text = words("progress.seconds", seconds=report.seconds)
        if report.late is not None and report.unplaced is not None and report.energy is not None:
            late, unplaced = (
                words.count("progress.late", report.late),
                words.count("progress.unplaced", report.unplaced),
            )
            text += words("progress.line", late=late, unplaced=unplaced, energy=report.energy)
        return text + words(NOTES.get(report.note, "progress.search"))
