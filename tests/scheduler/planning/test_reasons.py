"""What is said at once of a late load: which kiln could have it in time, and what takes that, hands or current."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from scheduler.planning.reasons import MOST_NAMED, why_late, why_unplaced
from scheduler.planning.timetable import Timetable, out_minutes
from shared.kilns import Circuit
from shared.loads import Load
from shared.profiles import Segment
from shared.studio import Shift, Studio
from shared.texts import Text
from tests.scheduler.planning.plain_studio import (
    ALWAYS,
    BEGIN,
    EVERY_DAY,
    bench_kiln,
    load,
    slow_profile,
    studio,
    timetable_of,
)

ONE_HAND = Shift(days=EVERY_DAY, opens="00:00", closes="24:00", hands=1)
TWO_KILNS = (bench_kiln("K1"), bench_kiln("K2"))


def put(timetable: Timetable, numbers: tuple[int, ...], kiln: int, profile: str = "warm") -> int:
    """Put loads into a firing in a kiln, where that costs least; returns the minute at which they are out."""
    batch = timetable.batches.make(profile, numbers)
    assert batch is not None
    fit = timetable.batches.fit(batch, kiln)
    assert fit is not None
    placed = timetable.best_place(batch.at_any_price(), kiln, fit)
    assert placed is not None
    placed = replace(placed, batch=batch)
    timetable.add(placed)
    return out_minutes(placed, timetable.problem.grid_minutes)


def why(place: Studio, others: dict[int, tuple[Load, ...]], kiln: int) -> Text:
    """Why a load is late that is fired in a kiln, promised for the soonest that it could be out, after others."""
    soonest = put(timetable_of(place, (load("L", kilns=(place.kilns[kiln].id,)),)), (0,), kiln)
    late = load("L", kilns=(place.kilns[kiln].id,), promised=BEGIN + soonest)
    waiting = (late, *(one for loads in others.values() for one in loads))
    timetable = timetable_of(place, waiting)
    for own, loads in others.items():
        put(timetable, tuple(timetable.problem.load_number[one.id] for one in loads), own)
    before = put(timetable, (0,), kiln)
    assert before > soonest
    reason = why_late(timetable, 0)
    assert reason.rule == "time"
    assert timetable.firings[timetable.firing_of[0]].batch.loads == (0,)  # all is where it was
    assert out_minutes(timetable.firings[timetable.firing_of[0]], timetable.problem.grid_minutes) == before
    assert isinstance(reason.why, Text)
    return reason.why


def test_the_loads_are_named_that_are_in_the_kiln() -> None:
    said = why(studio(shifts=(ALWAYS,)), {0: (load("A"), load("B"))}, 0)
    assert said.key == "reason.kiln_fires_others"
    assert said.startswith("K1 could have it out Mon 30 Nov ")
    assert said.endswith(" if it did not fire A and B then")


def test_of_many_loads_some_are_named_and_the_rest_counted() -> None:
    others = tuple(load(f"A{n}", footprint_cm2=100.0) for n in range(MOST_NAMED + 2))
    said = why(studio(shifts=(ALWAYS,)), {0: others}, 0)
    assert said.endswith("did not fire A0, A1, A2 and 3 more then")


@pytest.mark.parametrize(
    "place",
    [
        studio(kilns=TWO_KILNS, shifts=(ONE_HAND,)),
        studio(kilns=TWO_KILNS, circuits=(Circuit(id="main", breaker_amps=30.0),)),
    ],
    ids=["hands", "current"],
)
def test_no_load_of_a_kiln_is_blamed_where_hands_or_current_are_what_lacks(place: Studio) -> None:
    said = why(place, {0: (load("A", kilns=("K1",)),)}, 1)
    assert said == "even with K2 empty it would be late: hands or current are needed elsewhere"


def test_the_kiln_named_could_have_it_in_time_if_its_loads_were_gone() -> None:
    """With hands and current as planned: both kilns are taken, and the one with fewer loads in the way is named."""
    place = studio(kilns=TWO_KILNS, shifts=(ALWAYS,))
    alone = put(timetable_of(place, (load("L"),)), (0,), 1)
    waiting = (load("L", promised=BEGIN + alone + 120), load("A"), load("B"), load("C"))
    timetable = timetable_of(place, waiting)
    put(timetable, (1, 2), 0)
    put(timetable, (3,), 1)
    assert put(timetable, (0,), 1) > alone + 120
    said = why_late(timetable, 0).why
    assert said.startswith("K2 could have it out ")
    assert said.endswith("if it did not fire C then")


def test_what_could_be_in_time_in_a_firing_of_its_own_is_told_so() -> None:
    """As where a load late by minutes waits for others to share a firing with, which costs less than one more."""
    place = studio(kilns=TWO_KILNS, shifts=(ALWAYS,))
    soonest = put(timetable_of(place, (load("L"),)), (0,), 0)
    timetable = timetable_of(place, (load("L", promised=BEGIN + soonest), load("A", ready=BEGIN + 120)))
    assert put(timetable, (0, 1), 0) > soonest
    said = why_late(timetable, 0).why
    assert said.startswith("in a firing of its own K2 could have it out Mon 30 Nov ")


def test_an_earlier_stage_is_not_blamed_for_being_in_the_kiln_before() -> None:
    """It is opened before it is cool, and free for the next only later."""
    place = studio(profiles=(slow_profile(unload_below_c=120.0),), shifts=(ALWAYS,))
    stages = (load("S"), load("L", after="S"))
    both = timetable_of(place, stages)
    put(both, (0,), 0)
    soonest = put(both, (1,), 0)
    late = stages[1].model_copy(update={"promised": BEGIN + soonest})
    timetable = timetable_of(place, (stages[0], late, load("A")))
    put(timetable, (0,), 0)
    put(timetable, (2,), 0)
    assert put(timetable, (1,), 0) > soonest
    said = why_late(timetable, 1).why
    assert said.endswith(" if it did not fire A then")


def booked(name: str, **changes: Any) -> Load:
    """A load of hot work in a firing of its own, whose session all have booked for the same time."""
    return load(name, profile="hot", session_at=BEGIN + 300, alone=True, **changes)


HOT = slow_profile(
    "hot",
    unload="hot",
    unload_below_c=None,
    own_segments=(Segment(rate_k_per_hour=100.0, to_c=220.0, hold_minutes=60.0, hold_up_to_minutes=240.0),),
)


def left_out(place: Studio, **changes: Any) -> Text:
    """Why a booked load has no place beside another, A, that is booked for the same time and fired in K1."""
    timetable = timetable_of(place, (booked("L", **changes), booked("A")))
    put(timetable, (1,), 0, "hot")
    reason = why_unplaced(timetable, 0)
    assert reason.rule == "time"
    assert timetable.pending() == [0]
    assert isinstance(reason.why, Text)
    return reason.why


def test_of_a_load_without_a_place_it_is_said_which_loads_are_in_its_kiln() -> None:
    said = left_out(studio(profiles=(HOT,), shifts=(ALWAYS,)))
    assert said.startswith("K1 could have it out Mon 30 Nov ")
    assert said.endswith(" if it did not fire A then")


def test_no_load_of_a_kiln_is_blamed_for_one_without_a_place_that_lacks_hands() -> None:
    place = studio(kilns=TWO_KILNS, profiles=(HOT,), shifts=(ONE_HAND,))
    said = left_out(place, kilns=("K2",))
    assert said == "even with K2 empty it would have no place: hands or current are needed elsewhere"
