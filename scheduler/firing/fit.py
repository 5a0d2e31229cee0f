"""Fits a kiln's power, loss and storage to its recorded firings: robust least squares with priors, standard errors,
and refusal where the records cannot tell.

A record of temperatures determines only ratios: a kiln with a tenth more power, loss, storage and load draws the same
curve. So the logarithms of power, loss/power, storage/power and, for each record, mass/power are fitted; the plate, a
meter's reading or scales give the scale, as priors. Programmed stretches that the kiln follows tell nothing; full
power and free cooling tell everything.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import OptimizeResult, least_squares

from scheduler.firing.course import Course
from scheduler.firing.network import Factors
from scheduler.firing.recorded import RecordedFiring
from scheduler.firing.simulate import simulate_afresh
from scheduler.firing.uncertainty import LOSS_PRIOR, POWER_PRIOR, STORAGE_PRIOR
from shared.errors import RequestError
from shared.kilns import Fitted, Kiln
from shared.texts import say

Floats = NDArray[np.float64]

SIGMA_K = 15.0
"""Residual of a ten-minute point [K]: what the model cannot know, not the thermocouple's noise; prototype figure."""
METER_ERROR = 0.03
"""Standard error of the logarithm of a read energy [-]; meters are within 2 %, reading times are not [CP]."""
INFLATION = 1.8
"""The points' errors hang together over hours: against the priors their sigma counts for so much more [-]. Calibrated
so that bands hold what they say on synthetic kilns (tests/benchmarks/firing_fit.py)."""

TELLS_BELOW = 0.75
"""A ratio counts as determined when its standard error falls to this share of what it was before [-]."""
FAR_K = 60.0
FAR_AT_MOST = 0.2
"""Where more than this share of points [-] is so far off the fit [K], the record is of another firing."""

STRAY_K = 200.0
STRAYS_AT_MOST = 0.2
"""Points so far from the first fit [K] are left out of a second one, if they are no more than this share [-]."""

_STEP = 0.01


class FitRefused(RequestError):  # noqa: N818 - a refusal is an answer, not a fault of the program
    """The records cannot determine the kiln's factors; the message says why, and what would."""


@dataclass(frozen=True, eq=False)
class LogFit:
    """How the fitted model draws one record.

    Attributes
    ----------
    minutes, measured_c, fitted_c
        Ten-minute points, for a plot.
    mass_factor
        Fitted mass by what was said [-].
    end_of_heating_error_h, safe_error_h
        Model minus record [h]; None where the record does not show it.
    end_of_heating_h, safe_h
        By the record [h after the start].
    offset_k
        How much higher than the controller's the logger's thermocouple read in the holds; taken off before the fit [K].
    """

    name: str
    minutes: Floats
    measured_c: Floats
    fitted_c: Floats
    mass_factor: float
    end_of_heating_error_h: float | None
    safe_error_h: float | None
    end_of_heating_h: float | None
    safe_h: float | None
    offset_k: float = 0.0


@dataclass(frozen=True, eq=False)
class KilnFit:
    """The result of a fit.

    Attributes
    ----------
    fitted
        Factors with standard errors and correlations, as the kiln's record keeps them.
    residual_k
        Typical distance of a ten-minute point from the model [K].
    undetermined
        Factors that the records leave where the plate has them.
    logs
        Each record against the fitted model.
    """

    fitted: Fitted
    residual_k: float
    undetermined: tuple[str, ...]
    logs: tuple[LogFit, ...]


def _soft(residual: Floats) -> Floats:
    """Residuals whose squares are the soft-L1 cost of the given ones."""
    return np.sign(residual) * np.sqrt(2.0 * (np.sqrt(1.0 + residual**2) - 1.0))


def factors_of(x: Floats, log: int) -> Factors:
    """The factors of record number ``log`` from the fitted logarithms."""
    power = math.exp(x[0])
    return Factors(power, math.exp(x[0] + x[1]), math.exp(x[0] + x[2]), math.exp(x[0] + x[3 + log]))


