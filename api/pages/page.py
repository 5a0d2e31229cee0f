"""What every page has: the studio, words in the reader's language, who reads; and how a template becomes an answer."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files
from typing import Any
from urllib.parse import quote

from fastapi import Request
from fastapi.responses import HTMLResponse, RedirectResponse

from api.formats import Formats
from api.security import Identity, Role
from api.service import Service
from api.sheets.environment import template_environment
from api.words import Words, read_words

LANGUAGES = ("en", "de")
"""The catalogues that there are; the first one is used where none fits."""

LANGUAGE_COOKIE = "kilnrota_language"

TABS = {
    "broke": "/trouble", "jobs": "/plans", "firings": "", "display": "",
    **dict.fromkeys(
        ("kilns", "circuits", "what-if", "tags", "sessions", "shifts", "people", "costs", "sheets"), "/more"
    ),
}  # fmt: skip
"""Under which tab a page is found, by the first word of its address, where that is not the tab's own."""


class Page:
    """One request for a page, and what its template needs."""

    def __init__(self, request: Request, service: Service, who: Identity | None = None) -> None:
        self.request, self.service, self.who = request, service, who
        with service.store.read() as session:
            self.studio = service.studio(session)
        self.language = language_of(request)
        self.words: Words = read_words(self.language)
        self.formats = Formats(self.studio, self.words)

    @property
    def manager(self) -> bool:
        """Whether the manager reads."""
        return self.who is not None and self.who.role == Role.MANAGER

    @property
    def staff(self) -> bool:
        """Whether a manager or an attendant reads."""
        return self.who is not None and self.who.staff

    @property
    def tab(self) -> str:
        """The address of the tab under which the page is to be found; empty where it could be several."""
        path = self.request.url.path
        if path == "/loads/new" and not self.staff:
            return path
        first = path.split("/")[1]
        return TABS.get(first, f"/{first}")

    def text(self, template: str, **values: Any) -> str:
        """A template of ``api/templates/pages`` filled in."""
        now = self.service.minute()
        return (
            template_environment()
            .get_template(f"pages/{template}")
            .render(
                page=self,
                words=self.words,
                formats=self.formats,
                studio_name=self.studio.place.name,
                who=self.who,
                here=self.request.url.path,
                tab=self.tab,
                back=self.request.url.path + (f"?{self.request.url.query}" if self.request.url.query else ""),
                said=self.request.query_params.get("said", ""),
                now_text=self.formats.clock(now),
                static=static_address,
                **values,
            )
        )

    def answer(self, template: str, status: int = 200, **values: Any) -> HTMLResponse:
        """The same as the answer to the request."""
        return HTMLResponse(self.text(template, **values), status_code=status)


def language_of(request: Request) -> str:
    """The reader's language: as chosen, else the first that the browser asks for and that there is."""
    chosen = request.cookies.get(LANGUAGE_COOKIE, "")
    if chosen in LANGUAGES:
        return chosen
    for part in request.headers.get("accept-language", "").split(",")[:20]:
        asked = part.split(";")[0].strip().lower()[:2]
        if asked in LANGUAGES:
            return asked
    return LANGUAGES[0]


def go_to(path: str, said: str = "") -> RedirectResponse:
    """After a form: on to a page, which shows that it was done."""
    if said:
        path += f"{'&' if '?' in path else '?'}said={quote(said)}"
    return RedirectResponse(path, status_code=303)


@cache
def static_files() -> dict[str, tuple[bytes, str]]:
    """The few files that pages load, with their types, by name."""
    kinds = {"css": "text/css; charset=utf-8", "js": "text/javascript; charset=utf-8", "svg": "image/svg+xml"}
    found = {}
    for entry in files("api").joinpath("static").iterdir():
        kind = kinds.get(entry.name.rsplit(".", 1)[-1])
        if kind is not None:
            found[entry.name] = (entry.read_bytes(), kind)
    return found


def static_address(name: str) -> str:
    """The address of a file that pages load; it changes with its content, so that browsers may keep it."""
    return f"/static/{name}?{hashlib.sha256(static_files()[name][0]).hexdigest()[:12]}"
