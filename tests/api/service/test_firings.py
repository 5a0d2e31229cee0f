"""Following the day: taps, readings, the expected end, notices, what opening does, costs, the fit."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from api import notices
from api.costs import CostRule, shares
from api.single_firing import firing_request
from scheduler.firing.simulate import simulate_one
from shared.kilns import Fitted
from tests.api.service.house import BISQUE, House


def _first(house: House, kiln: str = "K1") -> Any:
    """The first firing of a kiln under the published plan."""
    with house.service.store.read() as session:
        audited = house.service.audited(session, house.get("Marta", "/published")["plan"])
    return audited, audited.firings_of(kiln)[0]


def _at(house: House, minute: int) -> None:
    house.clock.now = datetime.fromtimestamp(minute * 60, house.clock.now.tzinfo)


def _started(house: House, late_minutes: int = 0) -> Any:
    """A plan whose first firing in K1 has started; returns the audited plan, the firing, its start."""
    house.planned()
    audited, firing = _first(house)
    _at(house, firing.load_at + 40)
    house.post("Wout", f"/firings/{firing.id}/loaded", {"version": 0})
    _at(house, firing.start_at + late_minutes)
    house.post("Wout", f"/firings/{firing.id}/started", {"version": 1})
    return audited, firing, house.clock.now


def _readings(course: Any, start: datetime, until: float, every: float = 10.0, slow: float = 1.0) -> list[Any]:
    """Readings as the course goes, or slower by a factor."""
    grid = np.arange(len(course.temperature_c)) * course.step_minutes
    times = np.arange(0.0, until, every)
    heats = np.interp(times / slow, grid, course.temperature_c)
    return [
        {"at": (start + timedelta(minutes=float(t))).isoformat(), "temperature": round(float(h), 1)}
        for t, h in zip(times, heats, strict=True)
    ]


def test_a_firing_is_tapped_through_its_steps(house: House) -> None:
    """Loaded, started, opened, each once, in order, with the version that was seen."""
    _, firing, start = _started(house)
    path = f"/firings/{firing.id}"
    assert house.call("Wout", "POST", f"{path}/started", {"version": 2}).status_code == 409
    stale = house.call("Wout", "POST", f"{path}/opened", {"version": 1})
    assert (stale.status_code, stale.json()["current"]["state"]) == (409, "started")
    house.clock.move(hours=40)
    opened = house.post("Wout", f"{path}/opened", {"version": 2, "kwh": 150})
    assert (opened["state"], opened["result"]) == ("opened", "good")
    assert datetime.fromisoformat(opened["started_at"]) == start
    for load in firing.loads:
        assert house.get("Wout", f"/loads/{load}")["state"] == "fired"
    house.post("Wout", f"/loads/{firing.loads[0]}/collected", {"version": 2})
    assert house.get("Wout", f"/loads/{firing.loads[0]}")["state"] == "collected"


@pytest.mark.parametrize(("result", "state"), [("refire", "waiting"), ("lost", "lost")])
def test_how_a_firing_came_out_decides_what_becomes_of_its_loads(house: House, result: str, state: str) -> None:
    """To be fired again, they wait again; lost, they are gone."""
    _, firing, _ = _started(house)
    house.clock.move(hours=40)
    house.post("Wout", f"/firings/{firing.id}/opened", {"version": 2, "result": result})
    assert {house.get("Wout", f"/loads/{load}")["state"] for load in firing.loads} == {state}


def test_what_has_not_happened_cannot_be_tapped(house: House) -> None:
    """Not in the future, not before the step before it, not without an offset, not opened before started."""
    house.planned()
    _, firing = _first(house)
    path = f"/firings/{firing.id}"
    for step, body in (
        ("loaded", {"version": 0, "at": (house.clock.now + timedelta(hours=1)).isoformat()}),
        ("loaded", {"version": 0, "at": "2026-11-29T18:00"}),
        ("opened", {"version": 0}),
    ):
        assert house.call("Wout", "POST", f"{path}/{step}", body).status_code in (409, 422)
    house.post("Wout", f"{path}/loaded", {"version": 0})
    before = (house.clock.now - timedelta(hours=1)).isoformat()
    assert house.call("Wout", "POST", f"{path}/started", {"version": 1, "at": before}).status_code == 422
    assert house.call("Wout", "POST", "/firings/F99/loaded", {"version": 0}).status_code == 404


def test_a_late_start_moves_the_expected_end(house: House) -> None:
    """An hour later started, an hour later off and safe."""
    _, firing, _ = _started(house, late_minutes=60)
    record = house.get("Wout", "/records")[0]
    end = datetime.fromisoformat(record["expected_hot_until"]).timestamp() / 60
    assert end == pytest.approx(firing.hot_until + 60, abs=2)
    safe = datetime.fromisoformat(record["expected_safe_at"]).timestamp() / 60
    assert safe == pytest.approx(firing.safe_at + 60, abs=2)


def test_readings_as_computed_leave_the_end_where_it_was(house: House) -> None:
    """And raise nothing."""
    audited, firing, start = _started(house)
    course = audited.courses[firing.id]
    body = {"readings": _readings(course, start, course.hot_minutes - 30)}
    told = house.post("Wout", f"/firings/{firing.id}/readings", body)
    end = datetime.fromisoformat(told["expected_hot_until"]).timestamp() / 60
    assert end == pytest.approx(firing.hot_until, abs=3)
    assert abs(told["behind_minutes"]) < 3
    assert house.get("Wout", "/notices") == []


def test_a_firing_that_is_slow_moves_its_end_and_offers_a_replan(house: House) -> None:
    """A tenth slower all along: behind by a tenth of the time gone, told once, with the hours to re-plan by."""
    audited, firing, start = _started(house)
    course = audited.courses[firing.id]
    until = course.target_minutes * 0.8
    body = {"readings": _readings(course, start, until, slow=1.1)}
    told = house.post("Wout", f"/firings/{firing.id}/readings", body)
    assert told["behind_minutes"] == pytest.approx(until - until / 1.1, abs=12)
    end = datetime.fromisoformat(told["expected_hot_until"]).timestamp() / 60
    assert end == pytest.approx(firing.hot_until + told["behind_minutes"], abs=2)
    again = house.post("Wout", f"/firings/{firing.id}/readings", body)
    assert again["new"] == 0
    (notice,) = house.get("Wout", "/notices")
    assert notice["kind"] == "behind"
    assert notice["offer"]["late"][0]["hours"] == pytest.approx(told["behind_minutes"] / 60, abs=0.1)
    house.clock.now = start + timedelta(minutes=until)
    job = house.solve("/re-plans", notice["offer"])
    assert job["state"] == "done", job
    house.publish(job["plan"])
    house.post("Wout", f"/notices/{notice['id']}/seen")
    assert [item for item in house.get("Wout", "/notices") if item["kind"] == "behind"] == []


def test_a_kiln_hotter_than_its_profile_calls_people(house: House) -> None:
    """20 K above the highest target: at once; 10 K above: a controller's overshoot."""
    audited, firing, _ = _started(house)
    peak = audited.studio.profile_by_id[firing.profile].peak_c(firing.size_row)
    for over, notices_open in ((10, 0), (20, 1)):
        house.clock.move(minutes=5)
        body = {"readings": [{"at": house.clock.now.isoformat(), "temperature": peak + over}]}
        house.post("Wout", f"/firings/{firing.id}/readings", body)
        hot = [item for item in house.get("Wout", "/notices") if item["kind"] == "over temperature"]
        assert len(hot) == notices_open


