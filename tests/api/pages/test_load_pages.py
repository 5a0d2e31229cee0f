"""Booking by form: the promise while one types, the faults beside the form, filters."""

from __future__ import annotations

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
