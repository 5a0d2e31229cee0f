"""Rules about what the firing does to kiln and ware: segments, temperature, fumes."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import zip_longest
from math import isclose

from scheduler.audit.breach import Breach
from scheduler.audit.case import HOLD_TOLERANCE_MINUTES, Case, Fired, whole
from shared.loads import size_row as row_of
from shared.plans import PlannedSegment
from shared.profiles import Segment
from shared.texts import said_by, say

DEGREE_TOLERANCE_K = 1e-4
"""How far a target [K], or a rate [K/h], may be off: files keep them to a millionth of the studio's degree."""


def size_row(case: Case) -> Iterator[Breach]:
    """The largest load picks the size row, and the firing runs that row's segments, hold by hold.

    Every hold is the profile's own, but the last may be stretched: ``hold <= last hold <= longest``. The longest is
    ``hold_up_to``; hot work without it ends with a session that begins at the first grid point at which the ware is
    ready.
    """
    for fired in case.fired:
        firing, profile = fired.firing, fired.profile
        try:
            row = row_of(profile, fired.loads) if fired.loads else firing.size_row
        except LookupError as error:
            yield Breach("size_row", firing.id, None, None, said_by(error))
            continue
        if not fired.row_exists:
            yield Breach(
                "size_row",
                firing.id,
                None,
                None,
                say("audit.profile_no_size", profile=profile.id, size_row=firing.size_row),
            )
            continue
        if firing.size_row != row:
            text = say("audit.loads_need_size", row=row, profile=profile.id, size_row=firing.size_row)
            yield Breach("size_row", firing.id, None, None, text)
        wrong = _wrong_segments(case, fired)
        if wrong:
            yield Breach("size_row", firing.id, None, None, wrong)


def _wrong_segments(case: Case, fired: Fired) -> str:
    planned, asked = fired.firing.segments, fired.segments
    if len(planned) != len(asked):
        return say("audit.firing_segments_profile", planned=len(planned), asked=len(asked))
    longest = _longest_last_hold(case, fired)
    for number, (ours, theirs) in enumerate(zip_longest(planned, asked), start=1):
        if ours is None or theirs is None:  # the lengths are equal; this only tells the type checker so
            continue
        if not _same_ramp(ours, theirs):
            return say("audit.segment_does_not", number=number, target=theirs.to_c)
        least = theirs.hold_minutes
        most = longest if number == len(asked) else least
        if not least - HOLD_TOLERANCE_MINUTES <= ours.hold_minutes <= most + HOLD_TOLERANCE_MINUTES:
            allowed = say("audit.min", least=least) if most == least else say("audit.to_min", least=least, most=most)
            return say("audit.segment_holds_min", number=number, hold=ours.hold_minutes, allowed=allowed)
    return ""


def _same_ramp(ours: PlannedSegment, theirs: Segment) -> bool:
    if not isclose(ours.to_c, theirs.to_c, rel_tol=0.0, abs_tol=DEGREE_TOLERANCE_K):
        return False
    if ours.rate_k_per_hour is None or theirs.rate_k_per_hour is None:
        return ours.rate_k_per_hour is theirs.rate_k_per_hour
    return isclose(ours.rate_k_per_hour, theirs.rate_k_per_hour, rel_tol=0.0, abs_tol=DEGREE_TOLERANCE_K)


def _longest_last_hold(case: Case, fired: Fired) -> float:
    """How long the last hold may be [min]."""
    last = fired.segments[-1]
    if not fired.hot_unload:
        return last.longest_hold_minutes
    if last.hold_up_to_minutes is not None:
        return whole(last.hold_up_to_minutes)
    # Sessions begin on the grid, the ware is ready at any minute: the first grid point is less than a step later.
    return whole(last.hold_minutes) + fired.session + case.studio.rules.grid_minutes - 1


def max_temperature(case: Case) -> Iterator[Breach]:
    """Neither the kiln nor any load gets hotter than it stands: ``peak <= max_temperature`` of each."""
    for fired in case.fired:
        if not fired.row_exists:
            continue
        peak_c, firing_id = fired.profile.peak_c(fired.firing.size_row), fired.firing.id
        excess_k = peak_c - fired.kiln.max_temperature_c
        if excess_k > DEGREE_TOLERANCE_K:
            text = say(
                "audit.goes_c_kiln", peak=peak_c, kiln=fired.kiln.id, max_temperature=fired.kiln.max_temperature_c
            )
            yield Breach("max_temperature", firing_id, None, None, text, excess_k)
        for load in fired.loads:
            if load.max_temperature_c is not None and peak_c - load.max_temperature_c > DEGREE_TOLERANCE_K:
                text = say("audit.goes_c_load", peak=peak_c, max_temperature=load.max_temperature_c)
                yield Breach("max_temperature", firing_id, load.id, None, text, peak_c - load.max_temperature_c)


def vent(case: Case) -> Iterator[Breach]:
    """A profile that needs a vent runs in a vented kiln only, and so does a load whose own profile needs one."""
    for fired in case.fired:
        if fired.profile.vent and not fired.kiln.vented:
            text = say("audit.profile_needs_vent", profile=fired.profile.id, kiln=fired.kiln.id)
            yield Breach("vent", fired.firing.id, None, None, text)
        if fired.profile.vent:
            continue
        for load in fired.loads:
            own = case.studio.profile_by_id.get(load.profile)
            if own is not None and own.vent:
                text = say("audit.needs_vent_by", own=own.id, profile=fired.profile.id)
                yield Breach("vent", fired.firing.id, load.id, None, text)
