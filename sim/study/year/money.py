"""What a run means in a year: energy, bills, demand, a proposal's worth, carbon, switching.

Comes in: a `Result`.  Goes out: `Money` with intervals over replications.  Before: `outcome/tariff`,
`outcome/finance`, `outcome/credits`, `study/replications/precision`; after: `show/words/money`.  Each
replication is priced by itself on the same calendar, with its baseline on the same traffic; so savings are
paired.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields

import numpy as np

from sim.outcome.finance import cash_flows, internal_rate, net_present_value, simple_payback, tonnes
from sim.outcome.outside import SitePart, site_parts
from sim.outcome.tariff import Bill, Prices, bill_lights, price_year
from sim.outcome.year_load import (
    MONTHS_A_YEAR,
    QUARTERS_A_DAY,
    QUARTERS_A_WEEK,
    Baseline,
    YearClock,
    connected_kw,
    year_clock,
)
from sim.records import FloatColumn
from sim.results import Estimate, Result
from sim.scenario.schema import Scenario
from sim.scenario.tables.money import Proposal
from sim.study.replications.precision import estimate_mean
from sim.study.year.year_loads import TYPICAL, duration_curve, interactive_factor, week_kinds, year_loads

__all__ = ["Money", "PartYear", "Worth", "Yearly", "count_money", "has_money", "interactive_factor"]

_QUARTER_H = 0.25


@dataclass(frozen=True)
class Yearly:
    """One figure of a year: these settings, the baseline, and what is saved, paired.

    Attributes
    ----------
    here, baseline, saved : means with intervals
    """

    here: Estimate
    baseline: Estimate
    saved: Estimate


@dataclass(frozen=True)
class PartYear:
    """One part of the site in a year.

    Attributes
    ----------
    name : of the part
    is_outside : whether it lies outside the building
    always_kwh, kwh : always on, and as it is controlled
    always_money, money : for that energy, None without a tariff
    """

    name: str
    is_outside: bool
    always_kwh: float
    kwh: float
    always_money: float | None
    money: float | None


@dataclass(frozen=True)
class Worth:
    """What a proposal is worth.

    Attributes
    ----------
    outlay : paid at once, rebates taken off
    flows : of years 0, 1, ... with the mean saving
    payback_years : None where it never pays back
    present_value : mean with interval
    rate : internal rate of return of the mean saving, None where there is none
    """

    outlay: float
    flows: tuple[float, ...]
    payback_years: float | None
    present_value: Estimate
    rate: float | None


@dataclass(frozen=True)
class Money:
    """A run as a year.

    Attributes
    ----------
    year : calendar year
    weeks : whole weeks of the run that are repeated over it
    baseline : its name
    factor : each lighting kWh counts so often (interactive factor), mean over the connected power
    connected_kw, controlled_kw : of all luminaires, and of those that dim
    kwh : lighting energy of a year, factor included [kWh]
    months : mean bills by month of these settings and of the baseline, None without a tariff
    energy, demand, cost : of a year, None without a tariff
    lift : the lights' part of what is missing to the least bill, None without one
    site_bill : the whole bill of the site's meter, fixed fees included, None without a tariff
    window_kw : mean load in the utility's window, None without one
    carbon_t : CO2 of a year [t], None without a factor
    worth : None without a proposal
    switchings : most switch-ups of one zone in a year
    kinds : days of the year by kind of week, the run's own first
    peak_kinds : the kind that sets each month's peak (12,)
    parts : the aisles first, then the rest of the site; () where none is described
    load_kw : mean duration curve of these settings, and of the baseline, highest first (n,)
    meter_kw : the same at the site's meter, None where nothing else is known to run behind it
    """

    year: int
    weeks: int
    baseline: Baseline
    factor: float
    connected_kw: float
    controlled_kw: float
    kwh: Yearly
    months: tuple[Bill, Bill] | None
    energy: Yearly | None
    demand: Yearly | None
    cost: Yearly | None
    lift: Yearly | None
    site_bill: Yearly | None
    window_kw: Yearly | None
    carbon_t: Yearly | None
    worth: Worth | None
    switchings: float
    kinds: Mapping[str, int]
    peak_kinds: tuple[str, ...]
    parts: tuple[PartYear, ...]
    load_kw: tuple[FloatColumn, FloatColumn]
    meter_kw: tuple[FloatColumn, FloatColumn] | None


def has_money(scenario: Scenario) -> bool:
    """Tell whether a scenario asks for anything that speaks of a year."""
    return any(
        table is not None
        for table in (
            scenario.tariff, scenario.demand_window, scenario.carbon, scenario.proposal, scenario.year,
            scenario.yard, scenario.offices, scenario.year_weeks,
        )
    )


def count_money(result: Result) -> Money | None:
    """Return a run as a year, None where the scenario asks for nothing of the kind.

    Parameters
    ----------
    result : of a run of at least a whole week that starts on a quarter-hour
    """
    scenario, proposal = result.scenario, result.scenario.proposal
    if not has_money(scenario):
        return None
    chosen = None if scenario.year is None else scenario.year.of
    clock = year_clock(scenario.start_datetime.year if chosen is None else chosen)
    baseline: Baseline = "always_on" if proposal is None else proposal.baseline
    factor = interactive_factor(scenario)
    loads = [year_loads(result, number, baseline, clock) for number in range(len(result.outcomes))]
    kwh = [(_kwh(here), _kwh(base)) for here, base in loads]
    bills: list[tuple[Bill, Bill]] = []
    others, prices = site_parts(scenario, clock), None
    if scenario.tariff is not None:
        prices = price_year(scenario, scenario.tariff, clock, [part.load_kw for part in others])
        bills = [(bill_lights(here, prices), bill_lights(base, prices)) for here, base in loads]
    costs = [(_sum(here.cost), _sum(base.cost)) for here, base in bills]
    grams = None if scenario.carbon is None else scenario.carbon.g_per_kwh
    mean_kw = np.asarray(np.mean([here for here, _ in loads], axis=0), dtype=np.float64)
    return Money(
        year=clock.year,
        weeks=len(result.outcomes[0].quarter_kw) // QUARTERS_A_WEEK,
        baseline=baseline,
        factor=factor,
        connected_kw=connected_kw(result.layout),
        controlled_kw=connected_kw(result.layout, dimmed_only=True),
        kwh=_yearly(kwh),
        months=_mean_bills(bills) if bills else None,
        energy=_of_bills(bills, "energy"),
        demand=_of_bills(bills, "demand"),
        cost=_of_bills(bills, "cost"),
        lift=_of_bills(bills, "lift") if prices is not None and prices.tariff.minimum_per_month else None,
        site_bill=_of_bills(bills, "site"),
        window_kw=_window(scenario, clock, loads),
        carbon_t=None if grams is None else _yearly([(tonnes(a, grams), tonnes(b, grams)) for a, b in kwh]),
        worth=_worth(result, proposal, costs, kwh) if proposal is not None and bills else None,
        switchings=_switchings(result, clock),
        kinds={name: int(inside.sum()) // QUARTERS_A_DAY for name, inside in week_kinds(result, clock)},
        peak_kinds=_peakweek_kinds(result, clock, mean_kw if prices is None else prices.site_kw + mean_kw),
        parts=_part_years(others, [here for here, _ in loads], factor * connected_kw(result.layout), prices),
        load_kw=(duration_curve([a for a, _ in loads]), duration_curve([b for _, b in loads])),
        meter_kw=_meter_curves(loads, prices),
    )


def _switchings(result: Result, clock: YearClock) -> float:
    """Most switch-ups of one zone in a year, each kind of week by its days."""
    total = np.zeros(len(result.layout.zones))
    for name, inside in week_kinds(result, clock):
        outcomes = result.outcomes if name == TYPICAL else result.special[name]
        a_day = np.mean([outcome.zones["switch_ups"] for outcome in outcomes], axis=0) / result.scenario.days
        total += a_day * inside.sum() / QUARTERS_A_DAY
    return float(total.max())


def _peakweek_kinds(result: Result, clock: YearClock, load_kw: FloatColumn) -> tuple[str, ...]:
    """The kind of week that holds each month's highest mean load at the meter (12,)."""
    kinds = week_kinds(result, clock)
    names = []
    for month in range(MONTHS_A_YEAR):
        at = np.flatnonzero(clock.month == month)
        top = at[int(np.argmax(load_kw[at]))]
        names.append(next(name for name, inside in kinds if inside[top]))
    return tuple(names)


