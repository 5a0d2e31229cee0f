"""Computes firings: requests in, courses out, from memory where the same firing was asked for before."""

from __future__ import annotations

import math
import os
import threading
from collections import OrderedDict
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scheduler.firing import kernel
from scheduler.firing.course import Course, FiringRequest, SegmentCourse
from scheduler.firing.materials import shelf_enthalpy, ware_enthalpy, ware_for
from scheduler.firing.network import Factors, Network, kiln_key, network_for
from shared.profiles import Segment

STEP_MINUTES = 1.0
"""Spacing of the series that a course carries [min]."""

LEAST_WARE_KG = 0.01
"""An empty kiln is fired with so much ware [kg], too little to matter: the stepper wants no empty nodes."""

WHOLE_MINUTE_STEPS_LITRES = 40.0
"""Kilns of this volume [l] or more are stepped by the minute; a smaller one, whose phases are short, more finely."""

MOST_STEPS_PER_MINUTE = 12
REMEMBERED = 8192
"""Courses kept in memory; about 40 kB each."""

THREADS, WORTH_THREADS = min(4, os.cpu_count() or 1), 4
"""Threads that compute firings side by side, and from how many firings on they are begun [-]."""

_memory: OrderedDict[tuple[object, ...], Course] = OrderedDict()
_memory_lock = threading.Lock()


@dataclass(frozen=True, slots=True)
class Energy:
    """Where the energy of a firing went, to the end of its shut cooling [J]."""

    elements: float
    lost: float
    taken_with_ware: float
    stored: float

    @property
    def gap(self) -> float:
        """What is missing, by the elements' energy [-]; rounding error if all is well."""
        missing = self.elements - self.lost - self.taken_with_ware - self.stored
        return abs(missing) / max(self.elements, 1.0)


def simulate(requests: Sequence[FiringRequest]) -> list[Course]:
    """The courses of many firings, in the requests' order.

    Parameters
    ----------
    requests
        Firings to compute; equal ones are computed once and remembered.

    Returns
    -------
    list[Course]
        One for each request. A firing that cannot reach a target, or whose kiln never falls below its limits,
        comes back with ``reached`` False.
    """
    keys = [request_key(request) for request in requests]
    anew = {key: request for key, request in zip(keys, requests, strict=True) if key not in _memory}
    found: dict[tuple[object, ...], Course] = {}
    if len(anew) >= WORTH_THREADS and THREADS > 1:
        with ThreadPoolExecutor(THREADS) as pool:  # what is compiled lets other threads run
            found = dict(zip(anew, pool.map(_course_of, anew, anew.values()), strict=True))
    return [found.get(key) or _course_of(key, request) for key, request in zip(keys, requests, strict=True)]


def simulate_one(request: FiringRequest) -> Course:
    """The course of one firing; see `simulate`."""
    return _course_of(request_key(request), request)


def _course_of(key: tuple[object, ...], request: FiringRequest) -> Course:
    """The course of a request, by its key."""
    with _memory_lock:
        known = _memory.get(key)
        if known is not None:
            _memory.move_to_end(key)
            return known
    course = simulate_afresh(request)[0]
    with _memory_lock:
        _memory[key] = course
        while len(_memory) > REMEMBERED:
            _memory.popitem(last=False)
    return course


def simulate_afresh(
    request: FiringRequest,
    factors: Factors | None = None,
    network: Network | None = None,
    steps_per_minute: int | None = None,
) -> tuple[Course, Energy]:
    """The course of one firing, computed anew, and its energy balance.

    Parameters
    ----------
    request
        The firing.
    factors
        Multiplies the kiln's power, losses and storage, and the ware's mass [-].
    network
        Instead of the kiln's own network.
    steps_per_minute
        Instead of the number that suits the kiln.
    """
    net = network_for(request.kiln) if network is None else network
    factors = factors or Factors()
    if factors != Factors():
        net = net.with_factors(factors)
    segments, falls = _split_free_falls(request)
    ware = ware_for(request.work)
    tables = ware_enthalpy(ware)
    shelf = shelf_enthalpy()
    shelf_kg = max(request.kiln.furniture_for(request.layers), LEAST_WARE_KG)
    ware_kg = max(request.ware_kg * factors.mass, LEAST_WARE_KG)
    thickness = ware.thickness_mm / 1000.0
    scalars = np.empty(kernel.SCALARS)
    scalars[kernel.P_OUTSIDE] = net.outside_m2
    scalars[kernel.P_FACE] = net.hot_face_m2
    scalars[kernel.P_LID] = net.lid_m2
    scalars[kernel.P_LEAK] = net.leak_m2
    scalars[kernel.P_VENT] = net.vent_kg_per_s
    scalars[kernel.P_CHAMBER] = net.chamber_j_per_k
    scalars[kernel.P_POWER] = net.power_w
    scalars[kernel.P_HEIGHT] = net.height_m
    scalars[kernel.P_ROOM] = request.room_c
    scalars[kernel.P_SHELF_KG] = shelf_kg
    scalars[kernel.P_WARE_M2_KG] = ware.surface_m2_per_kg
    # Half a plate as two lumps: their centres lie an eighth and three eighths of the thickness below the surface.
    scalars[kernel.P_SKIN_G] = ware.conductivity * ware.surface_m2_per_kg / (thickness / 8.0)
    scalars[kernel.P_CORE_G] = ware.conductivity * ware.surface_m2_per_kg / (thickness / 4.0)

    count = len(segments)
    rates = np.array([0.0 if s.rate_k_per_hour is None else s.rate_k_per_hour / 3600.0 for s in segments])
    targets = np.array([s.to_c for s in segments])
    holds = np.array([s.hold_minutes * 60.0 for s in segments])
    least_hold = holds[-1]
    if request.last_hold_minutes is not None:
        holds[-1] = request.last_hold_minutes * 60.0
    per_minute = steps_per_minute or _steps_per_minute(request.kiln.volume_l)
    reached, ends, result = np.full(count, np.nan), np.full(count, np.nan), np.empty(kernel.RESULTS)
    log_c, log_kw = np.empty(_LONGEST_MINUTES), np.empty(_LONGEST_MINUTES)
    points = kernel.fire(
        60.0 / per_minute,
        per_minute,
        scalars,
        net.cell_mass,
        net.half_resistance,
        net.k,
        net.cp,
        shelf.sensible,
        tables.sensible,
        tables.first_heating,
        ware_kg,
        LEAST_WARE_KG,
        request.vented,
        request.unload_hot,
        rates,
        targets,
        holds,
        float(least_hold),
        request.unload_below_c,
        request.load_below_c,
        reached,
        ends,
        log_c,
        log_kw,
        result,
    )
    energy = Energy(
        elements=float(result[kernel.R_IN]),
        lost=float(result[kernel.R_LOST]),
        taken_with_ware=float(result[kernel.R_TAKEN]),
        stored=float(result[kernel.R_STORED]),
    )
    course = _course(request, falls, reached, ends, log_c[:points].copy(), log_kw[: points - 1].copy(), result)
    return course, energy


