"""People who stay for minutes at a place: the law of their stays, and what the sensors see of them.

Stays are lognormal, given by median and spread (the geometric standard deviation): the logarithm of stay over
median, divided by ln(spread), is a standard normal variable.  Kolmogorov and Smirnov's test at a level of
0.001; pulses are Poisson, k = 4.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from sim.replication import prepare_site, simulate_traffic
from sim.scenario.schema import Scenario
from sim.traffic.work import draw_tasks
from tests.truth.traffic_scenes import PLAIN, run_floor, standard_error
from tests.truth.truth_scenes import agrees, equals, holds, scenario, spoilt

PEOPLE = {"name": "people", "kind": "walker", "count": 60}
MEDIAN_S, SPREAD = 150.0, 2.5
LAW = {"dwell_median_s": MEDIAN_S, "dwell_spread": SPREAD}
WALK = {"name": "picking", "kind": "walk", "per_hour": 25.0} | LAW


def is_lognormal(stays: np.ndarray, median: float, spread: float) -> None:
    """Kolmogorov and Smirnov: the stays follow the law."""
    level = stats.kstest(np.log(stays / median) / math.log(spread), "norm").pvalue
    holds(level > 1e-3, f"lognormal, median {median} s, spread {spread}: level {level:.2g}")


def check_walks(median: float, spread: float, **keys: float) -> None:
    """Stay in the aisle less the way in and out is the dwell."""
    made = run_floor(aisles=3, hours=100.0, trucks=[PEOPLE], work=[WALK | keys])
    visits = made.visits
    inside = visits.leave < made.end_s
    dwell = (visits.leave - visits.enter - 2.0 * visits.bay_m / (3.5 * 0.3048))[inside]
    assert len(dwell) > 1500
    is_lognormal(dwell, median, spread)
    mean = median * math.exp(0.5 * math.log(spread) ** 2)
    agrees(dwell.mean(), mean, standard_error(dwell), "mean: median e^(ln^2(spread) / 2)")
    share = ((dwell > median / spread) & (dwell < median * spread)).mean()
    expected = math.erf(1.0 / math.sqrt(2.0))
    agrees(share, expected, math.sqrt(expected * (1 - expected) / len(dwell)), "two thirds within the spread")


def test_dwell_of_walks_follows_its_law():
    check_walks(MEDIAN_S, SPREAD)
    with spoilt("another median"):
        check_walks(1.2 * MEDIAN_S, SPREAD)
    with spoilt("another spread"):
        check_walks(MEDIAN_S, SPREAD + 0.3)
    with spoilt("the gamma family with the same mean"):
        mean = MEDIAN_S * math.exp(0.5 * math.log(SPREAD) ** 2)
        check_walks(MEDIAN_S, SPREAD, dwell_median_s=None, dwell_spread=1.0, dwell_mean_s=mean, dwell_cv=1.0)


def test_dwell_of_tours_stands_for_the_handling():
    """On tours every pick has a stay of its own, the same for whoever does it; handling times say nothing."""

    def check(median: float) -> None:
        made = scenario(
            aisles=5,
            hours=100.0,
            trucks=[PLAIN | {"handling_mean_s": 7.0}, PEOPLE],
            work=[
                WALK | {"kind": "tour", "per_hour": 8.0, "lines_per_tour": 4, "trucks": ["reach", "people"]}
            ],
        )
        tours = draw_tasks(made, prepare_site(made).layout, 0).tours
        assert len(tours.bay_m) > 2500
        equals(tours.pick_s[0], tours.pick_s[1], 0.0, "either group")
        is_lognormal(tours.pick_s[0], median, SPREAD)

    check(MEDIAN_S)
    with spoilt("the handling time"):
        check(7.0)


def test_a_spread_of_one_is_constant():
    made = run_floor(hours=50.0, trucks=[PEOPLE], work=[WALK | {"dwell_spread": 1.0}])
    visits = made.visits
    inside = visits.leave < made.end_s
    stays = (visits.leave - visits.enter - 2.0 * visits.bay_m / (3.5 * 0.3048))[inside]
    equals(stays, MEDIAN_S, 1e-6, "all alike")


def standing_site(**sensors: float) -> Scenario:
    """Return a site where people and trucks stand for 10 minutes, each in aisles of its own."""
    stay = {"bay_skew": 0.0, "per_hour": 4.0}
    return scenario(
        aisles=2,
        hours=300.0,
        trucks=[PLAIN | {"handling_mean_s": 600.0, "count": 20}, PEOPLE],
        work=[
            {"name": "out", "kind": "retrieve", "aisle_shares": [1.0, 0.0]} | stay,
            {"name": "count", "kind": "walk", "dwell_median_s": 600.0, "aisle_shares": [0.0, 1.0]} | stay,
        ],
        sensors={"at": [30.0], "range_m": 60.0} | sensors,
    )


@pytest.mark.parametrize("person", [None, 12.0, 0.0])
def test_pulses_of_people_and_of_trucks(person):
    """Standing times a rate of their own; absent, the one of trucks."""
    keys = {} if person is None else {"still_rate_person_per_min": person}
    place = prepare_site(standing_site(still_rate_per_min=3.0, **keys))
    traffic = simulate_traffic(place, 0)
    found, visits = traffic.detections, traffic.visits
    pulses = found.zone[found.start == found.end]

    def check(rates: tuple[float, float]) -> None:
        for aisle, rate in enumerate(rates):
            # who stands unseen by others: pulses within somebody else's motion melt into it
            edges = visits.aisle == aisle
            alone_min = unseen_standing_min(visits, edges)
            expected = rate * alone_min
            spread = math.sqrt(max(expected, 1e-9))
            agrees((pulses == aisle).sum(), expected, spread, f"pulses in aisle {aisle}")

    check((3.0, 3.0 if person is None else person))
    with spoilt("people pulse as often as they do not"):
        check((3.0, 4.0 if person is None else person + 1.0))


def unseen_standing_min(visits, rows: np.ndarray) -> float:
    """Truck-minutes of standing while nobody moves in the aisle: runs are seen, the stands between not."""
    moves = visits.moves
    mine = rows[moves.visit]
    took = np.abs(moves.to_m - moves.from_m) / moves.speed
    begin, end = moves.start, moves.start + took
    first = np.flatnonzero(mine & np.append(moves.visit[1:] == moves.visit[:-1], False))
    motion = sorted(zip(begin[mine].tolist(), end[mine].tolist(), strict=True))
    total = 0.0
    for row in first.tolist():
        start, stop = float(end[row]), float(begin[row + 1])
        covered, at = 0.0, start
        for since, until in motion:
            if until <= at:
                continue
            if since >= stop:
                break
            covered += max(0.0, min(until, stop) - max(since, at))
            at = max(at, until)
        total += stop - start - covered
    return total / 60.0
