"""The cheapest place for one firing, against looking at every slot."""

from __future__ import annotations

import numpy as np
import pytest

from scheduler.planning.insertion import Inserter
from scheduler.planning.timetable import Placed, Timetable, out_minutes
from shared.kilns import Circuit
from shared.profiles import Segment
from shared.studio import Band, Prices, Quiet, Rules, Shift, Tariff
from tests.scheduler.planning.plain_studio import (
    EVERY_DAY,
    bench_kiln,
    load,
    slow_profile,
    studio,
    timetable_of,
)

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri")
HOT = slow_profile(
    "hot",
    unload="hot",
    unload_below_c=None,
    skill="casting",
    own_segments=(Segment(rate_k_per_hour=150.0, to_c=320.0, hold_minutes="0:30", hold_up_to_minutes="5:00"),),
)


def _busy_studio(seed: int, session_people: int = 1) -> Timetable:
    rng = np.random.default_rng(seed)
    place = studio(
        kilns=(
            bench_kiln("K1", unattended=False),
            bench_kiln("K2", attend_end=True),
            bench_kiln("K3", load_minutes=10.0, unload_minutes=50.0),
        ),
        profiles=(slow_profile(), HOT.model_copy(update={"session_people": session_people})),
        shifts=(
            Shift(days=EVERY_DAY, opens="08:30", closes="13:00", hands=1, skills=("casting",)),
            Shift(days=EVERY_DAY, opens="12:00", closes="21:00", hands=2),
        ),
        circuits=(Circuit(id="main", breaker_amps=55.0),),
        quiet=(Quiet(days=("mon", "tue"), begins="14:00", ends="15:00"),),
        tariff=Tariff(default=0.3, bands=(Band(days=EVERY_DAY, begins="21:00", ends="06:00", price=0.1),)),
        prices=Prices(late_hour=0.5),
        rules=Rules(horizon_days=3, grid_minutes=15),
    )
    loads = []
    for n in range(14):
        hot = bool(rng.random() < 0.35)
        promise = int(rng.integers(300, 3 * 1440)) if rng.random() < 0.7 else None
        loads.append(
            load(
                f"L{n}",
                profile="hot" if hot else "warm",
                mass_kg=float(rng.uniform(0.2, 3.0)),
                session_minutes=30.0 if hot else None,
                ready=int(29_933_280 + rng.integers(0, 1800)),
                promised=None if promise is None else 29_933_280 + promise,
            )
        )
    timetable = timetable_of(place, tuple(loads))
    inserter = Inserter(timetable, seed)
    for number in range(8):
        inserter.insert_load(number)
    return timetable


def _by_looking_at_every_slot(timetable: Timetable, number: int, kiln: int) -> float | None:
    """The least guide cost of a load alone in a kiln, rule by rule, slot by slot, in plain Python."""
    problem, batches = timetable.problem, timetable.batches
    batch = batches.make(problem.loads[number].profile, (number,))
    assert batch is not None
    fit = batches.fit(batch, kiln)
    if fit is None:
        return None
    phases = fit.phases
    skill = problem.studio.profile_by_id[batch.profile].skill if phases.is_hot else None
    rows = problem.groups_of_skill[skill]
    helpers = problem.studio.profile_by_id[batch.profile].session_people - 1 if phases.is_hot else 0
    work = problem.studio.profile_by_id[batch.profile].work
    best: float | None = None

    def staffed(begin: int, length: int, groups: tuple[int, ...], helpers: int = 0) -> bool:
        span = range(begin, begin + max(1, length))
        return begin + max(1, length) <= problem.slots and all(
            timetable.people_used[g, t] + (helpers if g == 0 else 0) < problem.people[g, t]
            for t in span
            for g in groups
        )

    loads_at = [t for t in range(max(0, batch.ready), problem.slots) if staffed(t, phases.load, (0,))]
    unloads_at = [t for t in range(problem.slots) if staffed(t, phases.unload, rows, helpers)]
    for start in range(problem.slots):
        if not problem.start_ok[kiln][start]:
            continue
        for unload in unloads_at:
            if unload < start + phases.safe or unload > start + phases.latest:
                continue
            hot_end = unload + phases.unload if phases.is_hot else start + phases.hot
            lines = problem.kiln_lines[kiln]
            if hot_end > problem.slots or any(
                not problem.heat_ok[kiln, work][t]
                or any(timetable.lines_used[r, t] + problem.kiln_amps[kiln] > problem.line_limit[r] for r in lines)
                for t in range(start, hot_end)
            ):
                continue
            ends = range(start + phases.end_slot - phases.end_early, start + phases.end_slot + 1)
            if not phases.is_hot and not all(problem.end_ok[kiln][end] for end in ends):
                continue
            for load_at in loads_at:
                if load_at + phases.load > start:
                    break
                placed = timetable.placed_at(batch, kiln, fit, load_at, start, unload)
                if any(load_at < end and begin < placed.place.free for begin, end, _ in timetable.busy(kiln)):
                    continue
                if best is None or placed.place.guide < best:
                    best = placed.place.guide
            break  # a later unloading is never cheaper
    return best


