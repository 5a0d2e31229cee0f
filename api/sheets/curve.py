"""Geometry of the curve on a kiln sheet: the expected course, to hold the controller against."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from api.day import FiringOnDay
from api.formats import Formats
from api.printing.plot import tick_step
from api.ticks import hour_ticks
from shared.clock import Minute
from shared.units import degrees

Point = tuple[float, float]
"""Across and down [SVG user units]."""

WIDTH, HEIGHT = 560.0, 210.0
LEFT, RIGHT, TOP, BOTTOM = 44.0, 552.0, 14.0, 172.0
"""Edges of the drawing and of the field within it [SVG user units]."""

DAY_NAME_WIDTH = 62.0

MOST_LARGE = 8
"""Most times below the drawing on a phone [-], where its letters are larger than on the sheet."""

_STEP_MINUTES = 5
_SEEN = 0.1
"""How far the drawn line may lie beside the course [SVG user units]: a twentieth of its own width."""

_AFTER_MINUTES = 30
"""How much of the course is drawn after the kiln is safe [min]."""


@dataclass(frozen=True, slots=True)
class Mark:
    """A mark on an axis or on the curve; where letters are large, ``spare`` ones go without their words."""

    at: float
    text: str
    strong: bool = False
    below: str = ""
    spare: bool = False


@dataclass(frozen=True, slots=True)
class Dot:
    """Where a segment's target is reached."""

    x: float
    y: float
    number: int


@dataclass(frozen=True, slots=True)
class Curve:
    """What the template draws."""

    points: str
    times: tuple[Mark, ...]
    temperatures: tuple[Mark, ...]
    dots: tuple[Dot, ...]
    open_below: Mark | None
    caption: str
    off_x: float
    off_text: str
    title: str


def curve(shown: FiringOnDay, formats: Formats) -> Curve:
    """The curve of one firing from its start until it is safe; of hot work until the session is over."""
    firing, unit = shown.firing, shown.unit
    begin = firing.start_at
    end = (firing.out_at if shown.hot else firing.safe_at) + _AFTER_MINUTES
    targets = {segment.reached_at for segment in shown.segments}
    moments = sorted({*range(begin, end + 1, _STEP_MINUTES), *targets, end})
    values = [degrees(shown.temperature_at(moment), unit) for moment in moments]
    tick = tick_step(max(values))
    top = max(1, -int(-max(values) // tick)) * tick

    def x(minute: Minute) -> float:
        return round(LEFT + (RIGHT - LEFT) * (minute - begin) / (end - begin), 1)

    def y(degree: float) -> float:
        return round(BOTTOM - (BOTTOM - TOP) * max(0.0, degree) / top, 1)

    course = [(x(moment), y(value)) for moment, value in zip(moments, values, strict=True)]
    corners = [number for number, moment in enumerate(moments) if moment in targets]
    ticks = hour_ticks(begin, end, formats)
    open_degrees = degrees(shown.open_below_c, unit)
    return Curve(
        points=" ".join(f"{across},{down}" for across, down in needed_points(course, corners)),
        times=_thinned(_spaced(tuple(Mark(x(t.at), t.clock, t.new_day, t.day if t.new_day else "") for t in ticks))),
        temperatures=tuple(Mark(y(tick * n), f"{tick * n:.0f}") for n in range(int(top / tick) + 1)),
        dots=tuple(
            Dot(x(segment.reached_at), y(degrees(segment.to_c, unit)), number)
            for number, segment in enumerate(shown.segments, start=1)
        ),
        open_below=None if shown.hot else Mark(y(open_degrees), formats.temperature(shown.open_below_c, unit)),
        caption=_caption(shown, formats),
        off_x=x(firing.hot_until),
        off_text=formats.words("sheet.off_mark"),
        title=formats.words("sheet.curve_title", firing=firing.id, unit=unit),
    )


def needed_points(course: Sequence[Point], corners: Sequence[int]) -> list[Point]:
    """The points without which the drawn line would be seen to change; every one costs time where PDF is made.

    Between the ends and the ``corners``, numbers of points that stay, the point farthest from the straight line stays
    for as long as it lies more than `_SEEN` above or below it.

    >>> needed_points([(0.0, 9.0), (1.0, 8.0), (2.0, 7.05), (3.0, 6.0), (4.0, 6.0)], [])
    [(0.0, 9.0), (3.0, 6.0), (4.0, 6.0)]
    """
    kept = sorted({0, *corners, len(course) - 1})
    spans = list(pairwise(kept))
    while spans:
        first, last = spans.pop()
        (left, begin), (right, end) = course[first], course[last]
        slope = (end - begin) / (right - left) if right > left else 0.0
        aside = [abs(down - begin - slope * (across - left)) for across, down in course[first + 1 : last]]
        if aside and max(aside) > _SEEN:
            farthest = first + 1 + aside.index(max(aside))
            kept.append(farthest)
            spans += [(first, farthest), (farthest, last)]
    return [course[number] for number in sorted(kept)]


def _spaced(marks: tuple[Mark, ...]) -> tuple[Mark, ...]:
    """The marks; a day whose name the next day's would be written over is neither named nor marked as one."""
    days = [mark.at for mark in marks if mark.below]
    return tuple(
        replace(mark, below="", strong=False) if any(0 < other - mark.at < DAY_NAME_WIDTH for other in days) else mark
        for mark in marks
    )


def _thinned(marks: tuple[Mark, ...]) -> tuple[Mark, ...]:
    """The marks, of many only every second or third not to spare; the first one of a day is among those."""
    step = max(1, -(-len(marks) // MOST_LARGE))
    first = next((number for number, mark in enumerate(marks) if mark.strong), 0) % step
    return tuple(replace(mark, spare=number % step != first) for number, mark in enumerate(marks))


def _caption(shown: FiringOnDay, formats: Formats) -> str:
    if shown.hot:
        return formats.words("sheet.curve_caption_hot")
    opened = formats.temperature(shown.open_below_c, shown.unit)
    return formats.words("sheet.curve_caption", temperature=opened)
