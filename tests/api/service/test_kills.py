"""Killed with SIGKILL in the midst of bookings, solves and publications: nothing that was answered is lost."""

from __future__ import annotations

from pathlib import Path

from tests.api.service.house import Template, own_database
from tests.api.small_studio import write_small_studio
from tests.benchmarks.service_kills import Truth, look_into, run

KILLS = 2
"""Kills in the ordinary run, of services that are really started; tests/benchmarks/service_kills.py makes 200."""


def test_nothing_answered_is_lost_and_nothing_booked_twice(settled: Template, tmp_path: Path) -> None:
    """On the database under test, with the installed program in processes of its own."""
    folder = tmp_path / "studio"
    folder.mkdir()
    write_small_studio(folder)
    if settled.database == "sqlite":
        truth = run(KILLS, str(tmp_path / "x.db"), folder, seed=3)
    else:
        with own_database() as data:
            truth = run(KILLS, data, folder, seed=3)
    assert truth.faults == []
    assert truth.counts["kills"] == KILLS
    assert truth.counts["booked"] > 0


def test_the_check_sees_a_database_that_is_not_whole(tmp_path: Path) -> None:
    """It can fail: a page overwritten in the middle of the file is told of."""
    file = tmp_path / "broken.db"
    file.write_bytes(b"SQLite format 3\x00" + bytes(8000))
    truth = Truth()
    look_into(str(file), truth)
    assert truth.faults
