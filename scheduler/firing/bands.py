"""How sure a computed firing is: 10th to 90th percentile of its times, from the fit's covariance, the charge's mass and
what differs from one firing of a kiln to the next.

The four uncertain logarithms (power, loss, storage, mass) are moved by one standard deviation each way along the
columns of their covariance's root, nine firings in all; the spread of the times' logarithms follows (the usual
propagation of errors, with the second-order shift of the middle).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from scheduler.firing.course import Course, FiringRequest
from scheduler.firing.network import Factors
from scheduler.firing.recorded import WEIGHED_ERROR
from scheduler.firing.simulate import request_key, simulate_afresh, simulate_one
from scheduler.firing.uncertainty import SCATTER, covariance_of

Floats = NDArray[np.float64]

TIMING_MINUTES = 1.5
"""Standard deviation of any time for what no factor moves [min]: sensor lag, controller's cycle [CP]."""

REMEMBERED = 8192
"""Bands kept in memory."""

LOWER, UPPER = 0.1, 0.9
"""The band's percentiles [-]."""


@dataclass(frozen=True, slots=True)
class Spread:
    """The distribution of one time of a firing, log-normal [min].

    Attributes
    ----------
    middle_minutes
        The median.
    log_error
        Standard deviation of the logarithm [-].
    computed_minutes
        The time that the model computes, which the band always holds [min]; None: the median. Where the program sets
        the pace and a kiln can only fall behind it, the median lies later than the computed time.
    """

    middle_minutes: float
    log_error: float
    computed_minutes: float | None = None

    def at(self, share: float) -> float:
        """The time [min] that a share of such firings keeps.

        >>> round(Spread(100.0, 0.1).at(0.9), 1)
        113.7
        """
        return self.middle_minutes * math.exp(self.log_error * NormalDist().inv_cdf(share))

    @property
    def low_minutes(self) -> float:
        """10th percentile [min], or the computed time where that is sooner."""
        low = self.at(LOWER)
        return low if self.computed_minutes is None else min(low, self.computed_minutes)

    @property
    def high_minutes(self) -> float:
        """90th percentile [min], or the computed time where that is later."""
        high = self.at(UPPER)
        return high if self.computed_minutes is None else max(high, self.computed_minutes)


@dataclass(frozen=True, slots=True)
class Band:
    """How sure a firing's times are.

    Attributes
    ----------
    hot
        End of heating (``Course.hot_minutes``).
    safe
        Safe to unload (``Course.safe_minutes``).
    may_fail
        True where a kiln one standard deviation worse does not reach the targets: the firing is at the kiln's edge,
        and the times are only those of the firings that succeed.
    """

    hot: Spread
    safe: Spread
    may_fail: bool


_memory: dict[tuple[object, ...], Band] = {}


def firing_band(request: FiringRequest, mass_error: float = WEIGHED_ERROR) -> Band:
    """The band of a firing's end of heating and safe time.

    Parameters
    ----------
    request
        The firing; its kiln's fit, or the lack of one, decides how sure it is.
    mass_error
        Standard error of the logarithm of the charge's mass [-].

    Notes
    -----
    Holds the truth in about eight of ten firings of synthetic kilns after a fit (tests/benchmarks/firing_fit.py). It
    knows nothing of broken elements, opened lids and wrong programs.
    """
    fitted = request.kiln.fitted
    errors = (fitted.power_error, fitted.loss_error, fitted.storage_error, fitted.correlations)
    key = (request_key(request), errors, mass_error)
    band = _memory.get(key)
    if band is None:
        if len(_memory) >= REMEMBERED:
            _memory.clear()
        band = _memory[key] = _band_afresh(request, mass_error)
    return band


def _band_afresh(request: FiringRequest, mass_error: float) -> Band:
    total = np.zeros((4, 4))
    total[:3, :3] = covariance_of(request.kiln.fitted) + SCATTER
    total[3, 3] = mass_error**2
    values, vectors = np.linalg.eigh(total)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    middle = simulate_one(request)
    if not middle.reached:
        nothing = Spread(math.inf, 0.0)
        return Band(nothing, nothing, True)
    hot = _Moments(middle.hot_minutes)
    safe = _Moments(middle.safe_minutes)
    may_fail = False
    for column in root.T:
        pair = [_moved(request, sign * column) for sign in (1.0, -1.0)]
        may_fail = may_fail or not all(course.reached for course in pair)
        hot.add([c.hot_minutes if c.reached else None for c in pair])
        safe.add([c.safe_minutes if c.reached else None for c in pair])
    return Band(hot.spread(), safe.spread(), may_fail)


def _moved(request: FiringRequest, logs: Floats) -> Course:
    return simulate_afresh(request, Factors(*(math.exp(v) for v in logs)))[0]


class _Moments:
    """Gathers variance and shift of a time's logarithm."""

    def __init__(self, middle: float) -> None:
        self.middle = max(middle, 1e-6)
        self.variance = (TIMING_MINUTES / max(middle, TIMING_MINUTES)) ** 2
        self.shift = 0.0

    def add(self, pair: list[float | None]) -> None:
        up, down = (None if v is None else math.log(max(v, 1e-6) / self.middle) for v in pair)
        if up is None or down is None:
            # One side of it fails: take the other side's step for both.
            known = up if down is None else down
            self.variance += 0.0 if known is None else known**2
            return
        self.variance += ((up - down) / 2.0) ** 2
        self.shift += (up + down) / 2.0

    def spread(self) -> Spread:
        return Spread(self.middle * math.exp(self.shift), math.sqrt(self.variance), self.middle)
