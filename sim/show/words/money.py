"""A year in words: energy, money, demand, worth, carbon, switching, deemed factors; for report, CSV and JSON.

Comes in: `Money` and its scenario.  Goes out: `Section`s, rows, JSON values.  Before: `study/year/money`,
`outcome/credits`; after: `show/words/besides`.  Carbon shows two figures, since no factor is good for more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from sim.outcome.credits import (
    DEEMED_FACTORS,
    EN15193_AUTO_DIMMED,
    EN15193_STORAGE_ABSENCE,
    NECB_LEAST_W_PER_M2,
    SUMMER_COINCIDENCE,
    control_savings_factor,
    deemed_kw,
    deemed_kwh,
    en15193_occupancy_factor,
    g37_schedule,
    necb_occupancy_factor,
)
from sim.outcome.tariff import Bill
from sim.results import Estimate
from sim.scenario.schema import Scenario
from sim.scenario.tables.money import Tariff
from sim.show.folders.whole import number_text
from sim.show.words.amounts import count_of, digits, interval, listing, percent, plain
from sim.show.words.sections import Section
from sim.study.year.money import Money, PartYear, Yearly

__all__ = [
    "carbon_text", "costs_csv", "deemed_section", "money_section", "money_summary", "site_section",
    "worth_section",
]

BASELINE_WORDS = {
    "always_on": "always on", "schedule_only": "schedule only", "code_minimum": "code minimum",
}
CARBON_FIGURES = 2
COSTS_HEADER = (
    "month", "kwh", "energy", "demand", "to_least_bill", "cost", "site_peak_kw", "site_bill", "baseline_kwh",
    "baseline_energy", "baseline_demand", "baseline_to_least_bill", "baseline_cost", "baseline_site_peak_kw",
    "baseline_site_bill", "peak_in", "currency",
)


def carbon_text(tonnes: float) -> str:
    """Return an amount of CO2 in two figures.

    Examples
    --------
    >>> carbon_text(5.19), carbon_text(0.0123), carbon_text(1234.0)
    ('5.2 t', '0.012 t', '1,200 t')
    """
    return f"{digits(tonnes, CARBON_FIGURES)} t"


def _row(what: str, yearly: Yearly, unit: str) -> tuple[str, ...]:
    """One figure of the year."""
    return (what, *(interval(figure, unit) for figure in (yearly.baseline, yearly.here, yearly.saved)))


def _carbon_row(yearly: Yearly) -> tuple[str, ...]:
    """Carbon in two figures, without an interval that would promise more."""
    figures = (yearly.baseline, yearly.here, yearly.saved)
    return ("CO2", *(carbon_text(figure.mean or 0.0) for figure in figures))


def _per_area_row(kwh: Yearly, scenario: Scenario) -> tuple[str, ...]:
    """Energy over the area that is lit: LENI as EN 15193 defines it, standby included."""
    area = sum(scenario.area_m2_of(name) for name in scenario.lit_names)
    figures = (kwh.baseline, kwh.here, kwh.saved)
    words = (interval(one, "kWh/m2", 1.0 / area) for one in figures)
    of_what = "aisles and open areas" if scenario.area else "the aisles"
    return (f"The same per area of {of_what} (LENI)", *words)


def money_section(money: Money, scenario: Scenario) -> Section:
    """Return the year's figures beside the baseline's."""
    tariff = scenario.tariff
    what = "Energy of the lights" if money.factor == 1.0 else "Energy of the lights and of cooling their heat"
    rows = [_row(what, money.kwh, "kWh")]
    if money.factor == 1.0:
        rows.append(_per_area_row(money.kwh, scenario))
    if tariff is not None and money.energy and money.demand and money.cost:
        unit = tariff.currency
        rows.append(_row("Money for energy", money.energy, unit))
        if scenario.demand_charges:
            rows.append(_row("Money for demand", money.demand, unit))
        if money.lift is not None:
            rows.append(_row("To the least bill of the month", money.lift, unit))
        rows.append(_row("Together", money.cost, unit))
        if money.site_bill is not None and _has_whole_bill(scenario, tariff):
            rows.append(_row("Whole bill of the site's meter", money.site_bill, unit))
    if money.window_kw is not None:
        rows.append(_row("Mean load in the stated window", money.window_kw, "kW"))
    if money.carbon_t is not None:
        rows.append(_carbon_row(money.carbon_t))
    rows.append(("Most switch-ups of one zone", "", digits(money.switchings), ""))
    baseline = BASELINE_WORDS[money.baseline]
    remarks = [
        f"The calendar year {money.year}, made of {count_of(money.weeks, 'simulated week')} repeated in "
        "order; every day has 24 hours. Saved is paired: baseline and settings on the same traffic.",
    ]
    if len(money.kinds) > 1:
        kinds = ", ".join(f"{name} {count_of(days, 'day')}" for name, days in money.kinds.items())
        peaks = ", ".join(
            f"{name} {count_of(money.peak_kinds.count(name), 'month')}"
            for name in dict.fromkeys(money.peak_kinds)
        )
        remarks.append(
            f"Kinds of weeks, each simulated by itself: {kinds}. The highest load of a month comes from: "
            f"{peaks}."
        )
    elif scenario.year_weeks:
        remarks.append("On a replayed log the special weeks are not simulated: every date is like the log.")
    if money.factor != 1.0:
        where = scenario.store.aisles if scenario.store is not None else None
        inside = f" in {listing(where)}" if where else ""
        mean = ", on average over the connected power" if where else ""
        remarks.append(
            f"Each kilowatt-hour of light counts {digits(money.factor)} times{mean}, because its "
            f"heat{inside} is pumped out of the store: 1 + 1/COP. This holds for the baseline too."
        )
    if scenario.demand_charges:
        minutes = plain(tariff.demand_interval_min if tariff else 15)
        remarks.append(
            f"Demand is the site meter's highest mean over {minutes} min of a month; the lights' share is "
            "the bill with them less the bill without. A month's peak is the highest of the weeks simulated; "
            "real months hold weeks unlike these."
        )
        if money.baseline == "code_minimum":
            remarks.append("The code minimum is known by the hour, so its demand is that of hourly means.")
    remarks += _fee_remarks(scenario)
    if scenario.carbon is not None:
        carbon = scenario.carbon
        remarks.append(
            f"CO2: {plain(carbon.g_per_kwh)} g/kWh, {carbon.kind} factor of {carbon.year} "
            f"({carbon.source}); two figures, no more."
        )
    header = ("", f"Baseline: {baseline}", "These settings", "Saved")
    return Section("A year", header, tuple(rows), tuple(remarks))


def _has_whole_bill(scenario: Scenario, tariff: Tariff) -> bool:
    """Whether the meter's bill is more than the lights' part of it."""
    fees = tariff.fixed_per_month or tariff.fixed_per_day or tariff.minimum_per_month
    return bool(scenario.site_load or scenario.yard or scenario.offices or fees)


def _fee_remarks(scenario: Scenario) -> list[str]:
    """What blocks, fixed fees and a least bill do to the lights' part."""
    tariff, found = scenario.tariff, list[str]()
    if tariff is None:
        return found
    if scenario.energy_blocks:
        found.append(
            "Prices by how much a month uses count on the site's meter: the lights' part is what the meter "
            "costs with them less what it costs without."
        )
    if tariff.fixed_per_month or tariff.fixed_per_day:
        found.append("Fixed fees stand in the whole bill alone: no setting of the lights changes them.")
    if tariff.minimum_per_month:
        found.append(
            f"A month's bill is at least {plain(tariff.minimum_per_month)} {tariff.currency}: in a month "
            "below it a saving brings nothing, and what is saved is less than energy and demand alone say."
        )
    return found


