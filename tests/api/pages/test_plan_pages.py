"""What-ifs and re-plans by form: solved in the background, shown beside the plan that holds."""

from __future__ import annotations

import re
import time
from datetime import datetime, timedelta

import pytest

from api.day import day_of
from api.pages.forms import Form
from api.pages.plan_pages import shown_stretches
from api.pages.supposing import supposed
from api.problems import ProblemError
from api.storage.tables import Job, Publication
from api.words import read_words
from scheduler.audit import AuditedPlan
from tests.api.pages.conftest import Reader
from tests.api.service.house import BISQUE, Clock

PATIENCE_SECONDS = 60.0


def solved(pages: Reader, answer: object) -> str:
    """The address of the plan that a form's solve leads to."""
    job = answer.headers["location"]  # type: ignore[attr-defined]
    assert job.startswith("/jobs/"), answer.text  # type: ignore[attr-defined]
    end = time.monotonic() + PATIENCE_SECONDS
    while time.monotonic() < end:
        shown = pages.get("Marta", job)
        if shown.status_code == 303:
            path: str = shown.headers["location"]
            return path
        assert "Searching for a plan" in shown.text, shown.text
        time.sleep(0.2)
    raise AssertionError("the solve did not end")


def changes(text: str) -> dict[str, list[str]]:
    """The table of a plan's page that says what changes, by load: where it was, where it is, what that means."""
    rows = re.findall(
        r"<tr[^>]*><th scope=\"row\">.*?</th><td>(\w+)</td><td[^>]*>(.*?)</td><td[^>]*>(.*?)</td>(.*?)</tr>", text
    )
    return {load: [before, after, re.sub("<[^>]*>", "", mark)] for load, before, after, mark in rows}


def test_a_what_if_is_compared_and_never_published(pages: Reader) -> None:
    """G1 has no place since K4 is out of use; one more kiln like it would take it."""
    path = solved(pages, pages.post("Marta", "/what-if", {"try": "kiln", "kiln": "K4", "work": "1"}))
    page = pages.get("Marta", path).text
    assert "can be compared, not published" in page
    assert "K4-2" in page
    assert "Publish this plan" not in page
    assert pages.post("Marta", f"{path}/publish", {"publication": "1"}).status_code == 409


def test_a_broken_kiln_asks_about_what_was_in_it_and_takes_the_answer(pages: Reader, clock: Clock) -> None:
    """F2 has been heating for an hour when K2 breaks; it is assumed to be fired anew, and somebody says it is lost."""
    clock.move(hours=2)
    for step, version in (("loaded", "0"), ("started", "1")):
        pages.post("Wout", "/firings/F2/note", {"step": step, "version": version})
    clock.move(hours=1)
    path = solved(pages, pages.post("Wout", "/broke", {"kiln": "K2", "others": "went", "work": "1"}))
    page = pages.get("Wout", path).text
    assert "Firings that were interrupted" in page
    assert "look at the pieces and the cones" in page
    assert "The manager can publish it." in page
    second = solved(pages, pages.post("Wout", f"{path}/answers", {"outcome-F2": "lost", "work": "1"}))
    page = pages.get("Marta", second).text
    assert "Lost: F1. Tell their owners." in page
    done = pages.post("Marta", f"{second}/publish", {"publication": "1", "anyway": "1"})
    assert done.headers["location"] == "/day?said=done"


def heading(pages: Reader, path: str, language: str = "en") -> str:
    text = pages.get("Marta", path, headers={"accept-language": language}).text
    found = re.search("<h1>(.*?)</h1>(?:<ul>(.*?)</ul>)?", text.replace("\n", ""))
    assert found is not None
    return re.sub("<[^>]*>", "|", " ".join(filter(None, found.groups())))


