"""The promise question: when a load that is not booked yet could be out."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from api.booking import MEMBERS_MAY_NOT_SAY
from api.consistency import check_load
from api.firings import current_plan_id
from api.holds import held_plan
from api.security import Identity, Role
from api.service import Service
from api.storage.studio_store import waiting_loads
from api.wire import read_record
from scheduler.planning.promise import Offer, promise
from shared.clock import iso_text
from shared.loads import Load
from shared.studio import Studio

ASKED = "asked"
"""Id of the load that is asked about."""


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


def _offer(offer: Offer, studio: Studio) -> dict[str, Any]:
    return {
        "day": offer.day.isoformat(),
        "out_at": iso_text(offer.out_at, studio.place.zone),
        "kiln": offer.kiln,
        "shares_with": list(offer.shares_with),
        "price": offer.price,
    }
