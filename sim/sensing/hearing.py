"""In which zones motion counts: a zone's own sensors, lead zones, zones that have lost their sensors.

Comes in: what each zone's sensors saw.  Goes out: what each zone's lights hear.  Before: `sensing/coverage`;
after: `lighting`.  A lead zone hears its neighbours' motion as if its own sensors had seen it: it goes high
with them, after the same latency, and its age counts from their motion too.  A zone whose sensors are all
dead hears motion from second 0 to the end, so it goes high at the start and stays high.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout
from sim.records import Detections, IntColumn
from sim.sensing.coverage import unite

__all__ = ["draw_dead", "failed_zones", "hear", "hearers_of"]


def draw_dead(
    layout: Layout, stream_of: Callable[[int], np.random.Generator]
) -> NDArray[np.bool_] | None:
    """Return which sensors are dead in one replication, None where all work (S,).

    Parameters
    ----------
    layout : with sensors that are named dead, and each aisle's share
    stream_of : makes the stream of this draw in an aisle; one number is drawn for each of its sensors
    """
    share = layout.sensor_values("dead_share")
    dead = np.zeros(len(layout.sensor_m), dtype=bool)
    for aisle in np.flatnonzero(share > 0.0).tolist():
        own = np.flatnonzero(layout.sensor_aisle == aisle)
        dead[own] = stream_of(aisle).random(len(own)) < share[aisle]
    if layout.dead_sensor is not None:
        dead |= layout.dead_sensor
    return dead if dead.any() else None


def failed_zones(
    layout: Layout, is_dead: NDArray[np.bool_] | None, in_areas: Sequence[NDArray[np.bool_]] = ()
) -> IntColumn:
    """Return the zones all of whose sensors are dead.

    Parameters
    ----------
    layout : the floor
    is_dead : of the aisles' sensors; None: all work (S,)
    in_areas : of each open area's sensors (K,)
    """
    dark = np.flatnonzero([bool(dead.all()) for dead in in_areas]) + layout.zones_in_aisles
    if is_dead is None:
        return dark
    alive = np.bincount(layout.sensor_zone[~is_dead], minlength=layout.zones_in_aisles)
    return np.append(np.flatnonzero(alive == 0), dark)


def hearers_of(layout: Layout) -> list[tuple[int, ...]]:
    """Return for each zone the zones in which its motion counts, itself among them (Z,)."""
    cut, lead = layout.zones_per_aisle, layout.lead_zones
    found = []
    for zone in range(layout.zones_in_aisles):
        first = zone - zone % cut
        part = zone - first
        low, high = max(0, part - lead), min(cut - 1, part + lead)
        found.append(tuple(range(first + low, first + high + 1)))
    return [*found, *((zone,) for zone in range(layout.zones_in_aisles, len(layout.zones)))]


def hear(layout: Layout, seen: Detections, failed: IntColumn, end_s: float) -> Detections:
    """Return what each zone's lights hear.

    Parameters
    ----------
    layout : the floor, with its lead zones
    seen : what each zone's own sensors saw
    failed : zones whose sensors are all dead
    end_s : end of the run [s]

    Returns
    -------
    Detections; the very ones that came in where neither key is used
    """
    if layout.lead_zones == 0 and not len(failed):
        return seen
    cut, lead = layout.zones_per_aisle, layout.lead_zones
    zone, start, end = [failed], [np.zeros(len(failed))], [np.full(len(failed), end_s)]
    for step in range(-lead, lead + 1):
        place = seen.zone % cut + step
        there = (place >= 0) & (place < cut) & (seen.zone < layout.zones_in_aisles)
        if step == 0:
            there |= seen.zone >= layout.zones_in_aisles
        zone.append(seen.zone[there] + step)
        start.append(seen.start[there])
        end.append(seen.end[there])
    return unite(np.concatenate(zone), np.concatenate(start), np.concatenate(end))
