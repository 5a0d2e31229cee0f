"""Booking by form: the promise while one types, the faults beside the form, filters."""

from __future__ import annotations

import html
import re

import pytest

from tests.api.pages.conftest import Reader
from tests.api.service.house import Clock

BOWLS = {"profile": "bisque-04", "pieces": "10", "footprint_cm2": "900", "height_mm": "90", "mass_kg": "5,5",
         "family": "buff", "key": "one"}  # fmt: skip


def test_a_member_asks_books_sees_changes_and_cancels(pages: Reader) -> None:
    promised = pages.post("Ana", "/loads/promise", BOWLS)
    assert "Earliest: out" in promised.text
    assert "share the firing" not in promised.text
    booked = pages.post("Ana", "/loads/new", BOWLS)
    path = booked.headers["location"].removesuffix("?said=done")
    assert booked.status_code == 303
    page = pages.get("Ana", path).text
    assert "no place in the plan that holds" in page
    changed = pages.post("Ana", f"{path}/change", BOWLS | {"pieces": "12", "version": "1"})
    assert changed.status_code == 303, changed.text
    assert "12 pieces" in pages.get("Ana", path).text
    assert pages.post("Ana", f"{path}/cancel", {"version": "2"}).status_code == 303
    assert "cancelled" in pages.get("Ana", path).text


def test_a_form_sent_twice_books_once(pages: Reader) -> None:
    first, second = (pages.post("Ana", "/loads/new", BOWLS).headers["location"] for _ in range(2))
    assert first == second


def test_what_was_offered_when_a_load_was_booked_stays_on_its_page(pages: Reader, clock: Clock) -> None:
    """Whoever books is told a time once; later they, and the staff they ask, can read what it was."""
    promised = pages.post("Ana", "/loads/promise", BOWLS).text
    out = promised.split("Earliest: ")[1].split(".</strong>")[0]
    path = pages.post("Ana", "/loads/new", BOWLS).headers["location"].split("?")[0]
    row = f'<th scope="row">Earliest, when it was booked</th><td>{out}</td>'
    assert row in pages.get("Ana", path).text
    clock.move(days=2)
    pages.post("Ana", f"{path}/change", BOWLS | {"pieces": "12", "version": "1"})
    pages.post("Ana", "/loads/new", BOWLS)
    assert row in pages.get("Marta", path).text
    assert "when it was booked" not in pages.get("Ana", "/loads/B1").text


def test_a_size_that_a_firing_depends_on_says_for_which(read_only: Reader) -> None:
    """The browser then asks for it where such a firing is chosen."""
    text = read_only.get("Ana", "/loads/new").text
    with read_only.house.service.store.read() as session:
        profiles_here = read_only.house.service.studio(session).profiles
    names = ("thickness_mm", "diameter_mm")
    sized = {name: [one for one in profiles_here if one.sized_by == name] for name in names}
    assert any(sized.values())
    for name, profiles in sized.items():
        field = text.split(f'<label for="f-{name}">')
        said = field[0].rsplit("<p", 1)[1]
        hint = field[1].split("</p>")[0]
        needed_for = " ".join(one.id for one in profiles)
        assert said == (f' class="field" data-needed-for="{needed_for}">' if profiles else ' class="field">')
        assert all(one.title in hint for one in profiles)


def test_the_promise_is_asked_without_scripts_too(pages: Reader) -> None:
    page = pages.post("Ana", "/loads/new", BOWLS | {"ask": "1"}).text
    assert "Earliest: out" in page
    assert 'value="5,5"' in page


def test_faults_are_told_beside_what_was_filled_in(pages: Reader) -> None:
    answer = pages.post("Ana", "/loads/new", BOWLS | {"mass_kg": "heavy", "height_mm": "9000", "ready": "soon"})
    assert answer.status_code == 422
    for name in ("Mass of all pieces, kg", "Tallest piece, mm", "Ready from"):
        assert f"<li>{name}: " in answer.text
    assert 'value="heavy"' in answer.text


def test_members_may_not_say_how_much_their_own_load_counts(pages: Reader) -> None:
    path = pages.post("Ana", "/loads/new", BOWLS | {"priority": "9", "owner": "Ben"}).headers["location"]
    shown = pages.house.get("Marta", path.split("?")[0])
    assert shown["load"]["owner"] == "Ana"
    assert "priority" not in shown["load"]


def test_loads_are_filtered(pages: Reader) -> None:
    assert "/loads/G1" in pages.get("Marta", "/loads").text
    unplaced = pages.get("Marta", "/loads?late=none").text
    assert "/loads/G1" in unplaced
    assert "/loads/B1" not in unplaced
    assert "/loads/B2" in pages.get("Marta", "/loads?kiln=K1&late=late").text
    assert "/loads/B1" not in pages.get("Marta", "/loads?kiln=K2").text


def test_trouble_names_reasons(pages: Reader) -> None:
    text = pages.get("Marta", "/trouble").text
    assert "K4 is out of use and no other kiln fires glaze" in text
    assert "What would mend this?" in text


IMPOSSIBLE = [
    ({"height_mm": "1100"}, "no kiln takes this load"),
    ({"mass_kg": "750"}, "kg per litre; solid glass is 2.5"),
    ({"ready": "2026-12-05T09:00", "promised": "2026-12-01T09:00"}, "Tue 1 Dec 2026 09:00 is not after ready"),
    ({"promised": "2025-12-03T17:00"}, "Wed 3 Dec 2025 17:00 has passed"),
    ({"height_mm": "9", "mass_kg": "5.5"}, "did you write centimetres? In millimetres it would be 90"),
]


