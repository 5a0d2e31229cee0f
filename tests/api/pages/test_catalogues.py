"""The second language has every text of the first, with the same places to fill in; and it is a translation."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from string import Formatter

import pytest

from api.pages.page import LANGUAGES
from api.words import read_words
from shared.texts import Text, packed, say, sentences, unpacked
from tests.api.pages.conftest import Reader

OTHERS = LANGUAGES[1:]


def places(text: str) -> set[str]:
    """What a text has filled in, with how it is written."""
    return {f"{name}:{form}" for _, name, form, _ in Formatter().parse(text) if name is not None}


@pytest.mark.parametrize("language", OTHERS)
def test_no_text_is_missing_and_none_is_left_over(language: str) -> None:
    assert read_words(language).keys == read_words().keys


@pytest.mark.parametrize("language", OTHERS)
def test_the_same_is_filled_in(language: str) -> None:
    first, other = read_words(), read_words(language)
    differing = {key for key in first.keys & other.keys if places(first(key)) != places(other(key))}
    assert differing == set()


@pytest.mark.parametrize("language", OTHERS)
def test_lists_are_as_long(language: str) -> None:
    for key in ("calendar.weekdays", "calendar.weekdays_short", "calendar.months", "calendar.months_short"):
        assert len(read_words(language).each(key)) == len(read_words().each(key))


@pytest.mark.parametrize("language", OTHERS)
def test_sentences_are_translated(language: str) -> None:
    """A text of four words and more that reads the same in both languages was forgotten."""
    first, other = read_words(), read_words(language)
    plain = {key: re.sub(r"\{[^}]*\}", "", first(key)) for key in first.keys & other.keys}
    assert {
        key for key, text in plain.items() if len(re.findall(r"[a-z]{2,}", text)) > 3 and first(key) == other(key)
    } == set()


@pytest.mark.parametrize("language", OTHERS)
def test_every_text_of_the_core_has_its_counterpart_with_the_same_filled_in(language: str) -> None:
    core, other = sentences(), read_words(language).core
    assert core.keys() == other.keys()
    assert {key for key in core if places(core[key]) != places(other[key])} == set()
    plain = {key: re.sub(r"\{[^}]*\}", "", text) for key, text in core.items()}
    assert {
        key for key, text in plain.items() if re.search(r"[a-z]{2,} [a-z]{2,}", text) and core[key] == other[key]
    } == set()


def test_a_text_of_the_core_is_said_in_the_language_with_its_numbers_and_times() -> None:
    german = read_words("de")
    when = datetime(2026, 12, 2, 9, 30, tzinfo=UTC)
    late = say("reason.no_place_even", why=say("reason.even_empty_studio", when=when))
    assert str(late).endswith("even in an empty studio it would be out at Wed 2 Dec 09:30 at the earliest")
    assert german.say(late).endswith("selbst in einer leeren Werkstatt wäre er frühestens Mi 2. Dez 09:30 fertig")
    assert german.say(say("audit.load_h_late", hours=3.5)).startswith("der Posten ist 3,50 h verspätet")
    assert german.say(say("audit.load_goes_into", kilns=("K1", "K2"), kiln="K3")) == (
        "der Posten darf nur in K1 oder K2, nicht in Ofen K3"
    )


def test_a_text_comes_back_from_storage_and_one_of_another_version_stays_as_it_was() -> None:
    text = say("audit.load_out_h", hours=2.25, out_at=datetime(2026, 12, 2, 9, 30, tzinfo=UTC))
    back = unpacked(packed(text))
    assert (back, back.key) == (text, text.key)
    assert read_words("de").say(back) == read_words("de").say(text)
    assert read_words("de").say(unpacked("plain words of an old plan")) == "plain words of an old plan"
    assert read_words("de").say(Text("said once", "gone.key")) == "said once"


def test_the_browsers_language_is_taken_and_a_choice_outweighs_it(pages: Reader) -> None:
    asked = {"accept-language": "fr-CH, de;q=0.8, en;q=0.5"}
    german = pages.get("Marta", "/week", headers=asked).text
    assert '<html lang="de">' in german
    assert "Strom je Leiter" in german
    chosen = pages.post("Marta", "/language", {"language": "en", "back": "/week"})
    assert chosen.headers["location"] == "/week"
    cookie = chosen.headers["set-cookie"].split(";")[0]
    assert '<html lang="en">' in pages.get("Marta", "/week", headers=asked | {"cookie": cookie}).text


def test_dates_and_sheets_are_written_in_the_language(read_only: Reader) -> None:
    asked = {"accept-language": "de"}
    assert "Montag, 30. November 2026" in read_only.get("Wout", "/day?date=2026-11-30", headers=asked).text
    sheet = read_only.get("Wout", "/sheets/2026-11-30/kiln/K1", headers=asked).text
    assert "Der Plan macht keinen Brand sicher." in sheet
    assert "Eingesetzt und zu" in sheet
