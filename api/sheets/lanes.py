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
BASE, CURVE, PEAK = 24.0, 15.0, 24.5
"""How far a lane's base line is below its top, and how far above it the curve and the words at a peak can reach
[SVG user units]."""

NAMES = 28.5
"""Least distance of two base lines, by the kilns' names at their left [SVG user units]."""

LABEL_ROW, LABEL_DROP, CLEAR = 10.5, 14.5, 2.5
"""Height of a row of labels, how far the first one reaches below the base line, and the room between labels and the
next lane's drawing [SVG user units]."""

LETTER = 5.8
"""Width of a letter of a label, a wide one for the most part [SVG user units]."""

_STEP_MINUTES = 10

ToX = Callable[[Minute], float]


@dataclass(frozen=True, slots=True)
class Label:
    """A word with a time; ``y`` is where it stands."""

    x: float
    y: float
    text: str
    anchor: str = "start"


@dataclass(frozen=True, slots=True)
class Bar:
    """A stretch of time."""

    x: float
    width: float


@dataclass(frozen=True, slots=True)
class Lane:
    """One kiln: areas under its curve while it heats and while it cools, and what is done at it."""

    base: float
    title: str
    name: str
    heating: tuple[str, ...]
    cooling: tuple[str, ...]
    peaks: tuple[Label, ...]
    cleaning: tuple[Bar, ...]
    loading: tuple[Bar, ...]
    opening: tuple[Bar, ...]
    labels: tuple[Label, ...]
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
    drawn: list[Lane] = []
    base = TOP + BASE
    for kiln_day in day.kilns:
        lane = _lane(day, base, kiln_day, formats, x, remarks)
        if drawn:
            base = drawn[-1].base + _distance(drawn[-1], lane)
            lane = _lane(day, base, kiln_day, formats, x, remarks)
        drawn.append(lane)
    lowest = max((label.y for lane in drawn for label in lane.labels), default=base)
    ticks = hour_ticks(day.begin, day.end, formats, most=8)
    return Lanes(
        height=round(max(base, lowest) + 5.0, 1),
        hours=tuple((x(tick.at), tick.clock if tick.at < day.end else "24:00") for tick in ticks),
        nobody=tuple(nobody),
        lanes=tuple(drawn),
    )


def _distance(lane: Lane, below: Lane) -> float:
    """How far the base line of the next lane lies under this one's: labels stand clear of what is drawn below them."""
    distance = NAMES
    for label in lane.labels:
        begin, end = label.x - LETTER, label.x + LETTER * (len(label.text) + 1)
        over_peak = any(
            peak.x - LETTER * len(peak.text) / 2 < end and begin < peak.x + LETTER * len(peak.text) / 2
            for peak in below.peaks
        )
        reaches = label.y - lane.base + 2.0
        distance = max(distance, reaches + CLEAR + (PEAK if over_peak else CURVE))
    return distance


def _lane(day: Day, base: float, kiln_day: KilnDay, formats: Formats, x: ToX, remarks: dict[str, str]) -> Lane:
    top = base - BASE
    scale = CURVE / kiln_day.kiln.max_temperature_c
    heating, cooling, peaks, cleaning, loading, opening = [], [], [], [], [], []
    texts: list[tuple[float, str]] = []
    for shown in kiln_day.firings:
        firing = shown.firing
        heating += _area(day, shown, firing.start_at, firing.hot_until, base, scale, x)
        cooling += _area(day, shown, firing.hot_until, max(firing.free_at, firing.out_at), base, scale, x)
        peak = max(shown.segments, key=lambda segment: segment.to_c)
        if day.begin <= peak.reached_at < day.end:
            text = formats.temperature(peak.to_c, shown.unit)
            half = LETTER * len(text) / 2
            at = min(max(x(peak.reached_at), LEFT + half), WIDTH - half)
            peaks.append(Label(round(at, 1), top + 7, text, "middle"))
        if firing.clean_out_minutes and firing.load_at > day.begin and firing.clean_out_at < day.end:
            begin, end = x(max(firing.clean_out_at, day.begin)), x(min(firing.load_at, day.end))
            cleaning.append(Bar(begin, max(1.5, round(end - begin, 1))))
        if firing.load_at >= day.begin:
            bar = Bar(x(firing.load_at), max(1.5, round(x(shown.loaded_at) - x(firing.load_at), 1)))
            loading.append(bar)
            text = formats.words("overview.load", at=formats.clock(firing.load_at, day.date))
            texts.append((bar.x, text))
        if day.begin <= firing.unload_at < day.end:
            bar = Bar(x(firing.unload_at), max(1.5, round(x(firing.out_at) - x(firing.unload_at), 1)))
            opening.append(bar)
            key = "overview.session" if shown.hot else "overview.open"
            text = formats.words(key, at=formats.clock(firing.unload_at, day.date))
            texts.append((bar.x, text))
    labels = _in_rows(texts, base)
    return Lane(
        base=round(base, 1),
        title=kiln_day.kiln.id,
        name=kiln_day.kiln.name or "",
        heating=tuple(heating),
        cooling=tuple(cooling),
        peaks=tuple(peaks),
        cleaning=tuple(cleaning),
        loading=tuple(loading),
        opening=tuple(opening),
        labels=labels,
        remark=remarks.get(kiln_day.kiln.id, ""),
    )


def _in_rows(texts: list[tuple[float, str]], base: float) -> tuple[Label, ...]:
    """The labels below a lane, each in the first row where it runs into no other."""
    ends: list[float] = []
    labels = []
    for at, text in sorted(texts):
        width = LETTER * len(text)
        begin = min(at, WIDTH - width)
        row = next((number for number, end in enumerate(ends) if end <= begin), len(ends))
        ends[row : row + 1] = [begin + width + LETTER]
        labels.append(Label(round(begin, 1), round(base + LABEL_DROP - 2.0 + LABEL_ROW * row, 1), text))
    return tuple(labels)


def _area(day: Day, shown: FiringOnDay, begin: Minute, end: Minute, base: float, scale: float, x: ToX) -> list[str]:
    """The polygon under the curve between two moments, cut to the day; none where they lie outside it."""
    first, last = max(begin, day.begin), min(end, day.end)
    if last <= first:
        return []
    moments = sorted({*range(first, last, _STEP_MINUTES), last})
    points = [f"{x(m)},{base - max(0.0, shown.temperature_at(m)) * scale:.1f}" for m in moments]
    return [" ".join([f"{x(first)},{base}", *points, f"{x(last)},{base}"])]
