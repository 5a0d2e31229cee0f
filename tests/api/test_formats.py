"""Times, temperatures and durations as people of one studio read them."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest

from api.formats import Formats
from api.words import read_words
from scheduler.audit import AuditedPlan
from shared.clock import minute_of
from shared.studio import Studio
from shared.texts import say


def formats_in(zone: str, audited: AuditedPlan) -> Formats:
    studio: Studio = audited.studio
    place = studio.place.model_copy(update={"timezone": zone})
    return Formats(studio.model_copy(update={"place": place}), read_words())


def test_a_time_on_the_page_s_day_is_bare_and_on_another_is_named(formats: Formats) -> None:
    minute = minute_of(datetime(2026, 11, 30, 9, 5, tzinfo=UTC))
    assert formats.clock(minute, date(2026, 11, 30)) == "09:05"
    assert formats.clock(minute, date(2026, 12, 1)) == "Mon 30 Nov 09:05"


@pytest.mark.parametrize(("language", "written"), [("en", "Sat 5 Dec 11:00"), ("de", "Sa 5. Dez 11:00")])
def test_a_moment_is_written_in_one_way_in_a_sentence_and_in_a_table(
    audited: AuditedPlan, language: str, written: str
) -> None:
    """The small studio is in Lisbon, where it is UTC in December."""
    formats = Formats(audited.studio, read_words(language))
    moment = datetime(2026, 12, 5, 11, tzinfo=UTC)
    assert formats.clock(minute_of(moment)) == written
    sentences = (
        say("reason.promise_was_past", when=moment),
        say("audit.line", rule="hands", about=(say("audit.firing", firing="F3"), moment), text="nobody"),
        say("audit.lies_outside_shifts", task="it", at=moment),
    )
    assert [written in formats.words.say(sentence) for sentence in sentences] == [True, True, True]


def test_the_hour_that_the_clock_shows_twice_is_told_apart(audited: AuditedPlan) -> None:
    """In Europe/London the clock goes back on 2026-10-25 at 02:00 BST (01:00 UTC)."""
    london = formats_in("Europe/London", audited)
    day = date(2026, 10, 25)
    assert london.clock(minute_of(datetime(2026, 10, 25, 0, 30, tzinfo=UTC)), day) == "01:30 (UTC+0100)"
    assert london.clock(minute_of(datetime(2026, 10, 25, 1, 30, tzinfo=UTC)), day) == "01:30 (UTC+0000)"
    assert london.clock(minute_of(datetime(2026, 10, 25, 2, 0, tzinfo=UTC)), day) == "02:00"


def test_temperatures_and_rates_are_in_the_controller_s_unit(formats: Formats) -> None:
    """1350 °F is 732.2 °C (NIST SP 811, t/°C = (t/°F - 32)/1.8); 150 K/h is 270 °F/h."""
    assert formats.temperature(732.222, "F") == "1350 °F"
    assert formats.temperature(732.222) == "732 °C"
    assert formats.rate(150, "F") == "270 °F/h"
    assert formats.rate(2.5, "C") == "2.5 °C/h"


def test_durations_money_and_lists(formats: Formats) -> None:
    assert formats.duration(150) == "2:30"
    assert [formats.spelt_duration(minutes) for minutes in (0, 45, 60, 150)] == ["0 min", "45 min", "1 h", "2 h 30 min"]
    assert formats.money(3.456) == "3.46 EUR"
    assert [formats.join(parts) for parts in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]
    assert formats.long_day(date(2027, 1, 3)) == "Sunday 3 January 2027"
