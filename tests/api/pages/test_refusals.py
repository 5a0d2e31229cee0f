"""What is refused: a small page in the reader's language for browsers, a problem document for programs."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from api.pages import firing_pages
from api.problems import MEDIA_TYPE
from tests.api.pages.conftest import Reader

BROWSER = {"accept": "text/html,application/xhtml+xml;q=0.9,*/*;q=0.8"}
WORDS = {
    "en": ("There is no page at this address", "you are signed in as attendant", "The service failed here"),
    "de": ("Unter dieser Adresse gibt es keine Seite", "du bist als Aufsicht angemeldet", "ist hier gescheitert"),
}


@pytest.mark.parametrize("language", WORDS)
def test_an_unknown_address_is_a_page_in_the_readers_language(read_only: Reader, language: str) -> None:
    for who in (None, "Wout"):
        answer = read_only.get(who, "/no/such/page", headers=BROWSER | {"accept-language": language})
        assert answer.status_code == 404
        assert answer.headers["content-type"].startswith("text/html")
        assert WORDS[language][0] in answer.text
        assert f'<html lang="{language}">' in answer.text


@pytest.mark.parametrize("language", WORDS)
def test_a_page_for_others_says_so_in_the_readers_language(read_only: Reader, language: str) -> None:
    answer = read_only.get("Wout", "/people", headers=BROWSER | {"accept-language": language})
    assert answer.status_code == 403
    assert WORDS[language][1] in answer.text


@pytest.mark.parametrize(
    ("path", "headers"), [("/no/such/page", {}), ("/api/v1/none", BROWSER), ("/api/v1/people", BROWSER)]
)
def test_programs_are_answered_in_json(read_only: Reader, path: str, headers: dict[str, str]) -> None:
    answer = read_only.get("Wout", path, headers=headers)
    assert answer.status_code in (403, 404)
    assert answer.headers["content-type"] == MEDIA_TYPE


def test_a_method_that_an_address_does_not_take_is_told(read_only: Reader) -> None:
    answer = read_only.post("Wout", "/week", headers=BROWSER)
    assert answer.status_code == 405
    assert "Go back to the page with the form" in answer.text


def test_what_another_site_sends_is_refused_with_a_page(read_only: Reader) -> None:
    more = BROWSER | {"origin": "https://elsewhere.example", "sec-fetch-site": "cross-site"}
    answer = read_only.post(None, "/language", {"language": "de"}, headers=more)
    assert answer.status_code == 403
    assert "another site" in answer.text
    assert "<html" in answer.text


@pytest.mark.parametrize("language", WORDS)
def test_an_error_of_the_programs_own_shows_none_of_its_insides(
    pages: Reader, monkeypatch: pytest.MonkeyPatch, language: str
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("the insides")

    monkeypatch.setattr(firing_pages, "firing_sheet", broken)
    client = TestClient(pages.house.app, raise_server_exceptions=False)
    headers = BROWSER | {"authorization": f"Bearer {pages.house.secrets['Wout']}", "accept-language": language}
    answer = client.get("/firings/F1", headers=headers)
    assert answer.status_code == 500
    assert WORDS[language][2] in answer.text
    assert "insides" not in answer.text
