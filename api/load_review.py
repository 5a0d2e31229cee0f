"""A load that somebody is about to book: all of its faults at once, and what of it is probably not meant."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.booking import MEMBERS_MAY_NOT_SAY
from api.consistency import check_load
from api.security import Identity, Role
from api.service import Service
from api.storage.studio_store import next_stage, waiting_loads
from api.storage.tables import BookedLoad
from api.wire import read_record
from shared.clock import Minute
from shared.errors import Fault, FolderError
from shared.families import known_families, near_family
from shared.files.load_doubts import about_a_load
from shared.files.measure_doubts import about_a_height
from shared.files.values import shown
from shared.loads import Load
from shared.studio import Studio
from shared.texts import say

ASKED = "asked"
"""Id of a load that has none yet."""

STAND_INS: Mapping[str, object] = {"pieces": 1, "footprint_cm2": 1.0, "height_mm": 1.0, "mass_kg": 0.001}
"""What stands for a faulty number, so that the others can be judged: a load so small that nothing hinders it."""

DEPENDS_ON = {
    "mass_kg": ("mass_kg", "footprint_cm2", "height_mm"),
    "height_mm": ("height_mm", "thickness_mm"),
    "promised": ("promised", "ready"),
}
"""What a doubt about one of a load's keys is made of; it is not told where one of these is faulty."""

ASKS_BACK = frozenset({"fault.did_you_mean", "fault.height_in_millimetres", "fault.untie_it"})
"""Remedies that a form tells too; the others speak of the folder's files."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """Something that is probably not meant: of which key, and in words."""

    key: str
    text: str


@dataclass(frozen=True, slots=True)
class Review:
    """What is wrong with a load, and what is doubtful."""

    faults: tuple[Fault, ...]
    doubts: tuple[Doubt, ...]

    @property
    def token(self) -> str:
        """What a form sends back to say that exactly these doubts were read; other doubts are asked about anew."""
        told = "\n".join(sorted(f"{doubt.key}: {doubt.text}" for doubt in self.doubts))
        return hashlib.sha256(told.encode()).hexdigest()[:16]


def families(service: Service) -> tuple[str, ...]:
    """What the studio's loads are made of, the commonest first, those of long ago too."""
    with service.store.read() as session:
        return tuple(_families(session))


def reviewed(
    service: Service, who: Identity, body: Mapping[str, Any], unread: Sequence[Fault], load_id: str | None = None
) -> Review:
    """Judge a load as a form means it; nothing is booked.

    Parameters
    ----------
    body
        The load as the service reads loads.
    unread
        Faults of fields whose text could not be put into ``body``.
    load_id
        The load that is changed; None for a new one.
    """
    with service.store.read() as session:
        studio = service.studio(session)
        others = tuple(load for load in waiting_loads(session) if load.id != load_id)
        given = {**body, "id": load_id or ASKED}
        if who.role == Role.MEMBER:
            given = {key: value for key, value in given.items() if key not in MEMBERS_MAY_NOT_SAY}
        faults = [*unread]
        faulty = {_key(fault) for fault in unread}
        load, found = _read(given, studio)
        faults += [fault for fault in found if _key(fault) not in faulty]
        faulty |= {_key(fault) for fault in found}
        if faulty:
            sound = {key: value for key, value in given.items() if key not in faulty}
            load, _ = _read({**STAND_INS, **sound}, studio)
        if load is None:
            return Review(tuple(faults), ())
        load = next_stage(session, load)
        faults += [fault for fault in _misfits(load, others, studio) if _key(fault) not in faulty]
        faulty |= {_key(fault) for fault in faults}
        known = _families(session)
    doubts: tuple[Doubt, ...] = ()
    if load.profile in studio.profile_by_id:
        told = _doubts(load, others, studio, known, service.minute())
        doubts = tuple(one for one in told if not faulty.intersection(DEPENDS_ON.get(one.key, (one.key,))))
    return Review(tuple(faults), doubts)


def _families(session: Session) -> dict[str, int]:
    return known_families(session.scalars(select(BookedLoad.body["family"].as_string())))


def _read(given: Mapping[str, Any], studio: Studio) -> tuple[Load | None, Sequence[Fault]]:
    try:
        return read_record(Load, given, "load", studio.place), ()
    except FolderError as error:
        return None, error.faults


def _misfits(load: Load, others: Sequence[Load], studio: Studio) -> Sequence[Fault]:
    try:
        check_load(load, others if load.after is not None else (), studio)
    except FolderError as error:
        return error.faults
    return ()


def _doubts(load: Load, others: Sequence[Load], studio: Studio, known: Iterable[str], now: Minute) -> Iterator[Doubt]:
    found = [*about_a_height(load, others), *about_a_load(studio, load, now)]
    meant = near_family(load.family or "", known)
    if meant is not None:
        problem = say("fault.family_near", family=shown(load.family), meant=shown(meant))
        found.append(("family", problem, say("fault.did_you_mean", meant=meant)))
    for key, wrong, remedy in found:
        asks = getattr(remedy, "key", "") in ASKS_BACK
        yield Doubt(key, say("text.and_so", problem=wrong, remedy=remedy) if asks else wrong)


def _key(fault: Fault) -> str:
    return fault.place.split(" › ")[-1]
