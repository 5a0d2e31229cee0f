"""The last word on times: what loses its place takes its later stages along, and all of them are placed again."""

from __future__ import annotations

from dataclasses import replace

import pytest

from scheduler.planning.batches import Batch, Fit
from scheduler.planning.settle import settle
from scheduler.planning.timetable import Placed, Timetable, out_minutes
from shared.profiles import Segment
from shared.studio import Rules, Shift
from tests.scheduler.planning.plain_studio import (
    DAYTIME,
    EVERY_DAY,
    bench_kiln,
    load,
    slow_profile,
    studio,
    timetable_of,
)

HOURS = (("09:00", "11:00"), ("12:00", "20:00"))


def at(timetable: Timetable, load: int, start: int, kiln: int) -> Placed:
    """A load by itself whose kiln starts in that slot, or as soon after it as can be."""
    batch = timetable.batches.make("warm", (load,))
    assert batch is not None
    fit = timetable.batches.fit(batch, kiln)
    assert fit is not None
    placed = timetable.best_place(batch, kiln, fit, not_before=start)
    assert placed is not None
    return placed


def fit_of(timetable: Timetable, batch: Batch, exact: bool, **phases: int) -> Fit:
    """How a batch fits the one kiln, from now on by its real mass or the ladder's; some of its phases changed."""
    timetable.batches.exact = exact
    fit = timetable.batches.fit(batch, 0)
    assert fit is not None
    return replace(fit, phases=replace(fit.phases, **phases))


@pytest.mark.parametrize("held", [True, False])
def test_a_stage_does_not_stay_where_the_one_before_has_lost_its_place(held: bool) -> None:
    """FIRST has no place before SECOND: another firing that nobody moves is in its kiln by then."""
    loads = (load("FIRST", kilns=("K1",)), load("SECOND", after="FIRST", kilns=("K2",)), load("OTHER"))
    timetable = timetable_of(studio(kilns=(bench_kiln("K1"), bench_kiln("K2"))), loads)
    first, other = at(timetable, 0, 0, kiln=0), at(timetable, 2, 0, kiln=0)
    timetable.add(first)
    second = at(timetable, 1, 0, kiln=1)
    timetable.add(replace(second, fixed=held))
    timetable.add(replace(other, fixed=True))
    settle(timetable)
    of = timetable.firing_of
    assert set(of) == {0, 1, 2}
    firsts, seconds = timetable.firings[of[0]], timetable.firings[of[1]]
    assert firsts.place.start > first.place.start
    assert seconds.place.load * timetable.problem.grid_minutes >= out_minutes(firsts, timetable.problem.grid_minutes)


@pytest.mark.parametrize("mass_kg", [3.05, 5.2, 8.25, 10.05])
def test_an_attended_end_is_attended_with_the_real_mass_as_well(mass_kg: float) -> None:
    """Each mass is just above a step of the ladder, so that the real firing ends sooner than the one searched with.

    Wherever the search may start it, the real one may start as well; without the rule it might not.
    """
    profile = slow_profile(own_segments=(Segment(rate_k_per_hour=None, to_c=900.0, hold_minutes="0:30"),))
    kiln = bench_kiln(attend_end=True, kilowatts=2.0)
    place = studio(kilns=(kiln,), profiles=(profile,), shifts=(DAYTIME,), rules=Rules(horizon_days=4, grid_minutes=5))
    timetable = timetable_of(place, (load("L", mass_kg=mass_kg),))
    batch = timetable.batches.make("warm", (0,))
    assert batch is not None

    def starts(exact: bool, **phases: int) -> set[int]:
        fit = fit_of(timetable, batch, exact, **phases)
        slots = range(timetable.problem.slots)
        return {s for s in slots if timetable.best_place(batch, 0, fit, only_start=s) is not None}

    searched, real = starts(exact=False), starts(exact=True)
    assert searched
    assert searched <= real
    assert not starts(exact=False, end_early=0) <= real


@pytest.mark.parametrize("hold_up_to", [None, "2:00"])
@pytest.mark.parametrize("mass_kg", [6.85, 8.25, 10.05])
def test_a_session_that_the_search_holds_can_be_held_with_the_real_mass_as_well(
    mass_kg: float, hold_up_to: str | None
) -> None:
    """A kiln that is ready sooner and may not wait so long starts later, which may be when nobody is there any more.

    Where the search may hold a session, the real firing can have it as well; without the rule it might not.
    """
    segment = Segment(rate_k_per_hour=None, to_c=900.0, hold_minutes="0:30", hold_up_to_minutes=hold_up_to)
    profile = slow_profile(unload="hot", unload_below_c=None, own_segments=(segment,))
    place = studio(
        kilns=(bench_kiln(kilowatts=2.0),),
        profiles=(profile,),
        shifts=tuple(Shift(days=EVERY_DAY, opens=o, closes=c, hands=2) for o, c in HOURS),
        rules=Rules(horizon_days=4, grid_minutes=5, unattended_start=False),
    )
    timetable = timetable_of(place, (load("L", mass_kg=mass_kg, session_minutes=30.0),))
    batch = timetable.batches.make("warm", (0,))
    assert batch is not None

    def sessions(exact: bool, **phases: int) -> set[int]:
        fit = fit_of(timetable, batch, exact, **phases)
        slots = range(timetable.problem.slots)
        return {s for s in slots if timetable.best_place(replace(batch, session_slot=s), 0, fit) is not None}

    searched, real = sessions(exact=False), sessions(exact=True)
    assert searched
    assert searched <= real
    assert not sessions(exact=False, start_late=0) <= real
