"""What the day's page says of each kiln: its state, its next step, and what was noted so far."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from api.day import Day, FiringOnDay, KilnDay, Task
from api.formats import Formats
from api.people import names_text
from api.printing.plan_text import next_text, outage_texts
from api.storage.tables import FiringRecord
from shared.clock import Minute, minute_of

STEP_ORDER = ("clean", "load", "start", "look", "open")
SOON_MINUTES = 60
"""How long before its planned time the button of a step stands out [min]; our own choice: earlier than that it would
only hide the buttons that are due."""

NOTED_BY = {"load": "loaded", "start": "started", "open": "opened"}
"""What is noted in the record when a step is done; that somebody looked is not."""


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a firing on its card, over at ``ends``.

    ``tap`` is what a button would note, empty where there is none; ``due`` says that the button's time has come.
    """

    ends: Minute
    clock: str
    text: str
    remark: str
    done: str
    tap: str
    tap_text: str
    due: bool


@dataclass(frozen=True, slots=True)
class FiringCard:
    """One firing on its kiln's card."""

    id: str
    profile: str
    loads: str
    version: int
    steps: tuple[Step, ...]
    note: str
    held: bool


@dataclass(frozen=True, slots=True)
class KilnCard:
    """One kiln's card. ``tone`` is ``hot``, ``cools`` or empty; the state is always said in words too.

    ``coming`` is what is to be done at it next, for the short list above the cards.
    """

    id: str
    name: str
    state: str
    tone: str
    firings: tuple[FiringCard, ...]
    outages: tuple[str, ...]
    next: str
    coming: str


def kiln_cards(
    day: Day,
    formats: Formats,
    kept: Mapping[str, FiringRecord],
    now: Minute,
    only: Collection[str] | None = None,
    taps: bool = False,
    held: Collection[str] = (),
) -> tuple[KilnCard, ...]:
    """The cards of all kilns.

    ``only`` firings with one of these loads are shown, ``taps`` gives buttons to note what is done, and the firings
    ``held`` carry a mark.
    """
    cards = []
    for kiln_day in day.kilns:
        shown = [one for one in kiln_day.firings if only is None or set(one.firing.loads) & set(only)]
        if only is not None and not shown:
            continue
        cards.append(_card(day, kiln_day, shown, formats, kept, now, taps, held))
    return tuple(cards)


def state_of(firing_shown: FiringOnDay | None, kept: FiringRecord | None, now: Minute) -> str:
    """What a kiln is doing: by what was noted, else by the plan."""
    if firing_shown is None:
        return "idle"
    firing = firing_shown.firing
    if kept is not None and kept.state == "opened":
        return "idle" if now >= firing.free_at else "cool"
    if kept is not None and kept.state == "loaded" and now >= firing.start_at:
        return "waits"
    off = kept.expected_hot_until if kept is not None and kept.expected_hot_until is not None else firing.hot_until
    safe = kept.expected_safe_at if kept is not None and kept.expected_safe_at is not None else firing.safe_at
    if now < firing.load_at:
        return "idle"
    if now < firing.start_at and (kept is None or kept.started_at is None):
        return "loading" if now < firing_shown.loaded_at else "waits"
    if now < off:
        return "hot" if now >= firing.target_at else "heat"
    return "cool" if now < safe else "safe"


def _card(
    day: Day,
    kiln_day: KilnDay,
    shown: list[FiringOnDay],
    formats: Formats,
    kept: Mapping[str, FiringRecord],
    now: Minute,
    taps: bool,
    held: Collection[str],
) -> KilnCard:
    words = formats.words
    states = {
        "idle": words("state.idle"),
        "loading": words("state.loading"),
        "waits": words("state.waits"),
        "heat": words("state.heat"),
        "hot": words("state.hot"),
        "cool": words("state.cool"),
        "safe": words("state.safe"),
    }
    under_way = [one for one in shown if one.firing.load_at <= now < max(one.firing.free_at, one.firing.out_at)] or [
        one for one in shown if _open(kept.get(one.firing.id))
    ]
    current = under_way[0] if under_way else None
    state = state_of(current, kept.get(current.firing.id) if current else None, now)
    out = any(o.begins <= now and (o.ends is None or now < o.ends) for o in kiln_day.outages)
    waiting = [one for one in shown if _state(kept.get(one.firing.id)) != "opened"]
    firing_cards = [
        firing_card(
            day,
            one,
            formats,
            kept.get(one.firing.id),
            now if taps and one in waiting[:1] else None,
            one.firing.id in held,
        )
        for one in shown
    ]
    return KilnCard(
        id=kiln_day.kiln.id,
        name=kiln_day.kiln.name or "",
        state=_state_text(current, kept, states[state], out and state == "idle", formats),
        tone={"heat": "hot", "hot": "hot", "cool": "cools", "safe": "cools"}.get(state, ""),
        firings=tuple(firing_cards),
        outages=tuple(outage_texts(day, kiln_day, formats)),
        next=next_text(day, kiln_day, formats),
        coming=_coming([step for card in firing_cards for step in card.steps], max(now, day.begin)),
    )


def _coming(steps: list[Step], now: Minute) -> str:
    """The step that waits to be noted, else the first that is still to come."""
    open_steps = [step for step in steps if step.tap] or [s for s in steps if not s.done and s.ends >= now]
    return f"{open_steps[0].clock} {open_steps[0].text}" if open_steps else ""


