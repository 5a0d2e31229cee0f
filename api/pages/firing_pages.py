"""One firing: its course with the readings so far, what is in it, what is noted, and moving it by hand."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse
from sqlalchemy import select

from api import firings, holds
from api.access import PersonDep, ServiceDep, StaffDep
from api.cautions import cautions
from api.day import Day, FiringOnDay, day_of
from api.expected import Expected, expected_of_kiln
from api.firings import current_plan_id, planned, records_of_plan
from api.formats import Formats
from api.pages.day_pages import own_loads
from api.pages.day_states import is_over_unnoted
from api.pages.day_steps import LATE_NOTE_MINUTES, Step, firing_card, may_open
from api.pages.firing_picture import Readings, course_csv, followed
from api.pages.forms import Form, FormDep, field_time
from api.pages.moving import Moved, Wish, keep_moved, moved
from api.pages.page import Page, go_to
from api.pages.page_route import PageRoute, told
from api.problems import ProblemError, not_there
from api.security import Identity
from api.service import Service
from api.sheets.environment import template_environment
from api.sheets.firing_sheet import firing_sheet
from api.storage.hold_store import held_firings, name_of
from api.storage.plan_store import plan_row
from api.storage.tables import FiringRecord, Hold, Reading
from api.words import tell
from shared.clock import Minute, minute_of
from shared.errors import KilnrotaError
from shared.units import celsius

router = APIRouter(include_in_schema=False, route_class=PageRoute)

NO_DAY = date.min
"""The page is no day's: each of its times says on which day it is."""

LONGEST_MOVE_MINUTES = 14 * 1440
"""How far a firing may be dragged [min]: further than any picture shows."""


class Seen:
    """A firing of the plan that holds, as somebody may see it, with what was noted of it."""

    def __init__(self, service: Service, who: Identity, firing_id: str) -> None:
        with service.store.read() as session:
            audited, firing = planned(service, session, firing_id)
            only = own_loads(session, who)
            if only is not None and not set(only) & set(firing.loads):
                raise not_there("firing", firing_id)
            self.plan_id = current_plan_id(session)
            row = plan_row(session, self.plan_id)
            self.under_way, self.replanned = frozenset(row.under_way), row.replanned
            self.held: Hold | None = held_firings(session, audited.plan).get(firing_id)
            self.held_by = "" if self.held is None else name_of(session, self.held.person_id)
            self.records = records_of_plan(session, self.plan_id)
            self.kept: FiringRecord | None = self.records.get(firing_id)
            opened = {name for name, record in self.records.items() if record.state == "opened"}
            readings: Readings = ()
            if self.kept is not None:
                found = session.scalars(
                    select(Reading).where(Reading.record_id == self.kept.id).order_by(Reading.at)
                ).all()
                readings = [(minute_of(reading.at), reading.temperature_c) for reading in found]
            self.readings = readings
            session.expunge_all()
        self.only, self.audited, self.firing = only, audited, firing
        self.day = Day(audited, day_of(firing.load_at, audited.studio))
        self.shown: FiringOnDay = self.day.shown(firing)
        waiting = [one.id for one in audited.firings_of(firing.kiln) if one.id not in opened]
        self.next_in_kiln = waiting[:1] == [firing_id]

    def expected(self, now: Minute) -> Expected:
        """What is now expected of it."""
        return expected_of_kiln(self.day, self.shown.kiln, self.records, now)[self.firing.id]

    def over_unnoted(self, now: Minute) -> bool:
        """Whether it should have ended by now, and nobody has noted anything of it."""
        return is_over_unnoted(self.expected(now), self.kept, now)

    @property
    def offset(self) -> int:
        """How much later than planned it was started [min]."""
        if self.kept is None or self.kept.started_at is None:
            return 0
        return minute_of(self.kept.started_at) - self.firing.start_at


@router.get("/firings/{firing_id}")
def firing(
    request: Request,
    service: ServiceDep,
    who: PersonDep,
    firing_id: str,
    kiln: Annotated[str, Query(max_length=60)] = "",
    later: Annotated[int, Query(ge=-LONGEST_MOVE_MINUTES, le=LONGEST_MOVE_MINUTES)] = 0,
) -> HTMLResponse:
    """The firing's page; with ``kiln`` or ``later`` [min] it says what moving it there would break."""
    seen = Seen(service, who, firing_id)
    page = Page(request, service, who)
    if not page.staff or not (kiln or later):
        return firing_page(page, seen, None, [])
    return _asked_about(page, seen, _dropped(seen, kiln, later))


