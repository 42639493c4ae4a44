"""Bounds on what can be saved, and two checks against common practice.

The bound is arithmetic: where the light is high whenever a truck is there, saving needs empty time.  The two
practice checks are marked "common practice, no source": rough figures of the trade, with wide margins.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from sim.floor.layout import lay_out
from sim.replication import Site, prepare_site, replay_site, simulate_traffic
from sim.scenario.schema import Scenario
from tests.truth.truth_scenes import (
    TRUCK,
    equals,
    holds,
    plain_visits,
    poisson_times,
    replay,
    scenario,
    site,
    spoilt,
)

CURVES = {
    "straight": {"full_w": 100.0},
    "standby": {"full_w": 100.0, "standby_w": 8.0},
    "bent": {"full_w": 100.0, "power_curve": [[0.0, 2.0], [0.2, 30.0], [0.6, 70.0], [1.0, 100.0]]},
}
SEES_ALL = {"at": "every", "range_m": 60.0, "still_rate_per_min": 120.0}
"""A standing truck gives 120 pulses a minute: the light never leaves it within a timeout of 30 s."""


def share_of_power(made: Scenario, level: float) -> float:
    """P(level) / P(1) of one luminaire."""
    lamps = made.luminaires
    rows = lamps.power_curve or ((0.0, lamps.standby_w), (1.0, lamps.full_w))
    return float(np.interp(level, [row[0] for row in rows], [row[1] for row in rows])) / rows[-1][1]


def seen_site(curve: str, sensors: dict[str, Any], timeout_s: float, zones: int = 1) -> Site:
    """Return a site with two periods a day, occupied level 1, fades down only."""
    levels = {"day": (0.3, timeout_s), "night": (0.1, 2.0 * timeout_s)}
    return prepare_site(
        scenario(
            aisles=4,
            hours=48.0,
            luminaires=CURVES[curve],
            sensors=sensors,
            floor={"zones_per_aisle": zones},
            trucks=[TRUCK | {"handling_mean_s": 60.0, "handling_cv": 1.0, "acceleration_m_per_s2": 0.5}],
            work=[{"name": "out", "kind": "retrieve", "per_hour": [2.0] * 6 + [60.0] * 14 + [5.0] * 4}],
            lighting={
                "settings": {
                    name: {"unoccupied_level": level, "timeout_s": timeout, "fade_down_s": 5.0}
                    for name, (level, timeout) in levels.items()
                }
            },
            timetable=[
                {"from": "06:00", "to": "20:00", "settings": "day"},
                {"from": "20:00", "to": "06:00", "settings": "night"},
            ],
        )
    )


def check_bound(curve: str, sensors: dict[str, Any], timeout_s: float, zones: int = 1) -> None:
    """O11 in power: saved share <= (1 - P(lowest level)/P(1)) x unoccupied share, by zone, hour and period.

    Occupied level 1, no fade-up, no miss, no latency; each period with the lowest level of its settings.
    """
    place = seen_site(curve, sensors, timeout_s, zones)
    outcomes, _ = replay_site(place, simulate_traffic(place, 0))
    most = {
        name: 1.0 - share_of_power(place.scenario, level) for name, level in (("day", 0.3), ("night", 0.1))
    }
    hours, count = outcomes.hours, len(place.layout.zones)
    empty = 1.0 - hours["occupied_h"] / count
    clock = np.arange(48) % 24
    is_day = (clock >= 6) & (clock < 20)
    bound = np.where(is_day, most["day"], most["night"]) * empty
    holds(hours["saved_share"] <= bound + 1e-12, "in every hour")
    for of_period, name in ((is_day, "day"), (~is_day, "night")):
        saved = hours["saved_kwh"][of_period].sum() / hours["always_on_kwh"][of_period].sum()
        holds(saved <= most[name] * empty[of_period].mean() + 1e-12, f"by {name}")
        holds(saved >= 0.05, "something is saved")
    empty_zone = 1.0 - outcomes.zones["occupied_h"] / 48.0
    holds(outcomes.zones["saved_share"] <= most["night"] * empty_zone + 1e-12, "in every zone")


@pytest.mark.parametrize("zones", [1, 3])
@pytest.mark.parametrize("curve", CURVES)
def test_O11_saving_needs_empty_time(curve, zones):
    sensors = SEES_ALL if zones == 1 else SEES_ALL | {"range_m": 3.5}
    check_bound(curve, sensors, 30.0, zones)
    with spoilt("standing trucks are not seen and the timeout is short"):
        check_bound(curve, sensors | {"still_rate_per_min": 0.0}, 5.0, zones)


def check_equality(curve: str, timeout_s: float) -> None:
    """O11: equality as the timeout goes to 0: seen from entry to exit, no timeout, no fade."""
    place = site(aisles=50, hours=20.0, luminaires=CURVES[curve], day={"timeout_s": timeout_s})
    aisle, enter = poisson_times(np.random.default_rng(11), 50, 12.0 / 3600.0, 72_000.0)
    leave = enter + np.random.default_rng(12).standard_exponential(len(enter)) * 90.0
    outcomes, _ = replay(place, aisle, enter, leave, plain_visits(aisle, enter, leave, 72_000.0))
    most = 1.0 - share_of_power(place.scenario, 0.2)
    bound = most * (1.0 - outcomes.zones["occupied_h"] / 20.0)
    equals(outcomes.zones["saved_share"], bound, 1e-12, "saved share of each zone")


@pytest.mark.parametrize("curve", CURVES)
def test_O11_is_reached_without_a_timeout(curve):
    check_equality(curve, 0.0)
    with spoilt("timeout 10 s"):
        check_equality(curve, 10.0)


def carriers(per_aisle: int, at: str = "ends") -> float:
    """Share of luminaires that carry a sensor."""
    layout = lay_out(
        scenario(aisles=24, luminaires={"per_aisle": per_aisle}, sensors={"at": at, "range_m": 9.0})
    )
    return len(layout.sensor_m) / float((layout.dimmed + layout.fixed).sum())


def check_carriers(at: str) -> None:
    """Aisles of 8 to 12 luminaires, the usual length: 25 % to 17 %, and with 10 exactly one in five."""
    equals(carriers(10, at), 0.2, 1e-12, "share of luminaires with a sensor, 10 an aisle")
    for per_aisle in range(8, 13):
        holds(0.16 <= carriers(per_aisle, at) <= 0.25, f"about one in five, {per_aisle} an aisle")


def test_end_sensors_sit_on_about_one_luminaire_in_five():
    """Common practice, no source."""
    check_carriers("ends")
    with spoilt("a sensor on every luminaire"):
        check_carriers("every")


def plausible_site(**day: float) -> Scenario:
    """Return an invented two-shift store: 24 aisles, end sensors, 30 % after five minutes, low at night."""
    workdays = ["Mon", "Tue", "Wed", "Thu", "Fri"]
    by_hour = [0.0] * 6 + [18, 30, 38, 40, 34, 30, 26, 32, 36, 34, 30, 28, 24, 20, 16, 10] + [0.0] * 2
    settings = {
        "day": {"unoccupied_level": 0.3, "timeout_s": 300.0, "fade_up_s": 0.7, "fade_down_s": 10.0} | day,
        "night": {"occupied_level": 0.8, "unoccupied_level": 0.2, "timeout_s": 180.0, "fade_down_s": 10.0}
        | day,
    }
    return scenario(
        aisles=24,
        hours=7 * 24.0,
        floor={
            "aisle_length_m": 68.0,
            "aisle_pitch_m": 5.4,
            "aisle_capacity": 2,
            "staging_depth_m": 16.0,
            "dock_doors": 9,
        },
        luminaires={"per_aisle": 11, "full_w": 96.0, "standby_w": 0.5, "fixed_on": 1},
        sensors={
            "at": "ends",
            "range_m": 10.0,
            "approach_m": 3.0,
            "passing_trigger": 0.3,
            "passing_range_m": 3.0,
            "still_rate_per_min": 2.0,
            "miss": 0.02,
            "latency_s": 0.4,
            "hold_s": 10.0,
        },
        lighting={"settings": settings},
        timetable=[
            {"days": workdays, "from": "06:00", "to": "22:00", "settings": "day"},
            {"days": workdays, "from": "22:00", "to": "06:00", "settings": "night"},
            {"days": ["Sat", "Sun"], "from": "06:00", "to": "06:00", "settings": "night"},
        ],
        trucks=[
            {
                "name": "reach",
                "count": 9,
                "speed_laden_m_per_s": 2.1,
                "speed_empty_m_per_s": 2.5,
                "acceleration_m_per_s2": 0.5,
                "handling_mean_s": 55.0,
                "handling_cv": 0.5,
            }
        ],
        shifts=[
            {
                "trucks": "reach",
                "days": workdays,
                "from": "06:00",
                "to": "14:00",
                "crew": 7,
                "breaks": [["10:00", "10:20"]],
            },
            {
                "trucks": "reach",
                "days": workdays,
                "from": "14:00",
                "to": "22:00",
                "crew": 6,
                "breaks": [["18:00", "18:20"]],
            },
        ],
        work=[
            {
                "name": "out",
                "kind": "retrieve",
                "per_hour": by_hour,
                "days": workdays,
                "top_20pct_share": 0.6,
            },
            {
                "name": "in",
                "kind": "putaway",
                "per_hour": by_hour[2:] + [0.0] * 2,
                "days": workdays,
                "top_20pct_share": 0.6,
            },
            {"name": "move", "kind": "replenish", "per_hour": 6.0, "days": workdays, "bay_skew": 0.5},
        ],
    )


def check_saving(made: Scenario) -> None:
    """Share saved against always on over the week, and in the hours of work alone: both 15 % to 50 %."""
    place = prepare_site(made)
    outcomes, _ = replay_site(place, simulate_traffic(place, 0))
    hour = np.arange(168)
    at_work = (hour // 24 < 5) & (hour % 24 >= 6) & (hour % 24 < 22)
    saved = outcomes.hours["saved_kwh"][at_work].sum() / outcomes.hours["always_on_kwh"][at_work].sum()
    holds(
        0.15 <= outcomes.total["saved_share"] <= 0.50,
        f"over the week {outcomes.total['saved_share']:.3f} saved",
    )
    holds(0.15 <= saved <= 0.50, f"in the hours of work {saved:.3f} saved")


def test_a_plausible_site_saves_a_plausible_share():
    """Common practice, no source: about 30 % over a whole site, so 15 % to 50 % for invented numbers."""
    check_saving(plausible_site())
    with spoilt("a timeout of two hours"):
        check_saving(plausible_site(timeout_s=7200.0))
    with spoilt("off after ten seconds"):
        check_saving(plausible_site(timeout_s=10.0, unoccupied_level=0.0))