def _state_text(
    current: FiringOnDay | None, kept: Mapping[str, FiringRecord], planned: str, out: bool, formats: Formats
) -> str:
    """The state in words; what is only planned, since nobody has noted anything, says so."""
    if out:
        return formats.words("state.out")
    if current is not None and current.firing.id not in kept:
        return formats.words("state.unnoted", state=planned)
    return planned


def may_open(shown: FiringOnDay, kept: FiringRecord | None, now: Minute) -> bool:
    """Whether a firing may be opened by now, by what was read of it or else by the plan.

    A button that invites to open a kiln earlier would be a danger; the firing's own page takes the note at any time.
    """
    expected = kept.expected_safe_at if kept is not None else None
    return now >= (shown.firing.safe_at if expected is None or shown.hot else expected)


def overdue(day: Day, kept: Mapping[str, FiringRecord], now: Minute) -> tuple[Task, ...]:
    """Loadings, starts and openings of the day that should be done by now, and that nobody has noted."""
    found = []
    for task in day.tasks:
        row = kept.get(task.firing.firing.id)
        noted = {} if row is None else {"load": row.loaded_at, "start": row.started_at, "open": row.opened_at}
        kind = "open" if task.kind == "session" else task.kind
        # A start or an opening is not asked about before what comes first is noted.
        asked = kind == "load" or (kind == "start" and row is not None) or (kind == "open" and noted.get("start"))
        if kind in NOTED_BY and asked and noted.get(kind) is None and task.until < now:
            found.append(task)
    return tuple(found)


def _state(kept: FiringRecord | None) -> str:
    return "planned" if kept is None else kept.state


def _open(kept: FiringRecord | None) -> bool:
    return _state(kept) in ("loaded", "started")


def firing_card(
    day: Day, shown: FiringOnDay, formats: Formats, kept: FiringRecord | None, taps_at: Minute | None, held: bool
) -> FiringCard:
    """One firing's steps, with a button on the first that is not noted where ``taps_at`` [min] says what time it is."""
    words, firing = formats.words, shown.firing
    alone = any(span.begin <= firing.start_at < span.end for span in shown.heats_alone)
    limit = formats.temperature(shown.open_below_c, shown.unit)
    texts = {
        "clean": words("step.clean"),
        "load": words("step.load"),
        "start": words("step.start"),
        "look": words("step.look" if shown.seen_off_by else "step.look_unseen"),
        # The limit belongs to the step, not to its remark: it keeps hands and ware whole.
        "open": words("step.session") if shown.hot else words("step.open", temperature=limit),
    }
    taps_text = {
        "load": words("step.tap_load", kiln=shown.kiln.id),
        "start": words("step.tap_start", kiln=shown.kiln.id),
        "open": words("step.tap_open", kiln=shown.kiln.id),
    }
    # Noted before, expected after: what a person reads is what is known best.
    planned = {"load": firing.load_at, "start": firing.start_at, "look": firing.hot_until, "open": firing.unload_at}
    planned["clean"] = firing.clean_out_at
    until = {
        "clean": firing.load_at,
        "load": shown.loaded_at,
        "start": firing.start_at,
        "look": firing.hot_until,
        "open": firing.out_at,
    }
    remarks = {
        "clean": names_text(shown.cleaned_by, formats),
        "load": names_text(shown.loaded_by, formats),
        "start": words("sheet.on_timer") if alone else words("sheet.by_hand"),
        "look": names_text(shown.seen_off_by, formats),
        "open": names_text(shown.unloaded_by, formats),
    }
    expected = kept.expected_hot_until if kept is not None else None
    if expected is not None and expected != firing.hot_until:
        remarks["look"] += ", " + words("step.expected", at=formats.clock(expected, day.date))
    noted: dict[str, datetime | None] = {"load": None, "start": None, "open": None}
    if kept is not None:
        noted = {"load": kept.loaded_at, "start": kept.started_at, "open": kept.opened_at}
    steps = []
    offered = False
    for kind in STEP_ORDER:
        if (kind == "look" and shown.hot) or (kind == "clean" and not firing.clean_out_minutes):
            continue
        done = noted.get(kind)
        tap = ""
        if taps_at is not None and not offered and kind in NOTED_BY and done is None:
            offered = True
            tap = NOTED_BY[kind] if kind != "open" or may_open(shown, kept, taps_at) else ""
        clock = (
            formats.clock(planned[kind], day.date)
            if until[kind] <= planned[kind]
            else formats.stretch(planned[kind], until[kind], day.date)
        )
        done_text = "" if done is None else words("step.done", at=formats.clock(minute_of(done), day.date))
        due = taps_at is not None and planned[kind] - taps_at <= SOON_MINUTES
        said = taps_text.get(kind, "") if tap else ""
        # A kiln that runs late is still to be seen off, though its planned time is over.
        ends = max(until[kind], expected or 0) if kind == "look" else until[kind]
        steps.append(Step(ends, clock, texts[kind], remarks[kind], done_text, tap, said, due))
    return FiringCard(
        id=firing.id,
        profile=shown.profile.title,
        loads=", ".join(f"{load.id} {load.owner}".strip() for load in shown.loads),
        version=0 if kept is None else kept.version,
        steps=tuple(steps),
        note="" if kept is None else kept.note or "",
        held=held,
    )
