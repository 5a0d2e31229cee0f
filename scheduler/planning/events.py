"""What has happened since a plan was made, and what it does to the studio, its loads and the firings under way."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Literal

from shared.calendar import staffed_spans
from shared.clock import Minute
from shared.errors import RequestError
from shared.loads import Load
from shared.plans import Firing, Plan
from shared.studio import Absence, Outage, Studio
from shared.texts import say

Outcome = Literal["refire", "fired", "lost"]
"""What becomes of a firing that was interrupted: its loads are fired anew, count as fired, or are lost."""

FAILED, NO_POWER = "down", "no power"
"""The reasons of outages that a re-plan sets: of a kiln, and of a circuit."""


@dataclass(frozen=True, slots=True)
class KilnDown:
    """A kiln cannot be used from now on; ``until`` None: until further notice."""

    kiln: str
    until: Minute | None = None


@dataclass(frozen=True, slots=True)
class CircuitDown:
    """A circuit, with all that it feeds, has no power from now on."""

    circuit: str
    until: Minute | None = None


@dataclass(frozen=True, slots=True)
class FiringLate:
    """A firing runs behind its plan by so many hours."""

    firing: str
    hours: float


@dataclass(frozen=True, slots=True)
class Away:
    """Nobody is there on a day, or for the shift that begins at ``opens`` [min after midnight]."""

    on: date
    opens: int | None = None


@dataclass(frozen=True, slots=True)
class Events:
    """All that has happened.

    ``outcomes`` says, by firing id, what became of firings that were interrupted, or are over by the plan.
    """

    down: tuple[KilnDown, ...] = ()
    circuits_down: tuple[CircuitDown, ...] = ()
    late: tuple[FiringLate, ...] = ()
    add: tuple[Load, ...] = ()
    cancel: tuple[str, ...] = ()
    absent: tuple[Away, ...] = ()
    outcomes: Mapping[str, Outcome] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Question:
    """A firing interrupted by a failure: what is assumed of it unless somebody says otherwise, and why."""

    firing: str
    default: Outcome
    text: str


@dataclass(frozen=True, slots=True)
class Situation:
    """The studio and its loads as they are now.

    Attributes
    ----------
    studio, loads
        With outages and absences; without loads that are out, cancelled or lost.
    under_way
        Firings that go on, as they will run from now on.
    waiting
        Firings of the old plan whose loading has not begun.
    questions
        Firings that were interrupted.
    fired, lost
        Loads that count as done, with the minute at which they can be had; and those that are lost.
    done
        Firings that are taken to have gone by the plan, since nobody says otherwise.
    """

    studio: Studio
    loads: tuple[Load, ...]
    under_way: tuple[Firing, ...]
    waiting: tuple[Firing, ...]
    questions: tuple[Question, ...]
    fired: Mapping[str, Minute]
    lost: tuple[str, ...]
    done: tuple[str, ...] = ()


def situation(studio: Studio, loads: Sequence[Load], plan: Plan, now: Minute, events: Events) -> Situation:
    """Apply ``events`` at ``now`` to a studio, its loads and its plan.

    Raises
    ------
    RequestError
        If an event names something that is not there.
    """
    check_named(studio, loads, plan, events)
    late = {item.firing: item.hours for item in events.late}
    grid = studio.rules.grid_minutes
    firings = [delayed(firing, late[firing.id], grid) if firing.id in late else firing for firing in plan.firings]
    done = [firing for firing in firings if firing.out_at <= now and events.outcomes.get(firing.id, "fired") == "fired"]
    begun = [firing for firing in firings if firing.load_at <= now and firing not in done]
    waiting = [firing for firing in firings if firing.load_at > now]
    dead = {item.kiln for item in events.down}
    for circuit_event in events.circuits_down:
        dead |= {
            kiln.id
            for kiln in studio.kilns
            if any(feeder.id == circuit_event.circuit for feeder in studio.feeders(kiln.circuit))
        }
    ready: dict[str, Minute] = {load: firing.out_at for firing in done for load in firing.loads}
    under_way: list[Firing] = []
    questions: list[Question] = []
    lost: list[str] = []
    again: dict[str, Minute] = {}
    for firing in begun:
        if firing.out_at <= now:
            outcome = events.outcomes[firing.id]
        elif firing.kiln in dead:
            question = asked(studio, firing, now)
            questions.append(question)
            outcome = events.outcomes.get(firing.id, question.default)
        else:
            outcome = "fired"
        if outcome == "lost":
            lost += firing.loads
        elif outcome == "fired":
            # It cools shut where it is, and is opened as planned.
            under_way.append(firing)
        else:
            # What was hot is out once the kiln may be opened; what was not started, at once.
            at = now if now < firing.start_at else max(now, firing.safe_at)
            again |= dict.fromkeys(firing.loads, at)
    changed = studio.model_copy(
        update={
            "outages": (*studio.outages, *_outages(events, firings, now, under_way)),
            "absences": (
                *studio.absences,
                *(Absence(on=away.on, opens=away.opens, reason="away") for away in events.absent),
            ),
        }
    )
    if studio.clean_outs:
        changed = _with_last_work(changed, [firing for firing in (*done, *begun) if firing not in under_way])
    for firing in tuple(under_way):
        if changed.profile_by_id[firing.profile].unload == "hot" and not _attended(changed, firing, now):
            question = _unattended(changed, firing)
            questions.append(question)
            under_way.remove(firing)
            if events.outcomes.get(firing.id, question.default) == "lost":
                lost += firing.loads
            else:
                again |= dict.fromkeys(firing.loads, max(now, firing.hot_until))
    gone = set(ready) | set(lost) | (set(events.cancel) - {load for f in under_way for load in f.loads})
    inside = {load for firing in under_way for load in firing.loads}
    still = tuple(
        _under_way(_with_stages(load, ready, again)) if load.id in inside else _with_stages(load, ready, again)
        for load in (*loads, *events.add)
        if load.id not in gone
    )
    ids = tuple(firing.id for firing in done)
    return Situation(changed, still, tuple(under_way), tuple(waiting), tuple(questions), ready, tuple(lost), ids)


def _with_last_work(studio: Studio, fired: Sequence[Firing]) -> Studio:
    """The studio whose kilns did last what ``fired`` says, where it says anything."""
    last = {firing.kiln: firing.profile for firing in sorted(fired, key=lambda firing: firing.load_at)}
    kilns = tuple(
        kiln.model_copy(update={"last_work": studio.profile_by_id[last[kiln.id]].work}) if kiln.id in last else kiln
        for kiln in studio.kilns
    )
    return studio.model_copy(update={"kilns": kilns})


def asked(studio: Studio, firing: Firing, now: Minute) -> Question:
    """The question about an interrupted firing, with the cautious answer for its phase and kind of work.

    Common practice, no single source (trade notes on power cuts and kilns down): a load not yet started moves; one past
    its heating is fired; flasks whose burnout has begun are not simply reheated once they have cooled; everything else
    is fired anew from the start, after somebody has looked at it.
    """
    profile = studio.profile_by_id[firing.profile]
    if now < firing.start_at:
        return Question(firing.id, "refire", say("event.was_loaded_not"))
    if now >= firing.hot_until:
        return Question(firing.id, "fired", say("event.was_past_heating"))
    if profile.unload == "hot" and now >= firing.safe_at:
        return Question(firing.id, "refire", say("event.session_had_begun"))
    if "burnout" in profile.work.lower() or "flask" in " ".join(profile.cautions).lower():
        text = say("event.burnout_had_begun")
        return Question(firing.id, "lost", text)
    return Question(firing.id, "refire", say("event.was_heating_look"))


def _attended(studio: Studio, firing: Firing, now: Minute) -> bool:
    """Whether some moment of the hold still finds the people for the session; one that has begun goes on."""
    if firing.unload_at <= now:
        return True
    profile = studio.profile_by_id[firing.profile]
    last = profile.segments(firing.size_row)[-1]
    latest = max(firing.unload_at, firing.target_at + math.floor(last.longest_hold_minutes) - firing.unload_minutes)
    spans = staffed_spans(studio, now, latest + firing.unload_minutes + 1, profile.session_people, profile.skill)
    return any(max(firing.unload_at, span.begin) <= min(latest, span.end - firing.unload_minutes) for span in spans)


def _unattended(studio: Studio, firing: Firing) -> Question:
    if "burnout" in studio.profile_by_id[firing.profile].work.lower():
        return Question(firing.id, "lost", say("event.nobody_left_cast"))
    return Question(firing.id, "refire", say("event.nobody_left_session"))


def delayed(firing: Firing, hours: float, grid: int) -> Firing:
    """A firing as if it had started later: every time after the start moves by whole grid steps."""
    shift = math.ceil(hours * 60.0 / grid - 1e-9) * grid
    times = ("start_at", "target_at", "hot_until", "safe_at", "unload_at", "free_at")
    segments = tuple(
        segment.model_copy(
            update={"reached_at": segment.reached_at + shift, "hold_ends_at": segment.hold_ends_at + shift}
        )
        for segment in firing.segments
    )
    return firing.model_copy(update={name: getattr(firing, name) + shift for name in times} | {"segments": segments})


def _under_way(load: Load) -> Load:
    """A load in a kiln: its session is held when its firing lets it, be it past, late, or waiting for somebody."""
    return load if load.session_at is None else load.model_copy(update={"session_at": None})


def _with_stages(load: Load, ready: Mapping[str, Minute], again: Mapping[str, Minute]) -> Load:
    """A load with what is already known of its earlier stage, and of itself."""
    earliest = [] if load.ready is None else [load.ready]
    changes: dict[str, object] = {}
    if load.after is not None and load.after in ready:
        earliest.append(ready[load.after] + math.ceil(load.gap_minutes))
        changes = {"after": None, "gap_minutes": 0.0}
    if load.id in again:
        earliest.append(again[load.id])
    return load.model_copy(update=changes | {"ready": max(earliest)}) if changes or load.id in again else load


def _outages(events: Events, firings: Sequence[Firing], now: Minute, under_way: Sequence[Firing]) -> list[Outage]:
    outages = []
    for kiln_event in events.down:
        # A charge that cools in a dead kiln keeps it until it is out; the kiln can be worked on from then.
        begins = max([now, *(f.free_at for f in under_way if f.kiln == kiln_event.kiln)])
        if kiln_event.until is None or kiln_event.until > begins:
            outages.append(Outage(kiln=kiln_event.kiln, begins=begins, ends=kiln_event.until, reason=FAILED))
    for circuit_event in events.circuits_down:
        if circuit_event.until is None or circuit_event.until > now:
            outages.append(Outage(circuit=circuit_event.circuit, begins=now, ends=circuit_event.until, reason=NO_POWER))
    return outages


def check_named(studio: Studio, loads: Sequence[Load], plan: Plan, events: Events) -> None:
    """Refuse names that lead nowhere, and say which would.

    Raises
    ------
    RequestError
        If an event names something that is not there.
    """
    have = {
        "kiln": (set(studio.kiln_by_id), [item.kiln for item in events.down]),
        "circuit": (set(studio.circuit_by_id), [item.circuit for item in events.circuits_down]),
        "firing": ({f.id for f in plan.firings}, [*(item.firing for item in events.late), *events.outcomes]),
        "load": ({load.id for load in loads}, list(events.cancel)),
    }
    for kind, (known, named) in have.items():
        for name in named:
            if name not in known:
                names = tuple(sorted(known)) or say("text.none")
                raise RequestError(say(f"event.no_such_{kind}", name=name, known=names))
    twice = {load.id for load in loads} & {load.id for load in events.add}
    if twice:
        raise RequestError(say("event.load_already_waiting", load=min(twice)))
