"""A fit recovers the traffic of logs that we made: its intervals cover the truth as often as they say.

Truth: the rates, shares and handling times that went into the simulation. A 95 % interval covers in 95 % of
logs if it is exact; the exact Poisson limits cover in at least 95 %. Over n logs the number covered is
binomial, so its standard error is sqrt(0.95 * 0.05 / n); k = 3 below the level, and never all of them by
intervals that are far too wide.
"""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import ks_1samp

from sim.replication import Site, prepare_site, simulate_traffic
from sim.scenario.schema import Scenario
from sim.scenario.toml import parse_scenario
from sim.sensing.coverage import unite
from sim.study.from_logs.calibration import calibrate_motion
from sim.study.from_logs.figures import poisson_limits
from sim.study.from_logs.fit import fit_site
from sim.study.from_logs.goodness import judge_fit
from sim.study.from_logs.log import SiteLog, from_visits, hour_grid, motion_log, read_site_log

SHARES = (0.5, 0.3, 0.2)
RATE_PER_H, HANDLING_S, HANDLING_CV = 12.0, 40.0, 0.5
SITE = f"""
format = 1
start = 2027-03-01
days = 1
[floor]
aisles = 3
aisle_length_m = 40.0
aisle_pitch_m = 5.0
[luminaires]
per_aisle = 4
full_w = 100.0
[sensors]
at = "every"
range_m = 6.0
still_rate_per_min = 30
[lighting.settings.all]
unoccupied_level = 0.2
timeout_s = 300
[[timetable]]
from = "00:00"
to = "24:00"
settings = "all"
[[trucks]]
name = "reach"
count = 12
speed_laden_m_per_s = 2.0
speed_empty_m_per_s = 2.5
handling_mean_s = {HANDLING_S}
handling_cv = {HANDLING_CV}
[[shifts]]
trucks = "reach"
from = "00:00"
to = "24:00"
crew = 12
[[work]]
name = "out"
kind = "retrieve"
per_hour = {RATE_PER_H}
aisle_shares = {list(SHARES)}
"""


def made_site() -> Site:
    """The site that the logs come from."""
    return prepare_site(parse_scenario(SITE))


def write_visits(site: Site, replication: int, path: Path) -> None:
    """Simulate a log of visits as a site would give it."""
    visits = simulate_traffic(site, replication).visits
    assert visits is not None
    rows = [
        f"{site.layout.aisles[aisle]},{enter!r},{leave!r},{bay!r},retrieve"
        for aisle, enter, leave, bay in zip(
            visits.aisle, visits.enter.tolist(), visits.leave.tolist(), visits.bay_m.tolist(), strict=True
        )
    ]
    path.write_text("\n".join(["aisle,enter,leave,bay_m,task", *rows]), encoding="utf-8")


def covered(logs: int, folder: Path, rate: float, mean_s: float, share: float) -> dict[str, float]:
    """Share of logs whose intervals cover what is said to be true."""
    site = made_site()
    found: dict[str, list[bool]] = {"rate": [], "share": [], "handling_mean_s": [], "hour": []}
    path = folder / "visits.csv"
    for number in range(logs):
        write_visits(site, number, path)
        log = read_site_log(site, "visits", path)
        fit = fit_site(site.scenario, site.layout, log)
        figures = {one.key: one for one in fit.figures}
        total = np.array([log.events.sum()])
        low, high = (float(limit[0]) / 24.0 for limit in poisson_limits(total))
        found["rate"].append(low <= rate <= high)
        hour = figures["retrieve Mon 13:00"]
        found["hour"].append(hour.low <= rate <= hour.high)
        aisle = figures["retrieve share of A01"]
        found["share"].append(aisle.low <= share <= aisle.high)
        mean = figures["handling_mean_s"]
        found["handling_mean_s"].append(mean.low <= mean_s <= mean.high)
    return {name: float(np.mean(hits)) for name, hits in found.items()}


def check_coverage(found: dict[str, float], logs: int, level: float = 0.95) -> list[str]:
    """Return the figures whose intervals do not cover as they say (k = 3)."""
    slack = 3.0 * math.sqrt(level * (1.0 - level) / logs)
    return [
        name
        for name, share in found.items()
        if share < level - slack or (name != "hour" and share > 0.999 and logs >= 200)
    ]


