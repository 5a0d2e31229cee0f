"""What really happened: firings loaded, started, read, opened; and what that says of their end."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.booking import stale
from api.notices import over_temperature, raise_notice, running_behind
from api.problems import ProblemError, not_there
from api.security import Identity
from api.service import Service
from api.storage.change_log import Author, record
from api.storage.plan_store import OPEN_STATES, current
from api.storage.studio_store import bump
from api.storage.tables import BookedLoad, FiringRecord, Reading
from api.words import tell
from scheduler.audit import AuditedPlan
from scheduler.firing.tracking import Track, track
from shared.clock import Minute, iso_text, local_time, minute_of
from shared.plans import Firing
from shared.studio import Studio
from shared.units import celsius, degrees

STEPS = ("loaded", "started", "opened")
"""What happens to a firing, in this order."""

AHEAD_OF_TIME = timedelta(minutes=5)
"""How far in the future a tapped time may lie: clocks differ; house choice."""

MOST_READINGS = 50_000
"""Readings of one firing that are kept [-]; house choice: two days at one in four seconds."""


@dataclass(frozen=True, slots=True)
class Tap:
    """Somebody's word that something has happened.

    Attributes
    ----------
    version
        The record's version that was seen; 0 where there was none.
    at
        When it happened; None: now.
    result
        Of an opening: ``good``, ``refire`` or ``lost``.
    """

    version: int
    at: datetime | None
    note: str | None = None
    result: str | None = None
    kwh: float | None = None


def tap(service: Service, who: Identity, firing_id: str, step: str, said: Tap) -> dict[str, Any]:
    """Note a step of a firing."""
    now = service.now()
    at = said.at or now
    if at.tzinfo is None:
        raise ProblemError(422, tell("refused.no_offset_write"), name="faults")
    if at > now + AHEAD_OF_TIME:
        raise ProblemError(422, tell("refused.lies_future_note"), name="not-yet")
    with service.store.write() as session:
        audited, firing = planned(service, session, firing_id)
        kept = record_of(session, audited, firing, current_plan_id(session))
        studio = audited.studio
        before = record_shown(kept, studio) if kept.version else None
        if kept.version != said.version:
            raise stale(session, "firing", kept.firing_id, said.version, record_shown(kept, studio))
        _step(kept, step, at)
        if said.note is not None:
            kept.note = said.note[:1000]
        if step == "started":
            expect(kept, audited, firing, at)
        if step == "opened":
            kept.result, kept.kwh = said.result or "good", said.kwh
            loads_are_out(session, kept, at, who.author(now))
        kept.version += 1
        session.add(kept)
        session.flush()
        bump(session, "live")
        answer = record_shown(kept, studio)
        record(session, who.author(now), step, "firing", kept.firing_id, before, answer)
    return answer


def add_readings(
    service: Service, who: Identity, firing_id: str, readings: Sequence[tuple[datetime, float]]
) -> dict[str, Any]:
    """Keep temperatures [°C] of a running firing, follow it along its course, and raise what is to be looked at.

    A reading of a moment that is known already is passed over, so that a logger may send the same again.
    """
    now = service.now()
    with service.store.write() as session:
        audited, firing = planned(service, session, firing_id)
        kept = session.scalar(
            select(FiringRecord).where(
                FiringRecord.plan_id == current_plan_id(session), FiringRecord.firing_id == firing.id
            )
        )
        if kept is None or kept.started_at is None:
            raise ProblemError(409, tell("refused.firing_not_been"), name="not-started")
        known = select(Reading.at, Reading.temperature_c).where(Reading.record_id == kept.id)
        there = {row.at: row.temperature_c for row in session.execute(known)}
        new = {at: heat for at, heat in readings if at not in there}
        if len(there) + len(new) > MOST_READINGS:
            raise ProblemError(422, tell("refused.more_than_readings", most_readings=MOST_READINGS), name="many")
        session.add_all(Reading(record_id=kept.id, at=at, temperature_c=heat) for at, heat in new.items())
        followed = _follow(kept, audited, firing, there | new)
        if followed is not None:
            start = minute_of(kept.started_at)
            kept.expected_hot_until = start + math.ceil(followed.hot_minutes)
            kept.expected_safe_at = start + math.ceil(followed.safe_minutes)
            running_behind(session, kept, followed, audited, now)
        if new:
            over_temperature(session, kept, max(new.values()), audited, firing, now)
            kept.version += 1
            bump(session, "live")
        session.flush()
        answer = record_shown(kept, audited.studio) | {
            "new": len(new),
            "behind_minutes": None if followed is None else round(followed.behind_minutes, 1),
        }
        if new:
            record(session, who.author(now), "read", "firing", kept.firing_id, None,
                   {"new": len(new), "version": kept.version})  # fmt: skip
    return answer


def log_begins(service: Service, firing_id: str, began: Minute | None) -> datetime:
    """When a logger's file begins: at the time that it gives, else with the firing's start.

    Raises
    ------
    ProblemError
        If the firing has not been started.
    """
    if began is not None:
        return local_time(began, ZoneInfo("UTC"))
    with service.store.read() as session:
        kept = records_of_plan(session, current_plan_id(session)).get(firing_id)
    if kept is None or kept.started_at is None:
        raise ProblemError(409, tell("refused.firing_not_been"), name="not-started")
    return kept.started_at


def records(service: Service) -> list[dict[str, Any]]:
    """All records, the newest first."""
    with service.store.read() as session:
        studio = service.studio(session)
        return [
            record_shown(kept, studio)
            for kept in session.scalars(select(FiringRecord).order_by(FiringRecord.id.desc()).limit(500))
        ]


def readings_of(service: Service, record_id: int) -> list[dict[str, Any]]:
    """The readings of one record."""
    with service.store.read() as session:
        if not 0 < record_id < 2**31 or session.get(FiringRecord, record_id) is None:
            raise not_there("firing_record", record_id)
        place = service.studio(session).place
        rows = session.scalars(select(Reading).where(Reading.record_id == record_id).order_by(Reading.at))
        return [
            {
                "at": row.at.astimezone(place.zone).isoformat(),
                "temperature": degrees(row.temperature_c, place.temperature),
            }
            for row in rows
        ]


def reading_c(temperature: float, studio: Studio) -> float:
    """A reading in the studio's unit as °C."""
    return celsius(temperature, studio.place.temperature)


