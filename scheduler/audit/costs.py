"""The rule that the plan costs what it says, and that what it calls late is late."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from scheduler.audit.breach import Breach
from scheduler.audit.case import Case
from shared.texts import say

MONEY_TOLERANCE = 0.01
"""How far a sum of money may be off: a plan file may round it to the hundredth."""

HOURS_TOLERANCE = 0.006
"""How far a late load's hours may be off [h]: a plan file may round them to the hundredth."""

WITHIN_SHARE = 0.05
"""The most that a plan called ``within`` may cost above its bound [-]: a twentieth (``shared.plans.Proof``)."""


def costs(case: Case) -> Iterator[Breach]:
    """The cost is the sum of its parts, each part is what the prices make of the plan, and no bound is above the cost.

    ``lateness = sum (late_load + late_hour x hours late) x priority``, ``unplaced = sum unplaced x priority``,
    ``firings = firing x number``, ``energy = sum energy_cost``, ``clean_outs = sum of the prices of those that the
    studio asks for``; ``late`` lists just the loads out after ``promised``.
    The price of changes is taken as given, and is 0 unless the plan replaces another.
    """
    yield from _parts(case)
    yield from _proof(case)
    yield from _late(case)


def late_minutes(case: Case) -> dict[str, int]:
    """The loads that are out after their promise, and by how much [min]."""
    found = {}
    for load_id, fired in case.fired_with.items():
        promised = case.loads[load_id].promised
        if promised is not None and fired.firing.out_at > promised:
            found[load_id] = fired.firing.out_at - promised
    return found


def _parts(case: Case) -> Iterator[Breach]:
    prices, parts = case.studio.prices, case.plan.cost_parts
    lateness = sum(
        (prices.late_load + prices.late_hour * minutes / 60.0) * case.loads[load_id].priority
        for load_id, minutes in late_minutes(case).items()
    )
    missed = {one.load for one in case.plan.unplaced if one.load in case.loads}
    unplaced = sum(prices.unplaced * case.loads[load_id].priority for load_id in missed)
    energy = sum(firing.energy_cost for firing in case.plan.firings)
    for name, told, computed in (
        ("lateness", parts.lateness, lateness),
        ("unplaced", parts.unplaced, unplaced),
        ("energy", parts.energy, energy),
        ("firings", parts.firings, prices.firing * len(case.plan.firings)),
        ("clean_outs", parts.clean_outs, sum(asked.price for asked in case.asked_clean_outs.values())),
    ):
        if _differ(told, computed):
            text = say("audit.cost_not", name=name, computed=computed, told=told)
            yield Breach("costs", None, None, None, text, told - computed)
    if parts.changes < 0:
        yield Breach("costs", None, None, None, say("audit.cost_changes_below", changes=parts.changes), parts.changes)
    elif _differ(parts.changes, 0.0) and not case.replanned:
        text = say("audit.plan_that_replaces", changes=parts.changes)
        yield Breach("costs", None, None, None, text, parts.changes)


def _proof(case: Case) -> Iterator[Breach]:
    proof, total = case.plan.proof, case.plan.cost_parts.total
    if _differ(proof.cost, total):
        text = say("audit.cost_sum_parts", total=total, cost=proof.cost)
        yield Breach("costs", None, None, None, text, proof.cost - total)
    gap = proof.cost - proof.bound
    if gap < -MONEY_TOLERANCE:
        text = say("audit.bound_above_cost", bound=proof.bound, cost=proof.cost)
        yield Breach("costs", None, None, None, text, -gap)
    allowed = {"optimal": 0.0, "within": WITHIN_SHARE * max(0.0, proof.bound)}.get(proof.status)
    if allowed is not None and gap > allowed + MONEY_TOLERANCE + 1e-9:
        text = say("audit.called_but_cost", status=proof.status, gap=gap)
        yield Breach("costs", None, None, None, text, gap)


def _late(case: Case) -> Iterator[Breach]:
    expected = late_minutes(case)
    told = Counter(late.load for late in case.plan.late)
    for load_id in sorted(set(expected) - set(told)):
        hours = expected[load_id] / 60.0
        out = case.fired_with[load_id].firing
        text = say("audit.load_h_late", hours=hours)
        yield Breach("costs", out.id, load_id, out.out_at, text, hours)
    for late in case.plan.late:
        fired = case.fired_with.get(late.load)
        if late.load not in expected or fired is None:
            yield Breach("costs", None, late.load, late.out_at, say("audit.load_listed_late"))
            continue
        if told[late.load] > 1:
            yield Breach("costs", fired.firing.id, late.load, late.out_at, say("audit.load_listed_late_twice"))
        hours = expected[late.load] / 60.0
        if (
            late.promised != case.loads[late.load].promised
            or late.out_at != fired.firing.out_at
            or abs(late.hours - hours) > HOURS_TOLERANCE
        ):
            text = say("audit.load_out_h", hours=hours, out_at=case.when(fired.firing.out_at))
            yield Breach("costs", fired.firing.id, late.load, late.out_at, text, late.hours - hours)


def _differ(told: float, computed: float) -> bool:
    return abs(told - computed) > MONEY_TOLERANCE + 1e-9
