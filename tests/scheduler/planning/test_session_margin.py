"""A house that wants its kilns hot in time for sessions: starts move, sessions do not."""

from __future__ import annotations

from scheduler.audit import prove
from scheduler.planning.chances import chances
from scheduler.planning.door import Settings, plan
from shared.loads import Load
from shared.plans import Firing
from shared.profiles import Segment
from shared.studio import Rules, Tariff
from tests.scheduler.planning.plain_studio import BEGIN, DAYTIME, clock, load, slow_profile, studio

HOT = slow_profile(
    unload="hot",
    unload_below_c=None,
    own_segments=(Segment(rate_k_per_hour=100.0, to_c=220.0, hold_minutes="1:00", hold_up_to_minutes="4:00"),),
)


def session(margin: float | None, booked: Load) -> tuple[Firing, float]:
    """The firing of a booked session, and the chance that it finds its kiln ready."""
    place = studio(profiles=(HOT,), shifts=(DAYTIME,), rules=Rules(session_margin=margin), tariff=Tariff(default=0.25))
    made = plan(place, (booked,), now=BEGIN - 300, begin=BEGIN, settings=Settings(work_limit=20, workers=1))
    prove(place, (booked,), made)
    (told,) = chances(place, (booked,), made).sessions
    (firing,) = made.firings
    return firing, told.hot


def test_the_kiln_starts_sooner_and_the_session_stays() -> None:
    booked = load("L1", session_minutes="0:30", session_at=clock("16:00"))
    late, by_chance = session(None, booked)
    early, surely = session(0.9, booked)
    assert late.start_at == clock("13:00")
    assert early.start_at < late.start_at
    assert early.unload_at == late.unload_at == clock("16:00")
    assert early.load_at < early.start_at
    assert by_chance < 0.7
    assert surely > 0.8  # nine in ten, less what is forgotten or broken off


def test_a_kiln_that_cannot_start_sooner_starts_as_late_as_its_computed_times_allow() -> None:
    booked = load("L1", session_minutes="0:30", session_at=clock("16:00"), ready=clock("12:30"))
    firing, _ = session(0.9, booked)
    assert firing.load_at == clock("12:30")
    assert firing.start_at == clock("13:00")