def test_intervals_cover_the_truth_in_200_logs(tmp_path: Path) -> None:
    """95 % intervals cover in 90 to 99 % of 200 logs."""
    found = covered(200, tmp_path, RATE_PER_H, HANDLING_S, SHARES[0])
    assert check_coverage(found, 200) == [], found


@pytest.mark.slow
def test_intervals_cover_the_truth_in_2000_logs(tmp_path: Path) -> None:
    found = covered(2000, tmp_path, RATE_PER_H, HANDLING_S, SHARES[0])
    assert check_coverage(found, 2000) == [], found


def test_another_truth_would_not_be_covered(tmp_path: Path) -> None:
    """Negative control: the log's site, and figures 20 % beside its own."""
    found = covered(60, tmp_path, 1.2 * RATE_PER_H, 1.2 * HANDLING_S, 1.2 * SHARES[0])
    assert set(check_coverage(found, 60)) >= {"rate", "handling_mean_s", "share"}


def test_exact_poisson_limits() -> None:
    """Garwood's table: 0 events 0 to 3.689; 1 event 0.0253 to 5.572; 10 events 4.795 to 18.39."""
    low, high = poisson_limits(np.array([0.0, 1.0, 10.0]))
    assert low.tolist() == pytest.approx([0.0, 0.02532, 4.79539], abs=5e-5)
    assert high.tolist() == pytest.approx([3.68888, 5.57164, 18.39036], abs=5e-5)


def motion_of(scenario: Scenario, site: Site, replication: int, days: int) -> tuple[SiteLog, float]:
    """Motion that arrivals at Poisson times leave: a detection of 20 s each, and their true rate in A01."""
    rng = np.random.default_rng(np.random.SeedSequence(11, spawn_key=(replication,)))
    parts = []
    for aisle, share in enumerate(SHARES):
        count = rng.poisson(RATE_PER_H * share * 24.0 * days)
        start = np.sort(rng.random(count) * days * 86_400.0)
        parts.append((np.full(count, aisle), start, np.minimum(start + 20.0, days * 86_400.0)))
    zone, start, end = (np.concatenate(column) for column in zip(*parts, strict=True))
    return motion_log(scenario, site.layout, unite(zone, start, end)), RATE_PER_H * SHARES[0]


def test_arrivals_are_told_from_motion_alone() -> None:
    """Poisson arrivals that overlap: events over the time in which one could be seen is free of bias (k = 4).

    Counting bursts over all hours instead is not: the busiest aisle is then told too quiet.
    """
    site = made_site()
    scenario = site.scenario.model_copy(update={"days": 7.0})
    rates, naive, counts = [], [], 0.0
    for number in range(30):
        log, truth = motion_of(scenario, site, number, 7)
        rates.append(log.events[1, 0].sum() / log.exposure_h[0].sum())
        naive.append(log.events[1, 0].sum() / (7 * 24.0))
        counts += float(log.events[1, 0].sum())
    spread = truth / math.sqrt(counts)
    assert abs(float(np.mean(rates)) - truth) < 4.0 * spread
    assert abs(float(np.mean(naive)) - truth) > 4.0 * spread


def test_passing_trucks_are_told_from_visits() -> None:
    """Sensors that see every truck pass: only the calibrated fit finds the rate that went in.

    Truth: RATE_PER_H in all hours. Of 7 days 2016 visits are expected, so a standard error of 2.2 %; the
    calibration simulates as much again; k = 4 of both together. Uncalibrated, the same check fails.
    """
    text = SITE.replace("days = 1", "days = 7").replace(
        "still_rate_per_min = 30", "still_rate_per_min = 30\npassing_trigger = 1.0\npassing_range_m = 4.0"
    )
    site = prepare_site(parse_scenario(text))
    log = motion_log(site.scenario, site.layout, simulate_traffic(site, 50).detections)
    fit = fit_site(site.scenario, site.layout, log)
    error = 4.0 * math.sqrt(2.0 / (RATE_PER_H * 7 * 24))
    calibrated = calibrate_motion(fit, log)
    assert abs(calibrated.rate_per_h.sum() / (168 * RATE_PER_H) - 1.0) < error
    assert calibrated.share[1].tolist() == pytest.approx(SHARES, abs=4.0 * math.sqrt(0.25 / 2016 * 2))
    assert abs(fit.rate_per_h.sum() / (168 * RATE_PER_H) - 1.0) > error


