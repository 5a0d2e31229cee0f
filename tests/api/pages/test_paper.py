"""What is printed: PDF sheets with embedded fonts and text to extract, nothing cut off, tags that a reader can read.

Text, fonts and sizes are read back with Poppler's tools, codes with ZXing: neither knows how they were made.
"""

from __future__ import annotations

import csv
import re
import shutil
import subprocess
import time
from datetime import date, timedelta
from html import unescape
from itertools import pairwise
from pathlib import Path

import pytest

from api.day import Day
from api.formats import Formats
from api.sheets.lanes import CURVE, LETTER, NAMES, lanes
from api.sheets.overview import task_rows
from api.sheets.pdf import pdf_of_all, pdf_of_each
from api.sheets.session_list import sessions_page
from api.sheets.tags import qr_code, tags_sheet
from api.sheets.writing import kiln_page, kiln_sheet, overview_page, overview_sheet
from api.words import read_words
from scheduler.audit import AuditedPlan, prove
from scheduler.planning.door import Settings, plan
from shared.clock import wall_minute
from shared.files import read_folder
from shared.loads import Load
from shared.plans import Late
from tests.api.pages.conftest import Reader
from tests.api.placed_plan import at, place, whole_plan
from tests.api.small_studio import write_small_studio

SAMPLE = Path(__file__).parent.parent.parent.parent / "sample_studio"
SECONDS = 5.0
"""Longest time of this process for a day's sheets [s]: what the studio's manager was promised."""

LONG = "Wilhelmina Featherstonehaugh-Ollerenshaw, Thursday beginners"
NARROW_PAPER = {"A4": "595.276 x 841.89", "letter": "612 x 792"}

needs_poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")


def told(tool: str, file: Path, *options: str) -> str:
    """What one of Poppler's tools says of a file."""
    target = ["-"] if tool == "pdftotext" else []
    return subprocess.run(
        [tool, *options, str(file), *target], capture_output=True, text=True, check=True, timeout=60
    ).stdout


def words_of(file: Path) -> str:
    """The text of a PDF, on one line; hyphens at line ends belong to the names here."""
    return " ".join(told("pdftotext", file, "-layout").split())


@pytest.fixture(scope="module")
def sample() -> AuditedPlan:
    """The sample studio's week as the planner begins it: planned, not improved."""
    return planned(SAMPLE)


def planned(folder: Path) -> AuditedPlan:
    studio, loads = read_folder(folder)
    begin = wall_minute(date(2026, 11, 30), 0, studio.place.zone)
    made = plan(studio, loads, now=begin - 360, begin=begin, settings=Settings(seconds=None, work_limit=0, workers=1))
    return prove(studio, loads, made)


@pytest.fixture(scope="module")
def crowded(tmp_path_factory: pytest.TempPathFactory) -> AuditedPlan:
    """Forty loads in one firing of the front loader, each of somebody with a name of sixty letters."""
    folder = write_small_studio(tmp_path_factory.mktemp("crowded"))
    studio, _ = read_folder(folder)
    loads = [
        Load(
            id=f"B{number:02}", owner=f"{LONG[:57]} {number:02}", profile="bisque-04", pieces=number + 1,
            footprint_cm2=300.0, height_mm=70.0, mass_kg=1.0, family="buff stoneware",
            note=f"Note {number:02}: handles dry, stack rim to rim, two lids are fired on their jars.",
        )
        for number in range(40)
    ]  # fmt: skip
    layers = [[load.id for load in loads[first : first + 10]] for first in range(0, 40, 10)]
    moments = [at(studio, *text) for text in (("2026-11-30", "9:00"), ("2026-11-30", "9:40"), ("2026-12-02", "9:00"))]
    firing = place(studio, loads, "F1", "K1", layers, *moments)
    made_at, begin = at(studio, "2026-11-29", "18:00"), at(studio, "2026-11-30", "0:00")
    return prove(studio, loads, whole_plan(studio, loads, [firing], [], made_at, begin))


