"""The permission matrix: every route, every role, and nobody. A route without a row fails."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from api.app import PREFIX, create_app, route_table
from api.problems import ProblemError
from api.security import ALL_ROLES
from tests.api.service.house import BISQUE, Clock, House, Template, running, settings

ANYBODY = "none display member attendant manager"
VIEWERS = "display member attendant manager"
PEOPLE = "member attendant manager"
STAFF = "attendant manager"
MANAGER = "manager"

MATRIX = {
    "GET /health": ANYBODY,
    "GET /ready": ANYBODY,
    "GET /metrics": MANAGER,
    "POST /welcome": ANYBODY,
    "POST /sign-in": ANYBODY,
    "POST /sign-out": PEOPLE,
    "GET /me": VIEWERS,
    "POST /me/password": PEOPLE,
    "GET /me/sessions": PEOPLE,
    "DELETE /me/sessions/{session_id}": PEOPLE,
    "GET /me/tokens": PEOPLE,
    "POST /me/tokens": PEOPLE,
    "DELETE /me/tokens/{token_id}": PEOPLE,
    "GET /people": MANAGER,
    "POST /people": MANAGER,
    "PUT /people/{person_id}": MANAGER,
    "POST /people/{person_id}/invitation": MANAGER,
    "GET /loads": PEOPLE,
    "POST /loads": PEOPLE,
    "GET /loads/{load_id}": PEOPLE,
    "POST /loads/{load_id}/why": STAFF,
    "PUT /loads/{load_id}": PEOPLE,
    "POST /loads/{load_id}/cancel": PEOPLE,
    "POST /loads/{load_id}/dried": STAFF,
    "POST /loads/{load_id}/collected": STAFF,
    "POST /promise": PEOPLE,
    "GET /opening": VIEWERS,
    "GET /profiles": PEOPLE,
    "GET /studio/{kind}": STAFF,
    "POST /studio/{kind}": STAFF,
    "GET /studio/{kind}/{key}": STAFF,
    "PUT /studio/{kind}/{key}": STAFF,
    "DELETE /studio/{kind}/{key}": STAFF,
    "POST /kilns/{kiln_id}/fit": MANAGER,
    "POST /plans": MANAGER,
    "POST /what-ifs": MANAGER,
    "POST /re-plans": STAFF,
    "GET /jobs/{job_id}": STAFF,
    "POST /jobs/{job_id}/cancel": STAFF,
    "GET /jobs/{job_id}/events": STAFF,
    "GET /plans": STAFF,
    "GET /plans/{plan_id}": STAFF,
    "GET /plans/{plan_id}/compare/{other_id}": STAFF,
    "POST /plans/{plan_id}/publish": MANAGER,
    "GET /published": STAFF,
    "GET /publications": STAFF,
    "GET /day": VIEWERS,
    "POST /firings/{firing_id}/loaded": STAFF,
    "POST /firings/{firing_id}/started": STAFF,
    "POST /firings/{firing_id}/opened": STAFF,
    "POST /firings/{firing_id}/hold": STAFF,
    "POST /firings/{firing_id}/let-go": STAFF,
    "POST /firings/{firing_id}/readings": STAFF,
    "POST /firings/{firing_id}/log": STAFF,
    "POST /firings/{firing_id}/stream": STAFF,
    "GET /records": STAFF,
    "GET /records/{record_id}/readings": STAFF,
    "GET /notices": PEOPLE,
    "POST /notices/{notice_id}/seen": PEOPLE,
    "GET /costs": PEOPLE,
    "GET /cost-rule": PEOPLE,
    "PUT /cost-rule": MANAGER,
    "GET /feeds": PEOPLE,
    "POST /feeds": PEOPLE,
    "DELETE /feeds/{feed_id}": PEOPLE,
    "GET /history": MANAGER,
    "GET …/feeds/{secret}.ics": ANYBODY,
}
"""Whom each route of the API serves, written by hand from the service's description."""

