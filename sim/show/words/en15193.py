"""The energy that EN 15193 calculates, in words, beside the simulated one.

Comes in: a `Calculated`.  Goes out: a `Section` for the report, rows for the worksheet.  Before:
`outcome/en15193`; after: `show/words/besides`, `show/words/worksheet`.
"""

from __future__ import annotations

from collections.abc import Iterator

from sim.outcome.en15193 import Calculated, Part
from sim.results import Estimate
from sim.show.words.amounts import digits, interval, plain
from sim.show.words.sections import Section

__all__ = ["EN15193_SOURCE", "en15193_remark", "en15193_rows", "en15193_section", "part_words"]

EN15193_SOURCE = "EN 15193:2007, 6.2 (seen in a public copy); F_O by Annex D (from memory)"
_HEADING = "Calculated by EN 15193, beside the simulation"


def part_words(part: Part) -> str:
    """Return a part's factors and hours in a line.

    Examples
    --------
    >>> part_words(Part("rack aisles", 10.0, 0.4, 0.95, 0.75, 1.0, 4380.0, 4380.0, 65700.0))
    'F_A 0.4, F_OC 0.95, F_O 0.75, F_D 1, t_D 4,380 h, t_N 4,380 h'
    """
    controls = "never dim"
    if part.absence is not None and part.control is not None:
        controls = f"F_A {plain(part.absence)}, F_OC {plain(part.control)}"
    return (
        f"{controls}, F_O {plain(round(part.occupancy, 4))}, F_D {plain(round(part.daylight, 3))}, t_D "
        f"{plain(round(part.day_h))} h, t_N {plain(round(part.night_h))} h"
    )


def en15193_rows(found: Calculated) -> Iterator[tuple[str, float, str, str]]:
    """Yield name, value, unit and method of every line."""
    for part in found.parts:
        yield f"{part.kind}: W_L", part.kwh, "kWh", f"P_n {digits(part.kw)} kW; {part_words(part)}"
    standby = "standby of the luminaires that dim, 8,760 h; charging of emergency lights is not known"
    yield "standby: W_P", found.standby_kwh, "kWh", standby
    yield "calculated energy of a year: W_L + W_P", found.kwh, "kWh", "calculated, not simulated"
    yield "calculated LENI", found.leni, "kWh/m2", f"over {digits(found.area_m2)} m2"


def en15193_remark(found: Calculated) -> str:
    """Return what was taken where the standard leaves a choice."""
    sky = (
        "Under the skylight day is where its cap is below 1 and F_D the mean cap in those hours, not the "
        "standard's "
        "own procedure; elsewhere F_D is 1."
        if found.has_skylight
        else "There is no skylight, so F_D is 1; where day ends then changes no figure (06:00 to 18:00 is "
        "taken)."
    )
    return (
        "W_L = sum P_n F_c (t_D F_O F_D + t_N F_O) / 1000 with F_c 1. Absence F_A and control type F_OC are "
        "the "
        "standard's for a kind of room: no truck is in it. Hours are those of the usual week with an "
        "occupied level "
        f"above 0, 365 days. {sky}"
    )


def en15193_section(found: Calculated, simulated: Estimate, heat_factor: float) -> Section:
    """Return the calculated energy beside the simulated one of a year.

    Parameters
    ----------
    found : calculated
    simulated : energy of a year, cooling of the lights' heat included [kWh]
    heat_factor : each kilowatt-hour of light counts so often in it
    """
    rows = [
        ("simulated here, light alone" if heat_factor != 1.0 else "simulated here",
         interval(simulated, "kWh", 1.0 / heat_factor), "this run"),
    ]
    rows += [(name, f"{digits(value)} {unit}", how) for name, value, unit, how in en15193_rows(found)]
    return Section(_HEADING, ("What", "A year", "How"), tuple(rows), (en15193_remark(found),))
