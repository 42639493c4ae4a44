"""Settings evaluated by ages must equal the replay also with bent curves and exception dates."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pytest

from sim.replication import prepare_site, simulate_traffic
from sim.scenario.tables.week import DayException
from sim.study.ages.evaluate import evaluate_by_replay, evaluate_settings
from tests.show.made_results import make_scenario

UNLIKE = (
    DayException(dates=(dt.date(2027, 3, 2),), settings="night"),
    DayException(dates=(dt.date(2027, 3, 3),), as_day="Sun"),
)


@pytest.mark.parametrize(
    ("lamps", "exceptions"),
    [
        ({"driver_min_level": 0.15}, None),
        ({"driver_min_level": 0.15, "relay_off": True, "standby_w": 1.0}, None),
        ({"power_curve": "iec62386-log"}, None),
        ({"relay_off": True, "standby_w": 1.0}, UNLIKE),
    ],
)
def test_sweeps_equal_replays(lamps: dict[str, object], exceptions: tuple[DayException, ...] | None) -> None:
    scenario = make_scenario(
        days=3.0, luminaires={"per_aisle": 10, "full_w": 100.0, **lamps},
    ).model_copy(update={"exceptions": exceptions})
    site = prepare_site(scenario)
    traffic = simulate_traffic(site, 0)
    base = dict(scenario.lighting.settings)
    choices = [
        {
            name: one.model_copy(
                update={"unoccupied_level": level, "timeout_s": timeout, "fade_down_s": fade}
            )
            for name, one in base.items()
        }
        for level in (0.0, 0.1, 0.3)
        for timeout in (60.0, 300.0)
        for fade in (0.0, 20.0)
    ]
    fast = evaluate_settings(site, traffic, choices)
    slow = evaluate_by_replay(site, traffic, choices)
    for name, expected in slow.items():
        assert np.allclose(fast[name], expected, rtol=1e-9, atol=1e-7), name


def test_without_the_exceptions_the_check_would_fail() -> None:
    with_them = make_scenario(days=3.0).model_copy(update={"exceptions": UNLIKE})
    without = make_scenario(days=3.0)
    energy = []
    for site in (prepare_site(with_them), prepare_site(without)):
        choice = dict(site.scenario.lighting.settings)
        energy.append(evaluate_settings(site, simulate_traffic(site, 0), [choice])["energy_kwh"][0])
    assert abs(energy[0] - energy[1]) > 0.1
