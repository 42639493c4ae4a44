"""Battery changes: how long each one takes.

Comes in: scenario and fleet.  Goes out: for every truck its changes one after the other [s].  After it:
`traffic/world`.
"""

from __future__ import annotations

from collections.abc import Iterator

from sim.randomness import random_stream
from sim.scenario.schema import Scenario
from sim.traffic.arrivals import draw_gamma
from sim.traffic.fleet import Fleet

__all__ = ["battery_changes"]

BLOCK = 64


def battery_changes(scenario: Scenario, fleet: Fleet, replication: int) -> tuple[Iterator[float], ...]:
    """Return every truck's battery changes, each truck from a random stream of its own (T,)."""

    def changes(truck: int) -> Iterator[float]:
        trucks = scenario.trucks[fleet.group[truck]]
        rng = random_stream(scenario.seed, replication, "battery", truck)
        while True:
            yield from draw_gamma(rng, trucks.change_mean_s or 0.0, trucks.change_cv, BLOCK).tolist()

    return tuple(changes(truck) for truck in range(len(fleet.names)))
