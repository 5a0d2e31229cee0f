"""One firing as text: when to do what, what to key in, what to put in, what to mind."""

from __future__ import annotations

from datetime import date

from api.cautions import Caution
from api.day import FiringOnDay, Layer, LoadOnLayer
from api.formats import Formats
from api.people import people_text
from api.printing.columns import WIDTH, row
from api.segments import hold_reason, segment_lines
from api.starting import start_text
from shared.clock import Minute


def summary_text(shown: FiringOnDay, formats: Formats) -> str:
    """What is in a firing: loads, pieces, mass, how full."""
    words, loads = formats.words, shown.loads
    return words(
        "firing.summary",
        loads=words.count("firing.loads", len(loads)),
        pieces=words.count("firing.pieces", sum(load.pieces for load in loads)),
        kg=sum(load.mass_kg for load in loads),
        share=shown.firing.share_used,
    )


def time_lines(shown: FiringOnDay, formats: Formats, day: date, heats: bool) -> list[str]:
    """When it is loaded, starts, peaks, switches off, is safe, is opened and is free, with who does it."""
    words, firing = formats.words, shown.firing
    lines = []
    if firing.clean_out_minutes:
        cleaned = formats.stretch(firing.clean_out_at, firing.load_at, day)
        lines += row(words("plan.label_clean"), cleaned, people_text(shown.cleaned_by, formats, day))
    lines += row(
        words("plan.label_load"),
        formats.stretch(firing.load_at, shown.loaded_at, day),
        people_text(shown.loaded_by, formats, day),
    )
    if heats:
        started = start_text(shown, formats, day)
        lines += row(words("plan.label_start"), formats.clock(firing.start_at, day), started)
        peak_c = max(segment.to_c for segment in shown.segments)
        peak_at = next(segment.reached_at for segment in shown.segments if segment.to_c == peak_c)
        peak = formats.temperature(peak_c, shown.unit)
        lines += row(words("plan.label_peak"), formats.clock(peak_at, day), peak)
    lines += opening_lines(shown, formats, day)
    free = words("plan.free_again", temperature=formats.temperature(formats.studio.rules.load_below_c, shown.unit))
    return lines + row(words("plan.label_free"), formats.clock(firing.free_at, day), free)


def opening_lines(shown: FiringOnDay, formats: Formats, day: date) -> list[str]:
    """From switching off to opening; for hot work the session, which comes before the switching off."""
    words, firing = formats.words, shown.firing
    off = row(
        words("plan.label_off"),
        formats.clock(firing.hot_until, day),
        _off_text(shown, formats, day) + band_text(shown.hot_until_between, formats, day),
    )
    safe_band = band_text(shown.safe_between, formats, day)
    people = people_text(shown.unloaded_by, formats, day, shown.profile.unload_people)
    opening = formats.stretch(firing.unload_at, firing.out_at, day)
    if shown.hot:
        held = formats.temperature(shown.segments[-1].to_c, shown.unit)
        session = shown.profile.session or words("firing.session_plain")
        return (
            row(
                words("plan.label_ready"),
                formats.clock(firing.safe_at, day),
                words("firing.safe_hot", temperature=held) + safe_band,
            )
            + row(words("plan.label_session"), opening, words("firing.session", session=session, people=people))
            + off
        )
    under = words("firing.open_under", temperature=formats.temperature(shown.open_below_c, shown.unit))
    return (
        off
        + row(words("plan.label_safe"), formats.clock(firing.safe_at, day), under + safe_band)
        + row(words("plan.label_open"), opening, people)
    )


def _off_text(shown: FiringOnDay, formats: Formats, day: date) -> str:
    """Who switches it off; a session's hold is keyed in longer than planned, so that is said with it."""
    if not shown.hot:
        return formats.words("firing.off_rest")
    limit = formats.clock(shown.longest_hot_until, day)
    return formats.words("firing.off_hot", limit=limit, why=hold_reason(shown, formats))


def band_text(between: tuple[Minute, Minute] | None, formats: Formats, day: date) -> str:
    """The band of a time, in brackets; nothing where the plan holds none."""
    if between is None:
        return ""
    return " (" + formats.words("firing.between", stretch=formats.stretch(*between, day)) + ")"


def key_lines(shown: FiringOnDay, formats: Formats, day: date) -> list[str]:
    """The segments as they are keyed in."""
    words = formats.words
    lines: list[str] = []
    for segment in segment_lines(shown, formats):
        hold = words("firing.hold", hold=segment.hold) if segment.held else words("firing.no_hold")
        text = words(
            "firing.segment",
            number=segment.number,
            rate=segment.rate.rjust(13),
            target=segment.target.rjust(8),
            hold=hold.ljust(16),
            reached=formats.clock(segment.reached_at, day),
        )
        lines += _kept(words("plan.label_key") if not lines else "", text)
    return lines


def put_lines(shown: FiringOnDay, formats: Formats) -> list[str]:
    """What stands on which layer, the bottom one first, as it is loaded."""
    lines: list[str] = []
    named: set[str] = set()
    for layer in shown.layers:
        for position, on_layer in enumerate(layer.on_it):
            label = formats.words("plan.label_put") if not lines else ""
            where = layer_name(layer, len(shown.layers), formats) if position == 0 else " "
            lines += row(label, where, _load_text(on_layer, on_layer.load.id not in named, formats))
            named.add(on_layer.load.id)
    return lines


def layer_name(layer: Layer, of: int, formats: Formats) -> str:
    """A layer by its number; bottom and top are said."""
    if of > 1 and layer.number == 1:
        return formats.words("firing.layer_bottom", number=layer.number)
    if of > 1 and layer.number == of:
        return formats.words("firing.layer_top", number=layer.number)
    return formats.words("firing.layer", number=layer.number)


def takes_text(shown: FiringOnDay, formats: Formats, day: date) -> str:
    """Energy, its price, and the current with the legs that it is on."""
    words, firing = formats.words, shown.firing
    legs = formats.studio.legs_of(shown.kiln)
    return words(
        "firing.takes",
        kwh=firing.kwh,
        money=formats.money(firing.energy_cost),
        amps=firing.amps,
        legs=words.count("firing.legs", len(legs), names=", ".join(legs)),
        begin=formats.clock(firing.start_at, day),
        end=formats.clock(firing.hot_until, day),
    )


def mind_lines(found: tuple[Caution, ...], formats: Formats) -> list[str]:
    """The cautions by name, and in full those that hold for this firing alone."""
    lines = row(formats.words("plan.label_mind"), "", " · ".join(caution.name for caution in found))
    for caution in found:
        if caution.this_firing:
            lines += row("", "", caution.text)
    return lines


def _load_text(on_layer: LoadOnLayer, first: bool, formats: Formats) -> str:
    """A load on a layer; told in full where it is met first."""
    words, load = formats.words, on_layer.load
    if not first:
        return words("firing.more_of", n=on_layer.pieces, load=f"{load.id}, {load.owner}" if load.owner else load.id)
    parts = [load.id, load.owner, words.count("firing.pieces", load.pieces)]
    if on_layer.part_of > 1:
        parts.append(words("firing.part_of", n=on_layer.pieces))
    parts += [load.family or "", load.note]
    return ", ".join(part for part in parts if part)


def _kept(label: str, text: str) -> list[str]:
    """A row whose inner spacing is kept."""
    left = row(label, "", "x")[0][:-1]
    return [(left + text).rstrip()[: WIDTH + 20]]
