"""Plans: made, watched, looked at beside the one that holds, published; what is late."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse
from sqlalchemy import select
from sqlalchemy.orm import Session

from api import asking, plans
from api.access import ManagerDep, ServiceDep, StaffDep
from api.comparing import verdict_lines
from api.day import day_of
from api.formats import Formats
from api.jobs import QUESTION
from api.lateness import why_text
from api.moves import hearing, moved_loads
from api.pages.day_pages import named_day
from api.pages.forms import Form, FormDep
from api.pages.mends import binds_text
from api.pages.page import Page, go_to
from api.pages.page_route import PageRoute, told
from api.pages.plan_changes import changes_by_person, first_telling, telling
from api.pages.week_picture import week_picture
from api.printing.holds_text import hold_text
from api.printing.plan_text import proof_text
from api.printing.replan_text import rule_named
from api.problems import ProblemError
from api.storage.hold_store import held_firings
from api.storage.plan_store import current, plan_row
from api.storage.tables import BookedLoad, Job, Publication
from api.words import Words, tell
from scheduler.audit import AuditedPlan
from shared.clock import Minute, iso_minute
from shared.plans import Plan
from shared.studio import Studio
from shared.texts import unpacked

router = APIRouter(include_in_schema=False, route_class=PageRoute)

EFFORTS = (5, 20, 60, 180)
"""How long a search may be asked for on the page [s]."""

SHOWN_DAYS = 7

SHOWN_LATE = 100
"""Late loads on one page [-], the worst first; more would be more than 200 kB."""


@router.get("/plans")
def listed(request: Request, service: ServiceDep, who: StaffDep) -> HTMLResponse:
    """All plans, and the form to make one."""
    page = Page(request, service, who)
    return page.answer(
        "plans.html",
        plans=[plan_line(row, page) for row in plans.listed(service, 30)],
        holds=plans.holding(service)["plan"],
        efforts=[(str(seconds), page.formats.spelt_duration(seconds / 60) if seconds >= 60 else f"{seconds} s")
                 for seconds in EFFORTS],
        running=service.jobs.running() > 0,
        texts=[],
    )  # fmt: skip


def plan_line(row: dict[str, Any], page: Page) -> dict[str, Any]:
    """A plan in the list."""
    kinds = {
        "plan": page.words("plans.kind_plan"),
        "replan": page.words("plans.kind_replan"),
        "whatif": page.words("plans.kind_whatif"),
        "moved": page.words("plans.kind_moved"),
    }
    made = iso_minute(row["made_at"])
    kind = kinds.get(row["kind"], row["kind"])
    reasons = row["notes"].get("happened_told", row["notes"].get("tried_told", ()))
    if reasons:
        kind = page.words("plans.kind_why", kind=kind, why=tuple(unpacked(text) for text in reasons))
    return row | {"kind_name": kind, "made": page.formats.clock(made)}


@router.post("/plans")
def make(service: ServiceDep, who: ManagerDep, form: FormDep) -> Response:
    """Plan afresh; where asked to, around what is in the kilns."""
    if form("around"):
        return go_to(f"/jobs/{plans.ask_all_again(service, who, effort_of(form), {'page': True})}")
    day = form("day")
    try:
        first = date.fromisoformat(day) if day else None
    except ValueError:
        raise ProblemError(422, tell("refused.day_no_day", day=repr(day)), name="faults") from None
    job = plans.ask_plan(service, who, first, effort_of(form), {"page": True})
    return go_to(f"/jobs/{job}")


def effort_of(form: Form) -> plans.Effort:
    """How long the form asks to search; as the service is set up, if it does not say."""
    if form("work"):
        return plans.Effort(work=form.whole("work"))
    if form("seconds"):
        return plans.Effort(seconds=float(min(max(form.whole("seconds"), 1), EFFORTS[-1])))
    return plans.Effort()


@router.get("/jobs/{job_id}")
def job(request: Request, service: ServiceDep, who: StaffDep, job_id: int) -> Response:
    """How a solve stands; on to the plan as soon as there is one."""
    with service.store.read() as session:
        shown = plans.job_shown(service, session, job_id)
    if shown["state"] == "done" and shown["result"] is not None:
        return go_to(f"/trouble/{shown['result']['load']}")
    if shown["state"] == "done" and shown["plan"] is not None:
        return go_to(f"/plans/{shown['plan']}")
    page = Page(request, service, who)
    states = {
        "running": page.words("job.running"),
        "failed": page.words("job.failed"),
        "cancelled": page.words("job.cancelled"),
        "superseded": page.words("job.superseded"),
        "interrupted": page.words("job.interrupted"),
    }
    is_question = shown["kind"] == QUESTION
    if is_question:
        states["running"] = page.words("job.looking")
    return page.answer(
        "job.html",
        job=shown,
        state=states.get(shown["state"], shown["state"]),
        title=page.words("job.question") if is_question else page.words("job.title"),
        question=is_question,
    )


@router.post("/jobs/{job_id}/stop")
def stop(service: ServiceDep, who: StaffDep, job_id: int) -> Response:
    """Stop a solve."""
    service.jobs.cancel(job_id)
    return go_to(f"/jobs/{job_id}")


@router.get("/plans/{plan_id}")
def plan(
    request: Request,
    service: ServiceDep,
    who: StaffDep,
    plan_id: int,
    first: Annotated[str, Query(alias="from", max_length=20)] = "",
) -> HTMLResponse:
    """One plan, beside the one that holds."""
    return plan_page(Page(request, service, who), plan_id, [], False, first)


def plan_page(page: Page, plan_id: int, texts: list[str], anyway: bool, from_day: str = "") -> HTMLResponse:
    """The plan's page, with what stands against publishing it; ``from_day`` is the first day of the picture."""
    service = page.service
    with service.store.read() as session:
        row = plan_row(session, plan_id)
        audited = service.audited(session, plan_id)
        publication = current(session)
        holds = None if publication is None else service.audited(session, publication.plan_id)
        holds_id = None if publication is None else publication.plan_id
        number = 0 if publication is None else publication.id
        kind, notes, based_on = row.kind, dict(row.notes), row.based_on
        held_before = set() if holds is None else set(held_firings(session, holds.plan))
        now = service.minute()
        if kind == "plan" and holds is not None and holds_id != plan_id:
            moves = moved_loads(audited, holds.plan, now)
            notes.pop("changes", None)
        else:
            moves = notes.get("changes", [])
        heard = hearing(session, moves)
        asked_for = session.scalar(select(Job.request).where(Job.plan_id == plan_id, Job.kind == "whatif"))
        found = asking.answers(session) if holds_id == plan_id else {}
        is_first = kind == "plan" and not replaces_one(session, plan_id)
    formats = Formats(audited.studio, page.words)
    page.formats = formats
    # A plan that replaced another tells what it changed; any other is compared with the one that holds.
    against = holds if holds_id != plan_id else None
    people = changes_by_person(audited, notes, against, formats)
    touched = {item.firing for person in people for item in person.changes}
    stretches = shown_stretches(audited.plan, audited.studio, now)
    first = named_day(from_day, audited, stretches[0][0]) if from_day else stretches[0][0]
    before = None
    if against is not None:
        marked_before = {item.firing_before for person in people for item in person.changes}
        before = week_picture(
            against, Formats(against.studio, page.words), first, SHOWN_DAYS, now, marked=marked_before, held=held_before
        )
    told_why = notes.get("happened_told", notes.get("tried_told"))
    reasons = None if told_why is None else [unpacked(text) for text in told_why]
    cost_before = notes.get("cost_before", None if against is None or kind == "whatif" else against.plan.proof.cost)
    held = held_before if holds_id == plan_id else {firing.id for firing in audited.plan.firings if firing.held}
    return page.answer(
        "plan.html",
        status=409 if texts else 200,
        id=plan_id,
        kind=kind,
        head=plan_head(plan_id, kind, reasons, page.words),
        reasons=reasons if reasons is not None and len(reasons) > 1 else [],
        verdict=verdict_lines(notes, begins_text(notes, formats), formats) if "costs_as_is" in notes else [],
        what_if=[(name, value) for name, values in (asked_for or {}).get("what_if", {}).items() for value in values],
        longest=EFFORTS[-1],
        texts=texts,
        anyway=anyway,
        number=number,
        holds=holds_id == plan_id,
        outdated=based_on is not None and holds_id is not None and based_on != holds_id and holds_id != plan_id,
        plan=audited.plan,
        cost=cost_lines(audited, formats, cost_before, notes.get("cost_left")),
        total=page.words("plans.cost_total"),
        proof=proof_text(audited.plan.proof, formats),
        people=people,
        telling=first_telling(audited, formats) if is_first else telling(heard, people, formats),
        do_nothing=[rule_named(unpacked(text)) for text in notes.get("do_nothing_told", notes.get("do_nothing", ()))],
        questions=[one | {"text": unpacked(one.get("told", one["text"]))} for one in notes.get("questions", ())],
        lost=notes.get("lost", []),
        hold_notes=[hold_text(note, formats) for note in audited.plan.hold_notes],
        put_off=[put_off_text(item, formats) for item in notes.get("put_off", ())],
        picture=week_picture(audited, formats, first, SHOWN_DAYS, now, marked=touched, held=held),
        before=before,
        first=first,
        stretches=[
            (begin, page.words("plans.days", first=formats.short_day(begin), last=formats.short_day(end)))
            for begin, end in stretches
        ],
        late=late_lines(audited, page, found)[:SHOWN_LATE],
        loads=len(audited.loads),
    )


