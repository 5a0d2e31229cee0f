"""Firings that people fix, on every database: kept, carried from plan to plan, told of when they end."""

from __future__ import annotations

from typing import Any

from sqlalchemy import text

from api.storage.hold_store import standing
from api.storage.tables import Hold
from shared.texts import unpacked
from tests.api.service.house import BISQUE, House


def booked(house: House) -> Any:
    """A plan with one load more than the studio's own, published; its last firing that waits, held."""
    house.post("Ana", "/loads", {"load": {**BISQUE, "id": "L1"}})
    plan = house.planned()
    with house.service.store.read() as session:
        firings = house.service.audited(session, plan).plan.firings
    last = max(firings, key=lambda firing: firing.load_at)
    assert house.post("Wout", f"/firings/{last.id}/hold") == {"firing": last.id, "held": True}
    return last


def kept(house: House, plan: int, load: str) -> Any:
    with house.service.store.read() as session:
        firings = house.service.audited(session, plan).plan.firings
    return next(firing for firing in firings if load in firing.loads)


def test_a_hold_is_carried_from_plan_to_plan(house: House) -> None:
    held = booked(house)
    for _ in range(2):
        plan = house.planned()
        firing = kept(house, plan, held.loads[0])
        assert firing.held
        assert (firing.kiln, firing.load_at, firing.start_at, firing.unload_at, firing.loads) == (
            held.kiln, held.load_at, held.start_at, held.unload_at, held.loads,
        )  # fmt: skip
    with house.service.store.read() as session:
        assert [row.loads for row in standing(session)] == [list(held.loads)]


def test_a_cancelled_load_leaves_the_rest_held_or_ends_the_hold(house: House) -> None:
    held = booked(house)
    for name in held.loads:
        version = house.get("Marta", f"/loads/{name}")["version"]
        house.post("Marta", f"/loads/{name}/cancel", {"version": version})
    job = house.solve("/re-plans", {})
    assert job["state"] == "done", job
    with house.service.store.read() as session:
        plan = house.service.audited(session, job["plan"]).plan
    assert [(note.rule, note.kept) for note in plan.hold_notes] == [("each_load_once", False)]
    house.publish(job["plan"])
    with house.service.store.read() as session:
        assert standing(session) == []
        reasons = [unpacked(row.why or "") for row in session.query(Hold)]
    assert reasons == ["each load once: none of its loads waits any more"]
    assert "hold ended" in {notice["kind"] for notice in house.get("Wout", "/notices")}


def test_a_hold_ends_quietly_once_its_loading_has_begun(house: House) -> None:
    held = booked(house)
    house.clock.move(minutes=held.load_at - house.service.minute() + 1)
    answer = house.call("Wout", "POST", f"/firings/{held.id}/hold")
    assert answer.status_code == 409
    job = house.solve("/re-plans", {"by_records": False})
    house.publish(job["plan"], anyway=True)
    with house.service.store.read() as session:
        assert standing(session) == []
    assert "hold ended" not in {notice["kind"] for notice in house.get("Wout", "/notices")}


def test_let_go_twice_is_let_go(house: House) -> None:
    held = booked(house)
    for _ in range(2):
        assert house.post("Wout", f"/firings/{held.id}/let-go") == {"firing": held.id, "held": False}
    with house.service.store.read() as session:
        assert session.scalar(text("SELECT count(*) FROM holds WHERE let_go_at IS NOT NULL")) == 1
