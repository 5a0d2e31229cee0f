"""The promise question: when a load that is not booked yet could be out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.booking import MEMBERS_MAY_NOT_SAY
from api.consistency import check_load
from api.firings import current_plan_id
from api.holds import held_plan
from api.security import Identity, Role
from api.service import Service
from api.storage.change_log import record
from api.storage.studio_store import waiting_loads
from api.storage.tables import Change
from api.wire import read_record
from scheduler.planning.promise import Offer, promise
from shared.clock import iso_text
from shared.errors import KilnrotaError
from shared.loads import Load
from shared.studio import Studio

ASKED = "asked"
"""Id of the load that is asked about."""

QUOTE = "quote"
"""Kind of change under which an offer is kept; of no load, since the load itself does not change by it."""


def promised_for(service: Service, who: Identity, body: Mapping[str, Any]) -> dict[str, Any]:
    """The earliest time at which a load can be out under the plan that holds, and the price of earlier days."""
    with service.store.read() as session:
        audited = service.audited(session, current_plan_id(session))
        studio, plan = audited.studio, held_plan(session, audited.plan)
        given = {**body, "id": ASKED}
        if who.role == Role.MEMBER:
            given = {key: value for key, value in given.items() if key not in MEMBERS_MAY_NOT_SAY}
        load = read_record(Load, given, "load", studio.place)
        check_load(load, waiting_loads(session), studio)
    if load.after is not None and load.after not in audited.loads:
        load = load.model_copy(update={"after": None})
    found = promise(studio, tuple(audited.loads.values()), plan, load, now=service.minute())
    return {
        "offer": None if found.offer is None else _offer(found.offer, studio),
        "earlier": [_offer(offer, studio) for offer in found.earlier],
        "why": found.why,
    }


def quote_for(service: Service, who: Identity, body: Mapping[str, Any]) -> dict[str, Any] | None:
    """The earliest offer for a load that is about to be booked, if there is one and a plan to tell it from."""
    try:
        offer: dict[str, Any] | None = promised_for(service, who, body)["offer"]
    except KilnrotaError:
        return None
    return offer


def keep_quote(service: Service, who: Identity, load_id: str, offer: Mapping[str, Any]) -> None:
    """Keep what was offered when a load was booked; the first word stays."""
    said = {name: offer[name] for name in ("out_at", "kiln")}
    with service.store.write() as session:
        if _quote_row(session, load_id) is None:
            record(session, who.author(service.now()), "offer", QUOTE, load_id, None, said)


def quoted(service: Service, load_id: str) -> Mapping[str, Any] | None:
    """What was offered when the load was booked."""
    with service.store.read() as session:
        row = _quote_row(session, load_id)
        return None if row is None else row.after


def _quote_row(session: Session, load_id: str) -> Change | None:
    chosen = select(Change).where(Change.kind == QUOTE, Change.key == load_id)
    return session.scalar(chosen.order_by(Change.id).limit(1))


def _offer(offer: Offer, studio: Studio) -> dict[str, Any]:
    return {
        "day": offer.day.isoformat(),
        "out_at": iso_text(offer.out_at, studio.place.zone),
        "kiln": offer.kiln,
        "shares_with": list(offer.shares_with),
        "price": offer.price,
    }
