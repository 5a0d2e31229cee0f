"""What a kiln sheet says of one firing, in words and drawings, ready for the template."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import groupby

from api.cautions import Caution, alarm_at, cautions, looked_at, still_heating
from api.day import FiringOnDay
from api.formats import Formats
from api.printing.firing_text import layer_name, summary_text, takes_text
from api.segments import SegmentLine, hold_reason, segment_lines
from api.sheets.cones import ConePack, cone_pack
from api.sheets.curve import Curve, curve
from api.sheets.key_notes import key_notes
from api.sheets.moments import Moment, moments
from api.sheets.shelves import Shelves, shelves
from shared.calendar import OnDuty, on_duty
from shared.clock import Minute
from shared.loads import Load

MOST_BESIDE = 12
"""Loads that a table beside the shelf picture may have; a longer one goes over pages by itself."""

MOST_READINGS = 10
"""How many expected readings stand on a sheet; what fits the width of the paper."""


_QUARTER = 15
"""Full hours of every wall clock in use lie on quarters of UTC's [min]."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What the controller should show at a time when somebody is there to look."""

    at: str
    shows: str


@dataclass(frozen=True, slots=True)
class LoadRow:
    """One load in the sheet's table."""

    id: str
    owner: str
    pieces: int
    layers: str
    family: str
    note: str


@dataclass(frozen=True, slots=True)
class FiringSheet:
    """One firing. ``heats`` is False where it only cools on this day and is unloaded."""

    title: str
    summary: str
    takes: str
    heats: bool
    loads_today: bool
    loaded_before: str
    moments: tuple[Moment, ...]
    segments: tuple[SegmentLine, ...]
    key_notes: tuple[str, ...]
    unit: str
    curve: Curve
    readings: tuple[Reading, ...]
    shelves: Shelves
    shelf_hint: str
    cones: str
    layer_names: tuple[str, ...]
    loads: tuple[LoadRow, ...]
    beside: bool
    signs: tuple[tuple[str, str, bool], ...]
    cautions: tuple[Caution, ...]
    if_late: tuple[str, ...]


def firing_sheet(shown: FiringOnDay, formats: Formats, day: date, day_begin: Minute) -> FiringSheet:
    """All that the sheet of ``day`` says of a firing."""
    firing, words = shown.firing, formats.words
    lines, pack = segment_lines(shown, formats), cone_pack(shown, formats)
    loads_today = firing.load_at >= day_begin
    return FiringSheet(
        title=words("sheet.firing_title", firing=firing.id, profile=shown.profile.title),
        summary=_summary(shown, formats),
        takes=takes_text(shown, formats, day),
        heats=firing.hot_until > day_begin,
        loads_today=loads_today,
        loaded_before="" if loads_today else words("sheet.loaded_before", at=formats.clock(firing.load_at)),
        moments=moments(shown, formats, day),
        segments=lines,
        key_notes=key_notes(shown, lines, formats, day),
        unit=shown.unit,
        curve=curve(shown, formats),
        readings=_readings(shown, formats, day),
        shelves=shelves(shown),
        shelf_hint=words("sheet.shelf_hint", gap=shown.kiln.shelf_gap_mm),
        cones=pack.text if pack is not None and loads_today else "",
        layer_names=tuple(layer_name(layer, len(shown.layers), formats) for layer in shown.layers),
        loads=_load_rows(shown, formats),
        beside=len(shown.loads) <= MOST_BESIDE,
        signs=_signs(shown, pack, formats, day, day_begin),
        cautions=_cautions_for(shown, formats, day, day_begin),
        if_late=_if_late(shown, formats, day, day_begin),
    )


def _summary(shown: FiringOnDay, formats: Formats) -> str:
    """What is in the kiln; and that the times were fixed by a person, who is to be asked before they are moved."""
    text = summary_text(shown, formats)
    return f"{text} · {formats.words('hold.legend')}" if shown.firing.held else text


