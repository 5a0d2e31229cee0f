"""Whether the service is alive, ready, and how it does."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter
from fastapi.responses import PlainTextResponse
from sqlalchemy import func, select

from api.access import ANYBODY, ManagerDep, ServiceDep
from api.routes.shapes import Health, Ready
from api.storage.plan_store import current
from api.storage.tables import BookedLoad, Notice

router = APIRouter(tags=["health"])


@router.get("/health", response_model=Health, dependencies=[ANYBODY])
def health() -> dict[str, Any]:
    """Say that the service answers."""
    return {"status": "ok"}


@router.get("/ready", response_model=Ready, dependencies=[ANYBODY])
def ready(service: ServiceDep) -> dict[str, Any]:
    """Say that the database answers and holds a studio."""
    with service.store.read() as session:
        service.studio(session)
        publication = current(session)
    database = "sqlite" if service.store.sqlite else "postgresql"
    return {"status": "ready", "database": database, "publication": publication.id if publication is not None else 0}


@router.get("/metrics", response_class=PlainTextResponse)
def metrics(service: ServiceDep, who: ManagerDep) -> PlainTextResponse:
    """Counts and gauges in Prometheus' text format."""
    with service.store.read() as session:
        publication = current(session)
        waiting = session.scalar(select(func.count()).where(BookedLoad.state == "waiting")) or 0
        notices = session.scalar(select(func.count()).where(Notice.seen_at.is_(None))) or 0
    gauges = {
        "kilnrota_solves_running": ("Solves that run now.", float(service.jobs.running())),
        "kilnrota_publication": ("Number of the publication that holds.", float(publication.id if publication else 0)),
        "kilnrota_loads_waiting": ("Loads that wait to be fired.", float(waiting)),
        "kilnrota_notices_open": ("Notices that nobody has seen.", float(notices)),
    }
    return PlainTextResponse(service.metrics.text(gauges), media_type="text/plain; version=0.0.4")
