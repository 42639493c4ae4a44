"""How far prediction and meter agree: NMBE and CV(RMSE), and the limits they are set beside.

Comes in: measured and predicted energy (n,).  Goes out: `Agreement`.  After it: `verification/verify`.

References
----------
ASHRAE Guideline 14-2014, 5.2.11: NMBE = sum(m - s) / ((n - p) mean(m)),
CV(RMSE) = sqrt(sum((m - s)^2) / (n - p)) / mean(m); p = 1 for a calibrated simulation.  Limits for a
calibrated simulation: monthly 5 and 15 %, hourly 10 and 30 % (seen in a public copy).  IPMVP 2002 has 5 and
20 % by the hour (seen in part, from memory).  Guideline 14 has none by the day.  The sign is that of
Guideline 14: positive where the meter shows more than was predicted; some print the opposite.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from sim.records import FloatColumn

__all__ = ["LIMITS", "Agreement", "AgreementLimit", "Step", "agree", "cv_rmse", "nmbe"]

Step = Literal["hour", "day", "month"]
PARAMETERS = 1
"""p of a calibrated simulation."""


@dataclass(frozen=True)
class AgreementLimit:
    """The most that two figures may be.

    Attributes
    ----------
    bias, spread : NMBE in size, CV(RMSE)
    source : document and where its number was seen
    """

    bias: float
    spread: float
    source: str


_GUIDELINE = "ASHRAE Guideline 14-2014, calibrated simulation; seen in a public copy"
LIMITS: Mapping[Step, tuple[AgreementLimit, ...]] = {
    "hour": (
        AgreementLimit(0.10, 0.30, _GUIDELINE),
        AgreementLimit(0.05, 0.20, "IPMVP 2002, by the hour; seen in part, from memory"),
    ),
    "day": (),
    "month": (AgreementLimit(0.05, 0.15, _GUIDELINE),),
}


@dataclass(frozen=True)
class Agreement:
    """How far two columns agree.

    Attributes
    ----------
    step : what a value stands for
    count : values compared
    measured_kwh, predicted_kwh : their sums
    bias : NMBE, nan where it cannot be told
    spread : CV(RMSE), likewise
    """

    step: Step
    count: int
    measured_kwh: float
    predicted_kwh: float
    bias: float
    spread: float

    def meets(self, limit: AgreementLimit) -> bool | None:
        """Return whether both numbers are within a limit, None where they are not known."""
        if math.isnan(self.bias) or math.isnan(self.spread):
            return None
        return abs(self.bias) <= limit.bias and self.spread <= limit.spread


def nmbe(measured: FloatColumn, predicted: FloatColumn, parameters: int = PARAMETERS) -> float:
    """Return the normalised mean bias error.

    Parameters
    ----------
    measured, predicted : of the same intervals (n,)
    parameters : p

    Returns
    -------
    share of the measured mean; nan where n <= p or nothing was measured

    Examples
    --------
    >>> round(nmbe(np.array([100.0, 110, 90, 100]), np.array([125.0, 125, 115, 115])), 4)
    -0.2667
    """
    return _over_mean(float(np.sum(measured - predicted)), measured, parameters)


def cv_rmse(measured: FloatColumn, predicted: FloatColumn, parameters: int = PARAMETERS) -> float:
    """Return the coefficient of variation of the root mean square error.

    Parameters
    ----------
    measured, predicted, parameters : as in `nmbe`

    Examples
    --------
    >>> round(cv_rmse(np.array([100.0, 110, 90, 100]), np.array([105.0, 105, 95, 95])), 4)
    0.0577
    """
    free = len(measured) - parameters
    if free < 1:
        return math.nan
    root = math.sqrt(float(np.sum((measured - predicted) ** 2)) / free)
    return _over_mean(root * free, measured, parameters)


def _over_mean(sum_: float, measured: FloatColumn, parameters: int) -> float:
    """Divide by the degrees of freedom and the measured mean."""
    free = len(measured) - parameters
    mean = float(np.mean(measured)) if len(measured) else 0.0
    return sum_ / (free * mean) if free >= 1 and mean > 0.0 else math.nan


def agree(step: Step, measured: FloatColumn, predicted: FloatColumn) -> Agreement:
    """Compare two columns.

    Parameters
    ----------
    step : what a value stands for
    measured, predicted : energy of the same intervals [kWh] (n,)
    """
    return Agreement(
        step=step,
        count=len(measured),
        measured_kwh=float(np.sum(measured)),
        predicted_kwh=float(np.sum(predicted)),
        bias=nmbe(measured, predicted),
        spread=cv_rmse(measured, predicted),
    )
