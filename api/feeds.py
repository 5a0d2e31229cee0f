"""Calendar feeds (RFC 5545) of the published plan: for a person, a kiln or the staff, by a secret link."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from icalendar import Calendar, Event
from sqlalchemy import select

from api.day import Day, FiringOnDay, day_of
from api.formats import Formats
from api.people import names_text
from api.problems import ProblemError, not_there
from api.security import Identity, Role, new_secret, secret_hash
from api.service import Service
from api.storage.change_log import record
from api.storage.plan_store import current
from api.storage.tables import BookedLoad, Feed, Person
from api.words import Words, tell
from scheduler.audit import AuditedPlan
from shared.clock import Minute, local_time

YEAR = timedelta(days=366)
"""How far around its events a calendar tells its zone's clock changes."""

TASKS = {
    "clean": "feed_event.clean",
    "load": "feed_event.load",
    "start": "feed_event.start",
    "open": "feed_event.open",
    "session": "feed_event.session",
    "look": "feed_event.look",
}
"""What stands before a firing in the staff's calendar."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One event of a calendar."""

    key: str
    begin: Minute
    end: Minute
    summary: str
    description: str


def add(service: Service, who: Identity, kind: str, subject: str) -> dict[str, Any]:
    """Make a link; its secret is shown this once."""
    if who.role == Role.MEMBER and (kind != "person" or subject not in ("", str(who.person_id))):
        raise ProblemError(403, tell("refused.members_have_calendar"), name="not-allowed")
    if who.person_id is None:
        raise ProblemError(403, tell("refused.display_no_calendar"), name="not-allowed")
    now = service.now()
    secret = new_secret()
    with service.store.write() as session:
        if kind == "person":
            subject = subject or str(who.person_id)
            known = subject.isdigit() and int(subject) < 2**31 and session.get(Person, int(subject)) is not None
        elif kind == "kiln":
            known = subject in service.studio(session).kiln_by_id
        else:
            known, subject = True, ""
        if not known:
            raise not_there(kind, subject)
        row = Feed(secret_hash=secret_hash(secret), kind=kind, subject=subject, person_id=who.person_id, created_at=now)
        session.add(row)
        session.flush()
        shown = feed_shown(row)
        record(session, who.author(now), "add", "feed", str(row.id), None, shown)
    return shown | {"address": f"{service.settings.public_url}/feeds/{secret}.ics"}


def listed(service: Service, who: Identity) -> list[dict[str, Any]]:
    """One's own links; a manager sees all."""
    with service.store.read() as session:
        asked = select(Feed).order_by(Feed.id)
        if who.role != Role.MANAGER:
            asked = asked.where(Feed.person_id == who.person_id)
        return [feed_shown(row) for row in session.scalars(asked)]


def revoke(service: Service, who: Identity, feed_id: int) -> None:
    """End a link."""
    now = service.now()
    with service.store.write() as session:
        row = session.get(Feed, feed_id) if 0 < feed_id < 2**31 else None
        if row is None or (who.role != Role.MANAGER and row.person_id != who.person_id):
            raise not_there("feed", feed_id)
        if row.revoked_at is None:
            row.revoked_at = now
            record(session, who.author(now), "revoke", "feed", str(row.id), None, None)


def feed_shown(row: Feed) -> dict[str, Any]:
    """A link as people see it; never its secret."""
    return {
        "id": row.id,
        "kind": row.kind,
        "subject": row.subject,
        "created_at": row.created_at.isoformat(),
        "revoked_at": row.revoked_at.isoformat() if row.revoked_at is not None else None,
    }


def calendar_of(service: Service, secret: str, words: Words) -> bytes:
    """The calendar behind a link.

    Raises
    ------
    ProblemError
        If there is none, or it was revoked: the answer is the same.
    """
    with service.store.read() as session:
        feed = session.scalar(select(Feed).where(Feed.secret_hash == secret_hash(secret), Feed.revoked_at.is_(None)))
        if feed is None:
            raise ProblemError(404, tell("refused.there_no_calendar"), name="not-there")
        publication = current(session)
        studio = service.studio(session)
        if publication is None:
            return written(studio.place.name, [], service.now(), 0, service.settings.public_url, studio.place.zone)
        audited = service.audited(session, publication.plan_id)
        mine: set[str] = set()
        if feed.kind == "person":
            mine = {row.key for row in session.scalars(
                select(BookedLoad).where(BookedLoad.person_id == int(feed.subject)))}  # fmt: skip
        kind, subject, number, at = feed.kind, feed.subject, publication.id, publication.at
    entries = list(_entries(audited, kind, subject, mine, words))
    title = {
        "person": studio.place.name,
        "kiln": f"{studio.place.name}, {subject}",
        "staff": words("feed_event.staff", studio=studio.place.name),
    }
    return written(title[kind], entries, at, number, service.settings.public_url, studio.place.zone)


