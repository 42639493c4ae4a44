"""Savings, rates and the blind stretch against values worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.scenario.checks.contradictions import find_notices
from sim.show.words.answers import answers, blind_sentence, shown_notices
from sim.show.words.findings import blind_stretch, estimate_ratio, savings, zone_day_rates
from tests.show.made_results import make_result, make_scenario, without_bays

T_1 = 12.7062047361747
"""Student t, 1 degree of freedom, 97.5 %: tan(0.475 pi), the Cauchy quantile."""


def test_savings_are_paired_within_replications():
    # always on 72 kWh in a day; energy 0.45 and 0.55 of it; schedule only 0.8, code minimum 0.7 of it
    always, schedule, code = savings(make_result())
    assert always.saved_kwh.mean == pytest.approx(36.0)
    assert schedule.saved_share.mean == pytest.approx(1 - 0.5 / 0.8)
    assert code.saved_kwh.mean == pytest.approx((0.7 - 0.5) * 72.0)
    # two values a apart have the half-width t a / 2
    assert always.saved_share.half_width == pytest.approx(T_1 * 0.1 / 2, rel=1e-6)
    assert schedule.saved_share.half_width == pytest.approx(T_1 * 0.125 / 2, rel=1e-6)


def test_one_replication_has_no_interval():
    assert all(saving.saved_kwh.half_width is None for saving in savings(make_result(factors=(1.0,))))


def test_using_more_than_a_baseline_is_said_in_words():
    text = answers(make_result(factors=(1.6, 1.6)))[0].text
    assert "14.3 ± 0 % more than with the energy code's minimum" in text  # 0.8 / 0.7 - 1


def test_ratio_and_rates():
    result = make_result()
    assert estimate_ratio(result, "dim_truck_s", "visits").mean == pytest.approx(1234.0 / 400.0)
    rate, zone, most = zone_day_rates(result, "switch_ups")
    assert rate.mean == pytest.approx(120.0 / 3)
    assert (zone, most) == ("A01", pytest.approx(40.0))


def test_blind_stretch_is_what_no_sensor_reaches():
    # 60 m, sensors at 3 m and 57 m reaching 9 m: blind from 12 m to 48 m
    result = make_result()
    look = result.close_look
    assert look.visits is not None
    bay = look.visits.bay_m
    is_blind = (bay > 12.0) & (bay < 48.0)
    found = blind_stretch(result)
    assert found is not None
    assert found.blind == int(is_blind.sum())
    assert found.blind + found.seen == len(bay)
    assert found.covered_share == pytest.approx(24.0 / 60.0)
    # made so that every visit beyond 30 m was dim for a minute
    assert found.blind_dim == int((is_blind & (bay > 30.0)).sum())


def test_coming_up_does_not_count_as_gone_dim():
    # day settings need 0.5 s + 0.7 s to come up; a dim spell of that length is no loss of the blind stretch
    result = make_result()
    short = replace(result.close_look, dim_visit_s=np.full(len(result.close_look.visits or ()), 1.2))
    found = blind_stretch(replace(result, close_look=short))
    assert found is not None
    assert (found.blind_dim, found.seen_dim) == (0, 0)


@pytest.mark.parametrize(("dim_s", "warns"), [(60.0, True), (0.0, False)])
def test_the_report_warns_where_most_deep_visits_go_dim(dim_s, warns):
    result = make_result()
    look = replace(result.close_look, dim_visit_s=np.full(len(result.close_look.visits or ()), dim_s))
    text, is_warning = blind_sentence(replace(result, close_look=look))
    assert is_warning is warns
    assert ("Most visits in the blind stretch went dim" in text) is warns


@pytest.mark.parametrize("with_visits", [True, False])
@pytest.mark.parametrize(("dim_s", "warns"), [(60.0, True), (0.0, False)])
def test_the_blind_stretch_is_told_once(with_visits, dim_s, warns):
    # blind for 36 m: 18 m in and out at 2 m/s and 60 s of handling are 78 s, longer than 30 s + 20 s
    lighting = {"settings": {"all": {"unoccupied_level": 0.3, "timeout_s": 20}}}
    scenario = make_scenario(
        lighting=lighting, timetable=[{"from": "00:00", "to": "24:00", "settings": "all"}]
    )
    notices = find_notices(scenario)
    predicted = [notice for notice in notices if notice.startswith("Blind stretch: ")]
    assert len(predicted) == 1
    result = make_result(scenario, notices=(*notices, "Something else."), with_visits=with_visits)
    if with_visits:
        visits = result.close_look.visits
        look = replace(result.close_look, dim_visit_s=np.full(len(visits or ()), dim_s))
        result = replace(result, close_look=look)
    shown = shown_notices(result)
    assert [notice for notice in shown if "Something else" in notice]
    about = [notice for notice in shown if "blind stretch" in notice.lower()]
    if not with_visits:
        assert about == predicted
    elif warns:
        assert about == [blind_sentence(result)[0]]
    else:
        assert about == []


def test_a_zone_is_covered_by_its_own_sensors_only():
    floor = {"aisles": 1, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0, "zones_per_aisle": 2}
    sensors = {"at": [29.0, 31.0], "range_m": 10.0}
    found = blind_stretch(make_result(make_scenario(floor=floor, sensors=sensors)))
    assert found is not None
    # 19..30 m by the first, 30..41 m by the second: 11 m of each 30 m
    assert found.covered_share == pytest.approx(11.0 / 30.0)


def test_unknown_places_give_no_blind_stretch():
    assert blind_stretch(without_bays(make_result())) is None
    assert blind_sentence(make_result(with_visits=False)) == ("", False)