class _Problem:
    """Residuals of all records as a function of the logarithms."""

    def __init__(self, logs: Sequence[RecordedFiring]) -> None:
        self.logs = logs
        self.points: list[tuple[Floats, Floats]] = []
        self.requests = []
        for log in logs:
            minutes, heats = log.binned()
            if log.request.unload_hot and log.end_of_heating_minutes is not None:
                # Afterwards people open the door, and nobody records when.
                keep = minutes <= log.end_of_heating_minutes
                minutes, heats = minutes[keep], heats[keep]
            self.points.append((minutes, heats))
            after = heats[int(np.argmax(heats)) :]
            floor = max(log.request.room_c + 8.0, float(after.min()) - 3.0)
            self.requests.append(
                replace(log.unfitted_request, unload_below_c=floor, load_below_c=floor, unload_hot=False)
            )
        masses = [log.mass_error for log in logs]
        self.prior = np.array([POWER_PRIOR, LOSS_PRIOR, STORAGE_PRIOR, *masses])
        # ln power, loss, storage, masses from the fitted logarithms.
        self.mix = np.eye(3 + len(logs))
        self.mix[1:, 0] = 1.0

    def course(self, x: Floats, log: int) -> Course:
        """The course of a record's firing with these factors."""
        return simulate_afresh(self.requests[log], factors_of(x, log))[0]

    def of_log(self, x: Floats, log: int) -> Floats:
        """Residuals of one record, before the soft cost [-]."""
        course = self.course(x, log)
        minutes, heats = self.points[log]
        grid = np.arange(course.temperature_c.size) * course.step_minutes
        parts = (np.interp(minutes, grid, course.temperature_c) - heats) / SIGMA_K
        kwh = self.logs[log].kwh
        if kwh is not None:
            parts = np.append(parts, math.log(max(course.kwh, 1e-6) / kwh) / METER_ERROR)
        return np.asarray(parts, dtype=float)

    def leave_out_strays(self, x: Floats) -> bool:
        """Drop points that no firing has, such as a loose wire's, where they are few; True if any was dropped."""
        dropped = False
        for i, (minutes, heats) in enumerate(self.points):
            keep = np.abs(self.of_log(x, i)[: minutes.size]) * SIGMA_K < STRAY_K
            if STRAYS_AT_MOST * minutes.size >= np.count_nonzero(~keep) > 0:
                self.points[i] = (minutes[keep], heats[keep])
                dropped = True
        return dropped

    def residuals(self, x: Floats) -> Floats:
        """All residuals, the priors last."""
        data = [_soft(self.of_log(x, i)) / INFLATION for i in range(len(self.logs))]
        return np.concatenate([*data, self.mix @ x / self.prior])

    def jacobian(self, x: Floats) -> Floats:
        """By differences; a record's mass moves that record only."""
        rows = []
        for i in range(len(self.logs)):
            base = _soft(self.of_log(x, i)) / INFLATION
            block = np.zeros((base.size, x.size))
            for j in (0, 1, 2, 3 + i):
                moved = x.copy()
                moved[j] += _STEP
                block[:, j] = (_soft(self.of_log(moved, i)) / INFLATION - base) / _STEP
            rows.append(block)
        return np.vstack([*rows, self.mix / self.prior[:, None]])


def _check(logs: Sequence[RecordedFiring]) -> None:
    if not logs:
        raise FitRefused(say("fit.no_record_was"))
    for log in logs:
        peak = max(s.to_c for s in log.request.segments)
        top = float(log.temperature_c.max())
        if top > peak + 150.0 and abs((top - 32.0) / 1.8 - peak) < 60.0:
            raise FitRefused(say("fit.reads_up_c", log=log.name, top=top, peak=peak))
        if top > peak + 80.0 or top < 0.5 * peak:
            raise FitRefused(say("fit.reads_up_c_where", log=log.name, top=top, peak=peak))
        if log.minutes[-1] - log.minutes[0] < 90.0:
            raise FitRefused(say("fit.min_long_give", log=log.name, minutes=log.minutes[-1] - log.minutes[0]))