def test_gaps_of_a_fitted_scenario_are_exponential_where_they_must_be(tmp_path: Path) -> None:
    """Gaps between visits of Poisson arrivals to one aisle are exponential with the arrivals' rate.

    An idle aisle waits for the next arrival, and a Poisson process has no memory (M/G/infinity: idle periods
    are exponential; Takacs, Introduction to the Theory of Queues, 1962, from memory). Kolmogorov-Smirnov
    against that law, p > 0.001; another law with twice the rate fails.
    """
    site = made_site()
    path = tmp_path / "visits.csv"
    write_visits(site, 5, path)
    log = read_site_log(site, "visits", path)
    fit = fit_site(site.scenario, site.layout, log)
    goodness = judge_fit(fit, log, replications=10)
    rate_per_s = float(fit.rate_per_h[1].sum() / fit.covered.sum() * fit.share[1, 0]) / 3600.0
    gaps = goodness.simulated_aisle_gaps_s[0]
    assert len(gaps) > 500
    assert ks_1samp(gaps, lambda gap: 1.0 - np.exp(-rate_per_s * gap)).pvalue > 1e-3
    assert ks_1samp(gaps, lambda gap: 1.0 - np.exp(-2.0 * rate_per_s * gap)).pvalue < 1e-6


def test_a_good_fit_is_judged_good_and_a_bad_one_bad(tmp_path: Path) -> None:
    """The tests of goodness tell a fit to the log from one to twice the work in other aisles."""
    site = made_site()
    path = tmp_path / "visits.csv"
    write_visits(site, 1, path)
    log = read_site_log(site, "visits", path)
    fit = fit_site(site.scenario, site.layout, log)
    good = judge_fit(fit, log, replications=4)
    assert all(test.p_value > 1e-3 for test in good.tests)
    for one in good.aisles:
        assert one.simulated_visits == pytest.approx(one.visits, abs=4.0 * math.sqrt(1.25 * one.visits))
    other = SITE.replace(f"{list(SHARES)}", "[0.2, 0.3, 0.5]").replace("per_hour = 12.0", "per_hour = 24")
    spoiled = parse_scenario(other)
    bad = judge_fit(replace(fit, scenario=spoiled), log, replications=4)
    assert all(test.p_value < 1e-3 for test in bad.tests[:2])


def test_hours_that_were_not_seen_are_not_counted() -> None:
    """A log of two days in a run of a week: 48 hours; not a holiday, not the hour that Berlin skips."""
    scenario = made_site().scenario.model_copy(update={"days": 7.0})
    grid = hour_grid(scenario, 86_400.0 + 5.0, 3 * 86_400.0 - 5.0)
    assert grid.observed_h.sum() == 48.0
    closed = scenario.model_copy(update={"holidays": (scenario.start_datetime.date().replace(day=3),)})
    assert hour_grid(closed, 86_400.0 + 5.0, 3 * 86_400.0 - 5.0).observed_h.sum() == 24.0
    spring = scenario.model_copy(update={"start": dt.date(2027, 3, 27), "timezone": "Europe/Berlin"})
    assert hour_grid(spring, 0.0, 7 * 86_400.0 - 5.0).observed_h.sum() == 167.0


def test_simulated_visits_are_counted_like_a_log(tmp_path: Path) -> None:
    site = made_site()
    path = tmp_path / "visits.csv"
    write_visits(site, 2, path)
    log = read_site_log(site, "visits", path)
    visits = simulate_traffic(site, 2).visits
    assert visits is not None
    same = from_visits(site.layout, "visits", log.grid, visits)
    assert same.events.tolist() == log.events.tolist()
