"""What a year says where something is not asked for, not known, or special: rows, remarks, months as drawn.

One week of the small site stands behind all of it: 30 luminaires of 100 W in three aisles of 60 m x 5 m.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from sim.results import Estimate, Result
from sim.show.figures.besides import draw_besides
from sim.show.figures.money import draw_months
from sim.show.words.money import deemed_section, money_section, site_section, worth_section
from sim.show.words.worksheet import sheet_csv, sheet_lines, sheet_notices
from sim.study.replications.replicate import run
from sim.study.year.money import Money, count_money
from sim.verification.worksheet import Worksheet, make_worksheet
from tests.show.made_results import make_scenario

HOURS = 365 * 24
ALWAYS_KWH = 3.0 * HOURS
CARBON = {"g_per_kwh": 348.0, "year": 2023, "kind": "average", "source": "EPA"}
TARIFF = {"currency": "EUR", "per_kwh": 0.2}
PROPOSAL = {"cost_fixed": 4000.0, "years": 10, "discount_rate": 0.05}
SUMMER = [{"name": "summer", "spans": [[dt.date(2027, 7, 5), dt.date(2027, 7, 18)]], "volume": 0.5}]


@cache
def week() -> Result:
    """A week, twice."""
    return run(make_scenario(days=7.0, replications=2))


def asking(**tables: Any) -> Result:
    """The same lights and trucks, another question."""
    return replace(week(), scenario=make_scenario(days=7.0, replications=2, **tables))


def money_of(result: Result) -> Money:
    """The year of a result that asks for one."""
    money = count_money(result)
    assert money is not None
    return money


def year_of(result: Result) -> tuple[dict[str, tuple[str, ...]], str]:
    """Rows by name, and the remarks, of the section of the year."""
    section = money_section(money_of(result), result.scenario)
    return {row[0]: row[1:] for row in section.rows}, " ".join(section.remarks)


def test_a_year_without_a_tariff_speaks_of_energy_and_carbon_alone() -> None:
    """26 280 kWh always on at 348 g/kWh are 9.1 t; no figure of money, no remark on fees, no months."""
    result = asking(carbon=CARBON)
    rows, remarks = year_of(result)
    assert list(rows) == [
        "Energy of the lights", "The same per area of the aisles (LENI)", "CO2",
        "Most switch-ups of one zone",
    ]
    assert rows["CO2"][0] == f"{ALWAYS_KWH * 348.0 / 1e6:.1f} t" == "9.1 t"
    assert "ixed fees" not in remarks
    assert "Prices by how much" not in remarks
    assert list(draw_besides(result)) == ["duration"]
    priced, _ = year_of(asking(carbon=CARBON, tariff=TARIFF))
    assert "Money for energy" in priced
    assert list(draw_besides(asking(carbon=CARBON, tariff=TARIFF))) == ["months", "duration"]


def test_load_in_a_stated_window() -> None:
    """Always on draws 3 kW in it; these settings what the run's own hours have, each weekday as in 2027."""
    result = asking(demand_window={"from": "10:00", "to": "12:00"}, year={"of": 2027})
    rows, _ = year_of(result)
    base, here, _ = rows["Mean load in the stated window"]
    assert base == "3 ± 0 kW"
    hours = np.mean([outcome.hours["energy_kwh"].reshape(7, 24) for outcome in week().outcomes], axis=0)
    # 365 days are 52 weeks and a Friday; the run begins on a Monday
    by_clock = (52 * hours.sum(axis=0) + hours[4]) / 365
    assert float(here.split()[0]) == pytest.approx(by_clock[10:12].mean(), abs=0.006)
    assert float(here.split()[0]) != pytest.approx(by_clock.mean(), abs=0.006)
    assert "Mean load in the stated window" not in year_of(asking(year={"of": 2027}))[0]


@pytest.mark.parametrize(
    ("load", "peaks"), [(0.5, "typical 12 months."), (3.0, "typical 11 months, summer 1 month.")]
)
def test_special_weeks_are_told_with_the_months_whose_peak_they_hold(load: float, peaks: str) -> None:
    """Two weeks of July, at half the load or at three times it: of the months July alone can be theirs."""
    summer = tuple(replace(one, quarter_kw=load * one.quarter_kw) for one in week().outcomes)
    result = replace(asking(year_weeks=SUMMER), special={"summer": summer})
    _, remarks = year_of(result)
    assert "typical 351 days, summer 14 days" in remarks
    assert peaks in remarks


