"""What ``kilnrota plan`` prints: every fact that somebody fires by."""

from __future__ import annotations

import re
from datetime import date

from api.cautions import cautions, named_caution
from api.day import Day
from api.formats import Formats
from api.lateness import SEEN_AT_FIRST_SIGHT, why_text
from api.printing.plan_text import plan_text, proof_text
from api.words import read_words
from scheduler.audit import AuditedPlan, prove
from shared.plans import Proof
from shared.texts import say


def flowing(text: str) -> str:
    return " ".join(text.split())


def kiln_part(text: str, kiln: str) -> str:
    return re.split(r"\n\n", text[text.index(f"\n{kiln} ") :].strip("\n"))[0]


def test_every_kiln_is_told_of_with_its_times_people_and_layers(monday: Day, formats: Formats) -> None:
    part = flowing(kiln_part(plan_text(monday, formats), "K1"))
    assert "load 09:00–09:40 Ana and Rui (09:00–18:00)" in part
    assert "start 09:40" in part
    assert "open Wed 2 Dec 09:00–09:30 Ana and Rui" in part
    assert "layer 1 (bottom) B2, Zoë <north> & co, 40 pieces" in part
    assert "layer 3 (top) B1, Tue evening class, 28 pieces" in part
    assert "24.0 A on legs A, B, C" in part


def test_segments_are_in_the_controller_s_own_unit(monday: Day, formats: Formats) -> None:
    """150 K/h to 540 °C is 270 °F/h to 1004 °F; the studio itself counts in °C."""
    part = kiln_part(plan_text(monday, formats), "K2")
    assert re.search(r"1\s+270 °F/h to\s+1004 °F\s+hold 0:20", part)
    assert re.search(r"3\s+elements off to\s+954 °F\s+hold 1:00", part)
    assert "°C" not in part


def test_hot_work_is_a_session_held_until_it_is_over(monday: Day, formats: Formats) -> None:
    part = flowing(kiln_part(plan_text(monday, formats), "K3"))
    assert "session Tue 1 Dec 12:00–14:00 casting: Ana and Rui" in part
    assert "start 22:00 on its timer: 4 h 40 min from 17:20; nobody is there." in part
    assert "ready from" in part
    assert "It heats while nobody is there: 22:00–Tue 1 Dec 09:00" in part
    off = re.search(r"off Tue 1 Dec (\S+)", part)
    assert off is not None
    assert off[1] == "14:00"


def test_a_sessions_hold_is_keyed_in_as_long_as_it_may_last(monday: Day, formats: Formats) -> None:
    firing = next(f for f in monday.plan.firings if f.id == "F3")
    part = kiln_part(plan_text(monday, formats), "K3")
    assert formats.duration(firing.hot_until - firing.target_at) == "7:17"
    assert "hold 8:00" in part
    assert "switched off by hand after the last piece" in flowing(part)


def test_late_and_unplaced_loads_are_told_with_why(monday: Day, formats: Formats) -> None:
    text = flowing(plan_text(monday, formats))
    assert "B2 Zoë <north> & co: promised Tue 1 Dec 08:00, out Wed 2 Dec 09:30, 25 h 30 min late. G1 Jonas:" in text
    assert "G1 Jonas: no place (out of use): K4 is out of use and no other kiln fires glaze." in text
    assert "out of use from Sat 28 Nov 09:00 until further notice (relay on order)" in text


def test_a_reason_is_the_planners_and_what_it_did_not_try_is_said_as_seen_at_first_sight(formats: Formats) -> None:
    words = formats.words
    for key in SEEN_AT_FIRST_SIGHT:
        assert why_text(say(key), words) == f"At first sight: {say(key)}."
        assert why_text(str(say(key)), words).startswith("At first sight: "), "as read from a plan's file"
    assert why_text(say("reason.firing_under_way"), words) == "Its firing is under way."
    assert why_text("", words) == ""
    german = why_text(say("reason.firing_under_way"), read_words("de"))
    assert german != "Its firing is under way."
    assert why_text(say(SEEN_AT_FIRST_SIGHT[0]), read_words("de")).startswith("Auf den ersten Blick: ")


