"""A recorded firing: what a logger wrote, and what can be read off it without any model."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from scheduler.firing.course import FiringRequest
from shared.errors import RequestError
from shared.kilns import Fitted
from shared.texts import say

BIN_MINUTES = 10.0
"""Readings are averaged over so long [min]: a minute's reading tells hardly more than its neighbour's."""

WEIGHED_ERROR = 0.07
"""Standard error of a weighed charge's logarithm [-]: scales, water, what else stood in the kiln [CP]."""

GUESSED_ERROR = 0.2
"""The same for a guessed one [CP]."""

HELD_WITHIN_K = 8.0
"""A kiln counts as held at its target while within this [K]; three times ordinary thermocouple noise."""


LEAST_OFFSET_K = 3.0
"""A logger's thermocouple that differs from the controller's by less counts as the same [K]; class 1 type K is within
1.5 K up to 375 °C and 0.4 % above (IEC 60584-1) [M]."""

OFFSET_SEEN_WITHIN_K = 25.0
FLAT_K_PER_H = 12.0
"""A stretch that is so flat [K/h] and so near a held target [K] is that hold."""


@dataclass(frozen=True, eq=False)
class RecordedFiring:
    """One recorded firing with what was fired.

    Attributes
    ----------
    request
        The firing as it was programmed: kiln, segments, charge, room.
    minutes, temperature_c
        Readings after the start of the profile [min, °C]; irregular, with gaps, in order of time.
    mass_error
        Standard error of the logarithm of the charge's mass [-].
    kwh
        Energy by a meter [kWh], if one was read.
    name
        What messages call it.
    """

    request: FiringRequest
    minutes: NDArray[np.float64]
    temperature_c: NDArray[np.float64]
    mass_error: float = WEIGHED_ERROR
    kwh: float | None = None
    name: str = "log"

    def __post_init__(self) -> None:
        if self.minutes.shape != self.temperature_c.shape or self.minutes.ndim != 1:
            raise RequestError(say("fit.times_temperatures_differ", log=self.name))
        if self.minutes.size < 10:
            raise RequestError(say("fit.readings_give_log", log=self.name, number=self.minutes.size))
        if not (np.all(np.isfinite(self.minutes)) and np.all(np.isfinite(self.temperature_c))):
            raise RequestError(say("fit.holds_time_temperature", log=self.name))
        if np.any(np.diff(self.minutes) <= 0.0):
            raise RequestError(say("fit.times_do_not", log=self.name))

    @property
    def unfitted_request(self) -> FiringRequest:
        """The firing in the kiln as its plate describes it."""
        return replace(self.request, kiln=self.request.kiln.model_copy(update={"fitted": Fitted()}))

    def binned(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Mean time and median temperature of each ten minutes that has readings; gaps stay gaps."""
        number = np.floor(self.minutes / BIN_MINUTES).astype(int)
        starts = np.concatenate(([0], np.nonzero(np.diff(number))[0] + 1, [number.size]))
        minutes = [float(np.mean(self.minutes[a:b])) for a, b in itertools.pairwise(starts)]
        heats = [float(np.median(self.temperature_c[a:b])) for a, b in itertools.pairwise(starts)]
        return np.array(minutes), np.array(heats)

    @property
    def offset_k(self) -> float:
        """How much higher the logger reads than the controller holds [K]; 0 where it is small or no hold shows it.

        The controller keeps its own thermocouple at the target; a logger with another one shows the difference in the
        holds on the way up.
        """
        minutes, heats = self.binned()
        last = int(np.nonzero(heats >= heats.max() - OFFSET_SEEN_WITHIN_K)[0][-1])
        minutes, heats = minutes[: last + 1], heats[: last + 1]
        if heats.size < 3:
            return 0.0
        slope = np.abs(np.diff(heats) / np.diff(minutes)) * 60.0
        flat = np.concatenate(([False], (slope[:-1] < FLAT_K_PER_H) & (slope[1:] < FLAT_K_PER_H), [False]))
        targets = [s.to_c for s in self.request.segments if s.hold_minutes >= 3.0 * BIN_MINUTES]
        seen = [heats[flat & (np.abs(heats - to_c) < OFFSET_SEEN_WITHIN_K)] - to_c for to_c in targets]
        differences = np.concatenate(seen) if seen else np.empty(0)
        offset = float(np.median(differences)) if differences.size >= 2 else 0.0
        return offset if abs(offset) >= LEAST_OFFSET_K else 0.0

    def corrected(self) -> RecordedFiring:
        """The record as the controller's thermocouple would have read it."""
        offset = self.offset_k
        return self if offset == 0.0 else replace(self, temperature_c=self.temperature_c - offset)

    @property
    def end_of_heating_minutes(self) -> float | None:
        """The last reading at the last held or ramped target [min]; None where the log does not show the fall."""
        last = next(
            (s for s in reversed(self.request.segments) if s.rate_k_per_hour is not None or s.hold_minutes > 0),
            self.request.segments[-1],
        )
        at = np.nonzero(self.temperature_c >= last.to_c - HELD_WITHIN_K)[0]
        if not at.size or at[-1] >= self.minutes.size - 2:
            return None
        here, after = at[-1], at[-1] + 1
        if self.minutes[after] - self.minutes[here] > 3.0 * BIN_MINUTES:
            return None  # it fell within a gap
        drop = self.temperature_c[here] - self.temperature_c[after]
        share = (self.temperature_c[here] - (last.to_c - HELD_WITHIN_K)) / max(drop, 1e-9)
        return float(self.minutes[here] + min(max(share, 0.0), 1.0) * (self.minutes[after] - self.minutes[here]))

    @property
    def safe_minutes(self) -> float | None:
        """When the reading falls below the limit to unload [min]; None where the log does not show it."""
        if self.request.unload_hot:
            return None
        limit = self.request.unload_below_c
        warm = np.nonzero(self.temperature_c > limit)[0]
        if not warm.size or warm[-1] + 1 >= self.minutes.size:
            return None
        here, after = warm[-1], warm[-1] + 1
        if self.minutes[after] - self.minutes[here] > 3.0 * BIN_MINUTES:
            return None
        share = (self.temperature_c[here] - limit) / (self.temperature_c[here] - self.temperature_c[after])
        return float(self.minutes[here] + share * (self.minutes[after] - self.minutes[here]))
