"""Saving factors that codes and programmes grant for occupancy controls, as closed forms.

Comes in: shares.  Goes out: shares and kilowatt-hours.  Used by `study/year/money`, which sets them beside
the simulated saving.  Each is somebody's agreed number, not a measurement of this site.

References
----------
ANSI/ASHRAE/IES 90.1-2016 and -2019, Table G3.7 (seen in a public copy): 0.45 of the lighting schedule for
warehouse storage, x 1.25 with manual or partial automatic on. NECB 2015 to 2025, 4.3.2.10: F_occ = 1 - C_A
C_occ, C_A = 0.5 for warehouse storage (seen in a public copy). EN 15193:2007, Annex D: F_O from absence and
control type (formula from memory); 6.2: W_L (seen in a public copy). Industrial assessment centre handbook:
kWh = kW h (SF_EE - SF_base) (seen in a public copy). UMP chapter 3: CSF = 1 - EFLH_post / EFLH_pre (from
memory).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

__all__ = [
    "DEEMED_FACTORS", "NECB_MECHANISMS", "SUMMER_COINCIDENCE", "control_savings_factor", "deemed_kw",
    "deemed_kwh", "en15193_lighting_kwh", "en15193_occupancy_factor", "g37_schedule", "necb_occupancy_factor",
]

G37_STORAGE = 0.45
G37_PARTIAL_ON = 1.25
NECB_STORAGE_ABSENCE = 0.5
NECB_LEAST_W_PER_M2 = 8.6
"""No credit for lighting power densities up to this (NECB 2015 as coded)."""
NECB_MECHANISMS: Mapping[str, float] = {
    "full off, full on": 0.67,
    "full off, partial on": 0.75,
    "partial off": 0.34,
    "manual": 0.10,
    "none": 0.0,
}
EN15193_STORAGE_ABSENCE = 0.4
"""Absence in a storage rack area: EN 15193:2007, Table D.2 (from memory)."""
EN15193_AUTO_DIMMED = 0.95
"""F_OC of controls that switch on and dim by themselves: EN 15193:2007, Table D.1."""
EN15193_AUTO_OFF = 0.90
"""F_OC of controls that switch on and off by themselves: the same table."""
EN15193_OPEN_ABSENCE = 0.2
"""Absence in open storage: Table D.2 (from memory)."""
EN15193_COLD_ABSENCE = 0.6
"""Absence in a cold store: Table D.2 (from memory)."""
SUMMER_COINCIDENCE = 0.198
"""Share of an occupancy saving at the summer peak: industrial assessment centre handbook."""
DEEMED_FACTORS: Mapping[str, float] = {"none": 0.0, "occupancy": 0.24, "networked, commissioned": 0.49}


def g37_schedule(share: float, on: Literal["full", "partial"] = "full") -> float:
    """Return a lighting schedule's share with the credit of 90.1, Table G3.7, for warehouse storage.

    Examples
    --------
    >>> round(g37_schedule(0.80), 3), round(g37_schedule(0.80, "partial"), 3)
    (0.44, 0.35)
    """
    return share * (1.0 - G37_STORAGE * (G37_PARTIAL_ON if on == "partial" else 1.0))


def necb_occupancy_factor(
    mechanism: str, absence: float = NECB_STORAGE_ABSENCE, w_per_m2: float | None = None
) -> float:
    """Return F_occ of NECB 4.3.2.10; low power densities get no credit where they are given.

    Examples
    --------
    >>> necb_occupancy_factor("partial off"), necb_occupancy_factor("partial off", w_per_m2=8.5)
    (0.83, 1.0)
    """
    if w_per_m2 is not None and w_per_m2 <= NECB_LEAST_W_PER_M2:
        return 1.0
    return 1.0 - absence * NECB_MECHANISMS[mechanism]


def en15193_occupancy_factor(absence: float, control: float) -> float:
    """Return F_O of EN 15193:2007, Annex D (formula from memory).

    Parameters
    ----------
    absence : F_A, share of the time without people, 0 to 1
    control : F_OC, from 0.8 (manual on, automatic off) to 1 (manual)

    Notes
    -----
    F_A < 0.2: 1 - (1 - F_OC) F_A / 0.2;  up to 0.9: F_OC + 0.2 - F_A;  above: (7 - 10 F_OC)(F_A - 1).

    Examples
    --------
    >>> round(en15193_occupancy_factor(0.4, 0.95), 4)
    0.75
    """
    if absence < 0.2:
        return 1.0 - (1.0 - control) * absence / 0.2
    if absence < 0.9:
        return control + 0.2 - absence
    return (7.0 - 10.0 * control) * (absence - 1.0)


def en15193_lighting_kwh(
    kw: float, day_h: float, night_h: float, occupancy: float, daylight: float = 1.0, constant: float = 1.0
) -> float:
    """Return W_L of EN 15193:2007, 6.2, for luminaires that are alike [kWh a year].

    Parameters
    ----------
    kw : power of the luminaires at full [kW]
    day_h, night_h : t_D and t_N, hours of use with and without daylight [h a year]
    occupancy, daylight, constant : F_O, F_D, F_c

    Notes
    -----
    W_L = sum P_n F_c (t_D F_O F_D + t_N F_O) / 1000, P_n in watts.

    Examples
    --------
    >>> round(en15193_lighting_kwh(10.0, 2500.0, 1500.0, 0.75, 0.8), 6)
    26250.0
    """
    return kw * constant * (day_h * occupancy * daylight + night_h * occupancy)


def deemed_kwh(kw: float, hours: float, factor: float, base_factor: float = 0.0) -> float:
    """Return the deemed saving of a year [kWh]: connected load, hours a year, savings factors.

    Examples
    --------
    >>> round(deemed_kwh(10.0, 5793.0, 0.24))
    13903
    """
    return kw * hours * (factor - base_factor)


def deemed_kw(kw: float, factor: float, coincidence: float, base_factor: float = 0.0) -> float:
    """Return the deemed saving of load at the utility's peak [kW].

    Examples
    --------
    >>> round(deemed_kw(10.0, 0.24, 0.198), 3)
    0.475
    """
    return kw * (factor - base_factor) * coincidence


def control_savings_factor(hours_before: float, hours_after: float) -> float:
    """Return CSF from equivalent full-load hours before and after.

    Examples
    --------
    >>> control_savings_factor(8760.0, 3504.0)
    0.6
    """
    return 1.0 - hours_after / hours_before
