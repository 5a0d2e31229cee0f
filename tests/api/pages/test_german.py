"""A German reader meets no English sentence: on no page, sheet or calendar, nor when something is wrong."""

from __future__ import annotations

import html
import re
from datetime import timedelta

import pytest
from icalendar import Calendar

from api.notices import raise_notice
from api.storage.change_log import Author
from api.storage.plan_store import current, keep_plan, plan_row, publish
from api.storage.tables import Job
from api.words import read_words, tell
from scheduler.audit import prove
from shared.texts import packed, say, sentences
from tests.api.pages.conftest import Reader
from tests.api.service.house import EVENING

GERMAN = {"accept-language": "de"}
PAGES = (
    "/day", "/day?date=2026-11-30", "/week", "/loads", "/loads?late=none", "/loads/new", "/loads/B1",
    "/plans", "/plans/2", "/trouble", "/shifts", "/broke", "/what-if", "/kilns", "/people", "/me", "/costs",
    "/loads/B1/change", "/more", "/circuits", "/firings/F1", "/sheets/2026-11-30", "/sheets/2026-11-30/overview",
    "/sheets/2026-11-30/kiln/K1", "/sheets/2026-11-30/kiln/K2", "/tags?day=2026-11-30", "/sessions?day=2026-11-30",
    "/loads/no-such", "/plans/99", "/firings/F99", "/day?date=never",
)  # fmt: skip
"""Where a manager may read; what there is not answers with an error, which is a page too."""

LEAST_WORDS = 3
"""So many English words in a row [-], of a sentence of ours, count as English; house choice."""


def pieces() -> dict[str, str]:
    """Each stretch of an English sentence that has nothing filled in, with its key; none that German has too."""
    english, german = read_words(), read_words("de")
    known = " ".join([german(key) for key in german.keys] + list(german.core.values())).lower()
    found = {}
    for key, text in [*((key, english(key)) for key in english.keys), *sentences().items()]:
        for piece in re.split(r"\{[^}]*\}|[\n.:;(),]", text):
            words = " ".join(piece.split()).lower()
            if len(re.findall(r"[a-z]{2,}", words)) >= LEAST_WORDS and words not in known:
                found[words] = key
    return found


PIECES = pieces()


def english_in(page: str) -> dict[str, str]:
    """What of our English sentences a page shows, with its key."""
    bare = re.sub(r"<(script|style)[^>]*>.*?</\1>", " ", page, flags=re.DOTALL)
    text = " ".join(html.unescape(re.sub(r"<[^>]*>", " ", bare)).split()).lower()
    return {piece: key for piece, key in PIECES.items() if re.search(rf"\b{re.escape(piece)}\b", text)}


@pytest.fixture
def troubled(pages: Reader) -> Reader:
    """The pages of a studio with loads late and without a place, told in texts of the core, and with notices."""
    service = pages.house.service
    with service.store.read() as session:
        publication = current(session)
        assert publication is not None
        audited = service.audited(session, publication.plan_id)
        number = publication.id
    why = say("reason.no_place_even", why=say("reason.kiln_draws_more"))
    helps = (say("reason.split_the_load"), say("reason.one_more_kiln", kiln="K1"))
    plan = audited.plan.model_copy(
        update={
            "late": tuple(row.model_copy(update={"why": why, "would_help": helps}) for row in audited.plan.late),
            "unplaced": tuple(
                row.model_copy(update={"why": why, "would_help": helps}) for row in audited.plan.unplaced
            ),
        }
    )
    assert plan.unplaced
    author = Author(None, "the service", EVENING)
    with service.store.write() as session:
        row = keep_plan(session, prove(audited.studio, tuple(audited.loads.values()), plan), author, "plan")
        publish(session, row.id, number, author, anyway=True)
        text = tell("notice.not_started", firing="F1", kiln="K1", at=EVENING + timedelta(hours=10))
        raise_notice(session, "one", "not started", EVENING, text)
    return pages


@pytest.mark.parametrize("path", PAGES)
def test_no_page_and_no_sheet_shows_an_english_sentence(troubled: Reader, path: str) -> None:
    page = troubled.get("Marta", path, headers=GERMAN)
    assert page.status_code < 500
    assert english_in(page.text) == {}


