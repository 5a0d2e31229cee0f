"""The service's application. ``create_app(settings)`` builds it; nothing of it is global.

Pages stand on top of it: include a router with ``app.include_router`` and take the dependencies of `api.access`; the
session's cookie, the roles and the errors are then the same.
"""

from __future__ import annotations

import threading
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, MutableMapping
from contextlib import asynccontextmanager
from typing import Any

from fastapi import APIRouter, FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.routing import APIRoute
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from api import notices, problems
from api.access import marks_of
from api.accounts import Accounts
from api.jobs import Jobs
from api.logs import LOGGER, log
from api.pages import refusals
from api.pages.routers import PAGE_ROUTERS
from api.routes import day, health, house, loads, people, plans, studio
from api.security import SAFE_HEADERS, UNSAFE_METHODS, Passwords, from_elsewhere
from api.service import Service
from api.settings import MAX_BODY_BYTES, Settings
from api.storage.engine import Store
from api.storage.migrating import upgrade
from api.storage.studio_store import has_studio, take_in
from api.warming import warm
from api.words import tell
from shared.errors import KilnrotaError
from shared.files import read_folder

PREFIX = "/api/v1"
"""Where the API's routes begin."""

ROUTERS: tuple[tuple[APIRouter, str], ...] = (
    (health.router, PREFIX),
    (people.router, PREFIX),
    (loads.router, PREFIX),
    (studio.router, PREFIX),
    (plans.router, PREFIX),
    (plans.streams, PREFIX),
    (day.router, PREFIX),
    (day.streams, PREFIX),
    (house.router, PREFIX),
    (house.links, ""),
    *PAGE_ROUTERS,
)
"""All routers and the prefix of each."""

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]


def create_app(settings: Settings) -> FastAPI:
    """The service over the data that the settings name; the data is made, or brought up to date, if need be."""
    for method, path, roles in route_table():
        if roles is None:
            raise RuntimeError(f"route {method} {path} does not say whom it serves")
    service = open_service(settings)

    @asynccontextmanager
    async def lifespan(app: FastAPI) -> AsyncIterator[None]:
        service.jobs.warm_up()
        if settings.warm:
            await run_in_threadpool(warm, service)
        watcher = _watch(service)
        yield
        service.stopping.set()
        if watcher is not None:
            watcher.join(timeout=5.0)
        service.jobs.close()
        service.store.close()

    app = FastAPI(
        title="Kilnrota",
        version="1",
        description="The studio's service: bookings, plans, kilns, people. Errors are problem documents (RFC 9457).",
        docs_url=None,
        redoc_url=None,
        openapi_url=f"{PREFIX}/openapi.json",
        lifespan=lifespan,
        max_body_size=MAX_BODY_BYTES,
        redirect_slashes=False,
        responses=problems.PROBLEM_RESPONSES,
    )
    app.state.service = service
    for router, prefix in ROUTERS:
        app.include_router(router, prefix=prefix)
    app.add_exception_handler(KilnrotaError, problems.answer_told)
    app.add_exception_handler(RequestValidationError, problems.answer_invalid)
    app.add_exception_handler(HTTPException, refusals.answer_http)
    app.add_exception_handler(Exception, refusals.answer_unexpected)
    app.add_middleware(Edge, service=service)
    return app


def open_service(settings: Settings) -> Service:
    """The service's parts over its data; the studio's folder is taken in on the first start."""
    store = Store(settings.data)
    upgrade(store)
    with store.write() as session:
        if settings.folder is not None and not has_studio(session):
            described, waiting = read_folder(settings.folder)
            take_in(session, described, waiting, settings.clock())
            log("studio taken in", folder=settings.folder.name, loads=len(waiting))
    jobs = Jobs(store, settings.clock, settings.solver_nice)
    jobs.recover()
    accounts = Accounts(store, Passwords(settings.hash_passwords_quickly))
    return Service(settings=settings, store=store, accounts=accounts, jobs=jobs)


def route_table() -> Iterator[tuple[str, str, frozenset[str] | None]]:
    """Every route: method, path, and the roles that it lets pass (None where it does not say)."""
    for router, prefix in ROUTERS:
        for route in router.routes:
            if not isinstance(route, APIRoute):
                raise RuntimeError(f"a route of another kind: {route}")
            marks = list(_marks(route.dependant))
            for method in sorted(route.methods or ()):
                yield method, prefix + route.path, marks[0] if marks else None


def _marks(dependant: Any) -> Iterator[frozenset[str]]:
    for inner in dependant.dependencies:
        roles = marks_of(inner.call)
        if roles is not None:
            yield roles
        yield from _marks(inner)


def _watch(service: Service) -> threading.Thread | None:
    every = service.settings.watch_seconds
    if every is None:
        return None

    def look() -> None:
        while not service.stopping.wait(every):
            try:
                notices.look_round(service)
            except Exception:
                LOGGER.exception("looking round failed")

    thread = threading.Thread(target=look, name="watch", daemon=True)
    thread.start()
    return thread


class Edge:
    """Around every request: refuses what another site sends, adds safe headers, counts and logs."""

    def __init__(self, app: Callable[[Scope, Receive, Send], Awaitable[None]], service: Service) -> None:
        self.app, self.service = app, service

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        began = time.perf_counter()
        status = 500

        async def send_safely(message: MutableMapping[str, Any]) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
                there = {name for name, _ in message["headers"]}
                added = [(k.encode(), v.encode()) for k, v in SAFE_HEADERS.items() if k.encode() not in there]
                if not any(name == b"cache-control" for name in there):
                    added.append((b"cache-control", b"no-store"))
                message = {**message, "headers": [*message["headers"], *added]}
            await send(message)

        headers = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]}
        if scope["method"] in UNSAFE_METHODS and "authorization" not in headers and from_elsewhere(headers):
            error = problems.ProblemError(403, tell("refused.from_another_site"), name="other-site")
            answer = await refusals.refused(Request(scope), error)
            await answer(scope, receive, send_safely)
        else:
            await self.app(scope, receive, send_safely)
        seconds = time.perf_counter() - began
        route = scope.get("route")
        path = getattr(route, "path_format", None) or getattr(route, "path", None) or "unknown"
        # A router's routes know their path without its prefix; pages have some of the API's paths.
        if scope["path"].startswith(f"{PREFIX}/") and route is not None and not path.startswith(PREFIX):
            path = PREFIX + path
        self.service.metrics.count(scope["method"], path, status, seconds)
        log("request", method=scope["method"], route=path, status=status, ms=round(1000 * seconds, 1))