def test_the_heading_of_a_new_plan_says_what_has_happened(pages: Reader) -> None:
    """The shift from 9:00 on is Ana and Rui's; the circuit bench feeds three of the four kilns."""
    asked = {"kiln": "K2", "until": "2026-12-01T09:00", "work": "1"}
    path = solved(pages, pages.post("Wout", "/broke", asked))
    told = "kiln K2 out of use from Mon 30 Nov 08:00 until Tue 1 Dec 09:00"
    assert heading(pages, path) == f"Plan 2: {told}"
    assert heading(pages, path, "de") == "Plan 2: Ofen K2 außer Betrieb von Mo 30. Nov 08:00 bis Di 1. Dez 09:00"
    assert f"planned again: {told}" in pages.get("Marta", "/plans").text
    several = {"circuit": "bench", "away": "2026-12-01", "shift": "09:00", "late": "F1", "hours": "1.5", "work": "1"}
    found = heading(pages, solved(pages, pages.post("Wout", "/broke", several)))
    assert [part for part in found.split("|") if part] == [
        "Plan 3, for all that has happened: ",
        "circuit bench (K2, K3, K4) without power from Mon 30 Nov 08:00 until further notice",
        "not there for the shift of Tue 1 Dec 09:00: Ana and Rui",
        "firing F1 in K1 1 h 30 min late",
    ]


def test_the_heading_names_loads_that_came_and_went(pages: Reader) -> None:
    pages.house.post("Ana", "/loads", {"load": {**BISQUE, "id": "X1"}})
    pages.house.post("Ana", "/loads/B1/cancel", {"version": 1})
    found = heading(pages, solved(pages, pages.post("Wout", "/broke", {"away": "2026-12-01", "work": "1"})))
    assert "|not there on Tue 1 Dec: Ana and Rui|" in found
    assert "|new loads: X1|" in found
    assert "|loads cancelled: B1|" in found


def test_what_goes_wrong_without_a_new_plan_is_told_in_the_readers_words(pages: Reader) -> None:
    """K1 is out until further notice: a time told as the outage's end would be read as that of its return."""
    path = solved(pages, pages.post("Wout", "/broke", {"kiln": "K1", "work": "1"}))
    text = pages.get("Wout", path).text
    assert "out of use: firing F1, Mon 30 Nov 09:00: kiln K1 is out of use during it, at least until" in text
    assert "außer Betrieb: Brand F1" in pages.get("Wout", path, headers={"accept-language": "de"}).text


def test_wrong_events_are_told_on_the_form(pages: Reader) -> None:
    for form, text in (
        ({"kiln": "K9"}, "there is no kiln K9"),
        ({"away": "soon"}, "write it as 2026-11-30"),
        ({"late": "F1", "hours": "some"}, "write it as 1.5"),
        ({"kiln": "K1", "until": "never"}, "is not a time"),
        ({"shift": "09:00"}, "choose the day too"),
        ({"late": "F1"}, "fill in both"),
        ({"hours": "2"}, "fill in both"),
        ({"until": "2026-12-01T09:00"}, "tick a kiln or a circuit"),
        ({"kiln": "K1", "until": "2026-11-30T07:00"}, "that time is over"),
        ({"away": "2026-11-29"}, "that day is over"),
    ):
        answer = pages.post("Wout", "/broke", form)
        assert answer.status_code == 422
        assert text in answer.text


def test_where_nothing_is_said_to_have_broken_nothing_is_planned(pages: Reader) -> None:
    answer = pages.post("Wout", "/broke", {"kiln": "", "until": "", "work": "1"})
    assert answer.status_code == 422
    assert "Nothing was said to have broken, and nothing is known to have changed" in answer.text
    german = pages.post("Wout", "/broke", {}, headers={"accept-language": "de"}).text
    assert "Es wurde nichts genannt, was ausgefallen ist" in german
    with pages.house.service.store.read() as session:
        assert session.query(Job).count() == 0


def test_a_plan_that_is_refused_for_a_firing_under_way_leads_to_planning_again(pages: Reader, clock: Clock) -> None:
    clock.now += timedelta(hours=1, minutes=30)
    for version, step in enumerate(("loaded", "started")):
        pages.post("Wout", "/firings/F1/note", {"step": step, "version": str(version), "back": "/day"})
    answer = pages.post("Marta", "/plans", {"day": "2026-12-01"})
    assert answer.status_code == 409
    assert "firing F1 is under way in K1" in answer.text
    assert '<input type="hidden" name="around" value="1">' in answer.text
    assert pages.get("Wout", "/broke").status_code == 200


