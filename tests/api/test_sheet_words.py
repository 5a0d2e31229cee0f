"""What a sheet tells the person with the clipboard: delays, cones, pieces on each layer, who is there at the end."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from api.attendance import attendance
from api.cautions import MOST_SHARP, SHARPEST, cautions, still_heating
from api.day import Day, FiringOnDay
from api.formats import Formats
from api.segments import segment_lines
from api.sheets.cones import CONE_MM, cone_pack
from api.sheets.firing_sheet import firing_sheet
from api.sheets.key_notes import key_notes
from api.sheets.session_list import sessions_page
from api.sheets.writing import overview_page
from api.starting import start_text
from api.words import read_words
from shared.calendar import Span


def firing_of(kiln: str, day: Day) -> FiringOnDay:
    return next(one.firings[0] for one in day.kilns if one.kiln.id == kiln)


def moved(shown: FiringOnDay, **changes: Any) -> FiringOnDay:
    return replace(shown, firing=shown.firing.model_copy(update=changes))


def named(shown: FiringOnDay, name: str, work: str | None = None) -> FiringOnDay:
    changes: dict[str, Any] = {"name": name, "id": "some"} | ({"work": work} if work else {})
    return replace(shown, profile=shown.profile.model_copy(update=changes))


# ---------------------------------------------------------------- starting


def test_a_timer_is_set_by_its_delay_from_the_end_of_loading(monday: Day, formats: Formats) -> None:
    oven = firing_of("K3", monday)
    assert start_text(oven, formats, monday.date) == "on its timer: 4 h 40 min from 17:20; nobody is there."
    somebody = replace(oven, heats_alone=())
    assert start_text(somebody, formats, monday.date) == "by hand, or on its timer: 4 h 40 min from 17:20"
    at_once = moved(somebody, start_at=oven.loaded_at)
    assert start_text(at_once, formats, monday.date) == "by hand, or on its timer"
    assert "on its timer: 4 h 40 min from 17:20" in overview_page(monday, formats)
    german = Formats(formats.studio, read_words("de"))
    assert start_text(oven, german, monday.date) == "mit der Vorwahl: 4 h 40 min ab 17:20; niemand ist da."


def test_a_delay_of_more_than_a_day_is_set_later_by_who_leaves_last(monday: Day, formats: Formats) -> None:
    oven = firing_of("K3", monday)
    start = oven.loaded_at + 1440 + 400  # Wednesday at midnight; on Tuesday they leave at ten
    late = replace(moved(oven, start_at=start), heats_alone=(Span(start, start + 60),))
    assert start_text(late, formats, monday.date) == (
        "on its timer: 30 h 40 min from 17:20; nobody is there. That is longer than many timers go; "
        "then set it later: 2 h from Tue 1 Dec 22:00."
    )
    weekend = oven.loaded_at + 6 * 1440 + 400  # Sunday; on Friday at ten the last one leaves
    far = replace(moved(oven, start_at=weekend), heats_alone=(Span(weekend, weekend + 60),))
    assert "ask before it is loaded" in start_text(far, formats, monday.date)


# ---------------------------------------------------------------- cones


@pytest.mark.parametrize(
    ("name", "cones"),
    [("Bisque, cone 04", "05 04 03"), ("Glaze, cone 6", "5 6 7"), ("Lustre, cone 022", "022 021"),
     ("Glaze, cone 1", "01 1 2"), ("Hot, cone 10", "9 10"), ("Slow bisque", "")],
)  # fmt: skip
def test_a_firing_to_a_cone_has_the_next_softer_and_the_next_harder_one_beside_it(
    monday: Day, formats: Formats, name: str, cones: str
) -> None:
    """The order of the series is that of Orton's published table of equivalents, 022 to 10."""
    pack = cone_pack(named(firing_of("K1", monday), name), formats)
    assert " ".join(pack.cones if pack else ()) == cones


def test_only_ceramics_have_cones(monday: Day, formats: Formats) -> None:
    assert cone_pack(named(firing_of("K1", monday), "Full fuse, cone 6", "glass"), formats) is None


