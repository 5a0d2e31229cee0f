"""Sessions that take several people: what the planner says of them, in plans, offers, chances and reasons."""

from __future__ import annotations

from random import Random

import pytest

from scheduler.audit import prove
from scheduler.planning.chances import Assumptions, chances
from scheduler.planning.door import Settings, plan
from scheduler.planning.events import Away, Events
from scheduler.planning.promise import promise
from scheduler.planning.replan import replan
from scheduler.planning.whatif import figures
from scheduler.planning.why import explain_load
from shared.loads import Load
from shared.plans import Plan
from shared.profiles import Segment
from shared.studio import Shift, Studio
from tests.scheduler.planning.plain_studio import (
    BEGIN,
    EVERY_DAY,
    MONDAY,
    bench_kiln,
    clock,
    load,
    slow_profile,
    studio,
)

WORK = Settings(work_limit=30)
CASTING = slow_profile(
    "casting",
    work="burnout",
    unload="hot",
    unload_below_c=None,
    skill="casting",
    session_people=2,
    own_segments=(Segment(rate_k_per_hour=100.0, to_c=220.0, hold_minutes=60.0, hold_up_to_minutes=360.0),),
)
"""Three hours from the start to the least hold's end, eight to that of the longest."""

CASTER = Shift(days=EVERY_DAY, opens="09:00", closes="21:00", skills=("casting",))


def workshop(*shifts: Shift, people: int = 2, kilns: int = 1) -> Studio:
    """A studio for castings, in which other work can be fired too."""
    return studio(
        kilns=tuple(bench_kiln(f"K{number}", work=("burnout", "firing")) for number in range(1, kilns + 1)),
        profiles=(slow_profile(), CASTING.model_copy(update={"session_people": people})),
        shifts=shifts,
    )


def helper(opens: str, closes: str, hands: int = 1, days: tuple[str, ...] = EVERY_DAY) -> Shift:
    """Somebody who may not cast."""
    return Shift(days=days, opens=opens, closes=closes, hands=hands)


def flask(name: str = "C", **changes: object) -> Load:
    """A load whose casting takes an hour."""
    return load(name, profile="casting", session_minutes=60.0, **changes)


def planned(place: Studio, *loads: Load) -> Plan:
    """A plan of some loads, proved."""
    made = plan(place, loads, now=BEGIN, begin=BEGIN, settings=WORK)
    prove(place, loads, made)
    return made


@pytest.mark.parametrize(("people", "begins"), [(1, "12:30"), (2, "16:00")])
def test_a_casting_begins_when_all_its_people_are_there(people: int, begins: str) -> None:
    """Half an hour to load and three hours to the hold's end; the helper comes at four."""
    place = workshop(CASTER, helper("16:00", "21:00"), people=people)
    made = planned(place, flask(promised=clock("12:00")))
    assert [firing.unload_at for firing in made.firings] == [clock(begins)]


def test_two_castings_with_one_helper_follow_one_another() -> None:
    """Four hands, three of which can cast, are enough for two castings at once; with three hands one waits."""
    loads = (flask("A", promised=clock("12:00"), alone=True), flask("B", promised=clock("12:00"), alone=True))
    casters = CASTER.model_copy(update={"hands": 3})
    at_once = planned(workshop(casters, helper("09:00", "21:00"), kilns=2), *loads)
    apart = planned(workshop(casters, kilns=2), *loads)
    assert [firing.unload_at for firing in at_once.firings] == [clock("12:30"), clock("12:30")]
    assert sorted(firing.unload_at for firing in apart.firings) == [clock("12:30"), clock("13:30")]


@pytest.mark.parametrize("seed", range(4))
def test_plans_with_castings_of_two_among_other_work_are_proved(seed: int) -> None:
    """The audit reads the rule by itself; a small studio's firings are all listed, so the bound counts them too."""
    random = Random(seed)
    shifts = (
        Shift(days=EVERY_DAY, opens="08:00", closes="14:00", skills=("casting",)),
        helper("10:00", f"1{random.randint(3, 8)}:00"),
        Shift(days=EVERY_DAY, opens="13:00", closes="20:00", hands=2, skills=("casting",)),
    )
    loads = [flask(f"C{n}", promised=clock("19:00", random.randint(0, 2)), priority=n + 1) for n in range(3)]
    loads += [load(f"W{n}", promised=clock("18:00", random.randint(0, 2)), footprint_cm2=700.0) for n in range(5)]
    made = planned(workshop(*shifts, kilns=2), *loads)
    castings = [firing for firing in made.firings if firing.profile == "casting"]
    assert castings
    assert made.unplaced == ()
    assert made.proof.bound <= made.proof.cost + 1e-6


@pytest.mark.parametrize(
    ("people", "helps"),
    [
        (2, "one more pair of hands on each shift"),
        (3, "2 more pairs of hands on each shift"),
        (4, "3 more pairs of hands on each shift"),
    ],
)
def test_a_casting_for_more_than_are_ever_there_has_no_place_and_says_how_many_are_missing(
    people: int, helps: str
) -> None:
    (row,) = planned(workshop(CASTER, people=people), flask()).unplaced
    assert (row.rule, row.would_help) == ("hands", (helps,))


