"""How a kiln's elements age, from recorded firings on disk: each log fitted by itself, then the report over all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from api.fitting import FiredAs, recorded_firings
from api.single_firing import firing_request
from scheduler.firing.ageing import AgeingReport, PowerReading, ageing_report
from scheduler.firing.fit import FitRefused, fit_kiln
from scheduler.firing.simulate import simulate
from shared.clock import local_time
from shared.errors import RequestError
from shared.files import read_log
from shared.kilns import Kiln
from shared.profiles import Profile
from shared.studio import Studio


@dataclass(frozen=True)
class Ageing:
    """The report, the profile that it looks at, and the logs that could not be fitted by themselves, with why."""

    kiln: Kiln
    hottest: Profile
    report: AgeingReport
    readings: tuple[tuple[str, PowerReading], ...]
    left_aside: tuple[str, ...]


def age_of(studio: Studio, kiln: Kiln, paths: Sequence[Path], fired_as: FiredAs, today: date) -> Ageing:
    """Fit each log by itself and report how the kiln's power has changed.

    Raises
    ------
    FolderError
        If a log cannot be read.
    RequestError
        If a log names no time of day, or no profile may be fired in this kiln.
    """
    firings = recorded_firings(studio, kiln, paths, fired_as)
    readings: list[tuple[str, PowerReading]] = []
    aside: list[str] = []
    for path, firing in zip(paths, firings, strict=True):
        began = read_log(path, studio.place.temperature, studio.place.zone).began
        if began is None:
            raise RequestError(f"{path.name}: its times are hours since the start; ageing needs dates, as ISO times")
        try:
            fitted = fit_kiln(kiln, [firing]).fitted
        except FitRefused as refusal:
            aside.append(f"{path.name}: {refusal}")
            continue
        readings.append((path.name, PowerReading.of(local_time(began, studio.place.zone).date(), fitted)))
    hottest, request_row = _hottest(studio, kiln)
    request = firing_request(studio, kiln, hottest, request_row, kiln.furniture_kg, kiln.full_layers)
    courses = simulate([firing.request for firing in firings])
    report = ageing_report(kiln, courses, [reading for _, reading in readings], request, today)
    return Ageing(kiln, hottest, report, tuple(readings), tuple(aside))


def _hottest(studio: Studio, kiln: Kiln) -> tuple[Profile, int | None]:
    """The profile with the highest peak that a kiln fires, and its row."""
    peaks = [
        (profile.peak_c(row), profile, row)
        for profile in studio.profiles
        if profile.work in kiln.work
        for row in profile.rows
        if profile.peak_c(row) <= kiln.max_temperature_c
    ]
    if not peaks:
        raise RequestError(
            f"no profile of the studio may be fired in kiln {kiln.id}; its work is {', '.join(kiln.work)}"
        )
    _, profile, row = max(peaks, key=lambda peak: (peak[0], peak[1].id))
    return profile, row