def test_all_else_is_planned_anew_around_what_is_in_the_kilns(pages: Reader, clock: Clock) -> None:
    """What the refusal of a fresh plan leads to: F1 stays to the minute, and every other load is placed again."""
    clock.now += timedelta(hours=1, minutes=30)
    for version, step in enumerate(("loaded", "started")):
        pages.post("Wout", "/firings/F1/note", {"step": step, "version": str(version), "back": "/day"})
    pages.post("Wout", "/unnoted", {"others": "went"})
    path = solved(pages, pages.post("Marta", "/plans", {"around": "1", "work": "5"}))
    plans = [pages.house.get("Marta", f"/plans/{n}")["plan"] for n in (1, int(path.rsplit("/", 1)[1]))]
    before, after = ({f["id"]: f for f in plan["firings"]} for plan in plans)
    assert after["F1"]["unload_at"] == before["F1"]["unload_at"]
    assert sorted(after["F1"]["loads"]) == sorted(before["F1"]["loads"])
    done = pages.post("Marta", f"{path}/publish", {"publication": "1"})
    assert done.headers["location"].startswith("/day")


@pytest.mark.parametrize("steps", [("loaded",), ("loaded", "started")])
def test_a_firing_noted_only_half_way_is_still_in_its_kiln_and_the_new_plan_can_be_published(
    pages: Reader, clock: Clock, steps: tuple[str, ...]
) -> None:
    """By the plan it has been out for hours, but nobody noted that: the kiln is not taken for empty."""
    clock.move(hours=2)
    for version, step in enumerate(steps):
        pages.post("Wout", "/firings/F2/note", {"step": step, "version": str(version), "back": "/day"})
    out_at = next(f for f in pages.house.get("Wout", "/plans/1")["plan"]["firings"] if f["id"] == "F2")["unload_at"]
    clock.now = datetime.fromisoformat(out_at) + timedelta(hours=7)
    path = solved(pages, pages.post("Wout", "/broke", {"kiln": "K3", "others": "went", "work": "1"}))
    plan = pages.house.get("Wout", f"/plans/{path.rsplit('/', 1)[1]}")["plan"]
    again = next(f for f in plan["firings"] if f["id"] == "F2")
    assert datetime.fromisoformat(again["unload_at"]) > datetime.fromisoformat(out_at)
    others = [f for f in plan["firings"] if f["kiln"] == again["kiln"] and f is not again]
    assert all(f["load_at"] >= again["free_at"] for f in others)
    done = pages.post("Marta", f"{path}/publish", {"publication": "1", "anyway": "1"})
    assert done.headers["location"].startswith("/day")


def test_what_people_have_entered_elsewhere_is_reason_enough_to_plan_again(pages: Reader) -> None:
    """A load that was booked since is placed, and the heading says that it is for this."""
    pages.house.post("Ana", "/loads", {"load": {**BISQUE, "id": "X1"}})
    path = solved(pages, pages.post("Wout", "/broke", {"work": "1"}))
    assert heading(pages, path) == "Plan 2: new loads: X1"


def test_what_was_said_stays_on_a_form_that_is_refused(pages: Reader) -> None:
    """Nobody types it all again for the sake of one field."""
    said = {"kiln": ["K1", "K3"], "circuit": "bench", "until": "2026-12-01T09:00", "shift": "09:00"}
    text = pages.post("Wout", "/broke", said).text
    assert re.findall(r'value="(\w+)" checked', text) == ["K1", "K3", "bench"]
    assert 'value="2026-12-01T09:00"' in text
    assert '<option value="09:00" selected' in text


def test_what_may_have_broken_is_listed_with_what_it_is(read_only: Reader) -> None:
    """Nobody knows firings by their number, nor which kilns stand still without a circuit."""
    text = read_only.get("Wout", "/broke").text
    assert '<option value="F1">F1, K1: Bisque, cone 04, start Mon 30 Nov 09:40</option>' in text
    assert "bench: K2, K3" in text


