"""The studio's description: kilns, circuits, shifts, profiles, outages and all other parts; the opening hours."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Query

from api import day_view, studio_parts
from api.access import ManagerDep, PersonDep, ServiceDep, StaffDep, ViewerDep
from api.recorded_fits import fit_from_records
from api.routes import shapes

router = APIRouter(tags=["studio"])


@router.get("/opening", response_model=list[shapes.DutyShown])
def opening(
    service: ServiceDep,
    who: ViewerDep,
    day: Annotated[str | None, Query(alias="from", max_length=20)] = None,
    days: Annotated[int, Query(ge=1, le=60)] = 7,
) -> list[dict[str, Any]]:
    """When somebody is there, from today on unless a day is named."""
    with service.store.read() as session:
        first = day_view.day_named(day or "today", service, service.studio(session))
    return day_view.opening(service, first, days)


@router.get("/profiles", response_model=list[shapes.PartShown])
def profiles(service: ServiceDep, who: PersonDep) -> list[dict[str, Any]]:
    """The firing profiles, to choose from when booking."""
    return studio_parts.parts(service, "profiles")


@router.get("/studio/{kind}", response_model=list[shapes.PartShown])
def parts(service: ServiceDep, who: StaffDep, kind: shapes.PartKind) -> list[dict[str, Any]]:
    """All parts of a kind."""
    return studio_parts.parts(service, kind)


@router.post("/studio/{kind}", response_model=shapes.PartShown, status_code=201)
def add(service: ServiceDep, who: StaffDep, kind: shapes.PartKind, body: shapes.NewPart) -> dict[str, Any]:
    """Add a part; outages and absences may be added by attendants too."""
    return studio_parts.add(service, who, kind, body.body)


@router.get("/studio/{kind}/{key}", response_model=shapes.PartShown)
def part(service: ServiceDep, who: StaffDep, kind: shapes.PartKind, key: str) -> dict[str, Any]:
    """One part."""
    return studio_parts.part(service, kind, key)


@router.put("/studio/{kind}/{key}", response_model=shapes.PartShown)
def change(
    service: ServiceDep, who: StaffDep, kind: shapes.PartKind, key: str, body: shapes.PartChange
) -> dict[str, Any]:
    """Change a part; its id stays."""
    return studio_parts.change(service, who, kind, key, body.version, body.body)


@router.delete("/studio/{kind}/{key}", status_code=204)
def remove(
    service: ServiceDep,
    who: StaffDep,
    kind: shapes.PartKind,
    key: str,
    version: Annotated[int, Query(ge=0, le=2**31 - 1)],
) -> None:
    """Remove a part that nothing else needs."""
    studio_parts.remove(service, who, kind, key, version)


@router.post("/kilns/{kiln_id}/fit", response_model=shapes.FitShown)
def fit(service: ServiceDep, who: ManagerDep, kiln_id: str, body: shapes.Versioned) -> dict[str, Any]:
    """Fit a kiln's thermal model to its recorded firings, and keep the factors."""
    return fit_from_records(service, who, kiln_id, body.version)
