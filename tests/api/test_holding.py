"""Until when a session's hold may go on: never into what the plan kept the session clear of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import pytest

from api.day import Day
from api.formats import Formats
from api.holding import HoldLimit, hold_limit
from api.segments import segment_lines
from api.sheets.key_notes import key_notes
from scheduler.audit import AuditedPlan
from shared.plans import Firing
from shared.studio import Outage, Quiet, Studio
from tests.api.placed_plan import at


@dataclass
class House:
    """The small studio, whose casting on Tuesday from 12:00 to 14:00 may by its profile be held for a day."""

    studio: Studio
    casting: Firing
    others: tuple[Firing, ...]

    def limit(self, firings: Sequence[Firing] = (), late: int = 0) -> HoldLimit:
        return hold_limit(self.studio, [self.casting, *firings], self.casting, late)

    def minute(self, clock: str) -> int:
        return at(self.studio, "2026-12-01", clock)

    def other(self, **changes: Any) -> Firing:
        """Another kiln's firing long before, but for what is changed."""
        return self.others[0].model_copy(update={"id": "X", **changes})


@pytest.fixture
def house(audited: AuditedPlan) -> House:
    studio = audited.studio
    profiles = []
    for profile in studio.profiles:
        rows = tuple(
            row.model_copy(
                update={
                    "segments": (
                        *row.segments[:-1],
                        row.segments[-1].model_copy(update={"hold_up_to_minutes": 1440.0}),
                    )
                }
            )
            for row in profile.sizes
        )
        profiles.append(profile.model_copy(update={"sizes": rows}))
    casting = next(firing for firing in audited.plan.firings if firing.kiln == "K3")
    others = tuple(firing for firing in audited.plan.firings if firing.kiln != "K3")
    return House(studio.model_copy(update={"profiles": tuple(profiles)}), casting, others)


def test_a_hold_ends_when_those_leave_who_may_attend_it(house: House) -> None:
    """Others are there until ten, but cannot cast."""
    assert house.limit() == HoldLimit(house.minute("18:00"), "people")


def test_a_kiln_that_is_late_still_switches_off_in_time(house: House) -> None:
    assert house.limit(late=12) == HoldLimit(house.minute("17:48"), "people")


def test_a_hold_ends_before_a_quiet_time_of_its_work_and_not_of_another(house: House) -> None:
    begins, ends = 15 * 60 + 30, 17 * 60
    for work, limit in (
        (("burnout",), ("15:30", "quiet")),
        (None, ("15:30", "quiet")),
        (("glaze",), ("18:00", "people")),
    ):
        quiet = Quiet.model_construct(days=("tue",), begins=begins, ends=ends, work=work)
        house.studio = house.studio.model_copy(update={"quiet": (quiet,)})
        assert house.limit() == HoldLimit(house.minute(limit[0]), limit[1])


@pytest.mark.parametrize("what", [{"kiln": "K3"}, {"circuit": "main"}])
def test_a_hold_ends_before_an_outage_of_its_kiln_or_circuit(house: House, what: dict[str, str]) -> None:
    outage = Outage.model_construct(kiln=None, circuit=None, ends=None, reason=None, begins=house.minute("16:10"))
    house.studio = house.studio.model_copy(update={"outages": (outage.model_copy(update=what),)})
    assert house.limit() == HoldLimit(house.minute("16:10"), "outage")


def test_a_kiln_is_let_cool_in_time_for_its_next_firing(house: House) -> None:
    cooling = house.casting.free_at - house.casting.hot_until
    load_at = house.minute("16:00") + cooling
    following = house.other(kiln="K3", load_at=load_at, start_at=load_at + 900, unload_at=load_at + 2000)
    assert house.limit([following]) == HoldLimit(house.minute("16:00"), "kiln")


def test_a_hold_ends_when_another_kiln_starts_that_its_circuit_cannot_carry_too(house: House) -> None:
    """The bench board may carry 32 A: 13 beside 19, not beside 19.5."""
    start = {"kiln": "K2", "start_at": house.minute("15:00"), "hot_until": house.minute("23:00")}
    assert house.limit([house.other(amps=19.0, **start)]) == HoldLimit(house.minute("18:00"), "people")
    assert house.limit([house.other(amps=19.5, **start)]) == HoldLimit(house.minute("15:00"), "circuit")
    # K1 loads the main breaker's legs as well, and leaves enough of them.
    assert house.limit([house.other(amps=24.0, **start | {"kiln": "K1"})]).why == "people"


def test_a_hold_ends_when_its_people_are_to_load_another_kiln(house: House) -> None:
    """Three hands are there until six: the session takes one of them."""
    load = {"load_at": house.minute("16:30"), "start_at": house.minute("23:30"), "unload_at": house.minute("23:50")}
    two = [house.other(**load), house.other(**load)]
    assert house.limit(two) == HoldLimit(house.minute("18:00"), "people")
    assert house.limit([*two, house.other(**load)]) == HoldLimit(house.minute("16:30"), "hands")


def test_a_hold_is_never_said_to_end_before_the_session_that_is_planned(house: House) -> None:
    outage = Outage.model_construct(kiln="K3", circuit=None, ends=None, reason=None, begins=house.minute("14:00"))
    house.studio = house.studio.model_copy(update={"outages": (outage,)})
    assert house.limit(late=30) == HoldLimit(house.casting.hot_until, "outage")


def test_the_hold_that_may_last_is_keyed_in_and_the_sheet_says_who_ends_it(
    house: House, audited: AuditedPlan, formats: Formats
) -> None:
    day = Day(audited, formats.local(house.casting.unload_at).date())
    shown = day.shown(house.casting)
    lines = segment_lines(shown, formats)
    assert lines[-1].hold == formats.duration(shown.longest_hot_until - house.casting.target_at)
    assert shown.longest_hot_until > house.casting.hot_until
    (note,) = key_notes(shown, lines, formats, day.date)
    assert "Switch it off by hand when the session is over (planned 14:00)" in note
    assert formats.clock(shown.longest_hot_until, day.date) in note
