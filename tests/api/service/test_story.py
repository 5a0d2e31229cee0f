"""The full story over HTTP: forty loads by three people, a plan, a day, a dead kiln, a re-plan, a restore."""

from __future__ import annotations

from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from api.service_commands import backup, export, restore
from scheduler.audit import prove
from shared.files import read_folder, read_plan
from tests.api.service.house import House, Template, own_database, running

KINDS: tuple[dict[str, Any], ...] = (
    {"profile": "bisque-04", "footprint_cm2": 900, "height_mm": 90, "mass_kg": 5.0, "family": "buff", "pieces": 9},
    {"profile": "glaze-6", "footprint_cm2": 700, "height_mm": 110, "mass_kg": 4.0, "family": "buff", "pieces": 7},
    {"profile": "fuse", "footprint_cm2": 400, "height_mm": 12, "mass_kg": 1.5, "family": "art glass", "pieces": 3},
    {"profile": "bisque-04", "footprint_cm2": 600, "height_mm": 60, "mass_kg": 3.0, "family": "buff", "pieces": 6},
)


def _answers(house: House) -> dict[str, Any]:
    """Everything that the service says of its data."""
    paths = ["/loads?limit=2000", "/plans", "/published", "/publications", "/records", "/notices?which=all", "/costs"]
    paths += ["/people", "/feeds", "/history?limit=1000", "/cost-rule", "/records/1/readings", "/opening"]
    paths += [f"/studio/{kind}" for kind in ("studio", "kilns", "circuits", "shifts", "profiles", "outages", "rules")]
    paths += [f"/day?date=2026-{day}" for day in ("11-30", "12-01", "12-02", "12-03", "12-04")]
    paths += [f"/plans/{plan['id']}" for plan in house.get("Marta", "/plans")]
    told = {path: house.get("Marta", path) for path in paths}
    told |= {f"{who}'s {path}": house.get(who, path) for who in ("Ana", "Ben") for path in ("/loads", "/notices")}
    return told


def _book(house: House) -> None:
    for number in range(40):
        who = ("Ana", "Ben", "Wout")[number % 3]
        load = {**KINDS[number % 4], "id": f"S{number:02d}", "promised": f"2026-12-0{3 + number % 3}T17:00"}
        if who == "Wout":
            load["owner"] = "Walk-in"
        house.post(who, "/loads", {"load": load}, headers={"Idempotency-Key": f"story-{number}"})


def _follow(house: House) -> str:
    """Monday morning: whatever is due before noon is loaded and started; the first sends readings. Its kiln's id."""
    with house.service.store.read() as session:
        audited = house.service.audited(session, house.get("Marta", "/published")["plan"])
    noon = datetime(2026, 11, 30, 12, 0, tzinfo=UTC)
    begun = sorted((f for f in audited.plan.firings if f.start_at * 60 < noon.timestamp()), key=lambda f: f.start_at)
    assert begun, "nothing starts before noon"
    for firing in begun:
        house.clock.now = max(house.clock.now, datetime.fromtimestamp(firing.load_at * 60, UTC))
        house.post("Wout", f"/firings/{firing.id}/loaded", {"version": 0})
    for firing in begun:
        house.clock.now = max(house.clock.now, datetime.fromtimestamp(firing.start_at * 60, UTC))
        at = datetime.fromtimestamp(firing.start_at * 60, UTC)
        house.post("Wout", f"/firings/{firing.id}/started", {"version": 1, "at": at.isoformat()})
    first = begun[0]
    course = audited.courses[first.id]
    start = datetime.fromtimestamp(first.start_at * 60, UTC)
    times = np.arange(0, (noon - start).total_seconds() / 60, 5)
    readings = [
        {"at": (start + timedelta(minutes=int(t))).isoformat(), "temperature": float(course.temperature_c[int(t)])}
        for t in times
    ]
    house.post("Wout", f"/firings/{first.id}/readings", {"readings": readings})
    house.clock.now = noon
    return str(first.kiln)


def test_the_full_story(settled: Template, tmp_path: Path) -> None:
    """At its end a restored backup gives the same answers, and the exported folder is the same studio."""
    with ExitStack() as stack:
        data = stack.enter_context(settled.copy(tmp_path))
        house = stack.enter_context(running(data, settled.tokens))
        _book(house)
        assert len(house.get("Marta", "/loads")) == 45
        job = house.solve(body={"work": 20})
        assert job["state"] == "done", job
        house.publish(job["plan"])
        dead = _follow(house)

        # At noon the kiln with the first firing dies; everything in it is to be fired again.
        job = house.solve("/re-plans", {"kilns_down": [{"kiln": dead}], "work": 10}, who="Wout")
        assert job["state"] == "done", job
        plan = house.get("Wout", f"/plans/{job['plan']}")
        notes = plan["summary"]["notes"]
        assert notes["do_nothing"], "doing nothing would break no rule"
        assert [question["firing"] for question in notes["questions"]]
        assert all(f["kiln"] != dead or f["load_at"] < "2026-11-30T12:00" for f in plan["plan"]["firings"])
        house.publish(job["plan"])

        # Whoever has a load that moves is told, and nobody else.
        moved = {change["load"]: change["owner"] for change in notes["changes"]}
        assert moved, "the re-plan moves nothing"
        for who in ("Ana", "Ben"):
            told = {notice["text"].split()[1] for notice in house.get(who, "/notices") if notice["kind"] == "moved"}
            assert told == {load for load, owner in moved.items() if owner == who}

        out = tmp_path / "exported"
        export(out, data)
        _, loads = read_folder(out)
        waiting = house.get("Marta", "/loads?state=waiting&limit=2000")
        assert sorted(load.id for load in loads) == sorted(load["id"] for load in waiting)
        with house.service.store.read() as session:
            audited = house.service.audited(session, job["plan"])
        assert read_plan(out / "plan.json", audited.studio).firings == audited.plan.firings
        under_way = frozenset(f.id for f in audited.plan.firings if f.load_at < audited.plan.begin)
        prove(audited.studio, tuple(audited.loads.values()), audited.plan, under_way, replanned=True)

        saved = tmp_path / "saved"
        backup(saved, data)
        before = _answers(house)
        target = stack.enter_context(own_database()) if settled.database != "sqlite" else str(tmp_path / "again.db")
        restore(saved, target)
        again = stack.enter_context(running(target, settled.tokens, clock=house.clock))
        assert _answers(again) == before
        assert again.solve("/re-plans", who="Wout")["state"] == "done"
