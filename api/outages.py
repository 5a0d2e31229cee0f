"""What is out of use now, and why, in the reader's words.

A reason that somebody wrote is shown as it stands; those that a re-plan gives of itself are in the catalogue.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

from api.formats import Formats
from api.words import Words
from scheduler.planning.events import FAILED, NO_POWER
from shared.clock import Minute
from shared.kilns import Kiln
from shared.plans import Firing
from shared.studio import Outage, Studio

GIVEN_BY_A_REPLAN = {FAILED: "plan.failed", NO_POWER: "plan.no_power"}
"""The reasons that a re-plan sets, and the sentence of each."""


def outage_reason(reason: str | None, words: Words) -> str | None:
    """The reason as a page shows it; None if none was given."""
    key = GIVEN_BY_A_REPLAN.get(reason or "")
    return words(key) if key else reason


def touches(outage: Outage, kiln: Kiln, studio: Studio, firings: Iterable[Firing], begin: Minute, end: Minute) -> bool:
    """Whether a kiln is out of use at some moment of ``[begin, end)`` by an outage of itself or of what feeds it.

    A kiln that broke with a firing in it is out of use for the plan only once that is out, since until then it is
    occupied. For people it is broken as long as that firing lies in it.
    """
    if outage.kiln != kiln.id and outage.circuit not in {circuit.id for circuit in studio.feeders(kiln.circuit)}:
        return False
    if outage.ends is not None and outage.ends <= begin:
        return False
    if outage.begins < end:
        return True
    return any(firing.load_at < end for firing in inside_as_it_broke(outage, firings))


def inside_as_it_broke(outage: Outage, firings: Iterable[Firing]) -> list[Firing]:
    """The firings that lay in a kiln when it broke: by the plan the outage begins only once they are out."""
    if outage.reason != FAILED:
        return []
    return [f for f in firings if f.kiln == outage.kiln and f.load_at < outage.begins <= f.free_at]


def out_now(kiln: Kiln, studio: Studio, firings: Collection[Firing], now: Minute) -> Outage | None:
    """The outage by which a kiln is out of use now; of several the one that lasts longest."""
    found = [one for one in studio.outages if touches(one, kiln, studio, firings, now, now + 1)]
    return max(found, key=lambda one: (one.ends is None, one.ends or 0), default=None)


def out_text(outage: Outage, formats: Formats) -> str:
    """Until when something is out of use, and why."""
    words = formats.words
    why = outage_reason(outage.reason, words)
    reason = words("plan.reason", reason=why) if why else ""
    if outage.ends is None:
        return words("state.out_open", reason=reason)
    return words("state.out_until", end=formats.clock(outage.ends), reason=reason)
