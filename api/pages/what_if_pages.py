"""What-ifs by form: what can be supposed, and the solve that it leads to."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Query, Request, Response
from fastapi.responses import HTMLResponse

from api import what_ifs
from api.access import ManagerDep, ServiceDep
from api.pages.forms import FormDep, field_number, field_query
from api.pages.page import Page, go_to
from api.pages.page_route import PageRoute, told
from api.pages.plan_pages import effort_of
from api.pages.supposed_tariff import tariff_labels
from api.pages.supposing import supposed
from api.problems import ProblemError
from api.tariff_words import clock_text, tariff_told
from shared.clock import WEEKDAYS
from shared.errors import KilnrotaError
from shared.studio import Shift

router = APIRouter(include_in_schema=False, route_class=PageRoute)

SUPPOSED = ("kiln", "circuit", "amps", "loads", "flat", "price")
"""Fields of a what-if that keep what was said in them."""

NOTHING_SAID = dict.fromkeys((*SUPPOSED, "days", "opens", "closes"), "")

FIELDS = (
    "try", "shift", "days", "from", "to", "hands", "kiln", "circuit", "amps", "begins", "ends", "loads", "flat",
    "price",
)  # fmt: skip
"""All fields that say what is supposed: kept, so that the same can be searched longer."""


@router.get("/what-if")
def what_if_form(
    request: Request,
    service: ServiceDep,
    who: ManagerDep,
    kiln: Annotated[str, Query(max_length=60)] = "",
    circuit: Annotated[str, Query(max_length=60)] = "",
    asked: Annotated[str, Query(alias="try", max_length=20)] = "",
    amps: Annotated[str, Query(max_length=20)] = "",
    loads: Annotated[str, Query(max_length=200)] = "",
) -> HTMLResponse:
    """What can be supposed."""
    page = Page(request, service, who)
    amps = field_query(amps, page.words("number.decimal"))
    return what_if_page(page, asked, {"kiln": kiln, "circuit": circuit, "amps": amps, "loads": loads}, [])


def what_if_page(page: Page, asked: str, values: dict[str, str], texts: list[str]) -> HTMLResponse:
    """The forms for each thing that can be supposed."""
    decimal = page.words("number.decimal")
    return page.answer(
        "what_if.html",
        status=422 if texts else 200,
        asked=asked,
        values=NOTHING_SAID | values,
        texts=texts,
        kilns=[(kiln.id, kiln.title) for kiln in page.studio.kilns],
        circuits=[(one.id, f"{one.id} ({field_number(one.breaker_amps, decimal)} A)") for one in page.studio.circuits],
        tariff=page.words("what_if.tariff_now", prices=tariff_told(page.studio.tariff, page.studio.place.currency)),
        price_labels=tariff_labels(page.words, page.studio),
        shifts=[(str(number), _shift_text(shift, page)) for number, shift in enumerate(page.studio.shifts)],
        weekdays=list(zip(("mon", "tue", "wed", "thu", "fri", "sat", "sun"),
                          page.words.each("calendar.weekdays"), strict=True)),
    )  # fmt: skip


def _shift_text(shift: Shift, page: Page) -> str:
    """A shift by its days, its times and who has it."""
    names = dict(zip(WEEKDAYS, page.words.each("calendar.weekdays_short"), strict=True))
    days = page.formats.short_day(shift.on) if shift.on else ", ".join(names[day] for day in shift.days)
    times = f"{clock_text(shift.opens)}–{clock_text(shift.closes)}"
    return f"{days} {times} {shift.who or ''}".strip()


@router.post("/what-if")
def what_if(request: Request, service: ServiceDep, who: ManagerDep, form: FormDep) -> Response:
    """Plan as if; the plan is then shown beside the one that holds."""
    page = Page(request, service, who)
    try:
        job = what_ifs.ask_what_if(
            service,
            who,
            None,
            effort_of(form),
            supposed(form, page.studio, page.words),
            {"page": form("try"), "what_if": {name: list(form.every(name)) for name in FIELDS if form.every(name)}},
        )
    except KilnrotaError as error:
        if isinstance(error, ProblemError) and error.name == "not-noted":
            raise  # its page leads to where that is answered
        values, labels = {name: form(name) for name in SUPPOSED}, None
        if form("try") == "tariff":
            values |= {"days": " ".join(form.every("days")), "opens": form("from"), "closes": form("to")}
            labels = tariff_labels(page.words, page.studio)
        return what_if_page(page, form("try"), values, told(error, labels))
    return go_to(f"/jobs/{job}")
