"""What is said of hot sessions, where two people belong to a casting by casters' common practice; and of outages."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from api.cautions import cautions, pours
from api.day import Day
from api.formats import Formats
from api.outages import outage_reason
from api.words import read_words
from scheduler.audit import AuditedPlan

TWO = "Casting needs two people"


def test_only_castings_ask_for_a_second_person(audited: AuditedPlan) -> None:
    """The same hot firing, its profile once as it is and once an enamel session's."""
    formats, day = Formats(audited.studio, read_words()), date(2026, 12, 1)
    (oven,) = [kiln for kiln in Day(audited, day).kilns if kiln.kiln.id == "K3"]
    (shown,) = [firing for firing in oven.firings if firing.hot]
    assert any(TWO in caution.text for caution in cautions(shown, formats, day))
    enamel = shown.profile.model_copy(update={"work": "enamel", "cautions": ("glare", "enamel-dust", "lead")})
    shown = replace(shown, profile=enamel)
    keys = [caution.key for caution in cautions(shown, formats, day)]
    assert keys[:4] == ["glare", "enamel-dust", "lead", "hot-kiln"]
    assert "hot-session" in keys
    assert not any(TWO in caution.text for caution in cautions(shown, formats, day))


@pytest.mark.parametrize(
    ("work", "named", "poured"),
    [("burnout", (), True), ("Guss", (), True), ("enamel", (), False), ("Email", ("enamel-dust",), False),
     ("enamel", ("hot-flask",), True)],
)  # fmt: skip
def test_a_session_that_is_not_plainly_enamelling_warns(
    audited: AuditedPlan, work: str, named: tuple[str, ...], poured: bool
) -> None:
    profile = audited.studio.profiles[0]
    assert pours(profile.model_copy(update={"work": work, "cautions": named})) is poured


@pytest.mark.parametrize(
    ("language", "reason", "shown"),
    [("de", "down", "ausgefallen"), ("en", "down", "failed"), ("de", "no power", "kein Strom"),
     ("de", "new lower element", "new lower element"), ("de", None, None)],
)  # fmt: skip
def test_a_replans_reason_for_an_outage_is_told_in_the_readers_language(
    language: str, reason: str | None, shown: str | None
) -> None:
    assert outage_reason(reason, read_words(language)) == shown
