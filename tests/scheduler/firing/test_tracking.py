"""A running firing is found on its course from its readings alone."""

from __future__ import annotations

import numpy as np
import pytest

from api.single_firing import firing_request
from scheduler.firing.course import Course
from scheduler.firing.simulate import simulate_one
from scheduler.firing.tracking import track
from shared.kilns import Fitted
from tests.api.small_studio import write_small_studio

SAFE_C = 90.0


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Course, Course]:
    """A bisque firing as the model expects it, and as a kiln with tired elements and a worn lid fires it."""
    from shared.files import read_folder

    studio, _ = read_folder(write_small_studio(tmp_path_factory.mktemp("studio")))
    kiln, profile = studio.kiln_by_id["K1"], studio.profile_by_id["bisque-04"]
    tired = kiln.model_copy(update={"fitted": Fitted(power=0.75, loss=1.2)})
    request = firing_request(studio, kiln, profile, None, 30.0, 3)
    return simulate_one(request), simulate_one(firing_request(studio, tired, profile, None, 30.0, 3))


def _read(course: Course, until: float, every: float = 5.0, noise_k: float = 0.0) -> list[tuple[float, float]]:
    rng = np.random.default_rng(7)
    grid = np.arange(len(course.temperature_c)) * course.step_minutes
    times = np.arange(0.0, until, every)
    heats = np.interp(times, grid, course.temperature_c) + rng.normal(0.0, noise_k, len(times))
    return list(zip(times.tolist(), heats.tolist(), strict=True))


@pytest.mark.parametrize("share", [0.1, 0.3, 0.6, 0.9, 1.2, 2.0])
@pytest.mark.parametrize("noise_k", [0.0, 2.0])
def test_a_firing_that_goes_as_computed_is_found_where_it_is(
    made: tuple[Course, Course], share: float, noise_k: float
) -> None:
    """Within 5 minutes, with the ordinary noise of a type K thermocouple too, in heating, hold and cooling."""
    course, _ = made
    until = share * course.hot_minutes
    found = track(course, _read(course, until, noise_k=noise_k), SAFE_C)
    assert abs(found.behind_minutes) < 5.0
    assert found.hot_minutes == pytest.approx(course.hot_minutes, abs=5.0)
    assert found.safe_minutes == pytest.approx(course.safe_minutes, abs=12.0)


def test_without_readings_the_course_itself_is_expected(made: tuple[Course, Course]) -> None:
    """Nothing seen, nothing moved."""
    course, _ = made
    found = track(course, [], SAFE_C)
    assert (found.hot_minutes, found.safe_minutes) == (course.hot_minutes, course.safe_minutes)


def test_a_power_cut_of_an_hour_is_an_hour_behind(made: tuple[Course, Course]) -> None:
    """The controller goes on where it was: everything after the cut comes an hour later."""
    course, _ = made
    cut = 0.5 * course.hot_minutes
    readings = [(t if t <= cut else t + 60.0, heat) for t, heat in _read(course, 0.8 * course.hot_minutes)]
    found = track(course, readings, SAFE_C)
    assert found.behind_minutes == pytest.approx(60.0, abs=5.0)
    assert found.hot_minutes == pytest.approx(course.hot_minutes + 60.0, abs=5.0)


def test_a_tired_kiln_is_seen_sooner_than_its_end(made: tuple[Course, Course]) -> None:
    """By the time that its heating should be over, the end is foretold within half of what the plan missed."""
    course, real = made
    missed = real.hot_minutes - course.hot_minutes
    assert missed > 30.0, "the tired kiln is no slower: the test shows nothing"
    found = track(course, _read(real, course.hot_minutes), SAFE_C)
    assert abs(found.hot_minutes - real.hot_minutes) < 0.5 * missed


def test_what_has_happened_is_no_forecast_any_more(made: tuple[Course, Course]) -> None:
    """Once it is off and cool, the times are when it was."""
    course, real = made
    readings = _read(real, real.safe_minutes + 60.0)
    found = track(course, readings, SAFE_C)
    assert found.hot_minutes == pytest.approx(real.hot_minutes, abs=30.0)
    seen = next(t for t, heat in readings if t > real.hot_minutes and heat <= SAFE_C)
    assert found.safe_minutes == seen
