"""The floor as arrays: aisles, doors, zones, luminaires and sensors with their positions.

Comes in: a resolved scenario.  Goes out: a frozen `Layout`.  Before: `scenario`; after: `traffic`,
`sensing`, `outcome`.  Coordinates: across the aisles from the outer side of the first aisle [m];
along an aisle from its front mouth [m].  Front mouths lie in one line; the back cross-aisle lies
behind the longest aisle, so that a shorter one has a stub to it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.scenario.schema import Luminaires, Scenario, Sensors

__all__ = ["Layout", "lay_out", "luminaire_positions", "sensor_positions"]


@dataclass(frozen=True)
class Layout:
    """Every place on the floor, by index.

    Attributes
    ----------
    aisles : names (A,)
    length_m : length of each aisle (A,)
    aisle_m : position of each aisle's centre line across the floor (A,)
    door_m : position of each door across the floor (D,)
    width_m : of the whole floor, across the aisles
    staging_depth_m : from the doors to the front cross-aisle
    capacity : trucks in an aisle at once, None for no limit
    zones : names; the aisle's own, or A07.2 where it is cut (Z,)
    zone_aisle : aisle of each zone (Z,)
    zone_from_m, zone_to_m : its stretch of the aisle (Z,)
    dimmed, fixed : luminaires of the zone that dim, and that never do (Z,)
    luminaires, sensors : the resolved tables of each aisle (A,)
    sensor_aisle, sensor_zone, sensor_m : aisle, zone and position of each sensor (S,)
    front_sensor, back_sensor : the sensor nearest to either mouth, by aisle (A,)
    lead_zones : motion counts in so many zones on either side
    dead_sensor : whether a sensor is named dead, None where none is (S,)
    """

    aisles: tuple[str, ...]
    length_m: FloatColumn
    aisle_m: FloatColumn
    door_m: FloatColumn
    width_m: float
    staging_depth_m: float
    capacity: int | None
    zones: tuple[str, ...]
    zone_aisle: IntColumn
    zone_from_m: FloatColumn
    zone_to_m: FloatColumn
    dimmed: IntColumn
    fixed: IntColumn
    luminaires: tuple[Luminaires, ...]
    sensors: tuple[Sensors, ...]
    sensor_aisle: IntColumn
    sensor_zone: IntColumn
    sensor_m: FloatColumn
    front_sensor: IntColumn
    back_sensor: IntColumn
    lead_zones: int = 0
    dead_sensor: NDArray[np.bool_] | None = None

    @property
    def zones_per_aisle(self) -> int:
        """Number of zones each aisle is cut into."""
        return len(self.zones) // len(self.aisles)

    def zones_of(self, aisle: int) -> range:
        """Return the indices of an aisle's zones, front to back."""
        return range(aisle * self.zones_per_aisle, (aisle + 1) * self.zones_per_aisle)

    def sensor_values(self, key: str) -> FloatColumn:
        """Return one number of the sensors table for every aisle (A,)."""
        return np.array([getattr(sensors, key) for sensors in self.sensors], dtype=np.float64)


def luminaire_positions(count: int, length_m: float) -> FloatColumn:
    """Return where luminaire i of n stands: (i + 0.5) L / n from the front mouth [m] (n,).

    >>> luminaire_positions(3, 60.0).tolist()
    [10.0, 30.0, 50.0]
    """
    return (np.arange(count) + 0.5) * length_m / count


def _luminaire_zones(count: int, zones: int) -> IntColumn:
    """Zone of each luminaire; one on a cut belongs to the farther zone (whole numbers: exact)."""
    return (2 * np.arange(count, dtype=np.int64) + 1) * zones // (2 * count)


def sensor_positions(
    sensors: Sensors, luminaires: Luminaires, length_m: float, zones: int
) -> tuple[FloatColumn, IntColumn]:
    """Return the position [m] and the zone within the aisle (from 0) of each sensor of one aisle.

    A sensor on a cut belongs to the farther zone.
    """
    if isinstance(sensors.at, tuple):
        positions = np.array(sorted(sensors.at), dtype=np.float64)
        cuts = length_m * np.arange(1, zones) / zones
        return positions, np.searchsorted(cuts, positions, side="right").astype(np.int64)
    count = luminaires.per_aisle
    chosen = np.arange(count) if sensors.at == "every" else np.unique([0, count - 1])
    return luminaire_positions(count, length_m)[chosen], _luminaire_zones(count, zones)[chosen]


