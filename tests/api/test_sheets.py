"""The printed sheets: complete, self-contained, safe against odd names, and as HTML parses them."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from html.parser import HTMLParser
from pathlib import Path

import pytest

from api.day import Day
from api.formats import Formats
from api.sheets.curve import curve
from api.sheets.overview import task_rows
from api.sheets.shelves import BOTTOM, LEFT, RIGHT, TOP, shelves
from api.sheets.writing import file_name, kiln_page, overview_page, write_sheets
from shared.errors import FolderError

VOID = {"meta", "br", "rect", "path", "circle", "polyline", "polygon"}


class Reader(HTMLParser):
    """Collects the text, and checks that every element is closed in its turn."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.texts: list[str] = []
        self.tags: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.texts.append(data)


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    reader.close()
    assert reader.open == []
    return reader


def text_of(page: str) -> str:
    return " ".join(" ".join(read(page).texts).split())


def page_of(kiln: str, day: Day, formats: Formats) -> str:
    return kiln_page(day, next(one for one in day.kilns if one.kiln.id == kiln), formats)


def test_a_sheet_a_kiln_and_an_overview_are_written(monday: Day, formats: Formats, tmp_path: Path) -> None:
    written = write_sheets(monday, formats, tmp_path / "sheets" / "monday")
    assert [path.name for path in written] == [
        "overview.html",
        "kiln-K1.html",
        "kiln-K2.html",
        "kiln-K3.html",
        "kiln-K4.html",
    ]


def test_the_sheets_need_nothing_from_elsewhere(monday: Day, formats: Formats) -> None:
    for page in [overview_page(monday, formats), *(kiln_page(monday, kiln, formats) for kiln in monday.kilns)]:
        assert not {"script", "link", "img", "iframe"} & read(page).tags
        assert not re.search(r"https?://|url\((?!#)", page)
        assert len(page.encode()) < 200_000


def test_a_sheet_tells_all_that_the_kiln_is_fired_by(monday: Day, formats: Formats) -> None:
    text = text_of(page_of("K2", monday, formats))
    for fact in ("Monday 30 November 2026", "09:00–18:00 Ana and Rui", "270 °F/h", "1004 °F", "Two blues: keep apart."):
        assert fact in text
    for box in ("Loaded and shut", "Started", "Looked at", "Seen switched off", "Opened"):
        assert box in text
    assert "The plan does not make a firing safe." in text
    assert "After a power cut: switch it off and ask." in text


def test_names_are_shown_as_written_and_never_as_markup(monday: Day, formats: Formats) -> None:
    page = page_of("K1", monday, formats)
    assert "Zoë &lt;north&gt; &amp; co" in page
    assert "Zoë <north> & co" in text_of(page)


def test_hot_work_tells_how_long_it_may_be_held(monday: Day, formats: Formats) -> None:
    burnout = next(kiln.firings[0] for kiln in monday.kilns if kiln.kiln.id == "K3")
    limit = formats.clock(burnout.firing.target_at + 8 * 60, monday.date)
    assert f"the hold may last until {limit}, no longer" in text_of(page_of("K3", monday, formats))


def test_a_late_session_and_a_kiln_that_will_not_switch_off_do_not_contradict_each_other(
    monday: Day, formats: Formats
) -> None:
    """Somebody who comes late may still find it heating after the alarm; until the hold's limit that is allowed."""
    text = text_of(page_of("K3", monday, formats))
    limit = re.search(r"Session late: the hold may last until ([^,]+), no longer", text)
    assert limit is not None
    assert f"or at {limit[1]} in any case: switch it off" in text
    assert "Still heating at" not in text


def test_an_end_that_nobody_sees_is_nobodys_task(monday: Day, formats: Formats) -> None:
    days = [Day(monday.audited, monday.date + timedelta(days=number)) for number in range(5)]
    day, look = next((day, task) for day in days for task in day.tasks if task.kind == "look" and task.people)
    vars(day)["tasks"] = (look, replace(look, people=()))
    seen, unseen = task_rows(day, formats)
    assert seen.what == f"see {look.firing.firing.id} switched off"
    assert (unseen.what, unseen.who) == (f"{look.firing.firing.id} should switch off", "nobody is there")


def test_an_empty_kiln_tells_why(monday: Day, formats: Formats) -> None:
    text = text_of(page_of("K4", monday, formats))
    assert "Nothing on this kiln today. No further firing in the plan." in text
    assert "relay on order" in text
    assert "Nothing on this kiln today." in text


def test_the_curve_passes_through_the_targets(monday: Day, formats: Formats) -> None:
    fusing = next(kiln.firings[0] for kiln in monday.kilns if kiln.kiln.id == "K2")
    drawn = curve(fusing, formats)
    points = [tuple(float(part) for part in point.split(",")) for point in drawn.points.split()]
    assert len(drawn.dots) == len(fusing.segments)
    for dot in drawn.dots:
        nearest = min(points, key=lambda point: abs(point[0] - dot.x))
        assert nearest[1] == pytest.approx(dot.y, abs=2.5)
    assert [mark.text for mark in drawn.temperatures] == ["0", "500", "1000", "1500"]


def test_the_shelf_picture_is_to_scale(monday: Day) -> None:
    """K1 is 700 mm high inside; B2's pieces are 90 mm, B1's 112 mm, and 15 mm lie between layers."""
    bisque = next(kiln.firings[0] for kiln in monday.kilns if kiln.kiln.id == "K1")
    drawn = shelves(bisque).shelves
    per_mm = (BOTTOM - TOP) / 700
    assert [round((BOTTOM - shelf.y) / per_mm) for shelf in drawn] == [0, 105, 210]
    assert [round(shelf.blocks[0].height / per_mm) for shelf in drawn] == [90, 90, 112]
    assert drawn[2].blocks[0].width / (RIGHT - LEFT) == pytest.approx(2380 / 3136, abs=0.01)


def test_kilns_with_odd_ids_get_files_of_their_own() -> None:
    names = [file_name(kiln) for kiln in ("K1", "k 1", "k/1", "..", "Ofen ü")]
    assert len(set(names)) == len(names)
    assert all(re.fullmatch(r"[A-Za-z0-9_-]+", name) for name in names)


def test_a_folder_that_cannot_be_written_is_a_fault(monday: Day, formats: Formats, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("a file", encoding="utf-8")
    with pytest.raises(FolderError, match="cannot be written"):
        write_sheets(monday, formats, tmp_path / "taken")
