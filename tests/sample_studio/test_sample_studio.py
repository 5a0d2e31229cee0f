"""The sample studio is a folder that reads without fault and a case that is worth planning."""

from __future__ import annotations

import importlib.resources
import re
from collections import Counter
from datetime import date, timedelta
from itertools import combinations
from pathlib import Path

import pytest

from api.single_firing import compute_firing
from scheduler.firing.course import Course, FiringRequest
from scheduler.firing.heat_work import heat_work
from scheduler.firing.simulate import simulate
from shared.calendar import Span, on_duty, power_outages, quiet_spans
from shared.clock import Minute, wall_minute
from shared.files import folder_warnings, read_folder, read_log
from shared.kilns import Kiln
from shared.loads import Load, area_on_last_layer_cm2, session_minutes, size_row
from shared.studio import Studio

FOLDER = Path(str(importlib.resources.files("sample_studio")))
WORK = {"bisque", "glaze", "glass", "burnout", "enamel", "metal-clay"}
CAUTIONS = {
    "hot-kiln", "fumes", "burnout-smoke", "hot-flask", "silica-dust", "glare", "enamel-dust", "carbon-box",
    "thick-ware", "sharp-glass", "lead",
}  # fmt: skip
WRONG_CLAY = "G20"
"""The one load that no kiln may fire: red clay with a ticket for cone 6, put there on purpose."""


@pytest.fixture(scope="module")
def sample() -> tuple[Studio, tuple[Load, ...]]:
    return read_folder(FOLDER)


@pytest.fixture(scope="module")
def horizon(sample: tuple[Studio, tuple[Load, ...]]) -> tuple[Minute, Minute]:
    zone, first = sample[0].place.zone, date(2026, 11, 30)
    last = first + timedelta(days=sample[0].rules.horizon_days)
    return wall_minute(first, 0, zone), wall_minute(last, 0, zone)


def _layers(kiln: Kiln, load: Load) -> int:
    """Layers that a load takes in an empty kiln; 0 if it does not fit."""
    if load.footprint_cm2 / load.pieces > kiln.shelf_area_cm2:
        return 0
    layers = area_on_last_layer_cm2(load, kiln.shelf_area_cm2)[0] + 1
    return layers if layers * (load.height_mm + kiln.shelf_gap_mm) <= kiln.height_mm else 0


def _courses(studio: Studio, load: Load) -> dict[str, Course]:
    """The load fired by itself in each kiln that takes it."""
    profile = studio.profile_by_id[load.profile]
    requests = {}
    for kiln in studio.kilns:
        layers = _layers(kiln, load)
        if profile.work not in kiln.work or (load.kilns and kiln.id not in load.kilns) or not layers:
            continue
        row = size_row(profile, [load])
        segments, hot = profile.segments(row), profile.unload == "hot"
        requests[kiln.id] = FiringRequest(
            kiln=kiln,
            work=profile.work,
            segments=segments,
            unload_hot=hot,
            vented=profile.vent and kiln.vented,
            ware_kg=load.mass_kg,
            layers=layers,
            room_c=studio.place.room_c,
            unload_below_c=studio.unload_below_c(profile),
            load_below_c=studio.rules.load_below_c,
            last_hold_minutes=segments[-1].hold_minutes + session_minutes(kiln, [load]) if hot else None,
        )
    return dict(zip(requests, simulate(list(requests.values())), strict=True))


def test_it_covers_six_kinds_of_work_with_about_sixty_loads(sample: tuple[Studio, tuple[Load, ...]]) -> None:
    studio, loads = sample
    assert 7 <= len(studio.kilns) <= 8
    assert 55 <= len(loads) <= 66
    assert {work for kiln in studio.kilns for work in kiln.work} == WORK
    assert {studio.profile_by_id[load.profile].work for load in loads} == WORK
    assert {profile.id for profile in studio.profiles} == {load.profile for load in loads}
    assert min(Counter(load.stream for load in loads).values()) >= 20


