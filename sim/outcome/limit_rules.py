"""The rule sets by name: their numbers, clause by clause, and where each number was read.

Comes in: nothing.  Goes out: `RULES`, `density_limit`.  Before: `outcome/limits` (one number of one rule);
after: `outcome/limit_rows`.  Editions stand apart, because they differ.  A number read from memory says so.
Lighting power densities are those of the building-energy-standards-data package (PNNL, BSD), whose
annotations name the tables.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sim.outcome.limits import EGRESS_DELAY, EGRESS_LIGHT, GANGWAY_LIGHT, ROUTE_LIGHT, TRUCK_LIGHT, Limit

__all__ = [
    "ADJOINING_RATIO", "BARRIER_RATIO", "BUILDING_DENSITIES", "CONTROL_RULES", "DENSITIES", "EGRESS_DELAY",
    "EGRESS_LIGHT", "FULL_OFF_AREA", "FULL_OFF_RESIDUAL", "GANGWAY_LIGHT", "NOT_FOUND", "RACK_FACE_2021",
    "RACK_FLOOR_2021", "RACK_LIGHT",
    "RACK_UNIFORMITY", "ROUTE_LEAST", "ROUTE_LIGHT", "STAYS_ON", "TRUCK_LIGHT", "UNIFORMITY",
    "UNKNOWN_CONTROLS", "UNMANNED_LIGHT", "ControlRule", "density_limit",
]

_PUBLIC = "seen in a public copy"
_BOTH = "seen in a public copy, in part from memory"
_MEMORY = "from memory"
NOT_FOUND = "not found"
"""Where the document is known and its number was not seen."""


@dataclass(frozen=True)
class ControlRule:
    """What an energy code asks of the controls in storage aisles.

    Attributes
    ----------
    cut : least cut of power
    delay : longest delay
    cut_for_discharge : the same for metal halide or high-pressure sodium, where it differs
    discharge_density : it holds up to this lighting power density [W/ft2]; None: whatever it is
    each_aisle : clause by which each aisle is controlled by itself, "" for none
    shut_off : clause that asks for a time switch or full off besides, "" for none
    manual : clause that asks for switching by hand, "" for none
    delay_remark : what to know about the delay
    """

    cut: Limit
    delay: Limit
    cut_for_discharge: Limit | None = None
    discharge_density: float | None = None
    each_aisle: str = ""
    shut_off: str = ""
    manual: str = ""
    delay_remark: str = ""


def _cut(share: float, source: str, seen: str) -> Limit:
    return Limit(share, "share", True, "cut of power at the unoccupied level", source, seen, "high")


def _delay(seconds: float, source: str, seen: str) -> Limit:
    return Limit(seconds, "s", False, "hold and timeout together", source, seen, "high")


_HID_EDITIONS = (2013, 2016)
_HID_DENSITY = 0.80
"""90.1-2013 and -2016, 9.4.1.1(g), exception (from memory): HID, at most 0.80 W/ft2, cut by 30 % at least."""


def _ashrae(year: int) -> ControlRule:
    """Partial automatic off: 90.1-2013 to -2022, 9.4.1.1(g)."""
    clause = f"ANSI/ASHRAE/IES 90.1-{year}, 9.4.1.1(g)"
    table = "Table 9.5.2.1-1" if year == 2022 else "Table 9.6.1"
    exception = Limit(
        0.3, "share", True, "cut of power at the unoccupied level",
        f"{clause}, exception for HID at no more than 0.80 W/ft2", _MEMORY, "med",
    )
    return ControlRule(
        cut=_cut(0.5, clause, _BOTH),
        cut_for_discharge=exception if year in _HID_EDITIONS else None,
        discharge_density=_HID_DENSITY,
        delay=_delay(1200.0, clause, _BOTH),
        shut_off=f"ANSI/ASHRAE/IES 90.1-{year}, {table}, ADD2",
    )


def _iecc(year: int) -> ControlRule:
    """Occupant sensors in warehouses: IECC 2015 to 2021, C405.2.1.2."""
    clause = f"IECC {year}, C405.2.1.2"
    if year == 2021:
        return ControlRule(
            cut=_cut(0.5, clause, _BOTH),
            delay=_delay(1200.0, clause, _BOTH),
            each_aisle=clause,
            shut_off=clause,
            manual=clause,
        )
    return ControlRule(
        cut=_cut(0.5, clause, _PUBLIC),
        delay=_delay(1800.0 if year == 2015 else 1200.0, f"IECC {year}, C405.2.1.1, item 1", _PUBLIC),
        each_aisle=clause,
        delay_remark="the clause for warehouses states none; this is the rule for other rooms",
    )


_T24 = "California Title 24 Part 6, 130.1(c)6A, older edition"

CONTROL_RULES: Mapping[str, ControlRule] = {
    **{f"ASHRAE 90.1-{year}": _ashrae(year) for year in (2013, 2016, 2019, 2022)},
    **{f"IECC-{year}": _iecc(year) for year in (2015, 2018, 2021)},
    "Title 24": ControlRule(
        cut=_cut(0.5, _T24, _PUBLIC),
        cut_for_discharge=_cut(0.4, f"{_T24}, exception for metal halide and HPS", _PUBLIC),
        delay=_delay(1200.0, "California Title 24 Part 6, 110.9(b)4 and 130.1(c)", _PUBLIC),
        each_aisle=_T24,
        delay_remark="15 min is proposed for the 2028 cycle",
    ),
}
"""Rules for controls by the name of their set."""

UNKNOWN_CONTROLS: Mapping[str, str] = {"IECC-2024": "IECC 2024, C405.2.1.2"}
"""Editions whose rule for controls is known to exist and whose numbers were not found."""

FULL_OFF_RESIDUAL = Limit(
    0.02, "W/ft2", False, "power left after automatic full off, per lighted area",
    "ANSI/ASHRAE/IES 90.1-2022, 9.4.1.1(h)", _PUBLIC, "high",
)
FULL_OFF_AREA = Limit(
    5000.0, "ft2", False, "area that one device for automatic full off controls",
    "ANSI/ASHRAE/IES 90.1-2022, 9.4.1.1(h)", _PUBLIC, "high",
)
STAYS_ON = Limit(
    0.1, "W/ft2", False, "egress lighting that may stay on, per area",
    "California Title 24 Part 6, exception to 130.1(a), 2019 and later", _PUBLIC, "high",
)

_W_PER_FT2: Mapping[str, tuple[float, float, str]] = {
    "ASHRAE 90.1-2007": (0.90, 1.40, "ANSI/ASHRAE/IES 90.1-2007, Table 9.6.1"),
    "ASHRAE 90.1-2010": (0.58, 0.95, "ANSI/ASHRAE/IES 90.1-2010, Table 9.6.1"),
    "ASHRAE 90.1-2013": (0.58, 0.95, "ANSI/ASHRAE/IES 90.1-2013, Table 9.6.1"),
    "ASHRAE 90.1-2016": (0.35, 0.69, "ANSI/ASHRAE/IES 90.1-2016, Table 9.6.1"),
    "ASHRAE 90.1-2019": (0.33, 0.69, "ANSI/ASHRAE/IES 90.1-2019, Table 9.6.1"),
    "ASHRAE 90.1-2022": (0.33, 0.69, "ANSI/ASHRAE/IES 90.1-2022, Table 9.5.2.1-1"),
    "IECC-2012": (0.60, 1.40, "IECC 2012, Table C405.5.2(2)"),
    "IECC-2015": (0.58, 0.95, "IECC 2015, Table C405.4.2(2)"),
    "IECC-2018": (0.35, 0.69, "IECC 2018, Table C405.3.2(2)"),
    "IECC-2021": (0.33, 0.69, "IECC 2021, Table C405.3.2(2)"),
    "IECC-2024": (0.33, 0.69, "IECC 2024, Table C405.3.2(2)"),
}
_BUILDING_W_PER_FT2: Mapping[str, tuple[float, str]] = {
    "ASHRAE 90.1-2007": (0.80, "ANSI/ASHRAE/IES 90.1-2007, Table 9.5.1"),
    "ASHRAE 90.1-2010": (0.66, "ANSI/ASHRAE/IES 90.1-2010, Table 9.5.1"),
    "ASHRAE 90.1-2013": (0.66, "ANSI/ASHRAE/IES 90.1-2013, Table 9.5.1"),
    "ASHRAE 90.1-2016": (0.48, "ANSI/ASHRAE/IES 90.1-2016, Table 9.5.1"),
    "ASHRAE 90.1-2019": (0.45, "ANSI/ASHRAE/IES 90.1-2019, Table 9.5.1"),
    "ASHRAE 90.1-2022": (0.45, "ANSI/ASHRAE/IES 90.1-2022, Table 9.5.1"),
    "IECC-2012": (0.60, "IECC 2012, Table C405.5.2(1)"),
    "IECC-2015": (0.66, "IECC 2015, Table C405.4.2(1)"),
    "IECC-2018": (0.48, "IECC 2018, Table C405.3.2(1)"),
    "IECC-2021": (0.45, "IECC 2021, Table C405.3.2(1)"),
    "IECC-2024": (0.45, "IECC 2024, Table C405.3.2(1)"),
}
BUILDING_DENSITIES: Mapping[str, Limit] = {
    **{
        name: Limit(value, "W/ft2", False, "warehouse, building area method", source, _PUBLIC, "high")
        for name, (value, source) in _BUILDING_W_PER_FT2.items()
    },
    "Title 24": Limit(
        0.45, "W/ft2", False, "warehouse storage",
        "California Title 24 Part 6, 2019 and 2022, tables of 140.6", _MEMORY, "low",
    ),
}
"""Lighting power density of a warehouse as a whole; Title 24's is not sure and decides nothing."""
DENSITIES: Mapping[str, tuple[Limit, Limit]] = {
    name: (
        Limit(bulky, "W/ft2", False, "medium to bulky palletised goods", source, _PUBLIC, "high"),
        Limit(small, "W/ft2", False, "small hand-carried goods", source, _PUBLIC, "high"),
    )
    for name, (bulky, small, source) in _W_PER_FT2.items()
}
"""Lighting power density of storage space by space, for bulky and for small goods, by name of the set."""


