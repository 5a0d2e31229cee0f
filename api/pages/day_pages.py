"""The day by kiln, the week, and the wall display that nobody signs in at."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse
from markupsafe import Markup
from sqlalchemy import select
from sqlalchemy.orm import Session

from api import firings, notices
from api.access import ANYBODY, PersonDep, ServiceDep, StaffDep, ViewerDep
from api.day import Day, day_of
from api.firings import current_plan_id, records_of_plan
from api.pages.asked_firings import asked_firings
from api.pages.day_cards import kiln_cards
from api.pages.day_states import known
from api.pages.day_steps import day_rows, kilns_now, next_row, overdue, rows_in_order
from api.pages.forms import Form, FormDep, field_time
from api.pages.page import Page, go_to
from api.pages.page_route import PageRoute
from api.pages.told_loads import told_loads
from api.pages.week_picture import week_picture
from api.people import duty_text
from api.problems import ProblemError
from api.security import Identity, Role
from api.service import Service
from api.storage.hold_store import held_firings
from api.storage.plan_store import current
from api.storage.studio_store import counter
from api.storage.tables import BookedLoad, FiringRecord
from api.words import tell
from scheduler.audit import AuditedPlan
from shared.clock import Minute, local_time

router = APIRouter(include_in_schema=False, route_class=PageRoute)

WEEK_DAYS = 7
NOW_MINUTES = 5
"""How far the line of now may lag on the week's picture [min]; 0.4 mm on a wide screen."""


@dataclass(frozen=True, slots=True)
class Marks:
    """Which firings of the week's picture are held, and which can be moved by whoever reads it."""

    held: frozenset[str]
    movable: frozenset[str]


Text = Annotated[str, Query(max_length=20)]


@router.get("/day")
def day(request: Request, service: ServiceDep, who: ViewerDep, date: Text = "") -> HTMLResponse:
    """The day: what to do in order, and each kiln."""
    return day_page(request, service, who, date, "")


@router.get("/display", dependencies=[ANYBODY])
def display(
    request: Request, service: ServiceDep, key: Annotated[str, Query(max_length=200)] = "", date: Text = ""
) -> HTMLResponse:
    """The day on the wall, by the display's own link."""
    who = service.accounts.identify(None, key, service.now())
    if who is None:
        raise ProblemError(404, tell("refused.this_display_link"), name="not-there")
    return day_page(request, service, who, date, key)


def day_page(request: Request, service: Service, who: Identity, text: str, key: str) -> HTMLResponse:
    """The page of one day; ``key`` is that of a wall display."""
    page = Page(request, service, who)
    now = service.minute()
    with service.store.read() as session:
        publication = current(session)
        if publication is None:
            return page.answer("no_plan.html", head="nav.day")
        plan_id = publication.plan_id
        audited = service.audited(session, plan_id)
        kept = records_of_plan(session, plan_id)
        only = own_loads(session, who)
        held = frozenset(held_firings(session, audited.plan))
        beside = known(session, page.studio)
        session.expunge_all()
    today = day_of(now, page.studio)
    chosen = named_day(text, audited, today)
    view = Day(audited, chosen)
    page.formats = type(page.formats)(view.studio, page.words)
    kilns = kilns_now(view, kept, now)
    taps = page.staff and chosen <= today and not key
    cards = kiln_cards(view, kilns, page.formats, kept, now, beside, only, taps=taps, held=held)
    own = None if only is None else set(only)
    rows = day_rows(view, kilns, kept, page.formats)
    asks = page.staff and chosen <= today and not key
    # What has been told of a firing that nobody noted is asked about once, for all of them alike.
    news = [] if key else [one for one in notices.listed(service, who, False) if not _asked_or_done(one, kept)]
    # What owners of loads are told is one line for the staff: the kilns come first.
    told = told_loads(service, who, news, page.formats)
    return page.answer(
        "day.html",
        live=f"/live?key={key}" if key else "/live",
        key=key,
        chosen=chosen,
        today=today,
        before=(chosen - timedelta(days=1)).isoformat(),
        after=(chosen + timedelta(days=1)).isoformat(),
        title=page.formats.long_day(chosen),
        duties=duty_text(view.duties, page.formats, chosen),
        cards=cards,
        tasks=rows_in_order(rows) if own is None else (),
        overdue=[one for one in overdue(rows, kept, now) if one.firing in kept] if asks else (),
        unnoted=_to_ask_about(page, view, now) if asks else (),
        now_field=field_time(now, page.studio),
        now_clock=page.formats.clock(now, chosen),
        next_task=next_row(rows_in_order(rows), now) if own is None else None,
        notices=[one for one in news if told is None or one["id"] not in told.ids],
        told=told,
        own=own is not None,
    )


def _to_ask_about(page: Page, view: Day, now: Minute) -> list[tuple[str, str]]:
    """The firings that should be in their kilns by now, or out again, and of which nobody has noted anything."""
    loading = {kiln.id: kiln.load_minutes for kiln in view.studio.kilns}
    due = {one.id for one in view.plan.firings if one.load_at + loading[one.kiln] < now}
    return [(name, text) for name, text in asked_firings(page) if name in due]


def _asked_or_done(notice: Mapping[str, Any], kept: Mapping[str, FiringRecord]) -> bool:
    """Whether a notice tells of what is asked about in one place for all firings, or of a start noted since."""
    started = {record.id for record in kept.values() if record.started_at is not None}
    return notice["kind"] == "not loaded" or (notice["kind"] == "not started" and notice["record"] in started)