def _dropped(seen: Seen, kiln: str, later: int) -> Form:
    """The form that moves the firing to a kiln and by some minutes; it is opened as soon as it is safe and staffed."""
    studio, planned_firing = seen.audited.studio, seen.firing
    fields = {
        "kiln": kiln or planned_firing.kiln,
        "load_at": field_time(planned_firing.load_at + later, studio),
        "start_at": field_time(planned_firing.start_at + later, studio),
    }
    return Form({name: [value] for name, value in fields.items()})


def _asked_about(page: Page, seen: Seen, form: Form) -> HTMLResponse:
    """The page with what the audit says of a move."""
    try:
        wish = wish_of(form, seen)
        found = moved(seen.audited, seen.firing.id, wish, page.service.minute(), seen.under_way, seen.replanned)
    except KilnrotaError as error:
        return firing_page(page, seen, form, told(error))
    return firing_page(page, seen, form, [], found)


def firing_page(
    page: Page, seen: Seen, wish: Form | None, texts: list[str], result: Moved | None = None, shows: str = ""
) -> HTMLResponse:
    """The page, with what a moved firing would break if one was asked about, or the reading that was refused."""
    studio = seen.audited.studio
    formats = Formats(studio, page.words)
    page.formats = formats
    planned_firing = seen.firing
    moving = {
        "kiln": wish("kiln") if wish else planned_firing.kiln,
        "load_at": wish("load_at") if wish else field_time(planned_firing.load_at, studio),
        "start_at": wish("start_at") if wish else field_time(planned_firing.start_at, studio),
        "unload_at": wish("unload_at") if wish else "",
    }
    work = seen.shown.profile.work
    return page.answer(
        "firing.html",
        status=422 if texts else 200,
        firing=planned_firing,
        shown=seen.shown,
        sheet=firing_sheet(seen.shown, formats, NO_DAY, seen.day.begin),
        own=seen.only,
        kept=seen.kept,
        noted=noted_texts(seen, formats, page),
        ask=page.staff and seen.over_unnoted(page.service.minute()),
        picture=followed(seen.shown, formats, seen.readings, seen.offset),
        cautions=cautions(seen.shown, formats, NO_DAY),
        kilns=[(kiln.id, kiln.title) for kiln in studio.kilns if work in kiln.work],
        moving=moving,
        texts=texts,
        early=_too_early(seen, page),
        step=_step_to_note(seen, page),
        now_field=field_time(page.service.minute(), studio),
        now_clock=formats.clock(page.service.minute()),
        open_late=_planned_opening(seen, page),
        answer=result,
        movable=page.staff and seen.kept is None and planned_firing.load_at > page.service.minute(),
        held="" if seen.held is None else page.words("hold.text", by=_held_by(seen, page)),
        grid=studio.rules.grid_minutes * 60,
        unit=seen.shown.unit,
        shows=shows,
    )


def _step_to_note(seen: Seen, page: Page) -> Step | None:
    """The loading or starting that can be noted now, as on the day's page; an opening has a form of its own."""
    now = page.service.minute()
    if not (page.staff and seen.next_in_kiln and seen.day.begin <= now):
        return None
    steps = firing_card(seen.day, seen.shown, seen.expected(now), page.formats, seen.kept, now, False).steps
    return next((step for step in steps if step.tap in ("loaded", "started")), None)


def _planned_opening(seen: Seen, page: Page) -> str:
    """When it was to be opened, where that is past and a note has to say when it was; empty otherwise."""
    late = page.service.minute() > seen.firing.out_at + LATE_NOTE_MINUTES
    return page.formats.clock(seen.firing.unload_at) if late else ""


def _held_by(seen: Seen, page: Page) -> str:
    at = page.formats.clock(minute_of(seen.held.at)) if seen.held is not None else ""
    return page.words("hold.by", name=seen.held_by, at=at) if seen.held_by else at


def _too_early(seen: Seen, page: Page) -> str:
    """What to say above the form that notes an opening, while the kiln is expected to be too hot for it."""
    now = page.service.minute()
    expected = seen.expected(now)
    if may_open(expected, now):
        return ""
    safe = page.formats.clock(expected.safe_at)
    limit = page.formats.temperature(seen.shown.open_below_c, seen.shown.unit)
    return page.words("one.early_hot" if seen.shown.hot else "one.early", safe=safe, temperature=limit)


