"""A firing's own page tells what is keyed in as its sheet does: who ends a session's hold, and which cones go in."""

from __future__ import annotations

from tests.api.pages.conftest import Reader


def test_the_page_of_a_session_says_until_when_it_may_hold_and_who_ends_it(pages: Reader) -> None:
    page = pages.get("Wout", "/firings/F3").text
    assert "<strong>8:00</strong>" in page
    assert "Switch it off by hand when the session is over" in page
    assert "Cone pack" not in page


def test_the_page_of_a_bisque_names_its_cones(pages: Reader) -> None:
    page = pages.get("Wout", "/firings/F1").text
    assert "05 (softer), 04 (this firing), 03 (harder)" in page
    assert "by hand when the session" not in page
