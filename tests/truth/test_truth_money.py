"""Bills, worth and credits against closed forms, the calendar, numpy-financial and published factors."""

from __future__ import annotations

import datetime as dt
import math

import numpy as np
import numpy_financial
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.floor.layout import lay_out
from sim.lighting.timetable import place_programs
from sim.outcome import credits
from sim.outcome.finance import cash_flows, internal_rate, net_present_value, simple_payback, tonnes
from sim.outcome.tariff import Bill, bill_lights, billed_demand, price_year
from sim.outcome.year_load import QUARTERS_A_WEEK, baseline_kw, repeat_weeks, year_clock
from sim.scenario.schema import Scenario
from sim.scenario.tables.money import Tariff
from sim.show.words.money import carbon_text
from sim.study.replications.replicate import run
from sim.study.year.money import count_money, interactive_factor
from tests.show.made_results import make_scenario

POUND_KG = 0.45359237
"""International yard and pound agreement, 1959."""


def site(**changes: object) -> Scenario:
    """A week's site with a flat tariff of 0.20 unless told otherwise."""
    tariff = {"currency": "EUR", "per_kwh": 0.2, **changes.pop("tariff", {})}  # type: ignore[dict-item]
    return make_scenario(days=7.0, tariff=tariff, **changes)


def bill(load_kw: np.ndarray, scenario: Scenario, year: int = 2027) -> Bill:
    """The bill of a year's load."""
    assert scenario.tariff is not None
    return bill_lights(load_kw, price_year(scenario, scenario.tariff, year_clock(year)))


@pytest.mark.parametrize(("year", "hours"), [(2027, 8760), (2028, 8784)])
def test_flat_price_of_a_constant_load(year: int, hours: int) -> None:
    """10 kW for every hour of the year at 0.20: 17 520 in a common year."""
    found = bill(np.full(hours * 4, 10.0), site(), year)
    assert found.kwh.sum() == pytest.approx(10.0 * hours)
    assert found.cost.sum() == pytest.approx(2.0 * hours)
    assert found.kwh[1] == pytest.approx(10.0 * 24 * (29 if year == 2028 else 28))


def test_time_of_use_counts_the_hours_of_the_calendar() -> None:
    """Workdays 12 to 18 in June to September at 0.50: NumPy counts the workdays."""
    row = {
        "months": [6, 7, 8, 9], "days": ["Mon", "Tue", "Wed", "Thu", "Fri"], "from": "12:00", "to": "18:00",
        "per_kwh": 0.5,
    }
    found = bill(np.full(8760 * 4, 1.0), site(energy_prices=[row]))
    dear = 6 * int(np.busday_count("2027-06-01", "2027-10-01"))
    assert found.energy.sum() == pytest.approx(0.5 * dear + 0.2 * (8760 - dear))
    all_year = bill(np.full(8760 * 4, 1.0), site(energy_prices=[{**row, "months": list(range(1, 13))}]))
    assert all_year.energy.sum() != pytest.approx(found.energy.sum())


def test_hours_past_midnight_belong_to_the_day_they_begin() -> None:
    """Friday 22:00 to 06:00: 52 or 53 Fridays of 2 h and as many Saturdays of 6 h."""
    row = {"days": ["Fri"], "from": "22:00", "to": "06:00", "per_kwh": 0.0}
    found = bill(np.full(8760 * 4, 1.0), site(energy_prices=[row]))
    days = [dt.date(2027, 1, 1) + dt.timedelta(days=day) for day in range(365)]
    free = sum(2 * (day.weekday() == 4) + 6 * (day.weekday() == 5) for day in days)
    assert found.energy.sum() == pytest.approx(0.2 * (8760 - free))


def spike(kw: float, quarter: int, length: int = 1) -> np.ndarray:
    """A load of 10 kW with one spike in a year."""
    load = np.full(8760 * 4, 10.0)
    load[quarter : quarter + length] = kw
    return load


def test_demand_over_a_quarter_and_half_an_hour() -> None:
    """One quarter-hour at 50 kW beside 10 kW: 50 kW over 15 min, 30 kW over 30 min; 4 a kW."""
    charge = [{"per_kw": 4.0}]
    at = 40 * 96 + 48  # 10 February, noon
    quarter = bill(spike(50.0, at), site(demand_charges=charge))
    half = bill(spike(50.0, at), site(demand_charges=charge, tariff={"demand_interval_min": 30}))
    assert quarter.demand.tolist() == [40.0, 200.0] + [40.0] * 10
    assert half.demand.tolist() == [40.0, 120.0] + [40.0] * 10


