"""Days and hours: volume from day to day, holidays, staggered breaks, batteries as machines to repair.

Standard errors: negative binomial counts, or independent replications; k = 4.
"""

from __future__ import annotations

import datetime as dt
import importlib.util
import math

import numpy as np
import pytest
from scipy import stats

from sim.replication import prepare_site
from sim.scenario.holiday_dates import public_holidays
from sim.traffic.work import draw_tasks
from tests.truth.traffic_scenes import PLAIN, run_floor
from tests.truth.truth_scenes import agrees, equals, holds, scenario, spoilt

DAY = 86_400.0


def daily_counts(days: int, cv: float) -> np.ndarray:
    """Moves of two streams on each day (2, days)."""
    made = scenario(
        hours=24.0 * days,
        trucks=[PLAIN],
        volume_cv=cv,
        work=[
            {"name": "a", "kind": "retrieve", "per_hour": 5.0},
            {"name": "b", "kind": "putaway", "per_hour": 5.0},
        ],
    )
    tasks = draw_tasks(made, prepare_site(made).layout, 0)
    day = (tasks.time // DAY).astype(int)
    return np.array([np.bincount(day[tasks.work == work], minlength=days)[:days] for work in (0, 1)])


def check_volume(cv: float, model: float) -> None:
    """A day's count of mean n is negative binomial: variance n + n^2 cv^2; days are independent."""
    days, mean = 1500, 120.0
    counts = daily_counts(days, model)
    size = 1.0 / cv**2
    law = stats.nbinom(size, size / (size + mean))
    variance = law.var()
    equals(variance, mean + mean**2 * cv**2, 1e-6, "the formula itself")
    fourth = (float(law.stats(moments="k")) + 3.0) * variance**2
    error = math.sqrt((fourth - variance**2 * (days - 3) / (days - 1)) / days)
    for count in counts:
        agrees(count.mean(), mean, math.sqrt(variance / days), "moves a day")
        agrees(np.var(count, ddof=1), variance, error, "variance of moves a day")
    # one factor for all streams: their covariance is n^2 cv^2; its error from the sample itself
    product = (counts[0] - counts[0].mean()) * (counts[1] - counts[1].mean())
    agrees(product.mean(), mean**2 * cv**2, np.std(product) / math.sqrt(days), "streams move together")


def test_volume_differs_from_day_to_day():
    check_volume(0.3, 0.3)
    with spoilt("every day alike"):
        check_volume(0.3, 0.0)
    with spoilt("a spread of 0.4"):
        check_volume(0.3, 0.4)


def test_a_holiday_takes_its_work_and_its_shifts_away_and_nothing_else():
    work = [{"name": "a", "kind": "retrieve", "per_hour": 30.0}]
    trucks = [PLAIN | {"count": 5, "handling_mean_s": 20.0}]
    shifts = [{"trucks": "reach", "from": "06:00", "to": "22:00", "crew": 5}]
    keys = {"hours": 168.0, "trucks": trucks, "work": work, "shifts": shifts}

    def check(day: dt.date) -> None:
        with_it, without = run_floor(holidays=[day], **keys), run_floor(**keys)
        kept = without.tasks.time // DAY != 2
        equals(len(with_it.tasks), np.count_nonzero(kept), 0.0, "moves of the other days")
        equals(with_it.tasks.time, without.tasks.time[kept], 0.0, "times of the other days")
        holds(
            ~np.any((with_it.visits.enter > 2 * DAY + 3600) & (with_it.visits.enter < 3 * DAY)),
            "nobody works",
        )
        assert np.any((without.visits.enter > 2 * DAY + 6 * 3600) & (without.visits.enter < 3 * DAY))

    check(dt.date(2027, 3, 3))
    with spoilt("the day after"):
        check(dt.date(2027, 3, 4))


@pytest.mark.skipif(importlib.util.find_spec("holidays") is None, reason="the extra is not installed")
def test_public_holidays_of_a_country():
    """US federal holidays of 2024: eleven, among them 4 July and Christmas (5 U.S.C. 6103)."""

    def check(days: set[dt.date]) -> None:
        equals(len(days), 11, 0.0, "federal holidays of 2024")
        holds({dt.date(2024, 7, 4), dt.date(2024, 12, 25)} <= days, "Independence Day and Christmas")

    check(public_holidays("US", [2024]))
    with spoilt("another country"):
        check(public_holidays("DE", [2024]))
    made = scenario(
        hours=240.0,
        start="2027-12-20T00:00:00",
        trucks=[PLAIN],
        holidays_country="US",
        work=[{"name": "a", "kind": "retrieve", "per_hour": 20.0}],
    )
    day = draw_tasks(made, prepare_site(made).layout, 0).time // DAY
    # 25 December 2027 is a Saturday, observed on Friday 24
    holds(~np.isin(day, [4.0, 5.0]), "no work on the holiday and on the day it is observed")
    assert set(range(10)) - set(day.astype(int).tolist()) == {4, 5}


def test_staggered_breaks():
    """Six drivers, a break of 20 min in three groups from 09:00: four at work until 10:00, then six."""

    def check(groups: int) -> None:
        fleet = prepare_site(
            scenario(
                hours=24.0,
                trucks=[PLAIN | {"count": 6}],
                shifts=[
                    {
                        "trucks": "reach",
                        "from": "06:00",
                        "to": "14:00",
                        "crew": 6,
                        "breaks": [["09:00", "09:20"]],
                        "break_groups": groups,
                    }
                ],
            )
        ).fleet
        expected = {
            5.9: 0,
            6.0: 6,
            8.99: 6,
            9.0: 4,
            9.3: 4,
            9.34: 4,
            9.7: 4,
            9.99: 4,
            10.0: 6,
            13.99: 6,
            14.0: 0,
        }
        found = [sum(fleet.is_on_duty(truck, hour * 3600.0) for truck in range(6)) for hour in expected]
        equals(found, list(expected.values()), 0.0, "drivers at work")

    check(3)
    with spoilt("all at once"):
        check(1)
    with spoilt("two groups"):
        check(2)


def busy_shares(runs: int, change_s: float) -> np.ndarray:
    """Share of the time that the only change station is busy, after five days, in each run.

    Five trucks with work without end, each move 60 s: 3600 s of work on a battery, then a change.
    """
    shares = []
    for run in range(runs):
        trucks = PLAIN | {
            "count": 5,
            "handling_mean_s": 30.0,
            "battery_h": 1.0,
            "charge_at": 0.0,
            "change_mean_s": change_s,
            "change_cv": 1.0,
            "chargers": 1,
        }
        charges = run_floor(
            run,
            hours=24.0 * 25,
            trucks=[trucks],
            floor={"aisle_length_m": 1e-6, "aisle_pitch_m": 1e-6},
            work=[{"name": "out", "kind": "retrieve", "per_hour": 240.0}],
        ).log.charges
        begin, end = np.maximum(charges.begin, 5 * DAY), np.clip(charges.end, 5 * DAY, 25 * DAY)
        shares.append(np.sum(np.maximum(0.0, end - np.minimum(begin, end))) / (20 * DAY))
    return np.array(shares)


def check_repair(change_s: float) -> None:
    """Machine repair, N = 5, r = service over up-time = .25, one server: busy .800933 (P0 .199067).

    Exponential service; the law of the up-times does not matter (the sources are an infinite-server
    station of a product-form network, from memory), here it is constant.
    """
    weights = [math.factorial(5) / math.factorial(5 - k) * 0.25**k for k in range(6)]
    equals(1 - 1 / sum(weights), 0.800933, 1e-6, "the formula itself")
    shares = busy_shares(10, change_s)
    agrees(shares.mean(), 0.800933, np.std(shares, ddof=1) / math.sqrt(10), "the station is busy")


def test_battery_changes_are_machine_repair():
    check_repair(900.0)
    with spoilt("changes 10 % shorter"):
        check_repair(810.0)


def test_charging_takes_its_part_of_the_full_time():
    """A battery of 2 h, charged below 0.2, 1.5 h from empty to full: (1 - state) 1.5 h each, state by hand.

    Moves of 60 s: below 0.2 means at most 1440 s left; 96 moves leave exactly that (or a hair less).
    """

    def check(charge_h: float) -> None:
        trucks = PLAIN | {"handling_mean_s": 30.0, "battery_h": 2.0, "charge_h": 1.5}
        made = run_floor(
            hours=48.0,
            trucks=[trucks],
            floor={"aisle_length_m": 1e-6, "aisle_pitch_m": 1e-6},
            work=[{"name": "out", "kind": "retrieve", "per_hour": 100.0}],
        )
        charges = made.log.charges
        assert len(charges.truck) > 10
        equals(charges.end - charges.begin, 0.8 * charge_h * 3600.0, 0.01 * 3600.0, "length of a charge")
        equals(charges.begin, charges.arrive, 0.0, "no limit of chargers")
        moving = np.flatnonzero(np.isfinite(made.log.finish))
        for begin, end in zip(charges.begin, charges.end, strict=True):
            holds(
                (made.log.finish[moving] <= begin + 1e-6) | (made.log.begin[moving] >= end - 1e-6),
                "it stands",
            )

    check(1.5)
    with spoilt("an hour"):
        check(1.0)
