"""The bound by listed firings: right by hand where it can be counted, never above any plan found."""

from __future__ import annotations

import math

import pytest

from scheduler.planning.bounds import load_bounds
from scheduler.planning.calendar_bound import lay_calendar
from scheduler.planning.columns import Column, columns_of
from scheduler.planning.dispatch import dispatch, orders
from scheduler.planning.door import Settings, plan
from scheduler.planning.listed_model import listed_answer
from scheduler.planning.proof import columns_within, first_slots, listed_bounds, plan_firings
from scheduler.planning.reasons import unplaced_loads
from scheduler.planning.session import Session, studio_session
from scheduler.planning.settle import settle, write_plan_of
from shared.clock import wall_minute
from shared.loads import Load
from shared.studio import Prices, Studio, Tariff
from tests.benchmarks.careful_person import best_wait
from tests.benchmarks.studios import make_studio
from tests.scheduler.planning.plain_studio import ALWAYS, BEGIN, MONDAY, bench_kiln, clock, load, studio


def session_of(place: Studio, loads: tuple[Load, ...]) -> Session:
    begin = wall_minute(MONDAY, 0, place.place.zone)
    return studio_session(place, loads, begin, Settings(work_limit=10), None)


def listed(session: Session) -> tuple[Column, ...]:
    columns = columns_within(session.batches, session.load_bounds, seconds=60.0)
    assert columns is not None
    return columns


def bound_of(session: Session, columns: tuple[Column, ...], known_cost: float, seconds: float | None) -> float:
    return max(bound for bound, _ in listed_bounds(session.batches, columns, lambda: known_cost, seconds))


def written_cost(session: Session) -> float:
    settle(session.timetable)
    made = write_plan_of(
        session.timetable, made_at=BEGIN, bound=0.0, seconds=0.0, unplaced=unplaced_loads(session.timetable)
    )
    return made.cost_parts.total


def test_whole_firings_are_counted_by_hand() -> None:
    """Six loads fill the bench kiln (three on a shelf, two layers), energy is free: seven need two firings at 4 each.

    Parts of firings would be enough with 7/6 of one; of three loads only one firing may hold two, so that parts of six
    loads each are not enough.
    """
    session = session_of(studio(prices=Prices(firing=4.0)), tuple(load(f"L{n}") for n in range(7)))
    columns = listed(session)
    assert {len(column.batch.loads) for column in columns} == {1, 2, 3, 4, 5, 6}
    assert len(columns) == sum(math.comb(7, size) for size in range(1, 7))
    every = [column.by_start < math.inf for column in columns]
    assert lay_calendar(session.problem, columns, every, 16).bound().bound == pytest.approx(7 / 6 * 4, abs=1e-4)
    assert 7 / 6 * 4 + 1.0 < bound_of(session, columns, 100.0, None) <= 8.0
    assert bound_of(session, columns, 100.0, 20.0) == pytest.approx(8.0, abs=0.01)


def test_two_full_firings_wanted_at_once_cannot_both_be_out_first() -> None:
    """One kiln, two loads that fill it, both promised long ago: by the calendar the second one waits for the first.

    Out first is 10.5 hours after midnight at the earliest (`planted`), so the two would be 21 hours late if each had
    a kiln of its own; a second firing cannot be loaded before the first is out.
    """
    full = {"footprint_cm2": 850.0, "height_mm": 200.0, "promised": clock("00:00")}
    session = session_of(studio(prices=Prices(firing=0.0)), (load("A", **full), load("B", **full)))
    columns = listed(session)
    alone = sum(column.least for column in columns)
    bound = bound_of(session, columns, 1000.0, 20.0)
    assert bound > alone + 6.0
    dispatch(session.timetable, orders(session.timetable)[0])
    assert bound <= written_cost(session) + 1e-6


