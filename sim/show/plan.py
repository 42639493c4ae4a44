"""The site plan as numbers: aisles, zones, luminaires, sensors with what they reach, doors, staging.

Comes in: scenario and layout.  Goes out: `PlanNumbers`.  Before: `floor/layout`; after: `show/figures_plan`.
A floor too wide for one strip is folded into rows, like a long line of text.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from sim.floor.layout import Layout, luminaire_positions
from sim.records import FloatColumn
from sim.scenario.schema import Scenario

__all__ = ["PlanAisle", "PlanNumbers", "PlanRow", "PlanSensor", "plan_numbers"]

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
    is_one_way : entered at the front and left at the back
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
    is_one_way: bool


@dataclass(frozen=True)
class PlanRow:
    """Aisles that stand side by side in one row of the plan.

    Attributes
    ----------
    aisles : from the dock corner on
    doors : number and place across the floor of each door before them [m]
    """

    aisles: tuple[PlanAisle, ...]
    doors: tuple[tuple[int, float], ...]

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
    staging_m : from the doors to the front cross-aisle
    zones_per_aisle : control zones along each aisle
    aisles, luminaires, sensors : how many the floor has
    left_out : aisles that found no room
    """

    rows: tuple[PlanRow, ...]
    depth_m: float
    staging_m: float
    zones_per_aisle: int
    aisles: int
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
    return PlanNumbers(
        rows=tuple(
            _row(tuple(aisles[first:last]), layout, is_last=last == count)
            for first, last in itertools.pairwise(cuts)
        ),
        depth_m=float(layout.length_m.max()),
        staging_m=layout.staging_depth_m,
        zones_per_aisle=layout.zones_per_aisle,
        aisles=count,
        luminaires=int(layout.dimmed.sum() + layout.fixed.sum()),
        sensors=len(layout.sensor_m),
        left_out=count - shown,
    )


def _row(aisles: tuple[PlanAisle, ...], layout: Layout, *, is_last: bool) -> PlanRow:
    """A row with the doors in front of it; a door on the border belongs to the row on its right."""
    left, right = aisles[0].left_m, aisles[-1].right_m
    inside = (layout.door_m >= left) & ((layout.door_m < right) | is_last)
    doors = np.flatnonzero(inside).tolist()
    return PlanRow(aisles, tuple((door + 1, float(layout.door_m[door])) for door in doors))


def _aisle(scenario: Scenario, layout: Layout, aisle: int, edges: FloatColumn) -> PlanAisle:
    """Gather one aisle."""
    lamps, eyes, zones = layout.luminaires[aisle], layout.sensors[aisle], layout.zones_of(aisle)
    places = luminaire_positions(lamps.per_aisle, float(layout.length_m[aisle]))
    is_fixed = np.arange(len(places)) >= len(places) - lamps.fixed_on
    own = np.flatnonzero(layout.sensor_aisle == aisle)
    sensors = [_sensor(layout, int(sensor), eyes.range_m) for sensor in own]
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
        is_one_way=layout.aisles[aisle] in (scenario.floor.one_way or ()),
    )


def _sensor(layout: Layout, sensor: int, range_m: float) -> PlanSensor:
    """One sensor and the stretch that it sees for its zone."""
    zone, at_m = layout.sensor_zone[sensor], float(layout.sensor_m[sensor])
    return PlanSensor(
        at_m=at_m,
        from_m=max(at_m - range_m, float(layout.zone_from_m[zone])),
        to_m=min(at_m + range_m, float(layout.zone_to_m[zone])),
        is_dead=layout.dead_sensor is not None and bool(layout.dead_sensor[sensor]),
    )