def fit_kiln(kiln: Kiln, logs: Sequence[RecordedFiring]) -> KilnFit:
    """Power, loss and storage factors of a kiln from its recorded firings.

    Parameters
    ----------
    kiln
        The kiln by its plate; factors that it already has are not used.
    logs
        Recorded firings of this kiln. One that includes the cool-down is worth two that do not.

    Returns
    -------
    KilnFit
        Factors, standard errors, and each record against the fitted model.

    Raises
    ------
    FitRefused
        If the records cannot determine the losses, or are not of the firings they are said to be.
    """
    _check(logs)
    offsets = [log.offset_k for log in logs]
    problem = _Problem([replace(log.corrected(), request=replace(log.request, kiln=kiln)) for log in logs])
    x, jacobian = _solve(problem)
    if problem.leave_out_strays(x):
        x, jacobian = _solve(problem)
    return _result(problem, x, jacobian, offsets)


def _starts(problem: _Problem) -> list[Floats]:
    """Three starts: the best of a coarse grid of power, loss and storage, which a kiln near its limit needs."""
    tried: list[tuple[float, int, Floats]] = []
    for power in (-0.08, 0.06):
        for loss in (-0.5, -0.25, 0.0, 0.25, 0.5, 0.75):
            for storage in (-0.15, 0.15):
                x = np.zeros(problem.prior.size)
                # Prior means of the masses are 1, whatever the power.
                x[0], x[1], x[2], x[3:] = power, loss - power, storage - power, -power
                tried.append((float(np.sum(problem.residuals(x) ** 2)), len(tried), x))
    return [x for _, _, x in sorted(tried)[:3]]


def _solve(problem: _Problem) -> tuple[Floats, Floats]:
    """Best of three starts, refined: the logarithms and the Jacobian there."""

    def descend(start: Floats, tolerance: float, most: int) -> OptimizeResult:
        return least_squares(
            problem.residuals, start, problem.jacobian, x_scale=problem.prior, ftol=tolerance, max_nfev=most
        )

    first, *others = _starts(problem)
    best = descend(first, 1e-4, 25)
    for start in others:
        # Only as far as it takes to see whether it leads elsewhere.
        tried = descend(start, 1e-2, 6)
        if tried.cost < 0.98 * best.cost:
            best = descend(tried.x, 1e-4, 25)
    return np.asarray(best.x), np.asarray(best.jac)


def _result(problem: _Problem, x: Floats, jacobian: Floats, offsets: Sequence[float]) -> KilnFit:
    logs = problem.logs
    size = x.size
    raw = np.concatenate([problem.of_log(x, i)[: problem.points[i][0].size] for i in range(len(logs))])
    spread = 1.4826 * float(np.median(np.abs(raw)))
    rms = math.sqrt(float(np.mean(_soft(raw) ** 2)))
    far = float(np.mean(np.abs(raw) * SIGMA_K > FAR_K))
    if far > FAR_AT_MOST:
        raise FitRefused(say("fit.points_more_than", far=far, distance=FAR_K))
    data = jacobian[: jacobian.shape[0] - size]
    prior_precision = problem.mix.T @ np.diag(problem.prior**-2.0) @ problem.mix
    scale = max(1.0, rms)
    covariance = np.linalg.inv(data.T @ data / scale**2 + prior_precision)
    before = np.linalg.inv(prior_precision)
    share = np.sqrt(np.diag(covariance) / np.diag(before))
    if share[1] > TELLS_BELOW:
        raise FitRefused(_why_not(problem, share))

    mixed = (problem.mix @ covariance @ problem.mix.T)[:3, :3]
    errors = np.sqrt(np.diag(mixed))
    factors = factors_of(x, 0)
    # Power and storage keep the plate's values where records say nothing of them: a fibre wall stores next to nothing.
    left = zip(("power", "storage"), (errors[0] / POWER_PRIOR, errors[2] / STORAGE_PRIOR), strict=True)
    undetermined = tuple(name for name, share_left in left if share_left > 0.9)
    unit = mixed / np.outer(errors, errors)
    fitted = Fitted(
        power=round(factors.power, 4), loss=round(factors.loss, 4), storage=round(factors.storage, 4),
        power_error=round(float(errors[0]), 4), loss_error=round(float(errors[1]), 4),
        storage_error=round(float(errors[2]), 4),
        correlations=(round(float(unit[0, 1]), 4), round(float(unit[0, 2]), 4), round(float(unit[1, 2]), 4)),
        firings=len(logs),
    )  # fmt: skip
    parts = tuple(replace(_log_fit(problem, x, i), offset_k=offsets[i]) for i in range(len(logs)))
    return KilnFit(fitted, spread * SIGMA_K, undetermined, parts)


