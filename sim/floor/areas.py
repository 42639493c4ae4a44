"""Open areas in the plan: rectangles with sensors, each one control zone.

Comes in: a resolved scenario.  Goes out: `OpenArea`s.  Before: `scenario`; after: `floor/layout`,
`sensing`. A rectangle is closed towards the first aisle and the docks and open on its far sides, so that
areas that touch share no place; a far side on the floor's outer side is closed, for trucks drive along
it.  A truck inside an aisle counts there alone, whatever rectangle covers it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn
from sim.scenario.schema import Scenario

__all__ = ["ROUNDING_M", "OpenArea", "lay_areas", "spread_evenly"]

ROUNDING_M = 1e-6
"""A side so near to the floor's outer side is on it: pitch times aisles is not what a user writes."""


@dataclass(frozen=True)
class OpenArea:
    """One open area.

    Attributes
    ----------
    name : of it and its zone
    across_m, along_m : its sides, from and to; along negative towards the docks
    is_last : whether its far side across is the floor's outer side
    sensor_across_m, sensor_along_m : places of its sensors (n,)
    radius_m : what each of them sees
    miss, still_rate_per_s, still_rate_person_per_s : as those of an aisle's sensors
    dead_share : share of its sensors that are dead in a replication
    dead_sensor : whether a sensor is named dead (n,)
    """

    name: str
    across_m: tuple[float, float]
    along_m: tuple[float, float]
    is_last: bool
    sensor_across_m: FloatColumn
    sensor_along_m: FloatColumn
    radius_m: float
    miss: float
    still_rate_per_s: float
    still_rate_person_per_s: float
    dead_share: float
    dead_sensor: NDArray[np.bool_]

    def holds(self, across_m: FloatColumn, along_m: FloatColumn) -> NDArray[np.bool_]:
        """Say whether places lie in the area (n,)."""
        (left, right), (near, far) = self.across_m, self.along_m
        within = (left <= across_m) & (across_m < (np.inf if self.is_last else right))
        inside: NDArray[np.bool_] = within & (near <= along_m) & (along_m < far)
        return inside


def lay_areas(scenario: Scenario, width_m: float) -> tuple[OpenArea, ...]:
    """Place every open area of a scenario.

    Parameters
    ----------
    scenario : resolved and free of contradictions
    width_m : of the floor
    """
    made = []
    for area in scenario.area or ():
        sensors = scenario.sensors_of(area.name)
        places = np.array(area.sensors_at_m, dtype=np.float64)
        named = area.dead_sensors or ()
        dead = [named == "all" or number + 1 in named for number in range(len(places))]
        made.append(
            OpenArea(
                name=area.name,
                across_m=area.across_m,
                along_m=area.along_m,
                is_last=area.across_m[1] >= width_m - ROUNDING_M,
                sensor_across_m=places[:, 0],
                sensor_along_m=places[:, 1],
                radius_m=area.radius_m,
                miss=sensors.miss,
                still_rate_per_s=sensors.still_rate_per_min / 60.0,
                still_rate_person_per_s=sensors.person_rate_per_min / 60.0,
                dead_share=sensors.dead_share,
                dead_sensor=np.array(dead, dtype=bool),
            )
        )
    return tuple(made)


def spread_evenly(count: int, across_m: float, along_m: float) -> tuple[FloatColumn, FloatColumn]:
    """Return where luminaires stand in a rectangle: rows about as far apart as columns [m] (n,) each.

    >>> [place.tolist() for place in spread_evenly(4, 20.0, 20.0)]
    [[5.0, 15.0, 5.0, 15.0], [5.0, 5.0, 15.0, 15.0]]
    """
    rows = max(1, min(count, round(math.sqrt(count * along_m / across_m))))
    edges = count * np.arange(rows + 1) // rows
    row = np.repeat(np.arange(rows), np.diff(edges))
    place = np.arange(count) - edges[row]
    return (place + 0.5) * across_m / np.diff(edges)[row], (row + 0.5) * along_m / rows
