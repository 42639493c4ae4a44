"""Traffic from a site's log: handling by hand, bases that cannot carry it, estimates that come to no rest."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import scipy.stats

from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.records import Detections
from sim.replication import prepare_site, simulate_traffic
from sim.scenario.schema import Scenario
from sim.study.from_logs.fit import SiteFit, estimate_rates, fit_site
from sim.study.from_logs.goodness import _chi_square, judge_fit
from sim.study.from_logs.log import (
    KINDS_OF_WORK,
    SiteLog,
    hour_grid,
    motion_log,
    read_site_log,
    visit_silence_s,
)
from sim.study.from_logs.timeouts import TIMEOUTS_S, timeout_table
from sim.study.sweeping.plan import check_content
from tests.study.decide_site import small_site

RACKS = "aisles = 3 -> aisles = 3\ntiers = 5\ntier_height_m = 2"
WAY_S = (20.0 / 2.4 + 2.4 / 0.5) + (20.0 / 2.0 + 2.0 / 0.5)
"""In empty and out laden over 20 m: 2.4 and 2.0 m/s, 0.5 m/s2."""


def read(site: Scenario, folder: Path, text: str) -> SiteLog:
    """Read a log of visits written here."""
    (folder / "visits.csv").write_text(text, encoding="utf-8")
    return read_site_log(prepare_site(site), "visits", folder / "visits.csv")


def stands(stand_s: float, count: int = 12, aisle: str = "A01") -> str:
    """Text of a log of visits that stand so long at 20 m, one in an hour."""
    rows = [f"{aisle},{3600 * k},{3600 * k + WAY_S + stand_s!r},20" for k in range(1, count + 1)]
    return "\n".join(["aisle,enter,leave,bay_m", *rows]) + "\n"


def fit_of(site: Scenario, log: SiteLog) -> SiteFit:
    """Fit a log."""
    return fit_site(site, lay_out(site), log)


@pytest.mark.parametrize(
    ("trucks", "handling_s"),
    [
        ("lift_m_per_s = 1\nlower_m_per_s = 1", 22.0),  # tiers at 0, 2, 4, 6 and 8 m: 8 s up and down
        ("lift_m_per_s = 0.1\nlower_m_per_s = 0.1\nlifts_while_travelling = true", 30.0),
        ("lift_m_per_s = 0.1\nlower_m_per_s = 0.1", None),  # 80 s of mast in 30 s: the base's 40 s stay
        ("lift_m_per_s = 0.2\nlower_m_per_s = 0.3", None),  # 33 s
    ],
)
def test_handling_is_the_stand_less_the_mast(trucks, handling_s, tmp_path):
    site = small_site(a=RACKS, b=f"handling_cv = 0.5 -> handling_cv = 0.5\n{trucks}")
    log = read(site, tmp_path, stands(30.0))
    assert log.stand_s == pytest.approx(np.full(12, 30.0), rel=1e-9)
    fit = fit_of(site, log)
    told = {one.key: one.value for one in fit.figures}
    (group,) = fit.scenario.trucks
    if handling_s is None:
        assert "handling_mean_s" not in told
        assert group.handling_mean_s == 40.0
        assert not any("Handling time" in notice for notice in fit.notices)
    else:
        assert told["handling_mean_s"] == pytest.approx(handling_s, rel=1e-9)
        assert group.handling_mean_s == pytest.approx(handling_s, abs=0.005)
        assert any("Handling time" in notice for notice in fit.notices)


def test_few_stands_tell_no_handling_time(tmp_path):
    """Ten do, nine do not."""
    for count, is_told in ((9, False), (10, True)):
        fit = fit_of(small_site(), read(small_site(), tmp_path, stands(30.0, count)))
        assert any(one.key == "handling_mean_s" for one in fit.figures) is is_told


def test_a_base_whose_trucks_may_not_go_where_the_log_says_is_told(tmp_path):
    site = small_site(
        a='name = "reach"\ncount -> name = "reach"\naisles = ["A01", "A02"]\ncount',
        b="aisle_skew = 0.4 -> aisle_shares = [0.5, 0.5, 0]",
        c="top_20pct_share = 0.6 -> aisle_shares = [0.5, 0.5, 0]",
    )
    assert fit_of(site, read(site, tmp_path, stands(30.0, aisle="A02"))).scenario.work
    with pytest.raises(InputError, match=r"work.*A03"):
        fit_of(site, read(site, tmp_path, stands(30.0, aisle="A03")))


def test_visits_are_read_without_trucks_in_the_base_and_fitted_with_them(tmp_path):
    content = small_site().content()
    empty, problems = check_content(
        {key: value for key, value in content.items() if key not in ("trucks", "shifts", "work")}
    )
    assert empty is not None, problems
    log = read(empty, tmp_path, stands(30.0))
    assert log.stand_s.tolist() == [], "nobody knows how fast the trucks are"
    assert log.events.sum() == 12.0
    with pytest.raises(InputError, match=r"a fit needs \[\[trucks\]\] and \[\[shifts\]\]"):
        fit_of(empty, log)


def test_motion_of_aisles_that_share_a_zone_cannot_be_told_apart():
    site = small_site(extra='\n[[group]]\nname = "back"\naisles = ["A02", "A03"]\n')
    motion = Detections(np.array([0, 1]), np.array([10.0, 20.0]), np.array([15.0, 25.0]))
    with pytest.raises(InputError, match="group: motion in a zone of several aisles does not say in which"):
        motion_log(site, lay_out(site), motion)
    assert motion_log(small_site(), lay_out(small_site()), motion).events.sum() == 2.0


def test_a_fit_to_motion_is_judged_by_the_motion_that_it_simulates():
    """Simulated arrivals, counted here one by one: an aisle that was still for a while wakes up."""
    site = small_site()
    log = motion_log(site, lay_out(site), simulate_traffic(prepare_site(site), 5).detections)
    fit = fit_of(site, log)
    found = judge_fit(fit, log, 2)
    assert found.replications == 2
    made = prepare_site(fit.scenario)
    for place, aisle in enumerate(found.aisles):
        counts = []
        for number in range(2):
            motion = simulate_traffic(made, number).detections
            start, end = motion.of_zone(place)
            still = np.diff(np.column_stack([end[:-1], start[1:]]), axis=1)[:, 0]
            inside = (start[1:] >= log.grid.from_s) & (start[1:] <= log.grid.to_s)
            counts.append(1 + int(((still > visit_silence_s(fit.scenario)) & inside).sum()))
        assert aisle.simulated_visits == pytest.approx(np.mean(counts))
        assert aisle.simulated_visits > 10.0
    assert len(found.simulated_gaps_s) > 0
    assert found.simulated_week_visits.sum() == pytest.approx(
        sum(one.simulated_visits for one in found.aisles)
    )


def test_an_estimate_that_comes_to_no_rest_is_good_enough():
    """A01 was never seen in the second hour, A02 only open then: rates times shares come near by 1/n only.

    What 200 rounds give: events expected in each hour and aisle are those counted, to 1 %.
    """
    site = small_site()
    layout, grid = lay_out(site), hour_grid(site, 0.0, 7200.0)
    events = np.zeros((len(KINDS_OF_WORK), 3, len(grid.of_week)))
    exposure = np.zeros(events.shape[1:])
    events[1, 0, 0], events[1, 1, 1] = 10.0, 10.0
    exposure[0, :2], exposure[1, 1] = 1.0, 1.0
    nothing = np.zeros(0)
    none = Detections(np.zeros(0, dtype=np.int64), nothing, nothing)
    log = SiteLog(
        "detections",
        grid,
        events,
        exposure,
        np.zeros(0, dtype=np.int64),
        nothing,
        nothing,
        nothing,
        nothing,
        none,
    )

    def misses(log: SiteLog) -> float:
        rates, shares, _ = estimate_rates(layout, log)
        per_hour = rates[1, grid.of_week]
        expected = shares[1][:, None] * per_hour * log.exposure_h
        by_hour = np.abs(expected.sum(axis=0) - log.events[1].sum(axis=0)).max()
        by_aisle = np.abs(expected.sum(axis=1) - log.events[1].sum(axis=1)).max()
        return float(max(by_hour, by_aisle)) / 10.0

    assert 1e-9 < misses(log) < 0.01
    # where both hours tell of both aisles it comes to rest, and is exact
    exposure = exposure.copy()
    exposure[1, 0] = 0.5
    assert misses(replace(log, exposure_h=exposure)) < 1e-9


def test_small_cells_are_joined_and_what_is_left_goes_to_the_last():
    """Twelve hours, 12 visits on both sides, so that 10 visits in a cell are 5 expected on each side.

    In order of size: (1, 0) and five of (1, 1) make a cell of 11, five more one of 10, and (1, 2) is left.
    """
    first, second = np.ones(12), np.ones(12)
    second[:2] = 2.0, 0.0
    found = _chi_square(first, second, "x")
    table = np.array([[6.0, 5.0], [5.0 + 1.0, 5.0 + 2.0]])
    expected = table.sum(axis=1, keepdims=True) * table.sum(axis=0) / table.sum()
    assert found.statistic == pytest.approx(float(((table - expected) ** 2 / expected).sum()), rel=1e-12)
    assert found.size == "12 measured, 12 simulated, 2 cells"
    # without the rest the table would be another one
    assert scipy.stats.chi2_contingency([[6, 5], [5, 5]], correction=False).statistic != pytest.approx(
        found.statistic, rel=0.1
    )


def test_timeouts_too_short_for_the_fade_are_left_out():
    """Hold and timeout must last longer than latency and fade-up: 5 + 30 s is not above 0.5 + 40 s."""
    for fade_s, tried in (
        ("40", TIMEOUTS_S[1:]),
        ("0.7", TIMEOUTS_S),
        ("34.4", TIMEOUTS_S),
        ("34.5", TIMEOUTS_S[1:]),
    ):
        site = small_site(
            a=f"timeout_s = 120\nfade_up_s = 0.7 -> timeout_s = 120\nfade_up_s = {fade_s}",
            b="days = 1 -> days = 0.25",
        )
        prepared = prepare_site(site)
        table = timeout_table(prepared, simulate_traffic(prepared, 0))
        assert [float(row[1]) for row in table.rows if row[0] == "all aisles"] == list(tried)
        assert len(table.shown_header) == 3 + len(tried)
