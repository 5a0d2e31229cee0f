"""How well a kiln's factors are known: by its plate, by a fit, and from one firing to the next; all of logarithms."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from shared.kilns import Fitted

POWER_PRIOR = 0.08
"""Standard error of ln power by the plate [-]: makers' tolerance of 5 %, supply and age [CP]."""
LOSS_PRIOR = 0.35
"""Of ln loss by measures and brick group [-]: k is known to 7 to 10 % (NIST/ASTM round robin), cracks hardly [CP]."""
STORAGE_PRIOR = 0.20
"""Of ln wall storage [-]: brick density varies by a fifth within a group (ASTM C155) [CP]."""

POWER_SCATTER = 0.010
LOSS_SCATTER = 0.005
STORAGE_SCATTER = 0.005
"""What differs from one firing of a kiln to the next [-]: supply voltage, plugs and vent, damp brick; and what the
model lacks, which acts the same. Calibrated on synthetic kilns of a finer model (tests/benchmarks/firing_fit.py)."""

SCATTER = np.diag([POWER_SCATTER**2, LOSS_SCATTER**2, STORAGE_SCATTER**2])
"""The same as a covariance."""


def covariance_of(fitted: Fitted) -> NDArray[np.float64]:
    """Covariance of ln power, ln loss and ln storage: the fit's, or the plate's where there is none."""
    if fitted.power_error is None or fitted.loss_error is None or fitted.storage_error is None:
        return np.diag([POWER_PRIOR**2, LOSS_PRIOR**2, STORAGE_PRIOR**2])
    errors = np.array([fitted.power_error, fitted.loss_error, fitted.storage_error])
    correlation = np.eye(3)
    if fitted.correlations is not None:
        for (i, j), value in zip(((0, 1), (0, 2), (1, 2)), fitted.correlations, strict=True):
            correlation[i, j] = correlation[j, i] = value
    return np.asarray(correlation * np.outer(errors, errors), dtype=np.float64)
