"""How a kiln does: its fit, what was recorded of it, and whether its firings run later than computed."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from api.formats import Formats
from api.outages import out_now, out_text, outage_reason
from api.storage.tables import FiringRecord, StudioPart
from shared.clock import Minute, minute_of
from shared.kilns import Kiln
from shared.plans import Firing
from shared.units import duration_text

RECENT = 5
"""How many of the last firings tell of a trend [-]; house choice."""


@dataclass(frozen=True, slots=True)
class KilnHealth:
    """One kiln on the page of kilns; ``out`` says until when it is out of use, and is empty where it is in use."""

    kiln: Kiln
    version: int
    plate: str
    fit: str
    is_fitted: bool
    recorded: int
    refired: int
    recent: tuple[str, ...]
    slow: bool
    outages: tuple[tuple[str, int, str], ...]
    out: str


def kiln_health(
    session: Session, kiln: Kiln, formats: Formats, now: Minute, firings: Collection[Firing] = ()
) -> KilnHealth:
    """What is known of a kiln; ``firings`` are those of the plan that holds."""
    words = formats.words
    rows = session.scalars(
        select(FiringRecord)
        .where(FiringRecord.kiln == kiln.id, FiringRecord.started_at.is_not(None))
        .order_by(FiringRecord.id.desc())
        .limit(RECENT)
    ).all()
    opened = select(func.count()).where(FiringRecord.kiln == kiln.id, FiringRecord.state == "opened")
    recorded = session.scalar(opened) or 0
    refired = session.scalar(opened.where(FiringRecord.result != "good")) or 0
    behind = [late for row in rows if row.state == "opened" and (late := _behind(row)) is not None]
    recent = tuple(
        words("kiln.on_time")
        if abs(late) < RECENT
        else words("kiln.behind" if late > 0 else "kiln.ahead", by=duration_text(abs(late)))
        for late in behind
    )
    part = session.scalar(select(StudioPart).where(StudioPart.kind == "kilns", StudioPart.key == kiln.id))
    fitted = kiln.fitted
    fit = words("kiln.not_fitted")
    if fitted.firings == 0 and (fitted.power, fitted.loss, fitted.storage) != (1.0, 1.0, 1.0):
        fit = words("kiln.adjusted", power=fitted.power, loss=fitted.loss, storage=fitted.storage)
    elif fitted.firings:
        fit = words("kiln.fitted", power=fitted.power, loss=fitted.loss, storage=fitted.storage, firings=fitted.firings)
    outage = out_now(kiln, formats.studio, firings, now)
    return KilnHealth(
        kiln=kiln,
        version=1 if part is None else part.version,
        plate=words(
            "kiln.plate",
            kw=kiln.kilowatts,
            volts=kiln.volts,
            amps=kiln.amps,
            hottest=formats.temperature(kiln.max_temperature_c, formats.studio.controller_unit(kiln)),
        ),
        fit=fit,
        is_fitted=fit != words("kiln.not_fitted"),
        recorded=recorded,
        refired=refired,
        recent=recent,
        slow=len(behind) >= 3 and all(late > 30 for late in behind[:3]),
        outages=_outages(session, kiln, formats),
        out="" if outage is None else out_text(outage, formats),
    )


def _behind(row: FiringRecord) -> int | None:
    """How much longer its heating took than planned, as its readings showed [min]."""
    if row.started_at is None or row.expected_hot_until is None:
        return None
    planned = row.planned["hot_until"] - row.planned["start_at"]
    return int(row.expected_hot_until - minute_of(row.started_at) - planned)


def _outages(session: Session, kiln: Kiln, formats: Formats) -> tuple[tuple[str, int, str], ...]:
    found = []
    parts = session.scalars(select(StudioPart).where(StudioPart.kind == "outages").order_by(StudioPart.position))
    for part in parts:
        body = part.body
        if body.get("kiln") != kiln.id:
            continue
        ends = body.get("ends")
        words = formats.words
        why = outage_reason(body.get("reason"), words)
        reason = words("plan.reason", reason=why) if why else ""
        text = (
            words("plan.out_from", begin=formats.clock(body["begins"]), reason=reason)
            if ends is None
            else words("plan.out_of_order", stretch=formats.stretch(body["begins"], ends), reason=reason)
        )
        found.append((part.key, part.version or 1, text))
    return tuple(found)
