"""What is refused outside of any page's own code: a small page for people, a problem document for programs."""

from __future__ import annotations

from fastapi import Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from api import problems
from api.logs import LOGGER
from api.pages.page import language_of
from api.pages.page_route import error_page
from api.problems import ProblemError
from api.words import read_words

API = "/api/"
"""Where programs ask; what is asked there is answered in JSON."""


def is_for_people(request: Request) -> bool:
    """Whether a browser asks for a page."""
    return not request.url.path.startswith(API) and "text/html" in request.headers.get("accept", "")


async def refused(request: Request, error: ProblemError) -> Response:
    """The answer to a request that is refused."""
    if not is_for_people(request):
        return problems.answer(error)
    return await run_in_threadpool(error_page, request, error)


async def answer_http(request: Request, error: Exception) -> Response:
    """Answer what the framework refuses by itself: unknown addresses, methods that an address does not take."""
    if not isinstance(error, HTTPException) or not is_for_people(request):
        return await problems.answer_http(request, error)
    words = read_words(language_of(request))
    texts = {404: words("door.no_page"), 405: words("door.not_so"), 413: words("door.too_large")}
    text = texts.get(error.status_code, str(error.detail))
    return await refused(request, ProblemError(error.status_code, text, headers=error.headers))


async def answer_unexpected(request: Request, error: Exception) -> Response:
    """Answer an error of the program's own, without its insides; the log has them."""
    if is_for_people(request):
        try:
            text = read_words(language_of(request))("door.failed")
            return await refused(request, ProblemError(500, text))
        except Exception:
            LOGGER.exception("the page that tells an error failed too")
    return await problems.answer_unexpected(request, error)
