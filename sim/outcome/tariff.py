"""Energy, demand and fees by a tariff: a year of load becomes twelve monthly bills.

Comes in: loads by quarter-hour of a year, the tariff's tables.  Goes out: `Bill`, `MeterBill`.  Before:
`outcome/year_load`; after: `study/year/money`.  Demand, blocks of energy and the least bill are those of the
site's meter, so the lights' share of them is the bill with the lights less the bill without.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.outcome.year_load import MONTHS_A_YEAR, QUARTERS_A_DAY, YearClock
from sim.records import FloatColumn
from sim.scenario.schema import Scenario
from sim.scenario.tables.money import DemandCharge, EnergyBlock, EnergyPrice, SiteLoad, Tariff
from sim.units import WEEKDAYS

__all__ = [
    "Bill", "MeterBill", "Prices", "bill_lights", "bill_meter", "billed_demand", "block_cost",
    "monthly_peaks", "price_year", "site_load_kw",
]

_QUARTER_H = 0.25


@dataclass(frozen=True)
class Prices:
    """A tariff laid over a year.

    Attributes
    ----------
    clock : the year
    per_kwh : price of energy in each quarter-hour (n,)
    tariff : ratchet and demand interval
    blocks : prices by how much a month uses
    charges : demand charges
    site_kw : what else runs behind the meter (n,)
    """

    clock: YearClock
    per_kwh: FloatColumn
    tariff: Tariff
    blocks: tuple[EnergyBlock, ...]
    charges: tuple[DemandCharge, ...]
    site_kw: FloatColumn


@dataclass(frozen=True)
class MeterBill:
    """What a meter costs, month by month (12,).

    Attributes
    ----------
    kwh : its energy
    energy : money for energy by the hour
    blocks : more, or less, for energy by the month's amount
    demand : money for demand
    fixed : fees that come whatever is used
    lift : what is missing to the least bill
    """

    kwh: FloatColumn
    energy: FloatColumn
    blocks: FloatColumn
    demand: FloatColumn
    fixed: FloatColumn
    lift: FloatColumn

    @property
    def total(self) -> FloatColumn:
        """All charges together (12,)."""
        return self.energy + self.blocks + self.demand + self.fixed + self.lift


@dataclass(frozen=True)
class Bill:
    """What lights cost, month by month (12,): the site's bill with them less the site's without.

    Attributes
    ----------
    kwh : energy of the lights
    energy : money for energy, blocks included
    demand : money for demand
    lift : their part of what is missing to the least bill; below 0 where they fill it up
    peak_kw : highest demand of the site's meter, lights included
    site : the whole bill of the site's meter, lights and fixed fees included
    """

    kwh: FloatColumn
    energy: FloatColumn
    demand: FloatColumn
    lift: FloatColumn
    peak_kw: FloatColumn
    site: FloatColumn

    @property
    def cost(self) -> FloatColumn:
        """Energy, demand and least bill together (12,)."""
        return self.energy + self.demand + self.lift


def price_year(
    scenario: Scenario, tariff: Tariff, clock: YearClock, others_kw: Sequence[FloatColumn] = ()
) -> Prices:
    """Lay the scenario's tariff over a year.

    Parameters
    ----------
    scenario, tariff : rows and rules
    clock : the year
    others_kw : further loads behind the meter, (n,) each
    """
    return Prices(
        clock=clock,
        per_kwh=_energy_prices(tariff, scenario.energy_prices or (), clock),
        tariff=tariff,
        blocks=tuple(scenario.energy_blocks or ()),
        charges=tuple(scenario.demand_charges or ()),
        site_kw=sum(others_kw, start=site_load_kw(scenario.site_load or (), clock)),
    )


def _energy_prices(tariff: Tariff, rows: Sequence[EnergyPrice], clock: YearClock) -> FloatColumn:
    """Price of energy in each quarter-hour."""
    prices = np.full(len(clock), float(tariff.per_kwh))
    for row in rows:
        prices[clock.in_hours(row)] = row.per_kwh
    return prices


def site_load_kw(rows: Sequence[SiteLoad], clock: YearClock) -> FloatColumn:
    """Return what runs behind the meter without the lights [kW] (n,); weekdays without a row have nothing."""
    week = np.zeros(len(WEEKDAYS) * 24)
    for row in rows:
        hourly = np.broadcast_to(np.asarray(row.kw, dtype=np.float64), 24)
        for day in row.days:
            first = WEEKDAYS.index(day) * 24
            week[first : first + 24] = hourly
    return week[clock.week_quarter // 4]


def monthly_peaks(
    load_kw: FloatColumn, clock: YearClock, charge: DemandCharge | None, minutes: int
) -> FloatColumn:
    """Return each month's highest mean over the meter's interval, in a charge's hours of the week (12,).

    Parameters
    ----------
    load_kw : load of each quarter-hour (n,)
    clock : the year
    charge : its hours count in every month, None for all hours
    minutes : length of the interval, 15 or 30
    """
    steps = minutes // 15
    means = load_kw.reshape(-1, steps).mean(axis=1)
    month = clock.month[::steps]
    if charge is not None:
        every_month = charge.model_copy(update={"months": tuple(range(1, 13))})
        inside = clock.in_hours(every_month).reshape(-1, steps).all(axis=1)
        means, month = means[inside], month[inside]
    peaks = np.zeros(MONTHS_A_YEAR)
    np.maximum.at(peaks, month, means)
    return peaks


def billed_demand(peaks: FloatColumn, tariff: Tariff) -> FloatColumn:
    """Return the demand that each month is billed for [kW] (12,).

    With a ratchet a month counts at least a share of the highest demand of the months before.  The year is
    taken to follow another one like it, so that January looks back at autumn.

    Examples
    --------
    >>> tariff = Tariff(currency="EUR", per_kwh=0.1, ratchet_share=0.8, ratchet_months=2)
    >>> billed_demand(np.array([100.0, 50.0, 50.0, 50.0] + [10.0] * 8), tariff)[:5].tolist()
    [100.0, 80.0, 80.0, 50.0, 40.0]
    """
    if tariff.ratchet_share is None:
        return peaks
    before = np.max([np.roll(peaks, step) for step in range(1, tariff.ratchet_months + 1)], axis=0)
    return np.asarray(np.maximum(peaks, tariff.ratchet_share * before), dtype=np.float64)


def _demand_cost(load_kw: FloatColumn, prices: Prices) -> FloatColumn:
    """Demand charges of a load at the meter, month by month (12,)."""
    cost = np.zeros(MONTHS_A_YEAR)
    for charge in prices.charges:
        peaks = monthly_peaks(load_kw, prices.clock, charge, prices.tariff.demand_interval_min)
        billed = billed_demand(peaks, prices.tariff)
        for month in charge.months:
            cost[month - 1] += charge.per_kw * billed[month - 1]
    return cost


def _by_month(amount: FloatColumn, clock: YearClock) -> FloatColumn:
    """Sum amounts of quarter-hours by month (12,)."""
    return np.bincount(clock.month, weights=amount, minlength=MONTHS_A_YEAR).astype(np.float64)


def block_cost(month_kwh: FloatColumn, blocks: Sequence[EnergyBlock]) -> FloatColumn:
    """Return what blocks add to the price of each month's energy (12,).

    Examples
    --------
    >>> rows = [EnergyBlock(above_kwh=500.0, per_kwh=0.05), EnergyBlock(above_kwh=1000.0, per_kwh=0.10)]
    >>> block_cost(np.array([400.0, 800.0, 1200.0] + [0.0] * 9), rows)[:3].tolist()
    [0.0, 15.0, 55.0]
    """
    cost = np.zeros(MONTHS_A_YEAR)
    for block in blocks:
        months = np.array(block.months) - 1
        cost[months] += block.per_kwh * np.maximum(0.0, month_kwh[months] - block.above_kwh)
    return cost


def bill_meter(load_kw: FloatColumn, prices: Prices) -> MeterBill:
    """Return what a meter costs in a year.

    Parameters
    ----------
    load_kw : load at the meter in each quarter-hour (n,)
    prices : the tariff over the same year
    """
    tariff, clock = prices.tariff, prices.clock
    days = np.bincount(clock.month, minlength=MONTHS_A_YEAR) / QUARTERS_A_DAY
    kwh = _by_month(load_kw * _QUARTER_H, clock)
    energy = _by_month(load_kw * _QUARTER_H * prices.per_kwh, clock)
    blocks, demand = block_cost(kwh, prices.blocks), _demand_cost(load_kw, prices)
    fixed = tariff.fixed_per_month + tariff.fixed_per_day * days
    lift = np.maximum(0.0, tariff.minimum_per_month - (energy + blocks + demand + fixed))
    return MeterBill(kwh, energy, blocks, demand, fixed, lift)


def bill_lights(load_kw: FloatColumn, prices: Prices) -> Bill:
    """Return what a year of lights costs.

    Parameters
    ----------
    load_kw : load of the lights in each quarter-hour (n,)
    prices : the tariff over the same year
    """
    with_lights = prices.site_kw + load_kw
    lit, dark = bill_meter(with_lights, prices), bill_meter(prices.site_kw, prices)
    # by the hour the lights' own sum, which is exact; a difference of two large bills would not be
    own = _by_month(load_kw * _QUARTER_H * prices.per_kwh, prices.clock)
    return Bill(
        kwh=_by_month(load_kw * _QUARTER_H, prices.clock),
        energy=own + (lit.blocks - dark.blocks),
        demand=lit.demand - dark.demand,
        lift=lit.lift - dark.lift,
        peak_kw=monthly_peaks(with_lights, prices.clock, None, prices.tariff.demand_interval_min),
        site=lit.total,
    )
