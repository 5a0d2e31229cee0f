"""Firings that by the plan have begun, and of which nobody has noted anything.

Whether they took place is known only to people. A plan that took their loads for fired would forget what still lies on
the shelf; one that took them for waiting would fire pieces twice, or move what is hot in a kiln. So they are asked, and
what they say is noted: from then on everything else follows from the records.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from api.firings import current_plan_id, expect, loads_are_out, record_of, records_of_plan
from api.problems import ProblemError
from api.security import Identity
from api.service import Service
from api.storage.change_log import record
from api.storage.plan_store import current
from api.storage.studio_store import bump
from api.storage.tables import BookedLoad
from api.words import tell
from shared.clock import Minute, local_time
from shared.plans import Firing


def unnoted_firings(service: Service, session: Session, now: Minute) -> tuple[Firing, ...]:
    """The firings of the plan that holds whose loading was to have begun, with loads that still wait, unnoted.

    In order of loading; none where no plan holds.
    """
    publication = current(session)
    if publication is None:
        return ()
    plan = service.audited(session, publication.plan_id).plan
    kept = records_of_plan(session, publication.plan_id)
    waiting = set(session.scalars(select(BookedLoad.key).where(BookedLoad.state == "waiting")))
    found = [
        firing
        for firing in plan.firings
        if firing.load_at <= now and firing.id not in kept and any(load in waiting for load in firing.loads)
    ]
    return tuple(sorted(found, key=lambda firing: (firing.load_at, firing.kiln)))


def refuse_unnoted(service: Service, session: Session, now: Minute) -> None:
    """Refuse to go on while it is not known what became of a firing.

    Raises
    ------
    ProblemError
        If some firings have begun by the plan, and nobody has noted it.
    """
    _refuse(unnoted_firings(service, session, now))


def _refuse(found: Sequence[Firing]) -> None:
    if found:
        firings = tuple(tell("unnoted.firing", firing=firing.id, kiln=firing.kiln) for firing in found)
        raise ProblemError(409, tell("refused.not_noted", firings=firings), name="not-noted")


def note_as_planned(service: Service, who: Identity, firing_ids: Collection[str]) -> None:
    """Note of firings that they went by the plan so far, since somebody says so: loaded, started, opened, each in time.

    What is noted of a firing already stays as it is.

    Raises
    ------
    ProblemError
        If by what is noted another firing is still in the kiln of one of them.
    """
    now = service.minute()
    with service.store.write() as session:
        plan_id = current_plan_id(session)
        audited = service.audited(session, plan_id)
        zone = audited.studio.place.zone
        for firing in unnoted_firings(service, session, now):
            if firing.id not in firing_ids:
                continue
            kept = record_of(session, audited, firing, plan_id)
            kept.state, kept.loaded_at = "loaded", local_time(firing.load_at, zone)
            if firing.start_at <= now:
                kept.state, kept.started_at = "started", local_time(firing.start_at, zone)
                expect(kept, audited, firing, kept.started_at)
            if firing.out_at <= now:
                kept.state, kept.opened_at, kept.result = "opened", local_time(firing.unload_at, zone), "good"
            kept.version = 1
            session.add(kept)
            session.flush()
            author = who.author(service.now())
            if kept.opened_at is not None:
                loads_are_out(session, kept, local_time(firing.out_at, zone), author)
            noted = {"state": kept.state, "by_the_plan": True, "version": kept.version}
            record(session, author, kept.state, "firing", firing.id, None, noted)
        bump(session, "live")


def settle_unnoted(service: Service, who: Identity, by_records: bool | None) -> None:
    """Take an answer for all firings that nobody noted: True, they are still to do; False, they went by the plan.

    Without an answer they are still to do where others of the plan have been noted: whoever notes, notes all.

    Raises
    ------
    ProblemError
        If there are any, nothing at all has been noted, and there is no answer.
    """
    with service.store.read() as session:
        found = unnoted_firings(service, session, service.minute())
        if found and by_records is None and not records_of_plan(session, current_plan_id(session)):
            _refuse(found)
    if found and by_records is False:
        note_as_planned(service, who, [firing.id for firing in found])