def test_a_plan_longer_than_a_week_shows_all_its_days(read_only: Reader, audited: AuditedPlan) -> None:
    """Its days follow each other without a gap, from now to the last opening, a week to a picture."""
    found = shown_stretches(audited.plan, audited.studio, audited.plan.begin)
    last = max(firing.out_at for firing in audited.plan.firings)
    assert (found[0][0], found[-1][1]) == (day_of(audited.plan.begin, audited.studio), day_of(last, audited.studio))
    assert all((end - begin).days < 7 for begin, end in found)
    longer = audited.plan.firings[-1].model_copy(update={"unload_at": last + 9 * 1440})
    firings = (*audited.plan.firings[:-1], longer)
    stretched = audited.plan.model_copy(update={"firings": firings})
    found = shown_stretches(stretched, audited.studio, audited.plan.begin)
    assert len(found) == 2
    assert (found[1][0] - found[0][1]).days == 1
    assert "Mon 7 Dec" in read_only.get("Marta", "/plans/1?from=2026-12-07").text
    assert read_only.get("Marta", "/plans/1?from=soon").status_code == 422


def form(**fields: str) -> Form:
    return Form({name: value.split("|") for name, value in fields.items()})


def test_each_supposition_changes_just_that(audited: AuditedPlan) -> None:
    studio, words = audited.studio, read_words()
    hands = supposed(form(**{"try": "hands"}), studio, words)
    assert [kind for kind, _ in hands.set] == ["shifts", "shifts"]
    assert all(body["hands"] == 1 for _, body in hands.set)
    ((kind, circuit),) = supposed(form(**{"try": "current", "circuit": "bench", "amps": "63"}), studio, words).set
    assert (kind, circuit["id"], circuit["breaker_amps"], circuit["fed_from"]) == ("circuits", "bench", 63.0, "main")
    out = supposed(form(**{"try": "out", "kiln": "K1", "begins": "2026-12-01T09:00"}), studio, words)
    assert out.set == (("outages", {"kiln": "K1", "from": "2026-12-01T09:00:00+00:00", "reason": "supposed"}),)
    assert supposed(form(**{"try": "cancel", "loads": "B1, B2"}), studio, words).cancel == ("B1", "B2")


@pytest.mark.parametrize(
    "fields",
    [{"try": "hours"}, {"try": "kiln", "kiln": "K9"}, {"try": "out", "kiln": "K1"}, {"try": "cancel"}, {"try": ""},
     {"try": "current", "circuit": "bench", "amps": "many"}],
)  # fmt: skip
def test_what_cannot_be_supposed_is_told(audited: AuditedPlan, fields: dict[str, str]) -> None:
    with pytest.raises(ProblemError):
        supposed(form(**fields), audited.studio, read_words())


def test_one_more_person_comes_to_the_shift_or_the_days_that_are_chosen(audited: AuditedPlan) -> None:
    """The small studio has two shifts, both from Monday to Friday; said beforehand, not only in the answer."""
    studio, words = audited.studio, read_words()

    def shifts(**fields: str | list[str]) -> list[tuple[str, list[str]]]:
        said = {name: [value] if isinstance(value, str) else value for name, value in fields.items()}
        more = supposed(Form({"try": ["hands"], **said}), studio, words).set
        assert {part["hands"] for _, part in more} == {1}
        return [(part["from"], list(part["days"])) for _, part in more]

    week = ["mon", "tue", "wed", "thu", "fri"]
    assert shifts() == [("09:00", week), ("18:00", week)]
    assert shifts(shift="1") == [("18:00", week)]
    assert shifts(days=["tue", "sun"]) == [("09:00", ["tue"]), ("18:00", ["tue"])]
    assert shifts(shift="0", days="fri") == [("09:00", ["fri"])]
    for wrong in ({"shift": "7"}, {"days": "sun"}):
        with pytest.raises(ProblemError):
            shifts(**wrong)


def test_the_form_says_what_one_more_person_means_before_it_is_tried(pages: Reader) -> None:
    text = pages.get("Marta", "/what-if").text
    assert "with neither chosen it is every shift of the whole week" in text
    assert "Mon, Tue, Wed, Thu, Fri 18:00–22:00</option>" in text


