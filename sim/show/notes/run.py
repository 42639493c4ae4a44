"""What the tables of a run's report stand for, beyond the headline figures.

Comes in: nothing.  Goes out: `Meaning`s, the first that fits is taken.  Before: `show/notes/headline`,
`show/notes/book`; after: `show/reports/run`.
"""

from __future__ import annotations

from sim.show.notes.book import Meaning
from sim.show.notes.headline import OWN

__all__ = ["RUN_NOTES"]

_YEAR = "the run's weeks laid over a calendar year; " + OWN
_TARIFF = "the prices that the scenario states"
_MONEY = "textbook of engineering economics"

RUN_NOTES: tuple[Meaning, ...] = (
    Meaning(
        r"Settings in force",
        "As stated; sum = hold + timeout. Levels are shares of full light.",
        "the scenario, whose resolved copy is scenario.toml",
    ),
    Meaning(
        r"Light on the floor",
        "Average at full level times the share of light at the level.",
        "floor_lux_at_full in the scenario; the limits' sources stand below the table",
    ),
    Meaning(
        r"Zones, the worst first",
        "The headline figures by zone, means over replications; shares are zone-time over the length of the "
        "run.",
        OWN,
    ),
    Meaning(r"Numeric limits", "Each row's source stands below the table by its number in brackets.", OWN),
    Meaning(
        r"Energy of the lights",
        "Sum of the quarter-hour loads of the year; with cooling, times 1 + 1/COP.",
        _YEAR,
    ),
    Meaning(
        r"The same per area",
        "LENI = energy of a year over the lit area.",
        "EN 15193:2007 (seen in a public copy)",
    ),
    Meaning(
        r"Calculated by EN 15193",
        "W_L = sum P_n F_c (t_D F_O F_D + t_N F_O) / 1000, and standby besides.",
        "EN 15193:2007, 6.2 (seen in a public copy); F_O by its Annex D (from memory)",
    ),
    Meaning(
        r"Money for|To the least bill|Together|Whole bill",
        "The site meter's bill with the lights less the bill without them, month by month.",
        _TARIFF,
    ),
    Meaning(r"Mean load in the stated window", "Mean over the quarter-hours of the window.", _YEAR),
    Meaning(r"CO2", "Energy of a year times the stated factor.", "the factor's own, below the table"),
    Meaning(r"Most switch-ups", "Mean of the zone that switches most, times weeks of a year.", _YEAR),
    Meaning(r"Paid at once", "Costs less rebates.", "the scenario's [proposal]"),
    Meaning(r"Saved in the first year", "Saving less maintenance, price rise not yet in it.", _YEAR),
    Meaning(r"Simple payback", "Paid at once over saved in the first year.", _MONEY),
    Meaning(r"Present value", "Sum over years of flow / (1 + rate)^year.", _MONEY),
    Meaning(r"Internal rate", "The rate at which the present value is 0.", _MONEY),
    Meaning(r"Rated switchings", "Rated number over switchings a year of the zone that switches most.", OWN),
    Meaning(
        r"The saving beside deemed factors",
        "kWh a year = kW that dim x hours x factor; each row's source stands in its last column.",
        "industrial assessment centre handbook (seen in a public copy)",
    ),
    Meaning(r"The whole site", "Power of each part times the hours it burns, summed over the year.", _YEAR),
)
