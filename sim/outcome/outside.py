"""The rest of the site over a year: lights by the sun and the clock, always on beside as they are.

Comes in: the yard's and the offices' tables.  Goes out: `SitePart`s, loads by quarter-hour of a year (n,).
Before: `outcome/year_load`, `scenario/sun_times`; after: `study/year/money`.  The late level cuts power, as
energy codes word it, not light.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.outcome.year_load import YearClock
from sim.records import FloatColumn
from sim.scenario.schema import Scenario
from sim.scenario.sun_times import dark_spans
from sim.scenario.tables.money import Hours
from sim.scenario.tables.outside import Office, Place, Yard
from sim.units import QUARTER_S

__all__ = ["SitePart", "lit_share", "site_parts"]


@dataclass(frozen=True)
class SitePart:
    """One group of lights besides the aisles'.

    Attributes
    ----------
    name : as the scenario calls it
    is_outside : yard or wall, not an office
    always_kw : power in every hour
    load_kw : as timed (n,)
    """

    name: str
    is_outside: bool
    always_kw: float
    load_kw: FloatColumn


def lit_share(
    dark: Sequence[tuple[float, float]], on_offset_s: float, off_offset_s: float, quarters: int
) -> FloatColumn:
    """Return for how much of each quarter-hour lights burn that go by the sun (quarters,).

    Parameters
    ----------
    dark : spans from sunset to sunrise [s], in order
    on_offset_s, off_offset_s : how long after sunset and sunrise [s]
    quarters : of the year, from second 0
    """
    edges = np.arange(quarters + 1) * QUARTER_S
    lit = np.zeros(quarters)
    until = -np.inf
    for sunset, sunrise in dark:
        start, end = max(sunset + on_offset_s, until), sunrise + off_offset_s
        if end > start:
            lit += np.diff(np.clip(edges, start, end))
            until = end
    return lit / QUARTER_S


def site_parts(scenario: Scenario, clock: YearClock) -> tuple[SitePart, ...]:
    """Return every part of the site besides the aisles, in the scenario's order."""
    yards = [_yard(yard, scenario.place, clock) for yard in scenario.yard or () if scenario.place is not None]
    return (*yards, *(_office(office, clock) for office in scenario.offices or ()))


def _yard(yard: Yard, place: Place, clock: YearClock) -> SitePart:
    """Lights from sunset to sunrise with a late level."""
    dark = dark_spans(place.latitude, place.longitude, place.time_zone, clock.year)
    lit = lit_share(dark, 60.0 * yard.sunset_offset_min, 60.0 * yard.sunrise_offset_min, len(clock))
    late = clock.in_hours(Hours.model_validate({"from": yard.late_from, "to": yard.late_to}))
    load = yard.kw * lit * np.where(late, yard.late_power, 1.0)
    return SitePart(yard.name, True, yard.kw, load)


def _office(office: Office, clock: YearClock) -> SitePart:
    """Lights with fixed hours."""
    hours = Hours.model_validate({"from": office.from_, "to": office.to, "days": list(office.days)})
    load = np.where(clock.in_hours(hours), office.kw, office.rest_kw)
    return SitePart(office.name, False, max(office.kw, office.rest_kw), load)