def site_section(money: Money, scenario: Scenario) -> Section | None:
    """Return the whole site against always on, inside and outside, None where only the aisles are known."""
    if not money.parts:
        return None
    tariff = scenario.tariff
    rows: list[tuple[str, ...]] = []
    groups = (("inside", [part for part in money.parts if not part.is_outside]),
              ("outside", [part for part in money.parts if part.is_outside]))
    for where, parts in groups:
        rows += [_part_row(f"{part.name}, {where}", [part], tariff) for part in parts]
    rows += [_part_row(f"All {where}", parts, tariff) for where, parts in groups if parts]
    rows.append(_part_row("The site", money.parts, tariff))
    header: tuple[str, ...] = ("Part", "Always on", "As controlled", "Saved", "Share")
    remarks = [
        "Always on is every luminaire at full power in every hour, outside too. Yard lights burn from sunset "
        "to sunrise with their offsets and late hours; offices keep fixed hours.",
    ]
    if tariff is not None:
        header = (*header, f"Saved, {tariff.currency}")
        remarks.append(
            "Money here is for energy by the hour alone; demand, blocks and fees are shared by all behind "
            "the meter."
        )
    return Section("The whole site", header, tuple(rows), tuple(remarks))


def _part_row(name: str, parts: Sequence[PartYear], tariff: Tariff | None) -> tuple[str, ...]:
    """One part, or several together."""
    always, here = sum(part.always_kwh for part in parts), sum(part.kwh for part in parts)
    row = (
        name, f"{digits(always)} kWh", f"{digits(here)} kWh", f"{digits(always - here)} kWh",
        percent((always - here) / always),
    )
    if tariff is None:
        return row
    return (*row, digits(sum((part.always_money or 0.0) - (part.money or 0.0) for part in parts)))


