"""Writes the day's sheets: one page a kiln and an overview, as HTML files that need nothing else, and as PDF."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from api.day import Day, KilnDay
from api.formats import Formats
from api.people import duty_text
from api.printing.plan_text import next_text, outage_texts
from api.sheets.firing_sheet import firing_sheet
from api.sheets.lanes import lanes
from api.sheets.overview import circuit_rows, fitting_rows, late_texts
from api.sheets.overview_room import lines_taken
from api.sheets.pdf import need_pdf, pdf_of_each
from api.sheets.sheet import Sheet
from shared.errors import Fault, FolderError, RequestError


def write_sheets(day: Day, formats: Formats, folder: Path, pdf: bool = False) -> tuple[Path, ...]:
    """Write all sheets of a day into ``folder``, which is made where it is not there.

    Returns
    -------
    tuple[Path, ...]
        The files written: ``overview.html`` and ``kiln-….html``, then their PDFs.

    Raises
    ------
    FolderError
        If the folder cannot be written.
    RequestError
        If PDF is asked for and the library that makes it is not there.
    """
    sheets = {"overview": overview_sheet(day, formats)}
    for kiln_day in day.kilns:
        sheets[f"kiln-{file_name(kiln_day.kiln.id)}"] = kiln_sheet(day, kiln_day, formats)
    made = [(f"{name}.html", sheet.page().encode()) for name, sheet in sheets.items()]
    if pdf:
        files = pdf_of_each(list(sheets.values()))
        made += [(f"{name}.pdf", content) for name, content in zip(sheets, files, strict=True)]
    written = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in made:
            (folder / name).write_bytes(content)
            written.append(folder / name)
    except OSError as error:
        problem = f"cannot be written: {error.strerror}"
        raise FolderError([Fault(str(folder), "", problem, "name a folder that you may write to")]) from None
    return tuple(written)


def write_text(path: Path, text: str) -> None:
    """Write a file that a person named.

    Raises
    ------
    FolderError
        If it cannot be written.
    """
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        problem = f"cannot be written: {error.strerror}"
        raise FolderError([Fault(str(path), "", problem, "name a file that you may write")]) from None


def file_name(kiln_id: str) -> str:
    """A kiln's id as part of a file's name; ids with other signs get them replaced, and stay distinct.

    >>> file_name("K1"), file_name("big kiln/2")
    ('K1', 'big_20kiln_2f2')
    """
    return re.sub(r"[^A-Za-z0-9-]", lambda sign: f"_{ord(sign[0]):x}", kiln_id)


def kiln_page(day: Day, kiln_day: KilnDay, formats: Formats, paper: str = "", back: str = "") -> str:
    """One kiln's sheet as HTML."""
    return kiln_sheet(day, kiln_day, formats, paper, back).page()


def kiln_sheet(day: Day, kiln_day: KilnDay, formats: Formats, paper: str = "", back: str = "") -> Sheet:
    """One kiln's sheet.

    ``paper`` is a size that CSS knows, empty: the printer's own; ``back`` is the address of the page that led here, for
    whoever reads it on a screen.
    """
    words, kiln = formats.words, kiln_day.kiln
    legs = formats.studio.legs_of(kiln)
    title = words("sheet.page_title", kiln=kiln.title, day=formats.long_day(day.date))
    sheet = day_sheet(
        "kiln.html",
        title,
        day,
        formats,
        kiln=kiln,
        facts=words(
            "sheet.kiln_facts",
            unit=formats.studio.controller_unit(kiln),
            circuit=kiln.circuit,
            amps=kiln.amps,
            legs=words.count("firing.legs", len(legs), names=", ".join(legs)),
        ),
        outages=outage_texts(day, kiln_day, formats),
        next=next_text(day, kiln_day, formats),
        firings=[firing_sheet(shown, formats, day.date, day.begin) for shown in kiln_day.firings],
        paper=paper,
        back=back,
    )
    later = sum(shown.firing.hot_until > day.begin for shown in kiln_day.firings[1:])
    return replace(sheet, likely_pages=1 + later)


def overview_page(day: Day, formats: Formats, paper: str = "", back: str = "") -> str:
    """The overview as HTML."""
    return overview_sheet(day, formats, paper, back).page()


def overview_sheet(day: Day, formats: Formats, paper: str = "", back: str = "") -> Sheet:
    """The overview."""
    remarks = {}
    for kiln_day in day.kilns:
        texts = outage_texts(day, kiln_day, formats)
        if not kiln_day.firings:
            remarks[kiln_day.kiln.id] = "; ".join(texts or [formats.words("plan.nothing")])
    legs = tuple(sorted({leg for circuit in day.studio.circuits for leg in circuit.leg_names}))
    circuits = circuit_rows(day, formats, legs)
    duties = duty_text(day.duties, formats, day.date)
    tasks = fitting_rows(day, formats, circuits, duties)
    sheet = day_sheet(
        "overview.html",
        formats.words("plan.title", day=formats.long_day(day.date), studio=day.plan.studio),
        day,
        formats,
        picture=lanes(day, formats, remarks),
        tasks=tasks,
        late=late_texts(day, formats, lines_taken(tasks, [circuit.name for circuit in circuits], duties)),
        legs=legs,
        circuits=circuits,
        paper=paper,
        back=back,
    )
    return replace(sheet, kind="dense")


def need_sheets_and_pdf(sheets: Path | None) -> None:
    """Refuse ``--pdf`` that cannot be done before the plan is made rather than after it.

    Raises
    ------
    RequestError
        If no folder is named for the sheets, or PDF cannot be made.
    """
    if sheets is None:
        raise RequestError("--pdf is how the sheets are written; name their folder too, as --sheets out")
    need_pdf()


def day_sheet(template: str, title: str, day: Day, formats: Formats, **values: object) -> Sheet:
    """A sheet of a template's, with what stands on every sheet of a day."""
    words = formats.words
    made = words(
        "sheet.made",
        made=formats.clock(day.plan.made_at),
        likely=words("plan.likely"),
        audited=words("plan.audited"),
    )
    every = {
        "studio": day.plan.studio,
        "long_day": formats.long_day(day.date),
        "duties": duty_text(day.duties, formats, day.date),
        "made": made,
    }
    return Sheet(template, title, words, {**every, **values})