def test_cones_stand_on_the_layer_nearest_the_middle_that_is_high_enough(monday: Day, formats: Formats) -> None:
    bisque = firing_of("K1", monday)

    def layer(*heights_mm: float) -> str:
        one = bisque.layers[0]
        layers = tuple(replace(one, number=n, height_mm=h + one.gap_mm) for n, h in enumerate(heights_mm, start=1))
        pack = cone_pack(replace(bisque, layers=layers), formats)
        assert pack is not None
        return pack.text.split(",")[0]

    assert layer(90, 90, 112) == "Cone pack on layer 2"
    assert layer(90, CONE_MM - 1, 112) == "Cone pack on layer 1"
    assert layer(20, 12, 30) == "Cone pack on layer 3"


def test_cones_are_put_in_on_the_day_of_loading_and_signed_for_when_opened(monday: Day, formats: Formats) -> None:
    bisque = firing_of("K1", monday)
    sheet = firing_sheet(bisque, formats, monday.date, monday.begin)
    assert "05 (softer), 04 (this firing), 03 (harder)" in sheet.cones
    assert sheet.signs[-1] == ("Cones: what bent, how far", "05 · 04 · 03", False)
    later = Day(monday.audited, monday.date + timedelta(days=1))
    sheet = firing_sheet(bisque, formats, later.date, later.begin)
    assert sheet.cones == ""
    assert sheet.signs[-1][0] == "Cones: what bent, how far"
    assert sheet.loaded_before == "Loaded Mon 30 Nov 09:00: shelves and what lies on them are on that day's sheet."


# ---------------------------------------------------------------- layers and steps


def test_a_load_on_several_layers_is_told_with_its_pieces_on_each(monday: Day, formats: Formats) -> None:
    """B2 has 40 pieces of 150 cm²: 20 of them fill a shelf of 3136 cm²."""
    sheet = firing_sheet(firing_of("K1", monday), formats, monday.date, monday.begin)
    assert {row.id: row.layers.replace("\u00a0", " ").replace("\u2060", "") for row in sheet.loads} == {
        "B1": "3",
        "B2": "1–2: 20 each",
    }
    assert [[(part.load.id, part.pieces) for part in layer.on_it] for layer in firing_of("K1", monday).layers] == [
        [("B2", 20)],
        [("B2", 20)],
        [("B1", 28)],
    ]
    assert "tallest piece + 15 for the air above it and the next shelf's thickness" in sheet.shelf_hint


def test_a_step_that_the_kiln_cannot_follow_is_marked(monday: Day, formats: Formats) -> None:
    fusing = firing_of("K2", monday)
    segments = fusing.firing.segments
    # As if the second ramp, 260 K at 200 K/h, took the kiln two hours: everything after it is later.
    late = segments[0].hold_ends_at + 120 - segments[1].reached_at
    slow = [
        one.model_copy(update={"reached_at": one.reached_at + late, "hold_ends_at": one.hold_ends_at + late})
        for one in segments[1:]
    ]
    slowed = moved(fusing, segments=(segments[0], *slow))
    lines = segment_lines(slowed, formats)
    assert [line.number for line in lines if line.slow] == [2]
    (note,) = key_notes(slowed, lines, formats, monday.date)
    assert note.startswith("* The kiln cannot follow: step 2 takes about 2 h, not 1 h 18 min.")
    assert not key_notes(fusing, segment_lines(fusing, formats), formats, monday.date)


# ---------------------------------------------------------------- the end


def keys_and_texts(shown: FiringOnDay, formats: Formats, day: Day) -> dict[str, str]:
    return {caution.key: caution.text for caution in cautions(shown, formats, day.date)}


def ending(shown: FiringOnDay, day: Day, clock: str, latest: str) -> FiringOnDay:
    """A firing that should switch off at a time of Monday, in eight of ten by the latest; seen off by who is there."""
    hour, minute = clock.split(":")
    at = day.begin + int(hour) * 60 + int(minute)
    last = day.begin + int(latest[:2]) * 60 + int(latest[3:])
    seen = attendance(day.studio, at).there
    return replace(moved(shown, hot_until=at, hot_until_between=(at, last)), seen_off_by=seen)


