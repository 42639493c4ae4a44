"""Blocks of energy, fixed fees, a least bill and a partly cold site against bills worked by hand.

A common year, 2027: months of 744, 672, 744, 720, ... h.  The lights' part of a bill is the meter's bill with
them less the bill without, so what is worked by hand is both bills.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.outcome.tariff import Bill, MeterBill, bill_lights, bill_meter, price_year
from sim.outcome.year_load import year_clock
from sim.scenario.schema import Scenario
from sim.study.replications.replicate import run
from sim.study.year.money import count_money, interactive_factor
from tests.show.made_results import make_scenario

HOURS = np.array([31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) * 24.0
YEAR = 8760 * 4


def site(**changes: object) -> Scenario:
    """A week's site with a flat tariff of 0.20 unless told otherwise."""
    tariff = {"currency": "EUR", "per_kwh": 0.2, **changes.pop("tariff", {})}  # type: ignore[dict-item]
    return make_scenario(days=7.0, tariff=tariff, **changes)


def bill(kw: float, scenario: Scenario) -> Bill:
    """Lights that draw the same at all times."""
    assert scenario.tariff is not None
    return bill_lights(np.full(YEAR, kw), price_year(scenario, scenario.tariff, year_clock(2027)))


def meter(kw: float, scenario: Scenario) -> MeterBill:
    """A meter with the same load at all times."""
    assert scenario.tariff is not None
    return bill_meter(np.full(YEAR, kw), price_year(scenario, scenario.tariff, year_clock(2027)))


BLOCKS = [{"above_kwh": 5000.0, "per_kwh": 0.03}, {"above_kwh": 10_000.0, "per_kwh": 0.02}]


def test_blocks_of_a_meter_by_hand() -> None:
    """20 kW in January: 14 880 kWh at 0.20 are 2976.00; 9880 above 5000 at 0.03 are 296.40; 4880 above
    10 000 at 0.02 are 97.60: 3370.00 in all.  5 kW are 3720 kWh, below the first block: 744.00.
    """
    scenario = site(energy_blocks=BLOCKS)
    assert meter(20.0, scenario).total[0] == pytest.approx(3370.00)
    assert meter(5.0, scenario).total[0] == pytest.approx(744.00)
    assert meter(20.0, site()).total[0] == pytest.approx(2976.00)


def test_lights_fill_the_blocks_that_the_site_has_begun() -> None:
    """Site 10 kW, lights 10 kW, January: with 14 880 kWh, without 7440.

    Without: 7440 x 0.20 + 2440 x 0.03 = 1561.20.  With: 3370.00.  The lights' part is 1808.80; alone on a
    meter they would cost 1561.20.
    """
    behind = [{"kw": 10.0}]
    shared = bill(10.0, site(energy_blocks=BLOCKS, site_load=behind))
    assert shared.cost[0] == pytest.approx(1808.80)
    assert shared.site[0] == pytest.approx(3370.00)
    assert bill(10.0, site(energy_blocks=BLOCKS)).cost[0] == pytest.approx(1561.20)


def test_a_cheaper_first_block_in_summer() -> None:
    """A baseline credit: 0.06 less from the first kilowatt-hour, 0.06 more above 3000: in months 6 to 9."""
    rows = [
        {"above_kwh": 0.0, "per_kwh": -0.06, "months": [6, 7, 8, 9]},
        {"above_kwh": 3000.0, "per_kwh": 0.06, "months": [6, 7, 8, 9]},
    ]
    found = meter(10.0, site(energy_blocks=rows)).blocks
    assert found[[5, 6, 7, 8]] == pytest.approx([-180.0] * 4)  # 7200 or 7440 kWh: -0.06 x 3000
    assert found[[0, 1, 2, 3, 4, 9, 10, 11]].tolist() == [0.0] * 8


def test_fixed_fees_are_in_the_whole_bill_alone() -> None:
    """12 a month and 0.50 a day: January 27.50, February 26.00; the lights' part does not change."""
    tariff = {"fixed_per_month": 12.0, "fixed_per_day": 0.5}
    with_fees, without = bill(10.0, site(tariff=tariff)), bill(10.0, site())
    assert (with_fees.site - without.site)[:2] == pytest.approx([27.50, 26.00])
    assert (with_fees.site - without.site).sum() == pytest.approx(12 * 12.0 + 365 * 0.5)
    assert with_fees.cost.tolist() == without.cost.tolist()