def test_its_only_warning_is_the_wrong_clay(
    sample: tuple[Studio, tuple[Load, ...]], horizon: tuple[Minute, Minute]
) -> None:
    studio, loads = sample
    warnings = folder_warnings(studio, loads, horizon[0] - 6 * 60)
    assert [WRONG_CLAY in warning.place for warning in warnings] == [True], "\n".join(map(str, warnings))


def test_every_other_load_fits_a_kiln_that_reaches_its_temperature(sample: tuple[Studio, tuple[Load, ...]]) -> None:
    studio, loads = sample
    for load in loads:
        profile = studio.profile_by_id[load.profile]
        peak_c = profile.peak_c(size_row(profile, [load]))
        assert (load.max_temperature_c is not None and peak_c > load.max_temperature_c) == (load.id == WRONG_CLAY)
        courses = _courses(studio, load)
        assert courses, f"{load.id} fits no kiln"
        stalled = {kiln: course.stalled_at_c for kiln, course in courses.items() if not course.reached}
        assert not stalled, f"{load.id} stalls: {stalled}"


def test_every_size_reaches_the_cone_that_its_profile_names_and_no_more(
    sample: tuple[Studio, tuple[Load, ...]],
) -> None:
    """In each kiln, its hold counted; the cones' equivalents are Orton's (``heat_work``, held against them there)."""
    studio, _ = sample
    seen = set()
    for profile in studio.profiles:
        named = re.search(r"cone (\d+)", profile.name or "")
        for kiln in studio.kilns if named else ():
            for row in profile.rows if profile.work in kiln.work else ():
                size = None if row is None else profile.sizes[row].up_to
                course = compute_firing(studio, kiln, profile, None, size, None).course
                off = heat_work(course.temperature_c, course.step_minutes).off(named[1])  # type: ignore[index]
                assert 0.0 <= off < 0.25, (profile.id, row, kiln.id, off)
                seen.add((profile.id, row))
    assert len(seen) == 7


def test_not_everything_can_heat_at_once(sample: tuple[Studio, tuple[Load, ...]]) -> None:
    studio, _ = sample
    over = []
    for one, other in combinations(studio.kilns, 2):
        for circuit in studio.circuits:
            for leg in circuit.leg_names:
                below = [
                    kiln.amps
                    for kiln in (one, other)
                    if leg in studio.legs_of(kiln) and circuit in list(studio.feeders(kiln.circuit))
                ]
                assert not below or max(below) <= circuit.usable_amps, "a kiln that may never heat"
                if sum(below) > circuit.usable_amps:
                    over.append((one.id, other.id))
    assert ("K1", "K2") in over
    assert ("K4", "K7") in over
    assert ("K2", "K3") not in over
    assert (
        sum(kiln.amps for kiln in studio.kilns if "C" in studio.legs_of(kiln))
        > studio.circuit_by_id["main"].usable_amps
    )


def test_plates_agree_with_volts_amps_and_legs(sample: tuple[Studio, tuple[Load, ...]]) -> None:
    """Three legs: P = sqrt(3) U I; two legs or one: P = U I. Plates round to three figures."""
    studio, _ = sample
    for kiln in studio.kilns:
        factor = 3**0.5 if len(studio.legs_of(kiln)) == 3 else 1.0
        assert kiln.kilowatts == pytest.approx(factor * kiln.volts * kiln.amps / 1000, rel=0.005), kiln.id


def test_booked_sessions_lie_inside_shifts_with_the_skill_and_fit_the_hold(
    sample: tuple[Studio, tuple[Load, ...]], horizon: tuple[Minute, Minute]
) -> None:
    studio, loads = sample
    booked = [load for load in loads if load.session_at is not None]
    assert len(booked) >= 6
    for load in booked:
        profile, (kiln_id, course) = studio.profile_by_id[load.profile], *_courses(studio, load).items()
        kiln = studio.kiln_by_id[kiln_id]
        assert load.session_at is not None
        begins, ends = load.session_at, load.session_at + session_minutes(kiln, [load])
        duties = [d for d in on_duty(studio, *horizon) if profile.skill in d.shift.skills]
        assert any(d.begin <= begins and ends <= d.end for d in duties), load.id
        last = profile.segments(size_row(profile, [load]))[-1]
        assert last.longest_hold_minutes >= last.hold_minutes + session_minutes(kiln, [load]), load.id
        # The latest start whose course is ready for the session heats through no quiet time of its work.
        starts = begins - course.safe_minutes
        quiet = quiet_spans(studio, *horizon)
        assert not any(
            q.begin < ends and starts < q.end and (q.work is None or profile.work in q.work) for q in quiet
        ), load.id