def _readings(shown: FiringOnDay, formats: Formats, day: date) -> tuple[Reading, ...]:
    """Full hours between start and opening at which somebody is there, thinned out to what fits."""
    firing = shown.firing
    last = min(firing.unload_at, firing.start_at + int(len(shown.course.temperature_c) * shown.course.step_minutes) - 1)
    duties = on_duty(formats.studio, firing.start_at, last + 1)
    hours = [
        minute
        for minute in range(firing.start_at // _QUARTER * _QUARTER + _QUARTER, last + 1, _QUARTER)
        if formats.local(minute).minute == 0 and _somebody(duties, minute)
    ]
    thinned = hours[:: -(-len(hours) // MOST_READINGS) or 1]
    readings, last_day = [], day
    for minute in thinned:
        at = formats.clock(minute, last_day)
        last_day = formats.local(minute).date()
        readings.append(Reading(at, formats.temperature(shown.temperature_at(minute), shown.unit)))
    return tuple(readings)


def _somebody(duties: list[OnDuty], minute: Minute) -> bool:
    return any(duty.begin <= minute <= duty.end for duty in duties)


def _load_rows(shown: FiringOnDay, formats: Formats) -> tuple[LoadRow, ...]:
    return tuple(
        LoadRow(load.id, load.owner, load.pieces, _layers_text(load, shown, formats), load.family or "", load.note)
        for load in shown.loads
    )


def _layers_text(load: Load, shown: FiringOnDay, formats: Formats) -> str:
    """The layers that a load lies on; where it is parted, with the pieces on each."""
    on = [(layer.number, part.pieces) for layer in shown.layers for part in layer.on_it if part.load.id == load.id]
    if len(on) == 1:
        return str(on[0][0])
    texts = []
    for pieces, group in groupby(on, key=lambda one: one[1]):
        numbers = [number for number, _ in group]
        key = "sheet.pieces_on_layer" if len(numbers) == 1 else "sheet.pieces_on_layers"
        texts.append(formats.words(key, first=numbers[0], last=numbers[-1], n=pieces))
    return ", ".join(texts)


def _signs(
    shown: FiringOnDay, pack: ConePack | None, formats: Formats, day: date, day_begin: Minute
) -> tuple[tuple[str, str, bool], ...]:
    """What is signed for, when it is planned, and whether a temperature is written down with it.

    What was done on an earlier day stands on that day's sheet.
    """
    firing = shown.firing
    clean = [(firing.load_at, "sign_cleaned")] if firing.clean_out_minutes else []
    end = [(firing.unload_at, "sign_opened"), (firing.hot_until, "sign_off_by_hand" if shown.hot else "sign_off")]
    steps = [
        *clean,
        (shown.loaded_at, "sign_loaded"),
        (firing.start_at, "sign_started"),
        (None, "sign_looked"),
        *sorted(end),
    ]
    rows = tuple(
        (
            formats.words(f"sheet.{key}"),
            "" if at is None else formats.clock(at, day),
            key not in ("sign_cleaned", "sign_loaded"),
        )
        for at, key in steps
        if at is None or at >= day_begin
    )
    if pack is None:
        return rows
    return (*rows, (formats.words("sheet.sign_cones"), " · ".join(pack.cones), False))


def _cautions_for(shown: FiringOnDay, formats: Formats, day: date, day_begin: Minute) -> tuple[Caution, ...]:
    """The cautions, without those about heating that was over, and seen to be, before the day began."""
    found = cautions(shown, formats, day)
    if shown.firing.hot_until > day_begin:
        return found
    past = ["vent", "unattended", "heats-attended"]
    if alarm_at(shown) <= day_begin:
        past.append("see-it-off")
    return tuple(caution for caution in found if caution.key not in past)


def _if_late(shown: FiringOnDay, formats: Formats, day: date, day_begin: Minute) -> tuple[str, ...]:
    firing, words = shown.firing, formats.words
    heats = firing.hot_until > day_begin
    texts = [words("late.start")] if heats else []
    if shown.hot:
        limit = formats.clock(shown.longest_hot_until, day)
        texts.append(words("late.session", limit=limit, why=hold_reason(shown, formats)))
        texts += [words("late.nobody"), words("late.heating_hot", limit=limit)]
    else:
        opened = formats.temperature(shown.open_below_c, shown.unit)
        texts.append(words("late.hot", temperature=opened, at=formats.clock(firing.unload_at, day)))
        # A kiln that nobody saw off, or was there to see off late, may still be heating when the first one comes.
        if heats or not shown.seen_off_by or looked_at(shown) > day_begin:
            texts.append(still_heating(shown, formats, day))
    if shown.next_load_at is None:
        texts.append(words("late.no_next"))
    else:
        at, spare = formats.clock(shown.next_load_at, day), shown.next_load_at - firing.free_at
        key = "late.next" if spare > 0 else "late.next_at_once"
        texts.append(words(key, at=at, spare=formats.spelt_duration(max(0, spare))))
    if heats:
        texts.append(words("late.behind"))
    return (*texts, words("late.power_cut"))
