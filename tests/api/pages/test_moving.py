"""A firing moved by hand: the audit answers, and a plan that breaks nothing can be kept and published."""

from __future__ import annotations

import pytest

from api.pages.moving import Wish, moved
from api.words import rule_name
from scheduler.audit import prove
from scheduler.planning.door import Settings, plan
from shared.profiles import Segment
from shared.studio import CleanOut, Prices, Shift
from tests.api.pages.conftest import Reader
from tests.scheduler.planning.plain_studio import BEGIN, bench_kiln, clock, load, slow_profile, studio

STAYS = {"kiln": "K2", "load_at": "2026-11-30T09:30", "start_at": "2026-11-30T10:00", "unload_at": "2026-12-01T10:00"}


def asked(pages: Reader, **changes: str) -> str:
    answer = pages.post("Wout", "/firings/F2/audit", STAYS | changes)
    assert answer.status_code == 200
    text: str = answer.text
    return text


def test_a_firing_left_where_it_is_breaks_nothing(pages: Reader) -> None:
    assert "It breaks no rule." in asked(pages)


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"load_at": "2026-11-30T07:30"}, "hands"),  # the first shift begins at 09:00
        ({"start_at": "2026-11-30T09:30"}, "load_order"),  # loading takes half an hour
        ({"unload_at": "2026-11-30T17:00"}, "load_order"),  # still hot
        ({"load_at": "2026-11-30T09:32", "start_at": "2026-11-30T10:02"}, "on_grid"),
    ],
)
def test_the_audit_names_what_a_move_breaks(pages: Reader, changes: dict[str, str], rule: str) -> None:
    assert f"<li>{rule_name(rule)}: " in asked(pages, **changes)


def test_a_kiln_that_cannot_take_it_is_told(pages: Reader) -> None:
    text = asked(pages, kiln="K4")
    assert "kiln does not fire this" in text or "do not fit" in text or "does not reach" in text


def test_a_later_start_is_kept_published_and_told_to_its_owner(pages: Reader) -> None:
    """The fuse starts five hours later and is opened on Wednesday: Ben's promise (Tuesday 17:00) breaks."""
    form = {"kiln": "K2", "load_at": "2026-11-30T14:30", "start_at": "2026-11-30T16:00",
            "unload_at": "2026-12-02T09:00", "keep": "1"}  # fmt: skip
    kept = pages.post("Marta", "/firings/F2/move", form)
    assert kept.status_code == 303, kept.text
    plan = kept.headers["location"]
    page = pages.get("Marta", plan).text
    assert "promise broken" in page
    assert "Publish this plan" in page
    done = pages.post("Marta", f"{plan}/publish", {"publication": "1"})
    assert done.headers["location"] == "/day?said=done"
    assert "16:00" in pages.get("Marta", "/firings/F2").text
    assert "F1" in pages.get("Ben", "/day?date=2026-12-02").text
    assert "later than promised" in pages.get("Ben", "/day?date=2026-12-02").text


def test_a_move_that_breaks_a_rule_cannot_be_kept(pages: Reader) -> None:
    answer = pages.post("Marta", "/firings/F2/move", STAYS | {"load_at": "2026-11-30T07:30", "keep": "1"})
    assert answer.status_code == 422
    assert "hands: " in answer.text
    assert pages.get("Marta", "/plans/2").status_code == 404


def test_what_is_under_way_is_not_moved(pages: Reader) -> None:
    pages.house.clock.move(hours=3)
    assert "under way is not moved" in asked(pages)


def test_clean_outs_and_the_price_of_late_at_all_follow_a_move() -> None:
    """Bisque, then glaze, for which the kiln is cleaned out; a glaze that is late costs 50 and 1 an hour. Bisque moved
    to the end needs no clean-out before it, nor does the glaze, since glaze was fired last before the plan."""
    place = studio(
        kilns=(bench_kiln(work=("bisque", "glaze"), last_work="glaze"),),
        profiles=(slow_profile("b", work="bisque"), slow_profile("g", work="glaze")),
        clean_outs=(CleanOut(after=("bisque",), before=("glaze",), minutes=40.0, price=6.0),),
        prices=Prices(late_load=50.0),
    )
    wide = {"footprint_cm2": 800.0, "height_mm": 250.0}
    loads = (
        load("B", profile="b", promised=clock("23:00"), **wide),
        load("G", profile="g", ready=clock("12:00", day=1), promised=clock("23:00", day=2), **wide),
    )
    made = plan(place, loads, now=BEGIN, begin=BEGIN, settings=Settings(work_limit=5))
    glaze = next(firing for firing in made.firings if firing.loads == ("G",))
    assert (glaze.clean_out_minutes, made.cost_parts.clean_outs) == (40, 6.0)
    audited = prove(place, loads, made)
    start = clock("12:00", day=3)
    late = moved(audited, glaze.id, Wish("K1", start - 30, start, None), BEGIN - 1, frozenset(), False)
    assert late.firing.out_at > clock("23:00", day=2)
    hours = (late.firing.out_at - clock("23:00", day=2)) / 60
    assert late.plan.cost_parts.clean_outs == 6.0
    assert late.plan.cost_parts.lateness == pytest.approx(50.0 + hours)
    bisque = next(firing for firing in made.firings if firing.loads == ("B",))
    last = moved(audited, bisque.id, Wish("K1", start - 30, start, None), BEGIN - 1, frozenset(), False)
    assert last.plan.cost_parts.clean_outs == 0.0
    assert [firing.clean_out_minutes for firing in last.plan.firings] == [0, 0]


@pytest.mark.parametrize(("people", "begins"), [(1, "12:30"), (2, "16:00")])
def test_a_casting_moved_by_hand_is_proposed_for_when_all_its_people_are_there(people: int, begins: str) -> None:
    """Half an hour to load and three hours to the hold's end; the helper, who may not cast, comes at four."""
    held = Segment(rate_k_per_hour=100.0, to_c=220.0, hold_minutes=60.0, hold_up_to_minutes=360.0)
    casting = slow_profile(
        unload="hot", unload_below_c=None, skill="casting", session_people=people, own_segments=(held,)
    )
    caster = Shift(days=("mon", "tue"), opens="09:00", closes="21:00", skills=("casting",))
    helper = Shift(days=("mon", "tue"), opens="16:00", closes="21:00")
    place = studio(kilns=(bench_kiln("K1"), bench_kiln("K2")), profiles=(casting,), shifts=(caster, helper))
    loads = (load("C", session_minutes=60.0),)
    audited = prove(place, loads, plan(place, loads, now=BEGIN, begin=BEGIN, settings=Settings(work_limit=5)))
    start = clock("09:30", day=1)
    found = moved(audited, "F1", Wish("K2", start - 30, start, None), BEGIN - 1, frozenset(), False)
    assert found.firing.unload_at == clock(begins, day=1)
    assert found.breaches == ()