def density_limit(rule: str, goods: str) -> Limit:
    """Return the most lighting power density of one set [W/ft2].

    Parameters
    ----------
    rule : a name in `DENSITIES`
    goods : "bulky" or "small"

    Examples
    --------
    >>> density_limit("ASHRAE 90.1-2019", "bulky").value
    0.33
    """
    return DENSITIES[rule][("bulky", "small").index(goods)]


UNMANNED_LIGHT = Limit(
    20.0, "lx", True, "gangways without people", "EN 12464-1:2002, 5.1; 2011 likewise", _PUBLIC, "high"
)
UNIFORMITY = Limit(
    0.4, "-", True, "uniformity on the floor", "EN 12464-1:2011, Tables 5.4 and 5.5", _MEMORY, "med"
)
RACK_LIGHT = Limit(
    200.0, "lx", True, "rack faces, vertical", "EN 12464-1:2011, 5.5.4; the 2021 edition differs", _MEMORY,
    "med",
)
RACK_UNIFORMITY = Limit(0.4, "-", True, "uniformity on rack faces", "EN 12464-1:2011, 5.5.4", _MEMORY, "med")
ROUTE_LEAST = Limit(
    5.0, "lx", True, "movement of people, machines and vehicles, least value",
    "HSE HSG38, 2nd ed. 1997, Table 1", _PUBLIC, "high",
)
RACK_FLOOR_2021 = Limit(
    150.0, "lx", True, "floor between racks, required value", "EN 12464-1:2021, Table 13", _MEMORY, "low"
)
RACK_FACE_2021 = Limit(
    75.0, "lx", True, "rack faces, required value", "EN 12464-1:2021, Table 13", _MEMORY, "low"
)
ADJOINING_RATIO = Limit(
    5.0, "-", False, "ratio of light in adjoining areas, one of them lit locally",
    "HSE HSG38, 2nd ed. 1997, Table 2", _MEMORY, "med",
)
BARRIER_RATIO = Limit(
    10.0, "-", False, "ratio of light in adjoining areas with a barrier and frequent movement",
    "HSE HSG38, 2nd ed. 1997, Table 2", _MEMORY, "med",
)
