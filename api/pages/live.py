"""What pages follow without being loaded again: that something was noted or published."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator

from fastapi import APIRouter, Depends, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.sse import EventSourceResponse, ServerSentEvent

from api.access import ANYBODY, ServiceDep, identity_of, service_of
from api.problems import ProblemError
from api.service import Service
from api.storage.plan_store import current
from api.storage.studio_store import counter
from api.words import tell

router = APIRouter(include_in_schema=False)

LOOK_SECONDS = 1.0
"""How often the data is looked at [s]; house choice: a person does not notice a second."""


def _somebody(request: Request, key: str = "") -> None:
    # Looked up before the stream begins: an error inside a stream could not be told any more.
    service = service_of(request)
    who = service.accounts.identify(None, key, service.now()) if key else identity_of(request)
    if who is None:
        raise ProblemError(401, tell("refused.sign_in_first"), name="sign-in")


@router.get("/live", response_class=EventSourceResponse, dependencies=[ANYBODY, Depends(_somebody)])
async def live(service: ServiceDep) -> AsyncIterator[ServerSentEvent]:
    """An event whenever what the day shows has changed."""
    seen = await run_in_threadpool(_mark, service)
    while not service.stopping.is_set():
        await asyncio.sleep(LOOK_SECONDS)
        now = await run_in_threadpool(_mark, service)
        if now != seen:
            seen = now
            yield ServerSentEvent(raw_data=str(now[0]), event="changed")


def _mark(service: Service) -> tuple[int, int]:
    """Number of the publication that holds, and count of what was noted."""
    with service.store.read() as session:
        publication = current(session)
        return (publication.id if publication is not None else 0), counter(session, "live")
