"""Clean-outs as a part of the studio over HTTP: added, refused with its place, changed, removed."""

from __future__ import annotations

from tests.api.service.house import House

BODY = {"after": ["bisque"], "before": ["glaze"], "minutes": 30, "price": 5}


def test_the_manager_keeps_clean_outs(house: House) -> None:
    kept = house.post("Marta", "/studio/clean_outs", {"body": BODY})
    assert kept["body"] == BODY
    (listed,) = house.get("Marta", "/studio/clean_outs")
    assert listed["key"] == kept["key"]
    address = f"/studio/clean_outs/{kept['key']}?version=1"
    assert house.call("Wout", "DELETE", address).status_code == 403
    assert house.call("Marta", "DELETE", address).status_code == 204
    assert house.get("Marta", "/studio/clean_outs") == []


def test_an_unknown_work_in_a_clean_out_or_in_a_kilns_last_work_is_refused(house: House) -> None:
    refused = house.call("Marta", "POST", "/studio/clean_outs", json={"body": {**BODY, "before": ["glaise"]}})
    assert refused.status_code == 422
    assert "before 1" in refused.text
    assert "glaze" in refused.text
