"""Geometry of the week: a lane a kiln with the phases of its firings, and under it the current on each leg."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from api.formats import Formats
from api.outages import outage_reason
from scheduler.audit import AuditedPlan
from shared.calendar import on_duty
from shared.clock import Minute, wall_minute
from shared.kilns import Circuit, Leg
from shared.plans import Firing
from shared.studio import Outage, Studio

WIDTH = 1200.0
LEFT, RIGHT, TOP = 132.0, 1192.0, 40
"""Left of the first edge stand the names, in a drawing of their own that stays when the picture is scrolled."""
LANE, BAR = 46, 20
"""Height of a kiln's lane and of the bars in it [SVG user units]."""

ROW, PLOT = 42.0, 30.0
"""Height of a leg's row and of the plot in it [SVG user units]."""

LETTER = 6.4
"""Width of a letter of the labels [SVG user units]."""

ToX = Callable[[Minute], float]


@dataclass(frozen=True, slots=True)
class Bar:
    """A phase of a firing, or another stretch of time."""

    x: float
    width: float
    kind: str
    title: str = ""
    label: str = ""


@dataclass(frozen=True, slots=True)
class Drawn:
    """One firing: its phases, its name where there is room, and all of it in words."""

    id: str
    x: float
    width: float
    bars: tuple[Bar, ...]
    label: str
    named: str
    short: str
    label_x: float
    anchor: str
    title: str
    marked: bool
    held: bool
    movable: bool


NEAR = 0.75
"""Share of what a leg may carry from which on it is near its limit [-]; house choice: one more small kiln would be too
much for it."""

REST_TOP = 26.0
"""Where the first of the other legs is drawn, below the names of the days."""


@dataclass(frozen=True, slots=True)
class Lane:
    """One kiln."""

    top: float
    title: str
    name: str
    firings: tuple[Drawn, ...]
    outages: tuple[Bar, ...]


@dataclass(frozen=True, slots=True)
class LegRow:
    """The current on one leg of a circuit over the week."""

    top: float
    circuit: str
    name: str
    points: str
    limit_y: float
    peak: str
    at: str
    share: float


@dataclass(frozen=True, slots=True)
class Week:
    """What the template draws: the lanes with the ``legs`` that come near their limit, and the ``rest`` apart."""

    height: float
    lanes_bottom: float
    days: tuple[tuple[float, str], ...]
    noons: tuple[float, ...]
    nobody: tuple[Bar, ...]
    lanes: tuple[Lane, ...]
    left: float
    full_width: float
    width: float
    minutes: int
    grid_minutes: int
    legs: tuple[LegRow, ...]
    rest: tuple[LegRow, ...]
    rest_height: float
    now_x: float | None


def week_picture(
    audited: AuditedPlan,
    formats: Formats,
    first: date,
    days: int,
    now: Minute,
    only: Collection[str] | None = None,
    marked: Collection[str] = (),
    held: Collection[str] = (),
    movable: Collection[str] = (),
) -> Week:
    """The picture of ``days`` days; ``only`` these firings if given.

    A heavy frame stands around those that are ``marked``, a double one around those that are ``held``; those that are
    ``movable`` can be dragged.
    """
    studio, zone = audited.studio, audited.studio.place.zone
    begin, end = wall_minute(first, 0, zone), wall_minute(first + timedelta(days=days), 0, zone)

    def x(minute: Minute) -> float:
        return round(LEFT + (RIGHT - LEFT) * (min(max(minute, begin), end) - begin) / (end - begin), 1)

    midnights = [first + timedelta(days=number) for number in range(days)]
    lanes = []
    for number, kiln in enumerate(studio.kilns):
        firings = [
            firing
            for firing in audited.firings_of(kiln.id)
            if firing.load_at < end
            and max(firing.free_at, firing.out_at) > begin
            and (only is None or firing.id in only)
        ]
        feeding = {circuit.id for circuit in studio.feeders(kiln.circuit)}
        outages = tuple(
            _out_bar(outage, x, end, formats)
            for outage in studio.outages
            if (outage.kiln == kiln.id or outage.circuit in feeding)
            and outage.begins < end
            and (outage.ends is None or outage.ends > begin)
        )
        top = TOP + LANE * number
        drawn = spaced([_drawn(audited, firing, formats, x, marked, held, movable) for firing in firings], outages)
        lanes.append(Lane(top, kiln.id, kiln.name or "", drawn, outages))
    lanes_bottom = TOP + LANE * len(lanes)
    legs: list[LegRow] = []
    rest: list[LegRow] = []
    if only is None:
        for circuit in studio.circuits:
            for leg in circuit.leg_names:
                row = _leg_row(audited, circuit, leg, 0.0, begin, end, x, formats)
                rows, above = (legs, lanes_bottom + 34) if row.share >= NEAR else (rest, REST_TOP)
                rows.append(_leg_row(audited, circuit, leg, above + ROW * len(rows), begin, end, x, formats))
    return Week(
        height=lanes_bottom + (44 + ROW * len(legs) if legs else 8),
        lanes_bottom=lanes_bottom,
        days=tuple((x(wall_minute(day, 0, zone)), formats.short_day(day)) for day in midnights),
        noons=tuple(x(wall_minute(day, 720, zone)) for day in midnights),
        nobody=_nobody(studio, begin, end, x),
        lanes=tuple(lanes),
        left=LEFT,
        full_width=WIDTH,
        width=RIGHT - LEFT,
        minutes=end - begin,
        grid_minutes=studio.rules.grid_minutes,
        legs=tuple(legs),
        rest=tuple(rest),
        rest_height=REST_TOP + ROW * len(rest) + 10,
        now_x=x(now) if begin <= now < end else None,
    )