def test_two_bodies_and_two_glasses_are_kept_apart(sample: tuple[Studio, tuple[Load, ...]]) -> None:
    studio, loads = sample
    for name in ("bisque", "slump"):
        assert studio.profile_by_id[name].one_family
        assert len({load.family for load in loads if load.profile == name}) == 2


def test_stages_promises_and_streams_pull_in_different_directions(sample: tuple[Studio, tuple[Load, ...]]) -> None:
    _, loads = sample
    by_id = {load.id: load for load in loads}
    later = [load for load in loads if load.after is not None]
    assert len(later) >= 10
    for load in later:
        assert load.after is not None
        earlier = by_id[load.after]
        assert (earlier.owner, earlier.family, earlier.pieces) == (load.owner, load.family, load.pieces)
    assert sum(load.promised is not None for load in loads) >= 45
    assert len({load.priority for load in loads}) >= 4


def test_its_cautions_are_known_keys(sample: tuple[Studio, tuple[Load, ...]]) -> None:
    used = {caution for profile in sample[0].profiles for caution in profile.cautions}
    assert used == CAUTIONS


def test_the_house_has_two_shift_patterns_a_night_tariff_a_closed_day_and_an_outage(
    sample: tuple[Studio, tuple[Load, ...]], horizon: tuple[Minute, Minute]
) -> None:
    studio, _ = sample
    assert {skill for shift in studio.shifts for skill in shift.skills} == {"casting", "enamelling"}
    assert {shift.hands for shift in studio.shifts} == {1, 2}
    assert min(band.price for band in studio.tariff.bands) < studio.tariff.default
    begin, end = horizon
    assert len(studio.closed) == 1
    assert [outage.kiln or outage.circuit for outage in studio.outages] == ["main", "K3"]
    assert all(begin < outage.begins < end for outage in studio.outages)
    assert {quiet.days for quiet in studio.quiet} == {("tue", "thu")}


def test_nothing_can_heat_from_the_inspectors_coming_until_somebody_is_back(
    sample: tuple[Studio, tuple[Load, ...]],
) -> None:
    """A closed day stops people, not kilns on their timers; the circuit's outage stops those."""
    studio, _ = sample
    (closed,) = studio.closed
    comes = wall_minute(closed.first, 8 * 60, studio.place.zone)
    tomorrow = wall_minute(closed.last + timedelta(days=1), 0, studio.place.zone)
    back = min(duty.begin for duty in on_duty(studio, tomorrow, tomorrow + 24 * 60))
    for kiln in studio.kilns:
        assert power_outages(studio, kiln.id, comes, back) == [Span(comes, back)], kiln.id


@pytest.mark.parametrize("path", sorted((FOLDER / "logs").glob("*.csv")), ids=lambda path: path.stem)
def test_its_recorded_firings_run_from_cold_to_peak_and_back(
    sample: tuple[Studio, tuple[Load, ...]], path: Path
) -> None:
    studio, _ = sample
    log = read_log(path, studio.place.temperature, studio.place.zone)
    name = path.stem.split("K2-")[1]
    profile = studio.profile_by_id[name]
    assert log.temperature_c[0] == pytest.approx(studio.place.room_c, abs=10)
    assert log.temperature_c.max() == pytest.approx(profile.peak_c(profile.rows[0]), abs=12)
    assert log.temperature_c[-1] < studio.unload_below_c(profile)


def test_there_are_recorded_firings_that_say_they_are_invented() -> None:
    assert len(list((FOLDER / "logs").glob("*.csv"))) == 3
    assert "INVENTED" in (FOLDER / "logs" / "ABOUT.txt").read_text(encoding="utf-8")
