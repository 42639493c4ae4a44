"""Stress, uncertain inputs, the tornado and the size of a log."""

from __future__ import annotations

import numpy as np
import pytest

from sim.errors import InputError
from sim.show.folders.sensitivity import write_sensitivity
from sim.show.words.sections import page_text
from sim.show.words.sensitivity import sensitivity_page
from sim.study.differences import subtract_paired
from sim.study.inputs import at_point, parse_inputs, usual_inputs
from sim.study.replications.replicate import run
from sim.study.sensitivity import find_indices, log_size, morris_indices, sobol_indices, tornado
from sim.study.stress import scale
from sim.traffic.work import aisle_shares
from tests.study.decide_site import small_site


def test_factors_scale_what_they_say():
    site = small_site()
    assert [work.per_hour for work in scale(site, "volume", 1.5).work] == [21.0, 9.0]
    assert scale(site, "handling", 0.5).trucks[0].handling_mean_s == 20.0
    assert scale(site, "speed", 2.0).trucks[0].speed_empty_m_per_s == pytest.approx(4.8)
    for work, harder in zip(site.work, scale(site, "skew", 1.3).work, strict=True):
        before, after = aisle_shares(work, 3), aisle_shares(harder, 3)
        expected = before**1.3 / (before**1.3).sum()
        assert after == pytest.approx(expected, rel=1e-12)
        assert after.max() > before.max()
    by_hour = small_site(
        a="per_hour = 14 -> per_hour = [1,2,3,4,5,6,7,8,9,10,11,12,13,14,15,16,17,18,19,20,21,22,23,24]"
    )
    assert scale(by_hour, "volume", 2.0).work[0].per_hour == tuple(2.0 * hour for hour in range(1, 25))


def test_trailers_scale_by_their_pallets_and_small_ones_by_their_number():
    at_random = small_site(
        extra='\n[[inbound]]\nname = "lorry"\nper_hour = 2\npallets = 1\npallet_s = 60\naisle_skew = 0\n'
    )
    scaled = scale(at_random, "volume", 0.7).inbound[0]
    assert (scaled.per_hour, scaled.pallets) == (1.4, 1)
    site = small_site(
        extra='\n[[inbound]]\nname = "lorry"\nat = ["08:00"]\npallets = 30\npallet_s = 60\naisle_skew = 0\n'
    )
    assert scale(site, "volume", 0.7).inbound[0].pallets == 21
    assert scale(site, "volume", 0.001).inbound[0].pallets == 1
    shares = scale(site, "skew", 1.3).inbound[0].aisle_shares
    assert shares == pytest.approx([1 / 3] * 3)


def test_inputs_are_read_and_put_in():
    site = small_site()
    inputs = parse_inputs(["volume=0.5:1.5", "sensors.miss=0:0.2", "trucks.reach.count=3:6"], site)
    made = at_point(site, inputs, (1.0, 0.5, 0.0))
    assert made.work[0].per_hour == 21.0
    assert made.sensors.miss == pytest.approx(0.1)
    assert made.trucks[0].count == 3
    assert at_point(site, inputs, (0.0, 0.0, 1.0)).trucks[0].count == 6
    names = [one.name for one in usual_inputs(site)]
    assert names == ["volume", "skew", "handling", "speed", "sensors.still_rate_per_min", "sensors.miss"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("volum=0.5:1.5", 'no such input.*did you mean "volume"'),
        ("volume=-1.0:1.5", "must be above 0"),
        ("volume=1.5", "write KEY=a:b"),
        ("volume=0.5,1.5", "write KEY=a:b"),
        ("volume", "empty value"),
        ("sensors.miss=0.0:2.0", "out of range"),
        ("trucks.reach.count=2:5", "3 drivers for 2"),
    ],
)
def test_faulty_ranges_are_told(text, words):
    with pytest.raises(InputError, match=words):
        parse_inputs([text], small_site())


