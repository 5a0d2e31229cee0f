"""Fuzzing of the whole OpenAPI document: no 5xx, every answer as described. Streams are not described, so not here."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)

from api.security import Role, new_secret, secret_hash
from api.storage.tables import Person, Token
from tests.api.service.house import BISQUE, EVENING, House, Template, running

EXAMPLES = int(os.environ.get("KILNROTA_FUZZ", "8"))
"""Random requests an operation; the environment may ask for more than the ordinary run makes."""

DONE_JOB = 1
"""The solve with which the fuzzed service's plan was made."""

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    unsupported_method,
]


@pytest.fixture(scope="module")
def fuzzed(settled: Template, tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    """A service with a published plan and a firing under way, whose solves are only noted, never run."""
    with settled.copy(tmp_path_factory.mktemp("fuzz")) as data, running(data, settled.tokens) as house:
        house.post("Ana", "/loads", {"load": {**BISQUE, "id": "L1"}})
        house.planned()
        with house.service.store.read() as session:
            audited = house.service.audited(session, 1)
        first = min(audited.plan.firings, key=lambda firing: firing.load_at)
        house.post("Wout", f"/firings/{first.id}/started", {"version": 0})
        # What is fuzzed is the service; a solver process for each request would be fuzzing this machine.
        monkeypatch = pytest.MonkeyPatch()
        monkeypatch.setattr(house.service.jobs, "ask", lambda task, request: DONE_JOB)
        yield house
        monkeypatch.undo()


def test_every_request_body_is_described_with_an_example(fuzzed: House) -> None:
    """And each example is what it shows: the shapes themselves take it."""
    from api.routes import shapes

    document = fuzzed.get(None, "/openapi.json")
    named = set()
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            content = operation.get("requestBody", {}).get("content", {}).get("application/json")
            if content is not None:
                name = content["schema"]["$ref"].rsplit("/", 1)[-1]
                assert document["components"]["schemas"][name].get("examples"), f"{method} {path}: {name}"
                named.add(name)
    for name in named:
        for example in document["components"]["schemas"][name]["examples"]:
            getattr(shapes, name).model_validate(example)
    assert len(named) > 15


def test_every_operation_says_what_it_does(fuzzed: House) -> None:
    """In a sentence."""
    for methods in fuzzed.get(None, "/openapi.json")["paths"].values():
        for operation in methods.values():
            assert operation["description"].rstrip().endswith((".", "?"))


KNOWN = {
    "load_id": "L1", "kiln_id": "K1", "key": "K1", "plan_id": 1, "other_id": 1, "job_id": DONE_JOB, "record_id": 1,
    "person_id": 3, "notice_id": 1, "feed_id": 1,
}  # fmt: skip
"""Things that are there; random ids hardly ever are."""


def _as_manager(house: House) -> dict[str, str]:
    """A token for one request: what is fuzzed revokes tokens and takes roles away."""
    secret = new_secret()
    with house.service.store.write() as session:
        person = Person(name="Fuzz", name_key=secret, role=Role.MANAGER, created_at=EVENING, password_hash=None)
        session.add(person)
        session.flush()
        token = Token(
            secret_hash=secret_hash(secret), kind="person", person_id=person.id, label="fuzz", created_at=EVENING
        )
        session.add(token)
    return {"authorization": f"Bearer {secret}"}


def test_every_operation_answers_as_described_whatever_it_is_sent(fuzzed: House) -> None:
    """Each operation of the document, as manager, with valid and with broken input."""
    schema = schemathesis.openapi.from_asgi("/api/v1/openapi.json", fuzzed.app)
    firing = fuzzed.get("Wout", "/records")[0]["firing"]
    failures: list[str] = []
    count = 0
    answered: Counter[int] = Counter()
    for result in schema.get_all_operations():
        operation = result.ok()
        strategy = operation.as_strategy()

        @given(case=strategy, known=st.booleans())
        @settings(
            max_examples=EXAMPLES,
            deadline=None,
            derandomize=True,
            database=None,
            phases=[Phase.explicit, Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        def fuzz(case: Any, known: bool) -> None:
            if known:
                there = {**KNOWN, "firing_id": firing}
                case.path_parameters = {name: there.get(name, value) for name, value in case.path_parameters.items()}
            answer = case.call(headers=_as_manager(fuzzed))
            answered[answer.status_code] += 1
            case.validate_response(answer, checks=CHECKS)

        try:
            fuzz()
        except Exception as error:
            failures.append(f"{operation.method.upper()} {operation.path}: {error}"[:3000])
        count += 1
    assert not failures, "\n\n".join(failures)
    assert count >= 50
    # The fuzzing reaches the routes: some answers are good, most are refused for what they say, none for who asks.
    assert answered[200] + answered[201] > 0.1 * answered.total()
    assert answered[422] > 0.1 * answered.total()
    assert answered[403] == 0, answered
