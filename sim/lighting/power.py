"""Power of a luminaire at a level, and the exact energy of a straight change of level.

Comes in: the luminaires table.  Goes out: watts, joules, shares of light.  Before: `scenario`,
`lighting/dali`; after: `outcome`.  P(level) is linear between the rows of a table, by default (0, standby)
and (1, full).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.lighting.dali import LARGEST_LEVEL, light_of_command, light_of_level
from sim.records import FloatColumn
from sim.scenario.schema import Luminaires

__all__ = ["PowerCurve", "light_share", "power_curve"]

JUST_LIT = 1e-9
"""A level so near to 0 that no fade or setting stops between."""


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
    """Return the table of one aisle's luminaires.

    A stated table replaces the straight line from standby to full; with "iec62386-log" power follows the
    light of a command.  Below a driver's least level the watts stay; a relay takes them away at level 0.

    Notes
    -----
    A jump at level 0 is a row at level `JUST_LIT`: a fade spends next to no time below it.
    """
    stated, standby, full = luminaires.power_curve, luminaires.standby_w, luminaires.full_w
    rows: list[tuple[float, float]]
    if isinstance(stated, tuple):
        rows = list(stated)
    elif stated == "iec62386-log":
        rows = [
            (number / LARGEST_LEVEL, standby + (full - standby) * light_of_level(number))
            for number in range(LARGEST_LEVEL + 1)
        ]
    else:
        rows = [(0.0, standby), (1.0, full)]
    least = luminaires.driver_min_level
    if least:
        held = float(np.interp(least, [row[0] for row in rows], [row[1] for row in rows]))
        above = [row for row in rows if row[0] > least]
        rows = [rows[0], (min(JUST_LIT, 0.5 * least), held), (least, held), *above]
    if luminaires.relay_off:
        rows = [(0.0, 0.0), *([] if least else [(JUST_LIT, rows[0][1])]), *rows[1:]]
    return PowerCurve(np.array([row[0] for row in rows]), np.array([row[1] for row in rows]))


def light_share(luminaires: Luminaires, level: float) -> float:
    """Return the light of a commanded level as a share of full light.

    Examples
    --------
    >>> lamps = Luminaires(per_aisle=1, full_w=100.0, driver_min_level=0.1)
    >>> light_share(lamps, 0.05), light_share(lamps, 0.5), light_share(lamps, 0.0)
    (0.1, 0.5, 0.0)
    """
    least = luminaires.driver_min_level
    held = max(level, least) if least and level > 0.0 else level
    return light_of_command(held) if luminaires.power_curve == "iec62386-log" else held
