"""What a kiln sheet says of one firing, in words and drawings, ready for the template."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from api.cautions import Caution, alarm_at, cautions
from api.day import FiringOnDay
from api.formats import Formats
from api.people import names_text
from api.printing.firing_text import band_text, layer_name, summary_text, takes_text
from api.segments import SegmentLine, segment_lines
from api.sheets.curve import Curve, curve
from api.sheets.shelves import Shelves, shelves
from shared.calendar import OnDuty, on_duty
from shared.clock import Minute

MOST_BESIDE = 12
"""Loads that a table beside the shelf picture may have; a longer one goes over pages by itself."""

MOST_READINGS = 10
"""How many expected readings stand on a sheet; what fits the width of the paper."""


_QUARTER = 15
"""Full hours of every wall clock in use lie on quarters of UTC's [min]."""


@dataclass(frozen=True, slots=True)
class Moment:
    """One of the firing's times, large on the sheet."""

    label: str
    clock: str
    day: str
    remark: str


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
    moments: tuple[Moment, ...]
    segments: tuple[SegmentLine, ...]
    unit: str
    curve: Curve
    readings: tuple[Reading, ...]
    shelves: Shelves
    layer_names: tuple[str, ...]
    loads: tuple[LoadRow, ...]
    beside: bool
    signs: tuple[tuple[str, str, bool], ...]
    cautions: tuple[Caution, ...]
    if_late: tuple[str, ...]


def firing_sheet(shown: FiringOnDay, formats: Formats, day: date, day_begin: Minute) -> FiringSheet:
    """All that the sheet of ``day`` says of a firing."""
    firing, words = shown.firing, formats.words
    return FiringSheet(
        title=words("sheet.firing_title", firing=firing.id, profile=shown.profile.title),
        summary=_summary(shown, formats),
        takes=takes_text(shown, formats, day),
        heats=firing.hot_until > day_begin,
        loads_today=firing.load_at >= day_begin,
        moments=_moments(shown, formats, day),
        segments=segment_lines(shown, formats),
        unit=shown.unit,
        curve=curve(shown, formats),
        readings=_readings(shown, formats, day),
        shelves=shelves(shown),
        layer_names=tuple(layer_name(layer, len(shown.layers), formats) for layer in shown.layers),
        loads=_load_rows(shown),
        beside=len(shown.loads) <= MOST_BESIDE,
        signs=_signs(shown, formats, day, day_begin),
        cautions=_cautions_for(shown, formats, day, day_begin),
        if_late=_if_late(shown, formats, day, day_begin),
    )


def _summary(shown: FiringOnDay, formats: Formats) -> str:
    """What is in the kiln; and that the times were fixed by a person, who is to be asked before they are moved."""
    text = summary_text(shown, formats)
    return f"{text} · {formats.words('hold.legend')}" if shown.firing.held else text


def _moments(shown: FiringOnDay, formats: Formats, day: date) -> tuple[Moment, ...]:
    firing, words, unit = shown.firing, formats.words, shown.unit
    peak = max(shown.segments, key=lambda segment: segment.to_c)
    under = words("firing.open_under", temperature=formats.temperature(shown.open_below_c, unit))
    held = words("sheet.ready_at", temperature=formats.temperature(shown.segments[-1].to_c, unit))
    alone = any(span.begin <= firing.start_at < span.end for span in shown.heats_alone)

    def moment(label: str, at: Minute, remark: str, until: Minute | None = None) -> Moment:
        local = formats.local(at)
        other = "" if local.date() == day else formats.short_day(local.date())
        clock = formats.clock(at, local.date())
        if until is not None:
            remark = words("sheet.until", until=formats.clock(until, local.date()), remark=remark)
        return Moment(words(f"sheet.{label}"), clock, other, remark)

    clean = (
        (moment("clean_at", firing.clean_out_at, names_text(shown.cleaned_by, formats), firing.load_at),)
        if firing.clean_out_minutes
        else ()
    )
    return (
        *clean,
        moment("load_at", firing.load_at, names_text(shown.loaded_by, formats), shown.loaded_at),
        moment("start_at", firing.start_at, words("sheet.on_timer" if alone else "sheet.by_hand")),
        moment("peak_at", peak.reached_at, formats.temperature(peak.to_c, unit)),
        moment(
            "ready_from" if shown.hot else "safe_from",
            firing.safe_at,
            (held if shown.hot else under) + band_text(shown.safe_between, formats, day),
        ),
        moment(
            "session_at" if shown.hot else "open_at",
            firing.unload_at,
            names_text(shown.unloaded_by, formats, shown.profile.unload_people),
            firing.out_at,
        ),
    )


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


