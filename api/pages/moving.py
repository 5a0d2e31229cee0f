"""A firing moved by hand: the plan that it makes, and what that breaks. A plan that breaks nothing can be kept."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from api.moves import noted_change
from api.printing.replan_text import rule_named
from api.problems import ProblemError, not_there
from api.security import Identity
from api.service import Service
from api.single_firing import firing_request
from api.storage.hold_store import held_firings
from api.storage.plan_store import keep_plan, plan_row
from api.words import tell
from scheduler.audit import AuditedPlan, breaches, explain, prove
from scheduler.audit.breach import Breach
from scheduler.firing.simulate import simulate_one
from scheduler.planning.changes import Change, whereabouts
from scheduler.planning.holds import with_holds
from scheduler.planning.layers import pack, share_used
from scheduler.planning.settle import energy_cost
from shared.calendar import staffed_spans
from shared.clock import Minute
from shared.loads import Load, session_minutes
from shared.plans import CostParts, Firing, Late, Plan, PlannedSegment, Proof
from shared.studio import Studio
from shared.texts import say


@dataclass(frozen=True, slots=True)
class Wish:
    """Where and when a person wants a firing; ``unload_at`` None: as soon as it is safe and somebody is there."""

    kiln: str
    load_at: Minute
    start_at: Minute
    unload_at: Minute | None


@dataclass(frozen=True, slots=True)
class Moved:
    """The plan with one firing moved, and every rule that it breaks."""

    plan: Plan
    firing: Firing
    breaches: tuple[Breach, ...]
    texts: tuple[str, ...]


def moved(
    audited: AuditedPlan, firing_id: str, wish: Wish, now: Minute, under_way: frozenset[str], replanned: bool
) -> Moved:
    """Move a firing and audit the plan that this makes.

    Raises
    ------
    ProblemError
        If there is no such firing or kiln, the charge does not fit, or the firing has begun.
    """
    old = next((firing for firing in audited.plan.firings if firing.id == firing_id), None)
    if old is None:
        raise not_there("firing", firing_id)
    if old.load_at <= now or firing_id in under_way:
        raise ProblemError(409, tell("refused.this_firing_begun"), name="under-way")
    new = _placed(audited, old, wish)
    plan = _plan_with(audited, new)
    found = breaches(audited.studio, tuple(audited.loads.values()), plan, under_way, replanned)
    if new.load_at < now:
        found.append(Breach("within_plan", new.id, None, new.load_at, tell("refused.would_loaded_before")))
    return Moved(plan, new, tuple(found), tuple(rule_named(explain(breach, audited.studio)) for breach in found))


def keep_moved(service: Service, who: Identity, plan_id: int, firing_id: str, wish: Wish) -> int:
    """Keep the plan with a firing moved, to be looked at and published; returns its id.

    Once it is published the firing is held where the person has put it.

    Raises
    ------
    BrokenPlanError
        If it breaks a rule.
    """
    now = service.now()
    with service.store.write() as session:
        row = plan_row(session, plan_id)
        audited = service.audited(session, plan_id)
        under_way = frozenset(row.under_way)
        result = moved(audited, firing_id, wish, service.minute(), under_way, row.replanned)
        held = held_firings(session, audited.plan)
        plan = with_holds(result.plan, frozenset({*held, firing_id}))
        proved = prove(audited.studio, tuple(audited.loads.values()), plan, under_way, row.replanned)
        notes = _notes(audited, result) | {"holds": [firing_id]}
        if firing_id in held:
            notes["replaces_holds"] = [held[firing_id].id]
        kept = keep_plan(
            session, proved, who.author(now), "moved", under_way=under_way, replanned=row.replanned, based_on=plan_id,
            notes=notes,
        )  # fmt: skip
        return kept.id


def _placed(audited: AuditedPlan, old: Firing, wish: Wish) -> Firing:
    studio = audited.studio
    if wish.kiln not in studio.kiln_by_id:
        raise not_there("kiln", wish.kiln)
    kiln, profile = studio.kiln_by_id[wish.kiln], studio.profile_by_id[old.profile]
    loads = [audited.loads[name] for name in old.loads]
    layers = old.layers if kiln.id == old.kiln else pack(kiln, loads)
    if layers is None:
        raise ProblemError(409, tell("refused.these_loads_do", kiln=kiln.id), name="capacity")
    hot = profile.unload == "hot"
    ware_kg = sum(load.mass_kg for load in loads)
    request = firing_request(studio, kiln, profile, old.size_row, ware_kg, len(layers))
    course = simulate_one(request)
    if not course.reached:
        raise ProblemError(409, tell("refused.does_not_reach", kiln=kiln.id), name="not-reached")
    start = wish.start_at
    unload_minutes = math.ceil(session_minutes(kiln, loads) if hot else kiln.unload_minutes)
    segments = profile.segments(old.size_row)
    target_at = start + math.ceil(course.target_minutes)
    least_hold = segments[-1].hold_minutes
    safe_at = target_at + math.ceil(least_hold) if hot else start + math.ceil(course.safe_minutes)
    unload_at = wish.unload_at
    if unload_at is None:
        people, skill = profile.unload_people, profile.skill if hot else None
        unload_at = _first_staffed(audited, safe_at, unload_minutes, people, skill)
    hot_until = unload_at + unload_minutes if hot else start + math.ceil(course.hot_minutes)
    if hot and hot_until > target_at:
        least_hold = float(hot_until - target_at)
        course = simulate_one(replace(request, last_hold_minutes=least_hold))
    planned = [
        PlannedSegment(
            rate_k_per_hour=segment.rate_k_per_hour,
            to_c=segment.to_c,
            hold_minutes=segment.hold_minutes,
            reached_at=start + math.ceil(run.reached_minutes),
            hold_ends_at=start + math.ceil(run.hold_ends_minutes),
        )
        for segment, run in zip(segments, course.segments, strict=True)
    ]
    if hot:
        planned[-1] = planned[-1].model_copy(update={"hold_minutes": least_hold, "hold_ends_at": hot_until})
    out_at = unload_at + unload_minutes
    return old.model_copy(
        update={
            "kiln": kiln.id, "load_at": wish.load_at, "start_at": start, "target_at": target_at,
            "hot_until": hot_until, "safe_at": safe_at, "unload_at": unload_at,
            "free_at": max(out_at, start + math.ceil(course.free_minutes(float(out_at - start)))),
            "segments": tuple(planned), "layers": layers, "amps": kiln.amps, "kwh": course.kwh,
            "energy_cost": energy_cost(studio, course, start), "share_used": share_used(kiln, loads, layers),
            "unload_minutes": unload_minutes, "hot_until_between": None, "safe_between": None,
        }
    )  # fmt: skip


def _first_staffed(audited: AuditedPlan, minute: Minute, length: int, people: int, skill: str | None) -> Minute:
    """The first moment on the grid from ``minute`` on with people enough, one with a skill, for all the unloading."""
    grid = audited.studio.rules.grid_minutes
    first = audited.plan.begin

    def on_grid(at: Minute) -> Minute:
        return first + -((first - at) // grid) * grid

    for span in staffed_spans(audited.studio, minute, minute + 14 * 1440, people, skill):
        at = on_grid(max(minute, span.begin))
        if at + length <= span.end:
            return at
    return on_grid(minute)


def _plan_with(audited: AuditedPlan, new: Firing) -> Plan:
    studio, plan, loads, prices = audited.studio, audited.plan, audited.loads, audited.studio.prices
    order = sorted((new if f.id == new.id else f for f in plan.firings), key=lambda f: (f.load_at, f.kiln))
    firings, cleaning = _cleaned_out(studio, plan, order)
    told = {late.load: late for late in plan.late}
    late = [_late(loads[name], firing, told) for firing in firings for name in firing.loads]
    rows = sorted((row for row in late if row is not None), key=lambda row: (-row.hours, row.load))
    parts = CostParts(
        lateness=sum((prices.late_load + prices.late_hour * row.hours) * loads[row.load].priority for row in rows),
        unplaced=plan.cost_parts.unplaced,
        energy=sum(firing.energy_cost for firing in firings),
        firings=studio.prices.firing * len(firings),
        changes=plan.cost_parts.changes,
        clean_outs=cleaning,
    )
    bound = min(plan.proof.bound, parts.total)
    status = plan.proof.status
    if parts.total > bound + 0.005:
        status = "within" if parts.total <= bound * 1.05 else "unproved"
    proof = Proof(status=status, cost=parts.total, bound=bound, seconds=plan.proof.seconds)
    updated = {"firings": firings, "late": tuple(rows), "cost_parts": parts, "proof": proof, "hold_notes": ()}
    return plan.model_copy(update=updated)


def _cleaned_out(studio: Studio, plan: Plan, order: Sequence[Firing]) -> tuple[tuple[Firing, ...], float]:
    """Firings in order of loading with the clean-out before each, and what all of them cost [currency]."""
    grid = studio.rules.grid_minutes
    work = {kiln.id: plan.last_work.get(kiln.id, kiln.last_work) for kiln in studio.kilns}
    found, price = [], 0.0
    for firing in order:
        own = studio.profile_by_id[firing.profile].work
        asked = studio.clean_out(work.get(firing.kiln), own)
        minutes = 0 if asked is None else math.ceil(math.ceil(asked.minutes) / grid) * grid
        price += 0.0 if asked is None else asked.price
        found.append(firing.model_copy(update={"clean_out_minutes": minutes}))
        work[firing.kiln] = own
    return tuple(found), price


def _late(load: Load, firing: Firing, told: Mapping[str, Late]) -> Late | None:
    if load.promised is None or firing.out_at <= load.promised:
        return None
    hours = (firing.out_at - load.promised) / 60.0
    before = told.get(load.id)
    if before is not None and before.out_at == firing.out_at:
        return before
    return Late(
        load=load.id, promised=load.promised, out_at=firing.out_at, hours=hours, why=say("reason.moved_by_hand")
    )


def _notes(audited: AuditedPlan, result: Moved) -> dict[str, Any]:
    """What the moved plan changes, as a re-plan's changes are kept and shown."""
    old = next(firing for firing in audited.plan.firings if firing.id == result.firing.id)
    before, after = whereabouts([old]), whereabouts([result.firing])
    changes = [
        noted_change(Change(name, load.owner, before[name], after[name], load.promised), audited.studio.place.zone)
        for name in old.loads
        for load in [audited.loads[name]]
    ]
    return {"changes": changes, "cost_before": audited.plan.proof.cost}