def _kwh(load_kw: FloatColumn) -> float:
    """Energy of a year of quarter-hours."""
    return float(load_kw.sum()) * _QUARTER_H


def _sum(column: FloatColumn) -> float:
    """A year of months."""
    return float(column.sum())


def _yearly(pairs: Sequence[tuple[float, float]]) -> Yearly:
    """Means and intervals of these settings and the baseline, and of their paired difference."""
    return Yearly(
        here=estimate_mean([here for here, _ in pairs]),
        baseline=estimate_mean([base for _, base in pairs]),
        saved=estimate_mean([base - here for here, base in pairs]),
    )


def _of_bills(bills: Sequence[tuple[Bill, Bill]], name: str) -> Yearly | None:
    """One column of the bills over the year, None without bills."""
    pairs = [(_sum(getattr(here, name)), _sum(getattr(base, name))) for here, base in bills]
    return _yearly(pairs) if pairs else None


def _mean_bills(bills: Sequence[tuple[Bill, Bill]]) -> tuple[Bill, Bill]:
    """Mean over replications, month by month."""

    def mean(chosen: Sequence[Bill]) -> Bill:
        names = [field.name for field in fields(Bill)]
        return Bill(**{name: np.mean([getattr(bill, name) for bill in chosen], axis=0) for name in names})

    return mean([here for here, _ in bills]), mean([base for _, base in bills])


