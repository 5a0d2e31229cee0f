"""The rule that a firing's times, energy and fill are those that the thermal model computes."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from scheduler.audit.breach import Breach
from scheduler.audit.case import Case, Fired, whole
from scheduler.audit.kiln import share_used
from scheduler.firing.course import Course
from shared.texts import say

SEGMENT_TOLERANCE_MINUTES = 1
"""How far a segment's times may be off [min]: they are shown, nothing is planned by them."""

HOLD_TOLERANCE_MINUTES = 0.01
"""How far a hot firing's last hold may differ from ``hot_until - target_at`` [min]: files keep hours to nine digits."""

AMPS_TOLERANCE = 1e-6
"""Rounding of a current in a file [A]."""

KWH_TOLERANCE = 0.05
"""How far an energy may be off [kWh]: a plan file may round it to a tenth."""

MONEY_TOLERANCE = 0.01
"""How far a price may be off: a plan file may round it to the hundredth."""

SHARE_TOLERANCE = 0.005
"""How far ``share_used`` may be off [-]: a plan file may round it to the hundredth."""


def computed_times(case: Case) -> Iterator[Breach]:
    """Every time, energy, price, current and fill of a firing is what the thermal model and the studio's data give.

    With ``start_at`` and ``unload_at`` as planned, all other times follow, rounded up to whole minutes; the kiln must
    reach every target. ``hot_until_between`` and ``safe_between`` are forecasts and are not judged.
    """
    for fired in case.fired:
        course = case.courses.get(fired.number)
        if course is None:
            continue  # the breach of another rule leaves the course open
        firing = fired.firing
        if not course.reached:
            text = say("audit.kiln_does_not", kiln=fired.kiln.id)
            if course.stalled_at_c is not None and course.stalled_at_c == course.stalled_at_c:
                text += say("audit.it_gets_to", hottest=course.stalled_at_c)
            yield Breach("computed_times", firing.id, None, firing.start_at, text)
            continue
        yield from _times(case, fired, course)
        yield from _segments(case, fired, course)
        yield from _amounts(case, fired, course)


def _times(case: Case, fired: Fired, course: Course) -> Iterator[Breach]:
    firing, start = fired.firing, fired.firing.start_at
    target_at = start + whole(course.target_minutes)
    if fired.hot_unload:
        unload_minutes = fired.session
        safe_at = target_at + whole(fired.segments[-1].hold_minutes)
        hot_until = firing.unload_at + unload_minutes
    else:
        unload_minutes = whole(fired.kiln.unload_minutes)
        safe_at = start + whole(course.safe_minutes)
        hot_until = start + whole(course.hot_minutes)
    out_at = firing.unload_at + unload_minutes
    free_at = max(out_at, start + whole(course.free_minutes(out_at - start)))
    if firing.unload_minutes != unload_minutes:
        text = say("audit.unloading_planned_take", planned=firing.unload_minutes, computed=unload_minutes)
        by = float(firing.unload_minutes - unload_minutes)
        yield Breach("computed_times", firing.id, None, firing.unload_at, text, by)
    for name, planned, computed in (
        ("target_at", firing.target_at, target_at),
        ("hot_until", firing.hot_until, hot_until),
        ("safe_at", firing.safe_at, safe_at),
        ("free_at", firing.free_at, free_at),
    ):
        if planned != computed:
            text = say("audit.by_thermal_model", name=name, computed=case.when(computed), planned=case.when(planned))
            yield Breach("computed_times", firing.id, None, planned, text, float(planned - computed))


def _segments(case: Case, fired: Fired, course: Course) -> Iterator[Breach]:
    firing, start = fired.firing, fired.firing.start_at
    last = len(firing.segments)
    for number, (planned, computed) in enumerate(zip(firing.segments, course.segments, strict=True), start=1):
        reached_at = start + whole(computed.reached_minutes)
        ends_at = start + whole(computed.hold_ends_minutes)
        if fired.hot_unload and number == last:
            ends_at = firing.hot_until
            hold = firing.hot_until - firing.target_at
            if abs(planned.hold_minutes - hold) > HOLD_TOLERANCE_MINUTES:
                text = say("audit.last_hold_min", computed=hold, planned=planned.hold_minutes)
                yield Breach(
                    "computed_times", firing.id, None, planned.reached_at, text, float(planned.hold_minutes - hold)
                )
        for name, ours, theirs in (
            ("reached_at", planned.reached_at, reached_at),
            ("hold_ends_at", planned.hold_ends_at, ends_at),
        ):
            if abs(ours - theirs) > SEGMENT_TOLERANCE_MINUTES:
                text = say(
                    "audit.segment_by_thermal", name=name, number=number, theirs=case.when(theirs), ours=case.when(ours)
                )
                yield Breach("computed_times", firing.id, None, ours, text, float(ours - theirs))


def _amounts(case: Case, fired: Fired, course: Course) -> Iterator[Breach]:
    firing = fired.firing
    for name, unit, planned, computed, tolerance in (
        ("amps", " A", firing.amps, fired.kiln.amps, AMPS_TOLERANCE),
        ("kwh", " kWh", firing.kwh, course.kwh, KWH_TOLERANCE),
        ("energy_cost", "", firing.energy_cost, energy_cost(case, fired, course), MONEY_TOLERANCE),
        ("share_used", "", firing.share_used, share_used(fired), SHARE_TOLERANCE),
    ):
        if abs(planned - computed) > tolerance + 1e-9:  # a value rounded to the last digit shown is still right
            text = say("audit.is_not", name=name, computed=computed, unit=unit, planned=planned)
            yield Breach("computed_times", firing.id, None, firing.start_at, text, planned - computed)


def energy_cost(case: Case, fired: Fired, course: Course) -> float:
    """The price of a firing's energy: each price step times the energy drawn in it."""
    used_kwh = np.concatenate(([0.0], np.cumsum(course.power_kw) * (course.step_minutes / 60.0)))
    minutes = np.arange(len(used_kwh)) * course.step_minutes
    start = fired.firing.start_at
    total = 0.0
    for step in case.prices(start, start + float(minutes[-1])):
        begin, end = max(0, step.begin - start), step.end - start
        total += step.price * float(np.interp(end, minutes, used_kwh) - np.interp(begin, minutes, used_kwh))
    return total
