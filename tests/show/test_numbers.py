"""Numbers behind the pictures of a whole run, against results made by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.replication import prepare_site, run_replication
from sim.results import Result
from sim.show.numbers.run import MOST_AISLES, aisle_numbers, always_on_kw, power_numbers, week_numbers
from sim.study.replications.precision import estimate_mean
from tests.show.made_results import make_result, make_scenario

FULL_KW = 3.0  # 3 aisles of 10 luminaires of 100 W


def with_quarters(result: Result, *quarters: np.ndarray) -> Result:
    """The result with other loads."""
    pairs = zip(result.outcomes, quarters, strict=True)
    return replace(result, outcomes=tuple(replace(outcome, quarter_kw=kw) for outcome, kw in pairs))


def with_zones(result: Result, **columns: list[float]) -> Result:
    """The result with other outcomes by zone, the same in every replication."""
    changed = {name: np.array(column) for name, column in columns.items()}
    outcomes = tuple(replace(outcome, zones={**outcome.zones, **changed}) for outcome in result.outcomes)
    return replace(result, outcomes=outcomes)


def test_power_is_the_mean_with_the_band_of_replications():
    numbers = power_numbers(with_quarters(make_result(), np.full(96, 1.0), np.full(96, 2.0)))
    assert numbers.edge_s.tolist() == [900.0 * k for k in range(97)]
    assert numbers.mean_kw.tolist() == [1.5] * 96
    assert (numbers.low_kw[5], numbers.high_kw[5]) == (1.0, 2.0)
    assert numbers.always_on_kw == pytest.approx(FULL_KW)


def test_schedule_only_follows_the_timetable_at_its_borders():
    # night is 50 % until 06:00 and from 22:00, day is 100 %; power is linear without standby
    numbers = power_numbers(make_result())
    assert numbers.schedule_edge_s.tolist() == [0.0, 21_600.0, 79_200.0, 86_400.0]
    assert numbers.schedule_kw.tolist() == pytest.approx([1.5, 3.0, 1.5])


def test_a_cut_quarter_shows_the_load_within_the_run():
    # from 21:20 for one hour: the first and the last quarter-hour are 10 and 5 minutes of the run;
    # quarter_kw is the mean over the whole quarter-hour, so 2 kW drawn throughout give 2 x 10/15 and 2 x 5/15
    result = make_result(make_scenario(days=1 / 24, start="2027-03-03T21:20"), factors=(1.0,))
    result = with_quarters(result, np.array([2 * 10 / 15, 2.0, 2.0, 2.0, 2 * 5 / 15]))
    numbers = power_numbers(result)
    assert numbers.edge_s.tolist() == pytest.approx([0.0, 600.0, 1500.0, 2400.0, 3300.0, 3600.0])
    assert numbers.mean_kw.tolist() == pytest.approx([2.0] * 5)


def test_long_runs_show_days_and_their_peaks():
    result = make_result(make_scenario(days=28.0), factors=(1.0,), per_hour=1.0)
    quarters = np.ones(28 * 96)
    quarters[96 * 3 + 40] = 3.0  # one quarter-hour of the fourth day
    numbers = power_numbers(with_quarters(result, quarters))
    assert numbers.is_daily
    assert len(numbers.mean_kw) == 28
    assert numbers.mean_kw[3] == pytest.approx((95 * 1.0 + 3.0) / 96)
    assert numbers.peak_kw is not None
    assert numbers.peak_kw[[2, 3]].tolist() == [1.0, 3.0]
    assert numbers.schedule_kw.tolist() == pytest.approx([(16 * 3.0 + 8 * 1.5) / 24] * 28)


def test_aisles_divide_the_run_into_four_parts():
    # of 24 h: 6 h not high, 2 h of them at 0; 10 h high and empty; a truck for 9 h
    result = with_zones(
        make_result(), time_at_low_h=[6.0] * 3, time_at_zero_h=[2.0] * 3, lit_empty_h=[10.0] * 3,
        occupied_h=[9.0] * 3,
    )
    numbers = aisle_numbers(result)
    parts = (numbers.in_use, numbers.lit_empty, numbers.low, numbers.off)
    assert [part[0] for part in parts] == pytest.approx([8 / 24, 10 / 24, 4 / 24, 2 / 24])
    assert np.sum(parts, axis=0).tolist() == pytest.approx([1.0] * 3)
    assert numbers.occupied.tolist() == pytest.approx([9 / 24] * 3)
    assert numbers.ranked_by == ""


def test_parts_of_aisles_notice_a_swapped_column():
    right = make_result()
    swapped = with_zones(
        right,
        time_at_low_h=right.outcomes[0].zones["lit_empty_h"].tolist(),
        lit_empty_h=right.outcomes[0].zones["time_at_low_h"].tolist(),
    )
    assert aisle_numbers(swapped).low.tolist() != pytest.approx(aisle_numbers(right).low.tolist())


def test_cut_aisles_are_put_together():
    floor = {"aisles": 2, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0, "zones_per_aisle": 2}
    result = with_zones(
        make_result(make_scenario(floor=floor)),
        time_at_low_h=[0.0, 12.0, 24.0, 24.0], time_at_zero_h=[0.0] * 4,
        lit_empty_h=[24.0, 12.0, 0.0, 0.0], occupied_h=[0.0] * 4,
    )
    assert aisle_numbers(result).low.tolist() == pytest.approx([0.25, 1.0])


def test_large_floors_show_the_busiest_aisles_in_the_floors_order():
    floor = {"aisles": 200, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0}
    result = make_result(make_scenario(floor=floor), per_hour=5.0)
    result = with_zones(result, occupied_h=[(k * 7) % 200 / 10 for k in range(200)])
    numbers = aisle_numbers(result)
    assert len(numbers.names) == MOST_AISLES
    assert numbers.aisles == 200
    assert numbers.occupied.min() >= (200 - MOST_AISLES) / 10 / 24
    assert list(numbers.names) == sorted(numbers.names, key=lambda name: int(name[1:]))
    assert numbers.ranked_by


def test_without_visits_only_the_lights_are_known():
    numbers = aisle_numbers(make_result(with_visits=False))
    assert not numbers.knows_trucks
    assert (numbers.in_use + numbers.low + numbers.off).tolist() == pytest.approx([1.0] * 3)


def test_week_averages_the_same_hour_of_all_weeks():
    # two weeks from a Wednesday; 1.5 kW but 3 kW in the first Thursday's 07:00 hour
    result = make_result(make_scenario(days=14.0, start="2027-03-03"), factors=(1.0,), per_hour=1.0)
    quarters = np.full(14 * 96, 1.5)
    quarters[96 + 28:96 + 32] = 3.0
    share = week_numbers(with_quarters(result, quarters)).share
    assert share[3, 7] == pytest.approx((3.0 + 1.5) / 2 / FULL_KW)
    assert np.delete(share.ravel(), 3 * 24 + 7).tolist() == pytest.approx([0.5] * 167)


def test_hours_outside_the_run_are_blank():
    result = make_result(make_scenario(days=1 / 24, start="2027-03-03T21:20"), factors=(1.0,))
    share = week_numbers(result).share
    assert np.flatnonzero(~np.isnan(share)).tolist() == [2 * 24 + 21, 2 * 24 + 22]


def test_pictures_agree_with_the_accounts_of_a_real_run():
    """Load over time integrates to the energies that `outcome` accounts for."""
    override = [{"aisles": ["A02"], "full_w": 150.0, "fixed_on": 3}]
    scenario = make_scenario(start="2027-03-03T20:50", override=override)
    site = prepare_site(scenario)
    outcomes, look = run_replication(site, 0)
    result = Result(
        scenario, site.layout, site.programs, (0,), (outcomes,),
        {name: estimate_mean([value]) for name, value in outcomes.total.items()}, look, "run", (),
    )
    numbers = power_numbers(result)
    for edges, load, name in (
        (numbers.edge_s, numbers.mean_kw, "energy_kwh"),
        (numbers.schedule_edge_s, numbers.schedule_kw, "schedule_only_kwh"),
    ):
        assert float(np.sum(np.diff(edges) * load) / 3600) == pytest.approx(outcomes.total[name], rel=1e-9)
    assert always_on_kw(result) == pytest.approx(outcomes.total["always_on_peak_kw"], rel=1e-9)
