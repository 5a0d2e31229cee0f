"""The audit: proves a plan, or tells what it breaks. Shares no code with the planner."""

from __future__ import annotations

from scheduler.audit.breach import Breach, BrokenPlanError, explain
from scheduler.audit.door import RULES, AuditedPlan, breaches, prove, prove_holds
from scheduler.audit.holds import holds_kept
from scheduler.audit.power import PeakLoad

__all__ = [
    "RULES",
    "AuditedPlan",
    "Breach",
    "BrokenPlanError",
    "PeakLoad",
    "breaches",
    "explain",
    "holds_kept",
    "prove",
    "prove_holds",
]