def test_a_loading_and_a_start_that_did_not_happen_are_told(house: House) -> None:
    """Once each, when their time and a grace are over, with a re-plan to ask for."""
    house.planned()
    _, firing = _first(house)
    _at(house, firing.load_at + 60)
    assert notices.look_round(house.service) == 0
    _at(house, firing.load_at + 75)
    assert notices.look_round(house.service) >= 1
    told = [item for item in house.get("Wout", "/notices") if f" {firing.id} " in item["text"]]
    assert [item["kind"] for item in told] == ["not loaded"]
    house.post("Wout", f"/firings/{firing.id}/loaded", {"version": 0})
    _at(house, max(firing.start_at + 16, firing.load_at + 76))
    notices.look_round(house.service)
    notices.look_round(house.service)
    told = [item for item in house.get("Wout", "/notices") if f" {firing.id} " in item["text"]]
    assert sorted(item["kind"] for item in told) == ["not loaded", "not started"]
    assert told[0]["offer"]["late"][0]["firing"] == firing.id


def test_a_loggers_csv_and_a_stream_are_readings_too(house: House) -> None:
    """The log counts from the start of the firing; the stream sends one object a line."""
    audited, firing, start = _started(house)
    course = audited.courses[firing.id]
    rows = [f"{minute // 60}:{minute % 60:02d},{course.temperature_c[minute]:.0f}" for minute in range(0, 120, 5)]
    text = "time,temperature_c\n" + "\n".join(rows) + "\n"
    csv = house.call("Wout", "POST", f"/firings/{firing.id}/log", content=text, headers={"content-type": "text/csv"})
    assert (csv.status_code, csv.json()["new"]) == (200, 24), csv.text
    line = '{"at": "%s", "temperature": %d}\n'
    lines = [line % ((start + timedelta(minutes=m)).isoformat(), course.temperature_c[m]) for m in range(120, 150, 5)]
    stream = house.call("Wout", "POST", f"/firings/{firing.id}/stream", content="".join(lines).encode())
    assert (stream.status_code, stream.json()["new"]) == (200, 6), stream.text
    kept = house.get("Wout", f"/records/{stream.json()['id']}/readings")
    assert len(kept) == 30
    assert house.call("Wout", "POST", f"/firings/{firing.id}/stream", content=b"612\n").status_code == 422