def test_a_what_if_can_be_searched_longer_as_it_was_asked(pages: Reader) -> None:
    form = {"try": "hands", "shift": "1", "days": ["tue", "wed"], "work": "1"}
    text = pages.get("Marta", solved(pages, pages.post("Marta", "/what-if", form))).text
    assert re.search(r"With it \d+( to \d+)? loads are late and \d+( to \d+)? have no place", text)
    again = text.split('action="/what-if"')[1].split("</form>")[0]
    fields = re.findall(r'name="(\w+)" value="(\w+)"', again)
    assert fields == [("try", "hands"), ("shift", "1"), ("days", "tue"), ("days", "wed"), ("seconds", "180")]


def test_the_staff_read_whose_load_has_moved_where_its_owner_does_not_sign_in(pages: Reader) -> None:
    path = solved(pages, pages.post("Wout", "/broke", {"kiln": "K1", "work": "1"}))
    pages.post("Marta", f"{path}/publish", {"publication": "1", "anyway": "1"})
    told = re.findall(r"<li>Load (\S+) of (.*?) (?:is now|has no).*? Please tell (.*?)\.</li>", day(pages, "Marta"))
    assert told == [("B2", *["Zoë &lt;north&gt; &amp; co"] * 2)]


def day(pages: Reader, who: str, language: str = "en") -> str:
    text: str = pages.get(who, "/day", headers={"accept-language": language}).text
    return text


def missed_on_monday(pages: Reader, clock: Clock) -> str:
    """K2 is noted on Monday, K1 was to start at 9:40 and nobody has noted it; at 14:00 the flask oven breaks."""
    clock.move(hours=2)
    for step, version in (("loaded", "0"), ("started", "1")):
        pages.post("Wout", "/firings/F2/note", {"step": step, "version": version})
    clock.move(hours=4)
    return solved(pages, pages.post("Wout", "/broke", {"kiln": "K3", "not": "F1", "others": "went", "work": "1"}))


def test_a_firing_that_nobody_has_noted_is_told_as_such_and_not_as_new(pages: Reader, clock: Clock) -> None:
    """Its loads had a place: they wait since the firing did not come about."""
    path = missed_on_monday(pages, clock)
    told = "firing F1 in K1 was to start Mon 30 Nov 09:40, and by what was noted or said it did not"
    assert f"|{told}|" in heading(pages, path)
    rows = changes(pages.get("Marta", path).text)
    assert rows["B1"][0] == "F1 in K1: it was to start Mon 30 Nov 09:40, and by what was noted or said it did not"
    assert re.match(r"placed again as F\d+, start \w{3} \d+ \w{3} [\d:]{5}: K1, out ", rows["B1"][1])
    assert "new" not in rows["B1"][2]
    assert rows["B2"][2].endswith("later than promised")
    german = pages.get("Marta", path, headers={"accept-language": "de"}).text
    assert "sollte Mo 30. Nov 09:40 starten, und tat es nach dem, was vermerkt oder gesagt wurde, nicht" in german


def test_how_much_later_than_promised_is_said_also_where_the_promise_was_broken_before(pages: Reader) -> None:
    """B2 was promised for Tuesday 8:00 and planned for Wednesday 9:30; without its kiln it is later still."""
    asked = {"kiln": "K1", "until": "2026-12-03T09:00", "work": "1"}
    path = solved(pages, pages.post("Wout", "/broke", asked))
    mark = changes(pages.get("Marta", path).text)["B2"][2]
    found = re.fullmatch(r"later by (\d+) h(?: (\d+) min)?, (\d+) h(?: (\d+) min)? later than promised", mark)
    assert found is not None, mark
    later, promised = (int(found[n]) * 60 + int(found[n + 1] or 0) for n in (1, 3))
    assert promised - later == 25 * 60 + 30
    pages.post("Marta", f"{path}/publish", {"publication": "1", "anyway": "1"})
    spelt = f"{found[3]} h" + (f" {found[4]} min" if found[4] else "")
    assert f"That is {spelt} later than promised (Tue 1 Dec 08:00). Please tell Zoë" in day(pages, "Marta")
    assert f"Das ist {spelt} später als zugesagt (Di 1. Dez 08:00)." in day(pages, "Marta", "de")


