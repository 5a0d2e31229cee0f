"""What a re-plan leaves alone: everything but a few firings that could make room for what lost its place."""

from __future__ import annotations

from scheduler.planning.batches import Batches, Stay
from scheduler.planning.heats import Heats
from scheduler.planning.pinning import LEAST_MOVED, damaged, near, pin
from scheduler.planning.timetable import Timetable
from tests.scheduler.planning.plain_studio import bench_kiln, load, problem_of, slow_profile, studio

OTHER = slow_profile("else", work="else")
DAY = 24 * 60


def booked() -> Timetable:
    """Two kilns of one kind of work with four firings each, and one of another kind with one; each firing a load."""
    kilns = (bench_kiln("K1"), bench_kiln("K2"), bench_kiln("K3", work=("else",)))
    loads = (*(load(f"L{n}") for n in range(8)), load("E", profile="else"), load("NEW"))
    problem = problem_of(studio(kilns=kilns, profiles=(slow_profile(), OTHER)), loads)
    stays = {number: Stay(number // 4, (number % 4) * DAY, (number % 4 + 1) * DAY) for number in range(8)}
    stays[8] = Stay(2, 0, DAY)
    timetable = Timetable(problem, Batches(problem, Heats(problem), stays))
    for number in range(9):
        batch = timetable.batches.make(problem.loads[number].profile, (number,))
        assert batch is not None
        kiln = number // 4
        fit = timetable.batches.fit(batch, kiln)
        assert fit is not None
        start = ((number % 4) * DAY + 60) // problem.grid_minutes
        placed = timetable.best_place(batch, kiln, fit, only_start=start)
        assert placed is not None
        timetable.add(placed)
    return timetable


def test_what_is_where_it_was_is_not_damaged() -> None:
    assert damaged(booked(), ()) == []
    assert near(booked(), []) == set()


def test_a_load_without_a_place_or_on_another_day_or_new_is() -> None:
    timetable = booked()
    timetable.remove(timetable.firing_of[2])
    batch = timetable.batches.make("warm", (5,))
    assert batch is not None
    timetable.remove(timetable.firing_of[5])
    fit = timetable.batches.fit(batch, 0)
    assert fit is not None
    placed = timetable.best_place(batch, 0, fit)
    assert placed is not None
    timetable.add(placed)
    assert damaged(timetable, [9]) == [2, 5, 9]


def test_only_the_nearest_firings_in_kilns_that_could_take_it_are_free() -> None:
    timetable = booked()
    timetable.remove(timetable.firing_of[1])
    chosen = near(timetable, damaged(timetable, []))
    assert len(chosen) == LEAST_MOVED  # each firing here is one load
    kilns = {timetable.firings[number].kiln for number in chosen}
    assert kilns <= {0, 1}
    left = [n for n, f in timetable.firings.items() if f.kiln in (0, 1) and n not in chosen]
    wanted = 2 * DAY  # the end of the day on which load 1 was to be out

    def away(number: int) -> int:
        return abs(timetable.firings[number].place.unload * 5 - wanted)

    assert max(away(number) for number in chosen) <= min(away(number) for number in left)


def test_everything_else_is_held_and_nothing_moves_by_that() -> None:
    timetable = booked()
    before = {firing.batch.loads: firing.place for firing in timetable.firings.values()}
    free = {timetable.firing_of[3]}
    pin(timetable, free)
    assert {firing.batch.loads: firing.place for firing in timetable.firings.values()} == before
    assert [firing.batch.loads for firing in timetable.firings.values() if not firing.fixed] == [(3,)]
    assert timetable.is_sound()
