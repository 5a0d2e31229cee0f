"""serve, export, backup and restore as people type them; health and metrics as machines ask for them."""

from __future__ import annotations

import re
import socket
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import uvicorn

from api.command_line import FAULTS, run
from api.storage.backup import back_up, look_through
from api.storage.engine import Store
from shared.clock import Minute, minute_of, wall_minute
from shared.errors import RequestError
from shared.files import read_folder
from tests.api.service.house import House, Template, own_database
from tests.api.small_studio import write_small_studio


def test_a_backup_made_while_the_service_runs_restores_whole(house: House, settled: Template, tmp_path: Path) -> None:
    """Through the commands; a second backup or restore to the same place is refused."""
    house.planned()
    file = tmp_path / "saved"
    assert run(["backup", str(file), "--data", house.data]) == 0
    assert run(["backup", str(file), "--data", house.data]) == FAULTS
    if settled.database == "sqlite":
        target = str(tmp_path / "again.db")
        assert run(["restore", str(file), "--data", target]) == 0
        assert run(["restore", str(file), "--data", target]) == FAULTS
        _same(house, target)
    else:
        with own_database() as target:
            assert run(["restore", str(file), "--data", target]) == 0
            assert run(["restore", str(file), "--data", target]) == FAULTS
            _same(house, target)


def _same(house: House, target: str) -> None:
    store = Store(target)
    try:
        assert look_through(store) == look_through(house.service.store)
    finally:
        store.close()


def test_a_backup_that_cannot_be_restored_is_not_kept(house: House, settled: Template, tmp_path: Path) -> None:
    """Somebody has dropped a column: the check finds it, and no file is left behind."""
    with house.service.store.writer.begin() as connection:
        connection.exec_driver_sql("ALTER TABLE notices DROP COLUMN seen_at")
    with pytest.raises(RequestError, match="tables are not this program's"):
        back_up(house.service.store, tmp_path / "saved")
    assert not list(tmp_path.glob("*saved*"))


def test_export_writes_the_folder_that_serve_took_in(house: House, tmp_path: Path) -> None:
    """By the command, and the plan beside it once there is one."""
    folder = tmp_path / "small"
    folder.mkdir()
    house.planned()
    assert run(["export", str(tmp_path / "out"), "--data", house.data]) == 0
    assert read_folder(tmp_path / "out") == read_folder(write_small_studio(folder))
    assert (tmp_path / "out" / "plan.json").is_file()


@pytest.mark.parametrize("command", [["export", "out"], ["backup", "saved"]])
def test_data_that_are_not_there_are_told(
    command: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In a line, and no empty database is made."""
    monkeypatch.chdir(tmp_path)
    assert run([*command, "--data", "none.db"]) == FAULTS
    assert "there is no none.db; name the service's data with --data" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_serving_without_a_studio_or_at_a_taken_port_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What to do stands in the line."""
    assert run(["serve", "--data", str(tmp_path / "x.db"), "--port", "0"]) == FAULTS
    assert "start with kilnrota serve --studio FOLDER" in capsys.readouterr().err
    with socket.create_server(("127.0.0.1", 0)) as taken:
        assert run(["serve", "--port", str(taken.getsockname()[1])]) == FAULTS
    assert "name another --port or --host" in capsys.readouterr().err


def served_at(arguments: list[str], patch: pytest.MonkeyPatch) -> Minute:
    """The minute that the service of a command shows when it would begin to answer."""
    seen = []

    def look(server: uvicorn.Server, sockets: list[socket.socket] | None = None) -> None:
        service = server.config.app.state.service  # type: ignore[union-attr]
        seen.append(service.minute())
        service.jobs.close()
        service.store.close()

    patch.setattr(uvicorn.Server, "run", look)
    assert run(["serve", "--port", "0", *arguments]) == 0
    return seen[0]


def test_a_service_can_be_tried_at_another_time_and_its_clock_never_goes_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The studio is taken in at ten by its own clock; started again for the day before, it goes on from ten."""
    folder = write_small_studio(tmp_path)
    zone = read_folder(folder)[0].place.zone
    with_data = ["--studio", str(folder), "--data", str(tmp_path / "trial.db")]
    ten = wall_minute(date(2026, 11, 30), 600, zone)
    assert ten <= served_at([*with_data, "--now", "2026-11-30T10:00"], monkeypatch) <= ten + 2
    assert "Its clock begins at 2026-11-30T10:00; it is for trying things out" in capsys.readouterr().out
    assert ten <= served_at([*with_data, "--now", "2026-11-29T10:00"], monkeypatch) <= ten + 2
    later = served_at(["--data", with_data[3], "--now", "2026-12-01T10:00"], monkeypatch)
    assert ten + 1440 <= later <= ten + 1442
    assert served_at(with_data, monkeypatch) <= minute_of(datetime.now(UTC)) + 1
    assert "clock" not in capsys.readouterr().out.rsplit("2026-12-01T10:00", 1)[1].split("\n", 1)[1]
    assert run(["serve", "--port", "0", *with_data, "--now", "noon"]) == FAULTS
    assert "--now: 'noon'" in capsys.readouterr().err


def test_health_and_readiness_are_for_anybody(house: House) -> None:
    """A load balancer signs in nowhere."""
    assert house.get(None, "/health") == {"status": "ok"}
    ready = house.get(None, "/ready")
    assert ready["publication"] == 0
    house.planned()
    assert house.get(None, "/ready")["publication"] == 1


def test_metrics_are_prometheus_text(house: House) -> None:
    """Every line is a comment or a sample, and the counters count."""
    for _ in range(3):
        house.get("Wout", "/loads")
    answer = house.call("Marta", "GET", "/metrics")
    assert answer.headers["content-type"].startswith("text/plain; version=0.0.4")
    sample = re.compile(r'[a-z_]+(\{[a-z_]+="[^"]*"(,[a-z_]+="[^"]*")*\})? [0-9.e+-]+')
    lines = answer.text.splitlines()
    assert all(line.startswith("# ") or sample.fullmatch(line) for line in lines)
    assert 'kilnrota_requests_total{method="GET",route="/api/v1/loads",status="200"} 3' in lines
    assert 'kilnrota_request_seconds_bucket{route="/api/v1/loads",le="+Inf"} 3' in lines
    assert "kilnrota_loads_waiting 5" in lines


def test_an_unknown_address_and_a_wrong_method_are_problems(house: House) -> None:
    """As every error of the API."""
    for method, path, status in (("GET", "/nowhere", 404), ("PATCH", "/loads", 405)):
        answer = house.call("Marta", method, path)
        assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json")
        assert answer.json()["status"] == status


def test_a_body_that_is_too_large_is_refused(house: House) -> None:
    """Before it is read."""
    answer = house.call(
        "Marta", "POST", "/loads", content=b"x" * 8_000_001, headers={"content-type": "application/json"}
    )
    assert answer.status_code == 413
