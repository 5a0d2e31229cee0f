"""Sheets printed from the browser, as the README says that they can be where PDF is not installed."""

from __future__ import annotations

import re
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from api.day import Day
from api.formats import Formats
from api.sheets.writing import kiln_page, overview_page
from api.words import read_words
from scheduler.audit import prove
from scheduler.planning.door import Settings, plan
from shared.clock import wall_minute
from shared.files import read_folder

SAMPLE = Path(__file__).parent.parent.parent / "sample_studio"
FIRST = date(2026, 11, 30)


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_a_day_and_a_kiln_with_one_firing_are_a_page_each_with_all_cautions(chromium: Any, paper: str) -> None:
    """The sample studio's week as the planner begins it: castings have the most cautions, and hang on one clipboard."""
    studio, loads = read_folder(SAMPLE)
    begin = wall_minute(FIRST, 0, studio.place.zone)
    made = plan(studio, loads, now=begin - 360, begin=begin, settings=Settings(seconds=None, work_limit=0, workers=1))
    audited, formats = prove(studio, loads, made), Formats(studio, read_words())
    page = chromium.new_page()
    castings, too_long = 0, []
    for number in range(7):
        day = Day(audited, FIRST + timedelta(days=number))
        sheets = {"overview": overview_page(day, formats, paper)}
        for kiln in day.kilns:
            if len(kiln.firings) == 1:
                sheets[kiln.kiln.id] = kiln_page(day, kiln, formats, paper)
                castings += kiln.firings[0].profile.unload_people > 1
        for name, sheet in sheets.items():
            page.set_content(sheet)
            printed = page.pdf(prefer_css_page_size=True)
            if len(re.findall(rb"/Type\s*/Page\b", printed)) != 1:
                too_long.append((day.date, name))
    page.close()
    assert castings > 0
    assert too_long == []
