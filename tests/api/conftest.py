"""A small studio with a plan made by hand and proved by the audit: five loads, three firings, one load unplaced."""

from __future__ import annotations

from datetime import date

import pytest

from api.day import Day
from api.formats import Formats
from api.words import read_words
from scheduler.audit import AuditedPlan, prove
from shared.files import read_folder
from shared.plans import Firing, Unplaced
from tests.api.placed_plan import at, place, whole_plan
from tests.api.small_studio import write_small_studio

DAY = date(2026, 11, 30)


@pytest.fixture(scope="session")
def audited(tmp_path_factory: pytest.TempPathFactory) -> AuditedPlan:
    """The proved plan. F1 bisques overnight, F2 fuses by day, F3 burns out overnight for casting on Tuesday."""
    folder = write_small_studio(tmp_path_factory.mktemp("studio"))
    studio, loads = read_folder(folder)

    def moment(text: str) -> int:
        return at(studio, *text.split(" "))

    def fired(name: str, kiln: str, layers: list[list[str]], load: str, start: str, unload: str) -> Firing:
        return place(studio, loads, name, kiln, layers, moment(load), moment(start), moment(unload))

    firings = [
        fired("F1", "K1", [["B2"], ["B2"], ["B1"]], "2026-11-30 9:00", "2026-11-30 9:40", "2026-12-02 9:00"),
        fired("F2", "K2", [["F1"]], "2026-11-30 9:30", "2026-11-30 10:00", "2026-12-01 10:00"),
        fired("F3", "K3", [["C1"]], "2026-11-30 17:00", "2026-11-30 22:00", "2026-12-01 12:00"),
    ]
    why = "K4 is out of use and no other kiln fires glaze"
    unplaced = [Unplaced(load="G1", rule="outages", why=why, would_help=("the relay of K4",))]
    plan = whole_plan(studio, loads, firings, unplaced, moment("2026-11-29 18:00"), moment("2026-11-30 0:00"))
    return prove(studio, loads, plan)


@pytest.fixture
def formats(audited: AuditedPlan) -> Formats:
    """Formats of the small studio, in English."""
    return Formats(audited.studio, read_words())


@pytest.fixture
def monday(audited: AuditedPlan) -> Day:
    """The plan's first day."""
    return Day(audited, DAY)