def test_reasons_and_notices_are_there_in_german(troubled: Reader) -> None:
    late = troubled.get("Marta", "/trouble", headers=GERMAN).text
    assert "sein Ofen zieht mehr Strom, als der Stromkreis tragen darf" in html.unescape(late)
    assert "und niemand hat es vermerkt" in troubled.get("Marta", "/day", headers=GERMAN).text


FORMS = (
    ("/loads/new", {"id": "B1 ; x", "pieces": "none", "profile": "bisqe", "mass_kg": "heavy", "ready": "soon"}),
    ("/broke", {"late": "F1", "hours": "many"}),
    ("/what-if", {"try": "nothing"}),
    ("/costs", {"firing": "dear"}),
    ("/me/feeds", {"kind": "nobody"}),
)  # fmt: skip


@pytest.mark.parametrize(("path", "form"), FORMS)
def test_what_is_wrong_with_a_form_is_told_in_german(pages: Reader, path: str, form: dict[str, str]) -> None:
    answer = pages.post("Marta", path, form, headers=GERMAN)
    assert 400 <= answer.status_code < 500
    assert english_in(answer.text) == {}


def test_a_calendar_is_german_where_its_link_asks_for_that(pages: Reader) -> None:
    made = pages.house.post("Marta", "/feeds", {"kind": "staff"})
    path = made["address"].split("://")[-1].partition("/")[2]
    events = Calendar.from_ical(pages.house.client.get(f"/{path}?language=de").content).walk("VEVENT")
    assert events
    assert any(str(event["summary"]).startswith("Einsetzen ") for event in events)
    assert english_in(" ".join(f"{event['summary']} {event['description']}" for event in events)) == {}


def test_what_somebody_else_has_changed_or_done_already_is_told_in_german(pages: Reader) -> None:
    """Words that are filled in are German too: what a thing is called, and how it stands."""
    assert pages.post("Wout", "/firings/F1/note", {"step": "loaded", "version": "0"}).status_code == 303
    for who, path, form, text in (
        ("Wout", "/firings/F1/note", {"step": "loaded", "version": "1"}, "der Brand ist schon eingesetzt"),
        ("Wout", "/firings/F1/note", {"step": "started", "version": "0"}, "Brand hat Version 1"),
        ("Wout", "/firings/F1/hold", {}, "dieser Brand hat begonnen; was läuft, bleibt"),
        ("Marta", "/loads/B2/cancel", {"version": "9"}, "Posten hat Version"),
        ("Marta", "/loads/B2/mark", {"version": "1", "what": "collected"}, "der Posten ist „wartet“"),
        ("Marta", "/loads/no-such/cancel", {"version": "1"}, "Posten 'no-such' gibt es nicht"),
        ("Wout", "/firings/F99/hold", {}, "Brand 'F99' gibt es nicht"),
        ("Wout", "/broke", {"kiln": "K9"}, "Ofen K9 gibt es nicht"),
        ("Wout", "/broke", {"kiln": "K1", "until": "never"}, "'never' ist keine Zeit"),
        ("Marta", "/shifts/99/end", {"version": "1"}, "Schicht '99' gibt es nicht"),
    ):
        answer = pages.post(who, path, form, headers=GERMAN)
        assert 400 <= answer.status_code < 500, path
        assert text in html.unescape(answer.text), (path, answer.text)
        assert english_in(answer.text) == {}


def test_a_question_about_an_interrupted_firing_and_a_failed_solve_are_told_in_german(pages: Reader) -> None:
    service = pages.house.service
    text = say("event.was_heating_look")
    question = {"firing": "F1", "default": "refire", "text": str(text), "told": packed(text)}
    with service.store.write() as session:
        publication = current(session)
        assert publication is not None
        plan_row(session, publication.plan_id).notes = {"questions": [question]}
        failed = Job(
            kind="plan", state="failed", asked_at=EVENING, ended_at=EVENING, request={}, message=packed(
                tell("job.solver_stopped")
            ),
        )  # fmt: skip
        session.add(failed)
        session.flush()
        number, plan_id = failed.id, publication.plan_id
    shown = html.unescape(pages.get("Marta", f"/plans/{plan_id}", headers=GERMAN).text)
    assert read_words("de").say(text) in shown
    assert str(text) not in shown
    assert "Die Suche ist unerwartet abgebrochen" in pages.get("Marta", f"/jobs/{number}", headers=GERMAN).text
    assert pages.house.get("Marta", f"/jobs/{number}")["message"] == "The solver stopped unexpectedly; ask again."
