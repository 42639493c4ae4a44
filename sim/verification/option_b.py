"""A metered saving with its uncertainty: retrofit isolation, all parameters measured (IPMVP Option B).

Comes in: mean load of whole days of a baseline and a reporting period.  Goes out: `Saving`.  After it:
`verification/verify`.  The baseline's mean day of each type is projected on the reporting period's days.

References
----------
IPMVP Core Concepts; FEMP M&V Guidelines 4.0: Option B; a saving is reported where its uncertainty at 68 %
confidence is below half of it (as the requirement is stated here).
Welch (1947) and Satterthwaite (1946): degrees of freedom of a sum of independent variances.
JCGM 100:2008 (GUM), 4.3.7: a stated limit of error +-a is taken as evenly spread, standard uncertainty
a / sqrt(3).
ASHRAE Guideline 14-2014: days that follow each other alike count for less, n' = n (1 - r) / (1 + r), r the
correlation of one day with the next (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from sim.records import FloatColumn

__all__ = ["LEAST_CONFIDENCE", "MOST_UNCERTAINTY", "Days", "Saving", "metered_saving"]

LEAST_CONFIDENCE, MOST_UNCERTAINTY = 0.68, 0.5
"""Confidence and share of the saving that its uncertainty must stay below."""
_ROUNDING = 1e-9
"""Shares of the baseline that are no more than rounding."""


@dataclass(frozen=True)
class Days:
    """Whole days of one type.

    Attributes
    ----------
    kw : mean load of each day, in order of time (n,)
    hours : of each day: 24, or 23 or 25 where clocks are changed (n,)
    """

    kw: FloatColumn
    hours: FloatColumn


@dataclass(frozen=True)
class Saving:
    """Energy that the reporting period did not use.

    Attributes
    ----------
    baseline_kwh : what its days would have used by the baseline
    reporting_kwh : what they used
    standard_kwh : standard uncertainty of the difference
    freedom : degrees of freedom
    days : whole days of the baseline and of the reporting period that count
    left_out : days of the reporting period of a type that the baseline has less than two of
    correlation : of one day's residual with the next one's in the baseline, at least 0
    """

    baseline_kwh: float
    reporting_kwh: float
    standard_kwh: float
    freedom: float
    days: tuple[int, int]
    left_out: int
    correlation: float

    @property
    def kwh(self) -> float:
        """The saving; 0 where it is no more than rounding."""
        saved = self.baseline_kwh - self.reporting_kwh
        return saved if abs(saved) > _ROUNDING * self.baseline_kwh else 0.0

    @property
    def statistic(self) -> float:
        """Saving over its standard uncertainty, t."""
        return self.kwh / self.standard_kwh if self.standard_kwh > 0.0 else math.copysign(math.inf, self.kwh)

    def half_width_kwh(self, confidence: float) -> float:
        """Return the half-width of the two-sided interval at a confidence [kWh]."""
        from scipy.special import stdtrit

        return float(stdtrit(self.freedom, 0.5 + confidence / 2.0)) * self.standard_kwh

    @property
    def is_sure_enough(self) -> bool:
        """Whether the uncertainty at 68 % is below half of a saving that is one."""
        return self.half_width_kwh(LEAST_CONFIDENCE) < MOST_UNCERTAINTY * self.kwh


def metered_saving(
    baseline: Mapping[str, Days], reporting: Mapping[str, Days], accuracy: float = 0.0
) -> Saving | None:
    """Return the saving of the reporting period, None where no day of it can be compared.

    Parameters
    ----------
    baseline, reporting : whole days by type, such as workdays and Saturdays
    accuracy : limit of error of either meter, share of its reading; the two are taken as independent

    Notes
    -----
    Over types k with n_k baseline and m_k reporting days: S = sum H_k (mean B_k - mean M_k), H_k the hours of
    the reporting days.  What is not known is what those m_k days would have used without the measure, so that
    var S = sum H_k^2 s_k^2 (1/n_k + 1/m_k) (1 + r)/(1 - r) + a^2 (B^2 + M^2)/3, s_k the baseline's standard
    deviation by day.  The reporting period itself is metered in full and adds only its meter's error.

    Examples
    --------
    >>> import numpy as np
    >>> before = {"day": Days(np.array([10.0, 12.0]), np.full(2, 24.0))}
    >>> after = {"day": Days(np.array([5.0, 5.0]), np.full(2, 24.0))}
    >>> metered_saving(before, after).kwh
    288.0
    """
    kinds = [
        kind
        for kind, days in reporting.items()
        if kind in baseline and len(baseline[kind].kw) >= 2 and len(days.kw)
    ]
    total = sum(len(days.kw) for days in reporting.values())
    if not kinds:
        return None
    expected = used = 0.0
    parts: list[tuple[float, int]] = []
    counts = [0, 0]
    for kind in kinds:
        before, after = baseline[kind], reporting[kind]
        hours = float(after.hours.sum())
        expected += hours * float(before.kw.mean())
        used += float((after.kw * after.hours).sum())
        n, m = len(before.kw), len(after.kw)
        parts.append((hours**2 * float(before.kw.var(ddof=1)) * (1.0 / n + 1.0 / m), n - 1))
        counts[0], counts[1] = counts[0] + n, counts[1] + m
    correlation = _lag_one([baseline[kind].kw - baseline[kind].kw.mean() for kind in kinds])
    spread = sum(part for part, _ in parts)
    if spread <= (_ROUNDING * expected) ** 2:
        spread = 0.0
    freedom = spread**2 / sum(part**2 / free for part, free in parts) if spread > 0.0 else math.inf
    meter = accuracy**2 * (expected**2 + used**2) / 3.0
    return Saving(
        baseline_kwh=expected,
        reporting_kwh=used,
        standard_kwh=math.sqrt(spread * (1.0 + correlation) / (1.0 - correlation) + meter),
        freedom=freedom if math.isfinite(freedom) else 1e9,
        days=(counts[0], counts[1]),
        left_out=total - counts[1],
        correlation=correlation,
    )


def _lag_one(residuals: list[FloatColumn]) -> float:
    """Correlation of one day with the next of its type, never below 0 nor above 0.9."""
    above = sum(float((one[1:] * one[:-1]).sum()) for one in residuals)
    below = sum(float((one**2).sum()) for one in residuals)
    return min(0.9, max(0.0, above / below)) if below > 0.0 else 0.0