def test_a_later_stage_waits_until_the_earlier_one_is_out_and_dry() -> None:
    """One kiln, C that fills it promised at 11:00, A, and four hours after A is out B, promised for 20:00.

    A firing is out 10.5 hours after it is loaded at the soonest (`planted`): C at 10:30, A at 21:00, B loaded at 01:00
    is out at 11:30, 15.5 hours late; any other order is dearer. Three stretches of half an hour may lose that each.
    Were B free to be loaded at 21:00, it would be 11.5 hours late.
    """
    full = load("C", footprint_cm2=850.0, height_mm=200.0, promised=clock("11:00"))
    later = load("B", after="A", gap_hours="4:00", promised=clock("20:00"))
    session = session_of(studio(prices=Prices(firing=0.0, late_hour=1.0)), (load("A"), later, full))
    columns = listed(session)
    every = [column.by_start < math.inf for column in columns]
    bound = lay_calendar(session.problem, columns, every, 30 // session.problem.grid_minutes).whole_bound(20.0)
    assert 14.0 - 0.01 <= bound <= 15.5


@pytest.mark.parametrize("seed", [1, 3, 4])
def test_a_columns_energy_is_what_the_written_plan_pays(seed: int) -> None:
    """Cool work to the cent's thousandth; hot work, where its session says how long the hold is, to half a cent."""
    place, loads, now = make_studio(seed, kilns=4, loads=20)
    session = session_of(place, loads)
    problem = session.problem
    found = {(column.batch.key, column.kiln): column for column in listed(session)}
    made = plan(place, loads, now=now, begin=problem.begin, settings=Settings(work_limit=20))
    assert made.firings
    for firing in made.firings:
        numbers = tuple(sorted(problem.load_number[name] for name in firing.loads))
        kiln = [one.id for one in problem.kilns].index(firing.kiln)
        column = found[(firing.profile, numbers), kiln]
        start = (firing.start_at - problem.begin) // problem.grid_minutes
        if column.fit.phases.is_hot:
            assert column.energy[start] <= firing.energy_cost + 1e-5
            if column.batch.session_slot >= 0:
                assert column.energy[start] == pytest.approx(firing.energy_cost, abs=0.005)
        else:
            assert column.energy[start] == pytest.approx(firing.energy_cost, abs=1e-5)


@pytest.mark.parametrize("seed", range(1, 7))
def test_the_bound_by_listed_firings_never_exceeds_any_plan(seed: int) -> None:
    """Dispatch by each rule, first come first served, and the planner, all settled and written."""
    place, loads, now = make_studio(seed, kilns=2 + seed % 3, loads=9 + seed)
    session = session_of(place, loads)
    columns = listed(session)
    costs = []
    for order in orders(session.timetable):
        session.timetable.restore(())
        dispatch(session.timetable, order)
        costs.append(written_cost(session))
    session.timetable.restore(())
    best_wait(session.timetable)
    costs.append(written_cost(session))
    made = plan(place, loads, now=now, begin=session.problem.begin, settings=Settings(work_limit=80, seed=seed))
    costs.append(made.cost_parts.total)
    free = bound_of(session, columns, 1e9, 6.0)
    cut = bound_of(session, columns, min(costs), 6.0)
    assert 0.0 < free <= min(costs) + 1e-6
    assert 0.0 < cut <= min(costs) + 1e-6


def test_finer_stretches_never_make_the_programme_weaker() -> None:
    place, loads, _ = make_studio(4, kilns=4, loads=20)
    session = session_of(place, loads)
    columns = listed(session)
    every = [column.by_start < math.inf for column in columns]
    bounds = [lay_calendar(session.problem, columns, every, width).bound().bound for width in (24, 12)]
    assert bounds[1] >= bounds[0] - 1e-4


def test_a_studio_with_too_many_firings_is_not_listed() -> None:
    place, loads, _ = make_studio(1, kilns=6, loads=60)
    session = session_of(place, loads)
    assert columns_of(session.batches, first_slots(session.batches, load_bounds(session.batches)), 50) is None


def test_night_tariff_is_priced_by_the_minute() -> None:
    """Power is free but from 09:00 to 10:00: a start at which nothing heats in that hour costs nothing."""
    tariff = Tariff.model_validate(
        {"default": 0.0, "bands": [{"days": ["mon"], "from": "09:00", "to": "10:00", "price": 1.0}]}
    )
    session = session_of(studio(tariff=tariff), (load("A"),))
    column = listed(session)[0]
    grid = session.problem.grid_minutes
    assert column.energy[10 * 60 // grid] == 0.0
    assert column.energy[8 * 60 // grid] > 0.0


def at_one_price(place: Studio) -> Studio:
    """The same studio with energy at one price at all hours."""
    return place.model_copy(update={"tariff": Tariff.model_validate({"default": 0.2})})


@pytest.mark.parametrize("seed", range(1, 4))
def test_chosen_firings_make_a_plan_that_is_sound_and_kept_only_where_cheaper(seed: int) -> None:
    place, loads, _ = make_studio(seed, kilns=4, loads=20)
    session = session_of(at_one_price(place), loads)
    dispatch(session.timetable, orders(session.timetable)[0])
    before = session.timetable.cost()
    columns = listed(session)
    every = [column.by_start < math.inf for column in columns]
    answer = listed_answer(session.problem, columns, every, before, seconds=10.0)
    cheaper = plan_firings(session.timetable, answer.firings)
    assert session.timetable.is_sound()
    assert cheaper is (session.timetable.cost() < before - 1e-6)
    assert session.timetable.cost() <= before


@pytest.mark.parametrize("seed", [2, 4])
def test_what_the_exact_model_proves_is_what_its_plan_costs_when_written(seed: int) -> None:
    """No session and no clean-out in these studios, so nothing is left aside: plan and bound meet, with a night tariff.

    Every firing is computed anew by the thermal model, packed and priced by the minute in between.
    """
    place, loads, _ = make_studio(seed, kilns=4, loads=20)
    session = session_of(place, loads)
    proved = [
        (bound, firings)
        for bound, firings in listed_bounds(session.batches, listed(session), lambda: 300.0, 60.0)
        if firings
    ]
    assert len(proved) == 1
    bound, firings = proved[0]
    assert plan_firings(session.timetable, firings)
    assert written_cost(session) == pytest.approx(bound, abs=0.005)


@pytest.mark.parametrize("seed", range(1, 7))
@pytest.mark.parametrize("one_price", [True, False])
def test_the_exact_model_of_listed_firings_never_bounds_above_any_plan(seed: int, one_price: bool) -> None:
    """The planner's own plan, settled and written: with no other plan known, and with it known."""
    place, loads, now = make_studio(seed, kilns=2 + seed % 3, loads=9 + seed)
    place = at_one_price(place) if one_price else place
    session = session_of(place, loads)
    columns = listed(session)
    made = plan(place, loads, now=now, begin=session.problem.begin, settings=Settings(work_limit=80, seed=seed))
    every = [column.by_start < math.inf for column in columns]
    free = listed_answer(session.problem, columns, every, 1e5, seconds=2.0)
    cut = listed_answer(session.problem, columns, every, made.cost_parts.total, seconds=2.0)
    assert free.bound <= made.cost_parts.total + 1e-6
    assert cut.bound <= made.cost_parts.total + 1e-6
    assert cut.firings or not cut.proved, "the plan that is known is one that the model allows"


def test_the_exact_model_counts_lateness_and_firings_by_hand() -> None:
    """One kiln, two loads that fill it, promised at midnight: out at 10:30 and at 21:00 (`planted`), 31.5 hours late.

    At 1 an hour and 4 a firing that is 39.5, however energy, which is free here, is priced.
    """
    full = {"footprint_cm2": 850.0, "height_mm": 200.0, "promised": BEGIN}
    session = session_of(studio(prices=Prices(firing=4.0, late_hour=1.0)), (load("A", **full), load("B", **full)))
    columns = listed(session)
    every = [column.by_start < math.inf for column in columns]
    answer = listed_answer(session.problem, columns, every, 1e4, seconds=20.0)
    assert answer.proved
    assert answer.bound == pytest.approx(39.5, abs=0.01)
    assert [firing.load_at * session.problem.grid_minutes for firing in answer.firings] == [0, 630]
    dispatch(session.timetable, orders(session.timetable)[0])
    assert written_cost(session) == pytest.approx(39.5, abs=0.01)


def test_the_exact_model_has_one_pair_of_hands_in_one_place_at_a_time() -> None:
    """Two kilns, two loads promised at midnight, one pair of hands that takes half an hour to load and to unload.

    With two pairs both are out at 10:30; with one the second is half an hour later.
    """
    kilns = (bench_kiln("K1"), bench_kiln("K2"))
    full = {"footprint_cm2": 850.0, "height_mm": 200.0, "promised": BEGIN}
    bounds = []
    for hands in (1, 2):
        shifts = (ALWAYS.model_copy(update={"hands": hands}),)
        place = studio(kilns=kilns, shifts=shifts, prices=Prices(firing=0.0, late_hour=1.0))
        session = session_of(place, (load("A", **full), load("B", **full)))
        columns = listed(session)
        every = [column.by_start < math.inf for column in columns]
        bounds.append(listed_answer(session.problem, columns, every, 1e4, seconds=20.0).bound)
    assert bounds == pytest.approx([21.5, 21.0], abs=0.01)