def replaces_one(session: Session, plan_id: int) -> bool:
    """Whether another plan has ever held before this one."""
    earlier = select(Publication.id).where(Publication.plan_id != plan_id)
    return session.scalar(earlier.limit(1)) is not None


def plan_head(plan_id: int, kind: str, reasons: Sequence[str] | None, words: Words) -> str:
    """What a plan is called: by its number, and by what has happened or is tried, where that is kept with it."""
    if reasons is None:
        return words("plans.number", n=plan_id)
    if kind == "whatif":
        keys = ("tried.head_of_none", "tried.head", "tried.head_of_many")
    else:
        keys = ("happened.nothing", "happened.head_of_one", "happened.head")
    return words(keys[min(len(reasons), 2)], n=plan_id, what=reasons[0] if reasons else "")


def begins_text(notes: Mapping[str, Any], formats: Formats) -> str:
    """From when on a what-if plans, and why from then."""
    keys = {"now": "tried.from_now", "begin": "tried.from_begin", "day": "tried.from_day"}
    at = formats.clock(iso_minute(notes["begins"]))
    return formats.words(keys[notes["begins_how"]], at=at)


def shown_stretches(made: Plan, studio: Studio, now: Minute) -> list[tuple[date, date]]:
    """The days from now to the plan's last opening, as the first and last days of pictures of a week each."""
    begin = max(day_of(made.begin, studio), day_of(now, studio))
    last = max((firing.out_at for firing in made.firings), default=made.begin)
    end = max(begin, day_of(last, studio))
    firsts = [begin + timedelta(days=number) for number in range(0, (end - begin).days + 1, SHOWN_DAYS)]
    return [(first, min(end, first + timedelta(days=SHOWN_DAYS - 1))) for first in firsts]


