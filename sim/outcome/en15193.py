"""Lighting energy of a year as EN 15193 calculates it, without traffic; shown beside the simulated one.

Comes in: a scenario.  Goes out: `Calculated`: what each part of the site counts, standby, kWh, LENI.  Before:
`outcome/credits`, `lighting/timetable`, `lighting/daylight`; after: `show/words/en15193`.

What is taken: P_n is the power of the luminaires at full; F_c = 1 (no credit for constant illuminance).  F_O
comes from absence and control type of the standard's own tables, not from the trucks.  Hours count where the
timetable's usual week has an occupied level above 0, 365 days; exception dates are left out.  Under a
skylight the hours with a cap below 1 are day, and F_D is the mean cap in them, instead of the standard's own
procedure; elsewhere F_D = 1 and 06:00 to 18:00 is called day, which then changes no figure.  Charging of
emergency lights is not known and not counted.

References
----------
EN 15193:2007, 6.2: W_L = sum P_n F_c (t_D F_O F_D + t_N F_O) / 1000; standby and charging besides; LENI = W /
A (seen in a public copy).  Annex D, Tables D.1 and D.2: control types and absence (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from sim.lighting.daylight import skylight_caps
from sim.lighting.power import power_curve
from sim.lighting.timetable import week_spans
from sim.outcome.credits import (
    EN15193_AUTO_DIMMED,
    EN15193_AUTO_OFF,
    EN15193_COLD_ABSENCE,
    EN15193_OPEN_ABSENCE,
    EN15193_STORAGE_ABSENCE,
    en15193_lighting_kwh,
    en15193_occupancy_factor,
)
from sim.records import FloatColumn
from sim.scenario.schema import Scenario
from sim.units import SECONDS_PER_HOUR

__all__ = ["Calculated", "Part", "calculate_en15193", "lit_hours"]

Kind = Literal["rack aisles", "cold-store aisles", "open storage", "luminaires that never dim"]
_ABSENCE: dict[Kind, float] = {
    "rack aisles": EN15193_STORAGE_ABSENCE,
    "cold-store aisles": EN15193_COLD_ABSENCE,
    "open storage": EN15193_OPEN_ABSENCE,
}
_YEAR_DAYS, _YEAR_H = 365.0, 8760.0
_MONTH_DAYS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31], dtype=np.float64)
_DAY_HOURS = slice(6, 18)


@dataclass(frozen=True)
class Part:
    """Luminaires that are counted alike.

    Attributes
    ----------
    kind : which
    kw : their power at full [kW]
    absence, control : F_A and F_OC, None for luminaires that never dim
    occupancy, daylight : F_O and F_D
    day_h, night_h : t_D and t_N [h a year]
    kwh : their lighting energy of a year
    """

    kind: Kind
    kw: float
    absence: float | None
    control: float | None
    occupancy: float
    daylight: float
    day_h: float
    night_h: float
    kwh: float


@dataclass(frozen=True)
class Calculated:
    """A site by EN 15193.

    Attributes
    ----------
    parts : luminaires counted alike
    lighting_kwh : W_L, the sum of the parts
    standby_kwh : W_P, standby of the luminaires that dim, in all hours of the year
    area_m2 : of all that is lit
    has_skylight : whether F_D comes from a skylight's caps somewhere
    """

    parts: tuple[Part, ...]
    lighting_kwh: float
    standby_kwh: float
    area_m2: float
    has_skylight: bool

    @property
    def kwh(self) -> float:
        """W_L + W_P."""
        return self.lighting_kwh + self.standby_kwh

    @property
    def leni(self) -> float:
        """LENI [kWh/m2]."""
        return self.kwh / self.area_m2


def lit_hours(scenario: Scenario, name: str) -> FloatColumn:
    """Return for how much of each clock hour an aisle's occupied level is above 0, mean of the week (24,)."""
    lit = np.zeros(24)
    settings = scenario.settings_of(name)
    for start, end, row in week_spans(scenario.timetable):
        if settings[scenario.timetable[row].settings].occupied_level <= 0.0:
            continue
        at = float(start)
        while at < end:
            until = min(float(end), (at // SECONDS_PER_HOUR + 1.0) * SECONDS_PER_HOUR)
            lit[int(at // SECONDS_PER_HOUR) % 24] += (until - at) / SECONDS_PER_HOUR / 7.0
            at = until
    return lit


def _daylight(scenario: Scenario, name: str) -> tuple[float, float, float]:
    """t_D, t_N and F_D of one aisle."""
    lit, sky = lit_hours(scenario, name), scenario.skylight
    total = _YEAR_DAYS * float(lit.sum())
    if sky is None or (sky.aisles is not None and name not in sky.aisles):
        day = _YEAR_DAYS * float(lit[_DAY_HOURS].sum())
        return day, total - day, 1.0
    caps = np.asarray(skylight_caps(sky))
    hours = np.where(caps < 1.0, _MONTH_DAYS[:, None] * lit[None, :], 0.0)
    day = float(hours.sum())
    return day, total - day, float((hours * caps).sum()) / day if day else 1.0


def _kind(scenario: Scenario, name: str) -> Kind:
    """Which row of the standard's table stands for a place."""
    if scenario.area_named(name) is not None:
        return "open storage"
    store = scenario.store
    is_cold = (
        store is not None and store.cooling_cop is not None and (store.aisles is None or name in store.aisles)
    )
    return "cold-store aisles" if is_cold else "rack aisles"


def _control(scenario: Scenario, name: str) -> float:
    """F_OC: switched off where every level afterwards is 0, else dimmed."""
    held = [scenario.settings_of(name)[period] for period in scenario.names_in_force]
    lowest = [one.unoccupied_level if one.second_level is None else one.second_level for one in held]
    return EN15193_AUTO_OFF if not any(lowest) else EN15193_AUTO_DIMMED


class _Alike(NamedTuple):
    """What makes luminaires count alike: a `Part` without power and energy."""

    kind: Kind
    absence: float | None
    control: float | None
    occupancy: float
    day_h: float
    night_h: float
    daylight: float


def calculate_en15193(scenario: Scenario) -> Calculated:
    """Return the lighting energy of a year by EN 15193."""
    found: dict[_Alike, float] = {}
    standby = 0.0
    for name in scenario.lit_names:
        lamps = scenario.luminaires_of(name)
        curve, (day_h, night_h, daylight) = power_curve(lamps), _daylight(scenario, name)
        kind, control = _kind(scenario, name), _control(scenario, name)
        dimmed = lamps.per_aisle - lamps.fixed_on
        factor = en15193_occupancy_factor(_ABSENCE[kind], control)
        for alike, count in (
            (_Alike(kind, _ABSENCE[kind], control, factor, day_h, night_h, daylight), dimmed),
            (_Alike("luminaires that never dim", None, None, 1.0, day_h, night_h, 1.0), lamps.fixed_on),
        ):
            if count:
                found[alike] = found.get(alike, 0.0) + count * curve.full_w / 1000.0
        standby += dimmed * float(curve.at(0.0)) / 1000.0 * _YEAR_H
    parts = tuple(_part(alike, kw) for alike, kw in found.items())
    return Calculated(
        parts=parts,
        lighting_kwh=sum(part.kwh for part in parts),
        standby_kwh=standby,
        area_m2=sum(scenario.area_m2_of(name) for name in scenario.lit_names),
        has_skylight=scenario.skylight is not None,
    )


def _part(alike: _Alike, kw: float) -> Part:
    """One part with its energy."""
    kwh = en15193_lighting_kwh(kw, alike.day_h, alike.night_h, alike.occupancy, alike.daylight)
    return Part(kw=kw, kwh=kwh, **alike._asdict())
