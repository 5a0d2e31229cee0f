"""First start, one-time links, sessions, tokens, slowing down, other sites, secrets."""

from __future__ import annotations

import io
import json
import logging
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import text
from starlette.testclient import TestClient

from api.app import create_app
from api.logs import LOGGER, JsonLines
from api.security import SAFE_HEADERS, Passwords
from api.storage.tables import Row
from tests.api.service.house import BISQUE, PASSWORD, Clock, House, settings
from tests.api.small_studio import write_small_studio


@pytest.fixture
def fresh(tmp_path: Path) -> Iterator[House]:
    """A service at its first start: nobody can sign in yet."""
    folder = tmp_path / "studio"
    folder.mkdir()
    write_small_studio(folder)
    clock = Clock()
    app = create_app(settings(str(tmp_path / "x.db"), clock, folder))
    with TestClient(app) as client:
        yield House(app, clock, "", client)


def _welcome(house: House, link: str, name: str | None = "Marta", password: str = PASSWORD) -> int:
    body = {"link": link, "password": password} | ({"name": name} if name else {})
    return house.call(None, "POST", "/welcome", body).status_code


def _sign_in(house: House, name: str = "Marta", password: str = PASSWORD, **more: object) -> int:
    return house.call(None, "POST", "/sign-in", {"name": name, "password": password}, **more).status_code


def test_the_first_link_makes_one_manager_once(fresh: House) -> None:
    """Used again it is gone, and a second first link is not given while there is a manager."""
    link = fresh.service.accounts.first_link(fresh.clock())
    assert link is not None
    assert _welcome(fresh, link) == 200
    assert _welcome(fresh, link, "Eve") == 410
    assert fresh.service.accounts.first_link(fresh.clock()) is None
    assert _sign_in(fresh) == 200
    assert fresh.client.get("/api/v1/me").json() == {"id": 1, "name": "Marta", "role": "manager"}


def test_a_newer_first_link_ends_the_older_and_both_end_in_a_week(fresh: House) -> None:
    """Who restarts the service before using the link gets another; an old print-out is worth nothing."""
    old = fresh.service.accounts.first_link(fresh.clock())
    new = fresh.service.accounts.first_link(fresh.clock())
    assert old is not None
    assert new is not None
    assert _welcome(fresh, old) == 410
    fresh.clock.move(days=8)
    assert _welcome(fresh, new) == 410


def test_a_short_password_and_a_missing_name_leave_the_link_unused(fresh: House) -> None:
    """The person can try again with the same link."""
    link = fresh.service.accounts.first_link(fresh.clock())
    assert link is not None
    assert _welcome(fresh, link, password="short") == 422
    assert _welcome(fresh, link, None) == 422
    assert _welcome(fresh, link) == 200


def test_added_people_set_their_password_by_their_link(house: House) -> None:
    """The manager never knows it, and takes over what was booked in their name."""
    added = house.post("Marta", "/people", {"name": "Tue evening class", "takes_over": "Tue evening class"})
    assert added["loads_taken_over"] == 1
    link = added["link"].split("link=")[1]
    assert _welcome(house, link, None, "clay on tuesdays") == 200
    assert _sign_in(house, "tue  EVENING class", "clay on tuesdays") == 200
    assert [load["id"] for load in house.client.get("/api/v1/loads").json()] == ["B1"]


def test_sign_in_slows_down_after_failures_and_only_for_a_while(house: House) -> None:
    """Five wrong tries: then waiting, even with the right password; after the wait it goes."""
    for _ in range(5):
        assert _sign_in(house, password="a wrong password") == 401
    answer = house.call(None, "POST", "/sign-in", {"name": "Marta", "password": PASSWORD})
    assert answer.status_code == 429
    house.clock.move(seconds=int(answer.headers["retry-after"]))
    assert _sign_in(house) == 200
    assert _sign_in(house, password="a wrong password") == 401


def test_one_persons_failures_do_not_slow_another_but_a_flood_slows_its_address(house: House) -> None:
    """A whole studio may come from one address; who tries name after name is slowed all the same."""
    for _ in range(6):
        _sign_in(house, password="a wrong password")
    assert _sign_in(house, "Ana") == 200
    for number in range(31):
        _sign_in(house, f"nobody {number}", "a wrong password")
    assert _sign_in(house, "Ben") == 429


def test_a_name_that_nobody_has_is_slowed_and_answered_the_same(house: House) -> None:
    """No answer tells which names exist."""
    answers = []
    for name in ("Marta", "Nobody"):
        answer = house.call(None, "POST", "/sign-in", {"name": name, "password": "a wrong password"})
        answers.append((answer.status_code, answer.json()))
    assert answers[0] == answers[1]


def test_a_session_ends_when_signed_out_when_old_and_when_revoked(house: House) -> None:
    """Each way, at once."""
    assert _sign_in(house, "Ana") == 200
    cookie = house.client.cookies["kilnrota_session"]
    assert house.client.post("/api/v1/sign-out").status_code == 204
    house.client.cookies.set("kilnrota_session", cookie)
    assert house.client.get("/api/v1/me").status_code == 401
    house.client.cookies.clear()
    assert _sign_in(house, "Ana") == 200
    house.clock.move(days=31)
    assert house.client.get("/api/v1/me").status_code == 401
    house.client.cookies.clear()
    assert _sign_in(house, "Ana") == 200
    sessions = house.get("Ana", "/me/sessions")
    assert len(sessions) == 1
    assert house.call("Ana", "DELETE", f"/me/sessions/{sessions[0]['id']}").status_code == 204
    assert house.client.get("/api/v1/me").status_code == 401


