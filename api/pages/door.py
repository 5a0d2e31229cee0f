"""Signing in and out, the first password, the language; and the few files that pages load."""

from __future__ import annotations

from urllib.parse import urlsplit

from fastapi import APIRouter, Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from api import team
from api.access import ANYBODY, COOKIE, PersonDep, ServiceDep, identity_of
from api.pages.forms import FormDep
from api.pages.page import LANGUAGE_COOKIE, LANGUAGES, Page, go_to, static_files
from api.pages.page_route import PageRoute, told
from api.problems import ProblemError, not_there
from api.security import Role
from api.service import Service

router = APIRouter(include_in_schema=False, route_class=PageRoute)

YEAR_SECONDS = 366 * 86_400


@router.get("/", dependencies=[ANYBODY])
def front(request: Request) -> RedirectResponse:
    """On to the page that somebody most likely wants."""
    who = identity_of(request)
    if who is None:
        return go_to("/sign-in")
    return go_to("/loads" if who.role == Role.MEMBER else "/day")


@router.get("/sign-in", dependencies=[ANYBODY])
def door(request: Request, service: ServiceDep, then: str = "") -> HTMLResponse:
    """The form to sign in."""
    return Page(request, service).answer("sign_in.html", then=then, name="", texts=[])


@router.post("/sign-in", dependencies=[ANYBODY])
def come_in(request: Request, service: ServiceDep, form: FormDep) -> Response:
    """Sign in with name and password."""
    try:
        secret = service.accounts.sign_in(
            form("name"),
            form("password"),
            request.client.host if request.client is not None else "unknown",
            request.headers.get("user-agent", ""),
            service.now(),
            service.settings.session_length,
        )
    except ProblemError as error:
        page = Page(request, service)
        answer = page.answer(
            "sign_in.html", status=error.status, then=form("then"), name=form("name"), texts=told(error)
        )
        answer.headers.update(error.headers)
        return answer
    return _with_session(go_to(_within(form("then"))), service, secret)


@router.get("/welcome", dependencies=[ANYBODY])
def first_door(request: Request, service: ServiceDep, link: str = "") -> HTMLResponse:
    """The form behind a one-time link."""
    return _welcome_page(request, service, link, "", [])


def _welcome_page(request: Request, service: Service, link: str, name: str, texts: list[str]) -> HTMLResponse:
    """The form behind a one-time link: whoever has an account is told whose it is, and gives no name."""
    invited = service.accounts.invited(link, service.now())
    return Page(request, service).answer("welcome.html", link=link, name=name, texts=texts, invited=invited or "")


@router.post("/welcome", dependencies=[ANYBODY])
def first_password(request: Request, service: ServiceDep, form: FormDep) -> Response:
    """Use a one-time link, and sign in with the password that it has set."""
    try:
        person = service.accounts.accept(form("link"), form("name") or None, form("password"), service.now())
        secret = service.accounts.sign_in(
            person.name, form("password"), "first", request.headers.get("user-agent", ""), service.now(),
            service.settings.session_length,
        )  # fmt: skip
    except ProblemError as error:
        answer = _welcome_page(request, service, form("link"), form("name"), told(error))
        answer.status_code = error.status
        return answer
    return _with_session(go_to("/"), service, secret)


@router.post("/sign-out")
def leave(service: ServiceDep, who: PersonDep) -> Response:
    """End this session."""
    kind, number = who.credential
    if kind == "session":
        team.end_session(service, who, number)
    answer = go_to("/sign-in")
    answer.delete_cookie(COOKIE)
    return answer


@router.post("/language", dependencies=[ANYBODY])
def language(form: FormDep) -> Response:
    """Choose the language of the pages."""
    chosen = form("language") if form("language") in LANGUAGES else LANGUAGES[0]
    answer = go_to(_within(form("back")))
    answer.set_cookie(LANGUAGE_COOKIE, chosen, max_age=YEAR_SECONDS, httponly=True, samesite="lax")
    return answer


@router.get("/favicon.ico", dependencies=[ANYBODY])
def favicon() -> Response:
    """The picture that browsers ask for unasked."""
    return static("icon.svg")


@router.get("/static/{name}", dependencies=[ANYBODY])
def static(name: str) -> Response:
    """One of the files that pages load."""
    if name not in static_files():
        raise not_there("file", name)
    content, kind = static_files()[name]
    return Response(content, media_type=kind, headers={"cache-control": f"public, max-age={YEAR_SECONDS}, immutable"})


def _within(path: str) -> str:
    """A path of this site; anything else leads to the front."""
    parts = urlsplit(path)
    inside = not parts.scheme and not parts.netloc and path.startswith("/") and not path.startswith("//")
    return path if inside and "\\" not in path and "\n" not in path else "/"


def _with_session(answer: RedirectResponse, service: Service, secret: str) -> RedirectResponse:
    answer.set_cookie(
        COOKIE,
        secret,
        max_age=int(service.settings.session_length.total_seconds()),
        httponly=True,
        samesite="lax",
        secure=service.settings.cookies_are_secure,
    )
    return answer