def written(title: str, entries: list[Entry], at: datetime, sequence: int, public_url: str, zone: ZoneInfo) -> bytes:
    """The text of a calendar, with the rules of its time zone."""
    host = public_url.split("://")[-1].split("/")[0]
    calendar = Calendar()
    calendar.add("prodid", "-//Kilnrota//Kiln calendar//EN")
    calendar.add("version", "2.0")
    calendar.add("x-wr-calname", title)
    for entry in entries:
        event = Event()
        # The same work keeps its id over re-plans, so that calendars move it rather than show it twice.
        event.add("uid", f"{hashlib.sha256(entry.key.encode()).hexdigest()[:32]}@{host}")
        event.add("dtstamp", at)
        event.add("sequence", sequence)
        event.add("dtstart", _wall_time(entry.begin, zone))
        event.add("dtend", _wall_time(entry.end, zone))
        event.add("summary", entry.summary)
        event.add("description", entry.description)
        event.add("transp", "TRANSPARENT")
        calendar.add_component(event)
    if entries:
        first, last = (local_time(pick(at.begin for at in entries), zone).date() for pick in (min, max))
        calendar.add_missing_timezones(first_date=first - YEAR, last_date=last + YEAR)
    text: bytes = calendar.to_ical()
    return text


def _wall_time(minute: Minute, zone: ZoneInfo) -> datetime:
    # In the autumn night's repeated hour RFC 5545 (3.3.5) means the first time, but readers differ: UTC is certain.
    local = local_time(minute, zone)
    twice = local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()
    return local.astimezone(UTC) if twice else local


def _entries(audited: AuditedPlan, kind: str, subject: str, mine: set[str], words: Words) -> Iterator[Entry]:
    studio, plan = audited.studio, audited.plan
    if not plan.firings:
        return
    formats = Formats(studio, words)
    view = Day(audited, day_of(plan.begin, studio))
    for firing in sorted(plan.firings, key=lambda f: (f.load_at, f.id)):
        shown = view.shown(firing)
        what = f"{firing.kiln}: {shown.profile.title}"
        loads = ", ".join(firing.loads)
        key = f"{firing.kiln} {firing.profile} {loads}"
        if kind == "kiln" and firing.kiln == subject:
            yield Entry(
                f"kiln {key}",
                firing.load_at,
                max(firing.free_at, firing.out_at),
                what,
                words("feed_event.loads", loads=loads),
            )
        elif kind == "person":
            own = [load for load in firing.loads if load in mine]
            if own:
                text = ", ".join(own)
                yield Entry(
                    f"out {' '.join(own)}",
                    firing.out_at,
                    firing.out_at + 30,
                    words("feed_event.fetched", loads=text),
                    words("feed_event.fired_in", what=what),
                )
        elif kind == "staff":
            yield from _tasks(shown, key, what, loads, formats)


def _tasks(shown: FiringOnDay, key: str, what: str, loads: str, formats: Formats) -> Iterator[Entry]:
    firing = shown.firing
    words = formats.words
    out = "session" if shown.hot else "open"
    times = [
        ("load", firing.load_at, shown.loaded_at, shown.loaded_by),
        ("start", firing.start_at, firing.start_at, ()),
    ]
    if firing.clean_out_minutes:
        times.insert(0, ("clean", firing.clean_out_at, firing.load_at, shown.cleaned_by))
    if not shown.hot:
        times.append(("look", firing.hot_until, firing.hot_until, shown.seen_off_by))
    times.append((out, firing.unload_at, firing.out_at, shown.unloaded_by))
    for task, begin, end, people in times:
        takes = shown.profile.unload_people if task == "session" else 1
        who = names_text(people, formats, takes) if people else ""
        text = words("feed_event.loads_by", loads=loads, who=who) if who else words("feed_event.loads", loads=loads)
        yield Entry(f"{task} {key}", begin, max(end, begin + 1), f"{words(TASKS[task])} {what}", text)