def test_a_sample_days_sheets_are_pdf_within_five_seconds(sample: AuditedPlan, tmp_path: Path) -> None:
    """Overview and all eight kilns. The process's own time is measured: other work on the machine is not ours."""
    day, formats = Day(sample, date(2026, 12, 1)), Formats(sample.studio, read_words())
    began = time.process_time()
    made = pdf_of_all([overview_sheet(day, formats, "A4"), *(kiln_sheet(day, k, formats, "A4") for k in day.kilns)])
    assert time.process_time() - began < SECONDS
    assert made.startswith(b"%PDF")


@needs_poppler
@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_forty_loads_and_long_names_are_all_on_the_sheet(crowded: AuditedPlan, tmp_path: Path, paper: str) -> None:
    day, formats = Day(crowded, date(2026, 11, 30)), Formats(crowded.studio, read_words())
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf_of_all([kiln_sheet(day, day.kilns[0], formats, paper)]))
    about = told("pdfinfo", file)
    assert NARROW_PAPER[paper] in about
    pages = int(about.split("Pages:")[1].split()[0])
    assert 2 <= pages <= 5
    text = words_of(file)
    for number in range(40):
        assert f"B{number:02}" in text
        assert f"{number:02}:" in text  # its note
    # Each name is whole: its words stand as often as there are loads.
    plain = told("pdftotext", file, "-raw").replace("\n", " ")
    for word in ("Wilhelmina", "Featherstonehaugh", "Ollerenshaw", "Thursday"):
        assert plain.count(word) >= 40, word
    for box in ("Loaded and shut", "Seen switched off", "The plan does not make a firing safe"):
        assert box in text
    assert nothing_sticks_out(file, pages)


def nothing_sticks_out(file: Path, pages: int) -> bool:
    """Whether every word lies within its page, by the boxes that Poppler finds."""
    layout = told("pdftotext", file, "-bbox")
    sizes = re.findall(r'<page width="([\d.]+)" height="([\d.]+)"', layout)
    assert len(sizes) == pages
    width, height = (float(part) for part in sizes[0])
    boxes = re.findall(r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)"', layout)
    assert len(boxes) > 500
    return all(float(a) >= 0 and float(b) >= 0 and float(c) <= width and float(d) <= height for a, b, c, d in boxes)


@needs_poppler
def test_the_fonts_are_in_the_file_and_names_of_many_tongues_come_out_again(
    sample: AuditedPlan, tmp_path: Path
) -> None:
    day, formats = Day(sample, date(2026, 12, 1)), Formats(sample.studio, read_words())
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf_of_all([overview_sheet(day, formats, "A4"), kiln_sheet(day, day.kilns[1], formats, "A4")]))
    fonts = told("pdffonts", file).splitlines()[2:]
    assert fonts
    assert all(line.split()[-5] == "yes" for line in fonts), fonts  # emb, sub, uni, object, id
    assert "Tuesday 1 December 2026" in words_of(file)
    assert "°C" in words_of(file)


@needs_poppler
@pytest.mark.parametrize(("paper", "language"), [("A4", "en"), ("letter", "en"), ("letter", "de")])
def test_the_overview_of_a_sample_day_is_one_page_with_forty_late_loads_too(
    sample: AuditedPlan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, paper: str, language: str
) -> None:
    formats = Formats(sample.studio, read_words(language))
    loads = list(sample.loads)
    begin = sample.plan.begin
    late = tuple(Late(load=one, promised=begin, out_at=begin + 1440, hours=24.0) for one in loads[:40])
    monkeypatch.setattr(Day, "late", property(lambda _: late))
    for day in (date(2026, 11, 30), date(2026, 12, 2), date(2026, 12, 5)):
        file = tmp_path / f"{day}.pdf"
        file.write_bytes(pdf_of_all([overview_sheet(Day(sample, day), formats, paper)]))
        assert int(told("pdfinfo", file).split("Pages:")[1].split()[0]) == 1, day
        assert language != "en" or re.search(r"and \d+ more; all of them, with the reason", words_of(file))


