"""Why a load is late, from facts that the plan itself shows. What would mend it is for the planner to prove."""

from __future__ import annotations

from dataclasses import dataclass

from api.day import Day
from api.formats import Formats
from shared.clock import Minute
from shared.plans import Firing, Late


@dataclass(frozen=True, slots=True)
class LateRow:
    """A late load with the reason in words."""

    late: Late
    owner: str
    why: str


def late_rows(day: Day, formats: Formats) -> tuple[LateRow, ...]:
    """All late loads of the plan, the latest first."""
    firing_of = {load: firing for firing in day.plan.firings for load in firing.loads}
    rows = []
    for late in day.late:
        firing = firing_of[late.load]
        rows.append(LateRow(late, day.load(late.load).owner, _why(day, late, firing, firing_of, formats)))
    return tuple(rows)


def _why(day: Day, late: Late, firing: Firing, firing_of: dict[str, Firing], formats: Formats) -> str:
    words = formats.words
    load = day.load(late.load)
    shown = day.shown(firing)

    def out_if_loaded_from(minute: Minute) -> tuple[Minute, Minute]:
        """When it would be loaded and out with this charge, if nothing but shifts stood in the way."""
        load_at = day.first_staffed(minute)
        safe_at = load_at + _whole(shown.kiln.load_minutes) + (firing.safe_at - firing.start_at)
        return load_at, day.first_staffed(safe_at) + firing.unload_minutes

    if load.after is not None and load.after in firing_of:
        before = firing_of[load.after]
        load_at, out_at = out_if_loaded_from(max(before.out_at + _whole(load.gap_minutes), load.ready or 0))
        if out_at > late.promised:
            stage_out, from_text = formats.clock(before.out_at), formats.clock(load_at)
            return words("why.earlier_stage", load=load.after, out=stage_out, from_time=from_text)
    load_at, out_at = out_if_loaded_from(max(day.plan.begin, load.ready or day.plan.begin))
    if out_at > late.promised:
        kiln_id = shown.kiln.id
        return words("why.too_short", kiln=kiln_id, ready=formats.clock(load_at), earliest=formats.clock(out_at))
    taken = [
        (other.free_at, other.id)
        for other in day.plan.firings
        if other.kiln == firing.kiln and other.load_at < firing.load_at
    ]
    if taken and out_if_loaded_from(max(taken)[0])[1] > late.promised:
        until, other_id = max(taken)
        return words("why.kiln_taken", kiln=shown.kiln.id, firing=other_id, until=formats.clock(until))
    return words("why.no_single")


def _whole(minutes: float) -> Minute:
    return -int(-minutes // 1)
