"""What is known of a kiln now: by what was noted, else by the plan, and then it says so.

A kiln is never called cold, and never colder than plan, notes and readings leave possible: what nobody has noted may
have gone otherwise, and a hand in a kiln that is hot is worse than a look too many. A firing of which nobody has noted
anything is not said to be under way once it should have ended: it is asked whether it ran, and until that is noted the
kiln counts as hot as it is if it did.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.day import Day, FiringOnDay
from api.expected import Expected, expected_of_kiln
from api.formats import Formats
from api.outages import out_now, out_text
from api.pages.day_steps import KilnNow, is_under_way
from api.storage.tables import FiringRecord
from shared.clock import Minute, minute_of
from shared.studio import Outage, Studio

WARMEST_LAST = ("waits", "safe", "cool", "heat", "hot")
"""States of a firing that may be one or the other, the one that asks for most care last."""

TONES = {"heat": "hot", "hot": "hot", "cool": "cools", "safe": "cools", "opened": "cools"}


@dataclass(frozen=True, slots=True)
class KilnState:
    """A kiln's state in words, and in few; ``tone`` is ``hot``, ``cools`` or empty.

    Attributes
    ----------
    outage, out
        The outage by which it is out of use now, and until when that is, in words; None and empty where there is none.
    """

    text: str
    brief: str
    tone: str
    outage: Outage | None
    out: str


@dataclass(frozen=True, slots=True)
class Known:
    """What is known beside the plan: the studio as it is now, and when each kiln was last opened by any plan [min]."""

    studio: Studio
    opened: Mapping[str, Minute]


def known(session: Session, studio: Studio) -> Known:
    """What is known now."""
    opened = select(FiringRecord.kiln, func.max(FiringRecord.opened_at)).where(FiringRecord.opened_at.is_not(None))
    rows = session.execute(opened.group_by(FiringRecord.kiln))
    return Known(studio, {kiln: minute_of(at) for kiln, at in rows if at is not None})


def kiln_state(
    day: Day,
    kiln: KilnNow,
    formats: Formats,
    kept: Mapping[str, FiringRecord],
    now: Minute,
    beside: Known,
    asks: bool = True,
) -> KilnState:
    """The state of one kiln, whoever's loads are in it; ``asks`` is for those who may note what became of a firing."""
    # What somebody noted is in the kiln goes before what should be in it by now.
    in_it = [one for one in kiln.firings if is_under_way(kept.get(one[0].firing.id))] or [
        one for one in kiln.firings if one[1].load_at <= now < max(one[1].free_at, one[1].out_at)
    ]
    if in_it:
        text, brief, tone = _occupied(*in_it[0], kept.get(in_it[0][0].firing.id), now, formats, asks)
    else:
        text, brief, tone = *_empty(day, kiln, formats, kept, now, beside, asks), ""
    outage = out_now(kiln.kiln_day.kiln, beside.studio, day.plan.firings, now)
    return KilnState(text, brief, tone, outage, "" if outage is None else out_text(outage, formats))


def state_of(shown: FiringOnDay, expected: Expected, kept: FiringRecord | None, now: Minute) -> str:
    """What a firing that is in its kiln is doing: by what was noted, else by the plan."""
    firing = shown.firing
    if kept is not None and kept.state == "opened":
        return "opened"
    if kept is not None and kept.started_at is None and kept.loaded_at is not None and now >= firing.start_at:
        # Nobody has noted its start. On its timer it has started in time; by hand, perhaps once it was loaded.
        late = max(0, minute_of(kept.loaded_at) - firing.start_at)
        return max((_by_plan(shown, now), _by_plan(shown, now - late)), key=WARMEST_LAST.index)
    if now < expected.start_at and (kept is None or kept.started_at is None):
        loading = kept is None and now < expected.load_at + shown.loaded_at - firing.load_at
        return "loading" if loading else "waits"
    return _heated(shown, expected, now)


def _by_plan(shown: FiringOnDay, now: Minute) -> str:
    firing = shown.firing
    if now < firing.start_at:
        return "waits"
    if now < firing.hot_until:
        return "hot" if now >= firing.target_at else "heat"
    return "cool" if shown.hot or now < firing.safe_at else "safe"


def _heated(shown: FiringOnDay, expected: Expected, now: Minute) -> str:
    firing = shown.firing
    if now < expected.hot_until:
        peak_at = firing.target_at + expected.hot_until - firing.hot_until
        return "hot" if now >= peak_at else "heat"
    # What is unloaded hot leaves a kiln that is empty, and hot for hours.
    return "cool" if shown.hot or now < expected.safe_at else "safe"


