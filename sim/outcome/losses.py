"""What drivers who react to the light lost to it, of the site and by zone.

Comes in: a live floor's losses, the trucks' books.  Goes out: `Outcomes` with those of `LIVE_OUTCOMES`.
Before: `lighting/live_floor`; after: `replication`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sim.lighting.live_floor import DriverLoss
from sim.results import Outcomes, TrafficBooks

__all__ = ["SHIFT_H", "add_losses"]

SHIFT_H = 8.0
"""Hours on duty that a driver's losses are given for."""


def add_losses(outcomes: Outcomes, loss: DriverLoss, books: TrafficBooks) -> Outcomes:
    """Return outcomes with what the drivers lost beside the others; zones add up to the site.

    Parameters
    ----------
    outcomes : without
    loss : of one live simulation
    books : of the same, for the hours on duty
    """
    shifts = sum(group["duty_h"] for group in books.groups.values()) / SHIFT_H
    lost_min = (loss.slowed_s + loss.waited_s) / 60.0
    total = {
        "light_lost_min": lost_min,
        "light_lost_min_per_shift": lost_min / shifts if shifts else 0.0,
        "light_waits": float(loss.waits),
        "light_waits_given_up": float(loss.gave_up),
    }
    zones = {
        "light_lost_min": np.array(loss.zone_lost_s) / 60.0,
        "light_waits": np.array(loss.zone_waits, dtype=np.float64),
        "light_waits_given_up": np.array(loss.zone_gave_up, dtype=np.float64),
    }
    return replace(outcomes, total={**outcomes.total, **total}, zones={**outcomes.zones, **zones})
