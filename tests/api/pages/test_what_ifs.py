"""What-ifs: planned from the same moment as the studio as it is, and told with what was tried and how sure it is."""

from __future__ import annotations

import pytest

from api.comparing import verdict_lines
from api.formats import Formats
from api.tried import tried
from api.words import read_words
from scheduler.audit import AuditedPlan
from shared.studio import Outage, Tariff
from tests.api.pages.conftest import Reader
from tests.api.pages.test_plan_pages import changes, heading, solved
from tests.api.service.house import BISQUE, EVENING, Clock


def at_noon(pages: Reader, clock: Clock) -> None:
    """Monday 12:00: K1 and K2 are under way, the flask oven is to be loaded at 17:00."""
    clock.move(hours=2)
    for firing in ("F1", "F2"):
        for step, version in (("loaded", "0"), ("started", "1")):
            pages.post("Wout", f"/firings/{firing}/note", {"step": step, "version": version})
    clock.move(hours=2)


def asked(pages: Reader, **form: str) -> str:
    return solved(pages, pages.post("Marta", "/what-if", {"work": "1", **form}))


def test_at_noon_a_what_if_plans_from_noon_with_what_is_in_the_kilns(pages: Reader, clock: Clock) -> None:
    """A kiln that would take G1, which has no place; what is being fired stays, and the evening's firing is today's."""
    at_noon(pages, clock)
    path = asked(pages, **{"try": "kiln", "kiln": "K4"})
    text = pages.get("Marta", path).text
    assert "from Mon 30 Nov 12:00, with the kilns as they are then and what is in them" in text
    found = changes(text)
    assert set(found) == {"G1"}
    assert found["G1"][0] == "no place"
    plan = pages.house.get("Marta", f"/plans/{path.split('/')[-1]}")["plan"]
    firings = {firing["id"]: firing for firing in plan["firings"]}
    assert {"F1", "F2"} <= set(firings)
    assert firings["F1"]["start_at"].startswith("2026-11-30T10:00")  # as it was noted, not 9:40 as planned
    assert [f["load_at"][:10] for f in firings.values() if f["loads"] == ["C1"]] == ["2026-11-30"]


def test_before_it_begins_a_what_if_begins_where_the_plan_that_holds_does(pages: Reader, clock: Clock) -> None:
    clock.now = EVENING
    text = pages.get("Marta", asked(pages, **{"try": "hands"})).text
    assert "from Mon 30 Nov 00:00, where the plan that holds begins" in text


def test_the_page_of_a_what_if_says_what_was_tried(pages: Reader) -> None:
    path = asked(pages, **{"try": "kiln", "kiln": "K4"})
    assert heading(pages, path) == "Plan 2, what if: one more kiln, K4-2, like K4"
    assert heading(pages, path, "de") == "Plan 2, was wäre, wenn: noch ein Ofen, K4-2, wie K4"
    assert "what if: one more kiln, K4-2, like K4" in pages.get("Marta", "/plans").text
    path = asked(pages, **{"try": "current", "circuit": "bench", "amps": "63"})
    assert heading(pages, path) == "Plan 3, what if: circuit bench on a breaker of 63 A instead of 40 A"
    assert "for the maker's manual, local codes" in pages.get("Marta", path).text.replace("&#39;", "'")


def test_what_changes_nothing_costs_the_same_in_every_search(pages: Reader, clock: Clock) -> None:
    """Nothing is short of current in the small studio, so a larger breaker is worth nothing, and this is said.

    G1 alone changes: the plan by hand has left it out, and any search finds a place for it.
    """
    at_noon(pages, clock)
    path = asked(pages, **{"try": "current", "circuit": "main", "amps": "100"})
    notes = pages.house.get("Marta", f"/plans/{path.split('/')[-1]}")["summary"]["notes"]
    assert notes["costs"] == pytest.approx(notes["costs_as_is"])
    assert len(notes["costs"]) == 3
    text = pages.get("Marta", path).text
    assert set(changes(text)) == {"G1"}
    assert "3 searches each, with it and without it" in text
    assert "<strong>In points both are the same in every search.</strong>" in text


def test_a_load_that_is_in_a_kiln_cannot_be_supposed_away(pages: Reader, clock: Clock) -> None:
    at_noon(pages, clock)
    answer = pages.post("Marta", "/what-if", {"try": "cancel", "loads": "B1"})
    assert answer.status_code == 422
    assert "is in a kiln that is under way" in answer.text
    path = asked(pages, **{"try": "cancel", "loads": "C1"})
    assert heading(pages, path) == "Plan 2, what if: without these loads: C1"


