"""Loads: the list with its filters, booking with the earliest promise, and the page of one load."""

from __future__ import annotations

import secrets
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse

from api import booking, team
from api.access import PersonDep, ServiceDep, StaffDep
from api.load_review import Review, families, reviewed
from api.pages.forms import Form, FormDep, field_number
from api.pages.load_form import EACH, body_of, each_labels, fields, values_of
from api.pages.page import Page, go_to
from api.pages.page_route import PageRoute, told
from api.problems import ProblemError
from api.promising import keep_quote, promised_for, quote_for, quoted
from api.service import Service
from api.unnoted import unnoted_firings
from api.words import tell
from shared.clock import Minute, minute_of, read_moment
from shared.errors import FolderError, KilnrotaError
from shared.texts import say

router = APIRouter(include_in_schema=False, route_class=PageRoute)

STATES = ("waiting", "fired", "collected", "cancelled", "lost")
ON_A_PAGE = 100
"""Loads on one page of the list [-]; a thousand of them would be 400 kB."""

Text = Annotated[str, Query(max_length=200)]


@router.get("/loads")
def loads(
    request: Request,
    service: ServiceDep,
    who: PersonDep,
    state: Text = "waiting",
    owner: Text = "",
    profile: Text = "",
    kiln: Text = "",
    late: Text = "",
    start: Annotated[int, Query(ge=0, le=10**6)] = 0,
) -> HTMLResponse:
    """The loads that somebody may see, filtered."""
    page = Page(request, service, who)
    every = booking.listed(service, who, state if state in STATES else None, None, 100_000, 0)
    found = [row for row in every if _fits(row, owner, profile, kiln, late)]
    shown = [load_row(row, page) for row in found[start : start + ON_A_PAGE]]
    known = {
        "owners": sorted({str(row["load"].get("owner", "")) for row in every} - {""}),
        "profiles": [(one.id, one.title) for one in page.studio.profiles],
        "kilns": [(one.id, one.title) for one in page.studio.kilns],
    }
    return page.answer(
        "loads.html",
        rows=shown,
        count=len(found),
        start=start,
        step=ON_A_PAGE,
        asked={"state": state, "owner": owner, "profile": profile, "kiln": kiln, "late": late},
        states=state_names(page),
        known=known,
    )


def _fits(row: dict[str, Any], owner: str, profile: str, kiln: str, late: str) -> bool:
    load, planned = row["load"], row.get("planned")
    if owner and owner.casefold() not in str(load.get("owner", "")).casefold():
        return False
    if profile and load["profile"] != profile:
        return False
    if kiln and (planned is None or planned["kiln"] != kiln):
        return False
    if late == "late":
        return planned is not None and "promised" in load and planned["out_at"][:16] > load["promised"][:16]
    return planned is None if late == "none" else True


def state_names(page: Page) -> dict[str, str]:
    """The states of a load in words."""
    words = page.words
    return {
        "waiting": words("load.waiting"),
        "fired": words("load.fired"),
        "collected": words("load.collected"),
        "cancelled": words("load.cancelled"),
        "lost": words("load.lost"),
    }


def load_row(row: dict[str, Any], page: Page) -> dict[str, Any]:
    """A load as the list and its page show it."""
    load, planned = row["load"], row.get("planned")
    profile = page.studio.profile_by_id.get(load["profile"])
    promised = load.get("promised")
    late = planned is not None and promised is not None and planned["out_at"][:16] > promised[:16]
    return {
        "id": row["id"],
        "version": row["version"],
        "state": row["state"],
        "owner": load.get("owner", ""),
        "profile": load["profile"] if profile is None else profile.title,
        "pieces": load.get("pieces", 1),
        "promised": _clock(promised, page),
        "ready": _clock(load.get("ready"), page),
        "planned": planned,
        "out": _clock(planned["out_at"], page) if planned is not None else "",
        "late": late,
        "note": load.get("note", ""),
    }


def _clock(moment: str | None, page: Page) -> str:
    if moment is None:
        return ""
    return clock_with_year(read_moment(moment, page.studio.place.zone), page)


def clock_with_year(minute: Minute, page: Page) -> str:
    """A time; with its year where that is neither this one nor the coming one, so that no other is taken for it."""
    local, this_year = page.formats.local(minute), page.formats.local(page.service.minute()).year
    if local.year in (this_year, this_year + 1):
        return page.formats.clock(minute)
    return f"{page.formats.short_day(local.date())} {local.year} {local:%H:%M}"


