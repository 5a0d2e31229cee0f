"""Bookings: idempotent, versioned, checked as the files are; and any session of them against a model in memory."""

from __future__ import annotations

import tempfile
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule, run_state_machine_as_test

from tests.api.service.house import BISQUE, House, Template, running


def test_the_same_key_books_once(house: House) -> None:
    """A phone that lost the answer asks again: one load, the same answer; another request with the key is refused."""
    key = {"Idempotency-Key": "phone-1"}
    first = house.call("Ana", "POST", "/loads", {"load": BISQUE}, headers=key)
    again = house.call("Ana", "POST", "/loads", {"load": BISQUE}, headers=key)
    assert (again.status_code, again.json()) == (201, first.json())
    other = house.call("Ana", "POST", "/loads", {"load": {**BISQUE, "pieces": 3}}, headers=key)
    assert (other.status_code, other.json()["type"]) == (422, "/problems/key-used")
    assert len(house.get("Ana", "/loads")) == 1


def test_a_key_is_ones_own(house: House) -> None:
    """Another person's same key is another booking."""
    key = {"Idempotency-Key": "1"}
    for who in ("Ana", "Ben"):
        house.post(who, "/loads", {"load": BISQUE}, headers=key)
    assert len(house.get("Wout", "/loads?owner=Ana")) == len(house.get("Wout", "/loads?owner=Ben")) == 1


def test_a_stale_change_is_told_what_has_changed(house: House) -> None:
    """409 with who changed what since, and how it is now; nothing is overwritten."""
    mine = house.post("Ana", "/loads", {"load": BISQUE})
    path = f"/loads/{mine['id']}"
    house.call("Wout", "PUT", path, {"version": 1, "load": {**BISQUE, "note": "glaze drips"}})
    stale = house.call("Ana", "PUT", path, {"version": 1, "load": {**BISQUE, "pieces": 5}})
    told = stale.json()
    assert (stale.status_code, told["type"]) == (409, "/problems/stale")
    assert told["changed"][0]["who"] == "Wout"
    assert told["changed"][0]["after"]["load"]["note"] == "glaze drips"
    assert told["current"]["version"] == 2
    assert house.get("Ana", path)["load"]["note"] == "glaze drips"


@pytest.mark.parametrize(
    ("wrong", "place", "remedy"),
    [
        ({"profile": "bisk-04"}, "L1 › profile", 'did you mean "bisque-04"?'),
        ({"mass_kg": -1}, "mass_kg", "write a number above 0"),
        ({"mas_kg": 4}, "mas_kg", 'did you mean "mass_kg"?'),
        ({"promised": "31.02."}, "promised", "write year, month and day, the letter T"),
        ({"promised": "2026-03-29T01:30"}, "promised", "write a time before or after the gap, or add the offset"),
        ({"after": "nothing"}, "L1 › after", "write one of"),
        ({"profile": "burnout"}, "L1 › diameter_mm", "write the largest piece's measure"),
        ({"pieces": True}, "pieces", "write a whole number from 1, as 24"),
    ],
)
def test_a_faulty_load_is_told_where_what_and_what_would_be_right(
    house: House, wrong: dict[str, object], place: str, remedy: str
) -> None:
    """The same faults, in the same words, as the folder's."""
    answer = house.call("Wout", "POST", "/loads", {"load": {**BISQUE, **wrong}})
    assert answer.status_code == 422
    fault = answer.json()["faults"][0]
    assert fault["place"] == place
    assert fault["remedy"].startswith(remedy)


def test_all_faults_of_a_load_are_told_at_once(house: House) -> None:
    """One round for all."""
    answer = house.call("Wout", "POST", "/loads", {"load": {"profile": "", "mass_kg": "much", "pieces": 0}})
    assert {fault["place"] for fault in answer.json()["faults"]} == {
        "profile",
        "mass_kg",
        "pieces",
        "footprint_cm2",
        "height_mm",
    }


def test_an_id_is_given_once(house: House) -> None:
    """Also one that an earlier, cancelled load had."""
    house.post("Wout", "/loads", {"load": {**BISQUE, "id": "X"}})
    house.post("Wout", "/loads/X/cancel", {"version": 1})
    assert house.call("Wout", "POST", "/loads", {"load": {**BISQUE, "id": "X"}}).status_code == 409