@router.get("/week")
def week(
    request: Request,
    service: ServiceDep,
    who: ViewerDep,
    first: Annotated[str, Query(alias="from", max_length=20)] = "",
) -> HTMLResponse:
    """The week as lanes of kilns by time, and under it the current on each leg against its limit."""
    page = Page(request, service, who)
    now = service.minute()
    with service.store.read() as session:
        publication = current(session)
        if publication is None:
            return page.answer("no_plan.html", head="nav.week")
        audited = service.audited(session, publication.plan_id)
        only = own_loads(session, who)
        live = counter(session, "live")
        held = frozenset(held_firings(session, audited.plan))
        begun = records_of_plan(session, publication.plan_id).keys()
        movable = [f.id for f in audited.plan.firings if f.load_at > now and f.id not in begun] if page.staff else []
    chosen = named_day(first, audited, day_of(now, page.studio))
    page.formats = type(page.formats)(audited.studio, page.words)
    shown = None
    if only is not None:
        shown = {firing.id for firing in audited.plan.firings if set(firing.loads) & set(only)}
    seen = None if shown is None else frozenset(shown)
    marks = Marks(held, frozenset(movable))
    key = ("week page", publication.id, live, chosen, page.language, seen, marks, now // NOW_MINUTES)
    content = service.views.get(key, lambda: _week_content(page, audited, chosen, now, seen, marks))
    return page.answer(
        "week.html",
        live="/live",
        content=Markup(content),
        chosen=chosen,
        today=named_day("", audited, day_of(now, page.studio)),
        title=page.words("week.title", first=page.formats.short_day(chosen)),
        before=(chosen - timedelta(days=WEEK_DAYS)).isoformat(),
        after=(chosen + timedelta(days=WEEK_DAYS)).isoformat(),
    )


def _week_content(
    page: Page, audited: AuditedPlan, chosen: date, now: Minute, only: frozenset[str] | None, marks: Marks
) -> str:
    """The week's picture and list; drawn once for all who may see the same."""
    end = chosen + timedelta(days=WEEK_DAYS)
    listed = [
        firing
        for firing in sorted(audited.plan.firings, key=lambda f: (f.kiln, f.load_at))
        if chosen <= day_of(firing.load_at, audited.studio) < end and (only is None or firing.id in only)
    ]
    return page.text(
        "week_body.html",
        picture=week_picture(
            audited, page.formats, chosen, WEEK_DAYS, now, only, held=marks.held, movable=marks.movable
        ),
        firings=listed,
        held=marks.held,
        movable=marks.movable,
        profiles=audited.studio.profile_by_id,
    )


@router.post("/firings/{firing_id}/note")
def note(service: ServiceDep, who: StaffDep, firing_id: str, form: FormDep) -> Response:
    """Note that a firing was loaded, started or opened: now, at the planned time, or at another one."""
    step = form("step")
    if step not in firings.STEPS:
        raise ProblemError(422, tell("refused.step_none_loaded"), name="faults")
    result = form("result") or None
    if step == "opened" and result not in ("good", "refire", "lost"):
        return go_to(f"/firings/{firing_id}#open")
    kwh = form("kwh")
    meter = form.number("kwh", tell("refused.kwh_no_number", kwh=repr(kwh))) if kwh else None
    said = firings.Tap(
        form.whole("version"), _when(service, firing_id, step, form), form("note") or None, result, meter
    )
    firings.tap(service, who, firing_id, step, said)
    return go_to(_back(form("back")), "done")


def _when(service: Service, firing_id: str, step: str, form: Form) -> datetime | None:
    """When a form says that a step was done; None: now."""
    when = form("when")
    if when in ("", "now"):
        return None
    with service.store.read() as session:
        audited, firing = firings.planned(service, session, firing_id)
    if when == "planned":
        loaded = firing.load_at + -int(-audited.studio.kiln_by_id[firing.kiln].load_minutes // 1)
        at: Minute | None = {"loaded": loaded, "started": firing.start_at, "opened": firing.unload_at}[step]
    else:
        at = form.moment("at", audited.studio)
    if at is None:
        raise ProblemError(422, tell("refused.say_when"), name="faults")
    return local_time(at, audited.studio.place.zone)


@router.post("/notices/seen")
def all_seen(service: ServiceDep, who: PersonDep, form: FormDep) -> Response:
    """Note that several notices have been seen."""
    notices.seen(service, who, [int(notice) if notice.isdigit() else 0 for notice in form.every("notice")])
    return go_to(_back(form("back")))


@router.post("/notices/{notice_id}/seen")
def seen(service: ServiceDep, who: PersonDep, notice_id: int, form: FormDep) -> Response:
    """Note that a notice has been seen."""
    notices.seen(service, who, [notice_id])
    return go_to(_back(form("back")))


def own_loads(session: Session, who: Identity) -> Collection[str] | None:
    """The loads that a member may see; None for everybody else, who see all."""
    if who.role != Role.MEMBER:
        return None
    return set(session.scalars(select(BookedLoad.key).where(BookedLoad.person_id == who.person_id)))


def named_day(text: str, audited: AuditedPlan, today: date) -> date:
    """The day that an address names; else today, or the plan's first day where that is still to come.

    Raises
    ------
    ProblemError
        If it is no day.
    """
    if not text:
        return max(today, day_of(audited.plan.begin, audited.studio))
    try:
        found = date.fromisoformat(text)
    except ValueError:
        found = date.min
    if not 1990 <= found.year <= 2200:
        raise ProblemError(422, tell("refused.that_no_day"), name="faults")
    return found


def published(service: Service) -> AuditedPlan:
    """The plan that holds."""
    with service.store.read() as session:
        return service.audited(session, current_plan_id(session))


def _back(path: str) -> str:
    return path if path.startswith("/") and not path.startswith("//") and "\\" not in path else "/day"