PAGES = {
    "GET …/": ANYBODY,
    "GET …/sign-in": ANYBODY,
    "POST …/sign-in": ANYBODY,
    "GET …/welcome": ANYBODY,
    "POST …/welcome": ANYBODY,
    "POST …/sign-out": PEOPLE,
    "POST …/language": ANYBODY,
    "GET …/static/{name}": ANYBODY,
    "GET …/favicon.ico": ANYBODY,
    "GET …/day": VIEWERS,
    "GET …/display": ANYBODY,
    "GET …/week": VIEWERS,
    "POST …/firings/{firing_id}/note": STAFF,
    "POST …/notices/seen": PEOPLE,
    "POST …/notices/{notice_id}/seen": PEOPLE,
    "GET …/live": ANYBODY,
    "GET …/firings/{firing_id}": PEOPLE,
    "POST …/firings/{firing_id}/reading": STAFF,
    "POST …/firings/{firing_id}/hold": STAFF,
    "POST …/firings/{firing_id}/let-go": STAFF,
    "POST …/firings/{firing_id}/move": STAFF,
    "POST …/firings/{firing_id}/audit": STAFF,
    "GET …/firings/{firing_id}/curve.csv": PEOPLE,
    "GET …/firings/{firing_id}/curve.svg": PEOPLE,
    "GET …/loads": PEOPLE,
    "GET …/loads/new": PEOPLE,
    "POST …/loads/new": PEOPLE,
    "POST …/loads/promise": PEOPLE,
    "GET …/loads/{load_id}": PEOPLE,
    "GET …/loads/{load_id}/change": PEOPLE,
    "POST …/loads/{load_id}/change": PEOPLE,
    "POST …/loads/{load_id}/cancel": PEOPLE,
    "POST …/loads/{load_id}/mark": STAFF,
    "GET …/plans": STAFF,
    "POST …/plans": MANAGER,
    "GET …/jobs/{job_id}": STAFF,
    "POST …/jobs/{job_id}/stop": STAFF,
    "GET …/plans/{plan_id}": STAFF,
    "POST …/plans/{plan_id}/publish": MANAGER,
    "GET …/trouble": STAFF,
    "GET …/trouble/{load_id}": STAFF,
    "POST …/trouble/{load_id}/mends": STAFF,
    "POST …/trouble/{load_id}/promise": STAFF,
    "GET …/shifts": MANAGER,
    "POST …/shifts": MANAGER,
    "POST …/shifts/{key}/end": MANAGER,
    "GET …/what-if": MANAGER,
    "POST …/what-if": MANAGER,
    "GET …/broke": STAFF,
    "POST …/broke": STAFF,
    "GET …/unnoted": STAFF,
    "POST …/unnoted": STAFF,
    "POST …/plans/{plan_id}/answers": STAFF,
    "GET …/more": PEOPLE,
    "GET …/kilns": STAFF,
    "POST …/kilns/{kiln_id}/out": STAFF,
    "POST …/outages/{key}/end": STAFF,
    "POST …/kilns/{kiln_id}/fit": MANAGER,
    "GET …/circuits": STAFF,
    "GET …/people": MANAGER,
    "POST …/people": MANAGER,
    "POST …/people/{person_id}": MANAGER,
    "POST …/people/{person_id}/invite": MANAGER,
    "GET …/costs": PEOPLE,
    "POST …/costs": MANAGER,
    "GET …/me": PEOPLE,
    "POST …/me/feeds": PEOPLE,
    "POST …/me/feeds/{feed_id}/end": PEOPLE,
    "POST …/me/displays": MANAGER,
    "POST …/me/tokens/{token_id}/end": PEOPLE,
    "POST …/me/sessions/{session_id}/end": PEOPLE,
    "POST …/me/password": PEOPLE,
    "GET …/sheets/{day}": STAFF,
    "GET …/sheets/{day}/all.pdf": STAFF,
    "GET …/sheets/{day}/overview": STAFF,
    "GET …/sheets/{day}/kiln/{kiln_id}": STAFF,
    "GET …/sessions": STAFF,
    "GET …/tags": STAFF,
}
"""Whom each page serves: as the routes of the API on which it stands. … is the service's own root."""

WHO = {"none": None, "display": "display", "member": "Ana", "attendant": "Wout", "manager": "Marta"}
PLACES = {"kind": "kilns", "key": "K9", "load_id": "X", "firing_id": "F9", "kiln_id": "K9", "secret": "x"}


def _row(method: str, path: str) -> str:
    return f"{method} {path.removeprefix(PREFIX)}" if path.startswith(PREFIX) else f"{method} …{path}"