def test_who_is_there_at_the_end_and_at_the_alarm_is_asked_to_look(monday: Day, formats: Formats) -> None:
    shown = ending(firing_of("K1", monday), monday, "16:00", "16:20")
    assert keys_and_texts(shown, formats, monday)["see-it-off"] == (
        "Ana and Rui: look whether it has switched off at 16:00. Still heating at 16:50: switch it off at the "
        "isolator and tell whoever is in charge."
    )
    assert still_heating(shown, formats, monday.date).startswith("Still heating at 16:50: switch it off")


def test_nothing_is_asked_of_anybody_at_a_time_when_nobody_is_there(monday: Day, formats: Formats) -> None:
    """They leave at ten; half an hour after the latest likely end is later."""
    shown = ending(firing_of("K1", monday), monday, "21:00", "21:45")
    text = keys_and_texts(shown, formats, monday)["see-it-off"]
    assert "Still heating when the last one leaves (22:00): it goes on only if whoever is in charge says so" in text
    assert "22:15" not in text
    assert "The first to come (Ana and Rui, Tue 1 Dec 09:00) looks at it before anything else." in text
    asked = still_heating(shown, formats, monday.date)
    assert asked.startswith("Still heating when the first one comes (Ana and Rui, Tue 1 Dec 09:00)")
    watched = replace(shown, kiln=shown.kiln.model_copy(update={"attend_end": True}))
    text = keys_and_texts(watched, formats, monday)["see-it-off"]
    assert "Still heating when the last one leaves (22:00): switch it off." in text


def test_an_end_that_nobody_sees_is_prepared_by_who_leaves_and_looked_at_by_who_comes(
    monday: Day, formats: Formats
) -> None:
    shown = ending(firing_of("K1", monday), monday, "23:00", "23:10")
    text = keys_and_texts(shown, formats, monday)["no-one-at-end"]
    assert "The last to leave (22:00) looks at it" in text
    assert "over-temperature cut-out, if the maker's manual has one" in text
    assert "The first to come (Ana and Rui, Tue 1 Dec 09:00) looks at it before anything else." in text


def test_a_kiln_that_heats_only_with_somebody_there_is_still_hot_when_they_leave(monday: Day, formats: Formats) -> None:
    shown = ending(firing_of("K1", monday), monday, "21:00", "21:10")
    assert "heats-attended" not in keys_and_texts(shown, formats, monday)
    muffle = replace(shown, kiln=shown.kiln.model_copy(update={"unattended": False}))
    left = formats.temperature(muffle.temperature_at(monday.begin + 22 * 60), muffle.unit)
    text = keys_and_texts(muffle, formats, monday)["heats-attended"]
    assert "Still heating when the last one leaves (22:00): switch it off." in text
    assert f"still about {left} then" in text
    assert int(left.split()[0]) > 60


# ---------------------------------------------------------------- order


def test_the_sharpest_cautions_come_first_and_a_few_of_them_large(monday: Day, formats: Formats) -> None:
    found = cautions(firing_of("K3", monday), formats, monday.date)
    assert [caution.key for caution in found][:4] == ["two-to-cast", "hot-flask", "hot-session", "burnout-smoke"]
    assert [caution.sharp for caution in found] == [True] * MOST_SHARP + [False] * (len(found) - MOST_SHARP)
    own = [caution.key for caution in cautions(firing_of("K2", monday), formats, monday.date)]
    assert own.index("sharp-glass") < own.index("our own rule: no talc") < own.index("hot-kiln")


def test_each_caution_that_is_called_sharp_has_words(formats: Formats) -> None:
    assert [key for key in SHARPEST if f"caution.{key}.text" not in formats.words] == []


# ---------------------------------------------------------------- the day


def test_the_day_on_one_page_has_no_points_that_read_as_money(monday: Day, formats: Formats) -> None:
    page = overview_page(monday, formats)
    assert "best possible" not in page
    assert "EUR" not in page


def test_the_list_of_sessions_says_why_a_hold_ends_and_that_it_is_ended_by_hand(monday: Day, formats: Formats) -> None:
    day = Day(monday.audited, monday.date + timedelta(days=1))
    page = sessions_page(day, formats)
    assert "then off (the profile allows no more); planned end 14:00, switched off by hand" in page