def put_off_text(item: Mapping[str, str], formats: Formats) -> str:
    """Work on a kiln that waits until it is empty."""
    was, begins = (formats.clock(iso_minute(item[name])) for name in ("was", "begins"))
    return formats.words("plans.put_off", kiln=item["kiln"], was=was, begins=begins)


def cost_lines(
    audited: AuditedPlan, formats: Formats, before: float | None, left: float | None = None
) -> list[tuple[str, str]]:
    """What the plan costs, by part; of a re-plan also what the plan before cost, and what of that was still to come."""
    words, parts = formats.words, audited.plan.cost_parts
    lines = [
        (words("plans.cost_energy"), formats.money(parts.energy)),
        (words("plans.cost_lateness"), formats.points(parts.lateness)),
        (words("plans.cost_unplaced"), formats.points(parts.unplaced)),
        (words("plans.cost_firings"), formats.points(parts.firings)),
    ]
    if parts.clean_outs:
        lines.append((words("plans.cost_clean_outs"), formats.points(parts.clean_outs)))
    if parts.changes:
        lines.append((words("plans.cost_changes"), formats.points(parts.changes)))
    lines.append((words("plans.cost_total"), formats.points(parts.total)))
    if before is not None:
        lines.append((words("plans.cost_before"), formats.points(before)))
    if left is not None:
        lines.append((words("plans.cost_left"), formats.points(left)))
    return lines


