"""What drivers lost to the light, by hand: minutes, minutes per driver and eight hours, stops by zone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sim.lighting.live_floor import DriverLoss
from sim.outcome.losses import add_losses
from sim.results import Outcomes, TrafficBooks

BEFORE = Outcomes({"visits": 7.0}, {"visits": np.array([3.0, 4.0])}, {"visits": np.array([7.0])}, np.zeros(4))
LOSS = DriverLoss([90.0, 240.0], [2, 3], [1, 0], slowed_s=270.0, waited_s=60.0, waits=5, gave_up=1)


def books(*duty_h: float) -> TrafficBooks:
    """Groups of trucks, of which only the hours on duty count."""
    return TrafficBooks({}, {f"group {k}": {"duty_h": hours} for k, hours in enumerate(duty_h)}, {}, {})


def test_losses_of_two_groups() -> None:
    """270 s slowed and 60 s waited are 5.5 min; 12 and 4 h on duty are two shifts of eight: 2.75 min each."""
    found = add_losses(BEFORE, LOSS, books(12.0, 4.0))
    assert found.total == {
        "visits": 7.0, "light_lost_min": 5.5, "light_lost_min_per_shift": 2.75, "light_waits": 5.0,
        "light_waits_given_up": 1.0,
    }
    assert {name: column.tolist() for name, column in found.zones.items()} == {
        "visits": [3.0, 4.0], "light_lost_min": [1.5, 4.0], "light_waits": [2.0, 3.0],
        "light_waits_given_up": [1.0, 0.0],
    }
    assert all(column.dtype == np.float64 for column in found.zones.values())
    assert found.hours is BEFORE.hours
    assert add_losses(BEFORE, replace(LOSS, waited_s=90.0), books(16.0)).total["light_lost_min"] == 6.0


def test_nobody_on_duty_loses_nothing_per_shift() -> None:
    assert add_losses(BEFORE, LOSS, books(0.0)).total["light_lost_min_per_shift"] == 0.0
    assert add_losses(BEFORE, LOSS, books()).total["light_lost_min_per_shift"] == 0.0
