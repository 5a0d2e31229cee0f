"""Recorded firings feed the fit: a kiln's factors from what its thermocouple showed."""

from __future__ import annotations

from typing import Any

import numpy as np
from sqlalchemy import select
from sqlalchemy.orm import Session

from api import studio_parts
from api.problems import ProblemError, not_there
from api.security import Identity
from api.service import Service
from api.single_firing import firing_request
from api.storage.tables import FiringRecord, Reading
from api.wire import said
from api.words import tell
from scheduler.firing.fit import fit_kiln
from scheduler.firing.recorded import RecordedFiring
from shared.studio import Studio

FEWEST_READINGS = 10
"""A firing with fewer readings tells nothing of a kiln; as for log files."""

MOST_FIRINGS = 12
"""How many of the last recorded firings a fit uses [-]; house choice: elements age, and a fit takes seconds."""


def fit_from_records(service: Service, who: Identity, kiln_id: str, version: int) -> dict[str, Any]:
    """Fit a kiln to its recorded firings and keep the factors as a change of the kiln.

    Raises
    ------
    ProblemError
        If no firing of it has been recorded.
    RequestError
        If the records cannot determine the factors.
    """
    with service.store.read() as session:
        studio = service.studio(session)
        if kiln_id not in studio.kiln_by_id:
            raise not_there("kiln", kiln_id)
        logs = _logs(session, studio, kiln_id)
    if not logs:
        raise ProblemError(
            409, tell("refused.no_firing_readings", kiln=kiln_id, fewest_readings=FEWEST_READINGS), name="no-records"
        )
    kiln = studio.kiln_by_id[kiln_id]
    found = fit_kiln(kiln, logs)
    body = said(kiln.model_copy(update={"fitted": found.fitted}), studio.place)
    kept = studio_parts.change(service, who, "kilns", kiln_id, version, body)
    return {
        "kiln": kiln_id,
        "firings": len(logs),
        "residual_k": round(found.residual_k, 2),
        "undetermined": list(found.undetermined),
        "body": kept["body"],
        "version": kept["version"],
    }


def _logs(session: Session, studio: Studio, kiln_id: str) -> list[RecordedFiring]:
    rows = session.scalars(
        select(FiringRecord)
        .where(FiringRecord.kiln == kiln_id, FiringRecord.state == "opened", FiringRecord.started_at.is_not(None))
        .order_by(FiringRecord.id.desc())
        .limit(MOST_FIRINGS)
    )
    logs = []
    for row in rows:
        readings = session.scalars(select(Reading).where(Reading.record_id == row.id).order_by(Reading.at)).all()
        profile = studio.profile_by_id.get(row.profile)
        began = row.started_at
        if len(readings) < FEWEST_READINGS or profile is None or began is None:
            continue
        kept = row.planned
        logs.append(
            RecordedFiring(
                request=firing_request(
                    studio,
                    studio.kiln_by_id[kiln_id],
                    profile,
                    kept["size_row"],
                    kept["ware_kg"],
                    kept["layers"],
                ),
                minutes=np.array([(reading.at - began).total_seconds() / 60.0 for reading in readings]),
                temperature_c=np.array([reading.temperature_c for reading in readings]),
                kwh=row.kwh,
                name=tell("kiln.log_of_firing", firing=row.firing_id, day=began.astimezone(studio.place.zone)),
            )
        )
    return logs
