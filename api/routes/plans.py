"""Plans: made in the background, watched, compared, published; re-plans and what-ifs."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.sse import EventSourceResponse, ServerSentEvent

from api import plans, what_ifs
from api.access import ManagerDep, ServiceDep, StaffDep, service_of
from api.routes import shapes
from api.routes.events import events_of
from api.service import Service
from api.storage.plan_store import plan_row
from api.unnoted import settle_unnoted
from api.wire import restored_text
from shared.files.plan_json import plan_text
from shared.plans import Plan

router = APIRouter(tags=["plans"])
streams = APIRouter(include_in_schema=False)

WATCH_SECONDS = 0.2
"""How often a watched solve is looked at [s]."""

Limit = Annotated[int, Query(ge=1, le=200)]


@router.post("/plans", response_model=shapes.JobShown, status_code=202)
def make(service: ServiceDep, who: ManagerDep, body: shapes.PlanAsked) -> dict[str, Any]:
    """Plan afresh in the background; a solve that runs is superseded."""
    return _job(service, plans.ask_plan(service, who, body.day, _effort(body), body.model_dump(mode="json")))


@router.post("/what-ifs", response_model=shapes.JobShown, status_code=202)
def what_if(service: ServiceDep, who: ManagerDep, body: shapes.WhatIfAsked) -> dict[str, Any]:
    """Plan as if the studio or its loads were otherwise; compare the plan with another."""
    supposed = what_ifs.Supposed(
        set=tuple((item.kind, item.body) for item in body.set),
        remove=tuple((item.kind, item.key) for item in body.remove),
        add=tuple(body.add),
        cancel=tuple(body.cancel),
    )
    request = body.model_dump(mode="json")
    return _job(service, what_ifs.ask_what_if(service, who, body.day, _effort(body), supposed, request))


@router.post("/re-plans", response_model=shapes.JobShown, status_code=202)
def replan(service: ServiceDep, who: StaffDep, body: shapes.ReplanAsked) -> dict[str, Any]:
    """Change the published plan as little as what has happened asks for, in the background."""
    happened = plans.Happened(events_of(body), body.by_records)
    settle_unnoted(service, who, body.by_records)
    return _job(service, plans.ask_replan(service, who, happened, _effort(body), body.model_dump(mode="json")))


@router.get("/jobs/{job_id}", response_model=shapes.JobShown)
def job(service: ServiceDep, who: StaffDep, job_id: int) -> dict[str, Any]:
    """How a solve stands; with the plan's id once it is done."""
    return _job(service, job_id)


@router.post("/jobs/{job_id}/cancel", response_model=shapes.JobShown)
def cancel(service: ServiceDep, who: StaffDep, job_id: int) -> dict[str, Any]:
    """Stop a solve; one that has ended stays as it is."""
    _job(service, job_id)
    service.jobs.cancel(job_id)
    return _job(service, job_id)


def _watched(request: Request, who: StaffDep, job_id: int) -> int:
    # Looked up before the stream begins: an error inside a stream could not be told any more.
    _job(service_of(request), job_id)
    return job_id


@streams.get("/jobs/{job_id}/events", response_class=EventSourceResponse)
async def watch(service: ServiceDep, job_id: Annotated[int, Depends(_watched)]) -> AsyncIterator[ServerSentEvent]:
    """The progress of a solve as server-sent events; the last one is ``ended``."""
    sent = 0
    while not service.stopping.is_set():
        run = service.jobs.run_of(job_id)
        while run is not None and sent < len(run.reports):
            yield ServerSentEvent(raw_data=json.dumps(run.reports[sent]), event="progress", id=str(sent))
            sent += 1
        if run is None or run.ended:
            shown = await run_in_threadpool(_job, service, job_id)
            yield ServerSentEvent(raw_data=json.dumps(shown), event="ended")
            return
        await asyncio.sleep(WATCH_SECONDS)


@router.get("/plans", response_model=list[shapes.PlanSummary])
def listed(service: ServiceDep, who: StaffDep, limit: Limit = 50) -> list[dict[str, Any]]:
    """Plans, the newest first."""
    return plans.listed(service, limit)


@router.get("/plans/{plan_id}", response_model=shapes.PlanWhole)
def plan(service: ServiceDep, who: StaffDep, plan_id: int) -> dict[str, Any]:
    """A plan in short and as a plan file."""
    with service.store.read() as session:
        row = plan_row(session, plan_id)
        audited = service.audited(session, plan_id)
    return {
        "summary": plans.plan_shown(row, restored_text(Plan, row.plan)),
        "plan": json.loads(plan_text(audited.plan, audited.studio)),
    }


@router.get("/plans/{plan_id}/compare/{other_id}", response_model=shapes.Comparison)
def compare(service: ServiceDep, who: StaffDep, plan_id: int, other_id: int) -> dict[str, Any]:
    """Two plans side by side."""
    return plans.compare(service, plan_id, other_id)


@router.post("/plans/{plan_id}/publish", response_model=shapes.PublicationShown)
def publish(service: ServiceDep, who: ManagerDep, plan_id: int, body: shapes.Publish) -> dict[str, Any]:
    """Make a plan the one that holds."""
    return plans.publish(service, who, plan_id, body.publication, body.anyway)


@router.get("/published", response_model=shapes.PublicationShown)
def published(service: ServiceDep, who: StaffDep) -> dict[str, Any]:
    """The publication that holds; number 0 where none does."""
    return plans.holding(service)


@router.get("/publications", response_model=list[shapes.PublicationShown])
def publications(service: ServiceDep, who: StaffDep, limit: Limit = 50) -> list[dict[str, Any]]:
    """All publications, the newest first."""
    return plans.publications(service, limit)


def _effort(body: shapes.EffortBody) -> plans.Effort:
    return plans.Effort(body.seconds, body.work, body.seed)


def _job(service: Service, job_id: int) -> dict[str, Any]:
    with service.store.read() as session:
        return plans.job_shown(service, session, job_id)
