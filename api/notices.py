"""Notices: what people should look at, each raised once, with the re-plan that it offers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.formats import spelt_duration
from api.moves import reading_owners
from api.problems import not_there
from api.security import Identity
from api.service import Service
from api.storage.change_log import Author, record
from api.storage.plan_store import current
from api.storage.tables import FiringRecord, Hold, Notice, StoredPlan
from api.words import tell
from scheduler.audit import AuditedPlan
from scheduler.firing.tracking import Track
from shared.clock import local_time, minute_of
from shared.plans import Firing
from shared.studio import Studio
from shared.texts import Text, packed, unpacked
from shared.units import degrees

BEHIND_MINUTES = 30.0
"""From when on a firing counts as behind [min]; house choice: half of what a person notices on the day's sheet."""

START_GRACE_MINUTES = 15
"""How long after its time a start may be noted before it counts as not happened [min]; house choice."""

LOADING_GRACE_MINUTES = 30
"""The same for a loading, after the time that it should take [min]; house choice."""

OVERSHOOT_K = 15.0
"""How far above its profile's highest target a kiln may read before people are called [K]; common practice: a
controller overshoots by a few kelvin, and a type K thermocouple of class 2 is good for 0.75 % (IEC 60584-1), which is
9 K at 1200 °C."""


LOAD_KINDS = frozenset({"moved", "promise"})
"""Kinds of notices that are for the owners of loads."""


def moved_key(plan_id: int, load: str) -> str:
    """The key of the notice that a published plan moves a load."""
    return f"moved {plan_id} {load}"


def promised_key(load: str, version: int) -> str:
    """The key of the notice that a load is promised for another time; the version is the load's before that."""
    return f"promised {load} {version}"


def load_told(kind: str, key: str) -> str:
    """The load that such a notice is about.

    >>> load_told("moved", moved_key(12, "B1")), load_told("promise", promised_key("B1", 3))
    ('B1', 'B1')
    """
    return key.split(" ", 2)[2] if kind == "moved" else key.removeprefix("promised ").rsplit(" ", 1)[0]


def raise_notice(
    session: Session,
    key: str,
    kind: str,
    at: datetime,
    text: str,
    *,
    kept: FiringRecord | None = None,
    person_id: int | None = None,
    offer: dict[str, Any] | None = None,
) -> bool:
    """Raise a notice, unless it has been raised already; for the staff where no person is named."""
    if session.scalar(select(Notice.id).where(Notice.key == key)) is not None:
        return False
    session.add(
        Notice(
            key=key,
            kind=kind,
            at=at,
            record_id=kept.id if kept is not None else None,
            text=packed(text),
            offer=offer,
            person_id=person_id,
        )
    )
    record(session, Author(None, "the service", at), "raise", "notice", key, None, {"text": str(text)})
    return True


def running_behind(session: Session, kept: FiringRecord, followed: Track, audited: AuditedPlan, now: datetime) -> None:
    """A firing that is so far behind that what follows it is touched."""
    if followed.behind_minutes < BEHIND_MINUTES or kept.expected_hot_until is None:
        return
    end = local_time(kept.expected_hot_until, audited.studio.place.zone)
    late = spelt_duration(followed.behind_minutes)
    raise_notice(
        session,
        f"behind {kept.id} {int(followed.behind_minutes // 60)}",
        "behind",
        now,
        tell("notice.behind", firing=kept.firing_id, kiln=kept.kiln, late=late, end=end),
        kept=kept,
        offer={"late": [{"firing": kept.firing_id, "hours": round(late_hours(kept), 2)}]},
    )


def late_hours(kept: FiringRecord) -> float:
    """How much later than planned a firing's heating ends, as now expected [h]; never less than nothing."""
    if kept.expected_hot_until is None:
        return 0.0
    planned: int = kept.planned["hot_until"]
    return max(0.0, (kept.expected_hot_until - planned) / 60.0)


def over_temperature(
    session: Session, kept: FiringRecord, hottest_c: float, audited: AuditedPlan, firing: Firing, now: datetime
) -> None:
    """A kiln hotter than its profile ever wants it."""
    studio = audited.studio
    limit_c = studio.profile_by_id[firing.profile].peak_c(firing.size_row) + OVERSHOOT_K
    if hottest_c <= limit_c:
        return
    unit = studio.place.temperature
    raise_notice(
        session,
        f"hot {kept.id}",
        "over temperature",
        now,
        tell(
            "notice.hot",
            firing=kept.firing_id,
            kiln=kept.kiln,
            hottest=degrees(hottest_c, unit),
            peak=degrees(limit_c - OVERSHOOT_K, unit),
            unit=unit,
        ),
        kept=kept,
    )