def planned(service: Service, session: Session, firing_id: str) -> tuple[AuditedPlan, Firing]:
    """A firing of the plan that holds.

    Raises
    ------
    ProblemError
        If no plan holds, or it has no such firing.
    """
    plan_id = current_plan_id(session)
    audited = service.audited(session, plan_id)
    for firing in audited.plan.firings:
        if firing.id == firing_id:
            return audited, firing
    raise not_there("firing", firing_id)


def current_plan_id(session: Session) -> int:
    """The plan that holds.

    Raises
    ------
    ProblemError
        If none has been published.
    """
    publication = current(session)
    if publication is None:
        raise ProblemError(404, tell("refused.no_plan_been"), name="no-plan")
    return publication.plan_id


def records_of_plan(session: Session, plan_id: int) -> dict[str, FiringRecord]:
    """The records of a plan's firings, by firing id."""
    rows = session.scalars(select(FiringRecord).where(FiringRecord.plan_id == plan_id))
    return {row.firing_id: row for row in rows}


def record_shown(kept: FiringRecord, studio: Studio) -> dict[str, Any]:
    """A record as people see it."""
    zone = studio.place.zone

    def minute(value: int | None) -> str | None:
        return None if value is None else iso_text(value, zone)

    def moment(value: datetime | None) -> str | None:
        return None if value is None else value.astimezone(zone).isoformat()

    return {
        "id": kept.id or 0,
        "firing": kept.firing_id,
        "kiln": kept.kiln,
        "profile": kept.profile,
        "loads": list(kept.planned["loads"]),
        "state": kept.state,
        "version": kept.version,
        "loaded_at": moment(kept.loaded_at),
        "started_at": moment(kept.started_at),
        "opened_at": moment(kept.opened_at),
        "result": kept.result,
        "note": kept.note or "",
        "kwh": kept.kwh,
        "expected_hot_until": minute(kept.expected_hot_until),
        "expected_safe_at": minute(kept.expected_safe_at),
    }


