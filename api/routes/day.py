"""The day: tomorrow or any date, by kiln or person; what really happens; notices."""

from __future__ import annotations

import json
import tempfile
from datetime import timedelta
from pathlib import Path
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Query, Request, Response
from fastapi.concurrency import run_in_threadpool

from api import day_view, firings, holds, notices
from api.access import PersonDep, ServiceDep, StaffDep, ViewerDep
from api.problems import ProblemError
from api.routes import shapes
from api.routes.events import instant
from api.service import Service
from api.words import tell
from shared.files import FiringLog, read_log

READING_EXAMPLE = '{"at": "2026-11-30T18:00:00+01:00", "temperature": 612.5}'

router = APIRouter(tags=["day"])
streams = APIRouter(include_in_schema=False)

Text = Annotated[str | None, Query(max_length=60)]


@router.get("/day", response_model=shapes.DayShown)
def day(
    service: ServiceDep,
    who: ViewerDep,
    date: Annotated[str | None, Query(max_length=20, examples=["tomorrow", "2026-11-30"])] = None,
    kiln: Text = None,
    person: Annotated[int | None, Query(ge=1, le=2**31 - 1)] = None,
) -> Response:
    """A day of the published plan, tomorrow unless one is named; members see the firings of their own loads."""
    return Response(day_view.day_bytes(service, who, date, kiln, person), media_type="application/json")


@router.post("/firings/{firing_id}/loaded", response_model=shapes.RecordShown)
def loaded(service: ServiceDep, who: StaffDep, firing_id: str, body: shapes.StepTapped) -> dict[str, Any]:
    """Note that a firing is loaded."""
    return firings.tap(service, who, firing_id, "loaded", _tap(body))


@router.post("/firings/{firing_id}/started", response_model=shapes.RecordShown)
def started(service: ServiceDep, who: StaffDep, firing_id: str, body: shapes.StepTapped) -> dict[str, Any]:
    """Note that a firing has started."""
    return firings.tap(service, who, firing_id, "started", _tap(body))


@router.post("/firings/{firing_id}/opened", response_model=shapes.RecordShown)
def opened(service: ServiceDep, who: StaffDep, firing_id: str, body: shapes.OpenedTapped) -> dict[str, Any]:
    """Note that a firing was opened, and how it came out."""
    said = firings.Tap(body.version, _at(body), body.note, body.result, body.kwh)
    return firings.tap(service, who, firing_id, "opened", said)


@router.post("/firings/{firing_id}/hold", response_model=shapes.HoldShown)
def hold(service: ServiceDep, who: StaffDep, firing_id: str) -> dict[str, Any]:
    """Fix a firing where it is: no plan and no re-plan moves it, unless it has become impossible."""
    holds.hold(service, who, firing_id)
    return {"firing": firing_id, "held": True}


@router.post("/firings/{firing_id}/let-go", response_model=shapes.HoldShown)
def let_go(service: ServiceDep, who: StaffDep, firing_id: str) -> dict[str, Any]:
    """Let planning move a firing again."""
    holds.let_go(service, who, firing_id)
    return {"firing": firing_id, "held": False}


@router.post("/firings/{firing_id}/readings", response_model=shapes.Followed)
def readings(service: ServiceDep, who: StaffDep, firing_id: str, body: shapes.ReadingsBody) -> dict[str, Any]:
    """Keep temperatures of a running firing; its expected end follows them."""
    studio = _studio(service)
    pairs = [(instant(item.at), firings.reading_c(item.temperature, studio)) for item in body.readings]
    return firings.add_readings(service, who, firing_id, pairs)


@router.post("/firings/{firing_id}/log", response_model=shapes.Followed)
def log(
    service: ServiceDep,
    who: StaffDep,
    firing_id: str,
    text: Annotated[str, Body(media_type="text/csv", max_length=8_000_000)],
) -> dict[str, Any]:
    """Keep a logger's CSV file: a column of times and one of temperatures."""
    return firings.add_readings(service, who, firing_id, _of_log(service, firing_id, text))


@streams.post("/firings/{firing_id}/stream")
async def stream(service: ServiceDep, who: StaffDep, firing_id: str, request: Request) -> dict[str, Any]:
    """Keep temperatures as they come: one JSON object a line, ``{"at": …, "temperature": …}``."""
    studio = await run_in_threadpool(_studio, service)
    rest, answer = b"", {}
    async for chunk in request.stream():
        *lines, rest = (rest + chunk).split(b"\n")
        if len(rest) > 1000:
            raise ProblemError(422, tell("refused.line_too_long"), name="faults")
        pairs = [_line(line, studio) for line in lines if line.strip()]
        if pairs:
            answer = await run_in_threadpool(firings.add_readings, service, who, firing_id, pairs)
    if rest.strip():
        answer = await run_in_threadpool(firings.add_readings, service, who, firing_id, [_line(rest, studio)])
    return answer


@router.get("/records", response_model=list[shapes.RecordShown])
def records(service: ServiceDep, who: StaffDep) -> list[dict[str, Any]]:
    """What really happened, the newest first."""
    return firings.records(service)


@router.get("/records/{record_id}/readings", response_model=list[shapes.ReadingShown])
def record_readings(service: ServiceDep, who: StaffDep, record_id: int) -> list[dict[str, Any]]:
    """The temperatures of one firing."""
    return firings.readings_of(service, record_id)


@router.get("/notices", response_model=list[shapes.NoticeShown])
def listed(service: ServiceDep, who: PersonDep, which: Literal["open", "all"] = "open") -> list[dict[str, Any]]:
    """What is to be looked at; members see what concerns their own loads."""
    return notices.listed(service, who, which == "all")


@router.post("/notices/{notice_id}/seen", response_model=shapes.NoticeShown)
def seen(service: ServiceDep, who: PersonDep, notice_id: int) -> dict[str, Any]:
    """Note that a notice has been seen."""
    return notices.seen(service, who, [notice_id])[0]


def _at(body: shapes.StepTapped) -> Any:
    return None if body.at is None else instant(body.at)


def _tap(body: shapes.StepTapped) -> firings.Tap:
    return firings.Tap(body.version, _at(body), body.note)


def _studio(service: Service) -> Any:
    with service.store.read() as session:
        return service.studio(session)


def _line(line: bytes, studio: Any) -> Any:
    try:
        item = shapes.ReadingBody.model_validate(json.loads(line))
    except ValueError:
        raise ProblemError(422, tell("refused.line_no_reading", example=READING_EXAMPLE), name="faults") from None
    return instant(item.at), firings.reading_c(item.temperature, studio)


def _of_log(service: Service, firing_id: str, text: str) -> Any:
    studio = _studio(service)
    with tempfile.TemporaryDirectory(prefix="kilnrota-") as folder:
        path = Path(folder) / "log.csv"
        path.write_text(text, encoding="utf-8")
        found: FiringLog = read_log(path, studio.place.temperature, studio.place.zone)
    began = firings.log_begins(service, firing_id, found.began)
    return [
        (began + timedelta(minutes=float(minutes)), float(heat))
        for minutes, heat in zip(found.elapsed_minutes, found.temperature_c, strict=True)
    ]
