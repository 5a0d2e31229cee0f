"""The booking form's little script: what a firing does not depend on is out of the way, the shelf area is summed."""

from __future__ import annotations

from typing import Any

from tests.browser.conftest import NARROW, WIDE, Heard, Running, open_page, sign_in


def test_a_size_is_asked_for_only_where_the_firing_depends_on_it(settled: Running, chromium: Any, heard: Heard) -> None:
    page = open_page(chromium, heard, WIDE)
    sign_in(page, settled, "Marta")
    page.goto(f"{settled.address}/loads/new")
    size = page.get_by_label("Diameter of a flask")
    page.get_by_label("Firing").select_option("bisque-04")
    assert not size.is_visible()
    page.get_by_label("Firing").select_option("burnout")
    assert size.is_visible()
    size.fill("60")
    page.get_by_label("Firing").select_option("bisque-04")
    assert size.is_visible(), "what is filled in is sent, so it stays to be seen"


def test_the_shelf_area_is_filled_in_from_one_piece(settled: Running, chromium: Any, heard: Heard) -> None:
    """Twelve of 80 by 100 mm are 960 cm²; as round ones of 9 cm, in the square round each, 972 cm²."""
    page = open_page(chromium, heard, NARROW)
    sign_in(page, settled, "Ana")
    page.goto(f"{settled.address}/loads/new")
    area = page.get_by_label("Shelf area")
    page.get_by_label("Pieces (needed)").fill("12")
    page.get_by_text("Work it out from one piece").click()
    page.get_by_label("Width of one").fill("80")
    page.get_by_label("Depth of one").fill("100")
    assert area.input_value() == "960"
    page.get_by_label("In", exact=True).select_option("cm")
    page.get_by_label("Or its diameter, if it is round").fill("9")
    assert area.input_value() == "972"
    page.get_by_label("Pieces (needed)").fill("10")
    assert area.input_value() == "810"


def test_a_doubt_is_answered_with_yes_and_booked(settled: Running, chromium: Any, heard: Heard) -> None:
    page = open_page(chromium, heard, NARROW)
    sign_in(page, settled, "Ana")
    page.goto(f"{settled.address}/loads/new")
    page.get_by_label("Firing").select_option("bisque-04")
    for label, text in (
        ("Pieces (needed)", "12"), ("Shelf area", "3200"), ("Tallest piece", "110"), ("Mass of all", "750"),
    ):  # fmt: skip
        page.get_by_label(label).fill(text)
    # The answer is an error to a browser's console, which is what a form with something to ask is.
    page.get_by_role("button", name="Book it").click()
    page.get_by_text("Is this meant?").wait_for()
    heard.complaints = [one for one in heard.complaints if "422" not in one]
    page.get_by_role("button", name="Book it all the same").click()
    page.wait_for_url("**/loads/L*")
