"""Geometry of the overview's picture: one lane a kiln over the day, its expected temperature drawn in it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from api.day import Day, FiringOnDay, KilnDay
from api.formats import Formats
from api.ticks import hour_ticks
from shared.clock import Minute

WIDTH = 720.0
LEFT, RIGHT, TOP = 104.0, 712.0, 24.0
LANE, CURVE = 45.0, 17.0
"""Height of a lane and of the curve in it [SVG user units]."""

_STEP_MINUTES = 10

ToX = Callable[[Minute], float]


@dataclass(frozen=True, slots=True)
class Label:
    """A word with a time below the lane."""

    x: float
    text: str
    anchor: str


@dataclass(frozen=True, slots=True)
class Bar:
    """A stretch of time."""

    x: float
    width: float


@dataclass(frozen=True, slots=True)
class Lane:
    """One kiln: areas under its curve while it heats and while it cools, and what is done at it."""

    top: float
    base: float
    title: str
    name: str
    heating: tuple[str, ...]
    cooling: tuple[str, ...]
    peaks: tuple[Label, ...]
    cleaning: tuple[Bar, ...]
    loading: tuple[Bar, ...]
    opening: tuple[Bar, ...]
    load_labels: tuple[Label, ...]
    open_labels: tuple[Label, ...]
    remark: str


@dataclass(frozen=True, slots=True)
class Lanes:
    """What the template draws."""

    height: float
    hours: tuple[tuple[float, str], ...]
    nobody: tuple[Bar, ...]
    lanes: tuple[Lane, ...]


def lanes(day: Day, formats: Formats, remarks: dict[str, str]) -> Lanes:
    """The lanes of all kilns; ``remarks`` say why a kiln's lane is empty."""

    def x(minute: Minute) -> float:
        inside = min(max(minute, day.begin), day.end)
        return round(LEFT + (RIGHT - LEFT) * (inside - day.begin) / (day.end - day.begin), 1)

    nobody = []
    reached = day.begin
    for duty in day.duties:
        if duty.begin > reached:
            nobody.append(Bar(x(reached), round(x(duty.begin) - x(reached), 1)))
        reached = max(reached, duty.end)
    if reached < day.end:
        nobody.append(Bar(x(reached), round(x(day.end) - x(reached), 1)))
    drawn = tuple(_lane(day, number, kiln_day, formats, x, remarks) for number, kiln_day in enumerate(day.kilns))
    ticks = hour_ticks(day.begin, day.end, formats, most=8)
    return Lanes(
        height=TOP + LANE * len(drawn) + 6,
        hours=tuple((x(tick.at), tick.clock if tick.at < day.end else "24:00") for tick in ticks),
        nobody=tuple(nobody),
        lanes=drawn,
    )


def _lane(day: Day, number: int, kiln_day: KilnDay, formats: Formats, x: ToX, remarks: dict[str, str]) -> Lane:
    top = TOP + LANE * number
    base = top + CURVE + 6
    scale = CURVE / kiln_day.kiln.max_temperature_c
    heating, cooling, peaks, cleaning, loading, opening, load_labels, open_labels = [], [], [], [], [], [], [], []
    for shown in kiln_day.firings:
        firing = shown.firing
        heating += _area(day, shown, firing.start_at, firing.hot_until, base, scale, x)
        cooling += _area(day, shown, firing.hot_until, max(firing.free_at, firing.out_at), base, scale, x)
        peak = max(shown.segments, key=lambda segment: segment.to_c)
        if day.begin <= peak.reached_at < day.end:
            at = x(peak.reached_at)
            text = formats.temperature(peak.to_c, shown.unit)
            peaks.append(Label(at, text, _anchor(at)))
        if firing.clean_out_minutes and firing.load_at > day.begin and firing.clean_out_at < day.end:
            begin, end = x(max(firing.clean_out_at, day.begin)), x(min(firing.load_at, day.end))
            cleaning.append(Bar(begin, max(1.5, round(end - begin, 1))))
        if firing.load_at >= day.begin:
            bar = Bar(x(firing.load_at), max(1.5, round(x(shown.loaded_at) - x(firing.load_at), 1)))
            loading.append(bar)
            text = formats.words("overview.load", firing=firing.id, at=formats.clock(firing.load_at, day.date))
            load_labels.append(Label(bar.x, text, _anchor(bar.x)))
        if day.begin <= firing.unload_at < day.end:
            bar = Bar(x(firing.unload_at), max(1.5, round(x(firing.out_at) - x(firing.unload_at), 1)))
            opening.append(bar)
            key = "overview.session" if shown.hot else "overview.open"
            text = formats.words(key, firing=firing.id, at=formats.clock(firing.unload_at, day.date))
            open_labels.append(Label(bar.x, text, _anchor(bar.x)))
    return Lane(
        top=top,
        base=base,
        title=kiln_day.kiln.id,
        name=kiln_day.kiln.name or "",
        heating=tuple(heating),
        cooling=tuple(cooling),
        peaks=tuple(peaks),
        cleaning=tuple(cleaning),
        loading=tuple(loading),
        opening=tuple(opening),
        load_labels=tuple(load_labels),
        open_labels=tuple(open_labels),
        remark=remarks.get(kiln_day.kiln.id, ""),
    )


def _anchor(x: float) -> str:
    return "end" if x > RIGHT - 60 else "start"


def _area(day: Day, shown: FiringOnDay, begin: Minute, end: Minute, base: float, scale: float, x: ToX) -> list[str]:
    """The polygon under the curve between two moments, cut to the day; none where they lie outside it."""
    first, last = max(begin, day.begin), min(end, day.end)
    if last <= first:
        return []
    moments = sorted({*range(first, last, _STEP_MINUTES), last})
    points = [f"{x(m)},{base - max(0.0, shown.temperature_at(m)) * scale:.1f}" for m in moments]
    return [" ".join([f"{x(first)},{base}", *points, f"{x(last)},{base}"])]