def test_the_tornado_is_the_paired_difference_of_runs():
    site = small_site()
    inputs = parse_inputs(["volume=0.5:1.5", "sensors.still_rate_per_min=1:3"], site)
    found = tornado(site, inputs, "energy_kwh", replications=3)
    stated = [outcome.total["energy_kwh"] for outcome in run(site, replications=3).outcomes]
    more = [
        outcome.total["energy_kwh"] for outcome in run(scale(site, "volume", 1.5), replications=3).outcomes
    ]
    assert [bar.name for bar in found.bars] == ["volume", "sensors.still_rate_per_min"]
    assert found.bars[0].at_high == subtract_paired(more, stated)
    assert found.stated.mean == pytest.approx(np.mean(stated))
    swings = [bar.swing for bar in found.bars]
    assert swings == sorted(swings, reverse=True)
    assert tornado(site, inputs, "energy_kwh", replications=3, workers=2) == found
    with pytest.raises(InputError, match="no such outcome"):
        tornado(site, inputs, "energy", replications=1)


def test_morris_effects_of_a_straight_line_are_its_slopes():
    """y = 3 x1 - 2 x2: every elementary effect of an input is its slope; the spread is 0 (by hand)."""
    pytest.importorskip("SALib")
    found = morris_indices(lambda x: 3.0 * x[:, 0] - 2.0 * x[:, 1], ["a", "b", "c"], 6, 1)
    assert found["first"] == pytest.approx([3.0, 2.0, 0.0], abs=1e-9)
    assert found["second"] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)
    bent = morris_indices(lambda x: x[:, 0] * x[:, 1], ["a", "b"], 20, 1)
    assert bent["second"].min() > 0.05


def test_an_answer_that_nothing_moves_has_no_indices():
    pytest.importorskip("SALib")
    found = sobol_indices(lambda x: np.ones(len(x)), ["a", "b"], 8, 1)
    assert found["first"].tolist() == found["second"].tolist() == [0.0, 0.0]


@pytest.mark.parametrize("method", ["morris", "sobol"])
def test_indices_of_a_site_put_the_volume_first(method, tmp_path):
    pytest.importorskip("SALib")
    site = small_site()
    inputs = parse_inputs(["volume=0.4:1.6", "handling=0.98:1.02"], site)
    found = find_indices(site, inputs, "visits", method, samples=4, replications=1)
    ranking = found.second if method == "sobol" else found.first
    assert ranking[0] > 5.0 * abs(ranking[1])
    logs = log_size(site, 0.2, replications=1)
    page = sensitivity_page(site, found, logs, 1, ())
    write_sensitivity(site, found, logs, page, tmp_path / "study")
    assert (tmp_path / "study" / "sensitivity.csv").read_text(encoding="utf-8").count("\n") == 3
    assert all(len(line) <= 80 for line in page_text(page).splitlines())


def test_without_the_extra_it_is_told(monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "SALib", None)
    with pytest.raises(InputError, match=r"aislewake\[sensitivity\]"):
        find_indices(small_site(), (), "energy_kwh", "sobol", samples=2, replications=1)


def test_unequal_aisles_need_more_logs():
    even = small_site(
        a="aisle_skew = 0.4 -> aisle_skew = 0",
        b="top_20pct_share = 0.6 -> aisle_skew = 0",
        c="aisles = 3 -> aisles = 30",
    )
    uneven = small_site(c="aisles = 3 -> aisles = 30")
    few, many = (log_size(site, 0.3, replications=4) for site in (even, uneven))
    assert few.of == many.of == 30
    assert few.aisles < many.aisles <= 30


def test_the_folder(tmp_path):
    site = small_site()
    found = tornado(site, usual_inputs(site), "saved_share", replications=2)
    logs = log_size(site, 0.2, replications=2)
    page = sensitivity_page(site, found, logs, 2, ())
    write_sensitivity(site, found, logs, page, tmp_path / "study")
    names = {path.name for path in (tmp_path / "study").rglob("*.*")}
    assert names >= {"sensitivity.csv", "summary.json", "report.html", "scenario.toml", "tornado.svg"}
    text = page_text(page)
    assert "Measure " in text
    assert f"of {logs.of} aisles" in text.replace("\n  ", " ")
