"""Loads behind the meter by the calendar, charges that add up, intervals at the edge of their hours."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np
import pytest

from sim.outcome.tariff import bill_lights, bill_meter, monthly_peaks, price_year, site_load_kw
from sim.outcome.year_load import repeat_weeks, year_clock
from sim.scenario.tables.money import DemandCharge, SiteLoad
from tests.show.made_results import make_scenario

CLOCK = year_clock(2027)
QUARTERS = [dt.datetime(2027, 1, 1) + dt.timedelta(minutes=15 * step) for step in range(365 * 96)]
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
JULY = (dt.date(2027, 7, 6) - dt.date(2027, 1, 1)).days * 96


def test_what_else_runs_behind_the_meter() -> None:
    """Workdays k kW in hour k, Sundays 50 kW, Saturdays nothing: by Python's calendar, hour after hour."""
    rows = [
        SiteLoad(days=DAYS[:5], kw=tuple(float(hour) for hour in range(24))),
        SiteLoad(days=("Sun",), kw=50.0),
    ]
    wanted = [
        float(time.hour) if time.weekday() < 5 else 50.0 if time.weekday() == 6 else 0.0 for time in QUARTERS
    ]
    assert site_load_kw(rows, CLOCK).tolist() == wanted
    assert site_load_kw(rows[:1], CLOCK).tolist() != wanted
    assert site_load_kw([], CLOCK).tolist() == [0.0] * len(QUARTERS)


def test_a_year_is_not_made_of_less_than_a_week() -> None:
    """671 quarter-hours are one too few, 672 a week."""
    monday = dt.datetime(2027, 3, 1)
    with pytest.raises(AssertionError, match=r"^a year needs a whole week$"):
        repeat_weeks(np.ones(671), monday, CLOCK)
    assert repeat_weeks(np.ones(672), monday, CLOCK).sum() == 365 * 96


def meter(load_kw: np.ndarray, **changes: Any) -> list[float]:
    """Demand charges of a load, month by month."""
    scenario = make_scenario(days=7.0, tariff={"currency": "EUR", "per_kwh": 0.2}, **changes)
    assert scenario.tariff is not None
    return bill_meter(load_kw, price_year(scenario, scenario.tariff, CLOCK)).demand.tolist()


def test_charges_of_a_month_add_up() -> None:
    """10 kW: 3 a kW all year, 2 more in winter, 4 more from 8 to 18 in July: 50, 30, 70."""
    charges = [
        {"per_kw": 3.0}, {"per_kw": 2.0, "months": [11, 12, 1, 2]},
        {"per_kw": 4.0, "months": [7], "from": "08:00", "to": "18:00"},
    ]
    found = meter(np.full(365 * 96, 10.0), demand_charges=charges)
    assert found == pytest.approx([50.0, 50.0, *[30.0] * 4, 70.0, 30.0, 30.0, 30.0, 50.0, 50.0])
    assert meter(np.full(365 * 96, 10.0), demand_charges=charges[:2])[6] == pytest.approx(30.0)


@pytest.mark.parametrize(
    ("at", "minutes", "peak_kw"),
    [
        (49, 15, 50.0), (48, 15, 10.0), (49, 30, 10.0), (50, 30, 30.0), (71, 15, 50.0), (71, 30, 30.0),
        (72, 15, 10.0),
    ],
)
def test_an_interval_counts_where_all_of_it_is_in_the_hours(at: int, minutes: int, peak_kw: float) -> None:
    """Hours from 12:15 to 18:00; 50 kW in one quarter-hour of a July day, 10 kW else.

    The half-hour from 12:00 lies outside though its second quarter is inside.
    """
    load = np.full(365 * 96, 10.0)
    load[JULY + at] = 50.0
    charge = DemandCharge.model_validate({"per_kw": 1.0, "from": "12:15", "to": "18:00", "months": [7]})
    found = monthly_peaks(load, CLOCK, charge, minutes)
    assert found.tolist() == [*[10.0] * 6, peak_kw, *[10.0] * 5]
    every = monthly_peaks(load, CLOCK, None, minutes)
    assert every[6] == (50.0 if minutes == 15 else 30.0)


def test_the_lights_share_of_every_charge() -> None:
    """Site 30 kW, lights 10 kW, 31 days: 7440 kWh at 0.20; 2 a kW; a least bill of 6000 a month.

    Without the lights 22 320 kWh are 4464 + 60 = 4524, lifted by 1476; with them 29 760 kWh are 5952 + 80 =
    6032, lifted by nothing: the lights cost 1488 + 20 - 1476 = 32.
    """
    scenario = make_scenario(
        days=7.0, tariff={"currency": "EUR", "per_kwh": 0.2, "minimum_per_month": 6000.0},
        demand_charges=[{"per_kw": 2.0}], site_load=[{"kw": 30.0}],
    )
    assert scenario.tariff is not None
    others = [np.full(365 * 96, 3.0)]
    found = bill_lights(np.full(365 * 96, 10.0), price_year(scenario, scenario.tariff, CLOCK))
    names = "kwh", "energy", "demand", "lift", "peak_kw", "site"
    january = [float(vars(found)[name][0]) for name in names]
    assert january == pytest.approx([7440.0, 1488.0, 20.0, -1476.0, 40.0, 6032.0])
    assert found.cost[0] == pytest.approx(32.0)
    more = price_year(scenario, scenario.tariff, CLOCK, others)
    assert more.site_kw.tolist() == [33.0] * (365 * 96)
    assert bill_lights(np.full(365 * 96, 10.0), more).peak_kw[0] == pytest.approx(43.0)