def _occupied(
    shown: FiringOnDay, expected: Expected, kept: FiringRecord | None, now: Minute, formats: Formats, asks: bool
) -> tuple[str, str, str]:
    """What is said of a kiln with a firing in it, in few words too, and its tone."""
    if is_over_unnoted(expected, kept, now):
        return _perhaps(shown, expected, now, formats, asks)
    words = formats.words
    state = state_of(shown, expected, kept, now)
    tone = TONES.get(state, "")
    if state == "opened" and kept is not None and kept.opened_at is not None:
        at = formats.clock(minute_of(kept.opened_at), formats.local(now).date())
        return words("state.opened", at=at), words("state.opened_brief"), tone
    warm = warm_until(shown, expected)
    text, brief = _words_of(state, formats)
    if state == "safe" and warm > now:
        text = words("state.perhaps_safe", until=formats.clock(warm, formats.local(now).date()))
    if kept is None:
        return words("state.unnoted", state=text), words("state.unnoted_brief", state=brief), tone
    if kept.started_at is None and state == "safe":
        # Whenever it was started: it may be heating at this moment.
        return words("state.start_unknown"), words("state.look_brief"), tone
    if kept.started_at is None and state not in ("loading", "waits"):
        return words("state.unnoted_start", state=text), words("state.unnoted_brief", state=brief), tone
    return text, brief, tone


def is_over_unnoted(expected: Expected, kept: FiringRecord | None, now: Minute) -> bool:
    """Whether a firing has ended, as it is expected, and nobody has noted anything of it: it may never have begun."""
    return kept is None and now >= expected.hot_until


def _perhaps(shown: FiringOnDay, expected: Expected, now: Minute, formats: Formats, asks: bool) -> tuple[str, str, str]:
    """The same of a kiln in which a firing should have ended that nobody noted: as hot as it can be, if it ran."""
    words, today = formats.words, formats.local(now).date()
    warm = warm_until(shown, expected)
    if shown.hot or now < expected.safe_at:
        text = words("state.over_cool")
    elif now < warm:
        text = words("state.over_perhaps", until=formats.clock(warm, today))
    else:
        text = words("state.over_safe", at=formats.clock(warm, today))
    return f"{_question(formats, asks)} {text}", words("state.over_brief" if asks else "state.look_brief"), "cools"


def _question(formats: Formats, asks: bool) -> str:
    return formats.words("state.ask" if asks else "state.unsure")


def _words_of(state: str, formats: Formats) -> tuple[str, str]:
    words = formats.words
    return {
        "loading": (words("state.loading"), words("state.loading")),
        "waits": (words("state.waits"), words("state.waits_brief")),
        "heat": (words("state.heat"), words("state.heat")),
        "hot": (words("state.hot"), words("state.hot_brief")),
        "cool": (words("state.cool"), words("state.cool_brief")),
        "safe": (words("state.safe"), words("state.safe_brief")),
    }[state]


def _empty(
    day: Day,
    kiln: KilnNow,
    formats: Formats,
    kept: Mapping[str, FiringRecord],
    now: Minute,
    beside: Known,
    asks: bool,
) -> tuple[str, str]:
    """What is said of a kiln in which nothing should be: that it was opened if somebody noted it, else to look."""
    words, name, today = formats.words, kiln.kiln_day.kiln.id, formats.local(now).date()
    by_firing = expected_of_kiln(day, kiln.kiln_day.kiln, kept, now)
    before = next((f for f in reversed(day.audited.firings_of(name)) if by_firing[f.id].load_at <= now), None)
    record = None if before is None else kept.get(before.id)
    opened = beside.opened.get(name) if before is None else None
    if record is not None and record.opened_at is not None:
        opened = minute_of(record.opened_at)
    if opened is not None:
        return words("state.idle", at=formats.clock(opened, today)), words("state.idle_brief")
    if before is None:
        return words("state.look"), words("state.look_brief")
    expected = by_firing[before.id]
    at, warm = formats.clock(expected.unload_at, today), warm_until(day.shown(before), expected)
    text = words("state.over_opened", at=at)
    if warm > now:
        text = words("state.over_warm", at=at, until=formats.clock(warm, today))
    return f"{_question(formats, asks)} {text}", words("state.over_brief" if asks else "state.look_brief")


def warm_until(shown: FiringOnDay, expected: Expected) -> Minute:
    """Until when it may still be too warm to open, in one firing of ten."""
    band = None if shown.hot else shown.firing.safe_between
    return expected.safe_at if band is None else band[1] + expected.safe_at - shown.firing.safe_at