def test_a_faulty_log_is_told_as_the_files_are(house: House) -> None:
    """Row and column."""
    _, firing, _ = _started(house)
    text = "time,temperature_c\n" + "\n".join(f"0:{m:02d},{20 + m}" for m in range(11)) + "\n0:30,hot\n"
    answer = house.call("Wout", "POST", f"/firings/{firing.id}/log", content=text, headers={"content-type": "text/csv"})
    assert answer.status_code == 422
    assert answer.json()["faults"][0]["place"] == "row 13, column temperature_c"


def test_a_kiln_in_use_takes_no_other_firing(house: House) -> None:
    """Until it is opened."""
    _started(house)
    with house.service.store.read() as session:
        audited = house.service.audited(session, 1)
    second = audited.firings_of("K1")[1]
    answer = house.call("Wout", "POST", f"/firings/{second.id}/loaded", {"version": 0})
    assert (answer.status_code, answer.json()["type"]) == (409, "/problems/kiln-in-use")


def test_a_load_in_a_kiln_is_neither_changed_nor_cancelled(house: House) -> None:
    """It is too late."""
    _, firing, _ = _started(house)
    load = firing.loads[0]
    assert house.call("Wout", "POST", f"/loads/{load}/cancel", {"version": 1}).json()["type"] == "/problems/in-a-kiln"


def test_a_fresh_plan_is_refused_while_a_firing_is_under_way(house: House) -> None:
    """It would not know of it; a re-plan does."""
    _started(house)
    assert house.call("Marta", "POST", "/plans", {"work": 1}).json()["type"] == "/problems/under-way"
    assert house.solve("/re-plans")["state"] == "done"


@pytest.mark.parametrize("told", ["with the re-plan", "as an outage before it"])
def test_a_dead_kiln_stays_dead_until_somebody_says_otherwise(house: House, told: str) -> None:
    """However it was told: it interrupts its firing, stands once among the outages, and is empty in later re-plans."""
    _, firing, start = _started(house)
    house.clock.now = start + timedelta(hours=1)
    body: dict[str, Any] = {}
    if told == "with the re-plan":
        body = {"kilns_down": [{"kiln": "K1"}]}
    else:
        house.post("Wout", "/studio/outages", {"body": {"kiln": "K1", "from": house.clock.now.isoformat()}})
    job = house.solve("/re-plans", body)
    assert job["state"] == "done", job
    notes = house.get("Wout", f"/plans/{job['plan']}")["summary"]["notes"]
    assert [question["firing"] for question in notes["questions"]] == [firing.id]
    house.publish(job["plan"])
    assert [out["body"]["kiln"] for out in house.get("Wout", "/studio/outages")] == ["K4", "K1"]
    house.clock.move(hours=2)
    later = house.solve("/re-plans", {"by_records": False})
    assert later["state"] == "done", later
    plan = house.get("Wout", f"/plans/{later['plan']}")["plan"]
    assert "K1" not in {item["kiln"] for item in plan["firings"]}
    house.publish(later["plan"])
    assert len(house.get("Wout", "/studio/outages")) == 2