@pytest.fixture(scope="module")
def long_named(tmp_path_factory: pytest.TempPathFactory) -> AuditedPlan:
    """The sample studio's week, every place, kiln, profile, owner and person under a name of sixty letters."""
    folder = tmp_path_factory.mktemp("long") / "studio"
    shutil.copytree(SAMPLE, folder, ignore=shutil.ignore_patterns("logs", "__pycache__"))
    for file in folder.glob("*.toml"):
        text = re.sub(
            r'^(name|who) = "(.*)"', lambda m: f'{m[1]} = "{lengthened(m[2])}"', file.read_text(), flags=re.MULTILINE
        )
        file.write_text(text)
    loads = folder / "loads.csv"
    with loads.open(newline="") as read:
        head, *rows = csv.reader(read)
    with loads.open("w", newline="") as written:
        csv.writer(written).writerow(head)
        owner = head.index("owner")
        csv.writer(written).writerows([*row[:owner], lengthened(row[owner]), *row[owner + 1 :]] for row in rows)
    return planned(folder)


def lengthened(name: str) -> str:
    return f"{name} {LONG}"[:60].strip()


@needs_poppler
@pytest.mark.parametrize(("paper", "language"), [("A4", "en"), ("letter", "en"), ("letter", "de")])
def test_the_overview_is_one_page_with_names_of_sixty_letters_everywhere(
    long_named: AuditedPlan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, paper: str, language: str
) -> None:
    """Names are shortened on the overview alone; the kiln's sheet has each one whole."""
    formats, begin = Formats(long_named.studio, read_words(language)), long_named.plan.begin
    late = tuple(Late(load=one, promised=begin, out_at=begin + 1440, hours=24.0) for one in list(long_named.loads)[:40])
    monkeypatch.setattr(Day, "late", property(lambda _: late))
    shortened = 0
    for day in (Day(long_named, date(2026, 11, 30) + timedelta(days=number)) for number in range(7)):
        file = tmp_path / f"{day.date}.pdf"
        file.write_bytes(pdf_of_all([overview_sheet(day, formats, paper)]))
        assert int(told("pdfinfo", file).split("Pages:")[1].split()[0]) == 1, day.date
        text = "".join(told("pdftotext", file, "-raw").split())
        assert all(task.firing.firing.id in text for task in day.tasks)
        shortened += "…" in told("pdftotext", file, "-raw")
        for kiln_day in day.kilns:
            page = unescape(kiln_page(day, kiln_day, formats))
            for shown in kiln_day.firings:
                names = [shown.profile.title, *(load.owner for load in shown.loads)]
                assert all(len(name) >= 57 and name in page for name in names)
    assert shortened >= 4


@pytest.mark.parametrize("language", ["en", "de"])
def test_names_that_have_room_are_whole_on_the_overview(sample: AuditedPlan, language: str) -> None:
    formats = Formats(sample.studio, read_words(language))
    for day in (Day(sample, date(2026, 11, 30) + timedelta(days=number)) for number in range(7)):
        page = unescape(overview_page(day, formats))
        assert all(row.what in page for row in task_rows(day, formats)), day.date


@needs_poppler
def test_no_firing_of_a_sample_day_is_split_between_pages(sample: AuditedPlan, tmp_path: Path) -> None:
    """What is keyed in and what is signed for stand on one page, which says at its top whose it is."""
    day, formats = Day(sample, date(2026, 12, 2)), Formats(sample.studio, read_words())
    several = 0
    for kiln_day in (kiln_day for kiln_day in day.kilns if len(kiln_day.firings) > 1):
        file = tmp_path / f"{kiln_day.kiln.id}.pdf"
        file.write_bytes(pdf_of_all([kiln_sheet(day, kiln_day, formats, "A4")]))
        pages = told("pdftotext", file, "-layout").rstrip("\f").split("\f")
        several += len(pages) > 1
        for page in pages:
            assert page.count("KEY IN") <= page.count("Looked at"), kiln_day.kiln.id
            assert kiln_day.kiln.title in page.lstrip().splitlines()[0]
    assert several >= 2


