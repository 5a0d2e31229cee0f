"""Dependencies of routes: the service, and who may call. A route's signature says which roles it serves."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated

from fastapi import Depends, Request

from api.problems import ProblemError
from api.security import ALL_ROLES, PEOPLE, STAFF, Identity, Role
from api.service import Service
from api.words import tell

COOKIE = "kilnrota_session"
"""Name of the session's cookie."""


def service_of(request: Request) -> Service:
    """The service that answers."""
    service: Service = request.app.state.service
    return service


ServiceDep = Annotated[Service, Depends(service_of)]


def identity_of(request: Request) -> Identity | None:
    """Who calls: by session cookie, by bearer token, or nobody known."""
    service = service_of(request)
    authorization = request.headers.get("authorization", "")
    kind, _, token = authorization.partition(" ")
    if kind.lower() == "bearer":
        return service.accounts.identify(None, token.strip(), service.now())
    return service.accounts.identify(request.cookies.get(COOKIE), None, service.now())


class Allow:
    """Lets the named roles pass; everybody else is refused, nobody known is asked to sign in."""

    def __init__(self, *roles: Role) -> None:
        self.roles = frozenset(roles)

    def __call__(self, request: Request) -> Identity:
        """The caller, if allowed."""
        identity = identity_of(request)
        if identity is None:
            raise ProblemError(
                401, tell("refused.sign_send_token"), name="sign-in", headers={"www-authenticate": "Bearer"}
            )
        if identity.role not in self.roles:
            allowed = ", ".join(sorted(self.roles))
            raise ProblemError(403, tell("refused.this_you", allowed=allowed, role=identity.role), name="not-allowed")
        return identity


class AllowAnybody:
    """Marks a route that needs no sign-in; every route has one of the two marks."""

    def __call__(self) -> None:
        """Let everybody pass."""


ManagerDep = Annotated[Identity, Depends(Allow(Role.MANAGER))]
StaffDep = Annotated[Identity, Depends(Allow(*STAFF))]
PersonDep = Annotated[Identity, Depends(Allow(*PEOPLE))]
ViewerDep = Annotated[Identity, Depends(Allow(*ALL_ROLES))]
ANYBODY = Depends(AllowAnybody())


def marks_of(call: Callable[..., object] | None) -> frozenset[str] | None:
    """The roles that a dependency lets pass, ``none`` among them for anybody; None if it is no mark."""
    if isinstance(call, Allow):
        return frozenset(call.roles)
    return frozenset({"none", *ALL_ROLES}) if isinstance(call, AllowAnybody) else None
