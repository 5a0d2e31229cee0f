"""Routes of pages: what goes wrong is a page too, and who is not signed in is sent to the door."""

from __future__ import annotations

from collections.abc import Callable, Coroutine, Mapping
from typing import Any
from urllib.parse import quote

from fastapi import Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.responses import RedirectResponse
from fastapi.routing import APIRoute

from api.access import identity_of, service_of
from api.pages.page import Page
from api.problems import ProblemError
from api.security import Role
from api.words import rule_name, tell
from scheduler.audit import BrokenPlanError
from shared.errors import FolderError, KilnrotaError
from shared.texts import Text, said_by, say

NO_PLAN_HEADS = {"sheets": "day.sheets", "sessions": "nav.sessions"}
"""What pages that need a plan are called while there is none, by the first word of their address."""


class PageRoute(APIRoute):
    """A route that answers people."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        """The handler, with errors as pages."""
        handle = super().get_route_handler()

        async def handled(request: Request) -> Response:
            try:
                return await handle(request)
            except KilnrotaError as error:
                return error_page(request, error)
            except RequestValidationError:
                return error_page(request, ProblemError(422, tell("refused.something_this_address")))

        return handled


def error_page(request: Request, error: KilnrotaError) -> Response:
    """The page that tells an error."""
    status = error.status if isinstance(error, ProblemError) else 422
    if status == 401 and request.method == "GET":
        path = request.url.path + (f"?{request.url.query}" if request.url.query else "")
        return RedirectResponse(f"/sign-in?then={quote(path)}", status_code=303)
    page = Page(request, service_of(request), identity_of(request))
    if isinstance(error, ProblemError) and error.name == "no-plan" and page.who is not None:
        head = NO_PLAN_HEADS.get(request.url.path.split("/")[1], "nav.plans")
        return page.answer("no_plan.html", status=status, head=head)
    # A plan made afresh is refused while something heats: the way on is to plan again round it.
    again = isinstance(error, ProblemError) and error.name == "under-way" and request.url.path == "/plans"
    ask = isinstance(error, ProblemError) and error.name == "not-noted"
    answer = page.answer("error.html", status=status, texts=_refusal(error, page) or told(error), again=again, ask=ask)
    if isinstance(error, ProblemError) and "retry-after" in error.headers:
        answer.headers["retry-after"] = error.headers["retry-after"]
    return answer


def _refusal(error: KilnrotaError, page: Page) -> list[str]:
    """What is refused to everybody alike, in the reader's language."""
    name = error.name if isinstance(error, ProblemError) else ""
    words = page.words
    roles = {
        Role.MANAGER: words("people_page.manager"),
        Role.ATTENDANT: words("people_page.attendant"),
        Role.MEMBER: words("people_page.member"),
        Role.DISPLAY: words("door.display"),
    }
    if name == "not-allowed" and page.who is not None:
        return [words("door.not_for_you", role=roles[page.who.role])]
    return [words("door.other_site")] if name == "other-site" else []


def told(error: KilnrotaError, labels: Mapping[str, str] | None = None) -> list[str]:
    """What an error says, one text a fault; a form gives the labels of its fields."""
    names = labels or {}
    if isinstance(error, FolderError):
        return [
            say("text.fault", place=names.get(place, place), problem=fault.problem, remedy=fault.remedy)
            if place
            else tell("refused.and_so", problem=fault.problem, remedy=fault.remedy)
            for fault in error.faults
            for place in [_last_key(fault.place)]
        ]
    if isinstance(error, BrokenPlanError):
        return [say("audit.line_of_plan", rule=rule_name(breach.rule), text=breach.text) for breach in error.breaches]
    return [said_by(error)]


def _last_key(place: str) -> str:
    return place if isinstance(place, Text) and place.key else place.split(" › ")[-1]