@pytest.mark.parametrize("session_people", [1, 2])
@pytest.mark.parametrize("seed", range(3))
def test_no_slot_is_cheaper_than_the_place_found(seed: int, session_people: int) -> None:
    timetable = _busy_studio(seed, session_people)
    checked = 0
    for number in range(8, 14):
        for kiln in range(3):
            batch = timetable.batches.make(timetable.problem.loads[number].profile, (number,))
            assert batch is not None
            fit = timetable.batches.fit(batch, kiln)
            assert fit is not None
            placed = timetable.best_place(batch, kiln, fit)
            expected = _by_looking_at_every_slot(timetable, number, kiln)
            if placed is None:
                assert expected is None
                continue
            assert placed.place.guide == pytest.approx(expected, abs=1e-6)
            checked += 1
    assert checked >= 6


@pytest.mark.parametrize("session_people", [1, 2])
def test_what_is_booked_is_sound_and_undone_to_the_last_slot(session_people: int) -> None:
    timetable = _busy_studio(1, session_people)
    assert timetable.is_sound()
    people, lines = timetable.people_used.copy(), timetable.lines_used.copy()
    cost, mark = timetable.cost(), len(timetable.log)
    for number in list(timetable.firings)[:4]:
        timetable.remove(number)
    Inserter(timetable, 5).insert_load(9)
    timetable.undo(mark)
    assert np.array_equal(people, timetable.people_used)
    assert np.array_equal(lines, timetable.lines_used)
    assert timetable.cost() == pytest.approx(cost, abs=1e-9)


def test_a_session_takes_its_people_of_everybody_and_one_of_those_with_its_skill() -> None:
    timetable = _busy_studio(1, session_people=2)
    everybody, casters = np.zeros_like(timetable.people_used[0]), np.zeros_like(timetable.people_used[0])
    sessions = 0
    for firing in timetable.firings.values():
        place, phases = firing.place, firing.fit.phases
        everybody[place.load : place.load + phases.load] += 1
        everybody[place.unload : place.unload + phases.unload] += 2 if phases.is_hot else 1
        casters[place.unload : place.unload + phases.unload] += 1 if phases.is_hot else 0
        sessions += phases.is_hot
    assert sessions >= 2
    assert np.array_equal(timetable.people_used, [everybody, casters])


@pytest.mark.parametrize(("people", "begins"), [(1, 144), (2, 156), (3, None)])
def test_a_session_waits_for_a_helper_who_need_not_have_the_skill(people: int, begins: int | None) -> None:
    """A caster alone from 09:00, a helper from 13:00, slot 156. Half an hour to load and 2:30 to the hold's end."""
    caster = Shift(days=EVERY_DAY, opens="09:00", closes="17:00", hands=1, skills=("casting",))
    helper = Shift(days=EVERY_DAY, opens="13:00", closes="17:00", hands=1)
    profile = HOT.model_copy(update={"session_people": people})
    waiting = load("A", profile="hot", session_minutes=60.0)
    timetable = timetable_of(studio(profiles=(profile,), shifts=(caster, helper)), (waiting,))
    batch = timetable.batches.make("hot", (0,))
    assert batch is not None
    fit = timetable.batches.fit(batch, 0)
    assert fit is not None
    placed = timetable.best_place(batch.at_any_price(), 0, fit)
    assert (None if placed is None else placed.place.unload) == begins


def test_two_firings_put_on_each_other_are_not_sound() -> None:
    timetable = _busy_studio(2)
    firing: Placed = next(iter(timetable.firings.values()))
    timetable.add(firing)
    assert not timetable.is_sound()


def test_out_is_the_end_of_unloading() -> None:
    timetable = _busy_studio(0)
    for firing in timetable.firings.values():
        each = 30.0 * len(firing.batch.loads)  # hot sessions follow one another
        minutes = each if firing.fit.phases.is_hot else timetable.problem.kilns[firing.kiln].unload_minutes
        assert out_minutes(firing, 15) == firing.place.unload * 15 + minutes
