"""Power of a luminaire at a level, and the exact energy of a straight change of level.

Comes in: the luminaires table.  Goes out: watts and joules.  Before: `scenario`; after: `outcome`.
P(level) is linear between the rows of a table, by default (0, standby) and (1, full).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn
from sim.scenario.schema import Luminaires

__all__ = ["PowerCurve", "power_curve"]


@dataclass(frozen=True)
class PowerCurve:
    """Watts of one luminaire over its level.

    Attributes
    ----------
    level : ascending from 0 to 1 (k,)
    watts : [W] (k,)
    """

    level: FloatColumn
    watts: FloatColumn

    def at(self, level: FloatColumn | float) -> FloatColumn:
        """Return the power at levels [W], same shape."""
        return np.asarray(np.interp(level, self.level, self.watts), dtype=np.float64)

    @property
    def full_w(self) -> float:
        """Power at level 1 [W]."""
        return float(self.watts[-1])

    def mean_power(self, start_level: FloatColumn, end_level: FloatColumn) -> FloatColumn:
        """Return the mean power while the level runs straight from one value to another [W] (n,).

        Exact for a bent curve: the run is cut at the curve's rows, each part is a trapezoid.

        Examples
        --------
        >>> curve = PowerCurve(np.array([0.0, 0.5, 1.0]), np.array([0.0, 100.0, 120.0]))
        >>> curve.mean_power(np.array([0.0]), np.array([1.0])).tolist()
        [80.0]
        """
        low, high = np.minimum(start_level, end_level), np.maximum(start_level, end_level)
        if len(self.level) == 2:
            return self.at(0.5 * (low + high))
        span = high - low
        area = np.zeros(len(low))
        for first, last in zip(self.level[:-1], self.level[1:], strict=True):
            inside_low, inside_high = np.clip(low, first, last), np.clip(high, first, last)
            area += (inside_high - inside_low) * self.at(0.5 * (inside_low + inside_high))
        return np.where(span > 0.0, area / np.where(span > 0.0, span, 1.0), self.at(low))


def power_curve(luminaires: Luminaires) -> PowerCurve:
    """Return the table of one aisle's luminaires; a stated `power_curve` replaces the straight line."""
    rows = luminaires.power_curve or ((0.0, luminaires.standby_w), (1.0, luminaires.full_w))
    return PowerCurve(np.array([row[0] for row in rows]), np.array([row[1] for row in rows]))