@needs_poppler
def test_sheets_made_together_number_their_own_pages_and_name_themselves(
    sample: AuditedPlan, crowded: AuditedPlan, tmp_path: Path
) -> None:
    """One file of all sheets, or one for each: the same words, each counted from its own first page.

    The sheet of forty loads goes over more pages than a sheet of one firing mostly has.
    """
    file, numbers = tmp_path / "sheets.pdf", re.compile(r"(?<= )([1-9])/([1-9])$", re.MULTILINE)
    day, formats = Day(sample, date(2026, 12, 2)), Formats(sample.studio, read_words())
    full = Day(crowded, date(2026, 11, 30))
    sheets = [
        overview_sheet(day, formats, "A4"),
        *(kiln_sheet(day, kiln_day, formats, "A4") for kiln_day in day.kilns),
        kiln_sheet(full, full.kilns[0], Formats(crowded.studio, read_words()), "A4"),
    ]
    told_of_each, counts = [], []
    for made in pdf_of_each(sheets):
        file.write_bytes(made)
        text = told("pdftotext", file, "-layout")
        told_of_each.append(text.rstrip("\f"))
        counts.append(text.count("\f"))
        assert numbers.findall(text) == [(str(n + 1), str(counts[-1])) for n in range(counts[-1])]
        titles = re.findall("Title: +(.+)", told("pdfinfo", file))
        assert titles == [sheets[len(counts) - 1].title]
    file.write_bytes(pdf_of_all(sheets))
    together = told("pdftotext", file, "-layout").rstrip("\f").split("\f")
    assert together == "\f".join(told_of_each).split("\f")
    assert counts[0] == 1
    assert counts[-1] > 1
    assert 2 in counts[1:-1]


def test_a_tags_code_is_read_by_another_reader() -> None:
    """ZXing reads what we draw, and still does with a smudge over its middle, a fifth of it wide and high."""
    import numpy as np
    import zxingcpp

    address = "http://kilns.example:8000/loads/B01"
    code = qr_code(address)
    picture = np.full((code.size * 6, code.size * 6), 255, dtype=np.uint8)
    for run in code.path.split("M")[1:]:
        start, length = run.split("h")
        x, y = start.split(" ")
        left, top = int(x) * 6, int(float(y)) * 6
        picture[top : top + 6, left : left + int(length) * 6] = 0
    found = zxingcpp.read_barcodes(picture)
    assert [result.text for result in found] == [address]
    low, high = picture.shape[0] * 4 // 10, picture.shape[0] * 6 // 10
    picture[low:high, low:high] = 0
    assert [result.text for result in zxingcpp.read_barcodes(picture)] == [address]


@needs_poppler
def test_tags_hold_long_names_and_eight_fit_a_page(crowded: AuditedPlan, tmp_path: Path) -> None:
    formats = Formats(crowded.studio, read_words())
    loads = tuple(crowded.loads.values())
    for paper in NARROW_PAPER:
        file = tmp_path / f"{paper}.pdf"
        file.write_bytes(pdf_of_all([tags_sheet(loads, formats, "http://kilns.example:8000", paper)]))
        assert int(told("pdfinfo", file).split("Pages:")[1].split()[0]) == 5
        plain = told("pdftotext", file, "-raw")
        assert plain.count("Ollerenshaw") == 40  # a tag grows with its text: were one too long, there were more pages
        assert nothing_sticks_out(file, 5)


@needs_poppler
def test_an_odd_number_of_tags_keeps_each_whole_on_its_page(sample: AuditedPlan, tmp_path: Path) -> None:
    """One tag of the sample's 63 began a ninth time on a page for eight, and was cut off at its end."""
    file, formats = tmp_path / "tags.pdf", Formats(sample.studio, read_words())
    file.write_bytes(pdf_of_all([tags_sheet(tuple(sample.loads.values()), formats, "http://kilns.example:8000", "A4")]))
    pages = told("pdftotext", file, "-bbox").split("<page ")[1:]
    heads = [re.findall(r'yMin="([\d.]+)" [^>]*yMax="([\d.]+)">([A-Z]\d\d)<', page) for page in pages]
    # A tag's name is 25 points high; the same name in another one's note is smaller.
    tops = [[float(top) for top, foot, _ in found if float(foot) - float(top) > 20] for found in heads]
    assert [len(found) for found in tops] == [8] * 7 + [7]
    tag = 62 / 25.4 * 72
    assert all(top + tag - 25 < 841.89 for found in tops for top in found)


