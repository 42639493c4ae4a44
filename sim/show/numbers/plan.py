"""The site plan as numbers: aisles, zones, luminaires, sensors with what they reach, doors, staging.

Comes in: scenario and layout.  Goes out: `PlanNumbers`.  Before: `floor/layout`; after: `show/figures/plan`.
A floor too wide for one strip is folded into rows, like a long line of text.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np

from sim.floor.areas import spread_evenly
from sim.floor.layout import Layout, luminaire_positions
from sim.records import FloatColumn
from sim.scenario.schema import Scenario

__all__ = ["PlanAisle", "PlanArea", "PlanNumbers", "PlanRow", "PlanSensor", "plan_numbers"]

MOST_A_ROW, MOST_ROWS = 40, 6
"""Aisles in a row of the plan, and rows on a page."""


@dataclass(frozen=True)
class PlanSensor:
    """One sensor, metres from the front mouth.

    Attributes
    ----------
    at_m : where it is
    from_m, to_m : the stretch it sees for its zone
    is_dead : whether it is named dead
    """

    at_m: float
    from_m: float
    to_m: float
    is_dead: bool


@dataclass(frozen=True)
class PlanAisle:
    """One aisle.

    Attributes
    ----------
    name : of the aisle
    left_m, right_m : across the floor, half of the racks on either side included
    length_m : front mouth to back mouth
    cut_m : where its zones meet, from the front mouth
    dimmed_m, fixed_m : luminaires that dim, and that never do, from the front mouth (n,)
    sensors : front to back
    front_m, back_m : how far outside either mouth a truck that turns in is seen
    direction : 1 where it is driven from the front to the back alone, -1 the other way, 0 either way
    zone : name of the zone that it shares with other aisles, "" for none
    """

    name: str
    left_m: float
    right_m: float
    length_m: float
    cut_m: tuple[float, ...]
    dimmed_m: FloatColumn
    fixed_m: FloatColumn
    sensors: tuple[PlanSensor, ...]
    front_m: float
    back_m: float
    direction: int
    zone: str


Place = tuple[float, float]
"""Across and along the floor [m]."""


@dataclass(frozen=True)
class PlanArea:
    """One open area, or what of it lies in one row of the plan.

    Attributes
    ----------
    name : of the area
    left_m, right_m, near_m, far_m : its sides across and along the floor
    dimmed, fixed : luminaires that dim, and that never do
    eyes, dead : sensors that work, and that are named dead
    radius_m : what each of them sees
    """

    name: str
    left_m: float
    right_m: float
    near_m: float
    far_m: float
    dimmed: tuple[Place, ...]
    fixed: tuple[Place, ...]
    eyes: tuple[Place, ...]
    dead: tuple[Place, ...]
    radius_m: float

    def within(self, left_m: float, right_m: float, *, is_last: bool) -> PlanArea | None:
        """Return what lies between two places across the floor, None for nothing."""
        left, right = max(self.left_m, left_m), min(self.right_m, right_m)
        if left >= right:
            return None

        def inside(places: tuple[Place, ...]) -> tuple[Place, ...]:
            return tuple(one for one in places if left <= one[0] and (one[0] < right_m or is_last))

        return replace(
            self, left_m=left, right_m=right, dimmed=inside(self.dimmed), fixed=inside(self.fixed),
            eyes=inside(self.eyes), dead=inside(self.dead),
        )


@dataclass(frozen=True)
class PlanRow:
    """Aisles that stand side by side in one row of the plan.

    Attributes
    ----------
    aisles : from the dock corner on
    doors : number and place across the floor of each door before them [m]
    areas : open areas beside them
    """

    aisles: tuple[PlanAisle, ...]
    doors: tuple[tuple[int, float], ...]
    areas: tuple[PlanArea, ...]

    @property
    def left_m(self) -> float:
        """Outer side of the first aisle."""
        return self.aisles[0].left_m

    @property
    def right_m(self) -> float:
        """Outer side of the last aisle."""
        return self.aisles[-1].right_m


@dataclass(frozen=True)
class PlanNumbers:
    """The whole plan.

    Attributes
    ----------
    rows : the floor, folded where it is long
    depth_m : from the front to the back cross-aisle
    cross_m : the middle cross-aisles, from the front one
    staging_m : from the doors to the front cross-aisle
    behind_m : how far open areas reach behind the back cross-aisle
    zones_per_aisle : control zones along each aisle
    aisles, zones, luminaires, sensors : how many the floor has
    left_out : aisles that found no room
    """

    rows: tuple[PlanRow, ...]
    depth_m: float
    cross_m: tuple[float, ...]
    staging_m: float
    behind_m: float
    zones_per_aisle: int
    aisles: int
    zones: int
    luminaires: int
    sensors: int
    left_out: int


def plan_numbers(scenario: Scenario, layout: Layout) -> PlanNumbers:
    """Return the plan of a site."""
    count = len(layout.aisles)
    shown = min(count, MOST_A_ROW * MOST_ROWS)
    rows = -(-shown // MOST_A_ROW)
    cuts = [round(shown * row / rows) for row in range(rows + 1)]
    edges = np.concatenate([[0.0], np.cumsum(scenario.pitches_m)])
    aisles = [_aisle(scenario, layout, aisle, edges) for aisle in range(shown)]
    areas = [_area(layout, number) for number in range(len(layout.areas))]
    depth = float(layout.length_m.max())
    return PlanNumbers(
        rows=tuple(
            _row(tuple(aisles[first:last]), areas, layout, is_last=last == count)
            for first, last in itertools.pairwise(cuts)
        ),
        depth_m=depth,
        cross_m=tuple(layout.cross_m.tolist()),
        staging_m=layout.staging_depth_m,
        behind_m=max([0.0, *(area.far_m - depth for area in areas)]),
        zones_per_aisle=layout.zones_per_aisle,
        aisles=count,
        zones=len(layout.zones),
        luminaires=int(layout.dimmed.sum() + layout.fixed.sum()),
        sensors=layout.sensor_count,
        left_out=count - shown,
    )


def _row(
    aisles: tuple[PlanAisle, ...], areas: list[PlanArea], layout: Layout, *, is_last: bool
) -> PlanRow:
    """A row with the doors in front of it; a door on the border belongs to the row on its right."""
    left, right = aisles[0].left_m, aisles[-1].right_m
    inside = (layout.door_m >= left) & ((layout.door_m < right) | is_last)
    doors = np.flatnonzero(inside).tolist()
    cut = [area.within(left, right, is_last=is_last) for area in areas]
    return PlanRow(
        aisles,
        tuple((door + 1, float(layout.door_m[door])) for door in doors),
        tuple(area for area in cut if area is not None),
    )


def _area(layout: Layout, number: int) -> PlanArea:
    """Gather one open area; its luminaires are taken to be evenly spread."""
    area, zone = layout.areas[number], layout.zones_in_aisles + number
    (left, right), (near, far) = area.across_m, area.along_m
    dims = int(layout.dimmed[zone])
    across, along = spread_evenly(dims + int(layout.fixed[zone]), right - left, far - near)
    lamps = list(zip((left + across).tolist(), (near + along).tolist(), strict=True))
    eyes = list(zip(area.sensor_across_m.tolist(), area.sensor_along_m.tolist(), strict=True))
    return PlanArea(
        name=area.name,
        left_m=left,
        right_m=right,
        near_m=near,
        far_m=far,
        dimmed=tuple(lamps[:dims]),
        fixed=tuple(lamps[dims:]),
        eyes=tuple(eye for eye, dead in zip(eyes, area.dead_sensor, strict=True) if not dead),
        dead=tuple(eye for eye, dead in zip(eyes, area.dead_sensor, strict=True) if dead),
        radius_m=area.radius_m,
    )


def _aisle(scenario: Scenario, layout: Layout, aisle: int, edges: FloatColumn) -> PlanAisle:
    """Gather one aisle."""
    place = int(layout.aisle_place[aisle])
    lamps, eyes, zones = layout.luminaires[aisle], layout.sensors[aisle], layout.zones_of(aisle)
    places = luminaire_positions(lamps.per_aisle, float(layout.length_m[aisle]))
    is_fixed = np.arange(len(places)) >= len(places) - lamps.fixed_on
    own = np.flatnonzero(layout.sensor_aisle == aisle)
    sensors = [_sensor(layout, aisle, int(sensor)) for sensor in own]
    ends = [sensors[int(end[aisle] - own[0])] for end in (layout.front_sensor, layout.back_sensor)]
    return PlanAisle(
        name=layout.aisles[aisle],
        left_m=float(edges[aisle]),
        right_m=float(edges[aisle + 1]),
        length_m=float(layout.length_m[aisle]),
        cut_m=tuple(float(layout.zone_from_m[zone]) for zone in zones[1:]),
        dimmed_m=places[~is_fixed],
        fixed_m=places[is_fixed],
        sensors=tuple(sensors),
        front_m=0.0 if ends[0].is_dead else eyes.approach_m,
        back_m=0.0 if ends[1].is_dead else eyes.approach_m,
        direction=int(layout.direction[aisle]),
        zone=layout.places[place] if len(layout.aisles_of(place)) > 1 else "",
    )


def _sensor(layout: Layout, aisle: int, sensor: int) -> PlanSensor:
    """One sensor and the stretch that it sees for its zone."""
    range_m, at_m = layout.sensors[aisle].range_m, float(layout.sensor_m[sensor])
    near, far = layout.stretch(aisle, int(layout.sensor_zone[sensor]))
    return PlanSensor(
        at_m=at_m,
        from_m=max(at_m - range_m, near),
        to_m=min(at_m + range_m, far),
        is_dead=layout.dead_sensor is not None and bool(layout.dead_sensor[sensor]),
    )
