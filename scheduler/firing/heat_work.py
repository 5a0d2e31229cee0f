"""Pyrometric cones: which cone a course brings down, by its temperature, its rate near the end and its soak.

Temperature equivalents are stored as published and interpolated in the logarithm of the rate. Soaks and curved
approaches are weighed with an Arrhenius integral W = ∫ exp(-Q/RT) dt that has each cone's own apparent Q, taken from
the published rows; one Q for all cones is up to 25 K off, which is more than a cone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import exp1

GAS_CONSTANT = 8.31446
"""R [J/molK]; CODATA 2018."""

RATES_K_PER_H = (15.0, 60.0, 150.0)
"""Rates over the last 100 K for which equivalents are published [K/h]; outside, the nearest of them is used."""

LAST_SPAN_K = 100.0
"""The span below the end point over which the published rates hold [K]."""

FREE_FALL_K_PER_H = 120.0
"""A kiln that falls faster than this near its peak is off [K/h]; slow cooling for matt glazes is 60 to 90 [CP]."""

_ROWS: tuple[tuple[str, float | None, float, float], ...] = (
    # Self-supporting cones, °C at 15, 60 and 150 K/h: Orton, "Temperature Equivalents for Orton Pyrometric Cones,
    # cone 022-14", 2016 and earlier chart. Rows 022 to 08 and 6 read in stored copies, the others from memory.
    ("022", None, 586, 590),
    ("021", None, 600, 617),
    ("020", None, 626, 638),
    ("019", 656, 678, 695),
    ("018", 686, 715, 734),
    ("017", 705, 738, 763),
    ("016", 742, 772, 796),
    ("015", 750, 791, 818),
    ("014", 757, 807, 838),
    ("013", 807, 837, 861),
    ("012", 843, 861, 882),
    ("011", 857, 875, 894),
    ("010", 891, 903, 915),
    ("09", 907, 920, 930),
    ("08", 922, 942, 956),
    ("07", 962, 976, 987),
    ("06", 981, 998, 1013),
    ("05", 1021, 1031, 1044),
    ("04", 1046, 1063, 1077),
    ("03", 1071, 1086, 1104),
    ("02", 1078, 1102, 1122),
    ("01", 1093, 1119, 1138),
    ("1", 1109, 1137, 1154),
    ("2", 1112, 1142, 1164),
    ("3", 1115, 1152, 1170),
    ("4", 1141, 1162, 1183),
    ("5", 1159, 1186, 1207),
    ("6", 1185, 1222, 1243),
    ("7", 1201, 1239, 1257),
    ("8", 1211, 1249, 1271),
    ("9", 1224, 1260, 1280),
    ("10", 1251, 1285, 1305),
)


def _ramp_work(q: float, kelvin: float, rate_k_per_h: float) -> float:
    """Logarithm of W of a linear ramp from far below up to ``kelvin``, W in hours [-].

    ∫ exp(-Q/RT) dT = T exp(-x) - (Q/R) E1(x) with x = Q/RT; its asymptotic form where E1 underflows.
    """
    x = q / (GAS_CONSTANT * kelvin)
    if x < 600.0:
        scaled = 1.0 - x * math.exp(x) * float(exp1(x))
    else:
        scaled = 1.0 / x
    return math.log(kelvin * scaled / rate_k_per_h) - x


def counted_intervals(series_c: NDArray[np.float64], step_minutes: float) -> NDArray[np.bool_]:
    """Which steps of a course count: all but the free fall after the peak.

    An end point is read while the kiln still rises, and every firing's free fall adds the same little more.
    """
    series = np.asarray(series_c, dtype=float)
    fall_k_per_h = (series[:-1] - series[1:]) / step_minutes * 60.0
    after = np.arange(series.size - 1) >= int(np.argmax(series))
    counted: NDArray[np.bool_] = ~(after & (fall_k_per_h > FREE_FALL_K_PER_H))
    return counted


@dataclass(frozen=True)
class Cone:
    """A pyrometric cone: its name and its published equivalents [°C] at ``RATES_K_PER_H`` (None: not published)."""

    name: str
    equivalents_c: tuple[float | None, float, float]

    def equivalent_c(self, rate_k_per_h: float) -> float:
        """Temperature [°C] at which it is down when heated at a rate [K/h], linear in log10 of the rate."""
        known = [(math.log10(r), t) for r, t in zip(RATES_K_PER_H, self.equivalents_c, strict=True) if t is not None]
        rate = math.log10(min(max(rate_k_per_h, RATES_K_PER_H[0]), RATES_K_PER_H[-1]))
        if rate < known[0][0]:
            (r0, t0), (r1, t1) = known[0], known[1]
            return t0 + (t1 - t0) / (r1 - r0) * (rate - r0)
        return float(np.interp(rate, [r for r, _ in known], [t for _, t in known]))

    @cached_property
    def activation_j_per_mol(self) -> float:
        """Apparent activation energy Q [J/mol]: the one whose W differs least between the published rates.

        A number that fits softening and crystallising glass over 100 K, not a physical constant.
        """
        known = [(r, t + 273.15) for r, t in zip(RATES_K_PER_H, self.equivalents_c, strict=True) if t is not None]
        energies = np.linspace(150e3, 3000e3, 2851)
        spread = [float(np.var([_ramp_work(q, t, r) for r, t in known])) for q in energies]
        return float(energies[int(np.argmin(spread))])

    def log_ratio(self, series_c: NDArray[np.float64], step_minutes: float, rate_k_per_h: float) -> float:
        """Logarithm of a course's W by the cone's own at that rate [-]; the cone is down from 0 on."""
        q = self.activation_j_per_mol
        goal_k = self.equivalent_c(rate_k_per_h) + 273.15
        rate = min(max(rate_k_per_h, RATES_K_PER_H[0]), RATES_K_PER_H[-1])
        kelvin = np.asarray(series_c, dtype=float) + 273.15
        exponent = -q / GAS_CONSTANT * (1.0 / kelvin - 1.0 / goal_k)
        top = float(exponent.max())
        pace = np.exp(exponent - top)
        intervals = 0.5 * (pace[1:] + pace[:-1])[counted_intervals(series_c, step_minutes)]
        work = math.log(float(intervals.sum()) * step_minutes / 60.0) + top
        return work - (_ramp_work(q, goal_k, rate) + q / (GAS_CONSTANT * goal_k))


CONES: tuple[Cone, ...] = tuple(Cone(name, (a, b, c)) for name, a, b, c in _ROWS)
"""From the softest, 022, to 10."""

_PLACE = {cone.name: i for i, cone in enumerate(CONES)}


def cone_named(name: str) -> Cone:
    """A cone by its name.

    Raises
    ------
    LookupError
        If there is no such cone between 022 and 10.
    """
    if name not in _PLACE:
        raise LookupError(f"no cone {name} between 022 and 10")
    return CONES[_PLACE[name]]


def cones_between(one: str, other: str) -> int:
    """How many cones the second is hotter than the first [-].

    >>> cones_between("06", "6"), cones_between("6", "5")
    (11, -1)
    """
    return _PLACE[other] - _PLACE[one]


def cones_beside(name: str) -> tuple[str | None, str | None]:
    """The next softer and the next harder cone; None where there is none between 022 and 10.

    >>> cones_beside("04"), cones_beside("022")
    (('05', '03'), (None, '021'))
    """
    place = _PLACE[name]
    softer = CONES[place - 1].name if place > 0 else None
    return softer, CONES[place + 1].name if place + 1 < len(CONES) else None


@dataclass(frozen=True, slots=True)
class HeatWork:
    """What a course does to cones.

    Attributes
    ----------
    place
        Cones that are down, counted from 022 as 1, with the next one's share [-]; below 1 none is down.
    cone
        The hottest cone that is down; None: none.
    rate_k_per_h
        Mean rate over the last 100 K before the peak [K/h].
    peak_c
        [°C].
    rate_is_published
        Whether the rate lies within the published ones.
    """

    place: float
    cone: str | None
    rate_k_per_h: float
    peak_c: float

    @property
    def rate_is_published(self) -> bool:
        """Whether equivalents are published for such a rate."""
        return RATES_K_PER_H[0] <= self.rate_k_per_h <= RATES_K_PER_H[-1]

    def off(self, wanted: str) -> float:
        """Cones by which the course is hotter than just bringing ``wanted`` down [-]."""
        return self.place - (_PLACE[wanted] + 1)


def last_rate(series_c: NDArray[np.float64], step_minutes: float) -> float:
    """Mean rate over the last 100 K before a course first comes within a kelvin of its peak [K/h]."""
    series = np.asarray(series_c, dtype=float)
    peak = float(series.max())
    arrived = int(np.argmax(series >= peak - 1.0))
    before = np.nonzero(series[: arrived + 1] <= series[arrived] - LAST_SPAN_K)[0]
    began = int(before[-1]) if before.size else 0
    hours = max((arrived - began) * step_minutes / 60.0, 1e-6)
    return float(series[arrived] - series[began]) / hours


def heat_work(series_c: NDArray[np.float64], step_minutes: float) -> HeatWork:
    """Which cone a course of temperatures brings down.

    Parameters
    ----------
    series_c
        Temperatures in even steps [°C], cooling included.
    step_minutes
        The steps [min].

    Notes
    -----
    Within half a cone of the published table at its rates (tests); a cone that stands in a colder or hotter corner
    than the sensor sees another temperature, and cones of another maker have another table.
    """
    rate = last_rate(series_c, step_minutes)
    ratios = [cone.log_ratio(series_c, step_minutes, rate) for cone in CONES]
    down = [i for i, ratio in enumerate(ratios) if ratio >= 0.0]
    peak = float(np.max(series_c))
    if not down:
        return HeatWork(math.exp(min(ratios[0], 0.0)), None, rate, peak)
    last = down[-1]
    share = 0.0
    if last + 1 < len(CONES):
        share = ratios[last] / (ratios[last] - ratios[last + 1])
    return HeatWork(last + 1 + share, CONES[last].name, rate, peak)