def noted_texts(seen: Seen, formats: Formats, page: Page) -> list[str]:
    """What was noted of a firing, and what is now expected of it."""
    kept, words = seen.kept, page.words
    if seen.over_unnoted(page.service.minute()):
        return [words("one.over_ask" if page.staff else "one.over_unsure")]
    if kept is None:
        return [words("one.nothing_noted")]
    times = [
        (kept.loaded_at, words("one.noted_loaded")),
        (kept.started_at, words("one.noted_started")),
        (kept.opened_at, words("one.noted_opened")),
    ]
    texts = [f"{text} {formats.clock(minute_of(at))}" for at, text in times if at is not None]
    if kept.state == "started" and kept.expected_hot_until is not None and kept.expected_safe_at is not None:
        off, safe = formats.clock(kept.expected_hot_until), formats.clock(kept.expected_safe_at)
        texts.append(words("one.expected_hot" if seen.shown.hot else "one.expected", off=off, safe=safe))
    results = {"good": words("one.good"), "refire": words("one.refire"), "lost": words("one.lost")}
    if kept.result:
        texts.append(results.get(kept.result, kept.result))
    return texts


@router.post("/firings/{firing_id}/reading")
def reading(request: Request, service: ServiceDep, who: StaffDep, firing_id: str, form: FormDep) -> Response:
    """Keep what the controller shows now, in its own unit."""
    seen = Seen(service, who, firing_id)
    text = form("temperature")
    try:
        value = form.number("temperature", tell("refused.temperature_no_number", text=repr(text)))
        if not -50 <= value <= 3000:
            raise ProblemError(422, tell("refused.temperature_no_temperature", text=text), name="faults")
        firings.add_readings(service, who, firing_id, [(service.now(), celsius(value, seen.shown.unit))])
    except KilnrotaError as error:
        return firing_page(Page(request, service, who), seen, None, told(error), shows=text)
    return go_to(f"/firings/{firing_id}", "done")


@router.post("/firings/{firing_id}/hold")
def hold(service: ServiceDep, who: StaffDep, firing_id: str) -> Response:
    """Fix the firing where it is."""
    holds.hold(service, who, firing_id)
    return go_to(f"/firings/{firing_id}", "done")


@router.post("/firings/{firing_id}/let-go")
def let_go(service: ServiceDep, who: StaffDep, firing_id: str) -> Response:
    """Let planning move the firing again."""
    holds.let_go(service, who, firing_id)
    return go_to(f"/firings/{firing_id}", "done")


@router.post("/firings/{firing_id}/move")
def move(request: Request, service: ServiceDep, who: StaffDep, firing_id: str, form: FormDep) -> Response:
    """Ask what moving the firing would break, or keep the moved plan if it breaks nothing."""
    page, seen = Page(request, service, who), Seen(service, who, firing_id)
    if not form("keep"):
        return _asked_about(page, seen, form)
    try:
        return go_to(f"/plans/{keep_moved(service, who, seen.plan_id, firing_id, wish_of(form, seen))}")
    except KilnrotaError as error:
        return firing_page(page, seen, form, told(error))


@router.post("/firings/{firing_id}/audit")
def audit(request: Request, service: ServiceDep, who: StaffDep, firing_id: str, form: FormDep) -> HTMLResponse:
    """The same question's answer alone, for the page to show while somebody chooses."""
    page, seen = Page(request, service, who), Seen(service, who, firing_id)
    page.formats = Formats(seen.audited.studio, page.words)
    texts: list[str] = []
    found = None
    try:
        found = moved(seen.audited, firing_id, wish_of(form, seen), service.minute(), seen.under_way, seen.replanned)
    except KilnrotaError as error:
        texts = told(error)
    return page.answer("move_answer.html", answer=found, texts=texts)


def wish_of(form: Form, seen: Seen) -> Wish:
    """Where and when a form wants the firing."""
    studio = seen.audited.studio
    load_at, start_at = form.moment("load_at", studio), form.moment("start_at", studio)
    if load_at is None or start_at is None:
        raise ProblemError(422, tell("refused.say_when_loaded"), name="faults")
    return Wish(form("kiln"), load_at, start_at, form.moment("unload_at", studio))


@router.get("/firings/{firing_id}/curve.csv")
def curve_csv(service: ServiceDep, who: PersonDep, firing_id: str) -> Response:
    """The curve as a table."""
    seen = Seen(service, who, firing_id)
    return Response(course_csv(seen.shown, seen.readings), media_type="text/csv; charset=utf-8")


@router.get("/firings/{firing_id}/curve.svg")
def curve_svg(request: Request, service: ServiceDep, who: PersonDep, firing_id: str) -> Response:
    """The curve as a picture that needs nothing else."""
    seen = Seen(service, who, firing_id)
    words = Page(request, service, who).words
    picture = followed(seen.shown, Formats(seen.audited.studio, words), seen.readings, seen.offset)
    text = (
        template_environment()
        .get_template("pages/curve.svg")
        .render(picture=picture, words=words, title=f"{seen.firing.id} {seen.shown.profile.title} · {seen.firing.kiln}")
    )
    return Response(text, media_type="image/svg+xml")
