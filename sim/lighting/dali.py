"""The numbers of IEC 62386-102 that lights are set up with: dimming curve, fade times, fade rates.

Comes in: levels 0 to 254 or shares of light.  Goes out: shares, levels, seconds.  Before: nothing; after:
`lighting/power` and `scenario/checks/light`.

References
----------
IEC 62386-102, "Digital addressable lighting interface, part 102: control gear": standard (logarithmic)
dimming curve, tables of fade times and fade rates.  Check points seen in public copies, the formulas too.
"""

from __future__ import annotations

import math

__all__ = [
    "FADE_RATES_PER_S", "FADE_TIMES_S", "LARGEST_LEVEL", "command_of_light", "light_of_command",
    "light_of_level", "nearest_level",
]

LARGEST_LEVEL = 254
_STEPS_PER_DECADE = 253.0 / 3.0
LEAST_LIGHT = 0.001
"""Light of level 1, share of full."""

FADE_TIMES_S: tuple[float, ...] = tuple(0.5 * math.sqrt(2.0**code) for code in range(1, 16))
"""Fade time of codes 1 to 15 [s]: sqrt(2^X) / 2."""
FADE_RATES_PER_S: tuple[float, ...] = tuple(506.0 / math.sqrt(2.0**code) for code in range(1, 16))
"""Fade rate of codes 1 to 15 [levels/s]: 506 / sqrt(2^X)."""


def light_of_level(level: float) -> float:
    """Return the light of a level as a share of full; 0 is off, below 1 there is nothing to hold.

    Parameters
    ----------
    level : 0 to 254; between whole levels, where only a fade passes, the same formula holds

    Notes
    -----
    Light in per cent is 10 ^ ((n - 1) / (253 / 3) - 1) for n = 1 .. 254; between 0 and 1 a straight line.

    Examples
    --------
    >>> [round(100 * light_of_level(level), 2) for level in (1, 170, 229, 254)]
    [0.1, 10.09, 50.53, 100.0]
    """
    if level < 1.0:
        return LEAST_LIGHT * max(level, 0.0)
    return float(10.0 ** ((level - 1.0) / _STEPS_PER_DECADE - 3.0))


def light_of_command(command: float) -> float:
    """Return the light of a command, both as shares: level n is the command n / 254."""
    return light_of_level(LARGEST_LEVEL * command)


def command_of_light(light: float) -> float:
    """Return the command, share of the range, that gives a share of full light; it undoes `light_of_command`.

    Examples
    --------
    >>> round(command_of_light(0.5) * 254, 1)
    228.6
    """
    if light < LEAST_LIGHT:
        return light / LEAST_LIGHT / LARGEST_LEVEL
    return (1.0 + _STEPS_PER_DECADE * (math.log10(light) + 3.0)) / LARGEST_LEVEL


def nearest_level(light: float) -> int:
    """Return the whole level whose command is nearest to a share of light (rounded, never cut).

    Examples
    --------
    >>> [nearest_level(share) for share in (0.5, 0.2, 0.1)]
    [229, 195, 170]
    """
    return round(LARGEST_LEVEL * command_of_light(light))