@needs_poppler
def test_no_word_of_a_tag_is_lost_behind_its_code(sample: AuditedPlan, tmp_path: Path) -> None:
    """The line of B07 is as long as the room beside the code; its last word went behind it."""
    load, file = sample.loads["B07"], tmp_path / "tag.pdf"
    formats = Formats(sample.studio, read_words())
    file.write_bytes(pdf_of_all([tags_sheet([load], formats, "http://kilns.example:8000", "A4")]))
    assert "Bisque of thick work, cone 04 · 1 piece" in words_of(file)
    words = re.findall(r'xMax="([\d.]+)" yMax="([\d.]+)">([^<]+)<', told("pdftotext", file, "-bbox"))
    # The tag is half of 192 mm wide, after 9 mm of margin; its padding is 4 mm, its code 29 mm, standing out 2 mm.
    code_left = (9 + 96 - 4 + 2 - 29) / 25.4 * 72
    assert all(float(x) <= code_left for x, y, word in words if float(y) < (9 + 4 + 27) / 25.4 * 72)


@pytest.mark.parametrize(
    ("language", "text"),
    [
        ("en", "Casting needs two people, and the plan sets aside only one: find the second before the session begins"),
        ("de", "Zum Gießen gehören zwei Personen, und der Plan rechnet nur mit einer: die zweite vor Beginn finden"),
    ],
)
def test_sheet_and_list_of_a_casting_say_that_the_plan_counts_on_one_person(
    audited: AuditedPlan, language: str, text: str
) -> None:
    """The studio folder has no word for how many people a session takes; the audit asks for one pair of hands."""
    formats, day = Formats(audited.studio, read_words(language)), Day(audited, date(2026, 12, 1))
    (oven,) = [kiln for kiln in day.kilns if kiln.kiln.id == "K3"]
    assert text in sessions_page(day, formats)
    assert text in kiln_page(day, oven, formats)


def test_the_session_list_has_each_load_in_its_turn(audited: AuditedPlan) -> None:
    formats = Formats(audited.studio, read_words())
    page = sessions_page(Day(audited, date(2026, 12, 1)), formats)
    assert "Casting from K3 Flask oven, firing F3" in page
    assert "12:00–14:00" in page
    assert "Casting course" in page
    assert "64 mm" in page
    assert "No session on this day." in sessions_page(Day(audited, date(2026, 11, 30)), formats)


def test_the_service_gives_all_of_it(read_only: Reader) -> None:
    answer = read_only.get("Wout", "/sheets/2026-11-30/all.pdf?paper=letter")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF")
    assert (
        "default-src 'none'" in read_only.get("Wout", "/sheets/2026-11-30/kiln/K1").headers["content-security-policy"]
    )
    assert read_only.get("Wout", "/sheets/2026-11-30/overview?paper=a3").status_code == 422
    assert read_only.get("Wout", "/tags?load=B1").text.count("<svg") == 1


@pytest.mark.parametrize("language", ["en", "de"])
def test_lanes_stand_clear_of_one_another(sample: AuditedPlan, language: str) -> None:
    """Words of 9.5 units: a label's letters end 2 below its line, those at a peak begin 7.5 above theirs."""
    near = 0
    for number in range(7):
        day = Day(sample, date(2026, 11, 30) + timedelta(days=number))
        drawn = lanes(day, Formats(day.studio, read_words(language)), {})
        for lane, below in pairwise(drawn.lanes):
            assert below.base - lane.base >= NAMES
            for label in lane.labels:
                assert label.y + 2 < below.base - CURVE, (day.date, lane.title, label)
                for peak in below.peaks:
                    half = LETTER * len(peak.text) / 2
                    if peak.x - half < label.x + LETTER * len(label.text) and label.x < peak.x + half:
                        near += 1
                        assert label.y + 2 < peak.y - 7.5, (day.date, lane.title, label)
    assert near > 0, "no label of these days stands above a peak: nothing was tested"
