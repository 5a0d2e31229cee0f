"""A kiln out of use twice at once, as when one under repair fails."""

from __future__ import annotations

from scheduler.audit import prove
from scheduler.planning.door import Settings, plan
from shared.studio import Outage
from tests.scheduler.planning.plain_studio import BEGIN, bench_kiln, clock, load, problem_of, studio


def test_a_short_outage_within_a_long_one_does_not_open_the_kiln_again() -> None:
    """Nothing is planned into K1, which is out for good, behind the end of the shorter outage."""
    outages = (
        Outage(kiln="K1", begins=clock("08:00"), ends=clock("12:00")),
        Outage(kiln="K1", begins=clock("00:00"), ends=None),
    )
    place = studio(kilns=(bench_kiln("K1"), bench_kiln("K2")), outages=outages)
    loads = tuple(load(f"L{n}", footprint_cm2=800.0, height_mm=250.0, promised=clock("20:00")) for n in range(4))
    made = plan(place, loads, now=BEGIN, begin=BEGIN, settings=Settings(work_limit=30))
    prove(place, loads, made)
    assert {firing.kiln for firing in made.firings} == {"K2"}


def test_outages_that_overlap_or_touch_are_one_and_others_stay_apart() -> None:
    spans = (("10:00", "12:00"), ("08:00", "10:30"), ("12:00", "13:00"), ("15:00", "16:00"))
    outages = tuple(Outage(kiln="K1", begins=clock(a), ends=clock(b)) for a, b in spans)
    problem = problem_of(studio(outages=outages), ())
    grid = problem.grid_minutes
    assert problem.blocked == (((480 // grid, 780 // grid), (900 // grid, 960 // grid)),)
