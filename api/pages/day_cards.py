"""What the day's page says of each kiln: its state, its next step, and what was noted so far."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

from api.day import Day, FiringOnDay
from api.expected import Expected
from api.formats import Formats
from api.pages.day_steps import FiringCard, KilnNow, Step, firing_card, is_under_way
from api.printing.plan_text import next_text, outage_texts
from api.storage.tables import FiringRecord
from shared.clock import Minute


@dataclass(frozen=True, slots=True)
class KilnCard:
    """One kiln's card. ``tone`` is ``hot``, ``cools`` or empty; the state is always said in words too.

    ``brief`` says the state, and ``coming`` what is to be done at it next, in the short list above the cards.
    """

    id: str
    name: str
    state: str
    brief: str
    tone: str
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
        cards.append(_card(day, kiln, shown, formats, kept, now, only, taps, held))
    return tuple(cards)


def state_of(
    firing_shown: FiringOnDay | None, expected: Expected | None, kept: FiringRecord | None, now: Minute
) -> str:
    """What a kiln is doing: by what was noted, else by the plan."""
    if firing_shown is None or expected is None:
        return "idle"
    firing = firing_shown.firing
    if kept is not None and kept.state == "opened":
        return "idle" if now >= expected.free_at else "cool"
    if kept is not None and kept.state == "loaded" and now >= firing.start_at:
        return "waits"
    if kept is None and now < expected.load_at:
        return "idle"
    if now < expected.start_at and (kept is None or kept.started_at is None):
        return "loading" if now < expected.load_at + firing_shown.loaded_at - firing.load_at else "waits"
    if now < expected.hot_until:
        peak_at = firing.target_at + expected.hot_until - firing.hot_until
        return "hot" if now >= peak_at else "heat"
    return "cool" if now < expected.safe_at else "safe"


def _card(
    day: Day,
    kiln: KilnNow,
    shown: list[tuple[FiringOnDay, Expected]],
    formats: Formats,
    kept: Mapping[str, FiringRecord],
    now: Minute,
    only: Collection[str] | None,
    taps: bool,
    held: Collection[str],
) -> KilnCard:
    # What somebody noted is in the kiln goes before what should be in it by now.
    in_it = [one for one in shown if is_under_way(kept.get(one[0].firing.id))] or [
        one for one in shown if one[1].load_at <= now < max(one[1].free_at, one[1].out_at)
    ]
    current, expected = in_it[0] if in_it else (None, None)
    state = state_of(current, expected, kept.get(current.firing.id) if current else None, now)
    out = any(o.begins <= now and (o.ends is None or now < o.ends) for o in kiln.kiln_day.outages)
    unnoted = current is not None and current.firing.id not in kept
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
    long, brief = _state_texts("out" if out and state == "idle" else state, unnoted, formats)
    return KilnCard(
        id=kiln.kiln_day.kiln.id,
        name=kiln.kiln_day.kiln.name or "",
        state=long,
        brief=brief,
        tone={"heat": "hot", "hot": "hot", "cool": "cools", "safe": "cools"}.get(state, ""),
        firings=tuple(firing_cards),
        outages=tuple(outage_texts(day, kiln.kiln_day, formats)),
        next=next_text(day, kiln.kiln_day, formats),
        coming=_coming([step for card in firing_cards for step in card.steps], max(now, day.begin)),
    )


def _coming(steps: list[Step], now: Minute) -> str:
    """The step that waits to be noted, else the first that is still to come."""
    open_steps = [step for step in steps if step.tap] or [s for s in steps if not s.done and s.ends >= now]
    return open_steps[0].brief if open_steps else ""


def _state_texts(state: str, unnoted: bool, formats: Formats) -> tuple[str, str]:
    """The state in words, and in few; what is only planned, since nobody has noted anything, says so."""
    words = formats.words
    long, brief = {
        "idle": (words("state.idle"), words("state.idle_brief")),
        "loading": (words("state.loading"), words("state.loading")),
        "waits": (words("state.waits"), words("state.waits_brief")),
        "heat": (words("state.heat"), words("state.heat")),
        "hot": (words("state.hot"), words("state.hot_brief")),
        "cool": (words("state.cool"), words("state.cool_brief")),
        "safe": (words("state.safe"), words("state.safe_brief")),
        "out": (words("state.out"), words("state.out")),
    }[state]
    if unnoted and state != "out":
        return words("state.unnoted", state=long), words("state.unnoted_brief", state=brief)
    return long, brief


def _state(kept: FiringRecord | None) -> str:
    return "planned" if kept is None else kept.state
