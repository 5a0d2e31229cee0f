"""What goes wrong, as problem documents (RFC 9457). Where a fault is known, it is the same ``Fault`` as everywhere."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fastapi import Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field
from starlette.exceptions import HTTPException

from api.words import tell
from scheduler.audit import BrokenPlanError
from shared.errors import Fault, FolderError, KilnrotaError
from shared.files.toml_tables import key_path
from shared.files.values import clipped
from shared.files.wording import plain_words
from shared.texts import Text

MEDIA_TYPE = "application/problem+json"

TITLES = {
    400: "problem.cannot_be_read",
    401: "problem.sign_in",
    403: "problem.not_for_role",
    404: "problem.not_there",
    405: "problem.no_method",
    409: "problem.changed",
    410: "problem.gone",
    413: "problem.too_large",
    415: "problem.wrong_kind",
    422: "problem.cannot_be_used",
    429: "problem.too_many",
    500: "problem.own_error",
    503: "problem.not_ready",
}
"""The titles' keys in the catalogue, by status."""


class FaultShown(BaseModel):
    """One thing wrong: where, what, and what would be right."""

    file: str = Field(description="What it is about: a file, a table or the part of the request.")
    place: str
    problem: str
    remedy: str


class ProblemDocument(BaseModel):
    """A problem document as RFC 9457 describes it."""

    type: str = Field(description="about:blank, or a path that names the problem.")
    title: str
    status: int
    detail: str
    faults: list[FaultShown] = []
    changed: list[dict[str, Any]] = Field(default=[], description="Of a 409: what has changed since.")
    current: dict[str, Any] | None = Field(default=None, description="Of a 409: how it is now.")


class ProblemError(KilnrotaError):
    """A request that cannot be answered as asked.

    Parameters
    ----------
    status
        HTTP status.
    detail
        What is wrong and what would be right.
    name
        Short name of the problem, for programs.
    more
        Further members of the document.
    headers
        Headers of the answer.
    """

    def __init__(
        self,
        status: int,
        detail: str,
        *,
        name: str = "",
        more: Mapping[str, Any] | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.status, self.name = status, name
        self.more, self.headers = dict(more or {}), dict(headers or {})


def thing(what: str) -> Text:
    """What a thing is called: one that people or the studio's files name."""
    return tell(f"thing.{what}")


def not_there(what: str, key: object) -> ProblemError:
    """The problem of something that does not exist, or that this person may not see."""
    return ProblemError(
        404, tell("refused.there_no_look", what=thing(what), key=repr(clipped(str(key)))), name="not-there"
    )


def answer(error: KilnrotaError) -> JSONResponse:
    """The problem document of an error that the program tells a person."""
    if isinstance(error, ProblemError):
        return problem(error.status, str(error), name=error.name, more=error.more, headers=error.headers)
    if isinstance(error, FolderError):
        many = tell("refused.one_thing") if len(error.faults) == 1 else tell("refused.things", faults=len(error.faults))
        return problem(
            422, tell("refused.cannot_be_used", many=many, faults=error.faults[0]), name="faults", faults=error.faults
        )
    if isinstance(error, BrokenPlanError):
        broken = [{"rule": breach.rule, "firing": breach.firing_id, "text": breach.text} for breach in error.breaches]
        return problem(409, str(error), name="broken-plan", more={"changed": broken})
    return problem(422, str(error), name="cannot-be-done")


def problem(
    status: int,
    detail: str,
    *,
    name: str = "",
    faults: Sequence[Fault] = (),
    more: Mapping[str, Any] | None = None,
    headers: Mapping[str, str] | None = None,
) -> JSONResponse:
    """A problem document."""
    body: dict[str, Any] = {
        "type": f"/problems/{name}" if name else "about:blank",
        "title": tell(TITLES.get(status, "problem.some")),
        "status": status,
        "detail": detail,
    }
    if faults:
        body["faults"] = [{"file": f.file, "place": f.place, "problem": f.problem, "remedy": f.remedy} for f in faults]
    body |= more or {}
    return JSONResponse(body, status_code=status, headers=dict(headers or {}), media_type=MEDIA_TYPE)


async def answer_told(request: Request, error: Exception) -> JSONResponse:
    """Answer an error of our own tree."""
    if not isinstance(error, KilnrotaError):
        raise error
    return answer(error)


async def answer_invalid(request: Request, error: Exception) -> JSONResponse:
    """Answer a request whose parts do not have the documented form."""
    if not isinstance(error, RequestValidationError):
        raise error
    faults = []
    for detail in error.errors():
        where, *path = detail["loc"]
        kind = str(detail["type"])
        if kind == "json_invalid":
            faults.append(Fault("body", "", tell("refused.is_not_json"), tell("refused.send_json_object")))
            continue
        told, remedy = plain_words(detail, "")
        if remedy.startswith("see the description"):
            remedy = tell("refused.see_apis_description")
        faults.append(Fault(str(where), " › ".join(key_path(list(path))), told, remedy))
    return answer(
        FolderError(faults or [Fault("request", "", tell("refused.cannot_be_read"), tell("refused.see_the_apis"))])
    )


async def answer_http(request: Request, error: Exception) -> JSONResponse:
    """Answer what the framework refuses by itself: unknown paths, wrong methods."""
    if not isinstance(error, HTTPException):
        raise error
    detail = str(error.detail)
    if error.status_code == 404:
        detail = tell("refused.there_nothing_this")
    if error.status_code == 405:
        detail = tell("refused.this_address_does", method=request.method)
    return problem(error.status_code, detail, headers=error.headers)


async def answer_unexpected(request: Request, error: Exception) -> JSONResponse:
    """Answer an error of the program's own, without its insides; the log has them."""
    return problem(500, tell("refused.service_failed_on"))


PROBLEM_RESPONSES: dict[int | str, dict[str, Any]] = {
    "4XX": {
        "model": ProblemDocument,
        "description": "A problem document (RFC 9457)",
        "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/ProblemDocument"}}},
    },
}
"""How every route documents its problems."""
