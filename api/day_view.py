"""A day of the published plan as people and programs read it: by kiln, by person, with what has happened so far."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date, timedelta
from typing import Any

from sqlalchemy.orm import Session

from api.cautions import cautions
from api.day import Day, FiringOnDay, Task
from api.firings import current_plan_id, record_shown, records_of_plan
from api.formats import Formats
from api.people import people_text
from api.problems import ProblemError, not_there
from api.security import Identity, Role
from api.service import Service
from api.storage.hold_store import held_firings
from api.storage.plan_store import current
from api.storage.studio_store import counter
from api.storage.tables import BookedLoad, FiringRecord, Person
from api.wire import reading_of
from api.words import read_words, tell
from shared.calendar import on_duty
from shared.clock import Minute, iso_text, local_time, wall_minute
from shared.studio import Studio


def day_named(text: str | None, service: Service, studio: Studio) -> date:
    """The day that ``today``, ``tomorrow`` or a date means; tomorrow if nothing is said.

    Raises
    ------
    ProblemError
        If it is none of them.
    """
    today = local_time(service.minute(), studio.place.zone).date()
    if text in (None, "", "tomorrow"):
        return today + timedelta(days=1)
    if text == "today":
        return today
    try:
        day = date.fromisoformat(str(text))
    except ValueError:
        day = date.min
    if not 1990 <= day.year <= 2200:
        raise ProblemError(422, tell("refused.date_no_day"), name="faults")
    return day


def day_bytes(service: Service, who: Identity, text: str | None, kiln: str | None, person: int | None) -> bytes:
    """The day as JSON. What was rendered for one is kept for all who may see the same."""
    with service.store.read() as session:
        studio = service.studio(session)
        day = day_named(text, service, studio)
        plan_id = current_plan_id(session)
        publication = current(session)
        if kiln is not None and kiln not in service.audited(session, plan_id).studio.kiln_by_id:
            raise not_there("kiln", kiln)
        only = who.person_id if who.role == Role.MEMBER else person
        if person is not None and only != person:
            raise ProblemError(403, tell("refused.members_see_their"), name="not-allowed")
        if only is not None and who.role != Role.MEMBER and _person(session, only) is None:
            raise not_there("person", only)
        number = publication.id if publication is not None else 0
        key = ("day", number, counter(session, "live"), day, kiln, only)
        return service.views.get(key, lambda: _rendered(service, session, plan_id, number, day, kiln, only))


def opening(service: Service, first: date, days: int) -> list[dict[str, Any]]:
    """When somebody is there, from a day on."""
    with service.store.read() as session:
        studio = service.studio(session)
    zone = studio.place.zone
    begin, end = wall_minute(first, 0, zone), wall_minute(first + timedelta(days=days), 0, zone)
    return [
        {
            "from": iso_text(duty.begin, zone),
            "to": iso_text(duty.end, zone),
            "who": duty.shift.who,
            "hands": duty.shift.hands,
            "skills": list(duty.shift.skills),
        }
        for duty in on_duty(studio, begin, end)
        if duty.begin < end
    ]


def _person(session: Session, person_id: int) -> Person | None:
    return session.get(Person, person_id) if 0 < person_id < 2**31 else None


def _rendered(
    service: Service, session: Session, plan_id: int, publication: int, day: date, kiln: str | None, only: int | None
) -> bytes:
    view = Day(service.audited(session, plan_id), day)
    kept = records_of_plan(session, plan_id)
    mine: set[str] | None = None
    if only is not None:
        mine = {row.key for row in session.query(BookedLoad).where(BookedLoad.person_id == only)}
    shown = _Shown(view, kept, mine, frozenset(held_firings(session, view.plan)))
    document = shown.document(publication, plan_id, kiln)
    return json.dumps(document, ensure_ascii=False, allow_nan=False).encode()


class _Shown:
    """Writes one day."""

    def __init__(
        self, view: Day, kept: Mapping[str, FiringRecord], mine: set[str] | None, held: frozenset[str]
    ) -> None:
        self.view, self.kept, self.mine, self.held = view, kept, mine, held
        self.zone = view.studio.place.zone
        self.formats = Formats(view.studio, read_words())

    def document(self, publication: int, plan_id: int, kiln: str | None) -> dict[str, Any]:
        view = self.view
        kilns = [held for held in view.kilns if kiln in (None, held.kiln.id)]
        tasks = [task for task in view.tasks if kiln in (None, task.firing.kiln.id) and self._for_me(task.firing)]
        return {
            "date": view.date.isoformat(),
            "timezone": view.studio.place.timezone,
            "publication": publication,
            "plan": plan_id,
            "there": [
                {"from": self.at(duty.begin), "to": self.at(duty.end), "who": duty.shift.who, "hands": duty.shift.hands}
                for duty in view.duties
            ],
            "kilns": [
                {
                    "kiln": held.kiln.id,
                    "name": held.kiln.name,
                    "firings": [self.firing(shown) for shown in held.firings if self._for_me(shown)],
                    "outages": [
                        {
                            "from": self.at(outage.begins),
                            "to": None if outage.ends is None else self.at(outage.ends),
                            "reason": outage.reason,
                        }
                        for outage in held.outages
                    ],
                    "next_load_at": None if held.next_load_at is None else self.at(held.next_load_at),
                }
                for held in kilns
            ],
            "tasks": [self.task(task) for task in tasks],
        }

    def _for_me(self, shown: FiringOnDay) -> bool:
        return self.mine is None or any(load.id in self.mine for load in shown.loads)

    def at(self, minute: Minute) -> str:
        return iso_text(minute, self.zone)

    def task(self, task: Task) -> dict[str, Any]:
        return {
            "at": self.at(task.at),
            "until": self.at(task.until),
            "what": task.kind,
            "firing": task.firing.firing.id,
            "kiln": task.firing.kiln.id,
            "people": people_text(task.people, self.formats, self.view.date, task.takes)
            if task.kind != "start"
            else "",
        }

    def firing(self, shown: FiringOnDay) -> dict[str, Any]:
        firing, studio = shown.firing, self.view.studio
        kept = self.kept.get(firing.id)
        context = reading_of(studio.place).context | {"temperature": shown.unit}
        loads = [load for load in shown.loads if self.mine is None or load.id in self.mine]
        names = {load.id for load in loads}
        document: dict[str, Any] = {
            "id": firing.id,
            "kiln": firing.kiln,
            "profile": firing.profile,
            "profile_name": shown.profile.title,
            "unit": shown.unit,
            "loads": [
                {"id": load.id, "owner": load.owner, "pieces": load.pieces, "mass_kg": load.mass_kg, "note": load.note}
                for load in loads
            ],
            "layers": [[load for load in layer if load in names] for layer in firing.layers],
            "segments": [
                segment.model_dump(mode="json", by_alias=True, context=context) for segment in firing.segments
            ],
            "amps": round(firing.amps, 2),
            "kwh": round(firing.kwh, 1),
            "share_used": round(firing.share_used, 3),
            "hot": shown.hot,
            "unload_people": shown.profile.unload_people,
            "held": firing.id in self.held,
            "cautions": [
                {"name": item.name, "text": item.text} for item in cautions(shown, self.formats, self.view.date)
            ],
            "record": None if kept is None else record_shown(kept, studio),
        }
        times = {
            "load_at": firing.load_at, "start_at": firing.start_at, "peak_at": firing.target_at,
            "hot_until": firing.hot_until, "safe_at": firing.safe_at, "unload_at": firing.unload_at,
            "out_at": firing.out_at, "free_at": firing.free_at,
        }  # fmt: skip
        return document | {name: self.at(minute) for name, minute in times.items()}
