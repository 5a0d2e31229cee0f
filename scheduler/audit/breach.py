"""A breach: one rule that a plan breaks, with who, when and by how much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from shared.clock import Minute, local_time
from shared.errors import AuditError
from shared.studio import Studio
from shared.texts import Text, say

EARLIEST_MINUTE: Minute = 10_519_200
"""Midnight UTC at the start of 1990 [min since 1970]: no plan is older, as in ``shared.clock.read_moment``."""

LATEST_MINUTE: Minute = 121_494_240
"""Midnight UTC at the start of 2201 [min since 1970]: no plan is later, as in ``shared.clock.read_moment``."""

SHOWN_BREACHES = 20
"""How many breaches the message of a refused plan spells out [-]; all of them are in its ``breaches``."""


@dataclass(frozen=True, slots=True)
class Breach:
    """One way in which a plan breaks one rule.

    Attributes
    ----------
    rule
        Name of the rule: the name of its function in ``scheduler.audit``.
    firing_id, load_id
        The firing and the load that it is about; None where it is about no single one.
    at
        The moment it is about [min]; None where it has none.
    text
        What is wrong, in plain words, with the numbers.
    by
        By how much, in the rule's own unit (minutes, amperes, millimetres, kelvin, the currency ...); None where
        there is no amount.
    """

    rule: str
    firing_id: str | None
    load_id: str | None
    at: Minute | None
    text: str
    by: float | None = None


class BrokenPlanError(AuditError):
    """A plan that breaks rules, with every breach found."""

    def __init__(self, breaches: Sequence[Breach], studio: Studio) -> None:
        self.breaches = tuple(breaches)
        many = len(self.breaches)
        lines: list[str] = [say("audit.refused_once") if many == 1 else say("audit.refused", number=many)]
        lines += [f"  {explain(breach, studio)}" for breach in self.breaches[:SHOWN_BREACHES]]
        if len(self.breaches) > SHOWN_BREACHES:
            lines.append(say("audit.and_more", number=many - SHOWN_BREACHES))
        super().__init__("\n".join(lines))


def explain(breach: Breach, studio: Studio) -> Text:
    """One line that tells a breach to a person: rule, firing, load, the studio's local time, what is wrong.

    Parameters
    ----------
    breach
        The breach.
    studio
        The studio, for its time zone.

    Returns
    -------
    str
        For example ``hands: firing F3, Mon 30 Nov 09:00: 3 tasks at once, but 2 hands``.
    """
    about: list[object] = []
    if breach.firing_id is not None:
        about.append(say("audit.firing", firing=breach.firing_id))
    if breach.load_id is not None:
        about.append(say("audit.load", load=breach.load_id))
    if breach.at is not None:
        about.append(when(breach.at, studio.place.zone))
    if not about:
        return say("audit.line_of_plan", rule=breach.rule, text=breach.text)
    return say("audit.line", rule=breach.rule, about=tuple(about), text=breach.text)


def when(minute: Minute, zone: ZoneInfo) -> datetime | Text:
    """The wall-clock time of a minute as people read it; a minute that no calendar holds is shown as a number."""
    if not EARLIEST_MINUTE <= minute <= LATEST_MINUTE:
        return say("audit.minute", minute=minute)
    return local_time(minute, zone)