def _why_not(problem: _Problem, share: Floats) -> str:
    """Why records tell nothing, in words."""
    reasons = []
    cooled = any(float(h[int(np.argmax(h)) :].min()) < 0.6 * float(h.max()) for _, h in problem.points)
    if not cooled:
        reasons.append(say("fit.none_shows_kiln"))
    full = False
    for i in range(len(problem.logs)):
        course = problem.course(np.zeros(share.size), i)
        full = full or float(np.mean(course.power_kw > 0.98 * float(course.power_kw.max()))) > 0.02
    if not full:
        reasons.append(say("fit.none_kiln_full"))
    reasons = reasons or [say("fit.they_too_short")]
    return say("fit.kilns_losses_cannot", reasons=tuple(reasons), of_loss=share[1], of_storage=share[2])


def seen_times(log: RecordedFiring, course: Course) -> tuple[float, float | None]:
    """When a course's heating ends and it is safe, as a record would show it [min].

    The end of heating is read off the temperatures with the same eyes as a record's (`RecordedFiring`).
    """
    grid = np.arange(course.temperature_c.size).astype(np.float64) * course.step_minutes
    drawn = replace(log, minutes=grid, temperature_c=np.asarray(course.temperature_c))
    end = drawn.end_of_heating_minutes
    safe = None if log.request.unload_hot else drawn.safe_minutes
    return (course.hot_minutes if end is None else end), safe


def _errors(log: RecordedFiring, course: Course) -> tuple[float | None, float | None]:
    """Model minus record, end of heating and safe time [h]."""
    end, safe = seen_times(log, course)
    seen_end, seen_safe = log.end_of_heating_minutes, log.safe_minutes
    return (
        None if seen_end is None else (end - seen_end) / 60.0,
        None if seen_safe is None or safe is None else (safe - seen_safe) / 60.0,
    )


def _log_fit(problem: _Problem, x: Floats, i: int) -> LogFit:
    log = problem.logs[i]
    minutes, heats = problem.points[i]
    course = problem.course(x, i)
    grid = np.arange(course.temperature_c.size) * course.step_minutes
    end_error, safe_error = _errors(log, course)
    end, safe = log.end_of_heating_minutes, log.safe_minutes
    return LogFit(
        name=log.name, minutes=minutes, measured_c=heats,
        fitted_c=np.interp(minutes, grid, course.temperature_c), mass_factor=factors_of(x, i).mass,
        end_of_heating_error_h=end_error, safe_error_h=safe_error,
        end_of_heating_h=None if end is None else end / 60.0, safe_h=None if safe is None else safe / 60.0,
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class LeftOut:
    """How one record is predicted by a fit to all the others, with its mass as it was said; None: not to be seen."""

    name: str
    end_of_heating_error_h: float | None
    safe_error_h: float | None


def leave_one_out(kiln: Kiln, logs: Sequence[RecordedFiring]) -> list[LeftOut]:
    """Each record predicted by a fit to all the others.

    Raises
    ------
    FitRefused
        If there are fewer than two records, or the others cannot determine the kiln.
    """
    if len(logs) < 2:
        raise FitRefused(say("fit.leaving_one_record"))
    results = []
    for i, log in enumerate(logs):
        others = [other for j, other in enumerate(logs) if j != i]
        fitted = fit_kiln(kiln, others).fitted
        request = replace(log.request, kiln=kiln.model_copy(update={"fitted": fitted}))
        course = simulate_afresh(request)[0]
        if not course.reached:
            results.append(LeftOut(log.name, None, None))
            continue
        results.append(LeftOut(log.name, *_errors(log.corrected(), course)))
    return results
