"""Signing in and out; people, sessions and tokens."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request, Response

from api import team
from api.access import ANYBODY, COOKIE, ManagerDep, PersonDep, ServiceDep, ViewerDep
from api.routes import shapes
from api.security import Role

router = APIRouter(tags=["people"])


@router.post("/welcome", response_model=shapes.Me, dependencies=[ANYBODY])
def welcome(service: ServiceDep, body: shapes.FirstPassword) -> dict[str, Any]:
    """Use a one-time link: set one's password. The first link makes the first manager."""
    person = service.accounts.accept(body.link, body.name, body.password, service.now())
    return {"id": person.id, "name": person.name, "role": person.role}


@router.post("/sign-in", response_model=shapes.Me, dependencies=[ANYBODY])
def sign_in(service: ServiceDep, body: shapes.SignIn, request: Request, response: Response) -> dict[str, Any]:
    """Sign in with name and password; the answer sets the session's cookie."""
    settings = service.settings
    address = request.client.host if request.client is not None else "unknown"
    device = request.headers.get("user-agent", "")
    secret = service.accounts.sign_in(body.name, body.password, address, device, service.now(), settings.session_length)
    who = service.accounts.identify(secret, None, service.now())
    response.set_cookie(
        COOKIE,
        secret,
        max_age=int(settings.session_length.total_seconds()),
        httponly=True,
        samesite="lax",
        secure=settings.cookies_are_secure,
    )
    return _me(who)


@router.post("/sign-out", status_code=204)
def sign_out(service: ServiceDep, who: PersonDep, response: Response) -> None:
    """End this session, or revoke this token."""
    kind, number = who.credential
    if kind == "session":
        team.end_session(service, who, number)
    else:
        team.revoke_token(service, who, number)
    response.delete_cookie(COOKIE)


@router.get("/me", response_model=shapes.Me)
def me(who: ViewerDep) -> dict[str, Any]:
    """Who is signed in."""
    return _me(who)


@router.post("/me/password", status_code=204)
def change_password(service: ServiceDep, who: PersonDep, body: shapes.NewPassword) -> None:
    """Change one's own password; all other sessions end."""
    team.change_password(service, who, body.old, body.new)


@router.get("/me/sessions", response_model=list[shapes.SessionShown])
def sessions(service: ServiceDep, who: PersonDep) -> list[dict[str, Any]]:
    """One's own sessions."""
    return team.sessions(service, who)


@router.delete("/me/sessions/{session_id}", status_code=204)
def end_session(service: ServiceDep, who: PersonDep, session_id: int) -> None:
    """End one of one's own sessions."""
    team.end_session(service, who, session_id)


@router.get("/me/tokens", response_model=list[shapes.TokenShown])
def tokens(service: ServiceDep, who: PersonDep) -> list[dict[str, Any]]:
    """One's own tokens, and of a manager the wall displays."""
    return team.tokens(service, who)


@router.post("/me/tokens", response_model=shapes.TokenAdded, status_code=201)
def add_token(service: ServiceDep, who: PersonDep, body: shapes.NewToken) -> dict[str, Any]:
    """Make a token; its secret is shown this once."""
    return team.add_token(service, who, body.label, body.display)


@router.delete("/me/tokens/{token_id}", status_code=204)
def revoke_token(service: ServiceDep, who: PersonDep, token_id: int) -> None:
    """Revoke a token."""
    team.revoke_token(service, who, token_id)


@router.get("/people", response_model=list[shapes.PersonShown])
def people(service: ServiceDep, who: ManagerDep) -> list[dict[str, Any]]:
    """Everybody."""
    return team.people(service)


@router.post("/people", response_model=shapes.PersonAdded, status_code=201)
def add_person(service: ServiceDep, who: ManagerDep, body: shapes.NewPerson) -> dict[str, Any]:
    """Add somebody; the answer has the one-time link to hand to them."""
    return team.add_person(service, who, body.name, Role(body.role), body.takes_over)


@router.put("/people/{person_id}", response_model=shapes.PersonShown)
def change_person(service: ServiceDep, who: ManagerDep, person_id: int, body: shapes.PersonChange) -> dict[str, Any]:
    """Change somebody's name or role, or keep them out."""
    return team.change_person(service, who, person_id, body.version, body.name, Role(body.role), body.active)


@router.post("/people/{person_id}/invitation", response_model=shapes.Invited, status_code=201)
def invite(service: ServiceDep, who: ManagerDep, person_id: int) -> dict[str, Any]:
    """Make a new one-time link for somebody."""
    return team.invite_person(service, who, person_id)


def _me(who: Any) -> dict[str, Any]:
    return {"id": who.person_id, "name": who.name, "role": who.role}
