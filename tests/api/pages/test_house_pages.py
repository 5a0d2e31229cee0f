"""Kilns, people, costs, shifts, one's own links: a refused form names each fault and keeps what was said."""

from __future__ import annotations

import re
from html import unescape

from tests.api.pages.conftest import Reader


def faults(text: str) -> list[str]:
    """What a page names as faults."""
    box = text.split('<div class="fault"')[1].split("</div>")[0]
    return [unescape(one) for one in re.findall(r"<li>(.*?)</li>", box)]


def test_prices_that_cannot_be_used_are_named_one_by_one_and_stay_in_the_form(pages: Reader) -> None:
    form = {"version": "0", "firing": "free", "litre": "0,2", "energy_factor": "-1", "energy_by_mass": "4"}
    answer = pages.post("Marta", "/costs", form)
    assert answer.status_code == 422
    assert faults(answer.text) == [
        "A firing: 'free' is no number from 0 on; write it as 4.50",
        "Energy times: '-1' is no number from 0 on; write it as 4.50",
        "Of the energy, by mass: '4' is no number from 0 to 1; write it as 0.5",
    ]
    for value in ("free", "0,2", "-1", "4"):
        assert f'value="{value}"' in answer.text
    assert pages.get("Marta", "/costs").text.count('value="free"') == 0


def test_an_outage_that_ends_before_it_begins_is_told_in_plain_times(pages: Reader) -> None:
    form = {"begins": "2026-12-05T10:00", "ends": "2026-12-04T10:00", "reason": "new lid"}
    answer = pages.post("Marta", "/kilns/K2/out", form)
    (told,) = faults(answer.text)
    assert told.startswith("To: it ends at Fri 4 Dec 10:00, which is not after its beginning, Sat 5 Dec 10:00; ")
    card = answer.text.split("Glass kiln</span>")[1].split("</section>")[0]
    assert "<details open>" in card
    for value in form.values():
        assert f'value="{value}"' in card
    assert answer.text.count("<details open>") == 1
    assert [one for one in pages.house.get("Marta", "/studio/outages") if one["body"].get("kiln") == "K2"] == []


def test_a_shift_is_told_everything_that_it_lacks_at_once(pages: Reader) -> None:
    shifts = pages.house.get("Marta", "/studio/shifts")
    answer = pages.post("Marta", "/shifts", {"from": "", "to": "18:00", "hands": "two", "who": "Rui"})
    assert answer.status_code == 422
    assert [text.split(":")[0] for text in faults(answer.text)] == ["On", "People", "From"]
    assert 'value="Rui"' in answer.text
    both = pages.post("Marta", "/shifts", {"days": "mon", "on": "2026-12-07", "from": "9:00", "to": "18:00"})
    assert faults(both.text) == ["On: it needs days of the week, or one date, not both; tick days, or name a date"]
    assert pages.house.get("Marta", "/studio/shifts") == shifts


def test_somebody_who_cannot_be_added_stays_in_the_form(pages: Reader) -> None:
    answer = pages.post("Marta", "/people", {"name": "Ana", "role": "attendant", "takes_over": "Tue evening class"})
    assert faults(answer.text) == ["somebody has that name already; choose another"]
    form = answer.text.split('id="add-head"')[1]
    assert 'value="Ana"' in form
    assert 'value="attendant" selected' in form
    assert 'value="Tue evening class"' in form


def test_a_link_for_a_screen_works_as_it_is_shown_whatever_the_language(pages: Reader) -> None:
    """A calendar's link says its language; a screen's has a key at its end, which nothing may be added to."""
    for path, form in (("/me/displays", {"label": "Ofenraum"}), ("/me/feeds", {"kind": "staff"})):
        text = pages.post("Marta", path, form, headers={"accept-language": "de"}).text
        address = unescape(re.search(r'<code id="made">(.*?)</code>', text)[1])  # type: ignore[index]
        shown = pages.get(None, address.removeprefix("http://testserver"))
        assert shown.status_code == 200, address
        assert ("Front loader" if "displays" in path else "BEGIN:VCALENDAR") in shown.text


def test_a_reading_that_is_none_is_told_on_the_firings_own_page(pages: Reader) -> None:
    for step, version in (("loaded", "0"), ("started", "1")):
        pages.post("Wout", "/firings/F2/note", {"step": step, "version": version})
    for text, told in (("hot", "temperature: 'hot' is no number; write it as 612"), ("9999", "9999")):
        answer = pages.post("Wout", "/firings/F2/reading", {"temperature": text})
        assert answer.status_code == 422
        assert told in faults(answer.text)[0]
        assert "Expected course" in answer.text
        assert f'value="{text}"' in answer.text