@router.get("/loads/new")
def new(request: Request, service: ServiceDep, who: PersonDep) -> HTMLResponse:
    """The booking form."""
    return form_page(Page(request, service, who), {})


def form_page(
    page: Page,
    values: dict[str, str],
    texts: Sequence[str] = (),
    load: dict[str, Any] | None = None,
    promise: dict[str, Any] | None = None,
    kilns: tuple[str, ...] = (),
    review: Review | None = None,
) -> HTMLResponse:
    """The form for a new load, or for one that is changed; with what is wrong and what is doubtful about it."""
    names = labels(page)
    faults, doubts = ((), ()) if review is None else (review.faults, review.doubts)
    texts = [*texts, *(told(FolderError(faults), names) if faults else ())]
    beside: dict[str, list[str]] = defaultdict(list)
    for fault in faults:
        beside[fault.place.split(" › ")[-1]].append(say("text.and_so", problem=fault.problem, remedy=fault.remedy))
    for doubt in doubts:
        beside[doubt.key].append(doubt.text)
    people = []
    if page.manager and page.who is not None:
        people = [(str(one["id"]), one["name"]) for one in team.people(page.service) if one["active"]]
    return page.answer(
        "load_form.html",
        status=422 if texts or doubts else 200,
        fields=fields(page.words, page.studio, page.staff, families(page.service)),
        beside=beside,
        each=each_labels(page.words),
        doubts=[say("text.doubt", place=names.get(one.key, one.key), text=one.text) for one in doubts],
        token="" if review is None else review.token,
        values=defaultdict(str, values),
        texts=texts,
        load=load,
        people=people,
        key=values.get("key") or secrets.token_urlsafe(12),
        profiles=[(one.id, one.title) for one in page.studio.profiles],
        kilns=[(one.id, one.title, one.id in kilns) for one in page.studio.kilns],
        promise=None if promise is None else promise_texts(promise, page),
    )


@router.post("/loads/new")
def book(request: Request, service: ServiceDep, who: PersonDep, form: FormDep) -> Response:
    """Book a load, or ask when it could be out."""
    page = Page(request, service, who)
    values = {name: form(name) for name in _names(form)}
    try:
        person = form.whole("person") if form("person") else None
        body, unread = body_of(form, page.staff, person is not None)
        review = reviewed(service, who, body, unread)
        if form("ask") and not review.faults:
            answer = promised_for(service, who, body)
            return form_page(page, values, promise=answer, kilns=form.every("kilns"))
        if _must_ask(review, form):
            return form_page(page, values, kilns=form.every("kilns"), review=review)
        offer = quote_for(service, who, body)
        booked = booking.book(service, who, body, person, form("key") or None)
    except KilnrotaError as error:
        return form_page(page, values, told(error, labels(page)), kilns=form.every("kilns"))
    if offer is not None:
        keep_quote(service, who, booked["id"], offer)
    return go_to(f"/loads/{booked['id']}", "done")


def _must_ask(review: Review, form: Form) -> bool:
    """Whether a load is not booked yet: it has faults, or doubts that nobody has said yes to."""
    return bool(review.faults) or (bool(review.doubts) and form("sure") != review.token)


@router.post("/loads/promise")
def promise(request: Request, service: ServiceDep, who: PersonDep, form: FormDep) -> HTMLResponse:
    """The answer alone, for the form to show while somebody types."""
    page = Page(request, service, who)
    try:
        body, unread = body_of(form, page.staff, bool(form("person")))
        if unread:
            raise FolderError(unread)
        answer = promise_texts(promised_for(service, who, body), page)
    except KilnrotaError as error:
        answer = {"main": "", "more": told(error, labels(page))}
    return page.answer("promise.html", promise=answer)


def promise_texts(found: dict[str, Any], page: Page) -> dict[str, Any]:
    """A promise in words."""
    words = page.words
    more = []
    for offer in found["earlier"]:
        more.append(
            words(
                "book.earlier",
                out=_clock(offer["out_at"], page),
                kiln=offer["kiln"],
                price=page.formats.money(offer["price"]),
            )
        )
    if found["offer"] is None:
        return {"main": words("book.no_offer", why=found["why"]), "more": more}
    offer = found["offer"]
    main = words("book.offer", out=_clock(offer["out_at"], page), kiln=offer["kiln"])
    if offer["shares_with"] and page.staff:
        main += " " + words("book.shares", loads=", ".join(offer["shares_with"]))
    return {"main": main, "more": more}


