"""The times of a firing as they stand large on its sheet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from api.day import FiringOnDay
from api.formats import Formats
from api.people import names_text
from api.printing.firing_text import band_text
from api.starting import start_text
from shared.clock import Minute


@dataclass(frozen=True, slots=True)
class Moment:
    """One of the firing's times, large on the sheet."""

    label: str
    clock: str
    day: str
    remark: str


def moments(shown: FiringOnDay, formats: Formats, day: date) -> tuple[Moment, ...]:
    """When it is cleaned out, loaded, started, hottest, safe and opened."""
    firing, words, unit = shown.firing, formats.words, shown.unit
    peak = max(shown.segments, key=lambda segment: segment.to_c)

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
        moment("start_at", firing.start_at, start_text(shown, formats, formats.local(firing.start_at).date())),
        moment("peak_at", peak.reached_at, formats.temperature(peak.to_c, unit)),
        moment("ready_from" if shown.hot else "safe_from", firing.safe_at, _safe_text(shown, formats, day)),
        moment(
            "session_at" if shown.hot else "open_at",
            firing.unload_at,
            _opened_by(shown, formats),
            firing.out_at,
        ),
    )


def _opened_by(shown: FiringOnDay, formats: Formats) -> str:
    """Who opens it; the band beside it may be wide, so it says here too that it is opened only when it is cool."""
    who = names_text(shown.unloaded_by, formats, shown.profile.unload_people)
    if shown.hot:
        return who
    opened = formats.temperature(shown.open_below_c, shown.unit)
    return formats.words("sheet.look_first", temperature=opened, remark=who)


def _safe_text(shown: FiringOnDay, formats: Formats, day: date) -> str:
    """At what temperature, and between when."""
    words, unit = formats.words, shown.unit
    band = band_text(shown.safe_between, formats, day)
    if shown.hot:
        return words("sheet.ready_at", temperature=formats.temperature(shown.segments[-1].to_c, unit)) + band
    under = words("firing.open_under", temperature=formats.temperature(shown.open_below_c, unit))
    return under + band
