"""Rules about the plan as a document: it names what exists, and its times lie where times may lie."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from scheduler.audit.breach import EARLIEST_MINUTE, LATEST_MINUTE, Breach
from scheduler.audit.case import Case
from shared.clock import local_time, wall_minute
from shared.texts import say

REASONS = frozenset(
    {
        "each_load_once", "work_fits_kiln", "profile_shared", "size_row", "max_temperature", "shares_firing",
        "capacity", "kiln_one_at_a_time", "clean_out", "circuit_amps", "hands", "skills", "ready", "after_gap",
        "session_at", "outages", "quiet", "attendance", "vent", "load_order", "within_plan", "computed_times", "costs",
        "time",
    }
)  # fmt: skip
"""What ``unplaced`` may give as the rule that binds: a rule's name, or ``time`` where the horizon has no room."""


def well_formed(case: Case) -> Iterator[Breach]:
    """The plan is for this studio, its firings have ids of their own, and all that it names exists.

    Also: ``from`` lies before ``to``, every time is one that such a plan could hold, and each load that found no
    place has a known rule as its reason. A firing that breaks this rule cannot be judged by the others.
    """
    plan, studio = case.plan, case.studio
    rule = "well_formed"
    if plan.studio != studio.place.name:
        yield Breach(
            rule,
            None,
            None,
            None,
            say("audit.plan_studio_this", theirs=repr(plan.studio), ours=repr(studio.place.name)),
        )
    if plan.begin >= plan.end:
        yield Breach(rule, None, None, plan.begin, say("audit.plan_ends_before"), float(plan.begin - plan.end))
    if not all(EARLIEST_MINUTE <= minute <= LATEST_MINUTE for minute in (plan.begin, plan.end)):
        yield Breach(rule, None, None, None, say("audit.plans_from_lies"))
    for firing_id in case.repeated_ids:
        yield Breach(rule, firing_id, None, None, say("audit.two_firings_have"))
    for firing in plan.firings:
        if not firing.id.strip():
            yield Breach(rule, firing.id, None, firing.load_at, say("audit.firing_empty_id"))
        if firing.kiln not in studio.kiln_by_id:
            yield Breach(rule, firing.id, None, None, say("audit.studio_no_kiln", kiln=repr(firing.kiln)))
        if firing.profile not in studio.profile_by_id:
            yield Breach(rule, firing.id, None, None, say("audit.studio_no_profile", profile=repr(firing.profile)))
        wild = case.implausible(firing)
        if wild:
            yield Breach(rule, firing.id, None, None, say("audit.lies_more_than", names=tuple(wild)))
    for firing_id in sorted(case.under_way - {firing.id for firing in plan.firings}):
        yield Breach(rule, firing_id, None, None, say("audit.this_firing_under"))
    for load_id in [one for one, times in Counter(load.id for load in case.waiting).items() if times > 1]:
        yield Breach(rule, None, load_id, None, say("audit.two_loads_that"))
    for unplaced in plan.unplaced:
        if unplaced.rule not in REASONS:
            yield Breach(rule, None, unplaced.load, None, say("audit.unplaced_which_no", rule=repr(unplaced.rule)))


def each_load_once(case: Case) -> Iterator[Breach]:
    """Every load is in exactly one firing or among the unplaced: ``firings + unplaced = 1`` for each load."""
    rule = "each_load_once"
    firings: dict[str, list[str]] = {}
    for firing in case.plan.firings:
        for load_id in firing.loads:
            firings.setdefault(load_id, []).append(firing.id)
    unplaced = Counter(one.load for one in case.plan.unplaced)
    for load_id in sorted(set(firings) | set(unplaced) | set(case.loads)):
        fired = firings.get(load_id, [])
        times = len(fired) + unplaced[load_id]
        where = fired[-1] if fired else None
        if load_id not in case.loads:
            yield Breach(rule, where, load_id, None, say("audit.no_such_load"))
        elif times == 0:
            yield Breach(rule, None, load_id, None, say("audit.load_neither_firing"), 1.0)
        elif times > 1:
            places = [say("audit.firing", firing=firing_id) for firing_id in fired] + [
                say("audit.the_unplaced")
            ] * unplaced[load_id]
            yield Breach(rule, where, load_id, None, say("audit.the_load_is", places=tuple(places)), float(times - 1))


def on_grid(case: Case) -> Iterator[Breach]:
    """What people do begins on the grid: ``(t - from) mod grid = 0`` for ``load_at``, ``start_at``, ``unload_at``.

    ``from`` itself is a whole number of grid steps after the midnight of its day.
    """
    grid, begin, zone = case.studio.rules.grid_minutes, case.plan.begin, case.studio.place.zone
    if EARLIEST_MINUTE <= begin <= LATEST_MINUTE:
        midnight = wall_minute(local_time(begin, zone).date(), 0, zone)
        off = (begin - midnight) % grid
        if off:
            yield Breach("on_grid", None, None, begin, say("audit.plan_begins_min", off=off, grid=grid), float(off))
    for fired in case.fired:
        firing = fired.firing
        for name in ("load_at", "start_at", "unload_at"):
            minute = getattr(firing, name)
            off = (minute - begin) % grid
            if off and not fired.is_history(minute):
                text = say("audit.lies_min_off", name=name, off=off, grid=grid)
                yield Breach("on_grid", firing.id, None, minute, text, float(off))


def within_plan(case: Case) -> Iterator[Breach]:
    """A firing lies inside the plan: ``from <= load_at`` (unless it is under way) and ``out_at <= to``.

    A clean-out is a part of its firing, so that it begins no sooner than the plan either.
    """
    plan = case.plan
    for fired in case.fired:
        firing = fired.firing
        early, late = plan.begin - firing.load_at, firing.out_at - plan.end
        hurried = plan.begin - firing.clean_out_at
        if early > 0 and fired.since is None:
            text = say("audit.loading_begins_min", early=early)
            yield Breach("within_plan", firing.id, None, firing.load_at, text, float(early))
        elif hurried > 0 and fired.since is None:
            text = say("audit.clean_out_before_plan", early=hurried)
            yield Breach("within_plan", firing.id, None, firing.clean_out_at, text, float(hurried))
        if late > 0:
            text = say("audit.kiln_emptied_min", late=late)
            yield Breach("within_plan", firing.id, None, firing.out_at, text, float(late))
