"""What is said of hot sessions, where two people belong to a casting by casters' common practice; and of outages."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from api.cautions import cautions, pours
from api.day import Day, Task
from api.formats import Formats
from api.outages import outage_reason
from api.people import names_text, people_text
from api.printing.firing_text import opening_lines
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
    assert keys == ["hot-session", "enamel-dust", "hot-kiln", "unattended", "vent", "glare", "lead"]
    assert not any(TWO in caution.text for caution in cautions(shown, formats, day))


@pytest.mark.parametrize(
    ("people", "skill", "work", "told"),
    [
        (2, "casting", "burnout", "the plan sets aside 2 people, one of them for casting."),
        (3, None, "burnout", "the plan sets aside 3 people."),
        (2, "enamelling", "enamel", "the plan sets aside 2 people, one of them for enamelling."),
    ],
)
def test_a_session_says_how_many_people_the_plan_sets_aside_for_it_and_when(
    audited: AuditedPlan, people: int, skill: str | None, work: str, told: str
) -> None:
    formats, day = Formats(audited.studio, read_words()), date(2026, 12, 1)
    (oven,) = [kiln for kiln in Day(audited, day).kilns if kiln.kiln.id == "K3"]
    (shown,) = [firing for firing in oven.firings if firing.hot]
    changes = {"session_people": people, "skill": skill, "work": work, "cautions": ("two-to-cast",)}
    if work == "enamel":
        changes["cautions"] = ()
    shown = replace(shown, profile=shown.profile.model_copy(update=changes))
    at = formats.stretch(shown.firing.unload_at, shown.firing.out_at, day)
    texts = [caution.text for caution in cautions(shown, formats, day)]
    assert len([text for text in texts if told in text and f"for this session, {at}, " in text.lower()]) == 1
    assert (len([text for text in texts if TWO in text]) == 1) is (work == "burnout")
    assert not any("only one" in text for text in texts)


def test_where_people_are_named_a_session_says_how_many_it_takes(audited: AuditedPlan) -> None:
    formats, day = Formats(audited.studio, read_words()), date(2026, 12, 1)
    (oven,) = [kiln for kiln in Day(audited, day).kilns if kiln.kiln.id == "K3"]
    (shown,) = [firing for firing in oven.firings if firing.hot]
    alone = people_text(shown.unloaded_by, formats, day)
    helped = replace(shown, profile=shown.profile.model_copy(update={"session_people": 2}))
    (task,) = [Task(0, 60, "session", helped, helped.unloaded_by)]
    assert (task.takes, replace(task, kind="open").takes) == (2, 1)
    assert people_text(shown.unloaded_by, formats, day, 2) == f"{alone}; takes 2 people"
    assert names_text((), formats, 2) == names_text((), formats)
    assert any("; takes 2 people" in line for line in opening_lines(helped, formats, day))
    assert not any("takes" in line for line in opening_lines(shown, formats, day))


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
