"""The numbers behind the pictures of decisions, and the pictures themselves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.show.figures.recommend import draw_recommend_figures
from sim.show.figures.sweep import draw_sweep_figures
from sim.show.numbers.decide import (
    aisle_choices,
    saving_curves,
    sweep_trade_off,
    trade_off,
    value_rows,
)
from sim.study.decide.recommend import Recommendation, recommend
from sim.study.decide.wish import make_wish
from sim.study.replications.precision import estimate_mean
from sim.study.sweeping.front import find_front
from sim.study.sweeping.plan import make_plan
from sim.study.sweeping.sweep import SweepResult, sweep
from sim.study.sweeping.vary import parse_varied
from tests.study.decide_site import small_site, wishing_site


@pytest.fixture(scope="module")
def swept() -> SweepResult:
    """Timeouts along, levels across."""
    site = small_site()
    texts = ["day.timeout_s=60,600,300", "day.unoccupied_level=0.1,0.5"]
    return sweep(site, make_plan(site, parse_varied(texts, site), replications=3), replications=3)


@pytest.fixture(scope="module")
def advised() -> Recommendation:
    """A recommendation in which the plans differ."""
    limits = {"shortfall_truck_s_per_visit": 0.3, "switch_ups_per_zone_hour": 3.0}
    return recommend(make_wish(wishing_site(limits)), replications=2, fresh=3)


def test_numbers_of_a_sweeps_trade_off(swept):
    numbers = sweep_trade_off(swept)
    assert numbers.energy_kwh == pytest.approx(swept.outcomes["energy_kwh"].mean(axis=0))
    costs = np.stack([numbers.energy_kwh, numbers.dim_truck_s], axis=1)
    assert numbers.is_front.tolist() == find_front(costs).tolist()
    # a line per level, its points in the order of the timeout, whatever order they were given in
    assert numbers.line_labels == ("day.unoccupied_level = 0.1", "day.unoccupied_level = 0.5")
    assert [swept.plan.points[point] for point in numbers.lines[0]] == [(60, 0.1), (300, 0.1), (600, 0.1)]
    assert numbers.marks[0].energy_kwh == pytest.approx(swept.current["energy_kwh"].mean())
    assert numbers.notes == tuple(zip(numbers.lines[0].tolist(), ("1 min", "5 min", "10 min"), strict=True))


def test_numbers_of_the_saving_curves(swept):
    curves = saving_curves(swept)
    assert curves is not None
    assert curves.key == "day.timeout_s"
    assert curves.across[1].tolist() == [60.0, 300.0, 600.0]
    point = swept.plan.points.index((300, 0.5))
    estimate = estimate_mean(swept.outcomes["saved_share"][:, point].tolist())
    assert (curves.mean[1][1], curves.half_width[1][1]) == (estimate.mean, estimate.half_width)
    assert curves.left_out == 0


def test_no_curve_without_a_number_to_go_along():
    site = small_site()
    found = sweep(
        site, make_plan(site, parse_varied(["sensors.at=ends,every"], site), replications=1), replications=1
    )
    assert saving_curves(found) is None
    assert sweep_trade_off(found).lines == ()


def test_numbers_of_a_recommendation(advised):
    numbers = trade_off(advised)
    assert len(numbers.energy_kwh) == len(advised.fit)
    assert [mark.label for mark in numbers.marks] == [
        "as the scenario stands",
        "one setting",
        "by group",
        "by aisle",
    ]
    stated = advised.trials[0].totals["aisles"]
    assert numbers.marks[3].energy_kwh == pytest.approx(stated["energy_kwh"].mean())
    rows = value_rows(advised)
    means = [float(trial.totals["single"]["energy_kwh"].mean()) for trial in advised.trials]
    assert (rows[1].least, rows[1].most) == (min(means), max(means))
    assert rows[1].estimate == estimate_mean(advised.trials[0].totals["single"]["energy_kwh"].tolist())
    day, night = aisle_choices(advised)
    assert (day.name, night.name) == ("day", "night")
    plan = advised.plans["aisles"]
    assert day.timeout_s.tolist() == [plan.settings_of(aisle)["day"].timeout_s for aisle in range(3)]
    assert day.visits_per_h.sum() * 24.0 == pytest.approx(float(advised.fit.site.visits))
    assert day.single_timeout_s == advised.plans["single"].settings[0]["day"].timeout_s


def test_a_picture_in_which_all_timeouts_are_alike_is_left_out(advised, tmp_path, monkeypatch):
    shown, alike = tmp_path / "shown", tmp_path / "alike"
    for folder in (shown, alike):
        folder.mkdir()
    assert "aisles" in draw_recommend_figures(advised, shown)
    equal = [replace(one, timeout_s=np.full(3, 60.0)) for one in aisle_choices(advised)]
    monkeypatch.setattr("sim.show.figures.recommend.aisle_choices", lambda found: equal)
    assert "aisles" not in draw_recommend_figures(advised, alike)


def test_pictures_are_the_same_bytes_each_time(swept, advised, tmp_path):
    for name, draw in (
        ("sweep", lambda folder: draw_sweep_figures(swept, folder)),
        ("advice", lambda folder: draw_recommend_figures(advised, folder)),
    ):
        folders = [tmp_path / f"{name}-{number}" for number in range(2)]
        for folder in folders:
            folder.mkdir()
            svgs = draw(folder)
            assert all((folder / f"{key}.svg").read_text(encoding="utf-8") == svgs[key] for key in svgs)
        for path in folders[0].iterdir():
            assert path.read_bytes() == (folders[1] / path.name).read_bytes()
            assert path.stat().st_size > 2000
