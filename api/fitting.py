"""Fitting a kiln to logs on disk: which log is of which firing, the fit, and how well it foretells each log unseen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from api.requests import profile_named, row_asked_for
from api.single_firing import firing_request
from scheduler.firing.fit import FitRefused, KilnFit, LeftOut, fit_kiln, leave_one_out
from scheduler.firing.recorded import GUESSED_ERROR, WEIGHED_ERROR, RecordedFiring
from shared.errors import RequestError
from shared.files import read_log
from shared.kilns import Kiln
from shared.profiles import Profile
from shared.studio import Studio

T = TypeVar("T")


@dataclass(frozen=True)
class FiredAs:
    """What is said of the logs: once for all of them, once for each in their order, or not at all.

    ``mass_kg`` is the ware's mass [kg]; ``size`` the largest piece, in the unit of ``profile.sized_by``.
    """

    profiles: Sequence[str] = ()
    mass_kg: Sequence[float] = ()
    size: Sequence[float] = ()
    layers: Sequence[int] = ()


@dataclass(frozen=True)
class FitOutcome:
    """A fit, and each log foretold by a fit to the others; ``not_left_out`` says why there is no such forecast."""

    kiln: Kiln
    fit: KilnFit
    left_out: tuple[LeftOut, ...]
    not_left_out: str


def fit_logs(studio: Studio, kiln: Kiln, paths: Sequence[Path], fired_as: FiredAs) -> FitOutcome:
    """Read the logs and fit the kiln to them.

    Raises
    ------
    FolderError
        If a log cannot be read.
    RequestError
        If it is not said which firing a log is of, or the logs cannot determine the kiln (`FitRefused`).
    """
    logs = recorded_firings(studio, kiln, paths, fired_as)
    fit = fit_kiln(kiln, logs)
    try:
        return FitOutcome(kiln, fit, tuple(leave_one_out(kiln, logs)), "")
    except FitRefused as refusal:
        return FitOutcome(kiln, fit, (), str(refusal))


def recorded_firings(studio: Studio, kiln: Kiln, paths: Sequence[Path], fired_as: FiredAs) -> list[RecordedFiring]:
    """Logs on disk with what is said of them; see `fit_logs` for what it raises."""
    return [_recorded(studio, kiln, path, number, len(paths), fired_as) for number, path in enumerate(paths)]


def _recorded(studio: Studio, kiln: Kiln, path: Path, number: int, of: int, fired_as: FiredAs) -> RecordedFiring:
    log = read_log(path, studio.place.temperature, studio.place.zone)
    named = _said(fired_as.profiles, number, of, "--profile")
    profile = profile_named(studio, named) if named is not None else _profile_in_name(studio, path)
    size = _said(fired_as.size, number, of, "--size")
    row = row_asked_for(profile, size if profile.sizes else None)  # one size may be said of sized and unsized alike
    layers = _said(fired_as.layers, number, of, "--layers") or kiln.full_layers
    mass_kg = _said(fired_as.mass_kg, number, of, "--mass")
    ware_kg = kiln.furniture_for(layers) if mass_kg is None else mass_kg
    return RecordedFiring(
        request=firing_request(studio, kiln, profile, row, ware_kg, layers),
        minutes=log.elapsed_minutes,
        temperature_c=log.temperature_c,
        mass_error=GUESSED_ERROR if mass_kg is None else WEIGHED_ERROR,
        name=path.name,
    )


def _said(values: Sequence[T], number: int, of: int, option: str) -> T | None:
    """What an option says of log ``number``."""
    if not values:
        return None
    if len(values) not in (1, of):
        raise RequestError(f"{option} is given {len(values)} times for {of} logs; give it once, or once for each log")
    return values[number] if len(values) == of else values[0]


def _profile_in_name(studio: Studio, path: Path) -> Profile:
    """The profile whose id stands in the log's name; the longest, where several do."""
    named = [profile for profile in studio.profiles if profile.id in path.stem]
    if not named:
        raise RequestError(f"{path.name}: its name holds no profile's id; say with --profile which profile was fired")
    return max(named, key=lambda profile: len(profile.id))
