"""Loads that have changed, on the day: whose owners have a notice, and whom the staff has to tell."""

from __future__ import annotations

import re

from api.storage.tables import Notice, Person
from tests.api.pages.conftest import Reader
from tests.api.pages.test_plan_pages import solved


def changed(pages: Reader, language: str = "en") -> str:
    text: str = pages.get("Marta", "/day", headers={"accept-language": language}).text
    found = re.search(r'<details class="note">.*?</details>', text, re.DOTALL)
    assert found is not None
    return found[0]


def broken(pages: Reader) -> None:
    """K1 and K2 break: that moves Ana's B1, Ben's F1, and B2 of Zoë, who has no account."""
    form = {"kiln": ["K1", "K2"], "until": "2026-12-03T09:00", "work": "1"}
    path = solved(pages, pages.post("Wout", "/broke", form))
    pages.post("Marta", f"{path}/publish", {"publication": "1", "anyway": "1"})


def test_the_day_parts_owners_as_the_page_before_publishing_does(pages: Reader) -> None:
    broken(pages)
    said = changed(pages)
    head, rest = said.split("</summary>")
    assert head.endswith("Loads that have changed: 3. The staff has to tell 1 owner")
    staff, notice = rest.split("2 owners with an account get a notice in their pages: Ana and Ben.")
    assert "No notice reaches 1 owner, who has no account. The staff has to tell them by other means:" in staff
    assert "Zoë &lt;north&gt; &amp; co (B2)." in staff
    assert re.findall(r"<li>Load (\w+)", staff) == ["B2"]
    assert set(re.findall(r"<li>Load (\w+)", notice)) == {"B1", "F1"}
    assert len(re.findall('name="notice"', said)) == 3
    german = changed(pages, "de")
    assert "Geänderte Posten: 3. Die Werkstatt muss 1 Person Bescheid geben</summary>" in german
    assert "2 Personen mit Konto bekommen eine Nachricht auf ihren Seiten: Ana und Ben." in german


def test_whose_account_has_ended_meanwhile_is_told_by_the_staff(pages: Reader) -> None:
    broken(pages)
    with pages.house.service.store.write() as session:
        session.query(Person).filter(Person.name == "Ben").one().active = False
    said = changed(pages)
    assert "The staff has to tell 2 owners" in said
    assert "1 owner with an account gets a notice in their pages: Ana." in said
    staff = said.split("1 owner with an account")[0]
    assert set(re.findall(r"<li>Load (\w+)", staff)) == {"B2", "F1"}


def test_where_every_owner_has_an_account_the_staff_has_nobody_to_tell(pages: Reader) -> None:
    """Of what has moved, all but Ben's F1 has been seen."""
    broken(pages)
    with pages.house.service.store.write() as session:
        ben = session.query(Person).filter(Person.name == "Ben").one().id
        for notice in session.query(Notice).filter(Notice.kind == "moved", Notice.person_id.is_distinct_from(ben)):
            notice.seen_at = pages.house.service.now()
    said = changed(pages)
    assert "Loads that have changed: 1. Their owners have a notice</summary>" in said
    assert "has to tell" not in said
    assert "1 owner with an account gets a notice in their pages: Ben." in said


def test_a_promise_for_a_later_time_is_told_by_the_staff_where_the_owner_never_signed_in(pages: Reader) -> None:
    """Ben owns F1 and has no password yet: he would never see a notice."""
    with pages.house.service.store.write() as session:
        session.query(Person).filter(Person.name == "Ben").one().password_hash = None
    row = pages.house.get("Marta", "/loads/F1")
    form = {"version": str(row["version"]), "promised": "2026-12-05T17:00"}
    assert pages.post("Marta", "/trouble/F1/promise", form).status_code == 303
    said = changed(pages)
    assert "The staff has to tell 1 owner" in said
    assert "Load F1 is now promised for Sat 5 Dec 17:00" in said
    assert "Please tell " in said
