"""The one way into the audit: what a plan breaks, or the proof that it breaks nothing."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import InitVar, dataclass

from scheduler.audit.breach import Breach, BrokenPlanError
from scheduler.audit.case import Case
from scheduler.audit.costs import costs
from scheduler.audit.form import each_load_once, on_grid, well_formed, within_plan
from scheduler.audit.heat import max_temperature, size_row, vent
from scheduler.audit.holds import holds_kept
from scheduler.audit.kiln import capacity, clean_out, kiln_one_at_a_time
from scheduler.audit.order import after_gap, load_order, ready, session_at
from scheduler.audit.people import attendance, hands, skills
from scheduler.audit.power import PeakLoad, circuit_amps, outages, peak_loads, quiet
from scheduler.audit.times import computed_times
from scheduler.audit.who import profile_shared, shares_firing, work_fits_kiln
from scheduler.firing.course import Course
from shared.kilns import Leg
from shared.loads import Load
from shared.plans import Firing, Plan
from shared.studio import Studio

Rule = Callable[[Case], Iterator[Breach]]

RULES: tuple[Rule, ...] = (
    well_formed,
    each_load_once,
    work_fits_kiln,
    profile_shared,
    size_row,
    max_temperature,
    shares_firing,
    capacity,
    kiln_one_at_a_time,
    clean_out,
    circuit_amps,
    hands,
    skills,
    ready,
    after_gap,
    session_at,
    outages,
    quiet,
    attendance,
    vent,
    load_order,
    on_grid,
    within_plan,
    computed_times,
    costs,
)
"""Every rule that a plan keeps, in the order in which people read them."""

_SEAL = object()


@dataclass(frozen=True, slots=True)
class AuditedPlan:
    """A plan that keeps every rule. Only `prove` makes one, and only this may be shown, stored or published.

    Attributes
    ----------
    plan, studio, loads
        The plan, the studio that it is for, and the loads that wait, by id.
    courses
        The computed course of each firing, by the firing's id.
    peaks
        The highest load of each leg of each circuit, by circuit id and leg.
    """

    plan: Plan
    studio: Studio
    loads: Mapping[str, Load]
    courses: Mapping[str, Course]
    peaks: Mapping[tuple[str, Leg], PeakLoad]
    seal: InitVar[object]

    def __post_init__(self, seal: object) -> None:
        """Refuse to be made by anything but `prove`."""
        if seal is not _SEAL:
            raise TypeError("an AuditedPlan is made by scheduler.audit.prove, which audits the plan")

    def firings_of(self, kiln_id: str) -> tuple[Firing, ...]:
        """The firings of a kiln, in the order of loading."""
        found = [firing for firing in self.plan.firings if firing.kiln == kiln_id]
        return tuple(sorted(found, key=lambda firing: firing.load_at))


def breaches(
    studio: Studio,
    loads: Sequence[Load],
    plan: Plan,
    under_way: frozenset[str] = frozenset(),
    replanned: bool = False,
) -> list[Breach]:
    """Everything that a plan breaks, rule by rule; empty for a plan that keeps them all.

    Parameters
    ----------
    studio
        The studio.
    loads
        The loads that wait, those under way included.
    plan
        The plan, made by anything.
    under_way
        Ids of firings that have begun before the plan, beside those that the plan itself names: what lies before the
        plan's begin is not judged of them.
    replanned
        Whether the plan replaces another, if it does not say so itself; else it counts no price for changes.

    Returns
    -------
    list[Breach]
        The breaches, in the order of `RULES`.
    """
    return _found(_case(studio, loads, plan, under_way, replanned))


def prove(
    studio: Studio,
    loads: Sequence[Load],
    plan: Plan,
    under_way: frozenset[str] = frozenset(),
    replanned: bool = False,
) -> AuditedPlan:
    """The plan with its proof; see `breaches` for the parameters.

    Raises
    ------
    BrokenPlanError
        If the plan breaks any rule; its ``breaches`` tell which.
    """
    case = _case(studio, loads, plan, under_way, replanned)
    found = _found(case)
    if not found and len(case.courses) != len(plan.firings):  # no rule may stay silent about a firing it cannot judge
        found = [Breach("computed_times", None, None, None, "a firing's course cannot be computed")]
    if found:
        raise BrokenPlanError(found, studio)
    courses = {fired.firing.id: case.courses[fired.number] for fired in case.fired}
    return AuditedPlan(
        plan=plan,
        studio=studio,
        loads=case.loads,
        courses=courses,
        peaks=peak_loads(case),
        seal=_SEAL,
    )


def prove_holds(audited: AuditedPlan, held: Sequence[Firing]) -> AuditedPlan:
    """The plan, which keeps every firing that people hold, or says why not.

    Raises
    ------
    BrokenPlanError
        If it moves one and does not say so.
    """
    broken = list(holds_kept(audited.studio, audited.plan, held))
    if broken:
        raise BrokenPlanError(broken, audited.studio)
    return audited


def _case(studio: Studio, loads: Sequence[Load], plan: Plan, under_way: frozenset[str], replanned: bool) -> Case:
    return Case(studio, tuple(loads), plan, under_way | frozenset(plan.under_way), replanned or plan.replanned)


def _found(case: Case) -> list[Breach]:
    return [breach for rule in RULES for breach in rule(case)]