def test_the_cookie_is_out_of_reach_of_scripts_and_of_other_sites(house: House) -> None:
    """HttpOnly and SameSite always, Secure where the service is reached by HTTPS."""
    answer = house.call(None, "POST", "/sign-in", {"name": "Ana", "password": PASSWORD})
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie
    assert "secure" not in cookie
    assert settings("x", Clock()).__class__(public_url="https://kilns.example").cookies_are_secure


@pytest.mark.parametrize(
    ("headers", "refused"),
    [
        ({"sec-fetch-site": "cross-site"}, True),
        ({"sec-fetch-site": "same-site"}, True),
        ({"origin": "https://elsewhere.example"}, True),
        ({"origin": "null"}, True),
        ({"sec-fetch-site": "same-origin"}, False),
        ({"sec-fetch-site": "none"}, False),
        ({"origin": "http://testserver"}, False),
        ({}, False),
    ],
)
def test_a_page_of_another_site_cannot_use_the_session(house: House, headers: dict[str, str], refused: bool) -> None:
    """Unsafe requests are refused by what the browser says of their origin."""
    assert _sign_in(house, "Ana") == 200
    answer = house.client.post("/api/v1/loads", json={"load": BISQUE}, headers=headers)
    assert answer.status_code == (403 if refused else 201)


def test_losing_a_role_ends_all_access(house: House) -> None:
    """A former attendant's token and session are worth nothing from that moment."""
    assert _sign_in(house, "Wout") == 200
    wout = next(person for person in house.get("Marta", "/people") if person["name"] == "Wout")
    body = {"version": wout["version"], "name": "Wout", "role": "member"}
    assert house.call("Marta", "PUT", f"/people/{wout['id']}", body).status_code == 200
    assert house.call("Wout", "GET", "/me").status_code == 401
    assert house.client.get("/api/v1/me").status_code == 401


def test_the_last_manager_stays(house: House) -> None:
    """Else nobody could let anybody in."""
    marta = next(person for person in house.get("Marta", "/people") if person["name"] == "Marta")
    body = {"version": marta["version"], "name": "Marta", "role": "member"}
    assert house.call("Marta", "PUT", f"/people/{marta['id']}", body).status_code == 409


def test_a_revoked_token_is_worth_nothing(house: House) -> None:
    """Its secret is shown once, and ends at once."""
    made = house.post("Ana", "/me/tokens", {"label": "my script"})
    house.secrets["script"] = made["secret"]
    assert house.get("script", "/me")["name"] == "Ana"
    assert house.call("Ana", "DELETE", f"/me/tokens/{made['id']}").status_code == 204
    assert house.call("script", "GET", "/me").status_code == 401


def test_a_new_password_ends_the_other_sessions(house: House) -> None:
    """Who fears that somebody knows the old one is safe at once."""
    assert _sign_in(house, "Ana") == 200
    stolen = house.client.cookies["kilnrota_session"]
    house.client.cookies.clear()
    assert _sign_in(house, "Ana") == 200
    body = {"old": PASSWORD, "new": "five quiet kilns"}
    assert house.client.post("/api/v1/me/password", json=body).status_code == 204
    assert house.client.get("/api/v1/me").status_code == 200
    house.client.cookies.clear()
    house.client.cookies.set("kilnrota_session", stolen)
    assert house.client.get("/api/v1/me").status_code == 401


def test_answers_carry_safe_headers(house: House) -> None:
    """Good answers and problems alike."""
    for path in ("/health", "/nowhere"):
        answer = house.call(None, "GET", path)
        assert {name: answer.headers.get(name) for name in SAFE_HEADERS} == SAFE_HEADERS


def test_no_secret_is_kept_or_logged(house: House) -> None:
    """Neither password, session, token, link nor feed stands in a table or in the log."""
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonLines())
    LOGGER.addHandler(handler)
    LOGGER.setLevel(logging.INFO)
    try:
        assert _sign_in(house, "Ana") == 200
        token = house.post("Ana", "/me/tokens", {"label": "x"})["secret"]
        address = house.post("Ana", "/feeds", {})["address"]
        link = house.post("Marta", "/people", {"name": "Neu"})["link"]
        house.client.get(address)
    finally:
        LOGGER.removeHandler(handler)
    feed = address.split("/feeds/")[1].removesuffix(".ics")
    held = [PASSWORD, house.client.cookies["kilnrota_session"], token, feed, link.split("link=")[1]]
    with house.service.store.read() as session:
        tables = str([session.execute(text(f"SELECT * FROM {name}")).all() for name in Row.metadata.tables])
    for secret in held:
        assert secret not in tables
        assert secret not in stream.getvalue()
    assert all("event" in json.loads(line) for line in stream.getvalue().splitlines())


def test_passwords_are_hashed_by_argon2id() -> None:
    """With the library's own cost, not the tests' cheap one; a wrong password is not the right one."""
    passwords = Passwords()
    kept = passwords.hashed(PASSWORD)
    assert kept.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
    assert passwords.right(PASSWORD, kept)
    assert not passwords.right("another", kept)
    assert not passwords.right(PASSWORD, None)


def test_an_unexpected_error_is_a_problem_without_its_insides(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """The log has them."""
    monkeypatch.setattr(type(house.service), "minute", lambda self: 1 // 0)
    with TestClient(house.app, raise_server_exceptions=False) as client:
        answer = client.get("/api/v1/opening", headers={"authorization": f"Bearer {house.secrets['Ana']}"})
    assert answer.status_code == 500
    assert answer.headers["content-type"] == "application/problem+json"
    assert "ZeroDivision" not in answer.text