def test_a_replayed_log_has_no_special_weeks() -> None:
    logged = replace(asking(year_weeks=SUMMER), source="replay")
    assert "On a replayed log the special weeks are not simulated" in year_of(logged)[1]
    assert "special weeks" not in year_of(replace(asking(carbon=CARBON), source="replay"))[1]


def test_prices_by_amount_are_told_to_count_on_the_meter() -> None:
    blocks = [{"above_kwh": 1000.0, "per_kwh": 0.05}]
    _, remarks = year_of(asking(tariff=TARIFF, energy_blocks=blocks))
    assert "Prices by how much a month uses count on the site's meter" in remarks
    assert "Prices by how much" not in year_of(asking(tariff=TARIFF))[1]


@pytest.mark.parametrize("tariff", [None, TARIFF])
def test_the_whole_site_with_and_without_money(tariff: dict[str, Any] | None) -> None:
    """An office of 2 kW from 7 to 18: 17 520 kWh always on, 8 030 kWh as it is; at 0.2 a kWh 1 898 saved."""
    office = [{"name": "office", "kw": 2.0, "from": "07:00", "to": "18:00"}]
    result = asking(offices=office) if tariff is None else asking(offices=office, tariff=tariff)
    section = site_section(money_of(result), result.scenario)
    assert section is not None
    row = next(row for row in section.rows if row[0] == "office, inside")
    assert row[1:5] == ("17,500 kWh", "8,030 kWh", "9,490 kWh", "54.2 %")
    assert row[5:] == (() if tariff is None else ("1,900",))
    assert section.header[5:] == (() if tariff is None else ("Saved, EUR",))
    assert len(section.remarks) == (1 if tariff is None else 2)


@pytest.mark.parametrize("rated", [None, 50_000.0])
def test_rated_switchings_are_told_where_they_are_stated(rated: float | None) -> None:
    proposal = PROPOSAL if rated is None else {**PROPOSAL, "rated_switchings": rated}
    result = asking(tariff=TARIFF, proposal=proposal)
    money = money_of(result)
    section = worth_section(money, result.scenario)
    assert section is not None
    rows = dict(section.rows)
    assert ("Rated switchings last" in rows) == (rated is not None)
    if rated is not None:
        # the busiest zone of a week of 7 days, over 365 days
        ups = np.mean([outcome.zones["switch_ups"] for outcome in week().outcomes], axis=0).max()
        years = float(rows["Rated switchings last"].split()[0])
        assert years == pytest.approx(rated / (ups / 7.0 * 365.0), rel=0.005)


@pytest.mark.parametrize(("watts", "is_told"), [(100.0, True), (300.0, False)])
def test_an_older_edition_grants_nothing_below_its_density(watts: float, is_told: bool) -> None:
    """30 luminaires over 900 m2: 3.33 W/m2 at 100 W, 10 W/m2 at 300 W; NECB 2015 as coded: 8.6 W/m2."""
    lamps = {"per_aisle": 10, "full_w": watts}
    result = run(make_scenario(days=7.0, replications=1, carbon=CARBON, luminaires=lamps))
    section = deemed_section(money_of(result), result.scenario)
    assert section is not None
    assert any("grants nothing up to 8.6 W/m2" in remark for remark in section.remarks) == is_told


@pytest.mark.parametrize("least", [0.0, 300.0])
def test_months_are_drawn_as_they_are_billed(least: float) -> None:
    """Without demand a bar a month and side; with a least bill a mark at what each side then costs."""
    result = asking(tariff={**TARIFF, "minimum_per_month": least})
    money = money_of(result)
    assert money.months is not None
    here, base = money.months
    figure = draw_months(money, "EUR")
    (axes,) = figure.axes
    heights = [bar.get_height() for bar in axes.patches]
    assert heights == pytest.approx([*base.energy, *here.energy])
    marks = [line.get_ydata() for line in axes.lines]
    told = [text.get_text() for legend in (axes.get_legend(),) if legend for text in legend.get_texts()]
    if least:
        assert [mark.tolist() for mark in marks] == [base.cost.tolist(), here.cost.tolist()]
        # nothing else stands behind the meter: 300 are due without any light, so the lights cost the rest
        for bill in (here, base):
            assert bill.cost == pytest.approx(np.maximum(bill.energy - least, 0.0), abs=1e-9)
        assert (base.cost > 0.0).all()
        assert told == ["baseline, energy", "here, energy", "with the least bill"]
    else:
        assert marks == []
        assert told == ["baseline, energy", "these settings, energy"]


