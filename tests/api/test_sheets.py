"""The printed sheets: complete, self-contained, safe against odd names, and as HTML parses them."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

from api.day import Day
from api.formats import Formats
from api.sheets.curve import curve
from api.sheets.firing_sheet import firing_sheet
from api.sheets.lanes import LETTER, WIDTH, lanes
from api.sheets.overview import LEAST_LATE, MOST_LATE, ROOMY_LINES, all_task_rows, late_texts, task_rows
from api.sheets.shelves import BOTTOM, LEFT, RIGHT, TOP, shelves
from api.sheets.writing import file_name, kiln_page, overview_page, write_sheets
from shared.errors import FolderError
from shared.plans import Late, Unplaced

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
    text = text_of(page_of("K3", monday, formats))
    assert f"the hold may last until {limit}, no longer: the profile allows no more" in text
    assert "8:00 " in text
    assert "Switch it off by hand when the session is over" in text


def test_a_late_session_and_a_kiln_that_will_not_switch_off_do_not_contradict_each_other(
    monday: Day, formats: Formats
) -> None:
    """Somebody who comes late may still find it heating after the alarm; until the hold's limit that is allowed."""
    text = text_of(page_of("K3", monday, formats))
    limit = re.search(r"Session late: the hold may last until ([^,]+), no longer", text)
    assert limit is not None
    assert f"or at {limit[1]} in any case: switch it off" in text
    assert "Still heating" not in text


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


def test_labels_beside_flat_layers_do_not_cover_each_other_and_have_the_names(monday: Day) -> None:
    """Six layers of 20 mm in a kiln of 700 mm: each is flatter than a line of text."""
    bisque = next(kiln.firings[0] for kiln in monday.kilns if kiln.kiln.id == "K1")
    one = bisque.layers[0]
    flat_load = one.on_it[0].load.model_copy(update={"height_mm": 5.0})
    flat = tuple(
        replace(one, number=number, height_mm=20.0, on_it=(replace(one.on_it[0], load=flat_load),))
        for number in range(1, 7)
    )
    drawn = shelves(replace(bisque, layers=flat))
    ys = [shelf.label_y for shelf in drawn.shelves]
    assert all(below - above >= drawn.letters for below, above in pairwise(ys))
    assert all(TOP < y < BOTTOM for y in ys)
    assert [shelf.label for shelf in drawn.shelves] == [f"{n} · 5+15 · {flat_load.id}" for n in range(1, 7)]
    assert not any(block.name for shelf in drawn.shelves for block in shelf.blocks)


def test_labels_of_a_lane_neither_cover_each_other_nor_leave_the_picture(monday: Day, formats: Formats) -> None:
    days = [Day(monday.audited, monday.date + timedelta(days=number)) for number in range(5)]
    # Firings on top of each other: every label of a lane is wanted at about the same place.
    busy = days[0].kilns[0]
    crowd = replace(busy, firings=busy.firings * 3)
    vars(days[0])["kilns"] = (crowd, *days[0].kilns[1:])
    seen = 0
    for day in days:
        drawn = lanes(day, formats, {})
        for lane in drawn.lanes:
            for label in lane.labels:
                seen += 1
                assert 0 <= label.x <= WIDTH - LETTER * len(label.text)
                assert lane.base + 4 < label.y <= drawn.height
            for one in lane.labels:
                for other in lane.labels:
                    if one is not other and one.y == other.y:
                        first, second = sorted((one, other), key=lambda label: label.x)
                        assert first.x + LETTER * len(first.text) <= second.x
    assert seen >= 6


def test_hour_lines_do_not_cross_out_the_words_of_the_overview(monday: Day, formats: Formats) -> None:
    drawn = lanes(monday, formats, {"K4": "relay on order"})
    page = overview_page(monday, formats)
    lines = re.findall(r'<path d="M[\d.]+ 15v4([^"]*)"', page)
    assert len(lines) == len(drawn.hours)
    texts = [label.y for lane in drawn.lanes for label in (*lane.peaks, *lane.labels)]
    for line in lines:
        for top, bottom in re.findall(r"M[\d.]+ ([\d.]+)V([\d.]+)", line):
            assert not any(float(top) < y - 1 < float(bottom) or float(top) < y - 6 < float(bottom) for y in texts)
    empty = next(lane for lane in drawn.lanes if lane.remark)
    assert f"V{empty.base}" not in "".join(lines)


def test_the_name_of_the_end_stands_above_the_lines_of_the_curve(monday: Day, formats: Formats) -> None:
    """The field's lines begin at 14; the words stand at 10, letters above their line."""
    page = page_of("K1", monday, formats)
    (y,) = set(re.findall(r'y="([\d.]+)" font-size="10.5"(?: text-anchor="end")?>elements off', page))
    assert float(y) < 14
    assert all(float(x) <= 542 for x in re.findall(r'<text(?: class="spare")? x="([\d.]+)" y="186"', page))


def many(day: Day, late: int, unplaced: int, patch: pytest.MonkeyPatch) -> None:
    """Gives a day so many late loads and loads without a place, all of them one load."""
    load = next(iter(day.audited.loads))
    row = Late(load=load, promised=day.begin, out_at=day.end, hours=24.0)
    left = Unplaced(load=load, rule="capacity", why="no room")
    patch.setattr(Day, "late", property(lambda _: (row,) * late))
    patch.setattr(Day, "unplaced", property(lambda _: (left,) * unplaced))


