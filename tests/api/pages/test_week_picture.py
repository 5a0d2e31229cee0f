"""The week's picture says what the plan says: phases without gaps, currents as the audit found them."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import pairwise

import pytest

from api.formats import Formats
from api.pages.week_picture import LEFT, LETTER, NEAR, RIGHT, leg_steps, phases, spaced, week_picture
from api.words import read_words
from scheduler.audit import AuditedPlan
from shared.clock import wall_minute

MONDAY = date(2026, 11, 30)


def test_the_highest_current_of_each_leg_is_the_audits(audited: AuditedPlan) -> None:
    for circuit in audited.studio.circuits:
        for leg in circuit.leg_names:
            steps = leg_steps(audited, circuit, leg, audited.plan.begin, audited.plan.end)
            assert max(amps for _, amps in steps) == pytest.approx(audited.peaks[circuit.id, leg].amps)


def test_phases_follow_each_other_without_gaps(audited: AuditedPlan) -> None:
    for firing in audited.plan.firings:
        kiln = audited.studio.kiln_by_id[firing.kiln]
        found = list(phases(firing, kiln.load_minutes))
        assert found[0][1] == firing.load_at
        assert found[-1][2] == max(firing.free_at, firing.out_at)
        assert all(before[2] == after[1] for before, after in pairwise(found))
    kinds = {kind for firing in audited.plan.firings for kind, _, _ in phases(firing, 30)}
    assert kinds == {"load", "wait", "heat", "hold", "cool", "open"}


def test_bars_are_to_scale_and_on_the_picture(audited: AuditedPlan, formats: Formats) -> None:
    """F1 starts heating at 09:40 on Monday: 9 h 40 min of seven days from the left edge."""
    picture = week_picture(audited, formats, MONDAY, 7, audited.plan.begin)
    first = picture.lanes[0].firings[0]
    heat = next(bar for bar in first.bars if bar.kind == "heat")
    assert heat.x == pytest.approx(LEFT + (RIGHT - LEFT) * (9 + 40 / 60) / (7 * 24), abs=0.1)
    for lane in picture.lanes:
        for one in lane.firings:
            assert all(bar.x >= LEFT and bar.x + bar.width <= RIGHT + 1.5 for bar in one.bars)
    (out,) = picture.lanes[3].outages
    assert (out.kind, out.label) == ("out", "relay on order")
    assert out.title == "out of use from Sat 28 Nov 09:00 until further notice (relay on order)"


def test_the_line_of_now_is_there_only_within_the_week(audited: AuditedPlan, formats: Formats) -> None:
    noon = wall_minute(MONDAY, 720, audited.studio.place.zone)
    assert week_picture(audited, formats, MONDAY, 7, noon).now_x == pytest.approx(LEFT + (RIGHT - LEFT) / 14, abs=0.1)
    assert week_picture(audited, formats, MONDAY, 7, noon - 1440).now_x is None


def test_only_ones_own_firings_and_no_currents_where_asked(audited: AuditedPlan, formats: Formats) -> None:
    picture = week_picture(audited, formats, MONDAY, 7, audited.plan.begin, only={"F2"})
    assert [one.id for lane in picture.lanes for one in lane.firings] == ["F2"]
    assert picture.legs == ()


def test_currents_that_stay_far_below_their_limits_are_folded_and_none_is_lost(audited: AuditedPlan) -> None:
    formats = Formats(audited.studio, read_words("en"))
    picture = week_picture(audited, formats, date(2026, 11, 30), 7, audited.plan.begin)
    assert all(leg.share >= NEAR for leg in picture.legs)
    assert all(leg.share < NEAR for leg in picture.rest)
    assert picture.legs
    assert picture.rest
    assert len(picture.legs) + len(picture.rest) == sum(len(one.leg_names) for one in audited.studio.circuits)
    for rows in (picture.legs, picture.rest):
        tops = [leg.top for leg in rows]
        assert tops == sorted(set(tops))


def test_a_firing_whose_name_has_no_room_is_told_by_its_work_and_only_then_by_its_number(
    audited: AuditedPlan, formats: Formats
) -> None:
    one = week_picture(audited, formats, MONDAY, 7, audited.plan.begin).lanes[0].firings[0]
    assert one.label == "F1 Bisque, cone 04"

    def beside(letters: float) -> str:
        following = replace(one, x=one.x + letters * LETTER)
        return spaced([one, following], ())[0].label

    assert [beside(letters) for letters in (18.5, 17.5, 9.5, 8.5, 2.5, 1.5)] == [
        "F1 Bisque, cone 04",
        "F1 bisque",
        "F1 bisque",
        "F1",
        "F1",
        "",
    ]