@pytest.fixture(scope="module")
def open_house(settled: Template, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """One service for the whole matrix; no request of it changes what another one meets."""
    with settled.copy(tmp_path_factory.mktemp("matrix")) as data, running(data, settled.tokens) as made:
        patch = pytest.MonkeyPatch()
        patch.setattr(made.service.jobs, "ask", _no_solve)
        yield made
        patch.undo()


def _no_solve(*_: object) -> int:
    raise ProblemError(409, "no solve while permissions are asked for")


def test_each_route_has_a_row_and_each_row_a_route() -> None:
    """A new route without a row fails here."""
    assert sorted(_row(method, path) for method, path, _ in route_table()) == sorted(MATRIX | PAGES)


def test_the_described_api_has_no_route_beside_the_table(open_house: House) -> None:
    """The OpenAPI document, made by the framework from the routes that really answer, names no other."""
    described = {
        _row(method.upper(), path)
        for path, methods in open_house.get(None, "/openapi.json")["paths"].items()
        for method in methods
    }
    assert described <= set(MATRIX)


@pytest.mark.parametrize("role", WHO)
@pytest.mark.parametrize("row", MATRIX)
def test_a_route_serves_its_roles_and_no_other(open_house: House, row: str, role: str) -> None:
    """Allowed: anything but 401 and 403 (bodies are left out, so mostly 422). Else 401 for nobody, 403 for others."""
    method, path = row.split(" ")
    path = re.sub(r"\{(\w+)\}", lambda match: PLACES.get(match[1], "99"), path)
    house = open_house
    if row == "POST /sign-out" and role in PEOPLE.split():
        # Signing out ends the token that it came with: a token of its own.
        secret = house.post(WHO[role], "/me/tokens", {"label": "short"})["secret"]
        answer = house.client.post(f"{PREFIX}{path}", headers={"authorization": f"Bearer {secret}"})
    elif path.startswith("…"):
        answer = house.client.request(method, path[1:])
    else:
        answer = house.call(WHO[role], method, path)
    if role in MATRIX[row].split():
        assert answer.status_code not in (401, 403), answer.text
    else:
        assert answer.status_code == (401 if role == "none" else 403), answer.text
        assert answer.headers["content-type"] == "application/problem+json"


@pytest.mark.parametrize("role", WHO)
@pytest.mark.parametrize("row", PAGES)
def test_a_page_serves_its_roles_and_no_other(open_house: House, row: str, role: str) -> None:
    """Denied: who is not signed in is sent to the sign-in, everybody else is told that it is not for them."""
    if row == "GET …/live":
        pytest.skip("a stream for anybody, which ends with the service")
    method, path = row.split(" …")
    path = re.sub(r"\{(\w+)\}", lambda match: PLACES.get(match[1], "99"), path)
    who = WHO[role]
    secret = None if who is None else open_house.secrets[who]
    if path == "/sign-out" and who is not None and role in PEOPLE.split():
        secret = open_house.post(who, "/me/tokens", {"label": "short"})["secret"]
    headers = {} if secret is None else {"authorization": f"Bearer {secret}"}
    answer = open_house.client.request(method, path, headers=headers, follow_redirects=False)
    to_sign_in = answer.status_code == 303 and answer.headers["location"].startswith("/sign-in")
    if role in PAGES[row].split():
        refused = () if path == "/sign-in" else (401, 403)  # an empty name and password are refused by the page itself
        assert answer.status_code not in (*refused, 500), answer.text
        assert not to_sign_in or path in ("/", "/sign-out", "/welcome")
    elif role == "none":
        assert to_sign_in or answer.status_code == 401, answer.text
    else:
        assert answer.status_code == 403, answer.text


def test_an_application_with_an_unmarked_route_does_not_start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Forgetting to say whom a route serves is found before anybody can call it."""
    from fastapi import APIRouter

    from api import app as module

    stray = APIRouter()
    stray.add_api_route("/stray", lambda: None)
    monkeypatch.setattr(module, "ROUTERS", (*module.ROUTERS, (stray, PREFIX)))
    with pytest.raises(RuntimeError, match="stray does not say whom it serves"):
        create_app(settings(str(tmp_path / "x.db"), Clock()))


@pytest.mark.parametrize("kind", ["shifts", "closed", "circuits", "kilns", "quiet", "profiles", "rules", "studio"])
def test_attendants_change_outages_and_absences_alone(house: House, kind: str) -> None:
    """What the studio is, is the manager's to say."""
    assert house.call("Wout", "POST", f"/studio/{kind}", {"body": {}}).status_code == 403
    assert house.call("Wout", "PUT", f"/studio/{kind}/1", {"version": 1, "body": {}}).status_code == 403
    assert house.call("Wout", "DELETE", f"/studio/{kind}/1?version=1").status_code == 403


def test_attendants_note_an_outage(house: House) -> None:
    """A kiln that fails cannot wait for the manager."""
    body = {"kiln": "K1", "from": "2026-11-30T12:00", "reason": "element"}
    kept = house.post("Wout", "/studio/outages", {"body": body})
    assert kept["body"]["kiln"] == "K1"
    assert house.call("Wout", "DELETE", f"/studio/outages/{kept['key']}?version=1").status_code == 204


def test_members_see_and_touch_their_own_loads_alone(house: House) -> None:
    """Another's load is not there for them, whatever they try."""
    mine = house.post("Ana", "/loads", {"load": BISQUE})
    ask = {"version": 1, "load": BISQUE}
    assert [load["id"] for load in house.get("Ana", "/loads")] == [mine["id"]]
    assert house.get("Ben", "/loads") == []
    for method, path, body in (
        ("GET", "", None),
        ("PUT", "", ask),
        ("POST", "/cancel", {"version": 1}),
    ):
        assert house.call("Ben", method, f"/loads/{mine['id']}{path}", body).status_code == 404
    assert house.call("Ben", "POST", "/loads", {"load": BISQUE, "person": mine["person"]}).status_code == 403


@pytest.mark.parametrize(("key", "value"), [("priority", 9), ("kilns", ["K1"]), ("stream", "production")])
def test_members_do_not_push_in(house: House, key: str, value: object) -> None:
    """Priority, kilns and stream are the staff's to say."""
    answer = house.call("Ana", "POST", "/loads", {"load": {**BISQUE, key: value}})
    assert answer.status_code == 422
    assert answer.json()["faults"][0]["place"] == key


def test_a_members_change_keeps_what_the_staff_said(house: House) -> None:
    """Correcting the number of pieces does not lose the priority that the staff gave."""
    mine = house.post("Ana", "/loads", {"load": BISQUE})
    house.call("Wout", "PUT", f"/loads/{mine['id']}", {"version": 1, "load": {**BISQUE, "priority": 7}})
    changed = house.call("Ana", "PUT", f"/loads/{mine['id']}", {"version": 2, "load": {**BISQUE, "pieces": 11}}).json()
    assert (changed["load"]["priority"], changed["load"]["pieces"]) == (7, 11)


def test_a_booking_is_the_members_own_whatever_owner_it_names(house: House) -> None:
    """The owner's name comes from who is signed in."""
    assert house.post("Ana", "/loads", {"load": {**BISQUE, "owner": "Ben"}})["load"]["owner"] == "Ana"


def test_members_have_a_calendar_of_their_own_alone(house: House) -> None:
    """Not the staff's, nor another's."""
    for body in ({"kind": "staff"}, {"kind": "kiln", "subject": "K1"}, {"kind": "person", "subject": "1"}):
        assert house.call("Ana", "POST", "/feeds", body).status_code == 403


def test_a_display_sees_the_day_and_changes_nothing(house: House) -> None:
    """Whatever unsafe method it tries, at whatever address."""
    house.planned()
    assert house.get("display", "/day?date=2026-11-30")["date"] == "2026-11-30"
    unsafe = [path for method, path, _ in route_table() if method != "GET" and path.startswith(PREFIX)]
    for path in unsafe:
        if path.removeprefix(PREFIX) in ("/welcome", "/sign-in"):
            continue
        address = re.sub(r"\{(\w+)\}", lambda match: PLACES.get(match[1], "99"), path)
        method = next(m for m, p, _ in route_table() if p == path and m != "GET")
        answer = house.client.request(
            method, address, headers={"authorization": f"Bearer {house.secrets['display']}"}, json={}
        )
        assert answer.status_code == 403, path


def test_every_role_is_in_the_matrix() -> None:
    """A new role without a column fails."""
    assert {*ALL_ROLES, "none"} == set(WHO)