def test_a_held_firing_stays_in_a_what_if(pages: Reader, clock: Clock) -> None:
    at_noon(pages, clock)
    pages.post("Marta", "/firings/F3/hold", {})
    path = asked(pages, **{"try": "kiln", "kiln": "K3"})
    plan = pages.house.get("Marta", f"/plans/{path.split('/')[-1]}")["plan"]
    kept = [f for f in plan["firings"] if f["loads"] == ["C1"]]
    assert [(f["kiln"], f["start_at"][:16]) for f in kept] == [("K3", "2026-11-30T22:00")]


def test_a_named_day_is_still_planned_from(pages: Reader) -> None:
    """Programs may name one."""
    job = pages.house.solve("/what-ifs", {"day": "2026-12-02", "add": [{**BISQUE, "id": "NEW"}], "work": 1})
    text = pages.get("Marta", f"/plans/{job['plan']}").text
    assert "from Wed 2 Dec 00:00" in text
    assert "what if: with new loads: NEW" in text


@pytest.mark.parametrize(
    ("costs", "as_is", "told"),
    [
        ([90.0, 92.0, 91.0], [100.0, 101.5, 100.0], "So it is better by 8.00 points to 11.50 points."),
        ([103.0, 102.0, 102.0], [100.0, 101.5, 100.0], "So it is worse by 0.50 points to 3.00 points."),
        ([99.0, 101.0, 100.0], [100.0, 101.5, 100.0], "no difference beyond the searches' own spread"),
        ([100.0, 100.0, 100.001], [100.0, 100.0, 100.0], "In points both are the same in every search."),
    ],
)
def test_a_difference_is_told_only_beyond_the_searches_own_spread(
    formats: Formats, costs: list[float], as_is: list[float], told: str
) -> None:
    lines = verdict_lines({"costs": costs, "costs_as_is": as_is}, "from noon", formats)
    assert told in lines[1]
    assert f"with it {min(costs):.2f} points to {max(costs):.2f} points" in lines[0]


def test_what_a_what_if_does_for_loads_is_told_even_where_points_do_not_differ(formats: Formats) -> None:
    costs = {"costs": [99.0, 101.0], "costs_as_is": [100.0, 101.5]}
    counts = {"late": [3, 5], "late_as_is": [6, 8], "unplaced": [5, 5], "unplaced_as_is": [5, 6]}
    lines = verdict_lines(costs | counts, "from noon", formats)
    assert (
        lines[3]
        == "With it 3 to 5 loads are late and 5 have no place; without it 6 to 8 are late and 5 to 6 have none."
    )
    assert len(verdict_lines(costs, "from noon", formats)) == 3, "a plan of before these were kept"


def test_each_change_is_told_in_words(audited: AuditedPlan) -> None:
    """Also those that only programs can ask for: a kiln less, a kiln built otherwise."""
    studio = audited.studio
    oven = studio.kiln_by_id["K3"]
    slower = oven.model_copy(update={"load_minutes": 40.0})
    out = Outage(kiln="K2", begins=audited.plan.begin, ends=audited.plan.begin + 600)
    (day, *_) = studio.shifts
    after = studio.model_copy(
        update={
            "kilns": (studio.kiln_by_id["K1"], studio.kiln_by_id["K2"], slower),
            "tariff": Tariff(default=0.2),
            "outages": (*studio.outages[1:], out),
            "shifts": (*studio.shifts, day.model_copy(update={"hands": 1, "days": ("sat",)})),
        }
    )
    texts = tried(studio, after, ["N1"], ["B1", "B2"])
    assert list(texts) == [
        "without kiln K4",
        "kiln K3: load_minutes 40 instead of 20",
        "more people there: 1, Sat 09:00–18:00, who can casting",
        "kiln K2 out of use from Mon 30 Nov 00:00 until Mon 30 Nov 10:00",
        "another tariff: 0.2 EUR per kWh at all hours, instead of 0.3 EUR per kWh at all hours",
        "with new loads: N1",
        "without these loads: B1, B2",
    ]
    german = [read_words("de").say(text) for text in texts]
    assert german[2] == "mehr Leute da: 1, Sa 09:00–18:00, mit Können: casting"
    assert german[4] == "ein anderer Tarif: 0,2 EUR je kWh rund um die Uhr, statt 0,3 EUR je kWh rund um die Uhr"