@router.get("/loads/{load_id}")
def load(request: Request, service: ServiceDep, who: PersonDep, load_id: str) -> HTMLResponse:
    """One load: where it is planned, and what can be done with it."""
    page = Page(request, service, who)
    row = booking.one(service, who, load_id)
    return page.answer(
        "load.html",
        row=load_row(row, page),
        load=row["load"],
        number=lambda value: field_number(value, page.words("number.decimal")),
        state=state_names(page)[row["state"]],
        booked=page.formats.clock(minute_of(_when(row["booked_at"]))),
        session_at=_clock(row["load"].get("session_at"), page),
        quote=_quote_text(quoted(service, load_id), page),
        over=_over_unnoted(load_id, service),
    )


def _over_unnoted(load_id: str, service: Service) -> bool:
    """Whether the load should be out of its kiln by now, and nobody has noted anything of its firing."""
    now = service.minute()
    with service.store.read() as session:
        found = unnoted_firings(service, session, now)
    return any(load_id in firing.loads and firing.out_at <= now for firing in found)


def _quote_text(offer: Mapping[str, Any] | None, page: Page) -> str:
    """What was said to whoever booked the load."""
    return (
        "" if offer is None else page.words("load.quoted_text", out=_clock(offer["out_at"], page), kiln=offer["kiln"])
    )


ASKED_FOR = ("ready", "priority")
"""What an address may fill into the form: a change that was found to mend a late load."""


@router.get("/loads/{load_id}/change")
def change_form(request: Request, service: ServiceDep, who: PersonDep, load_id: str) -> HTMLResponse:
    """The form to change a load."""
    row = booking.one(service, who, load_id)
    page = Page(request, service, who)
    asked = request.query_params
    values = values_of(row["load"], page.words("number.decimal")) | {"version": str(row["version"])}
    values |= {name: asked[name][:20] for name in ASKED_FOR if asked.get(name)}
    kilns = tuple(row["load"].get("kilns", ()))
    return form_page(page, values, load=row, kilns=(*kilns, asked["kiln"]) if asked.get("kiln") else kilns)


@router.post("/loads/{load_id}/change")
def change(request: Request, service: ServiceDep, who: PersonDep, load_id: str, form: FormDep) -> Response:
    """Change a load that waits."""
    page = Page(request, service, who)
    try:
        body, unread = body_of(form, page.staff, False)
        review = reviewed(service, who, body, unread, load_id)
        if _must_ask(review, form):
            row = booking.one(service, who, load_id)
            values = {name: form(name) for name in _names(form)}
            return form_page(page, values, load=row, kilns=form.every("kilns"), review=review)
        booking.change(service, who, load_id, form.whole("version"), body)
    except KilnrotaError as error:
        row = booking.one(service, who, load_id)
        values = {name: form(name) for name in _names(form)}
        if isinstance(error, ProblemError) and error.name == "stale":
            values["version"] = str(row["version"])
        return form_page(page, values, told(error, labels(page)), load=row, kilns=form.every("kilns"))
    return go_to(f"/loads/{load_id}", "done")


@router.post("/loads/{load_id}/cancel")
def cancel(service: ServiceDep, who: PersonDep, load_id: str, form: FormDep) -> Response:
    """Take a load off the list."""
    booking.cancel(service, who, load_id, form.whole("version"))
    return go_to(f"/loads/{load_id}", "done")


@router.post("/loads/{load_id}/mark")
def mark(service: ServiceDep, who: StaffDep, load_id: str, form: FormDep) -> Response:
    """Note that a load is dry, or was collected."""
    what = form("what")
    if what not in ("dried", "collected"):
        raise ProblemError(422, tell("refused.mark_neither_dried"), name="faults")
    booking.mark(service, who, load_id, form.whole("version"), what)
    return go_to(f"/loads/{load_id}", "done")


def labels(page: Page) -> dict[str, str]:
    """What the form calls the keys of a load."""
    named = {one.name: one.label for one in fields(page.words, page.studio, page.staff)}
    words = page.words
    return named | each_labels(words) | {"profile": words("book.profile"), "kilns": words("book.kilns")}


def _names(form: Form) -> list[str]:
    known = ("pieces", "footprint_cm2", "height_mm", "mass_kg", "thickness_mm", "diameter_mm", "max_temperature",
             "priority", "profile", "family", "ready", "promised", "after", "gap_hours", "session_hours",
             "session_at", "note", "owner", "stream", "alone", "person", "version", "key",
             *EACH, "each_unit")  # fmt: skip
    return [name for name in known if form(name)]


def _when(text: str) -> datetime:
    return datetime.fromisoformat(text)