def _load_rows(shown: FiringOnDay) -> tuple[LoadRow, ...]:
    rows = []
    for load in shown.loads:
        on = [str(layer.number) for layer in shown.layers if any(part.load.id == load.id for part in layer.on_it)]
        layers = on[0] if len(on) == 1 else f"{on[0]}–{on[-1]}"
        rows.append(LoadRow(load.id, load.owner, load.pieces, layers, load.family or "", load.note))
    return tuple(rows)


def _signs(shown: FiringOnDay, formats: Formats, day: date, day_begin: Minute) -> tuple[tuple[str, str, bool], ...]:
    """What is signed for, when it is planned, and whether a temperature is written down with it.

    What was done on an earlier day stands on that day's sheet.
    """
    firing = shown.firing
    clean = [(firing.load_at, "sign_cleaned")] if firing.clean_out_minutes else []
    end = [(firing.unload_at, "sign_opened"), (firing.hot_until, "sign_off")]
    steps = [
        *clean,
        (shown.loaded_at, "sign_loaded"),
        (firing.start_at, "sign_started"),
        (None, "sign_looked"),
        *sorted(end),
    ]
    return tuple(
        (
            formats.words(f"sheet.{key}"),
            "" if at is None else formats.clock(at, day),
            key not in ("sign_cleaned", "sign_loaded"),
        )
        for at, key in steps
        if at is None or at >= day_begin
    )


def _cautions_for(shown: FiringOnDay, formats: Formats, day: date, day_begin: Minute) -> tuple[Caution, ...]:
    """The cautions, without those about heating that was over, and seen to be, before the day began."""
    found = cautions(shown, formats, day)
    if shown.firing.hot_until > day_begin:
        return found
    past = ["vent", "unattended"]
    if alarm_at(shown) <= day_begin:
        past.append("see-it-off")
    return tuple(caution for caution in found if caution.key not in past)


def _if_late(shown: FiringOnDay, formats: Formats, day: date, day_begin: Minute) -> tuple[str, ...]:
    firing, words = shown.firing, formats.words
    texts, alarm = [], formats.clock(alarm_at(shown), day)
    heats = firing.hot_until > day_begin
    if heats:
        texts.append(words("late.start"))
    if shown.hot:
        limit = formats.clock(shown.longest_hot_until, day)
        texts += [words("late.session", limit=limit), words("late.nobody")]
        texts.append(words("late.heating_hot", alarm=alarm, limit=limit))
    else:
        texts.append(words("late.hot", temperature=formats.temperature(shown.open_below_c, shown.unit)))
        # A kiln that nobody saw off may still be heating when the first one comes.
        if heats or not shown.seen_off_by or alarm_at(shown) > day_begin:
            texts.append(words("late.heating", alarm=alarm))
    if shown.next_load_at is None:
        texts.append(words("late.no_next"))
    else:
        at, spare = formats.clock(shown.next_load_at, day), shown.next_load_at - firing.free_at
        key = "late.next" if spare > 0 else "late.next_at_once"
        texts.append(words(key, at=at, spare=formats.spelt_duration(max(0, spare))))
    if heats:
        texts.append(words("late.behind"))
    return (*texts, words("late.power_cut"))
