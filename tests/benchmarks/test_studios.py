"""Generated studios are studios: they read back from their folders, and what waits in them can be fired."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from shared.calendar import on_duty
from shared.clock import local_time
from shared.files import read_folder, write_folder
from shared.loads import size_row
from tests.benchmarks.generated_studios import cases, made
from tests.benchmarks.studios import make_studio


@pytest.mark.parametrize("case", cases(), ids=lambda case: f"seed-{case.seed}")
def test_a_generated_studio_reads_back_from_its_folder(case, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    studio, loads, _, _ = made(case)
    write_folder(tmp_path / "studio", studio, loads)
    assert read_folder(tmp_path / "studio") == (studio, loads)


@pytest.mark.parametrize(("kilns", "loads"), [(1, 5), (25, 400), (40, 1000)])
def test_the_smallest_and_the_largest_read_back_too(kilns: int, loads: int, tmp_path: Path) -> None:
    studio, waiting, _ = make_studio(3, kilns, loads, "F", "America/Denver", date(2027, 3, 8))
    assert (len(studio.kilns), len(waiting)) == (kilns, loads)
    write_folder(tmp_path / "studio", studio, waiting)
    assert read_folder(tmp_path / "studio") == (studio, waiting)


def test_the_same_seed_makes_the_same_studio_and_another_seed_another() -> None:
    assert make_studio(4, 6, 40) == make_studio(4, 6, 40)
    assert make_studio(4, 6, 40) != make_studio(5, 6, 40)


@pytest.mark.parametrize("count", [(0, 10), (41, 100), (5, 4), (5, 1001)])
def test_sizes_beyond_the_generator_are_refused(count: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match="1 to 40 kilns"):
        make_studio(1, *count)


def test_the_thirty_cover_sizes_units_zones_and_clock_changes() -> None:
    chosen = cases()
    assert len(chosen) == 30
    assert {case.unit for case in chosen} == {"C", "F"}
    assert len({case.timezone for case in chosen}) >= 3
    assert (min(case.kilns for case in chosen), max(case.kilns for case in chosen)) == (2, 15)
    assert (min(case.loads for case in chosen), max(case.loads for case in chosen)) == (10, 150)
    changing = 0
    for case in chosen:
        studio, _, _, begin = made(case)
        zone = studio.place.zone
        end = begin + studio.rules.horizon_days * 1440
        changing += local_time(begin, zone).utcoffset() != local_time(end, zone).utcoffset()
    assert changing >= 4


def test_booked_sessions_are_where_somebody_with_the_skill_is() -> None:
    booked = 0
    for case in cases():
        studio, loads, _, begin = made(case)
        duties = on_duty(studio, begin, begin + studio.rules.horizon_days * 1440)
        for load in loads:
            profile = studio.profile_by_id[load.profile]
            size_row(profile, [load])  # raises where no row takes it
            if load.session_at is not None:
                booked += 1
                ends = load.session_at + (load.session_minutes or 0)
                skilled = [duty for duty in duties if profile.skill in duty.shift.skills]
                assert any(duty.begin <= load.session_at and ends <= duty.end for duty in skilled)
    assert booked >= 30


def test_circuits_let_every_kiln_heat_and_not_all_of_them_together() -> None:
    tight = 0
    for case in cases():
        studio, _, _, _ = made(case)
        for circuit in studio.circuits:
            for leg in circuit.leg_names:
                amps = [
                    kiln.amps
                    for kiln in studio.kilns
                    if leg in studio.legs_of(kiln) and circuit in list(studio.feeders(kiln.circuit))
                ]
                assert max(amps, default=0.0) <= circuit.usable_amps
                tight += sum(amps) > circuit.usable_amps
    assert tight >= 30
