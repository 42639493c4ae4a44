"""Numeric limits of codes and safety rules that figures are set beside: value, unit, place, trust.

Comes in: nothing.  Goes out: `Limit` and the limits by name.  Used by `outcome/totals` (the code minimum)
and `show/words/cautions`, which words them.  A figure meets a number or it does not; whether a rule applies,
with its further conditions, editions and local changes, is for others to judge.
"""

from __future__ import annotations

from dataclasses import dataclass

from sim.units import LUX_PER_FOOTCANDLE

__all__ = [
    "CODE_CUT",
    "CODE_DELAY",
    "EGRESS_DELAY",
    "EGRESS_LIGHT",
    "GANGWAY_LIGHT",
    "LIGHT_LIMITS",
    "ROUTE_LIGHT",
    "TRUCK_LIGHT",
    "Limit",
]


@dataclass(frozen=True)
class Limit:
    """One number of one rule.

    Attributes
    ----------
    value : the number, in `unit`
    unit : "s", "lx", "W/ft2", "share" (of 1) or "-"
    is_least : whether figures must not be below it; otherwise not above it
    meaning : what it is asked for
    source : document, year, place
    seen : where the number was read: in a public copy, or from memory
    trust : "high", "med" or "low"
    """

    value: float
    unit: str
    is_least: bool
    meaning: str
    source: str
    seen: str
    trust: str

    def is_met(self, value: float) -> bool:
        """Tell whether a figure in the same unit meets the number.

        >>> CODE_DELAY.is_met(1200.0), CODE_DELAY.is_met(1201.0), CODE_CUT.is_met(0.49)
        (True, False, False)
        """
        return value >= self.value if self.is_least else value <= self.value


_PUBLIC, _BOTH = "seen in a public copy", "seen in a public copy, in part from memory"
_CODES = "ANSI/ASHRAE/IES 90.1-2022, 9.4.1.1(g); IECC 2021, C405.2.1.2"

CODE_DELAY = Limit(
    1200.0, "s", False, "longest delay of the automatic cut in storage aisles", _CODES, _BOTH, "high"
)
CODE_CUT = Limit(0.5, "-", True, "least cut of power in storage aisles after it", _CODES, _BOTH, "high")
EGRESS_DELAY = Limit(
    900.0, "s", True, "shortest timer of egress lighting that motion switches", "NFPA 101-2012, 7.8.1.2.2",
    _PUBLIC, "high",
)
GANGWAY_LIGHT = Limit(
    150.0, "lx", True, "gangways with people", "EN 12464-1:2002, 5.1; 2011 likewise", _PUBLIC, "high"
)
TRUCK_LIGHT = Limit(
    2.0 * LUX_PER_FOOTCANDLE, "lx", True, "below it trucks need lights of their own",
    "29 CFR 1910.178(h)(2): 2 lm/ft2", _PUBLIC, "high",
)
ROUTE_LIGHT = Limit(
    20.0, "lx", True, "movement of people, machines and vehicles, average",
    "HSE HSG38, 2nd ed. 1997, Table 1", _PUBLIC, "high",
)
EGRESS_LIGHT = Limit(
    LUX_PER_FOOTCANDLE, "lx", True, "walking surface of a means of egress",
    "IBC and IFC 2021, 1008.2.1: 1 fc", _PUBLIC, "high",
)

LIGHT_LIMITS: tuple[Limit, ...] = (GANGWAY_LIGHT, TRUCK_LIGHT, ROUTE_LIGHT, EGRESS_LIGHT)
"""Limits of light on the floor, the greatest first."""