def test_a_load_is_cancelled_only_if_none_waits_for_it(house: House) -> None:
    """A glaze firing after a bisque that is gone would never be fired."""
    house.post("Wout", "/loads", {"load": {**BISQUE, "id": "X"}})
    house.post("Wout", "/loads", {"load": {**BISQUE, "id": "Y", "after": "X"}})
    assert house.call("Wout", "POST", "/loads/X/cancel", {"version": 1}).json()["type"] == "/problems/others-wait"
    house.post("Wout", "/loads/Y/cancel", {"version": 1})
    house.post("Wout", "/loads/X/cancel", {"version": 1})


def test_a_dried_load_is_ready_now(house: House) -> None:
    """Marked at seven, it is ready at seven."""
    house.post("Wout", "/loads", {"load": {**BISQUE, "id": "X", "ready": "2026-12-03T09:00"}})
    house.clock.move(hours=1)
    kept = house.post("Wout", "/loads/X/dried", {"version": 1})
    assert kept["load"]["ready"] == "2026-11-29T19:00:00+00:00"
    assert kept["dried_at"] == "2026-11-29T19:00:00Z"


def test_every_change_is_in_the_history_with_before_and_after(house: House) -> None:
    """Who, when, what."""
    house.post("Ana", "/loads", {"load": {**BISQUE, "id": "X"}})
    house.clock.move(minutes=5)
    house.call("Ana", "PUT", "/loads/X", {"version": 1, "load": {**BISQUE, "pieces": 12}})
    newest, oldest = house.get("Marta", "/history?kind=load&key=X")
    assert (oldest["who"], oldest["action"], oldest["before"]) == ("Ana", "book", None)
    assert (newest["who"], newest["action"], newest["at"]) == ("Ana", "change", "2026-11-29T18:05:00Z")
    assert (newest["before"]["load"]["pieces"], newest["after"]["load"]["pieces"]) == (10, 12)


def test_parts_of_the_studio_carry_versions_too(house: House) -> None:
    """Add, change, a stale change, remove; a part that others need stays."""
    shift = {"days": ["sat"], "from": "10:00", "to": "14:00", "who": "Rui"}
    added = house.post("Marta", "/studio/shifts", {"body": shift})
    path = f"/studio/shifts/{added['key']}"
    changed = house.call("Marta", "PUT", path, {"version": 1, "body": {**shift, "hands": 2}})
    assert changed.json()["version"] == 2
    stale = house.call("Marta", "PUT", path, {"version": 1, "body": shift})
    assert (stale.status_code, stale.json()["current"]["body"]["hands"]) == (409, 2)
    assert house.call("Marta", "DELETE", f"{path}?version=2").status_code == 204
    assert house.call("Marta", "GET", path).status_code == 404
    needed = house.call("Marta", "DELETE", "/studio/circuits/bench?version=1")
    assert needed.status_code == 422
    assert "there is no circuit" in needed.json()["detail"]
    assert house.get("Marta", "/studio/circuits/bench")["version"] == 1


def test_a_profile_that_loads_wait_for_stays(house: House) -> None:
    """Taking it away would leave them without a firing."""
    answer = house.call("Marta", "DELETE", "/studio/profiles/fuse?version=1")
    assert answer.status_code == 422
    assert answer.json()["faults"][0]["place"] == "F1 › profile"


def test_a_kiln_reads_as_its_file_and_can_be_written_back(house: House) -> None:
    """What the service shows is what studio.toml would say."""
    kiln = house.get("Marta", "/studio/kilns/K2")
    assert kiln["body"]["max_temperature"] == 950
    assert kiln["body"]["brick"] == "fibre"
    body = {**kiln["body"], "supply_volts": 221}
    assert house.call("Marta", "PUT", "/studio/kilns/K2", {"version": 1, "body": body}).json()["body"] == body


