"""Why one load is late or has no place, and what would mend it: solved in the background, each with its action."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from api import asking, booking
from api.access import ManagerDep, ServiceDep, StaffDep
from api.firings import current_plan_id
from api.formats import Formats
from api.pages.forms import FormDep
from api.pages.mends import binds_text, mends_of
from api.pages.page import Page, go_to
from api.pages.page_route import PageRoute, told
from api.pages.shifts import add_shift, remove_shift, shift_form, shift_labels
from api.problems import ProblemError, not_there
from api.words import tell
from shared.clock import iso_minute
from shared.errors import KilnrotaError

router = APIRouter(include_in_schema=False, route_class=PageRoute)


@router.get("/trouble/{load_id}")
def why(request: Request, service: ServiceDep, who: StaffDep, load_id: str) -> HTMLResponse:
    """What keeps the load, and what would mend it, once that has been asked."""
    page = Page(request, service, who)
    with service.store.read() as session:
        audited = service.audited(session, current_plan_id(session))
        found = asking.answers(session).get(load_id)
    if load_id not in audited.loads:
        raise not_there("load", load_id)
    row = booking.one(service, who, load_id)
    page.formats = formats = Formats(audited.studio, page.words)
    load = audited.loads[load_id]
    firing = next((firing for firing in audited.plan.firings if load_id in firing.loads), None)
    return page.answer(
        "why.html",
        load=load,
        firing=firing,
        promised="" if load.promised is None else formats.clock(load.promised),
        now_promised=_promised_since(row, load.promised, formats),
        found=found,
        binds="" if found is None else binds_text(found, page.words),
        mends=[] if found is None else mends_of(found, row["version"], formats),
    )


@router.post("/trouble/{load_id}/mends")
def ask(service: ServiceDep, who: StaffDep, load_id: str, form: FormDep) -> Response:
    """Have what would mend the load solved."""
    job = asking.ask_why(service, who, load_id, form.whole("work") if form("work") else None)
    return go_to(f"/jobs/{job}")


@router.post("/trouble/{load_id}/promise")
def promise(service: ServiceDep, who: StaffDep, load_id: str, form: FormDep) -> Response:
    """Promise another time, and tell the owner."""
    asking.promise_later(service, who, load_id, form.whole("version"), form("promised"))
    return go_to(f"/trouble/{load_id}", "done")


@router.get("/shifts")
def shifts(request: Request, service: ServiceDep, who: ManagerDep) -> HTMLResponse:
    """The shifts, and the form for one more, filled in as the address asks."""
    page = Page(request, service, who)
    asked = {name: request.query_params.get(name, "")[:40] for name in ("from", "to", "skills", "hands")}
    return page.answer("shifts.html", texts=[], **shift_form(page, asked))


@router.post("/shifts")
def one_more_shift(request: Request, service: ServiceDep, who: ManagerDep, form: FormDep) -> Response:
    """Add a shift."""
    try:
        add_shift(service, who, form)
    except KilnrotaError as error:
        page = Page(request, service, who)
        texts = told(error, shift_labels(page.words))
        return page.answer("shifts.html", status=422, texts=texts, **shift_form(page, {}, form))
    return go_to("/shifts", "done")


@router.post("/shifts/{key}/end")
def no_more(service: ServiceDep, who: ManagerDep, key: str, form: FormDep) -> Response:
    """Remove a shift."""
    remove_shift(service, who, key, form.whole("version"))
    return go_to("/shifts", "done")


def _promised_since(row: dict[str, Any], planned: int | None, formats: Formats) -> str:
    """The promise as it is now, where it is not the one that the plan was made for."""
    text = row["load"].get("promised")
    if row["state"] != "waiting" or text is None:
        return ""
    try:
        now = iso_minute(text)
    except ValueError:
        raise ProblemError(409, tell("refused.promise_cannot_read"), name="faults") from None
    return "" if now == planned else formats.clock(now)
