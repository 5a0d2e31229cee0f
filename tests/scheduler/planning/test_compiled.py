"""What is compiled: ready before the search's time begins."""

from __future__ import annotations

from typing import Any

import numba
import pytest

from scheduler import compiling
from scheduler.planning.beams import plan_by_beams
from scheduler.planning.compiled import TAKES, load_compiled
from scheduler.planning.door import plan
from scheduler.planning.session import Settings
from shared.studio import CleanOut
from tests.scheduler.planning.plain_studio import BEGIN, bench_kiln, load, slow_profile, studio, timetable_of

WORKS = ("glass", "clay")


def test_planning_calls_what_is_compiled_with_no_other_types_than_those_it_is_made_ready_for() -> None:
    """In a process of its own this fails for a type too many or too few; with others before it, for a new one."""
    load_compiled()
    ready = {function: list(function.signatures) for function in TAKES}
    place = studio(
        kilns=(bench_kiln("K1", work=WORKS, last_work="clay"),),
        profiles=tuple(slow_profile(work, work=work) for work in WORKS),
        clean_outs=(CleanOut(after=("clay",), before=("glass",), minutes=30.0, price=1.0),),
    )
    loads = tuple(
        load(f"L{n}", profile=WORKS[n % 2], footprint_cm2=850.0, height_mm=200.0, promised=BEGIN + 1440)
        for n in range(6)
    )
    plan(place, loads, now=BEGIN - 60, begin=BEGIN, settings=Settings(work_limit=20, workers=1))
    assert plan_by_beams(timetable_of(studio(), tuple(load(f"B{n}") for n in range(3))), 10)
    assert all(types in function.signatures for function, types in TAKES.items())
    assert {function: function.signatures for function in TAKES} == ready


def test_where_nothing_can_be_kept_it_is_compiled_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    """Numba says so by a RuntimeError where it finds no folder to write to."""

    def njit(cache: bool = False, **options: Any) -> Any:
        if cache:
            raise RuntimeError("cannot cache function: no locator available")
        return numba.njit(**options)

    monkeypatch.setattr(compiling, "njit", njit)
    assert compiling.compiled(lambda number: 2 * number)(21) == 42
