"""Clean-outs and prices of late loads in the search: against looking at every slot, and against adding up."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.planning.door import plan
from scheduler.planning.insertion import Inserter
from scheduler.planning.search import Search
from scheduler.planning.session import Settings
from scheduler.planning.timetable import Placed, Timetable
from shared.clock import wall_minute
from shared.studio import CleanOut, Outage, Prices, Rules, Shift, Studio
from tests.scheduler.planning.plain_studio import (
    BEGIN,
    EVERY_DAY,
    MONDAY,
    bench_kiln,
    clock,
    load,
    slow_profile,
    studio,
    timetable_of,
)

WORKS = ("wax", "glass", "clay")


def _place(**changes: object) -> Studio:
    values: dict[str, object] = {
        "kilns": (bench_kiln("K1", work=WORKS, last_work="wax"), bench_kiln("K2", work=WORKS)),
        "profiles": tuple(slow_profile(work, work=work) for work in WORKS),
        "shifts": (
            Shift(days=EVERY_DAY, opens="07:00", closes="13:00", hands=1),
            Shift(days=EVERY_DAY, opens="12:00", closes="20:00", hands=2),
        ),
        "clean_outs": (
            CleanOut(after=("wax",), before=("glass",), minutes=60.0, price=9.0),
            CleanOut(after=("wax",), before=("clay",), minutes=20.0, price=3.0),
            CleanOut(after=("clay",), before=("glass",), minutes=90.0, price=1.5),
        ),
        "outages": (Outage(kiln="K2", begins=clock("10:00", 1), ends=clock("15:00", 1)),),
        "rules": Rules(horizon_days=5, grid_minutes=10),
        "prices": Prices(late_hour=0.5, late_load=6.0),
    }
    return studio(**(values | changes))  # type: ignore[arg-type]


def _filled(seed: int) -> Timetable:
    rng = np.random.default_rng(seed)
    loads = tuple(
        load(
            f"L{n}",
            profile=WORKS[int(rng.integers(3))],
            footprint_cm2=800.0,
            height_mm=200.0,
            promised=BEGIN + int(rng.integers(600, 4 * 1440)),
        )
        for n in range(10)
    )
    timetable = timetable_of(_place(), loads)
    inserter = Inserter(timetable, seed)
    for number in range(8):
        inserter.insert_load(number)
    return timetable


def _cleaning_by_hand(timetable: Timetable) -> tuple[float, list[tuple[int, int, int]]]:
    """Price of all clean-outs, and each as ``(kiln, begin, end)`` in slots, from the firings alone."""
    place = timetable.problem.studio
    total, spans = 0.0, []
    for number, kiln in enumerate(place.kilns):
        last = kiln.last_work
        for firing in sorted((f for f in timetable.firings.values() if f.kiln == number), key=lambda f: f.place.load):
            work = place.profile_by_id[firing.batch.profile].work
            asked = place.clean_out(last, work)
            if asked is not None:
                total += asked.price
                spans.append((number, firing.place.load - int(asked.minutes) // 10, firing.place.load))
            last = work
    return total, spans


def _is_right(timetable: Timetable) -> bool:
    """Whether every clean-out has its time, its kiln and its hand, by what is booked."""
    problem = timetable.problem
    _, spans = _cleaning_by_hand(timetable)
    used = np.zeros(problem.slots, dtype=int)
    for kiln, begin, end in spans:
        if begin < 0 or any(b < end and e > begin and b != end for b, e, _ in timetable.busy(kiln)):
            return False
        used[begin:end] += 1
    for firing in timetable.firings.values():
        place, phases = firing.place, firing.fit.phases
        used[place.load : place.load + phases.load] += 1
        used[place.unload : place.unload + phases.unload] += 1
    return bool((used <= problem.people[0]).all()) and bool((used == timetable.people_used[0]).all())


@pytest.mark.parametrize("seed", range(12))
def test_what_is_placed_leaves_room_and_hands_for_every_clean_out(seed: int) -> None:
    timetable = _filled(seed)
    assert _is_right(timetable)
    assert timetable.is_sound()
    assert timetable.cleaning_cost() == pytest.approx(_cleaning_by_hand(timetable)[0])


@pytest.mark.parametrize("seed", range(12))
def test_the_cheapest_place_is_the_cheapest_of_all_slots(seed: int) -> None:
    timetable = _filled(seed)
    batch = timetable.batches.make(timetable.problem.loads[9].profile, (9,))
    assert batch is not None
    for kiln in range(2):
        fit = timetable.batches.fit(batch, kiln)
        assert fit is not None
        found = timetable.best_place(batch, kiln, fit)
        before = timetable.cleaning_cost()
        best = float("inf")
        for start in range(timetable.problem.slots - 1):
            placed = timetable.best_place(batch, kiln, fit, only_start=start)
            if placed is None:
                continue
            mark = len(timetable.log)
            timetable.add(placed)
            assert _is_right(timetable)
            best = min(best, placed.place.guide + timetable.cleaning_cost() - before)
            assert placed.place.cleaning == pytest.approx(timetable.cleaning_cost() - before)
            timetable.undo(mark)
        if found is None:
            assert best == float("inf")
        else:
            assert found.place.guide + found.place.cleaning == pytest.approx(best, abs=1e-6)


@pytest.mark.parametrize("seed", range(3))
def test_a_search_keeps_the_books_right(seed: int) -> None:
    timetable = _filled(seed)
    search = Search(timetable, seed)
    for _ in range(150):
        search.step(0.5)
        assert _is_right(timetable)
        assert timetable.unclean(0) is None
        assert timetable.unclean(1) is None
    assert timetable.cleaning_cost() == pytest.approx(_cleaning_by_hand(timetable)[0])


def test_undoing_restores_hands_and_price() -> None:
    timetable = _filled(1)
    used, price = timetable.people_used.copy(), timetable.cleaning_cost()
    mark = len(timetable.log)
    for number in list(timetable.firings)[::2]:
        timetable.remove(number)
    timetable.undo(mark)
    assert (timetable.people_used == used).all()
    assert timetable.cleaning_cost() == price


def test_a_late_load_pays_once_and_by_the_hour() -> None:
    loads = (load("L0", profile="clay", promised=clock("08:00")),)
    timetable = timetable_of(_place(), loads)
    Inserter(timetable, 0).insert_load(0)
    placed: Placed = next(iter(timetable.firings.values()))
    out = placed.place.unload * 10 + placed.fit.phases.out_minutes
    assert placed.late_cost == pytest.approx(6.0 + 0.5 * (out - 480) / 60.0)


def test_the_plan_tells_clean_outs_and_their_price() -> None:
    begin = wall_minute(MONDAY, 0, _place().place.zone)
    loads = (load("W", profile="wax", kilns=("K2",)), load("G", profile="glass", kilns=("K1",)))
    result = plan(_place(), loads, now=begin, begin=begin, settings=Settings(seconds=None, work_limit=20))
    told = {firing.loads[0]: firing.clean_out_minutes for firing in result.firings}
    assert told == {"W": 0, "G": 60}
    assert result.cost_parts.clean_outs == 9.0