def look_round(service: Service) -> int:
    """Raise a notice for each loading and start that did not happen; returns how many are new."""
    now = service.now()
    minute = minute_of(now)
    with service.store.read() as session:
        publication = current(session)
        if publication is None:
            return 0
        plan_id = publication.plan_id
        audited = service.audited(session, plan_id)
        known = {
            row.firing_id: row for row in session.scalars(select(FiringRecord).where(FiringRecord.plan_id == plan_id))
        }
    missing = [
        (firing, what)
        for firing in audited.plan.firings
        if (what := _missing(firing, known.get(firing.id), audited, minute)) is not None
    ]
    if not missing:
        return 0
    raised = 0
    with service.store.write() as session:
        holds = current(session)
        if holds is None or holds.plan_id != plan_id:
            return 0
        for firing, what in missing:
            planned_at = local_time(
                firing.load_at if what == "not loaded" else firing.start_at, audited.studio.place.zone
            )
            hours = round((minute - (firing.load_at if what == "not loaded" else firing.start_at)) / 60.0 + 0.25, 2)
            raised += raise_notice(
                session,
                # The same firing under the next plan is told of once.
                f"{what} {firing.kiln} {firing.load_at}",
                what,
                now,
                tell(
                    "notice.not_loaded" if what == "not loaded" else "notice.not_started",
                    firing=firing.id,
                    kiln=firing.kiln,
                    at=planned_at,
                ),
                kept=known.get(firing.id),
                offer={"late": [{"firing": firing.id, "hours": hours}]},
            )
    return raised


def _missing(firing: Firing, kept: FiringRecord | None, audited: AuditedPlan, minute: int) -> str | None:
    kiln = audited.studio.kiln_by_id[firing.kiln]
    if minute >= firing.out_at:
        return None
    if kept is None:
        due = firing.load_at + kiln.load_minutes + LOADING_GRACE_MINUTES
        return "not loaded" if minute > due and minute < firing.hot_until else None
    if kept.state == "loaded" and minute > firing.start_at + START_GRACE_MINUTES:
        return "not started"
    return None


def tell_people(session: Session, plan: StoredPlan, at: datetime) -> int:
    """Tell each person whose load a published plan moves; returns how many loads that are.

    Whose load nobody signs in for is told by the staff, who need the name.
    """
    told = 0
    changes = plan.notes.get("changes", ())
    reading = reading_owners(session, [change["load"] for change in changes])
    for change in changes:
        person_id = reading[change["load"]].id if change["load"] in reading else None
        text = _moved(change, change.get("owner", "") if person_id is None else "")
        told += raise_notice(session, moved_key(plan.id, change["load"]), "moved", at, text, person_id=person_id)
    return told


def _moved(change: Mapping[str, Any], owner: str) -> Text:
    """What becomes of a load under a new plan, and how that stands to its promise; with its owner for the staff."""
    named = {"load": tell("notice.load_of", load=change["load"], owner=owner) if owner else change["load"]}
    after, promised = change["after"], _moment(change.get("promised"))
    if after is None:
        text = tell("notice.no_place", **named)
        text += "" if promised is None else tell("notice.was_promised", promised=promised)
        return text + (tell("notice.please_tell", owner=owner) if owner else tell("notice.please_talk"))
    out = datetime.fromisoformat(after["out_at"])
    text = tell("notice.moved", kiln=after["kiln"], out=out, **named)
    if promised is not None and out > promised:
        by = spelt_duration((out - promised).total_seconds() / 60.0)
        text += tell("notice.later_than_promised", by=by, promised=promised)
    return text + (tell("notice.please_tell", owner=owner) if owner else "")


def _moment(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


def tell_of_holds(
    session: Session, plan: StoredPlan, ended: Sequence[tuple[Hold, str]], studio: Studio, at: datetime
) -> None:
    """Tell the staff of each firing that was held and that the published plan could not keep."""
    for hold, why in ended:
        start = local_time(hold.start_at, studio.place.zone)
        text = tell("notice.hold_ended", kiln=hold.kiln, start=start, loads=tuple(hold.loads), why=unpacked(why))
        raise_notice(session, f"hold {plan.id} {hold.id}", "hold ended", at, text)


def listed(service: Service, who: Identity, everything: bool) -> list[dict[str, Any]]:
    """The notices that are somebody's to see: the staff's and one's own; those seen only if asked for."""
    with service.store.read() as session:
        asked = select(Notice).order_by(Notice.id.desc()).limit(500)
        if not who.staff:
            asked = asked.where(Notice.person_id == who.person_id)
        if not everything:
            asked = asked.where(Notice.seen_at.is_(None))
        return [shown(notice) for notice in session.scalars(asked)]


def seen(service: Service, who: Identity, notice_ids: Iterable[int]) -> list[dict[str, Any]]:
    """Note that notices have been seen: all of them, or none if one is not there."""
    now = service.now()
    with service.store.write() as session:
        return [_see(session, who, notice_id, now) for notice_id in notice_ids]


def _see(session: Session, who: Identity, notice_id: int, now: datetime) -> dict[str, Any]:
    notice = session.get(Notice, notice_id) if 0 < notice_id < 2**31 else None
    if notice is None or (not who.staff and notice.person_id != who.person_id):
        raise not_there("notice", notice_id)
    if notice.seen_at is None:
        notice.seen_at = now
        record(session, who.author(now), "see", "notice", notice.key, None, None)
    return shown(notice)


def shown(notice: Notice) -> dict[str, Any]:
    """A notice as people see it."""
    return {
        "id": notice.id,
        "kind": notice.kind,
        "at": notice.at.isoformat(),
        "text": unpacked(notice.text),
        "record": notice.record_id,
        "person": notice.person_id,
        "offer": notice.offer,
        "seen_at": notice.seen_at.isoformat() if notice.seen_at is not None else None,
    }
