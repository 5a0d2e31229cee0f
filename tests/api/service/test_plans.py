"""Solves in worker processes: made, watched, superseded, cancelled, crashed; compared, published, never half."""

from __future__ import annotations

import os
import signal
import time
from typing import Any

import pytest
from sqlalchemy import select, update

from api.storage.tables import Publication, StoredPlan
from tests.api.service.house import BISQUE, House


def _wait(house: House, job: int, *states: str) -> Any:
    deadline = time.monotonic() + 30
    while time.monotonic() < deadline:
        shown = house.get("Marta", f"/jobs/{job}")
        if shown["state"] in states:
            return shown
        time.sleep(0.05)
    raise AssertionError(f"still {shown}")


def test_a_solve_tells_its_progress_and_keeps_an_audited_plan(house: House) -> None:
    """Events come as server-sent events; the plan that is kept is the one that the audit passed."""
    job = house.post("Marta", "/plans", {"work": 3})
    answer = house.call("Marta", "GET", f"/jobs/{job['id']}/events")
    assert answer.headers["content-type"].startswith("text/event-stream")
    events = [line.removeprefix("event: ") for line in answer.text.splitlines() if line.startswith("event: ")]
    assert events[0] == "progress"
    assert events[-1] == "ended"
    done = house.get("Marta", f"/jobs/{job['id']}")
    whole = house.get("Marta", f"/plans/{done['plan']}")
    assert whole["summary"]["firings"] == len(whole["plan"]["firings"]) >= 3
    assert sorted(load for firing in whole["plan"]["firings"] for load in firing["loads"]) == [
        "B1",
        "B2",
        "C1",
        "F1",
        "G1",
    ]


def test_the_same_work_gives_the_same_plan_as_the_planner_itself(house: House) -> None:
    """Over HTTP, in another process, through the database: the plan is the planner's."""
    from scheduler.planning.door import Settings, plan

    whole = house.get("Marta", f"/plans/{house.solve()['plan']}")
    with house.service.store.read() as session:
        audited = house.service.audited(session, whole["summary"]["id"])
    studio, loads = audited.studio, tuple(audited.loads.values())
    by_hand = plan(studio, loads, now=audited.plan.made_at, begin=audited.plan.begin, settings=Settings(None, 3, 0, 1))
    assert audited.plan == by_hand


def test_a_newer_solve_supersedes_and_a_cancelled_one_keeps_no_plan(house: House) -> None:
    """One at a time; what is stopped leaves nothing."""
    first = house.post("Marta", "/plans", {"seconds": 600})["id"]
    second = house.post("Marta", "/plans", {"seconds": 600})["id"]
    assert house.get("Marta", f"/jobs/{first}")["state"] == "superseded"
    assert house.get("Marta", f"/jobs/{second}")["state"] == "running"
    assert house.post("Marta", f"/jobs/{second}/cancel")["state"] == "cancelled"
    assert house.post("Marta", f"/jobs/{second}/cancel")["state"] == "cancelled"
    assert house.get("Marta", "/plans") == []
    assert house.solve()["state"] == "done"


def test_a_crash_of_the_solver_is_told_and_harms_nothing_else(house: House) -> None:
    """The worker is killed: the job has failed in words, the service goes on, the next solve is well."""
    job = house.post("Marta", "/plans", {"seconds": 600})["id"]
    run = house.service.jobs.run_of(job)
    assert run is not None
    assert run.process.pid is not None
    os.kill(run.process.pid, signal.SIGKILL)
    failed = _wait(house, job, "failed")
    assert failed["message"] == "The solver stopped unexpectedly; ask again."
    assert house.solve()["state"] == "done"


def test_a_solve_that_a_dead_service_left_is_told_as_interrupted(house: House) -> None:
    """After a restart nobody waits for ever."""
    job = house.post("Marta", "/plans", {"seconds": 600})["id"]
    house.service.jobs.recover()
    assert house.get("Marta", f"/jobs/{job}")["state"] == "interrupted"


def test_publishing_is_by_the_number_that_was_seen(house: House) -> None:
    """Two managers publish at once: the second is told of the first's."""
    first, second = house.solve()["plan"], house.solve(body={"seed": 1})["plan"]
    house.post("Marta", f"/plans/{first}/publish", {"publication": 0})
    stale = house.call("Marta", "POST", f"/plans/{second}/publish", {"publication": 0})
    assert (stale.status_code, stale.json()["current"]["plan"]) == (409, first)
    assert house.get("Marta", "/published")["plan"] == first
    house.post("Marta", f"/plans/{second}/publish", {"publication": 1})
    assert [row["plan"] for row in house.get("Marta", "/publications")] == [second, first]


def test_a_plan_of_loads_that_have_changed_is_not_published_by_accident(house: House) -> None:
    """It says which; anyway is possible. Loads booked since do not count."""
    house.post("Ana", "/loads", {"load": {**BISQUE, "id": "X"}})
    made = house.solve()["plan"]
    house.post("Ana", "/loads", {"load": BISQUE})
    house.call("Ana", "PUT", "/loads/X", {"version": 1, "load": {**BISQUE, "pieces": 3}})
    refused = house.call("Marta", "POST", f"/plans/{made}/publish", {"publication": 0})
    assert (refused.status_code, refused.json()["changed"]) == (409, [{"load": "X", "now": "changed"}])
    house.publish(made, anyway=True)