def _window(
    scenario: Scenario, clock: YearClock, loads: Sequence[tuple[FloatColumn, FloatColumn]]
) -> Yearly | None:
    """Mean load in the utility's window."""
    if scenario.demand_window is None:
        return None
    inside = clock.in_hours(scenario.demand_window)
    return _yearly([(float(here[inside].mean()), float(base[inside].mean())) for here, base in loads])


def _part_years(
    others: Sequence[SitePart], aisles_kw: Sequence[FloatColumn], always_kw: float, prices: Prices | None
) -> tuple[PartYear, ...]:
    """The aisles and the rest of the site, always on and as controlled."""
    if not others:
        return ()
    here = np.asarray(np.mean(aisles_kw, axis=0), dtype=np.float64)
    every = [SitePart("aisles", False, always_kw, here), *others]

    def money(load_kw: FloatColumn) -> float | None:
        return None if prices is None else float((load_kw * prices.per_kwh).sum()) * _QUARTER_H

    found = []
    for part in every:
        always = np.full(len(part.load_kw), part.always_kw)
        energy = _kwh(always), _kwh(part.load_kw)
        found.append(PartYear(part.name, part.is_outside, *energy, money(always), money(part.load_kw)))
    return tuple(found)


def _meter_curves(
    loads: Sequence[tuple[FloatColumn, FloatColumn]], prices: Prices | None
) -> tuple[FloatColumn, FloatColumn] | None:
    """Duration curves at the site's meter, None where nothing else is known to run behind it."""
    if prices is None or not prices.site_kw.any():
        return None
    besides = prices.site_kw
    return (
        duration_curve([here for here, _ in loads], besides),
        duration_curve([base for _, base in loads], besides),
    )


def _worth(
    result: Result,
    proposal: Proposal,
    costs: Sequence[tuple[float, float]],
    kwh: Sequence[tuple[float, float]],
) -> Worth:
    """What the proposal is worth; the rebate for saved energy follows each replication's own saving."""
    layout = result.layout
    luminaires, sensors = float(layout.dimmed.sum() + layout.fixed.sum()), len(layout.sensor_m)
    price = (
        proposal.cost_per_luminaire * luminaires
        + proposal.cost_per_sensor * sensors
        + proposal.cost_fixed
        - proposal.rebate
    )

    def flows(saving: float, saved_kwh: float) -> list[float]:
        outlay = price - proposal.rebate_per_kwh * saved_kwh
        return cash_flows(
            outlay, saving, proposal.maintenance_per_year, proposal.years, proposal.price_rise_per_year
        )

    each = [
        flows(base - here, base_kwh - here_kwh)
        for (here, base), (here_kwh, base_kwh) in zip(costs, kwh, strict=True)
    ]
    mean = tuple(float(value) for value in np.mean(each, axis=0))
    return Worth(
        outlay=-mean[0],
        flows=mean,
        payback_years=simple_payback(-mean[0], mean[1]),
        present_value=estimate_mean([net_present_value(proposal.discount_rate, one) for one in each]),
        rate=internal_rate(mean),
    )