_LONGEST_MINUTES = int((kernel.LONGEST_S + 2 * kernel.LONGEST_COOLING_S) / 60.0) + 10
"""Room for the series; memory that is not written is not taken."""


def request_key(request: FiringRequest) -> tuple[object, ...]:
    """What of a request matters to its course, as a tuple that is cheap to hash."""
    return (
        kiln_key(request.kiln),
        request.work,
        request.unload_hot,
        request.vented,
        request.ware_kg,
        request.layers,
        request.room_c,
        request.unload_below_c,
        request.load_below_c,
        request.last_hold_minutes,
        tuple((s.rate_k_per_hour, s.to_c, s.hold_minutes) for s in request.segments),
    )


def _split_free_falls(request: FiringRequest) -> tuple[tuple[Segment, ...], tuple[Segment, ...]]:
    """Last segments in which the kiln is off and merely falls: they are its cooling, not part of its heating."""
    segments = request.segments
    keep = len(segments)
    if not request.unload_hot and not request.last_hold_minutes:
        floor_c = min(request.unload_below_c, request.load_below_c)
        while keep > 1:
            last, before = segments[keep - 1], segments[keep - 2]
            if (
                last.rate_k_per_hour is not None
                or last.hold_minutes > 0
                or last.to_c >= before.to_c
                or last.to_c < floor_c
            ):
                break
            keep -= 1
    return segments[:keep], segments[keep:]


def _steps_per_minute(volume_l: float) -> int:
    """Steps a minute. Depends on the kiln alone, so that more ware never fires sooner."""
    return max(1, min(MOST_STEPS_PER_MINUTE, round(math.sqrt(WHOLE_MINUTE_STEPS_LITRES / volume_l))))


def _course(
    request: FiringRequest,
    falls: tuple[Segment, ...],
    reached: NDArray[np.float64],
    ends: NDArray[np.float64],
    series_c: NDArray[np.float64],
    series_kw: NDArray[np.float64],
    result: NDArray[np.float64],
) -> Course:
    stages = [SegmentCourse(_minutes(a), _minutes(b)) for a, b in zip(reached, ends, strict=True)]
    status = int(result[kernel.R_STATUS])
    hot = _minutes(result[kernel.R_HOT])
    for fall in falls:
        at = hot
        if status == kernel.REACHED:
            at = _falls_below(series_c, fall.to_c, hot)
        stages.append(SegmentCourse(at, at))
    series_c.flags.writeable = False
    power = np.append(series_kw, 0.0)
    power.flags.writeable = False
    return Course(
        reached=status == kernel.REACHED,
        stalled_at_c=None if status == kernel.REACHED else float(result[kernel.R_STALL]),
        target_minutes=stages[-1].reached_minutes,
        hot_minutes=hot,
        safe_minutes=_minutes(result[kernel.R_SAFE]),
        cold_minutes=_minutes(result[kernel.R_COLD]),
        open_cool_minutes=_minutes(result[kernel.R_OPEN]),
        segments=tuple(stages),
        kwh=float(result[kernel.R_KWH]),
        step_minutes=STEP_MINUTES,
        temperature_c=series_c,
        power_kw=power,
    )


def _minutes(seconds: float) -> float:
    """Minutes of the kernel's seconds, without its rounding error: two hours are 120 minutes, not a hair more."""
    return round(float(seconds) / 60.0, 6)


def _falls_below(series_c: NDArray[np.float64], limit_c: float, after_minutes: float) -> float:
    """First time after ``after_minutes`` at which the series is at or below a limit [min]."""
    start = max(int(after_minutes), 0)
    below = np.nonzero(series_c[start:] <= limit_c)[0]
    if not below.size:
        return float(len(series_c) - 1)
    i = start + int(below[0])
    if i == 0:
        return after_minutes
    drop = float(series_c[i - 1] - series_c[i])
    part = 0.0 if drop <= 0.0 else float(series_c[i - 1] - limit_c) / drop
    return max(after_minutes, i - 1 + min(max(part, 0.0), 1.0))
