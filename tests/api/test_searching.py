"""What is told of a search: whether longer would help, and whether the plan is for the week that the loads wait for."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest

from api.command_line import run
from api.formats import Formats
from api.progress import SearchHistory
from api.searching import apart_text, search_text
from api.words import read_words
from scheduler.audit import AuditedPlan
from shared.clock import minute_of
from tests.api.small_studio import write_small_studio


@dataclass(frozen=True)
class Report:
    """What the planner tells."""

    seconds: float
    cost: float | None
    bound: float | None = 1.0
    note: str = "search"


def history(*steps: tuple[float, float]) -> SearchHistory:
    found = SearchHistory()
    for seconds, cost in steps:
        found.note(Report(seconds, cost))
    return found


def test_a_history_keeps_only_what_was_cheaper() -> None:
    found = history((1, 300.0), (2, 310.0), (3, 300.0), (4, 250.0))
    assert found.steps == [(1, 300.0), (4, 250.0)]
    assert found.gain_since(2.0) == pytest.approx(1 - 250 / 300)
    assert found.gain_since(4.0) == 0.0
    assert history().last_better_seconds == 0.0


@pytest.mark.parametrize(
    ("language", "still", "hardly"),
    [
        (
            "en",
            "A longer search helps: --seconds 60.",
            "took less than 1 % off the plan's points; the last better plan came after 14 s",
        ),
        ("de", "Eine längere Suche hilft: --seconds 60.", "der letzte bessere Plan kam nach 14 s"),
    ],
)
def test_a_search_that_gained_in_its_last_quarter_says_that_longer_helps(
    audited: AuditedPlan, language: str, still: str, hardly: str
) -> None:
    plan = audited.plan.model_copy(update={"proof": audited.plan.proof.model_copy(update={"status": "within"})})
    formats = Formats(audited.studio, read_words(language))
    assert still in search_text(history((2, 300.0), (18, 290.0)), plan, 20.0, formats)
    assert hardly in search_text(history((2, 300.0), (14, 290.0), (19, 289.0)).until(15), plan, 20.0, formats)
    # Settling comes after the search's time; what it saves, no longer search would.
    assert hardly in search_text(history((2, 300.0), (14, 290.0), (20.3, 200.0)), plan, 20.0, formats)


def test_a_plan_that_is_proved_best_says_nothing_of_longer(audited: AuditedPlan, formats: Formats) -> None:
    plan = audited.plan.model_copy(update={"proof": audited.plan.proof.model_copy(update={"status": "optimal"})})
    assert search_text(history((2, 300.0), (18, 290.0)), plan, 20.0, formats) == ""


def test_loads_that_wait_for_another_week_are_told_with_the_time_to_say(audited: AuditedPlan, formats: Formats) -> None:
    """The small studio's loads are promised from Tuesday 1 to Thursday 3 December 2026."""
    now = minute_of(datetime(2026, 11, 29, 18, 0, tzinfo=UTC))
    loads, plan = tuple(audited.loads.values()), audited.plan
    assert apart_text(loads, plan, now, formats) == ""
    later = plan.model_copy(update={"begin": plan.begin + 30 * 1440, "end": plan.end + 30 * 1440})
    told = apart_text(loads, later, now + 30 * 1440, formats)
    assert "wait for the week of Monday 30 November 2026, and it is now Tuesday 29 December 2026" in told
    assert "5 of 5 promises lie outside" in told
    assert "--now 2026-11-29T18:00" in told
    assert apart_text((), later, now, formats) == ""
    # Promised after the plan's end, yet fired within it: nothing to say.
    sooner = plan.model_copy(update={"begin": plan.begin - 30 * 1440, "end": plan.end - 30 * 1440, "unplaced": ()})
    assert apart_text(loads, sooner, now - 30 * 1440, formats) == ""


@pytest.mark.parametrize("then", ["2026-10-01T12:00", "2027-02-01T12:00"])
def test_a_plan_for_a_week_far_from_the_loads_says_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], then: str
) -> None:
    (tmp_path / "studio").mkdir()
    folder = str(write_small_studio(tmp_path / "studio"))
    assert run(["plan", folder, "--now", then, "--work", "1"]) == 0
    assert "say when it is: --now 2026-11-29T18:00" in capsys.readouterr().err
    assert run(["plan", folder, "--now", "2026-11-29T18:00", "--work", "1"]) == 0
    assert "say when it is" not in capsys.readouterr().err