def _centre_lines(pitch_m: float | tuple[float, ...], aisles: int) -> tuple[FloatColumn, float]:
    """Return where the aisles' centre lines stand across the floor (A,) and how wide it is."""
    if isinstance(pitch_m, tuple):
        edges = np.concatenate([[0.0], np.cumsum(pitch_m)])
        return 0.5 * (edges[:-1] + edges[1:]), float(edges[-1])
    return (np.arange(aisles, dtype=np.float64) + 0.5) * pitch_m, pitch_m * aisles


def lay_out(scenario: Scenario) -> Layout:
    """Place every aisle, door, zone, luminaire and sensor of a scenario.

    Parameters
    ----------
    scenario : resolved and free of contradictions; nothing is checked again

    Returns
    -------
    Layout
    """
    floor, names = scenario.floor, scenario.aisle_names
    cut = floor.zones_per_aisle
    length = np.array(scenario.aisle_lengths_m, dtype=np.float64)
    luminaires = tuple(scenario.luminaires_of(name) for name in names)
    sensors = tuple(scenario.sensors_of(name) for name in names)
    dimmed, fixed = [], []
    sensor_aisle: list[int] = []
    sensor_zone: list[int] = []
    sensor_m: list[float] = []
    front, back = [], []
    dead: list[bool] = []
    for aisle, (lamps, eyes) in enumerate(zip(luminaires, sensors, strict=True)):
        home = _luminaire_zones(lamps.per_aisle, cut)
        is_fixed = np.arange(lamps.per_aisle) >= lamps.per_aisle - lamps.fixed_on
        dimmed.append(np.bincount(home[~is_fixed], minlength=cut))
        fixed.append(np.bincount(home[is_fixed], minlength=cut))
        positions, zones = sensor_positions(eyes, lamps, float(length[aisle]), cut)
        front.append(len(sensor_m) + int(np.argmin(positions)))
        back.append(len(sensor_m) + int(np.argmax(positions)))
        named = scenario.dead_sensors_of(names[aisle], len(positions))
        dead.extend(number + 1 in named for number in range(len(positions)))
        sensor_m.extend(positions.tolist())
        sensor_zone.extend((aisle * cut + zones).tolist())
        sensor_aisle.extend([aisle] * len(positions))
    aisle_m, width = _centre_lines(floor.aisle_pitch_m, len(names))
    part = np.tile(np.arange(cut), len(names))
    zone_aisle = np.repeat(np.arange(len(names)), cut)
    return Layout(
        aisles=names,
        length_m=length,
        aisle_m=aisle_m,
        door_m=(np.arange(floor.dock_doors) + 0.5) * width / floor.dock_doors,
        width_m=width,
        staging_depth_m=floor.staging_depth_m,
        capacity=floor.aisle_capacity,
        zones=tuple(names) if cut == 1 else tuple(f"{name}.{k + 1}" for name in names for k in range(cut)),
        zone_aisle=zone_aisle,
        zone_from_m=length[zone_aisle] * part / cut,
        zone_to_m=length[zone_aisle] * (part + 1) / cut,
        dimmed=np.concatenate(dimmed),
        fixed=np.concatenate(fixed),
        luminaires=luminaires,
        sensors=sensors,
        sensor_aisle=np.array(sensor_aisle, dtype=np.int64),
        sensor_zone=np.array(sensor_zone, dtype=np.int64),
        sensor_m=np.array(sensor_m, dtype=np.float64),
        front_sensor=np.array(front, dtype=np.int64),
        back_sensor=np.array(back, dtype=np.int64),
        lead_zones=floor.lead_zones,
        dead_sensor=np.array(dead, dtype=bool) if any(dead) else None,
    )
