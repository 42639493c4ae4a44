"""The floor as arrays: aisles, doors, zones, luminaires and sensors with their positions.

Comes in: a resolved scenario.  Goes out: a frozen `Layout`.  Before: `scenario`; after: `traffic`,
`sensing`, `outcome`.  Coordinates: across the aisles from the outer side of the first aisle [m];
along an aisle from its front mouth [m].  Front mouths lie in one line; the back cross-aisle lies
behind the longest aisle, so that a shorter one has a stub to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.floor.areas import OpenArea, lay_areas
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
    direction : of each aisle: 1 from the front to the back, -1 the other way, 0 either way (A,)
    cross_m : the middle cross-aisles' places along the aisles, ascending (K,)
    places : names of what the lights' programs belong to: aisles, or groups of aisles that share one zone, in
        order of their first aisles; then open areas (P,)
    aisle_place : place of each aisle (A,)
    zones_per_aisle : number of zones each aisle is cut into
    zones : names; the place's own, or A07.2 where it is cut (Z,)
    zone_place : place of each zone, ascending (Z,)
    zone_from_m, zone_to_m : its stretch of the aisle, of a group the longest aisle's, of an area its place
        along the aisles (Z,)
    dimmed, fixed : luminaires of the zone that dim, and that never do (Z,)
    luminaires, sensors : the resolved tables of each aisle (A,)
    place_luminaires : the table whose power each place's luminaires have; of aisles, the first one's (P,)
    place_sensors : the table whose hold and latency each place's sensors have, likewise (P,)
    sensor_aisle, sensor_zone, sensor_m : aisle, zone and position of each sensor (S,)
    front_sensor, back_sensor : the sensor nearest to either mouth, by aisle (A,)
    lead_zones : motion counts in so many zones on either side
    dead_sensor : whether a sensor is named dead, None where none is (S,)
    areas : the open areas; their zones and places come after those of the aisles
    """

    aisles: tuple[str, ...]
    length_m: FloatColumn
    aisle_m: FloatColumn
    door_m: FloatColumn
    width_m: float
    staging_depth_m: float
    capacity: int | None
    direction: IntColumn
    cross_m: FloatColumn
    places: tuple[str, ...]
    aisle_place: IntColumn
    zones_per_aisle: int
    zones: tuple[str, ...]
    zone_place: IntColumn
    zone_from_m: FloatColumn
    zone_to_m: FloatColumn
    dimmed: IntColumn
    fixed: IntColumn
    luminaires: tuple[Luminaires, ...]
    sensors: tuple[Sensors, ...]
    place_luminaires: tuple[Luminaires, ...]
    place_sensors: tuple[Sensors, ...]
    sensor_aisle: IntColumn
    sensor_zone: IntColumn
    sensor_m: FloatColumn
    front_sensor: IntColumn
    back_sensor: IntColumn
    lead_zones: int = 0
    dead_sensor: NDArray[np.bool_] | None = None
    areas: tuple[OpenArea, ...] = ()

    @property
    def zones_in_aisles(self) -> int:
        """How many zones lie in aisles; those of open areas come after them."""
        return len(self.zones) - len(self.areas)

    @property
    def sensor_count(self) -> int:
        """How many sensors the floor has."""
        return len(self.sensor_m) + sum(len(area.dead_sensor) for area in self.areas)

    def zones_of(self, aisle: int) -> range:
        """Return the indices of an aisle's zones, front to back; aisles of a group share theirs."""
        return self.zones_of_place(int(self.aisle_place[aisle]))

    def stretch(self, aisle: int, zone: int) -> tuple[float, float]:
        """Return from where to where an aisle lies in one of its zones [m]."""
        return float(self.zone_from_m[zone]), min(float(self.zone_to_m[zone]), float(self.length_m[aisle]))

    def zones_of_place(self, place: int) -> range:
        """Return the indices of a place's zones, front to back."""
        first, last = np.searchsorted(self.zone_place, [place, place + 1])
        return range(int(first), int(last))

    def aisles_of(self, place: int) -> IntColumn:
        """Return the aisles of a place; none of an open area."""
        return np.flatnonzero(self.aisle_place == place)

    def zone_at(self, aisle: IntColumn, part: IntColumn | int) -> IntColumn:
        """Return the zone of so many-th parts of aisles, counted from 0 at the front mouth (n,)."""
        zone: IntColumn = self.aisle_place[aisle] * self.zones_per_aisle + part
        return zone

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
    sensor_part: list[int] = []
    sensor_m: list[float] = []
    front, back = [], []
    dead: list[bool] = []
    for aisle, (lamps, eyes) in enumerate(zip(luminaires, sensors, strict=True)):
        home = _luminaire_zones(lamps.per_aisle, cut)
        is_fixed = np.arange(lamps.per_aisle) >= lamps.per_aisle - lamps.fixed_on
        dimmed.append(np.bincount(home[~is_fixed], minlength=cut))
        fixed.append(np.bincount(home[is_fixed], minlength=cut))
        positions, parts = sensor_positions(eyes, lamps, float(length[aisle]), cut)
        front.append(len(sensor_m) + int(np.argmin(positions)))
        back.append(len(sensor_m) + int(np.argmax(positions)))
        named = scenario.dead_sensors_of(names[aisle], len(positions))
        dead.extend(number + 1 in named for number in range(len(positions)))
        sensor_m.extend(positions.tolist())
        sensor_part.extend(parts.tolist())
        sensor_aisle.extend([aisle] * len(positions))
    aisle_m, width = _centre_lines(floor.aisle_pitch_m, len(names))
    areas = lay_areas(scenario, width)
    places = scenario.places
    in_aisles = len(places) - len(areas)
    open_place = np.arange(in_aisles, len(places))
    aisle_place = _places_of_aisles(places[:in_aisles], names)
    share = aisle_place * cut
    cut_place = np.repeat(np.arange(in_aisles), cut)
    longest = np.zeros(in_aisles)
    np.maximum.at(longest, aisle_place, length)
    part = np.tile(np.arange(cut), in_aisles)
    open_lamps = [scenario.luminaires_of(area.name) for area in areas]
    open_fixed = np.array([lamps.fixed_on for lamps in open_lamps], dtype=np.int64)
    open_count = np.array([lamps.per_aisle for lamps in open_lamps], dtype=np.int64)
    first_aisle = [names.index(members[0]) for _, members in places[:in_aisles]]
    return Layout(
        aisles=names,
        length_m=length,
        aisle_m=aisle_m,
        door_m=(np.arange(floor.dock_doors) + 0.5) * width / floor.dock_doors,
        width_m=width,
        staging_depth_m=floor.staging_depth_m,
        capacity=floor.aisle_capacity,
        direction=np.array(floor.directions(names), dtype=np.int64),
        cross_m=np.array(sorted(floor.cross_aisles_m or ()), dtype=np.float64),
        places=tuple(name for name, _ in places),
        aisle_place=aisle_place,
        zones_per_aisle=cut,
        zones=_zone_names(places, in_aisles, cut),
        zone_place=np.concatenate([cut_place, open_place]),
        zone_from_m=np.append(longest[cut_place] * part / cut, [area.along_m[0] for area in areas]),
        zone_to_m=np.append(longest[cut_place] * (part + 1) / cut, [area.along_m[1] for area in areas]),
        dimmed=np.append(_by_zone(dimmed, share, len(cut_place)), open_count - open_fixed),
        fixed=np.append(_by_zone(fixed, share, len(cut_place)), open_fixed),
        luminaires=luminaires,
        sensors=sensors,
        place_luminaires=(*(luminaires[aisle] for aisle in first_aisle), *open_lamps),
        place_sensors=(
            *(sensors[aisle] for aisle in first_aisle),
            *(scenario.sensors_of(area.name) for area in areas),
        ),
        sensor_aisle=np.array(sensor_aisle, dtype=np.int64),
        sensor_zone=share[sensor_aisle] + np.array(sensor_part, dtype=np.int64),
        sensor_m=np.array(sensor_m, dtype=np.float64),
        front_sensor=np.array(front, dtype=np.int64),
        back_sensor=np.array(back, dtype=np.int64),
        lead_zones=floor.lead_zones,
        dead_sensor=np.array(dead, dtype=bool) if any(dead) else None,
        areas=areas,
    )


def _zone_names(places: Sequence[tuple[str, tuple[str, ...]]], in_aisles: int, cut: int) -> tuple[str, ...]:
    """Name the zones: the place's own name, or A07.2 where it is cut (Z,)."""
    names = [name for name, _ in places]
    if cut == 1:
        return tuple(names)
    parts = [f"{name}.{part + 1}" for name in names[:in_aisles] for part in range(cut)]
    return (*parts, *names[in_aisles:])


def _places_of_aisles(places: Sequence[tuple[str, tuple[str, ...]]], names: Sequence[str]) -> IntColumn:
    """Place of each aisle (A,)."""
    home = {aisle: number for number, (_, aisles) in enumerate(places) for aisle in aisles}
    return np.array([home[name] for name in names], dtype=np.int64)


def _by_zone(counts: Sequence[IntColumn], first_zone: IntColumn, zones: int) -> IntColumn:
    """Add up, by zone, counts by part of each aisle (Z,)."""
    total = np.zeros(zones, dtype=np.int64)
    for count, first in zip(counts, first_zone.tolist(), strict=True):
        total[first : first + len(count)] += count
    return total
