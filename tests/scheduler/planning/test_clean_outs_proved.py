"""What the planner does about clean-outs, proved by the audit, which shares no code with it."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.audit import breaches
from scheduler.planning.door import plan
from scheduler.planning.events import Events, KilnDown
from scheduler.planning.replan import replan
from scheduler.planning.session import Settings
from shared.clock import wall_minute
from shared.loads import Load
from shared.studio import Studio
from tests.scheduler.planning.plain_studio import BEGIN, MONDAY, load
from tests.scheduler.planning.test_clean_outs import WORKS, _place

SETTINGS = Settings(seconds=None, work_limit=20)


def _loads(seed: int) -> tuple[Load, ...]:
    rng = np.random.default_rng(seed)
    return tuple(
        load(
            f"L{n}",
            profile=WORKS[int(rng.integers(3))],
            footprint_cm2=800.0,
            height_mm=200.0,
            promised=BEGIN + int(rng.integers(600, 4 * 1440)),
        )
        for n in range(7)
    )


def _begin(studio: Studio) -> int:
    return wall_minute(MONDAY, 0, studio.place.zone)


@pytest.mark.parametrize("seed", range(4))
def test_a_plan_with_clean_outs_is_proved(seed: int) -> None:
    studio, loads = _place(), _loads(seed)
    made = plan(studio, loads, now=_begin(studio), begin=_begin(studio), settings=SETTINGS)
    assert breaches(studio, loads, made) == []
    assert made.cost_parts.clean_outs > 0 or not any(firing.clean_out_minutes for firing in made.firings)


def test_some_of_those_plans_have_clean_outs() -> None:
    studio = _place()
    made = [plan(studio, _loads(n), now=_begin(studio), begin=_begin(studio), settings=SETTINGS) for n in range(4)]
    assert any(firing.clean_out_minutes for one in made for firing in one.firings)


@pytest.mark.parametrize("hours", [20, 31, 50])
def test_a_replan_with_clean_outs_is_proved(hours: int) -> None:
    studio, loads = _place(outages=()), _loads(1)
    made = plan(studio, loads, now=_begin(studio), begin=_begin(studio), settings=SETTINGS)
    again = replan(
        studio, loads, made, now=_begin(studio) + hours * 60, events=Events(down=(KilnDown("K2"),)), settings=SETTINGS
    )
    assert breaches(again.studio, again.loads, again.plan, again.under_way) == []
