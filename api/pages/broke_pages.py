"""Something broke, or somebody is away: what has happened, and the plan that is proposed for it."""

from __future__ import annotations

from datetime import date
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse
from sqlalchemy import select
from sqlalchemy.orm import Session

from api import plans
from api.access import ServiceDep, StaffDep
from api.firings import current_plan_id
from api.formats import Formats
from api.pages.asked_firings import asked_firings
from api.pages.forms import Form, FormDep, field_query, read_number
from api.pages.page import Page, go_to
from api.pages.page_route import PageRoute, told
from api.pages.plan_pages import effort_of
from api.pages.unnoted_pages import note_answers
from api.problems import ProblemError, thing
from api.storage.plan_store import plan_row
from api.storage.tables import Job
from api.words import tell
from scheduler.planning.events import Away, CircuitDown, Events, FiringLate, KilnDown, Outcome
from shared.errors import KilnrotaError
from shared.kilns import Circuit
from shared.studio import Studio
from shared.units import minute_of_day

router = APIRouter(include_in_schema=False, route_class=PageRoute)

OUTCOMES: tuple[Outcome, ...] = ("refire", "fired", "lost")


@router.get("/broke")
def form(
    request: Request,
    service: ServiceDep,
    who: StaffDep,
    kiln: Annotated[str, Query(max_length=60)] = "",
    late: Annotated[str, Query(max_length=60)] = "",
    hours: Annotated[str, Query(max_length=10)] = "",
) -> HTMLResponse:
    """The form that asks what has happened."""
    page = Page(request, service, who)
    asked = {"kiln": kiln, "late": late, "hours": field_query(hours, page.words("number.decimal"))}
    return broke_page(page, Form({name: [value] for name, value in asked.items()}), [])


def broke_page(page: Page, said: Form, texts: list[str]) -> HTMLResponse:
    """The form, filled in with what was said."""
    now = page.service.minute()
    with page.service.store.read() as session:
        audited = page.service.audited(session, current_plan_id(session))
    left = [firing for firing in audited.plan.firings if firing.out_at > now]
    hot = [firing for firing in left if firing.load_at <= now]
    page.formats = Formats(audited.studio, page.words)
    profiles = audited.studio.profile_by_id
    firings = [
        (
            firing.id,
            page.words(
                "broke.firing",
                firing=firing.id,
                kiln=firing.kiln,
                profile=profiles[firing.profile].title,
                start=page.formats.clock(firing.start_at),
            ),
        )
        for firing in hot or left
    ]
    opens = [(f"{shift.opens // 60:02}:{shift.opens % 60:02}", shift.who or "") for shift in page.studio.shifts]
    shifts = [(at, f"{at} {who}") for at, who in opens]
    return page.answer(
        "broke.html",
        status=422 if texts else 200,
        values={name: said(name) for name in ("until", "away", "shift", "late", "hours")},
        ticked=said.every,
        texts=texts,
        again=said.every("again"),
        unnoted=asked_firings(page),
        kilns=page.studio.kilns,
        circuits=[(circuit.id, _fed_text(page, circuit)) for circuit in page.studio.circuits],
        firings=firings,
        shifts=list(dict.fromkeys(shifts)),
        today=page.formats.local(now).date().isoformat(),
    )


def _fed_text(page: Page, circuit: Circuit) -> str:
    """A circuit with the kilns that stand still without it."""
    fed = [kiln.id for kiln in page.studio.kilns if circuit in page.studio.feeders(kiln.circuit)]
    return page.words("broke.fed", circuit=circuit.id, kilns=", ".join(fed)) if fed else circuit.id


@router.post("/broke")
def propose(request: Request, service: ServiceDep, who: StaffDep, form: FormDep) -> Response:
    """Re-plan for what has happened; where nothing is said to have happened, and nothing known, nothing is planned."""
    page = Page(request, service, who)
    try:
        again = form.every("again")
        events = events_of(form, page.studio)
        _not_over(events, page)
        answered = note_answers(service, who, form)
        happened = plans.Happened(events, by_records=answered or None, again=again, by_chance=not again)
        kept = _kept(form) | ({"unnoted": ["1"]} if answered else {})
        job = plans.ask_replan(service, who, happened, effort_of(form), {"broke": kept})
    except KilnrotaError as error:
        return broke_page(page, form, told(error))
    return go_to(f"/jobs/{job}")