def sheet_of(**tables: Any) -> Worksheet:
    """The worksheet of the same week."""
    return make_worksheet(asking(**tables))


def lines_of(sheet: Worksheet, section: str) -> dict[str, tuple[str, str, str]]:
    """Value, method and source by name of a section's lines."""
    lines = (one for one in sheet_lines(sheet) if one.section == section)
    return {one.what: (one.text, one.method, one.source) for one in lines}


def test_a_sheet_says_what_heat_costs() -> None:
    """COP 2: each kilowatt-hour of light counts 1 + 1/2 times."""
    text, method, _ = lines_of(sheet_of(store={"cooling_cop": 2.0}), "Lights")["each kWh of light counts"]
    assert float(text) == 1.5
    assert "1 + 1/COP" in method
    assert "each kWh of light counts" not in lines_of(sheet_of(), "Lights")


def test_a_sheet_tells_the_load_in_the_utilitys_window() -> None:
    """Where always on saves more than the code minimum its figure stands in brackets, as its energy does."""
    sheet = sheet_of(demand_window={"from": "10:00", "to": "12:00"}, year={"of": 2027})
    what = "saved load in the utility's window"
    told = {one.section: one for one in sheet_lines(sheet) if one.what == what}
    assert set(told) == {"Against always on", "Against schedule only", "Against code minimum"}
    _, here, _ = year_of(asking(demand_window={"from": "10:00", "to": "12:00"}, year={"of": 2027}))[0][
        "Mean load in the stated window"
    ]
    always = told["Against always on"]
    assert always.estimate.mean == pytest.approx(3.0 - float(here.split()[0]), abs=0.006)
    assert always.is_struck
    assert not told["Against code minimum"].is_struck
    assert what not in lines_of(sheet_of(), "Against always on")


@pytest.mark.parametrize(
    ("rebate", "wanted", "scale"),
    [
        ({}, set(), None),
        ({"net_to_gross": 0.9, "net_to_gross_source": "p. 5"}, {"net over gross"}, None),
        (
            {"measure_life_years": 8.0, "measure_life_years_source": "p. 4"},
            {"measure life", "saved by controls over the measure's life"}, 8.0,
        ),
        (
            {"measure_life_years": 8.0, "measure_life_years_source": "p. 4", "net_to_gross": 0.9,
             "net_to_gross_source": "p. 5"},
            {"measure life", "net over gross", "saved by controls over the measure's life"}, 7.2,
        ),
    ],
)
def test_a_sheet_counts_over_the_life_that_is_stated(
    rebate: dict[str, Any], wanted: set[str], scale: float | None
) -> None:
    sheet = sheet_of(rebate=rebate)
    lines = lines_of(sheet, "What counts")
    year = {"from always on to the code minimum", "saved in a year by controls, beyond the code minimum"}
    assert set(lines) == year | wanted
    if scale is not None:
        rows = {row[1]: row for row in sheet_csv(sheet)}
        life = rows["saved by controls over the measure's life"]
        counted = rows["saved in a year by controls, beyond the code minimum"]
        assert float(life[2]) == pytest.approx(scale * float(counted[2]))
        assert life[6] == "saved in a year x measure life" + (" x net over gross" if scale == 7.2 else "")


def test_a_programmes_own_coincidence_stands_with_its_source() -> None:
    own = sheet_of(rebate={"coincidence": 0.5, "coincidence_source": "manual, p. 10"})
    name = next(one.section for one in sheet_lines(own) if one.section.startswith("Deemed"))
    assert lines_of(own, name)["saved load at the peak"][1:] == ("x coincidence 0.5", "manual, p. 10")
    # else the handbook's: 0.198 in summer
    _, method, source = lines_of(sheet_of(), name)["saved load at the peak"]
    assert (method, source) == ("x coincidence 0.198", "summer, assessment centre handbook")


def test_controls_that_save_less_than_the_code_are_said_to_count_for_nothing() -> None:
    """Lights that stay at full use more than the code minimum, so that what counts is below nothing."""
    bright = {"settings": {name: {"unoccupied_level": 1.0, "timeout_s": 60} for name in ("day", "night")}}
    sheet = make_worksheet(run(make_scenario(days=7.0, replications=1, lighting=bright)))
    assert (sheet.counted_kwh.mean or 0.0) < 0.0
    assert any(text.startswith("Nothing counts") for text in sheet_notices(sheet))
    saved = replace(sheet, counted_kwh=Estimate(1.0, None))
    assert not any(text.startswith("Nothing counts") for text in sheet_notices(saved))
