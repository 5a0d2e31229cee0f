"""Paper: the day's sheets, load tags and session lists, to print from the browser or as PDF."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse

from api.access import ServiceDep, StaffDep
from api.day import Day, day_of
from api.formats import Formats
from api.pages.day_pages import named_day, published
from api.pages.page import Page
from api.pages.page_route import PageRoute
from api.problems import ProblemError, not_there
from api.security import SAFE_HEADERS, Identity
from api.service import Service
from api.sheets.pdf import pdf_of_all
from api.sheets.session_list import sessions_sheet
from api.sheets.sheet import Sheet
from api.sheets.tags import tags_page, tags_sheet
from api.sheets.writing import kiln_sheet, overview_sheet
from api.storage.studio_store import waiting_loads
from api.words import tell

router = APIRouter(include_in_schema=False, route_class=PageRoute)

PAPERS = {"a4": "A4", "letter": "letter"}
"""The papers that sheets are made for, as CSS names them."""

OWN_STYLE = {
    "content-security-policy": SAFE_HEADERS["content-security-policy"].replace(
        "default-src 'self'", "default-src 'none'; style-src 'unsafe-inline'"
    )
}
"""Sheets carry their style in themselves, so that a saved one still prints; they load nothing at all."""

TAGS_ON_A_PAGE = 48
"""Tags on one page of the browser [-]: six sheets of paper; a thousand would be 2 MB."""

Paper = Annotated[str, Query(max_length=10)]


class Drawer:
    """The sheets of one day, drawn when asked for."""

    def __init__(self, page: Page, service: Service, day: str, paper: str) -> None:
        audited = published(service)
        if paper not in ("", *PAPERS):
            raise ProblemError(422, tell("refused.paper_neither_a4"), name="faults")
        chosen: date = named_day(day, audited, day_of(service.minute(), audited.studio))
        self.day = Day(audited, chosen)
        self.formats = Formats(audited.studio, page.words)
        self.paper = PAPERS.get(paper, "")
        self.back = f"/sheets/{chosen}"

    def overview(self) -> Sheet:
        """The day on one page."""
        return overview_sheet(self.day, self.formats, self.paper, self.back)

    def kiln(self, kiln_id: str) -> Sheet:
        """One kiln's sheet."""
        for kiln_day in self.day.kilns:
            if kiln_day.kiln.id == kiln_id:
                return kiln_sheet(self.day, kiln_day, self.formats, self.paper, self.back)
        raise not_there("kiln", kiln_id)

    def busy(self) -> list[str]:
        """The kilns that have anything to do on the day."""
        return [kiln_day.kiln.id for kiln_day in self.day.kilns if kiln_day.firings]

    def everything(self) -> bytes:
        """Overview and all sheets as one PDF."""
        return pdf_of_all([self.overview(), *(self.kiln(kiln.kiln.id) for kiln in self.day.kilns)])

    def sessions(self) -> Sheet:
        """The day's sessions."""
        return sessions_sheet(self.day, self.formats, self.paper, self.back)


@router.get("/sheets/{day}")
def sheets(request: Request, service: ServiceDep, who: StaffDep, day: str) -> HTMLResponse:
    """What can be printed for a day."""
    page = Page(request, service, who)
    drawer = Drawer(page, service, day, "")
    return page.answer(
        "sheets.html",
        day=drawer.day.date.isoformat(),
        title=drawer.formats.long_day(drawer.day.date),
        before=(drawer.day.date - timedelta(days=1)).isoformat(),
        after=(drawer.day.date + timedelta(days=1)).isoformat(),
        kilns=drawer.day.kilns,
        busy=drawer.busy(),
    )


@router.get("/sheets/{day}/all.pdf")
def all_pdf(request: Request, service: ServiceDep, who: StaffDep, day: str, paper: Paper = "a4") -> Response:
    """Overview and all kilns' sheets as one PDF."""
    drawer = Drawer(Page(request, service, who), service, day, paper)
    return _pdf(drawer.everything, f"sheets-{drawer.day.date}.pdf")


@router.get("/sheets/{day}/overview")
def overview(request: Request, service: ServiceDep, who: StaffDep, day: str, paper: Paper = "") -> HTMLResponse:
    """The day on one page."""
    return HTMLResponse(_drawer(request, service, who, day, paper).overview().page(), headers=OWN_STYLE)


@router.get("/sheets/{day}/kiln/{kiln_id}")
def kiln(
    request: Request, service: ServiceDep, who: StaffDep, day: str, kiln_id: str, paper: Paper = ""
) -> HTMLResponse:
    """One kiln's sheet."""
    return HTMLResponse(_drawer(request, service, who, day, paper).kiln(kiln_id).page(), headers=OWN_STYLE)


@router.get("/sessions")
def sessions(
    request: Request, service: ServiceDep, who: StaffDep, day: Annotated[str, Query(alias="date", max_length=20)] = "",
    paper: Paper = "",
) -> HTMLResponse:  # fmt: skip
    """The casting and enamel sessions of a day."""
    return HTMLResponse(_drawer(request, service, who, day, paper).sessions().page(), headers=OWN_STYLE)


@router.get("/tags")
def tags(
    request: Request, service: ServiceDep, who: StaffDep, load: Annotated[str, Query(max_length=60)] = "",
    paper: Paper = "", pdf: bool = False, start: Annotated[int, Query(ge=0, le=10**6)] = 0,
) -> Response:  # fmt: skip
    """The tags of the loads that wait, or of one."""
    page = Page(request, service, who)
    with service.store.read() as session:
        loads = [one for one in waiting_loads(session) if load in ("", one.id)]
    if load and not loads:
        raise not_there("waiting_load", load)
    url, size = service.settings.public_url, PAPERS.get(paper, "")
    if pdf:
        return _pdf(lambda: pdf_of_all([tags_sheet(loads, page.formats, url, size)]), "tags.pdf")
    following = f"/tags?start={start + TAGS_ON_A_PAGE}" if start + TAGS_ON_A_PAGE < len(loads) else ""
    shown = loads[start : start + TAGS_ON_A_PAGE]
    return HTMLResponse(tags_page(shown, page.formats, url, size, following, "/loads"), headers=OWN_STYLE)


def _drawer(request: Request, service: Service, who: Identity, day: str, paper: str) -> Drawer:
    return Drawer(Page(request, service, who), service, day, paper)


def _pdf(make: Callable[[], bytes], name: str) -> Response:
    return Response(make(), media_type="application/pdf", headers={"content-disposition": f'inline; filename="{name}"'})
