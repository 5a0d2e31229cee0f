"""Firings that people fix: no planning moves them until they are let go or have become impossible."""

from __future__ import annotations

from sqlalchemy.orm import Session

from api.firings import current_plan_id, planned, records_of_plan
from api.problems import ProblemError
from api.security import Identity
from api.service import Service
from api.storage import hold_store
from api.storage.studio_store import bump
from api.words import tell
from scheduler.planning.holds import with_holds
from shared.plans import Plan
from shared.texts import packed


def hold(service: Service, who: Identity, firing_id: str) -> None:
    """Fix a firing of the plan that holds, so that no planning moves it.

    Raises
    ------
    ProblemError
        If there is no such firing, or it has begun.
    """
    with service.store.write() as session:
        audited, firing = planned(service, session, firing_id)
        if firing.load_at <= service.minute() or firing_id in records_of_plan(session, current_plan_id(session)):
            raise ProblemError(409, tell("refused.under_way_stays"), name="under-way")
        if firing_id not in hold_store.held_firings(session, audited.plan):
            hold_store.hold(session, firing, who.author(service.now()))
            bump(session, "live")


def let_go(service: Service, who: Identity, firing_id: str) -> None:
    """Let a firing go, so that the next plan may move it."""
    with service.store.write() as session:
        audited, _ = planned(service, session, firing_id)
        found = hold_store.held_firings(session, audited.plan).get(firing_id)
        if found is not None:
            hold_store.let_go(session, found, who.author(service.now()), packed(tell("notice.let_go_by_hand")))
            bump(session, "live")


def held_plan(session: Session, plan: Plan) -> Plan:
    """A plan in which just those firings are marked that people hold now."""
    return with_holds(plan, frozenset(hold_store.held_firings(session, plan)))