def worth_section(money: Money, scenario: Scenario) -> Section | None:
    """Return what the proposal is worth, None without one."""
    worth, proposal, tariff = money.worth, scenario.proposal, scenario.tariff
    if worth is None or proposal is None or tariff is None:
        return None
    unit = tariff.currency
    back = "never" if worth.payback_years is None else f"{digits(worth.payback_years)} years"
    rate = "none" if worth.rate is None else f"{percent(worth.rate)} a year"
    rows = [
        ("Paid at once, rebates taken off", f"{digits(worth.outlay)} {unit}"),
        ("Saved in the first year, maintenance taken off", f"{digits(worth.flows[1])} {unit}"),
        ("Simple payback", back),
        (f"Present value over {proposal.years} years", interval(worth.present_value, unit)),
        ("Internal rate of return", rate),
    ]
    if proposal.rated_switchings is not None and money.switchings > 0.0:
        years = proposal.rated_switchings / money.switchings
        text = (
            f"{digits(years)} years for {plain(proposal.rated_switchings)} switchings at "
            f"{digits(money.switchings)} a year"
        )
        rows.append(("Rated switchings last", text))
    remarks = (
        f"Against {BASELINE_WORDS[money.baseline]}. Interest {percent(proposal.discount_rate)} and a price "
        f"rise of {percent(proposal.price_rise_per_year)} a year; outlays at once, savings at the end of "
        "each year. The interval is that of the simulated saving alone: prices, costs and work may differ by "
        "more.",
    )
    return Section("What the proposal is worth", ("Figure", "Value"), tuple(rows), remarks)


def _deemed(money: Money) -> list[tuple[str, float, float, str]]:
    """Name, share of the controlled energy, kilowatt-hours a year, source."""
    baseline = money.kwh.baseline.mean or 0.0
    hours = baseline / money.factor / money.connected_kw
    controlled = money.controlled_kw
    shares = [
        (f"programme, {name}", share, "industrial assessment centre handbook")
        for name, share in DEEMED_FACTORS.items() if share
    ]
    shares += [
        ("modelling credit for storage", 1.0 - g37_schedule(1.0), "90.1-2019, Table G3.7"),
        ("partial off", 1.0 - necb_occupancy_factor("partial off"), "NECB 4.3.2.10"),
        (
            "automatic on, dimmed, rack area",
            1.0 - en15193_occupancy_factor(EN15193_STORAGE_ABSENCE, EN15193_AUTO_DIMMED),
            "EN 15193:2007, Annex D, from memory",
        ),
    ]
    return [
        (name, share, money.factor * deemed_kwh(controlled, hours, share), source)
        for name, share, source in shares
    ]


def _summer_kw(money: Money) -> float:
    """Deemed saving of load at the utility's summer peak."""
    return deemed_kw(money.controlled_kw, DEEMED_FACTORS["occupancy"], SUMMER_COINCIDENCE)


