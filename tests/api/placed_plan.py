"""Plans made by hand for the tests: the times that a person chooses are given, all others are computed."""

from __future__ import annotations

import math
from collections.abc import Sequence

from scheduler.firing.course import FiringRequest
from scheduler.firing.simulate import simulate_one
from shared.calendar import price_steps
from shared.clock import Minute, wall_minute
from shared.loads import Load, session_minutes, size_row
from shared.plans import CostParts, Firing, Late, Plan, PlannedSegment, Proof, Unplaced
from shared.studio import Studio


def place(
    studio: Studio,
    waiting: Sequence[Load],
    name: str,
    kiln_id: str,
    layers: Sequence[Sequence[str]],
    load_at: Minute,
    start_at: Minute,
    unload_at: Minute,
) -> Firing:
    """One firing; its profile is that of its first load."""
    by_id = {load.id: load for load in waiting}
    ids = list(dict.fromkeys(load_id for layer in layers for load_id in layer))
    loads = [by_id[load_id] for load_id in ids]
    kiln, profile = studio.kiln_by_id[kiln_id], studio.profile_by_id[loads[0].profile]
    row = size_row(profile, loads)
    hot = profile.unload == "hot"

    def computed(last_hold: float | None):
        return simulate_one(
            FiringRequest(
                kiln=kiln,
                work=profile.work,
                segments=profile.segments(row),
                unload_hot=hot,
                vented=profile.vent and kiln.vented,
                ware_kg=sum(load.mass_kg for load in loads),
                layers=len(layers),
                room_c=studio.place.room_c,
                unload_below_c=studio.unload_below_c(profile),
                load_below_c=studio.rules.load_below_c,
                last_hold_minutes=last_hold,
            )
        )

    course = computed(None)
    target_at = start_at + math.ceil(course.target_minutes)
    unloading = math.ceil(session_minutes(kiln, loads) if hot else kiln.unload_minutes)
    last_hold = profile.segments(row)[-1].hold_minutes
    hot_until = start_at + math.ceil(course.hot_minutes)
    safe_at = start_at + math.ceil(course.safe_minutes)
    if hot:
        safe_at, hot_until = target_at + math.ceil(last_hold), unload_at + unloading
        last_hold = float(hot_until - target_at)
        course = computed(last_hold)
    segments = []
    for number, (segment, run) in enumerate(zip(profile.segments(row), course.segments, strict=True), start=1):
        last = number == len(course.segments)
        ends = hot_until if hot and last else start_at + math.ceil(run.hold_ends_minutes)
        segments.append(
            PlannedSegment(
                rate_k_per_hour=segment.rate_k_per_hour,
                to_c=segment.to_c,
                hold_minutes=last_hold if last else segment.hold_minutes,
                reached_at=start_at + math.ceil(run.reached_minutes),
                hold_ends_at=ends,
            )
        )
    heights = [max(by_id[i].height_mm for i in layer) + kiln.shelf_gap_mm for layer in layers]
    area_cm2 = sum(load.footprint_cm2 for load in loads)
    share = sum(heights) / kiln.height_mm * area_cm2 / len(layers) / kiln.shelf_area_cm2
    cost = 0.0
    for step, power_kw in enumerate(course.power_kw):
        begin = start_at + int(step * course.step_minutes)
        cost += float(power_kw) * course.step_minutes / 60 * price_steps(studio, begin, begin + 1)[0].price
    return Firing(
        id=name,
        kiln=kiln_id,
        profile=profile.id,
        size_row=row,
        loads=tuple(ids),
        load_at=load_at,
        start_at=start_at,
        target_at=target_at,
        hot_until=hot_until,
        safe_at=safe_at,
        unload_at=unload_at,
        free_at=start_at + math.ceil(course.free_minutes(unload_at + unloading - start_at)),
        segments=tuple(segments),
        layers=tuple(tuple(layer) for layer in layers),
        amps=kiln.amps,
        kwh=course.kwh,
        energy_cost=cost,
        share_used=share,
        unload_minutes=unloading,
    )


def whole_plan(
    studio: Studio,
    waiting: Sequence[Load],
    firings: Sequence[Firing],
    unplaced: Sequence[Unplaced],
    made_at: Minute,
    begin: Minute,
) -> Plan:
    """The plan of these firings, with what it costs and what is late."""
    by_id = {load.id: load for load in waiting}
    late, lateness = [], 0.0
    for firing in firings:
        for load_id in firing.loads:
            promised = by_id[load_id].promised
            if promised is not None and firing.out_at > promised:
                hours = (firing.out_at - promised) / 60
                late.append(Late(load=load_id, promised=promised, out_at=firing.out_at, hours=hours))
                lateness += studio.prices.late_hour * by_id[load_id].priority * hours
    parts = CostParts(
        lateness=lateness,
        unplaced=sum(studio.prices.unplaced * by_id[one.load].priority for one in unplaced),
        energy=sum(firing.energy_cost for firing in firings),
        firings=studio.prices.firing * len(firings),
    )
    return Plan(
        studio=studio.place.name,
        made_at=made_at,
        begin=begin,
        end=begin + studio.rules.horizon_days * 1440,
        proof=Proof(status="unproved", cost=parts.total, bound=parts.total / 1.25, seconds=2.5),
        cost_parts=parts,
        firings=tuple(firings),
        unplaced=tuple(unplaced),
        late=tuple(late),
    )


def at(studio: Studio, day: str, clock: str) -> Minute:
    """The minute of a wall-clock time."""
    from datetime import date

    hour, minute = clock.split(":")
    return wall_minute(date.fromisoformat(day), int(hour) * 60 + int(minute), studio.place.zone)