def _out_bar(outage: Outage, x: ToX, end: Minute, formats: Formats) -> Bar:
    """A stretch out of use, with its reason as far as there is room; and all of it in the words of the day's card."""
    words = formats.words
    why = outage_reason(outage.reason, words)
    reason = words("plan.reason", reason=why) if why else ""
    if outage.ends is None:
        title = words("plan.out_from", begin=formats.clock(outage.begins), reason=reason)
    else:
        title = words("plan.out_of_order", stretch=formats.stretch(outage.begins, outage.ends), reason=reason)
    left, right = x(outage.begins), x(outage.ends or end)
    label = why or words("phase.out")
    room = int((right - left) / LETTER)
    if len(label) > room:
        label = label[: room - 1].rstrip() + "…" if room > 4 else ""
    return Bar(left, round(right - left, 1), "out", title, label)


def phases(firing: Firing, load_minutes: float) -> Iterator[tuple[str, Minute, Minute]]:
    """The phases of a firing in order of time, by kind: clean, load, wait, heat, hold, cool, open."""
    loaded = firing.load_at + -int(-load_minutes // 1)
    if firing.clean_out_minutes:
        yield "clean", firing.clean_out_at, firing.load_at
    yield "load", firing.load_at, loaded
    if firing.start_at > loaded:
        yield "wait", loaded, firing.start_at
    yield "heat", firing.start_at, firing.target_at
    hold_end = min(firing.hot_until, firing.unload_at)
    if hold_end > firing.target_at:
        yield "hold", firing.target_at, hold_end
    if firing.unload_at > hold_end:
        yield "cool", hold_end, firing.unload_at
    yield "open", firing.unload_at, firing.out_at
    if firing.free_at > firing.out_at:
        yield "cool", firing.out_at, firing.free_at


def _drawn(
    audited: AuditedPlan,
    firing: Firing,
    formats: Formats,
    x: ToX,
    marked: Collection[str],
    held: Collection[str],
    movable: Collection[str],
) -> Drawn:
    studio, words = audited.studio, formats.words
    kiln, profile = studio.kiln_by_id[firing.kiln], studio.profile_by_id[firing.profile]
    bars = tuple(
        Bar(x(begin), round(max(1.0, x(end) - x(begin)), 1), kind)
        for kind, begin, end in phases(firing, kiln.load_minutes)
        if x(end) > x(begin)
    )
    left, right = x(firing.clean_out_at), x(max(firing.free_at, firing.out_at))
    is_held = firing.id in held
    short = f"{firing.id} · {words('hold.fixed')}" if is_held else firing.id
    between = " · " if is_held else " "
    label, by_work = f"{short}{between}{profile.title}", f"{short}{between}{profile.work}"
    title = words(
        "week.bar",
        firing=firing.id,
        kiln=kiln.id,
        profile=profile.title,
        load=formats.clock(firing.load_at),
        start=formats.clock(firing.start_at),
        off=formats.clock(firing.hot_until),
        open=formats.clock(firing.unload_at),
    )
    if firing.clean_out_minutes:
        title = words("week.bar_clean", bar=title, clean=formats.clock(firing.clean_out_at))
    if is_held:
        title = f"{title} ({words('hold.legend')})"
    if left > RIGHT - LETTER * len(label) - 4:
        label = short
    at_end = left > RIGHT - LETTER * len(label) - 4
    return Drawn(
        id=firing.id,
        x=left,
        width=round(max(2.0, right - left), 1),
        bars=bars,
        label=label,
        named=by_work,
        short=short,
        label_x=right if at_end else left,
        anchor="end" if at_end else "start",
        title=title,
        marked=firing.id in marked,
        held=is_held,
        movable=firing.id in movable,
    )


def spaced(drawn: Sequence[Drawn], outages: Sequence[Bar]) -> tuple[Drawn, ...]:
    """The firings, each with the longest label that ends before the next one's, or an outage's, begins.

    Where the profile's name is too long its kind of work says more than a number alone.
    """
    begins = sorted([*(one.x for one in drawn), *(bar.x for bar in outages), WIDTH])
    found = []
    for one in drawn:
        following = next(x for x in begins if x > one.x or x == WIDTH)
        room = int((following - one.x) / LETTER) if one.anchor == "start" else 99
        label = next((text for text in (one.label, one.named, one.short, one.id) if len(text) <= room), "")
        found.append(replace(one, label=label))
    return tuple(found)


def _nobody(studio: Studio, begin: Minute, end: Minute, x: ToX) -> tuple[Bar, ...]:
    bars = []
    reached = begin
    for duty in on_duty(studio, begin, end):
        if duty.begin > reached and reached < end:
            bars.append(Bar(x(reached), round(x(duty.begin) - x(reached), 1), "nobody"))
        reached = max(reached, duty.end)
    if reached < end:
        bars.append(Bar(x(reached), round(x(end) - x(reached), 1), "nobody"))
    return tuple(bars)


def leg_steps(
    audited: AuditedPlan, circuit: Circuit, leg: Leg, begin: Minute, end: Minute
) -> list[tuple[Minute, float]]:
    """``(from when, how many amperes)`` on a leg of a circuit, in order, from ``begin`` on."""
    studio = audited.studio
    drawing = []
    for firing in audited.plan.firings:
        kiln = studio.kiln_by_id[firing.kiln]
        on = any(feeder.id == circuit.id for feeder in studio.feeders(kiln.circuit))
        if on and leg in studio.legs_of(kiln) and firing.start_at < end and firing.hot_until > begin:
            drawing.append(firing)
    moments = sorted({begin, *(max(begin, f.start_at) for f in drawing), *(min(end, f.hot_until) for f in drawing)})
    return [(at, sum(f.amps for f in drawing if f.start_at <= at < f.hot_until)) for at in moments]


def _leg_row(
    audited: AuditedPlan, circuit: Circuit, leg: Leg, top: float, begin: Minute, end: Minute, x: ToX, formats: Formats
) -> LegRow:
    steps = leg_steps(audited, circuit, leg, begin, end)
    peak, at = max((amps, -at) for at, amps in steps)
    most = max(circuit.usable_amps, peak)

    def y(amps: float) -> float:
        return round(top + PLOT - PLOT * amps / most, 1)

    points = [f"{x(begin)},{y(0)}"]
    for number, (minute, amps) in enumerate(steps):
        until = steps[number + 1][0] if number + 1 < len(steps) else end
        points += [f"{x(minute)},{y(amps)}", f"{x(until)},{y(amps)}"]
    words, several = formats.words, len(circuit.leg_names) > 1
    return LegRow(
        top=top,
        circuit=circuit.id,
        name=words("week.leg", circuit=circuit.id, leg=leg) if several else circuit.id,
        points=" ".join([*points, f"{x(end)},{y(0)}"]),
        limit_y=y(circuit.usable_amps),
        peak=words("week.peak_leg" if several else "week.peak", leg=leg, amps=peak, limit=circuit.usable_amps),
        at=words("week.peak_at", at=formats.clock(-at)) if peak else words("week.idle"),
        share=peak / circuit.usable_amps,
    )