class Session(RuleBasedStateMachine):
    """Three people book, change and cancel, with lost answers and stale versions; a dictionary is the truth."""

    home: House

    def __init__(self) -> None:
        super().__init__()
        for load in self.home.get("Wout", "/loads?state=waiting&limit=2000"):
            if load["person"] is not None:
                self.home.post("Wout", f"/loads/{load['id']}/cancel", {"version": load["version"]})
        self.truth: dict[str, dict[str, Any]] = {}
        self.keys: dict[tuple[str, str], tuple[int, str]] = {}

    who = st.sampled_from(["Ana", "Ben"])

    @rule(who=who, pieces=st.integers(1, 3), key=st.one_of(st.none(), st.sampled_from("abc")))
    def book(self, who: str, pieces: int, key: str | None) -> None:
        """Book, now and then with a key used before."""
        run = f"{id(self)}-{key}"
        headers = {} if key is None else {"Idempotency-Key": run}
        answer = self.home.call(who, "POST", "/loads", {"load": {**BISQUE, "pieces": pieces}}, headers=headers)
        known = self.keys.get((who, run)) if key is not None else None
        if known is not None and known[0] != pieces:
            assert answer.status_code == 422
            return
        assert answer.status_code == 201
        name = answer.json()["id"]
        if known is not None:
            assert name == known[1]
            return
        assert name not in self.truth
        self.truth[name] = {"who": who, "pieces": pieces, "version": 1, "state": "waiting"}
        if key is not None:
            self.keys[who, run] = (pieces, name)

    @precondition(lambda self: self.truth)
    @rule(data=st.data(), who=st.sampled_from(["Ana", "Ben", "Wout"]), pieces=st.integers(1, 3), off=st.integers(-1, 1))
    def change(self, data: st.DataObject, who: str, pieces: int, off: int) -> None:
        """Change, now and then another's load or from a wrong version."""
        name = data.draw(st.sampled_from(sorted(self.truth)))
        kept = self.truth[name]
        version = max(0, kept["version"] + off)
        body = {"version": version, "load": {**BISQUE, "pieces": pieces}}
        status = self.home.call(who, "PUT", f"/loads/{name}", body).status_code
        if who not in (kept["who"], "Wout"):
            assert status == 404
        elif version != kept["version"] or kept["state"] != "waiting":
            assert status == 409
        else:
            assert status == 200
            kept["pieces"], kept["version"] = pieces, version + 1

    @precondition(lambda self: self.truth)
    @rule(data=st.data(), who=st.sampled_from(["Ana", "Ben", "Wout"]), off=st.integers(0, 1))
    def cancel(self, data: st.DataObject, who: str, off: int) -> None:
        """Cancel, now and then twice."""
        name = data.draw(st.sampled_from(sorted(self.truth)))
        kept = self.truth[name]
        version = kept["version"] + off
        status = self.home.call(who, "POST", f"/loads/{name}/cancel", {"version": version}).status_code
        if who not in (kept["who"], "Wout"):
            assert status == 404
        elif off or kept["state"] != "waiting":
            assert status == 409
        else:
            assert status == 200
            kept["state"], kept["version"] = "cancelled", version + 1

    @invariant()
    def everybody_sees_the_truth(self) -> None:
        """Each member their own, the staff all, each as the model has it."""
        for who in ("Ana", "Ben", "Wout"):
            shown = {load["id"]: load for load in self.home.get(who, "/loads?limit=2000")}
            for name, kept in self.truth.items():
                if who in (kept["who"], "Wout"):
                    found = shown[name]
                    assert (found["load"]["pieces"], found["version"], found["state"], found["load"]["owner"]) == (
                        kept["pieces"],
                        kept["version"],
                        kept["state"],
                        kept["who"],
                    )
                else:
                    assert name not in shown
            waiting = {name for name, load in shown.items() if load["state"] == "waiting" and load["person"]}
            mine = {n for n, kept in self.truth.items() if kept["state"] == "waiting" and who in (kept["who"], "Wout")}
            assert waiting == mine


def test_any_session_of_bookings_agrees_with_a_model_in_memory(settled: Template) -> None:
    """Random sessions, the same ones each time."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        data = stack.enter_context(settled.copy(folder))
        home = stack.enter_context(running(data, settled.tokens))

        class OnThisHouse(Session):
            pass

        OnThisHouse.home = home
        run_state_machine_as_test(
            OnThisHouse,
            settings=settings(
                max_examples=8,
                stateful_step_count=12,
                deadline=None,
                derandomize=True,
                database=None,
                suppress_health_check=list(HealthCheck),
            ),
        )
