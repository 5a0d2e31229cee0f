"""Until when a kiln may be held hot for a session that goes on longer than planned.

The profile says how long its work may be held. That a kiln may be hot for so long does not follow: the plan kept its
session among people, quiet times and circuits, and whatever goes beyond the session has to keep the same rules.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from shared.calendar import kiln_outages, on_duty, power_outages, quiet_spans, staffed_spans
from shared.clock import Minute
from shared.kilns import Circuit, Leg
from shared.plans import Firing
from shared.profiles import Profile
from shared.studio import Studio

_TINY_AMPS = 1e-9


@dataclass(frozen=True, slots=True)
class HoldLimit:
    """The latest end of the last hold [min], and what ends it: a key of ``sheet.held_until`` in the catalogue."""

    at: Minute
    why: str


def hold_limit(studio: Studio, firings: Sequence[Firing], firing: Firing, late_minutes: int = 0) -> HoldLimit:
    """Until when a hot firing's last hold may go on beside the rest of the plan; never sooner than planned.

    A controller counts the hold from when the temperature is reached, and that may be ``late_minutes`` after what is
    planned: what the clock ends is sooner by as much, so that a hold keyed in by this limit still ends in time.

    The first of: the profile's ``hold_up_to``, the end of what those stay who may attend the session, a quiet time of
    this work, an outage, when the kiln is needed again, a moment at which a circuit or the hands would not do for what
    else is planned.
    """
    profile = studio.profile_by_id[firing.profile]
    longest = profile.segments(firing.size_row)[-1].longest_hold_minutes
    latest = firing.target_at + int(longest)
    if latest <= firing.hot_until:
        return HoldLimit(firing.hot_until, "profile")
    others = [other for other in firings if other.id != firing.id]
    by_the_clock = [
        *_people(studio, profile, firing, latest),
        *_quiet_or_out(studio, profile, firing, latest),
        *_needed_again(others, firing),
        *_circuits(studio, others, firing, latest),
        *_hands(studio, profile, others, firing, latest),
    ]
    found = [HoldLimit(latest, "profile"), *(replace(limit, at=limit.at - late_minutes) for limit in by_the_clock)]
    first = min(found, key=lambda limit: limit.at)
    return HoldLimit(max(first.at, firing.hot_until), first.why)


def _people(studio: Studio, profile: Profile, firing: Firing, latest: Minute) -> Iterator[HoldLimit]:
    """The end of the shifts of those who may attend the session."""
    spans = staffed_spans(studio, firing.unload_at, latest + 1, profile.unload_people, profile.skill)
    yield HoldLimit(next((span.end for span in spans if span.begin <= firing.unload_at < span.end), 0), "people")


def _quiet_or_out(studio: Studio, profile: Profile, firing: Firing, latest: Minute) -> Iterator[HoldLimit]:
    """The next quiet time of this work, and the next outage."""
    begin = firing.hot_until
    for quiet in quiet_spans(studio, begin, latest):
        if quiet.begin >= begin and (quiet.work is None or profile.work in quiet.work):
            yield HoldLimit(quiet.begin, "quiet")
    for out in (kiln_outages, power_outages):
        for span in out(studio, firing.kiln, begin, latest):
            yield HoldLimit(span.begin, "outage")


def _needed_again(others: Iterable[Firing], firing: Firing) -> Iterator[HoldLimit]:
    """When its kiln must begin to cool so that it is free for its next firing, or for being cleaned out."""
    cooling = firing.free_at - firing.hot_until
    for other in others:
        if other.kiln == firing.kiln and other.load_at >= firing.hot_until:
            yield HoldLimit(other.clean_out_at - cooling, "kiln")


def _circuits(studio: Studio, others: Sequence[Firing], firing: Firing, latest: Minute) -> Iterator[HoldLimit]:
    """When another kiln starts with which a circuit would carry too much, while this one is still hot."""
    kiln = studio.kiln_by_id[firing.kiln]
    for circuit in studio.feeders(kiln.circuit):
        for leg in studio.legs_of(kiln):
            on_leg = [other for other in others if _loads(studio, other, circuit, leg)]
            for start_at in {o.start_at for o in on_leg if firing.hot_until <= o.start_at < latest}:
                drawn = sum(o.amps for o in on_leg if o.start_at <= start_at < _may_draw_until(studio, o))
                if drawn + firing.amps > circuit.usable_amps + _TINY_AMPS:
                    yield HoldLimit(start_at, "circuit")


def _loads(studio: Studio, firing: Firing, circuit: Circuit, leg: Leg) -> bool:
    kiln = studio.kiln_by_id[firing.kiln]
    return circuit in list(studio.feeders(kiln.circuit)) and leg in studio.legs_of(kiln)


def _may_draw_until(studio: Studio, firing: Firing) -> Minute:
    """Until when another firing may draw current: a session there may go on for longer too."""
    profile = studio.profile_by_id[firing.profile]
    if profile.unload != "hot":
        return firing.hot_until
    longest = profile.segments(firing.size_row)[-1].longest_hold_minutes
    return max(firing.hot_until, firing.target_at + int(longest))


def _hands(
    studio: Studio, profile: Profile, others: Sequence[Firing], firing: Firing, latest: Minute
) -> Iterator[HoldLimit]:
    """When something else begins for which there are too few hands, or too few with the skill, beside the session."""
    tasks = [task for other in others for task in _tasks(studio, other)]
    for begin in sorted({task.begin for task in tasks if firing.hot_until <= task.begin < latest}):
        here = [duty.shift for duty in on_duty(studio, begin, begin + 1) if duty.begin <= begin < duty.end]
        busy = [task for task in tasks if task.begin <= begin < task.end]
        short = sum(shift.hands for shift in here) < profile.unload_people + sum(task.people for task in busy)
        if profile.skill is not None:
            able = sum(shift.hands for shift in here if profile.skill in shift.skills)
            short = short or able < 1 + sum(task.skill == profile.skill for task in busy)
        if short:
            yield HoldLimit(begin, "hands")


@dataclass(frozen=True, slots=True)
class _Task:
    """What takes hands at another kiln."""

    begin: Minute
    end: Minute
    people: int
    skill: str | None = None


def _tasks(studio: Studio, firing: Firing) -> Iterator[_Task]:
    kiln, profile = studio.kiln_by_id[firing.kiln], studio.profile_by_id[firing.profile]
    loaded_at = firing.load_at + -int(-kiln.load_minutes // 1)
    yield _Task(firing.clean_out_at, firing.load_at, 1)
    yield _Task(firing.load_at, loaded_at, 1)
    hot = profile.unload == "hot"
    yield _Task(firing.unload_at, firing.out_at, profile.unload_people, profile.skill if hot else None)
