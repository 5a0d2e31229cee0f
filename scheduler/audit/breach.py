"""A breach: one rule that a plan breaks, with who, when and by how much."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from shared.clock import WEEKDAYS, Minute, local_time
from shared.errors import AuditError
from shared.studio import Studio

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
        many = "1 breach" if len(self.breaches) == 1 else f"{len(self.breaches)} breaches"
        lines = [f"the plan is refused: {many} of the rules"]
        lines += [f"  {explain(breach, studio)}" for breach in self.breaches[:SHOWN_BREACHES]]
        if len(self.breaches) > SHOWN_BREACHES:
            lines.append(f"  and {len(self.breaches) - SHOWN_BREACHES} more")
        super().__init__("\n".join(lines))


def explain(breach: Breach, studio: Studio) -> str:
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
        For example ``hands: firing F3, Mon 2026-11-30 09:00: 3 tasks at once, but 2 hands``.
    """
    about = []
    if breach.firing_id is not None:
        about.append(f"firing {breach.firing_id}")
    if breach.load_id is not None:
        about.append(f"load {breach.load_id}")
    if breach.at is not None:
        about.append(when(breach.at, studio.place.zone))
    return f"{breach.rule}: {', '.join(about)}: {breach.text}" if about else f"{breach.rule}: {breach.text}"


def when(minute: Minute, zone: ZoneInfo) -> str:
    """The wall-clock time of a minute as people read it; a minute that no calendar holds is shown as a number.

    >>> when(29_411_100, ZoneInfo("Europe/Lisbon"))
    'Tue 2025-12-02 09:00'
    """
    if not EARLIEST_MINUTE <= minute <= LATEST_MINUTE:
        return f"minute {minute}"
    local = local_time(minute, zone)
    return f"{WEEKDAYS[local.weekday()].capitalize()} {local:%Y-%m-%d %H:%M}"