def test_a_stored_plan_that_breaks_a_rule_is_never_shown_nor_published(house: House) -> None:
    """Somebody meddles with the database: the proof is made again, and refused."""
    made = house.solve()["plan"]
    with house.service.store.write() as session:
        text = session.scalar(select(StoredPlan.plan).where(StoredPlan.id == made))
        assert text is not None
        session.execute(update(StoredPlan).where(StoredPlan.id == made).values(plan=text.replace('"K1"', '"K4"')))
    for method, path, body in (
        ("GET", f"/plans/{made}", None),
        ("POST", f"/plans/{made}/publish", {"publication": 0}),
    ):
        answer = house.call("Marta", method, path, body)
        assert (answer.status_code, answer.json()["type"]) == (409, "/problems/broken-plan")
    assert house.get("Marta", "/published")["publication"] == 0


def test_a_failure_while_publishing_leaves_the_last_plan(house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    """The swap is one transaction: whatever comes after it takes it back."""
    house.planned()
    other = house.solve(body={"seed": 2})["plan"]
    monkeypatch.setattr("api.plans.tell_people", lambda *_: 1 // 0)
    with pytest.raises(ZeroDivisionError):
        house.call("Marta", "POST", f"/plans/{other}/publish", {"publication": 1})
    monkeypatch.undo()
    assert house.get("Marta", "/published")["publication"] == 1
    with house.service.store.read() as session:
        assert len(session.scalars(select(Publication)).all()) == 1


def test_a_what_if_is_compared_and_never_published(house: House) -> None:
    """Without one load, with a new one, with a quicker loading: told side by side."""
    real = house.planned()
    kiln = {**house.get("Marta", "/studio/kilns/K1")["body"], "load_minutes": 20}
    asked = {"set": [{"kind": "kilns", "body": kiln}], "cancel": ["B2"], "add": [{**BISQUE, "id": "NEW"}]}
    supposed = house.solve("/what-ifs", asked)["plan"]
    found = house.get("Marta", f"/plans/{real}/compare/{supposed}")
    changed = {row["load"]: row for row in found["loads"]}
    assert changed["NEW"]["first"] is None
    assert changed["NEW"]["second"] is not None
    assert changed["B2"]["second"] is None
    assert house.call("Marta", "POST", f"/plans/{supposed}/publish", {"publication": 1}).status_code == 409
    assert "NEW" not in [load["id"] for load in house.get("Marta", "/loads")]


def test_a_what_if_that_makes_no_sense_is_told(house: House) -> None:
    """Supposing the only circuit away leaves kilns without supply."""
    answer = house.call("Marta", "POST", "/what-ifs", {"remove": [{"kind": "circuits", "key": "bench"}]})
    assert answer.status_code == 422
    assert "there is no circuit" in answer.text


def test_the_promise_question_books_nothing(house: House) -> None:
    """It says a day; afterwards as many loads wait as before."""
    house.planned()
    before = house.get("Wout", "/loads")
    told = house.post("Ana", "/promise", {"load": BISQUE})
    assert told["offer"]["kiln"] == "K1"
    assert told["offer"]["out_at"] > "2026-11-30"
    assert house.get("Wout", "/loads") == before


def test_the_day_is_shown_by_kiln_and_by_person(house: House) -> None:
    """Tomorrow by default; a kiln's part; a member's own firings without the others' loads."""
    mine = house.post("Ana", "/loads", {"load": {**BISQUE, "id": "MINE"}})
    house.planned()
    place = house.get("Ana", f"/loads/{mine['id']}")["planned"]
    day = place["load_at"][:10]
    whole = house.get("Wout", f"/day?date={day}")
    assert [kiln["kiln"] for kiln in whole["kilns"]] == ["K1", "K2", "K3", "K4"]
    assert house.get("Wout", "/day")["date"] == "2026-11-30"
    assert [kiln["kiln"] for kiln in house.get("Wout", f"/day?date={day}&kiln=K2")["kilns"]] == ["K2"]
    own = house.get("Ana", f"/day?date={day}")
    assert [f["id"] for kiln in own["kilns"] for f in kiln["firings"]] == [place["firing"]]
    assert [load["id"] for kiln in own["kilns"] for f in kiln["firings"] for load in f["loads"]] == ["MINE"]
    assert house.call("Ana", "GET", f"/day?date={day}&person=1").status_code == 403
    assert house.get("Wout", f"/day?date={day}&person={mine['person']}")["kilns"] == own["kilns"]


def test_an_attendant_does_not_publish_but_asks_for_a_replan(house: House) -> None:
    """Publishing is the manager's."""
    house.planned()
    job = house.solve("/re-plans", {"kilns_down": [{"kiln": "K2"}]}, who="Wout")
    assert job["kind"] == "replan"
    assert house.call("Wout", "POST", f"/plans/{job['plan']}/publish", {"publication": 1}).status_code == 403


def test_why_a_load_is_late_is_answered_in_the_background(house: House) -> None:
    """A load promised for an hour that nobody can keep: the earliest promise that can be kept is among the mends."""
    house.post("Ana", "/loads", {"load": {**BISQUE, "id": "L1", "promised": "2026-11-30T10:00"}})
    house.planned()
    job = house.post("Wout", "/loads/L1/why")
    assert job["kind"] == "why"
    assert "event: ended" in house.call("Wout", "GET", f"/jobs/{job['id']}/events").text
    done = house.get("Wout", f"/jobs/{job['id']}")
    assert (done["state"], done["plan"]) == ("done", None)
    result = done["result"]
    assert result["load"] == "L1"
    assert [mend["kind"] for mend in result["mends"]] == ["promise"]
    assert result["mends"][0]["from"] == result["mends"][0]["out_at"] > "2026-11-30T10:00"
