"""Loads: booked, changed, cancelled, dried, collected."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Header, Query

from api import asking, booking, plans
from api.access import PersonDep, ServiceDep, StaffDep
from api.promising import promised_for
from api.routes import shapes

router = APIRouter(tags=["loads"])

IdempotencyKey = Annotated[
    str | None,
    Header(
        alias="Idempotency-Key",
        min_length=1,
        max_length=200,
        pattern=r"^[\x21-\x7e]*$",
        description="Chosen by the client; the same booking sent again with it is answered the same and books nothing.",
    ),
]
State = Literal["waiting", "cancelled", "fired", "lost", "collected"]


@router.get("/loads", response_model=list[shapes.LoadShown])
def loads(
    service: ServiceDep,
    who: PersonDep,
    state: State | None = None,
    owner: Annotated[str | None, Query(max_length=200)] = None,
    limit: Annotated[int, Query(ge=1, le=2000)] = 500,
    offset: Annotated[int, Query(ge=0, le=10**6)] = 0,
) -> list[dict[str, Any]]:
    """The loads that you may see, in the order in which they came; members see their own."""
    return booking.listed(service, who, state, owner, limit, offset)


@router.post("/loads", response_model=shapes.LoadShown, status_code=201)
def book(service: ServiceDep, who: PersonDep, body: shapes.Booking, key: IdempotencyKey = None) -> Any:
    """Book a load; without an id it gets the next free one."""
    return booking.book(service, who, body.load, body.person, key)


@router.get("/loads/{load_id}", response_model=shapes.LoadShown)
def load(service: ServiceDep, who: PersonDep, load_id: str) -> dict[str, Any]:
    """One load, and where the published plan fires it."""
    return booking.one(service, who, load_id)


@router.post("/loads/{load_id}/why", response_model=shapes.JobShown, status_code=202)
def why(service: ServiceDep, who: StaffDep, load_id: str) -> dict[str, Any]:
    """Ask why a load is late or has no place in the published plan, and what would mend it, in the background."""
    job_id = asking.ask_why(service, who, load_id)
    with service.store.read() as session:
        return plans.job_shown(service, session, job_id)


@router.put("/loads/{load_id}", response_model=shapes.LoadShown)
def change(service: ServiceDep, who: PersonDep, load_id: str, body: shapes.LoadChange) -> Any:
    """Change a load that waits."""
    return booking.change(service, who, load_id, body.version, body.load)


@router.post("/loads/{load_id}/cancel", response_model=shapes.LoadShown)
def cancel(service: ServiceDep, who: PersonDep, load_id: str, body: shapes.Versioned) -> Any:
    """Take a load off the list."""
    return booking.cancel(service, who, load_id, body.version)


@router.post("/loads/{load_id}/dried", response_model=shapes.LoadShown)
def dried(service: ServiceDep, who: StaffDep, load_id: str, body: shapes.Versioned) -> Any:
    """Note that a load has dried, or is assembled: it is ready now."""
    return booking.mark(service, who, load_id, body.version, "dried")


@router.post("/loads/{load_id}/collected", response_model=shapes.LoadShown)
def collected(service: ServiceDep, who: StaffDep, load_id: str, body: shapes.Versioned) -> Any:
    """Note that a fired load was collected."""
    return booking.mark(service, who, load_id, body.version, "collected")


@router.post("/promise", response_model=shapes.PromiseShown)
def promise(service: ServiceDep, who: PersonDep, body: shapes.Question) -> dict[str, Any]:
    """When could a load be out, with every promise already made kept? Nothing is booked."""
    return promised_for(service, who, body.load)