def test_recorded_firings_feed_the_fit(house: House) -> None:
    """A kiln with weak elements and a worn lid fires while the service listens: the fit finds both, about."""
    audited, firing, start = _started(house)
    studio = audited.studio
    hidden = studio.kiln_by_id["K1"].model_copy(update={"fitted": Fitted(power=0.9, loss=1.25, storage=1.05)})
    ware_kg = sum(audited.loads[load].mass_kg for load in firing.loads)
    profile = studio.profile_by_id[firing.profile]
    course = simulate_one(firing_request(studio, hidden, profile, firing.size_row, ware_kg, len(firing.layers)))
    body = {"readings": _readings(course, start, course.cold_minutes, every=5.0)}
    house.post("Wout", f"/firings/{firing.id}/readings", body)
    house.clock.now = start + timedelta(minutes=course.cold_minutes)
    record = house.get("Wout", "/records")[0]
    house.post("Wout", f"/firings/{firing.id}/opened", {"version": record["version"], "kwh": round(course.kwh, 1)})
    found = house.post("Marta", "/kilns/K1/fit", {"version": 1})
    fitted = found["body"]["fitted"]
    assert (found["firings"], found["version"]) == (1, 2)
    assert fitted["power"] == pytest.approx(0.9, abs=0.05)
    assert fitted["loss"] == pytest.approx(1.25, abs=0.15)
    assert house.get("Marta", "/studio/kilns/K1")["body"]["fitted"] == fitted
    assert house.call("Marta", "POST", "/kilns/K2/fit", {"version": 1}).json()["type"] == "/problems/no-records"


def test_costs_are_shared_by_space_and_energy_and_add_up(house: House) -> None:
    """By the house's rule; each member sees their own; what all pay is what the firings cost."""
    house.post("Ana", "/loads", {"load": {**BISQUE, "id": "A1"}})
    house.post("Ben", "/loads", {"load": {**BISQUE, "id": "A2", "mass_kg": 15}})
    rule = {"firing": 12.0, "litre": 0.1, "energy_factor": 1.5, "energy_by_mass": 1.0}
    kept = house.call("Marta", "PUT", "/cost-rule", {"version": 0, "rule": rule})
    assert kept.json() == {"version": 1, "rule": rule}
    _, firing, _ = _started(house)
    house.clock.move(hours=40)
    house.post("Wout", f"/firings/{firing.id}/opened", {"version": 2, "kwh": 2 * firing.kwh})
    everybody = house.get("Marta", "/costs")
    items = [item for person in everybody for item in person["items"]]
    assert {item["load"] for item in items} == set(firing.loads)
    litres = sum(item["litres"] for item in items)
    paid = sum(person["total"] for person in everybody)
    assert paid == pytest.approx(12.0 + 0.1 * litres + 1.5 * 2 * firing.energy_cost, abs=0.05)
    own = house.get("Ana", "/costs")
    assert [person["owner"] for person in own] == (["Ana"] if "A1" in firing.loads else [])


def test_the_shares_of_a_firing_by_hand(house: House) -> None:
    """Two loads, one thrice as heavy, the other thrice as roomy: counted on paper."""
    with house.service.store.read() as session:
        studio = house.service.studio(session)
    from shared.loads import Load

    kiln = studio.kiln_by_id["K1"].model_copy(update={"shelf_gap_mm": 0.0})
    wide = Load(id="W", profile="p", footprint_cm2=3000, height_mm=100, mass_kg=5)
    heavy = Load(id="H", profile="p", footprint_cm2=1000, height_mm=100, mass_kg=15)
    rule = CostRule(firing=8.0, litre=0.5, energy_factor=2.0, energy_by_mass=0.25)
    by_hand = {
        "W": 8.0 * 0.75 + 0.5 * 30.0 + 2.0 * 10.0 * (0.25 * 0.25 + 0.75 * 0.75),
        "H": 8.0 * 0.25 + 0.5 * 10.0 + 2.0 * 10.0 * (0.25 * 0.75 + 0.75 * 0.25),
    }
    assert {share.load: share.price for share in shares([wide, heavy], kiln, 10.0, rule)} == pytest.approx(by_hand)