@pytest.mark.parametrize(
    ("late", "unplaced", "rows"),
    [(13, 0, 13 + 1), (40, 0, 12 + 2), (40, 40, 13), (40, 3, 13), (2, 40, 13), (6, 7, 13)],
)
def test_the_overview_names_so_many_late_loads_as_have_room_and_says_where_the_others_are(
    monday: Day, formats: Formats, monkeypatch: pytest.MonkeyPatch, late: int, unplaced: int, rows: int
) -> None:
    day = Day(monday.audited, monday.date)
    many(day, late, unplaced, monkeypatch)
    texts = late_texts(day, formats)
    assert len(texts) == rows
    if late + unplaced > MOST_LATE + 1:
        (more,) = [text for text in texts if text.startswith(f"and {late + unplaced - MOST_LATE} more")]
        assert "kilnrota" not in more
        assert "Trouble" in more
        assert sum("no place" in text for text in texts) == {0: 0, 40: 6 if late > 2 else 10, 3: 3}[unplaced]


def test_a_day_with_much_to_do_keeps_its_page_for_that(
    monday: Day, formats: Formats, monkeypatch: pytest.MonkeyPatch
) -> None:
    day = Day(monday.audited, monday.date)
    many(day, 40, 0, monkeypatch)
    shown = [sum("h late" in text for text in late_texts(day, formats, lines)) for lines in (0, ROOMY_LINES, 22, 60)]
    assert shown == [MOST_LATE, MOST_LATE, MOST_LATE - 4, LEAST_LATE]


def test_what_only_cools_is_not_told_of_as_if_it_still_heated(monday: Day, formats: Formats) -> None:
    """The vent, heating alone and a late start are behind it; an end that nobody saw is not."""
    bisque = next(kiln.firings[0] for kiln in monday.kilns if kiln.kiln.id == "K1")
    cooled = formats.local(bisque.firing.hot_until).date() + timedelta(days=1)
    begin = Day(monday.audited, cooled).begin

    def said(shown: object, day_begin: int) -> str:
        sheet = firing_sheet(shown, formats, cooled, day_begin)  # type: ignore[arg-type]
        return " / ".join([*(caution.key for caution in sheet.cautions), *sheet.if_late])

    seen = replace(bisque, seen_off_by=monday.duties)
    unseen = replace(bisque, seen_off_by=())
    for text in (said(seen, begin), said(unseen, begin)):
        assert "hot-kiln" in text
        assert "leave it shut, look again every hour" in text
        assert "It is never left to restart by itself" in text
        for past in ("Started late", "unattended", "further behind the curve"):
            assert past not in text
    assert "see-it-off" not in said(seen, begin)
    # It may be off half an hour after ten at night, when the last one has gone: whoever comes first looks.
    assert "Still heating when the first one comes (Ana and Rui, 09:00)" in said(seen, begin)
    early = monday.duties[-1].end - 60
    quick = seen.firing.model_copy(update={"hot_until_between": (early, early)})
    assert "Still heating" not in said(replace(seen, firing=quick), begin)
    assert "no-one-at-end" in said(unseen, begin)
    assert "switch it off at the isolator" in said(unseen, begin)
    still = said(seen, bisque.firing.hot_until - 1)
    assert "see-it-off" in still
    assert "Still heating" in still
    assert "Started late" in still


def test_names_without_room_beside_a_layer_are_counted(monday: Day) -> None:
    bisque = next(kiln.firings[0] for kiln in monday.kilns if kiln.kiln.id == "K1")
    one = bisque.layers[0]
    many_loads = [one.on_it[0].load.model_copy(update={"id": f"B{n:02}", "height_mm": 5.0}) for n in range(10)]
    crowded = replace(one, number=1, height_mm=85.0, on_it=tuple(replace(one.on_it[0], load=x) for x in many_loads))
    (shelf,) = shelves(replace(bisque, layers=(crowded,))).shelves
    assert shelf.label == "1 · 70+15 · B00 +9"
    long = crowded.on_it[0].load.model_copy(update={"id": "B" * 40})
    (shelf,) = shelves(replace(bisque, layers=(replace(crowded, on_it=(replace(one.on_it[0], load=long),)),))).shelves
    assert shelf.label == "1 · 70+15 · +1"


def test_a_task_names_some_loads_of_a_full_kiln_and_counts_the_others(monday: Day, formats: Formats) -> None:
    task = next(task for task in monday.tasks if task.kind == "load")
    load = task.firing.loads[0]
    vars(monday)["tasks"] = tuple(
        replace(task, firing=replace(task.firing, loads=(load,) * number)) for number in (9, 10, 40)
    )
    rows = all_task_rows(monday, formats)
    assert [row.what.count(load.id) for row in rows] == [9, 8, 8]
    assert [
        row.what.endswith(f" and {n} more, see the kiln's sheet") for row, n in zip(rows[1:], (2, 32), strict=True)
    ] == [
        True,
        True,
    ]


def test_a_firing_fixed_by_hand_says_so_on_its_sheet(monday: Day, formats: Formats) -> None:
    shown = monday.kilns[0].firings[0]
    fixed = replace(shown, firing=shown.firing.model_copy(update={"held": True}))
    summaries = [firing_sheet(one, formats, monday.date, monday.begin).summary for one in (shown, fixed)]
    assert summaries[1] == f"{summaries[0]} · fixed by hand"