def test_a_casting_that_two_could_hold_at_other_hours_says_so() -> None:
    """Two are there for forty minutes a day: it can be loaded, and a casting takes an hour."""
    (row,) = planned(workshop(CASTER.model_copy(update={"hands": 2, "closes": 580})), flask()).unplaced
    assert (row.rule, row.would_help) == ("hands", ("2 people there at other hours",))


def test_the_hours_of_hands_that_are_offered_are_of_people_enough_and_of_no_more() -> None:
    """Loaded in the morning by whoever is there; later nobody is, and a caster alone will not do."""
    place = workshop(Shift(days=("mon",), opens="09:00", closes="09:40", hands=2, skills=("casting",)))
    wanted = flask()
    found = explain_load(place, (wanted,), planned(place, wanted), "C", settings=WORK)
    assert found.rule == "hands"
    mend = found.mends[0]
    assert (mend.change.kind, mend.change.amount) == ("hands", 2.0)
    more = mend.change.studio.shifts[1:]
    assert [(shift.hands, shift.skills) for shift in more] == [(1, ("casting",)), (1, ())]
    assert [(shift.opens, shift.closes) for shift in more] == [(more[0].opens, more[0].opens + 60)] * 2
    assert planned(mend.change.studio, wanted).unplaced == ()
    alone = mend.change.studio.model_copy(update={"shifts": mend.change.studio.shifts[:2]})
    assert [row.load for row in planned(alone, wanted).unplaced] == ["C"]


def test_where_a_caster_is_there_one_helper_is_offered() -> None:
    place = workshop(CASTER)
    wanted = flask(promised=clock("20:00"))
    found = explain_load(place, (wanted,), planned(place, wanted), "C", settings=WORK)
    assert (found.mends[0].change.kind, found.mends[0].change.amount) == ("hands", None)


@pytest.mark.parametrize(("people", "out"), [(1, "13:30"), (2, "17:00")])
def test_a_casting_is_promised_for_when_two_are_there(people: int, out: str) -> None:
    place = workshop(CASTER, helper("16:00", "21:00"), people=people)
    offer = promise(place, (), planned(place), flask(), now=BEGIN).offer
    assert offer is not None
    assert offer.out_at == clock(out)


@pytest.mark.parametrize(("people", "hours"), [(1, 1.5), (2, 2.5), (3, 3.5)])
def test_the_hours_of_people_count_each_of_them(people: int, hours: float) -> None:
    """Half an hour of loading by one, an hour of casting by all."""
    place = workshop(CASTER, helper("09:00", "21:00", hands=2), people=people)
    assert figures(place, planned(place, flask())).people_hours == pytest.approx(hours)


@pytest.mark.parametrize(("people", "same_day"), [(1, True), (2, False)])
def test_a_kiln_that_starts_late_for_its_casting_waits_for_the_helper_to_come_again(
    people: int, same_day: bool
) -> None:
    """Started two hours late, it is ready after the helper has gone; the caster is there until nine."""
    place = workshop(CASTER, helper("12:00", "14:00"), people=people)
    made = planned(place, flask(session_at=clock("12:30")))
    late = Assumptions(forgotten=1.0, breaks_off=0.0, again=0.0, noticed_minutes=120)
    (told,) = chances(place, (flask(),), made, samples=500, assumptions=late).loads
    assert (told.late < clock("18:00")) is same_day
    assert (told.early < clock("12:00", day=1)) is same_day


def test_a_helper_who_stays_away_leaves_nobody_to_cast_beside_the_caster() -> None:
    place = workshop(CASTER, helper("08:00", "20:00"))
    wanted = flask(session_at=clock("16:00"))
    made = planned(place, wanted)
    noon = clock("14:00")
    (firing,) = made.firings
    assert firing.start_at < noon < firing.unload_at
    away = Events(absent=(Away(on=MONDAY, opens=8 * 60),))
    asked = replan(place, (wanted,), made, now=noon, events=away, settings=WORK).questions
    assert [(question.firing, question.default) for question in asked] == [(firing.id, "lost")]
    alone = place.model_copy(update={"profiles": (slow_profile(), CASTING.model_copy(update={"session_people": 1}))})
    assert replan(alone, (wanted,), made, now=noon, events=away, settings=WORK).questions == ()


def test_a_casting_under_way_waits_in_its_hold_for_another_helper() -> None:
    """The helper of the afternoon stays away, the one of the evening comes at four: within the hold."""
    place = workshop(CASTER, helper("12:00", "16:00"), helper("16:00", "21:00"))
    wanted = flask(session_at=clock("15:00"))
    made = planned(place, wanted)
    away = Events(absent=(Away(on=MONDAY, opens=12 * 60),))
    found = replan(place, (wanted,), made, now=clock("13:00"), events=away, settings=WORK)
    prove(found.studio, found.loads, found.plan)
    assert found.questions == ()
    assert [firing.unload_at for firing in found.plan.firings] == [clock("16:00")]
