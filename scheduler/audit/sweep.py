"""A sweep over the points in time at which something begins or ends: who is at it between two of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from shared.calendar import Span
from shared.clock import Minute


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch of time ``[begin, end)`` [min] in which nothing begins or ends; ``active`` are places in the list."""

    begin: Minute
    end: Minute
    active: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Excess:
    """A run of neighbouring stretches that are all too full; ``worst`` is the fullest of them, ``by`` how much."""

    begin: Minute
    end: Minute
    worst: Stretch
    by: float


def sweep(spans: Sequence[tuple[Minute, Minute]]) -> Iterator[Stretch]:
    """The stretches between the edges of ``spans``, in order; those in which nothing is active are left out.

    >>> [(s.begin, s.end, s.active) for s in sweep([(0, 10), (5, 20), (7, 7)])]
    [(0, 5, (0,)), (5, 10, (0, 1)), (10, 20, (1,))]
    """
    edges = sorted(
        [(begin, 1, number) for number, (begin, end) in enumerate(spans) if begin < end]
        + [(end, 0, number) for number, (begin, end) in enumerate(spans) if begin < end]
    )
    active: dict[int, None] = {}
    last = 0
    for at, begins, number in edges:
        if active and last < at:
            yield Stretch(last, at, tuple(active))
        last = at
        if begins:
            active[number] = None
        else:
            del active[number]


def excesses(stretches: Iterable[Stretch], excess: Callable[[Stretch], float]) -> Iterator[Excess]:
    """Runs of neighbouring stretches whose ``excess`` is above zero, each with its worst stretch."""
    run: Excess | None = None
    for stretch in stretches:
        by = excess(stretch)
        if run is not None and (by <= 0 or stretch.begin != run.end):
            yield run
            run = None
        if by <= 0:
            continue
        if run is None:
            run = Excess(stretch.begin, stretch.end, stretch, by)
        elif by > run.by:
            run = Excess(run.begin, stretch.end, stretch, by)
        else:
            run = Excess(run.begin, stretch.end, run.worst, run.by)
    if run is not None:
        yield run


def merged(spans: Iterable[tuple[Minute, Minute]]) -> list[Span]:
    """The union of ``spans`` as separate spans in order; neighbours that touch are joined.

    >>> merged([(5, 9), (0, 3), (3, 4)])
    [Span(begin=0, end=4), Span(begin=5, end=9)]
    """
    joined: list[Span] = []
    for begin, end in sorted(spans):
        if joined and begin <= joined[-1].end:
            joined[-1] = Span(joined[-1].begin, max(end, joined[-1].end))
        else:
            joined.append(Span(begin, end))
    return joined


def gap_in(begin: Minute, end: Minute, covers: Sequence[Span]) -> Minute | None:
    """The first minute of ``[begin, end)`` that no cover holds; None where all are held.

    An empty stretch is a moment: it is held by a cover that begins at or before it and ends at or after it.
    """
    if begin >= end:
        return None if any(cover.begin <= begin <= cover.end for cover in covers) else begin
    at = begin
    for cover in covers:
        if cover.begin > at:
            return at
        at = max(at, cover.end)
        if at >= end:
            return None
    return at