def test_a_load_that_loses_its_place_is_told_with_its_promise(pages: Reader) -> None:
    """Without the glass kiln nobody fires F1, which was promised for Tuesday 17:00."""
    path = solved(pages, pages.post("Wout", "/broke", {"kiln": "K2", "work": "1"}))
    assert changes(pages.get("Marta", path).text)["F1"][1:] == [
        "no place",
        "no place any more, promised Tue 1 Dec 17:00",
    ]
    pages.post("Marta", f"{path}/publish", {"publication": "1", "anyway": "1"})
    text = day(pages, "Ben")
    assert (
        "Load F1 has no place in the new plan. It was promised for Tue 1 Dec 17:00. Please talk to the studio." in text
    )
    assert "later than promised" not in text


def test_who_is_told_by_a_notice_and_whom_the_staff_has_to_tell_is_said_before_publishing(pages: Reader) -> None:
    """K2 and K1 break: Ben has an account and owns F1, nobody signs in for B2."""
    asked = {"kiln": ["K1", "K2"], "until": "2026-12-03T09:00", "work": "1"}
    path = solved(pages, pages.post("Wout", "/broke", asked))
    text = pages.get("Marta", path).text
    assert "It then holds. 2 owners with an account get a notice in their pages: Ana and Ben." in text
    found = re.search(r"No notice reaches 1 owner, who has no account\..*?</p>", text)
    assert found is not None
    assert '<a href="#who-3">Zoë &lt;north&gt; &amp; co</a> (B2)' in found[0]
    row = text[text.index('<tr id="who-3">') :]
    assert row.startswith('<tr id="who-3"><th scope="row">Zoë')
    assert "2 Personen mit Konto bekommen" in pages.get("Marta", path, headers={"accept-language": "de"}).text
    pages.post("Marta", f"{path}/publish", {"publication": "1", "anyway": "1"})
    assert "No notice reaches 1 owner" in pages.get("Marta", path).text
    assert "Load B1 is now fired" in day(pages, "Ana")
    assert "Load F1 is now fired" in day(pages, "Ben")


def test_a_plan_made_afresh_tells_those_too_whose_loads_it_moves(pages: Reader) -> None:
    """A new plan from Wednesday on moves what was planned for Monday; what it finds no place for it never had."""
    path = solved(pages, pages.post("Marta", "/plans", {"day": "2026-12-02", "work": "1"}))
    text = pages.get("Marta", path).text
    assert "2 owners with an account get a notice in their pages: Ana and Ben." in text
    assert "No notice reaches 2 owners" in text
    assert "(G1)" not in text[text.index("No notice reaches") :].split("</p>")[0]
    assert day(pages, "Ana").count("is now fired") == 0
    pages.post("Marta", f"{path}/publish", {"publication": "1"})
    assert day(pages, "Ana").count("Load B1 is now fired") == 1
    assert day(pages, "Ben").count("Load F1 is now fired") == 1
    assert "Load B2 of Zoë" in day(pages, "Marta")


def test_a_first_plan_names_the_owners_of_what_is_late_or_without_a_place(pages: Reader) -> None:
    """G1 of Jonas has no place, B2 of Zoë is late: nothing moves, and yet both are to be told before they ask."""
    for holds in (True, False):
        if not holds:
            with pages.house.service.store.write() as session:
                session.query(Publication).delete()
        text = pages.get("Marta", "/plans/1").text
        assert "nobody has to be told" not in text
        told = text.split("The staff tells them before they ask:")[1].split("</p>")[0]
        assert re.search(r'<a href="#late-head">Jonas</a> \(G1\)', told)
        with pages.house.service.store.read() as session:
            plan = pages.house.service.audited(session, 1).plan
        named = set(re.findall(r"\(([^)]*)\)", told))
        assert {load for loads in named for load in loads.split(", ")} == {
            *(one.load for one in plan.late), *(one.load for one in plan.unplaced)
        }  # fmt: skip
        assert 'id="late-head"' in text
        german = pages.get("Marta", "/plans/1", headers={"accept-language": "de"}).text
        assert "Das Team sagt es ihnen, bevor sie fragen:" in german
        assert ("This is the first plan: no load moves, and nobody gets a notice." in text) is not holds
