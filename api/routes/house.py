"""Costs by person, calendar links, and the history of changes."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Query, Response
from sqlalchemy import select

from api import costs, feeds
from api.access import ANYBODY, ManagerDep, PersonDep, ServiceDep
from api.routes import shapes
from api.routes.events import instant
from api.storage.change_log import shown
from api.storage.tables import Change
from api.words import read_words

router = APIRouter(tags=["house"])
links = APIRouter(include_in_schema=False)


@router.get("/costs", response_model=list[shapes.CostShown])
def by_person(
    service: ServiceDep,
    who: PersonDep,
    begin: Annotated[datetime | None, Query(alias="from")] = None,
    end: Annotated[datetime | None, Query(alias="to")] = None,
) -> list[dict[str, Any]]:
    """What each person's loads cost in the firings that were opened in a span; members see their own."""
    return costs.costs(service, who, None if begin is None else instant(begin), None if end is None else instant(end))


@router.get("/cost-rule", response_model=shapes.RuleShown)
def rule(service: ServiceDep, who: PersonDep) -> dict[str, Any]:
    """The house's cost rule."""
    return costs.rule_of(service)


@router.put("/cost-rule", response_model=shapes.RuleShown)
def set_rule(service: ServiceDep, who: ManagerDep, body: shapes.RuleChange) -> dict[str, Any]:
    """Change the house's cost rule."""
    return costs.set_rule(service, who, body.version, body.rule.model_dump())


@router.get("/feeds", response_model=list[shapes.FeedShown])
def calendars(service: ServiceDep, who: PersonDep) -> list[dict[str, Any]]:
    """One's own calendar links; a manager sees all."""
    return feeds.listed(service, who)


@router.post("/feeds", response_model=shapes.FeedAdded, status_code=201)
def add_calendar(service: ServiceDep, who: PersonDep, body: shapes.NewFeed) -> dict[str, Any]:
    """Make a calendar link; its address is shown this once."""
    return feeds.add(service, who, body.kind, body.subject)


@router.delete("/feeds/{feed_id}", status_code=204)
def revoke_calendar(service: ServiceDep, who: PersonDep, feed_id: int) -> None:
    """End a calendar link."""
    feeds.revoke(service, who, feed_id)


@links.get("/feeds/{secret}.ics", dependencies=[ANYBODY])
def calendar(service: ServiceDep, secret: str, language: Literal["en", "de"] = "en") -> Response:
    """The calendar behind a link, in a language."""
    return Response(
        feeds.calendar_of(service, secret, read_words(language)),
        media_type="text/calendar; charset=utf-8",
        headers={"cache-control": "private, max-age=300"},
    )


@router.get("/history", response_model=list[shapes.ChangeShown])
def history(
    service: ServiceDep,
    who: ManagerDep,
    kind: Annotated[str | None, Query(max_length=40)] = None,
    key: Annotated[str | None, Query(max_length=200)] = None,
    before: Annotated[int | None, Query(ge=1, le=2**31 - 1, description="Only changes with a smaller id.")] = None,
    limit: Annotated[int, Query(ge=1, le=1000)] = 100,
) -> list[dict[str, Any]]:
    """Every change, the newest first: who, when, what, before and after."""
    asked = select(Change).order_by(Change.id.desc()).limit(limit)
    if kind is not None:
        asked = asked.where(Change.kind == kind)
    if key is not None:
        asked = asked.where(Change.key == key)
    if before is not None:
        asked = asked.where(Change.id < before)
    with service.store.read() as session:
        return [shown(change) for change in session.scalars(asked)]
