"""What the day's page says of each kiln: its state, its next step, and what was noted so far."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from api.day import Day, FiringOnDay
from api.expected import Expected
from api.formats import Formats
from api.pages.day_states import Known, kiln_state
from api.pages.day_steps import FiringCard, KilnNow, Step, firing_card
from api.printing.plan_text import next_text, outage_texts
from api.storage.tables import FiringRecord
from shared.clock import Minute


@dataclass(frozen=True, slots=True)
class KilnCard:
    """One kiln's card. ``tone`` is ``hot``, ``cools`` or empty; the state is always said in words too.

    ``brief`` says the state, and ``coming`` what is to be done at it next, in the short list above the cards; ``out``
    says until when it is out of use, and is empty where it is not.
    """

    id: str
    name: str
    state: str
    brief: str
    tone: str
    out: str
    firings: tuple[FiringCard, ...]
    outages: tuple[str, ...]
    next: str
    coming: str


def kiln_cards(
    day: Day,
    kilns: Sequence[KilnNow],
    formats: Formats,
    kept: Mapping[str, FiringRecord],
    now: Minute,
    beside: Known,
    only: Collection[str] | None = None,
    taps: bool = False,
    held: Collection[str] = (),
) -> tuple[KilnCard, ...]:
    """The cards of all kilns.

    Where ``only`` some loads are the reader's, the firings with one of these are shown, and no other load is named.
    ``taps`` gives buttons to note what is done, and the firings ``held`` carry a mark.
    """
    cards = []
    for kiln in kilns:
        shown = [one for one in kiln.firings if only is None or set(one[0].firing.loads) & set(only)]
        if only is not None and not shown:
            continue
        cards.append(_card(day, kiln, shown, formats, kept, now, beside, only, taps, held))
    return tuple(cards)


def _card(
    day: Day,
    kiln: KilnNow,
    shown: list[tuple[FiringOnDay, Expected]],
    formats: Formats,
    kept: Mapping[str, FiringRecord],
    now: Minute,
    beside: Known,
    only: Collection[str] | None,
    taps: bool,
    held: Collection[str],
) -> KilnCard:
    today = day.begin <= now < day.end
    state = kiln_state(day, kiln, formats, kept, now, beside, asks=only is None)
    waiting = [one[0].firing.id for one in shown if _state(kept.get(one[0].firing.id)) != "opened"]
    firing_cards = [
        firing_card(
            day,
            one,
            its,
            formats,
            kept.get(one.firing.id),
            now if taps and one.firing.id in waiting[:1] else None,
            one.firing.id in held,
            only,
        )
        for one, its in shown
    ]
    # What holds now is said above all; the day's other outages follow.
    others = replace(kiln.kiln_day, outages=tuple(o for o in kiln.kiln_day.outages if o != state.outage))
    return KilnCard(
        id=kiln.kiln_day.kiln.id,
        name=kiln.kiln_day.kiln.name or "",
        state=state.text,
        brief=state.brief,
        tone=state.tone,
        out=state.out,
        firings=tuple(firing_cards),
        outages=tuple(outage_texts(day, others if today else kiln.kiln_day, formats)),
        next=next_text(day, kiln.kiln_day, formats),
        coming=_coming([step for card in firing_cards for step in card.steps], max(now, day.begin)),
    )


def _coming(steps: list[Step], now: Minute) -> str:
    """The step that waits to be noted, else the first that is still to come."""
    open_steps = [step for step in steps if step.tap] or [s for s in steps if not s.done and s.ends >= now]
    return open_steps[0].brief if open_steps else ""


def _state(kept: FiringRecord | None) -> str:
    return "planned" if kept is None else kept.state