def test_least_bill_by_hand() -> None:
    """At least 1000 a month, 40 fixed, site 4 kW, lights 2 kW; January, 744 h at 0.20.

    Without the lights 595.20 + 40 = 635.20, lifted to 1000; with them 892.80 + 40 = 932.80, lifted to 1000
    too: the lights cost nothing.  With 4 kW of lights 1190.40 + 40 = 1230.40: they cost 230.40, not 595.20.
    """
    tariff = {"minimum_per_month": 1000.0, "fixed_per_month": 40.0}
    scenario = site(tariff=tariff, site_load=[{"kw": 4.0}])
    assert bill(2.0, scenario).cost[0] == pytest.approx(0.0, abs=1e-6)
    assert bill(4.0, scenario).cost[0] == pytest.approx(230.40)
    assert bill(4.0, scenario).lift[0] == pytest.approx(-364.80)
    assert bill(4.0, site(site_load=[{"kw": 4.0}])).cost[0] == pytest.approx(595.20)


def test_a_least_bill_counts_all_charges() -> None:
    """A demand charge of 30 a kW on 10 kW is 300; with 1488.00 of energy 1788.00, above a least of 1700."""
    changes = {"demand_charges": [{"per_kw": 30.0}], "tariff": {"minimum_per_month": 1700.0}}
    assert meter(10.0, site(**changes)).lift[0] == 0.0
    assert meter(10.0, site(tariff={"minimum_per_month": 1700.0})).lift[0] == pytest.approx(212.0)


@settings(max_examples=40, deadline=None)
@given(
    kw=st.floats(0.0, 60.0), behind=st.floats(0.0, 60.0), least=st.floats(0.0, 5000.0),
    above=st.floats(0.0, 20_000.0), more=st.floats(-0.1, 0.2),
)
def test_the_lights_part_is_a_difference_of_two_meters(
    kw: float, behind: float, least: float, above: float, more: float
) -> None:
    """Computed the short way; the long way is two whole bills."""
    scenario = site(
        tariff={"minimum_per_month": least, "fixed_per_day": 1.0}, demand_charges=[{"per_kw": 5.0}],
        energy_blocks=[{"above_kwh": above, "per_kwh": more}], site_load=[{"kw": behind}],
    )
    expected = meter(kw + behind, scenario).total - meter(behind, scenario).total
    assert bill(kw, scenario).cost == pytest.approx(expected, abs=1e-6)
    assert bill(kw, scenario).site == pytest.approx(meter(kw + behind, scenario).total)


COLD = {"cooling_cop": 2.0, "aisles": ["A01"]}


def test_only_some_aisles_are_cold() -> None:
    """A01 has 20 luminaires of 100 W, the others 10 each: half the power, so 1 + 0.5 / 2 on the mean."""
    override = [{"aisles": ["A01"], "per_aisle": 20}]
    assert interactive_factor(site(store=COLD, override=override)) == pytest.approx(1.25)
    assert interactive_factor(site(store={"cooling_cop": 2.0}, override=override)) == 1.5


def test_a_year_with_one_cold_aisle() -> None:
    """Each replication by zone: cold A01 counts 1.5 times, the others once; baseline alike."""
    result = run(site(store=COLD), replications=2)
    money, plain = count_money(result), count_money(dataclasses.replace(result, scenario=site()))
    assert money is not None
    assert plain is not None
    assert money.kwh.baseline.mean == pytest.approx(8760.0 * (1.0 * 1.5 + 1.0 + 1.0))  # 3 aisles of 1 kW
    shares = [outcome.zones["energy_kwh"] for outcome in result.outcomes]
    factor = [(1.5 * zones[0] + zones[1] + zones[2]) / zones.sum() for zones in shares]
    one = dataclasses.replace(result, outcomes=result.outcomes[:1], scenario=site())
    first = count_money(one)
    cold = count_money(dataclasses.replace(one, scenario=site(store=COLD)))
    assert first is not None
    assert cold is not None
    assert cold.kwh.here.mean == pytest.approx(factor[0] * first.kwh.here.mean)
    assert cold.kwh.here.mean != pytest.approx(1.5 * first.kwh.here.mean, rel=0.01)
    assert plain.factor == 1.0
