"""What the audit says of a plan file, in words."""

from __future__ import annotations

from collections.abc import Sequence

from api.words import Words
from scheduler.audit import RULES, Breach, explain
from shared.plans import Plan
from shared.studio import Studio


def audit_text(found: Sequence[Breach], plan: Plan, studio: Studio, words: Words) -> str:
    """Every breach on a line of its own; or that there is none."""
    if not found:
        firings = words.count("firing.firings", len(plan.firings))
        return words("audit.proved", firings=firings, rules=len(RULES)) + "\n"
    lines = [words.count("audit.refused", len(found))]
    lines += [f"  {words.say(explain(breach, studio))}" for breach in found]
    return "\n".join(lines) + "\n"