def _not_over(events: Events, page: Page) -> None:
    """Refuse what is over already."""
    now = page.service.minute()
    ends = (*(one.until for one in events.down), *(one.until for one in events.circuits_down))
    if any(until is not None and until <= now for until in ends):
        raise ProblemError(422, tell("refused.until_is_over"), name="faults")
    if any(away.on < page.formats.local(now).date() for away in events.absent):
        raise ProblemError(422, tell("refused.away_is_over"), name="faults")


@router.post("/plans/{plan_id}/answers")
def answers(service: ServiceDep, who: StaffDep, plan_id: int, form: FormDep) -> Response:
    """Plan again with what somebody says has become of interrupted firings."""
    with service.store.read() as session:
        asked = plan_row(session, plan_id).notes.get("questions", ())
        studio = service.studio(session)
        stored = _request_of(session, plan_id)
    outcomes: dict[str, Outcome] = {}
    for question in asked:
        said = form(f"outcome-{question['firing']}")
        for outcome in OUTCOMES:
            if said == outcome:
                outcomes[question["firing"]] = outcome
    told_before = events_of(Form(stored), studio)
    events = Events(
        down=told_before.down,
        circuits_down=told_before.circuits_down,
        late=told_before.late,
        absent=told_before.absent,
        outcomes=outcomes,
    )
    by_records = True if Form(stored)("unnoted") else None
    happened = plans.Happened(events, by_records, again=Form(stored).every("again"))
    job = plans.ask_replan(service, who, happened, effort_of(form), {"broke": stored})
    return go_to(f"/jobs/{job}")


def events_of(form: Form, studio: Studio) -> Events:
    """What a form says has happened; half of an event is refused, or the plan would be made without it."""
    half = {
        "refused.half_shift": form("shift") and not form("away"),
        "refused.half_late": bool(form("late")) != bool(form("hours")),
        "refused.half_until": form("until") and not (form.every("kiln") or form.every("circuit")),
    }
    for key, missing in half.items():
        if missing:
            raise ProblemError(422, tell(key), name="faults")
    away = []
    if form("away"):
        try:
            on = date.fromisoformat(form("away"))
        except ValueError:
            raise ProblemError(422, tell("refused.away_no_day", what=repr(form("away"))), name="faults") from None
        away.append(Away(on, minute_of_day(form("shift")) if form("shift") else None))
    late = []
    if form("late") and form("hours"):
        hours = form.number("hours", tell("refused.hours_no_number", what=repr(form("hours"))))
        late.append(FiringLate(form("late"), hours))
    for name, known in (("kiln", studio.kiln_by_id), ("circuit", studio.circuit_by_id)):
        strange = [key for key in form.every(name) if key not in known]
        if strange:
            raise ProblemError(
                422,
                tell("refused.there_no_there", name=thing(name), strange=strange[0], known=tuple(known)),
                name="faults",
            )
    until = form.moment("until", studio)
    return Events(
        down=tuple(KilnDown(kiln, until) for kiln in form.every("kiln")),
        circuits_down=tuple(CircuitDown(circuit, until) for circuit in form.every("circuit")),
        late=tuple(late),
        absent=tuple(away),
    )


def _kept(form: Form) -> dict[str, list[str]]:
    names = ("kiln", "circuit", "until", "away", "shift", "late", "hours", "again")
    kept = {name: list(form.every(name)) for name in names if form.every(name)}
    if form("late") and form("hours"):
        # Read again later, when nobody knows any more in which language it was typed.
        kept["hours"] = [str(read_number(form("hours"), form.decimal))]
    return kept


def _request_of(session: Session, plan_id: int) -> dict[str, list[str]]:
    job = session.scalar(select(Job).where(Job.plan_id == plan_id))
    return {} if job is None else dict(job.request.get("broke", {}))
