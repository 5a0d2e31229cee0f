"""Side by side: figures that can be counted by hand, and differences that the search's spread allows to be told."""

from __future__ import annotations

from dataclasses import replace

import pytest

from scheduler.planning.door import Settings
from scheduler.planning.whatif import differ, figures, whatif
from tests.scheduler.planning.plain_studio import BEGIN, bench_kiln, clock, studio
from tests.scheduler.planning.planted import PRICES, full

TWO = (full("A", promised=clock("11:00")), full("B", promised=clock("11:00")))
"""Two loads, each of which fills a kiln, out in time only side by side: one firing takes ten and a half hours."""


def test_one_more_kiln_ends_the_lateness_and_the_figures_say_so() -> None:
    one = studio(prices=PRICES)
    two = studio(kilns=(bench_kiln("K1"), bench_kiln("K2")), prices=PRICES)
    found = whatif(
        {"one": one, "two": two}, TWO, now=BEGIN, begin=BEGIN, settings=Settings(work_limit=10), seeds=(0, 1)
    )
    first, second = found
    assert [len(variant.runs) for variant in found] == [2, 2]
    assert {run.late_loads for run in first.runs} == {1}
    assert {run.late_loads for run in second.runs} == {0}
    assert differ(first, second)
    run = second.runs[0]
    assert run.firing_count == 2
    assert run.people_hours == pytest.approx(2.0)  # two loadings and two openings of half an hour
    assert run.use["K1"] == pytest.approx(10.5 / 96.0, abs=0.002)  # ten and a half hours of four days
    assert run.cost == pytest.approx(run.lateness + run.unplaced + run.energy + run.firings)


def test_a_difference_within_the_spread_of_the_search_is_none() -> None:
    (variant,) = whatif({"one": studio()}, TWO, now=BEGIN, begin=BEGIN, settings=Settings(work_limit=2), seeds=(0,))
    run = variant.runs[0]
    wide = replace(variant, runs=(run, replace(run, cost=run.cost + 10.0)))
    inside = replace(variant, runs=(replace(run, cost=run.cost + 5.0),))
    outside = replace(variant, runs=(replace(run, cost=run.cost + 11.0),))
    assert not differ(wide, inside)
    assert differ(wide, outside)
    assert differ(outside, wide)


def test_the_figures_of_a_plan_are_those_of_its_cost_parts() -> None:
    (variant,) = whatif({"one": studio()}, TWO, now=BEGIN, begin=BEGIN, settings=Settings(work_limit=5), seeds=(0,))
    run = figures(variant.studio, variant.best)
    assert run.cost == variant.best.cost_parts.total
    assert run.kwh == pytest.approx(sum(firing.kwh for firing in variant.best.firings))