def record_of(session: Session, audited: AuditedPlan, firing: Firing, plan_id: int) -> FiringRecord:
    """What is noted of a firing; a new record, not yet kept, where nothing is.

    Raises
    ------
    ProblemError
        If by what is noted another firing is still in its kiln.
    """
    kept = session.scalar(
        select(FiringRecord).where(FiringRecord.plan_id == plan_id, FiringRecord.firing_id == firing.id)
    )
    if kept is not None:
        return kept
    under_way = session.scalar(
        select(FiringRecord).where(FiringRecord.kiln == firing.kiln, FiringRecord.state.in_(OPEN_STATES))
    )
    if under_way is not None:
        raise ProblemError(
            409, tell("refused.firing_still_mark", firing=under_way.firing_id, kiln=firing.kiln), name="kiln-in-use"
        )
    return FiringRecord(
        plan_id=plan_id,
        firing_id=firing.id,
        kiln=firing.kiln,
        profile=firing.profile,
        planned={
            "loads": list(firing.loads),
            "size_row": firing.size_row,
            "layers": len(firing.layers),
            "ware_kg": sum(audited.loads[load].mass_kg for load in firing.loads),
            "load_at": firing.load_at,
            "start_at": firing.start_at,
            "hot_until": firing.hot_until,
            "safe_at": firing.safe_at,
            "out_at": firing.out_at,
            "kwh": firing.kwh,
            "energy_cost": firing.energy_cost,
        },
        state="planned",
        note="",
        version=0,
    )


def _step(kept: FiringRecord, step: str, at: datetime) -> None:
    if kept.state not in ("planned", *STEPS) or (kept.state in STEPS and STEPS.index(kept.state) >= STEPS.index(step)):
        raise ProblemError(
            409, tell("refused.firing_already_look", state=tell(f"noted.{kept.state}")), name="done-already"
        )
    if step == "opened" and kept.started_at is None:
        raise ProblemError(409, tell("refused.firing_not_been"), name="not-started")
    if step in ("loaded", "started") and kept.loaded_at is None:
        kept.loaded_at = at
    if step == "started":
        kept.started_at = at
    if step == "opened":
        kept.opened_at = at
    times = [moment for moment in (kept.loaded_at, kept.started_at, kept.opened_at) if moment is not None]
    if times != sorted(times):
        raise ProblemError(422, tell("refused.lies_before_step"), name="out-of-order")
    kept.state = step


def expect(kept: FiringRecord, audited: AuditedPlan, firing: Firing, started: datetime) -> None:
    """Note when a firing that started at a moment is expected to have heated, and to be safe."""
    course = audited.courses[firing.id]
    start = minute_of(started)
    kept.expected_hot_until = start + math.ceil(course.hot_minutes)
    kept.expected_safe_at = start + math.ceil(course.safe_minutes)


def _follow(kept: FiringRecord, audited: AuditedPlan, firing: Firing, readings: dict[datetime, float]) -> Track | None:
    if kept.started_at is None or not readings:
        return None
    began = kept.started_at
    series = [((at - began).total_seconds() / 60.0, heat) for at, heat in sorted(readings.items()) if at >= began]
    profile = audited.studio.profile_by_id[firing.profile]
    return track(audited.courses[firing.id], series, audited.studio.unload_below_c(profile)) if series else None


def loads_are_out(session: Session, kept: FiringRecord, at: datetime, author: Author) -> None:
    """Note of a firing's loads that they are out, as its result says."""
    for name in kept.planned["loads"]:
        row = session.scalar(select(BookedLoad).where(BookedLoad.key == name))
        if row is None or row.state != "waiting" or kept.result == "refire":
            continue
        row.state = "fired" if kept.result == "good" else "lost"
        row.fired_at = at
        row.version += 1
        record(
            session, author, row.state, "load", name, {"state": "waiting"}, {"state": row.state, "version": row.version}
        )
        if kept.result == "lost" and row.person_id is not None:
            raise_notice(session, f"lost {name} {kept.id}", "lost", at, tell("notice.lost", load=name),
                         person_id=row.person_id)  # fmt: skip
