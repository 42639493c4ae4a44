"""What a user may say about luminaires: their power, their light, what a driver can do.

Comes in: plain values.  Goes out: the frozen `Luminaires` table and the lumen method's average.
Before: `scenario/tables/base`; after: `scenario/schema`, which puts the table into a scenario.
"""

from __future__ import annotations

import itertools
from typing import Any, Literal

from pydantic import field_validator

from sim.scenario.tables.base import Amount, Curve, Level, Part, Positive, Share, quantity

__all__ = ["Luminaires", "PowerPreset", "lumen_method_lux"]

PowerPreset = Literal["linear", "iec62386-log"]
"""Named power curves; the second is the standard dimming curve of IEC 62386-102."""


class Luminaires(Part):
    """The luminaires of an aisle, what they draw and what light they give."""

    per_aisle: int = quantity("luminaires in one aisle, evenly spaced", "luminaires", ge=1, le=5000)
    full_w: Positive = quantity("power of one luminaire at full level", "W")
    standby_w: Amount = quantity("power of one luminaire at level 0", "W", 0.0)
    power_curve: Curve | PowerPreset | None = quantity(
        "rows of [level, watts] from level 0 to level 1, which replace the straight line from standby to "
        'full; "linear" is that line; "iec62386-log": levels are commands (254ths of the range), light '
        "follows the standard dimming curve of IEC 62386-102 and power follows light",
        "-, W",
        None,
    )
    driver_min_level: Level | None = quantity(
        "least level the driver holds: any level between 0 and it gives, and draws, as much as at it",
        "-",
        None,
    )
    relay_off: bool | None = quantity("a relay cuts the power at level 0, standby included", "-", None)
    fixed_on: int = quantity(
        "how many, counted from the back, never dim (egress, emergency)", "luminaires", 0, ge=0, le=5000
    )
    floor_lux_at_full: Positive | None = quantity(
        "maintained average on the floor at full level; absent: by the lumen method, where lumens is given",
        "lx",
        None,
    )
    lumens: Positive | None = quantity(
        "light of one luminaire when new; with utilisation and light_loss the lumen method gives the floor's "
        "average over aisle_length_m times aisle_pitch_m",
        "lm",
        None,
    )
    utilisation: Share | None = quantity("share of the lumens that reaches the floor", "-", None)
    light_loss: Share | None = quantity(
        "share of the first light that is left before lamps are cleaned or renewed", "-", None
    )
    floor_uniformity: Share | None = quantity("least over average of the light on the floor", "-", None)
    rack_lux_at_full: Positive | None = quantity(
        "maintained average on the rack faces, vertical, at full level", "lx", None
    )
    rack_uniformity: Share | None = quantity("least over average of the light on the rack faces", "-", None)

    @field_validator("power_curve")
    @classmethod
    def _check_curve(cls, rows: Any) -> Any:
        if rows is None or isinstance(rows, str):
            return rows
        levels, watts = [row[0] for row in rows], [row[1] for row in rows]
        if levels[0] != 0.0 or levels[-1] != 1.0:
            raise ValueError("the first row must be at level 0 and the last at level 1")
        if any(after <= before for before, after in itertools.pairwise(levels)):
            raise ValueError("the levels must increase from row to row")
        if any(after < before for before, after in itertools.pairwise(watts)):
            raise ValueError("the watts must never fall from row to row")
        if watts[-1] == 0.0:
            raise ValueError("the watts at level 1 must be above 0")
        return rows


def lumen_method_lux(luminaires: Luminaires, area_m2: float) -> float | None:
    """Return the maintained average on the floor by the lumen method [lx], None where it cannot be told.

    Parameters
    ----------
    luminaires : of one aisle
    area_m2 : the area that they light [m2]

    Notes
    -----
    E = N * Phi * CU * LLF / A (IES Lighting Handbook, lumen method; the utilisation factor method of CIE 52
    is the same).  An average only: it says nothing about single points or rack faces.

    Examples
    --------
    >>> lamps = Luminaires(per_aisle=10, full_w=100.0, lumens=20_000.0, utilisation=0.6, light_loss=0.8)
    >>> lumen_method_lux(lamps, 300.0)
    320.0
    """
    lumens, utilisation, light_loss = luminaires.lumens, luminaires.utilisation, luminaires.light_loss
    if lumens is None or utilisation is None or light_loss is None:
        return None
    return luminaires.per_aisle * lumens * utilisation * light_loss / area_m2
