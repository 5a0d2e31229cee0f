"""Sweeping over the edges of spans finds what looking at every minute finds."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from scheduler.audit.sweep import excesses, gap_in, merged, sweep

_spans = st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30)), max_size=8)


@given(_spans)
def test_the_stretches_say_for_every_minute_who_is_at_it(spans: list[tuple[int, int]]) -> None:
    active = {minute: stretch.active for stretch in sweep(spans) for minute in range(stretch.begin, stretch.end)}
    for minute in range(31):
        expected = {number for number, (begin, end) in enumerate(spans) if begin <= minute < end}
        assert set(active.get(minute, ())) == expected


@given(_spans, st.integers(0, 4))
def test_runs_of_excess_cover_just_the_minutes_with_too_many(spans: list[tuple[int, int]], limit: int) -> None:
    runs = list(excesses(sweep(spans), lambda stretch: len(stretch.active) - limit))
    too_many = {minute for minute in range(31) if sum(begin <= minute < end for begin, end in spans) > max(limit, 0)}
    assert {minute for run in runs for minute in range(run.begin, run.end)} == too_many
    for run in runs:
        most = max(sum(begin <= minute < end for begin, end in spans) for minute in range(run.begin, run.end))
        assert run.by == most - limit
        assert run.begin <= run.worst.begin < run.worst.end <= run.end


@given(_spans, st.integers(0, 30), st.integers(0, 30))
def test_a_gap_is_the_first_minute_that_nothing_covers(spans: list[tuple[int, int]], begin: int, end: int) -> None:
    covers = merged((first, last) for first, last in spans if first < last)
    missing = [minute for minute in range(begin, end) if not any(first <= minute < last for first, last in spans)]
    if begin < end:
        assert gap_in(begin, end, covers) == (missing[0] if missing else None)


def test_a_moment_is_covered_up_to_the_very_end_of_a_cover() -> None:
    covers = merged([(10, 20)])
    assert [minute for minute in range(30) if gap_in(minute, minute, covers) is None] == list(range(10, 21))