@pytest.mark.parametrize(("changed", "words"), IMPOSSIBLE)
def test_what_cannot_be_meant_is_asked_about_once_before_it_is_booked(
    pages: Reader, changed: dict[str, str], words: str
) -> None:
    before = len(pages.house.get("Ana", "/loads"))
    asked = pages.post("Ana", "/loads/new", BOWLS | changed)
    assert asked.status_code == 422
    assert words in html.unescape(asked.text)
    assert "Book it all the same" in asked.text
    assert len(pages.house.get("Ana", "/loads")) == before, "nothing is booked yet"
    assert pages.insist("Ana", "/loads/new", BOWLS | changed).status_code == 303
    assert len(pages.house.get("Ana", "/loads")) == before + 1


def test_a_yes_to_one_doubt_is_none_to_another(pages: Reader) -> None:
    asked = pages.post("Ana", "/loads/new", BOWLS | {"height_mm": "1100"})
    token = re.findall(r'name="sure" value="(\w+)"', asked.text)[0]
    other = pages.post("Ana", "/loads/new", BOWLS | {"mass_kg": "750", "sure": token})
    assert other.status_code == 422


def test_a_change_is_asked_about_too(pages: Reader) -> None:
    path = pages.post("Ana", "/loads/new", BOWLS).headers["location"].split("?")[0]
    heavy = BOWLS | {"mass_kg": "750", "version": "1"}
    assert "Save it all the same" in pages.post("Ana", f"{path}/change", heavy).text
    assert pages.insist("Ana", f"{path}/change", heavy).status_code == 303


def test_all_faults_are_told_at_once_beside_their_fields_and_doubts_with_them(pages: Reader) -> None:
    """Two at once named only one: first numbers, then what does not go together, then what is doubtful."""
    form = BOWLS | {"profile": "burnout", "pieces": "12 bowls", "footprint_cm2": "3,200", "height_mm": "11 cm"}
    form |= {"diameter_mm": "400", "ready": "2026-12-05T09:00", "promised": "2026-12-01T09:00"}
    text = html.unescape(pages.post("Marta", "/loads/new", form).text)
    beside = dict(re.findall(r'class="wrong" id="w-(\w+)">(.*?)</span>', text))
    assert sorted(beside) == ["diameter_mm", "footprint_cm2", "height_mm", "pieces", "promised"]
    assert "two ways" in beside["footprint_cm2"] or "3200 or 3.2" in beside["footprint_cm2"]
    assert '"11 cm" is not a number' in beside["height_mm"]
    assert "more than the largest size" in beside["diameter_mm"]
    assert "is not after ready" in beside["promised"]
    assert "all the same" not in text, "what is faulty cannot be booked"


def test_the_families_of_the_studio_are_offered_and_one_misspelt_is_asked_about(pages: Reader) -> None:
    for number in "12":
        pages.post("Ana", "/loads/new", BOWLS | {"family": "buff stoneware", "key": number})
    form = pages.get("Ben", "/loads/new").text
    assert 'list="known-family"' in form
    assert '<option value="buff stoneware"></option>' in form
    asked = html.unescape(pages.post("Ana", "/loads/new", BOWLS | {"family": "buf stoneware", "key": "3"}).text)
    assert 'did you mean "buff stoneware"?' in asked
    assert pages.post("Ana", "/loads/new", BOWLS | {"family": "Buff  Stoneware", "key": "4"}).status_code == 303


def test_a_year_is_shown_where_it_is_neither_this_nor_the_coming_one(pages: Reader) -> None:
    path = pages.insist("Ana", "/loads/new", BOWLS | {"promised": "2025-12-03T17:00"}).headers["location"]
    assert "Wed 3 Dec 2025 17:00" in pages.get("Ana", path.split("?")[0]).text
    assert "Wed 3 Dec 2025 17:00" in pages.get("Ana", "/loads").text
    later = pages.post("Ana", "/loads/new", BOWLS | {"promised": "2027-01-13T17:00", "key": "2"}).headers["location"]
    assert "Wed 13 Jan 17:00" in pages.get("Ana", later.split("?")[0]).text


def test_a_promise_is_the_studios_and_a_wish_the_members(read_only: Reader) -> None:
    staff, member = (read_only.get(who, "/loads/new").text for who in ("Marta", "Ana"))
    assert "Promised for" in staff
    assert "The studio promises it for then" in staff
    assert "Your wish: out by" in member
    assert "but it is none. The earliest that can be promised is told below." in member
    assert "Promised" not in member


def test_the_shelf_area_is_worked_out_from_one_piece_without_scripts_too(pages: Reader) -> None:
    """Ten of 90 by 100 mm are 900 cm²; round ones of 9 cm take the square round each, 810 cm²."""
    for each, area in (
        ({"each_width": "90", "each_depth": "100", "each_unit": "mm"}, 900),
        ({"each_diameter": "9", "each_unit": "cm", "each_width": "3"}, 810),
    ):
        form = {**BOWLS, **each, "footprint_cm2": "", "key": str(area)}
        path = pages.post("Ana", "/loads/new", form).headers["location"].split("?")[0]
        assert pages.house.get("Ana", path)["load"]["footprint_cm2"] == area
    said = pages.post("Ana", "/loads/new", BOWLS | {"each_width": "90", "each_depth": "100", "footprint_cm2": "800"})
    assert pages.house.get("Ana", said.headers["location"].split("?")[0])["load"]["footprint_cm2"] == 800


def test_how_much_a_load_counts_is_not_called_its_weight(read_only: Reader) -> None:
    text = read_only.get("Marta", "/loads/new").text
    assert "Importance, 1 to 9" in text
    assert text.index("Mass of all pieces, kg") < text.index("More about it") < text.index("Importance, 1 to 9")
    assert "Weight" not in text
