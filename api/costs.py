"""What each person's loads cost: a share of each firing by space and by energy, priced by the house's own rule."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from pydantic import Field
from sqlalchemy import select

from api.problems import ProblemError
from api.security import Identity, Role
from api.service import Service
from api.storage.change_log import record
from api.storage.studio_store import load_of, set_value, value
from api.storage.tables import BookedLoad, FiringRecord
from api.words import tell
from shared.kilns import Kiln
from shared.loads import Load
from shared.record import NotNegative, Record

RULE = "cost rule"


class CostRule(Record):
    """The house's rule. All prices are in the studio's currency.

    ``firing`` is shared by the space that each load takes; ``litre`` is paid for each litre of it; of the energy's
    cost times ``energy_factor``, ``energy_by_mass`` is shared by mass and the rest by space.
    """

    firing: NotNegative = 0.0
    litre: NotNegative = 0.0
    energy_factor: NotNegative = 1.0
    energy_by_mass: float = Field(default=0.5, ge=0, le=1)


@dataclass(frozen=True, slots=True)
class Share:
    """One load's part of one firing."""

    load: str
    space: float
    mass: float
    litres: float
    price: float


def litres(load: Load, kiln: Kiln) -> float:
    """The room that a load takes: its footprint times its height with the shelf above it [l]."""
    return load.footprint_cm2 * (load.height_mm + kiln.shelf_gap_mm) / 10_000.0


def shares(loads: list[Load], kiln: Kiln, energy_cost: float, rule: CostRule) -> list[Share]:
    """Each load's share of a firing; the shares of space and of mass are each one in all."""
    rooms = [litres(load, kiln) for load in loads]
    room, mass_kg = sum(rooms), sum(load.mass_kg for load in loads)
    energy = energy_cost * rule.energy_factor
    found = []
    for load, own in zip(loads, rooms, strict=True):
        by_space, by_mass = own / room, load.mass_kg / mass_kg
        part = rule.energy_by_mass * by_mass + (1.0 - rule.energy_by_mass) * by_space
        found.append(Share(load.id, by_space, by_mass, own, rule.firing * by_space + rule.litre * own + energy * part))
    return found


def rule_of(service: Service) -> dict[str, Any]:
    """The house's rule and its version."""
    with service.store.read() as session:
        kept = value(session, RULE) or {"version": 0, "rule": {}}
    return {"version": kept["version"], "rule": CostRule(**kept["rule"]).model_dump()}


def set_rule(service: Service, who: Identity, version: int, new: Mapping[str, Any]) -> dict[str, Any]:
    """Change the house's rule."""
    with service.store.write() as session:
        kept = value(session, RULE) or {"version": 0, "rule": {}}
        if kept["version"] != version:
            raise ProblemError(409, tell("refused.rule_has_changed"), name="stale", more={"current": kept})
        changed = {"version": version + 1, "rule": CostRule(**new).model_dump()}
        set_value(session, RULE, changed)
        record(session, who.author(service.now()), "change", "cost rule", RULE, kept, changed)
    return changed


def costs(service: Service, who: Identity, begin: datetime | None, end: datetime | None) -> list[dict[str, Any]]:
    """By person and load, the price of each firing that was opened in a span; a member's own alone.

    Where the meter was read, the planned energy cost counts in proportion to it. A firing that is to be repeated
    costs nothing, since it was the studio's.
    """
    with service.store.read() as session:
        studio = service.studio(session)
        rule = CostRule(**(value(session, RULE) or {"rule": {}})["rule"])
        asked = select(FiringRecord).where(FiringRecord.state == "opened", FiringRecord.result != "refire")
        if begin is not None:
            asked = asked.where(FiringRecord.opened_at >= begin)
        if end is not None:
            asked = asked.where(FiringRecord.opened_at < end)
        rows = {row.key: row for row in session.scalars(select(BookedLoad))}
        found: dict[tuple[int | None, str], list[dict[str, Any]]] = defaultdict(list)
        for kept in session.scalars(asked.order_by(FiringRecord.id)):
            kiln = studio.kiln_by_id.get(kept.kiln)
            loads = [load_of(rows[name]) for name in kept.planned["loads"] if name in rows]
            if kiln is None or not loads:
                continue
            energy = kept.planned["energy_cost"]
            if kept.kwh is not None and kept.planned["kwh"] > 0:
                energy *= kept.kwh / kept.planned["kwh"]
            for share in shares(loads, kiln, energy, rule):
                row = rows[share.load]
                found[row.person_id, row.body.get("owner", "")].append(
                    {
                        "load": share.load, "firing": kept.firing_id, "kiln": kept.kiln,
                        "opened_at": kept.opened_at.isoformat() if kept.opened_at is not None else None,
                        "space_share": round(share.space, 4), "mass_share": round(share.mass, 4),
                        "litres": round(share.litres, 2), "price": round(share.price, 2),
                    }
                )  # fmt: skip
    return [
        {
            "person": person,
            "owner": owner,
            "currency": studio.place.currency,
            "total": round(sum(item["price"] for item in items), 2),
            "items": items,
        }
        for (person, owner), items in sorted(found.items(), key=lambda entry: entry[0][1])
        if who.role != Role.MEMBER or person == who.person_id
    ]
