"""Firings that have begun by the plan and that nobody has noted: the question what became of them, and its answer."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse

from api import plans
from api.access import ServiceDep, StaffDep
from api.pages.asked_firings import asked_firings
from api.pages.forms import Form, FormDep
from api.pages.page import Page, go_to
from api.pages.page_route import PageRoute, told
from api.pages.plan_pages import effort_of
from api.problems import ProblemError
from api.security import Identity
from api.service import Service
from api.unnoted import note_as_planned, unnoted_firings
from api.words import tell
from shared.errors import KilnrotaError

router = APIRouter(include_in_schema=False, route_class=PageRoute)


@router.get("/unnoted")
def unnoted(request: Request, service: ServiceDep, who: StaffDep) -> HTMLResponse:
    """The question."""
    return _unnoted_page(Page(request, service, who), Form({}), [])


@router.post("/unnoted")
def answer(request: Request, service: ServiceDep, who: StaffDep, form: FormDep) -> Response:
    """Note what went by the plan; what did not happen is planned again."""
    page = Page(request, service, who)
    try:
        answered = note_answers(service, who, form)
    except KilnrotaError as error:
        return _unnoted_page(page, form, told(error))
    if not (answered and form.every("not")):
        return go_to("/day", "done")
    happened = plans.Happened(by_records=True)
    return go_to(f"/jobs/{plans.ask_replan(service, who, happened, effort_of(form), {'broke': {'unnoted': ['1']}})}")


def _unnoted_page(page: Page, said: Form, texts: list[str]) -> HTMLResponse:
    return page.answer(
        "unnoted.html", status=422 if texts else 200, unnoted=asked_firings(page), ticked=said.every, texts=texts
    )


def note_answers(service: Service, who: Identity, form: Form) -> bool:
    """Note what a form says of firings that nobody had noted; whether there were any.

    Raises
    ------
    ProblemError
        If it does not say what became of one of them.
    """
    with service.store.read() as session:
        asked = [firing.id for firing in unnoted_firings(service, session, service.minute())]
    went = [name for name in asked if name not in form.every("not")]
    if went and form("others") != "went":
        raise ProblemError(409, tell("refused.say_what_became", firings=tuple(went)), name="not-noted")
    note_as_planned(service, who, went)
    return bool(asked)
