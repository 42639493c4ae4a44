"""Mean power over many straight changes of level, at one cost however many rows the curve has.

Comes in: a `PowerCurve`.  Goes out: `FastPower`, with the same values.  Before: `lighting/power`; after:
`study/ages/bent`, `study/ages/stretch`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.lighting.power import PowerCurve
from sim.records import FloatColumn

__all__ = ["FastPower", "Lamps", "fast_power"]

NARROW = 1e-4
"""A change of level so small that its mean is no longer found as a difference of two integrals."""


@dataclass(frozen=True)
class FastPower:
    """A power curve with its integral from level 0 to each row [W] (k,)."""

    curve: PowerCurve
    area: FloatColumn

    @property
    def is_straight(self) -> bool:
        """Whether power is a straight line of level."""
        return len(self.curve.level) == 2

    def at(self, level: FloatColumn) -> FloatColumn:
        """Return the power at levels [W] (n,)."""
        return self.curve.at(level)

    def mean(self, start_level: FloatColumn, end_level: FloatColumn) -> FloatColumn:
        """Return the mean power while the level runs straight from one value to another [W] (n,)."""
        if self.is_straight:
            return self.curve.at(0.5 * (start_level + end_level))
        low, high = np.minimum(start_level, end_level), np.maximum(start_level, end_level)
        span = high - low
        mean = self.curve.at(low)
        wide = np.flatnonzero(span > NARROW)
        narrow = np.flatnonzero((span > 0.0) & (span <= NARROW))
        mean[wide] = (self._area_to(high[wide]) - self._area_to(low[wide])) / span[wide]
        mean[narrow] = self.curve.mean_power(low[narrow], high[narrow])
        return mean

    def _area_to(self, level: FloatColumn) -> FloatColumn:
        """Integral of power over level from 0 to levels [W] (n,)."""
        row = np.searchsorted(self.curve.level[1:-1], level, side="right")
        step = level - self.curve.level[row]
        return np.asarray(self.area[row] + 0.5 * step * (self.curve.watts[row] + self.curve.at(level)))


def fast_power(curve: PowerCurve) -> FastPower:
    """Add up a curve.

    Examples
    --------
    >>> curve = PowerCurve(np.array([0.0, 0.5, 1.0]), np.array([0.0, 100.0, 120.0]))
    >>> fast_power(curve).mean(np.array([0.0]), np.array([1.0])).tolist()
    [80.0]
    """
    parts = 0.5 * np.diff(curve.level) * (curve.watts[1:] + curve.watts[:-1])
    return FastPower(curve, np.concatenate([[0.0], np.cumsum(parts)]))


@dataclass(frozen=True)
class Lamps:
    """A zone's luminaires.

    Attributes
    ----------
    power : of one
    dimmed, fixed : how many dim, and how many never do
    """

    power: FastPower
    dimmed: int
    fixed: int