def test_demand_is_that_of_the_site_meter() -> None:
    """Site 100 kW from 8 to 9, else 20; lights 10 kW by day and night: they count 10 kW at the site's peak.

    Lights that burn 30 kW at 3 at night, when the site draws 20, move the meter's peak of 110 kW by nothing;
    a charge on the lights' own peak would ask for 30.
    """
    hourly = [20.0] * 24
    hourly[8] = 100.0
    load = [{"kw": hourly}]
    scenario = site(demand_charges=[{"per_kw": 2.0}], site_load=load)
    steady = bill(np.full(8760 * 4, 10.0), scenario)
    night = bill(spike(30.0, 12), scenario)
    assert steady.demand.tolist() == pytest.approx([20.0] * 12)
    assert night.demand.tolist() == pytest.approx([20.0] * 12)
    assert steady.peak_kw.tolist() == pytest.approx([110.0] * 12)
    alone = bill(spike(30.0, 12), site(demand_charges=[{"per_kw": 2.0}]))
    assert alone.demand[0] == pytest.approx(60.0)


def test_demand_in_its_hours_and_months() -> None:
    """A charge for 12 to 18 in summer does not see a spike at 8, nor one in winter."""
    charge = [{"months": [6, 7, 8], "from": "12:00", "to": "18:00", "per_kw": 1.0}]
    july = (dt.date(2027, 7, 6) - dt.date(2027, 1, 1)).days * 96
    scenario = site(demand_charges=charge)
    assert bill(spike(90.0, july + 32), scenario).demand.sum() == pytest.approx(30.0)
    assert bill(spike(90.0, july + 52), scenario).demand.sum() == pytest.approx(110.0)
    assert bill(spike(90.0, 52), scenario).demand.sum() == pytest.approx(30.0)


def test_ratchet() -> None:
    """80 % of the highest of the eleven months before: 100 kW in July keeps every other month at 80."""
    peaks = np.full(12, 40.0)
    peaks[6] = 100.0
    tariff = Tariff(currency="EUR", per_kwh=0.1, ratchet_share=0.8)
    assert billed_demand(peaks, tariff).tolist() == [80.0] * 6 + [100.0] + [80.0] * 5
    short = tariff.model_copy(update={"ratchet_months": 2})
    assert billed_demand(peaks, short).tolist() == [40.0] * 6 + [100.0, 80.0, 80.0] + [40.0] * 3
    assert billed_demand(peaks, tariff.model_copy(update={"ratchet_share": None})) is peaks