def _no_credit(money: Money, scenario: Scenario) -> tuple[str, ...]:
    """Whether the density is so low that an older edition grants nothing."""
    area = sum(scenario.area_m2_of(name) for name in scenario.lit_names)
    density = 1000.0 * money.connected_kw / area
    if necb_occupancy_factor("partial off", w_per_m2=density) < 1.0:
        return ()
    return (
        f"NECB 2015 as coded grants nothing up to {plain(NECB_LEAST_W_PER_M2)} W/m2; these aisles have "
        f"{digits(density)}.",
    )


def deemed_section(money: Money, scenario: Scenario) -> Section | None:
    """Return the simulated saving beside factors that programmes and codes agree on.

    None against the code minimum, which is controlled already: the factors speak of lights without controls.
    """
    if money.baseline == "code_minimum":
        return None
    saved, baseline = money.kwh.saved.mean or 0.0, money.kwh.baseline.mean or 0.0
    hours = baseline / money.factor / money.connected_kw
    after = (baseline - saved) / money.factor / money.connected_kw
    rows = [("simulated here", percent(saved / baseline), interval(money.kwh.saved, "kWh"), "this run")]
    for name, share, kwh, source in _deemed(money):
        rows.append((name, percent(share), f"{digits(kwh)} kWh", source))
    return Section(
        "The saving beside deemed factors",
        ("What", "Share", "A year", "Source"),
        tuple(rows),
        (
            f"Equivalent full-load hours {digits(hours)} before and {digits(after)} after: control savings "
            f"factor {digits(control_savings_factor(hours, after))}. Deemed factors are agreed numbers for "
            f"an average site; they count here on the {digits(money.controlled_kw)} of "
            f"{digits(money.connected_kw)} kW that dim. At the utility's summer peak the handbook's factor "
            f"of {plain(SUMMER_COINCIDENCE)} would count {digits(_summer_kw(money))} kW.",
            *_no_credit(money, scenario),
        ),
    )


def costs_csv(money: Money, scenario: Scenario) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Return header and rows of costs.csv: means over replications, a row per month."""
    assert money.months is not None
    assert scenario.tariff is not None
    currency = scenario.tariff.currency

    def figures(bill: Bill, month: int) -> list[str]:
        columns = (bill.kwh, bill.energy, bill.demand, bill.lift, bill.cost, bill.peak_kw, bill.site)
        return [number_text(float(column[month])) for column in columns]

    here, base = money.months
    rows = [
        (
            f"{money.year}-{month + 1:02d}", *figures(here, month), *figures(base, month),
            money.peak_kinds[month], currency,
        )
        for month in range(12)
    ]
    return COSTS_HEADER, rows


def _estimate(figure: Estimate) -> dict[str, float | None]:
    return {"mean": figure.mean, "half_width": figure.half_width}


def money_summary(money: Money, scenario: Scenario) -> dict[str, Any]:
    """Return the year as plain JSON values."""

    def yearly(figures: Yearly | None) -> dict[str, Any] | None:
        if figures is None:
            return None
        return {
            "settings": _estimate(figures.here),
            "baseline": _estimate(figures.baseline),
            "saved": _estimate(figures.saved),
        }

    worth = money.worth
    return {
        "year": money.year,
        "weeks": money.weeks,
        "days_by_kind": dict(money.kinds),
        "peak_kinds": list(money.peak_kinds),
        "baseline": money.baseline,
        "currency": None if scenario.tariff is None else scenario.tariff.currency,
        "interactive_factor": money.factor,
        "connected_kw": money.connected_kw,
        "controlled_kw": money.controlled_kw,
        "kwh": yearly(money.kwh),
        "energy_money": yearly(money.energy),
        "demand_money": yearly(money.demand),
        "to_least_bill": yearly(money.lift),
        "money": yearly(money.cost),
        "site_bill": yearly(money.site_bill),
        "window_kw": yearly(money.window_kw),
        "co2_t": yearly(money.carbon_t),
        "parts": [asdict(part) for part in money.parts],
        "most_switch_ups_of_a_zone": money.switchings,
        "worth": None if worth is None else {**asdict(worth), "flows": list(worth.flows)},
        "deemed_kwh": None
        if money.baseline == "code_minimum"
        else {name: kwh for name, _, kwh, _ in _deemed(money)},
    }
