"""A clean-out on sheets, day, week, calendar and costs: the small studio's glass kiln, which burned out before."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta

import pytest

from api.cautions import cautions
from api.day import Day
from api.feeds import _entries
from api.formats import Formats
from api.pages.plan_pages import cost_lines
from api.pages.week_picture import phases
from api.printing.plan_text import plan_text
from api.sheets.firing_sheet import firing_sheet
from api.sheets.lanes import lanes
from api.sheets.overview import all_task_rows
from api.sheets.session_list import _session
from api.sheets.writing import overview_page
from api.words import read_words
from scheduler.audit import AuditedPlan, BrokenPlanError, prove
from shared.plans import Plan
from shared.studio import CleanOut, Studio
from tests.api.conftest import DAY


@dataclass(frozen=True)
class Cleaned:
    """The small studio's plan with half an hour of cleaning before F2."""

    audited: AuditedPlan
    formats: Formats
    day: Day


def _with_clean_out(audited: AuditedPlan) -> tuple[Studio, Plan]:
    fields = {name: getattr(audited.studio, name) for name in Studio.model_fields}
    kilns = tuple(k.model_copy(update={"last_work": "burnout"}) if k.id == "K2" else k for k in audited.studio.kilns)
    asked = CleanOut(after=("burnout",), before=("glass",), minutes=28.0, price=5.0)
    plan = audited.plan
    firings = tuple(f.model_copy(update={"clean_out_minutes": 30}) if f.id == "F2" else f for f in plan.firings)
    parts = plan.cost_parts.model_copy(update={"clean_outs": 5.0})
    proof = plan.proof.model_copy(update={"cost": parts.total})
    changed = plan.model_copy(update={"firings": firings, "cost_parts": parts, "proof": proof})
    return Studio(**{**fields, "kilns": kilns, "clean_outs": (asked,)}), changed


@pytest.fixture(scope="module")
def cleaned(audited: AuditedPlan) -> Cleaned:
    """Proved, with its words in English."""
    studio, plan = _with_clean_out(audited)
    proved = prove(studio, tuple(audited.loads.values()), plan)
    return Cleaned(proved, Formats(studio, read_words()), Day(proved, DAY))


def test_a_plan_without_the_asked_clean_out_is_not_shown(audited: AuditedPlan) -> None:
    studio, _ = _with_clean_out(audited)
    with pytest.raises(BrokenPlanError, match="clean-out of kiln K2 takes 30 min, not 0 min"):
        prove(studio, tuple(audited.loads.values()), audited.plan)


def test_the_kiln_sheet_tells_it_with_a_line_to_sign_before_loading_and_its_caution(cleaned: Cleaned) -> None:
    shown = cleaned.day.shown(next(f for f in cleaned.audited.plan.firings if f.id == "F2"))
    sheet = firing_sheet(shown, cleaned.formats, DAY, cleaned.day.begin)
    first = sheet.moments[0]
    assert (first.label, first.clock) == ("Clean out", "09:00")
    assert first.remark.startswith("to 09:30")
    assert [sign[0] for sign in sheet.signs][:2] == ["Cleaned out, before loading", "Loaded and shut"]
    (caution,) = [one for one in cautions(shown, cleaned.formats, DAY) if one.key == "clean-out"]
    for word in ("disconnect", "respirator", "damp", "never brush dry", "manual goes first"):
        assert word in caution.text
    other = cleaned.day.shown(next(f for f in cleaned.audited.plan.firings if f.id == "F1"))
    assert not [one for one in cautions(other, cleaned.formats, DAY) if one.key == "clean-out"]
    assert firing_sheet(other, cleaned.formats, DAY, cleaned.day.begin).moments[0].label == "Load"


def test_the_days_overview_lists_it_before_the_loading(cleaned: Cleaned) -> None:
    assert "being cleaned out" in overview_page(cleaned.day, cleaned.formats)
    without = Day(cleaned.audited, DAY + timedelta(days=1))
    assert "being cleaned out" not in overview_page(without, cleaned.formats)
    rows = [row for row in all_task_rows(cleaned.day, cleaned.formats) if row.kiln == "K2"]
    assert rows[0].time == "09:00–09:30"
    assert rows[0].what.startswith("clean out before F2")
    assert rows[0].who == "Ana and Rui"
    assert rows[1].what.startswith("load")
    bars = [len(lane.cleaning) for lane in lanes(cleaned.day, cleaned.formats, {}).lanes if lane.title == "K2"]
    assert bars == [1]


def test_the_session_list_tells_it_before_the_session(cleaned: Cleaned) -> None:
    """F3 casts on Tuesday; a clean-out half an hour before it is loaded on Monday stands with its day."""
    tuesday = Day(cleaned.audited, date(2026, 12, 1))
    shown = tuesday.shown(next(f for f in cleaned.audited.plan.firings if f.id == "F3"))
    assert _session(shown, tuesday, cleaned.formats).clean == ""
    dirty = replace(shown, firing=shown.firing.model_copy(update={"clean_out_minutes": 30}), cleaned_by=shown.loaded_by)
    sheet = _session(dirty, tuesday, cleaned.formats)
    assert sheet.clean == "Mon 30 Nov 16:30–17:00"
    assert sheet.cleaners.startswith("Ana and Rui")


def test_the_printed_plan_tells_it_and_what_it_costs(cleaned: Cleaned) -> None:
    text = " ".join(plan_text(cleaned.day, cleaned.formats).split())
    assert "clean out" in text
    assert "clean-outs 5.00" in text
    assert ("Clean-outs between kinds of work", "5.00") in [
        (label, amount.split()[0]) for label, amount in cost_lines(cleaned.audited, cleaned.formats, None)
    ]


def test_the_week_draws_it_as_a_phase_of_its_own(cleaned: Cleaned) -> None:
    firing = next(f for f in cleaned.audited.plan.firings if f.id == "F2")
    kind, begin, end = next(phases(firing, 30))
    assert (kind, end - begin, end) == ("clean", 30, firing.load_at)
    assert "clean" not in {kind for kind, _, _ in phases(firing.model_copy(update={"clean_out_minutes": 0}), 30)}


@pytest.mark.parametrize(("language", "word"), [("en", "Clean out"), ("de", "Reinigen")])
def test_the_attendants_calendar_has_it(cleaned: Cleaned, language: str, word: str) -> None:
    entries = list(_entries(cleaned.audited, "staff", "", set(), read_words(language)))
    (entry,) = [one for one in entries if one.summary.startswith(word)]
    firing = next(f for f in cleaned.audited.plan.firings if f.id == "F2")
    assert "K2" in entry.summary
    assert (entry.begin, entry.end) == (firing.load_at - 30, firing.load_at)