def test_what_is_paid_is_told_apart_from_what_is_only_weighed(monday: Day, formats: Formats) -> None:
    text, parts = flowing(plan_text(monday, formats)), monday.plan.cost_parts
    assert f"To be paid: energy {parts.energy:.2f} EUR." in text
    assert f"loads without a place {parts.unplaced:.2f} points" in text
    assert f"{parts.total:.2f} points" in text
    proof = text[text.index("To be paid") :]
    assert proof.count("EUR") == 1


def test_circuits_are_told_against_their_limits(monday: Day, formats: Formats) -> None:
    text = flowing(plan_text(monday, formats))
    assert "main: may carry 50.4 A on each leg this day A 40.0 A at 10:00" in text


def test_the_standing_sentences_are_on_every_plan(monday: Day, formats: Formats) -> None:
    for only in (None, "K2"):
        text = flowing(plan_text(monday, formats, only))
        assert "The plan does not make a firing safe. Follow the maker's manual, your site rules and local law." in text
        assert "a licensed electrician decide what may be connected and run" in text


def test_one_kiln_alone_leaves_the_others_out(monday: Day, formats: Formats) -> None:
    text = plan_text(monday, formats, "K2")
    assert "K2 Glass kiln" in text
    assert "K1 Front loader" not in text


def test_one_kiln_alone_still_says_why_a_load_that_is_tied_to_it_has_no_place(
    audited: AuditedPlan, formats: Formats
) -> None:
    tied = [load.model_copy(update={"kilns": ("K4",)}) if load.id == "G1" else load for load in audited.loads.values()]
    day = Day(prove(audited.studio, tied, audited.plan), date(2026, 11, 30))
    assert "K4 is out of use and no other kiln fires glaze" in flowing(plan_text(day, formats, "K4"))
    assert "no other kiln fires glaze" not in flowing(plan_text(day, formats, "K2"))


def test_a_day_of_unloading_alone_tells_no_segments(audited: AuditedPlan, formats: Formats) -> None:
    part = kiln_part(plan_text(Day(audited, date(2026, 12, 2)), formats), "K1")
    assert "open     09:00–09:30" in part
    assert "key in" not in part


def test_nothing_printed_is_wider_than_the_terminal(monday: Day, formats: Formats) -> None:
    assert max(len(line) for line in plan_text(monday, formats).splitlines()) <= 100


def test_a_proof_is_told_in_words(formats: Formats) -> None:
    def told(status: str, cost: float, bound: float) -> str:
        return proof_text(Proof.model_validate({"status": status, "cost": cost, "bound": bound, "seconds": 1}), formats)

    assert told("optimal", 100, 100) == "Proved: by the studio's prices no plan has fewer points."
    assert told("unproved", 125, 100) == "At most 25.0 % above the best possible: no plan has fewer than 100.00 points."
    assert "not known" in told("unproved", 125, 0)


def test_a_caution_that_the_catalogue_does_not_know_is_printed_as_written(monday: Day, formats: Formats) -> None:
    assert named_caution("our own rule: no talc", formats).text == "our own rule: no talc"
    fusing = next(kiln.firings[0] for kiln in monday.kilns if kiln.kiln.id == "K2")
    keys = [caution.key for caution in cautions(fusing, formats, monday.date)]
    assert keys == ["sharp-glass", "our own rule: no talc", "hot-kiln", "see-it-off"]


def test_the_highest_load_in_the_whole_plan_is_told_with_its_day(monday: Day, formats: Formats) -> None:
    text = plan_text(monday, formats)
    assert re.search(r"this day +A \d+\.\d A at \d\d:\d\d", text)
    plans = re.findall(r"whole plan +A \d+\.\d A at (.*?)(?:   B|\n)", text)
    assert plans
    assert all(re.fullmatch(r"\w{3} \d+ \w{3} \d\d:\d\d", at) for at in plans), plans