@router.post("/plans/{plan_id}/publish")
def publish(request: Request, service: ServiceDep, who: ManagerDep, plan_id: int, form: FormDep) -> Response:
    """Make a plan the one that holds."""
    try:
        plans.publish(service, who, plan_id, form.whole("publication"), bool(form("anyway")))
    except ProblemError as error:
        texts = told(error)
        for item in error.more.get("changed", ()):
            texts.append(" ".join(str(value) for value in item.values()))
        return plan_page(Page(request, service, who), plan_id, texts, error.name == "plan-outdated")
    return go_to("/day", "done")


@router.get("/trouble")
def trouble(request: Request, service: ServiceDep, who: StaffDep) -> HTMLResponse:
    """What is late or has no place, why, and what would mend it; and where to say that something broke."""
    page = Page(request, service, who)
    with service.store.read() as session:
        publication = current(session)
        if publication is None:
            return page.answer("no_plan.html", head="nav.trouble")
        audited = service.audited(session, publication.plan_id)
        found = asking.answers(session)
        since = [
            load.key
            for load in session.query(BookedLoad).where(BookedLoad.state == "waiting")
            if load.key not in audited.loads
        ]
    page.formats = Formats(audited.studio, page.words)
    late = late_lines(audited, page, found)
    return page.answer(
        "trouble.html", late=late[:SHOWN_LATE], count=len(late), since=since[:SHOWN_LATE], loads=len(audited.loads)
    )


def late_lines(
    audited: AuditedPlan, page: Page, found: Mapping[str, Mapping[str, Any]] | None = None
) -> list[dict[str, Any]]:
    """Each late or unplaced load with its reason, the worst first, and how many mends were found, if asked.

    Where that was asked, the reason is the one that was then solved.
    """
    formats, words = page.formats, page.words
    mends = {load: len(result["mends"]) for load, result in (found or {}).items()}
    solved = {load: why_text(binds_text(result, words), words) for load, result in (found or {}).items()}
    firing_of = {load: firing for firing in audited.plan.firings for load in firing.loads}
    lines: list[dict[str, Any]] = []
    for one in audited.plan.unplaced:
        load = audited.loads[one.load]
        lines.append(
            {
                "load": one.load, "owner": load.owner, "out": "", "promised": _promised(load.promised, formats),
                "late": "", "why": solved.get(one.load) or why_text(one.why, words), "rule": one.rule, "firing": None,
                "mends": mends.get(one.load),
            }
        )  # fmt: skip
    for late in sorted(audited.plan.late, key=lambda row: -row.hours):
        load, firing = audited.loads[late.load], firing_of[late.load]
        lines.append(
            {
                "load": late.load, "owner": load.owner, "out": formats.clock(late.out_at),
                "promised": formats.clock(late.promised), "late": formats.spelt_duration(late.hours * 60),
                "why": solved.get(late.load) or why_text(late.why, words), "rule": "", "firing": firing,
                "mends": mends.get(late.load),
            }
        )  # fmt: skip
    return lines


def _promised(minute: int | None, formats: Formats) -> str:
    return "" if minute is None else formats.clock(minute)
