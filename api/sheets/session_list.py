"""The list for casting and enamel sessions: who comes, in which order, and until when it holds."""

from __future__ import annotations

from dataclasses import dataclass, replace

from api.cautions import Caution, cautions
from api.day import Day, FiringOnDay
from api.formats import Formats
from api.people import people_text
from api.segments import hold_reason
from api.sheets.sheet import Sheet
from api.sheets.writing import day_sheet


@dataclass(frozen=True, slots=True)
class Turn:
    """One load's turn."""

    at: str
    load: str
    owner: str
    pieces: int
    size: str
    note: str


@dataclass(frozen=True, slots=True)
class SessionSheet:
    """One session; ``clean`` is when its kiln is cleaned out before it is loaded, empty where it needs none."""

    title: str
    clean: str
    cleaners: str
    time: str
    held: str
    latest: str
    by_hand: str
    people: str
    turns: tuple[Turn, ...]
    cautions: tuple[Caution, ...]


def sessions_page(day: Day, formats: Formats, paper: str = "", back: str = "") -> str:
    """The sessions of a day as HTML."""
    return sessions_sheet(day, formats, paper, back).page()


def sessions_sheet(day: Day, formats: Formats, paper: str = "", back: str = "") -> Sheet:
    """The sessions of a day."""
    sessions = [
        _session(shown, day, formats)
        for shown in sorted(
            (one for kiln_day in day.kilns for one in kiln_day.firings), key=lambda one: one.firing.unload_at
        )
        if shown.hot and day.begin <= shown.firing.unload_at < day.end
    ]
    title = formats.words("sessions.title", day=formats.long_day(day.date))
    sheet = day_sheet("sessions.html", title, day, formats, sessions=sessions, paper=paper, back=back)
    return replace(sheet, kind="roomy")


def _session(shown: FiringOnDay, day: Day, formats: Formats) -> SessionSheet:
    firing, words = shown.firing, formats.words
    at = float(firing.unload_at)
    turns = []
    for load in sorted(shown.loads, key=lambda load: (load.session_at or firing.unload_at, load.id)):
        size = "" if load.diameter_mm is None else words("sessions.diameter", mm=load.diameter_mm)
        named = load.session_minutes is not None
        time = formats.clock(int(at), day.date) if named else words("sessions.any_time")
        turns.append(Turn(time, load.id, load.owner, load.pieces, size, load.note))
        at += load.session_minutes or 0.0
    name = shown.profile.session or words("firing.session_plain")
    title = words("sessions.head", session=name, firing=firing.id, kiln=shown.kiln.title)
    needs = firing.clean_out_minutes > 0
    off = formats.clock(firing.hot_until, day.date)
    return SessionSheet(
        title=title[:1].upper() + title[1:],
        clean=formats.stretch(firing.clean_out_at, firing.load_at, day.date) if needs else "",
        cleaners=people_text(shown.cleaned_by, formats, day.date) if needs else "",
        time=formats.stretch(firing.unload_at, firing.out_at, day.date),
        held=formats.temperature(shown.segments[-1].to_c, shown.unit),
        latest=formats.clock(shown.longest_hot_until, day.date),
        by_hand=words("sessions.by_hand", off=off, why=hold_reason(shown, formats)),
        people=people_text(shown.unloaded_by, formats, day.date, shown.profile.unload_people),
        turns=tuple(turns),
        cautions=cautions(shown, formats, day.date),
    )