@settings(max_examples=20, deadline=None)
@given(
    start=st.datetimes(dt.datetime(2026, 1, 1), dt.datetime(2028, 12, 1)),
    year=st.integers(2024, 2030),
    weeks=st.integers(1, 3),
)
def test_a_year_keeps_weekday_and_time_of_day(start: dt.datetime, year: int, weeks: int) -> None:
    """Each quarter-hour carries its minute of the week; Python's calendar reads it back."""
    start = start.replace(minute=start.minute // 15 * 15, second=0, microsecond=0)
    moments = [start + dt.timedelta(minutes=15 * step) for step in range(weeks * QUARTERS_A_WEEK)]

    def marks(times: list[dt.datetime]) -> np.ndarray:
        return np.array([time.weekday() * 1440.0 + time.hour * 60 + time.minute for time in times])

    clock = year_clock(year)
    found = repeat_weeks(marks(moments), start, clock)
    first = dt.datetime(year, 1, 1)
    expected = marks([first + dt.timedelta(minutes=15 * step) for step in range(len(clock))])
    assert found.tolist() == expected.tolist()
    shifted = repeat_weeks(marks(moments), start + dt.timedelta(hours=1), clock)
    assert shifted.tolist() != expected.tolist()


@pytest.fixture(scope="module")
def week_run():
    """A simulated week with a tariff, carbon and a proposal."""
    scenario = site(
        carbon={"g_per_kwh": 348.0, "year": 2023, "kind": "average", "source": "EPA"},
        proposal={
            "cost_per_luminaire": 50.0, "cost_per_sensor": 20.0, "cost_fixed": 100.0, "rebate": 30.0,
            "years": 10, "discount_rate": 0.05, "maintenance_per_year": 5.0,
        },
    )
    return run(scenario, replications=3)


def test_baselines_are_those_of_the_books(week_run) -> None:
    """Three sums of quarter-hours against the outcomes, which another engine integrates."""
    scenario, layout = week_run.scenario, lay_out(week_run.scenario)
    outcome = week_run.outcomes[0]
    for name in ("always_on", "schedule_only", "code_minimum"):
        load = baseline_kw(
            name, layout, place_programs(scenario), outcome.hours["code_minimum_kwh"], QUARTERS_A_WEEK
        )
        assert load.sum() * 0.25 == pytest.approx(outcome.total[f"{name}_kwh"], rel=1e-9)


def test_a_run_as_a_year(week_run) -> None:
    """One week repeated: 365 days are 52 weeks and the Friday; with 0.20 a kWh money follows energy."""
    money = count_money(week_run)
    assert money is not None
    assert money.cost is not None
    assert money.carbon_t is not None
    weekly = np.mean([outcome.total["energy_kwh"] for outcome in week_run.outcomes])
    friday = np.mean([outcome.hours["energy_kwh"][96:120].sum() for outcome in week_run.outcomes])
    assert money.kwh.here.mean == pytest.approx(52.0 * weekly + friday)
    assert money.cost.here.mean == pytest.approx(0.2 * money.kwh.here.mean)
    assert money.kwh.baseline.mean == pytest.approx(3.0 * 8760.0)  # 30 luminaires of 100 W, always on
    assert money.carbon_t.saved.mean == pytest.approx(money.kwh.saved.mean * 348e-6)


def test_worth_of_a_run(week_run) -> None:
    """30 luminaires at 50, 6 sensors at 20, 100 fixed, 30 back: 1690; NPV and IRR by numpy-financial."""
    money = count_money(week_run)
    assert money is not None
    worth = money.worth
    assert worth is not None
    assert worth.outlay == pytest.approx(30 * 50.0 + 6 * 20.0 + 100.0 - 30.0)
    saving = money.cost.saved.mean - 5.0
    assert worth.flows == pytest.approx((-1690.0, *[saving] * 10))
    assert worth.present_value.mean == pytest.approx(numpy_financial.npv(0.05, worth.flows))
    assert worth.rate == pytest.approx(numpy_financial.irr(worth.flows))
    assert worth.payback_years == pytest.approx(1690.0 / saving)


@settings(max_examples=60, deadline=None)
@given(
    outlay=st.floats(100.0, 1e6),
    share=st.floats(0.05, 1.5),
    years=st.integers(1, 30),
    rise=st.floats(-0.1, 0.1),
    rate=st.floats(0.0, 0.3),
)
def test_worth_against_numpy_financial(
    outlay: float, share: float, years: int, rise: float, rate: float
) -> None:
    flows = cash_flows(outlay, share * outlay, 0.0, years, rise)
    theirs = numpy_financial.npv(rate, flows)
    assert net_present_value(rate, flows) == pytest.approx(theirs, rel=1e-9, abs=1e-6)
    found = internal_rate(flows)
    assert found is not None
    assert net_present_value(found, flows) == pytest.approx(0.0, abs=1e-6 * outlay)
    theirs = numpy_financial.irr(flows)
    if not math.isnan(theirs) and theirs > -0.9:
        assert found == pytest.approx(theirs, abs=1e-6)


def test_published_examples() -> None:
    """numpy-financial's documented examples: NPV 3065.22267, IRR 0.28095."""
    assert net_present_value(0.08, [-40_000.0, 5_000.0, 8_000.0, 12_000.0, 30_000.0]) == pytest.approx(
        3065.22267, abs=5e-6
    )
    assert internal_rate([-100.0, 39.0, 59.0, 55.0, 20.0]) == pytest.approx(0.28095, abs=5e-6)


def test_annuity_factor_of_the_textbooks() -> None:
    """PV of 1 a year for 10 years at 8 % is 6.7101 (any table of annuities); with 7 % it is not."""
    flows = [0.0] + [1.0] * 10
    assert net_present_value(0.08, flows) == pytest.approx(6.7101, abs=5e-5)
    assert net_present_value(0.07, flows) != pytest.approx(6.7101, abs=5e-5)


def test_no_rate_where_there_is_none() -> None:
    assert internal_rate([-100.0, -1.0, -1.0]) is None
    assert internal_rate([-100.0, 230.0, -132.0]) is None  # two rates, 10 and 20 %
    # C back for 1 after a year is a rate of C - 1, told up to 1,000,000
    assert internal_rate([-1.0, 1e6]) == pytest.approx(999_999.0)
    assert internal_rate([-1.0, 1e7]) is None
    assert simple_payback(100.0, -1.0) is None
    assert simple_payback(-5.0, 1.0) == simple_payback(0.0, -1.0) == 0.0
    assert simple_payback(1000.0, 250.0) == 4.0


@pytest.mark.parametrize(
    ("g_per_kwh", "shown"),
    [(823.1 * POUND_KG, "5.2 t"), (0.86 * POUND_KG * 1000.0, "5.4 t"), (348.0, "4.8 t")],
)
def test_carbon_in_two_figures(g_per_kwh: float, shown: str) -> None:
    """13 903 kWh by eGRID2022 (823.1 lb/MWh), EIA 2022 (0.86 lb/kWh), eGRID2023 (348 g/kWh)."""
    assert carbon_text(tonnes(13_903.0, g_per_kwh)) == shown


def test_heat_in_a_cold_store() -> None:
    """COP 2: each kilowatt-hour of light costs half a kilowatt-hour more; unheated stores count it once."""
    assert interactive_factor(site()) == 1.0
    assert interactive_factor(site(store={"cooling_cop": 2.0})) == 1.5


def test_credit_of_the_modelling_rules() -> None:
    """90.1, Table G3.7: 0.80 becomes 0.44 with a sensor (x 0.55), 0.35 with partial on (x 0.4375)."""
    assert credits.g37_schedule(0.80) == pytest.approx(0.44)
    assert credits.g37_schedule(0.80, "partial") == pytest.approx(0.35)


def test_canadian_occupancy_factor() -> None:
    """NECB 4.3.2.10: 0.83 partial off, 0.665 full off, 0.625 full off with partial on; no absence: 1."""
    assert credits.necb_occupancy_factor("partial off") == pytest.approx(0.83)
    assert credits.necb_occupancy_factor("full off, full on") == pytest.approx(0.665)
    assert credits.necb_occupancy_factor("full off, partial on") == pytest.approx(0.625)
    assert credits.necb_occupancy_factor("partial off", absence=0.0) == 1.0
    at_limit = 0.799256505 / 0.3048**2
    assert credits.necb_occupancy_factor("partial off", w_per_m2=0.79 / 0.3048**2) == 1.0
    assert credits.necb_occupancy_factor("partial off", w_per_m2=at_limit + 0.01) == pytest.approx(0.83)


@pytest.mark.parametrize(
    ("absence", "control", "factor"),
    [
        (0.4, 0.95, 0.75), (0.4, 0.90, 0.70), (0.4, 0.80, 0.60), (0.1, 0.90, 0.95), (0.95, 0.90, 0.10),
        (0.0, 0.9, 1.0), (1.0, 0.9, 0.0),
    ],
)
def test_european_occupancy_factor(absence: float, control: float, factor: float) -> None:
    """EN 15193:2007, Annex D; the formula is from memory."""
    assert credits.en15193_occupancy_factor(absence, control) == pytest.approx(factor)


@given(control=st.floats(0.8, 1.0), absence=st.floats(0.0, 1.0), step=st.floats(0.0, 0.2))
def test_european_factor_falls_with_absence(control: float, absence: float, step: float) -> None:
    """Continuous at 0.2 and 0.9, never rising with absence, never falling with the control's factor."""
    factor = credits.en15193_occupancy_factor
    for border in (0.2, 0.9):
        assert factor(border - 1e-12, control) == pytest.approx(factor(border, control), abs=1e-9)
    assert factor(min(1.0, absence + step), control) <= factor(absence, control) + 1e-12
    assert factor(absence, 0.8) <= factor(absence, control) + 1e-12


def test_deemed_savings() -> None:
    """10 kW, 5793 h, 0.24: 13 903 kWh, 0.475 kW in summer (0.198), 0.413 in winter (0.172)."""
    assert credits.deemed_kwh(10.0, 5793.0, 0.24) == pytest.approx(13_903.0, abs=0.5)
    assert credits.deemed_kw(10.0, 0.24, 0.198) == pytest.approx(0.475, abs=5e-4)
    assert credits.deemed_kw(10.0, 0.24, 0.172) == pytest.approx(0.413, abs=5e-4)
    assert credits.deemed_kwh(10.0, 5793.0, 0.49, 0.24) == pytest.approx(14_483.0, abs=0.5)


def test_control_savings_factor() -> None:
    """UMP chapter 3: 8760 h at a mean power of 0.40 leave 3504 h, so 0.60."""
    assert credits.control_savings_factor(8760.0, 0.40 * 8760.0) == pytest.approx(0.60)
