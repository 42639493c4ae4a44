"""Open areas: who is in them, and what their sensors see.

Comes in: `OpenRuns`, people, the areas.  Goes out: `AreaTraffic`: stays and detections of the areas' zones.
Before: `traffic/open_runs`, `traffic/people`, `sensing/area_stays`; after: `replication`, which puts them
behind those of the aisles.  A sensor sees a circle on the open floor, not into aisles: a moving truck in it
without a break, one that stands by pulses, one process per standing truck; `miss` is drawn once per entry
into the circle. Where in the area people work is not known, so any working sensor of it sees them.  Every
area has streams of its own, so that none disturbs another or the aisles.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.floor.areas import OpenArea
from sim.floor.layout import Layout
from sim.randomness import random_stream
from sim.records import Detections, FloatColumn, IntColumn, OpenRuns, Stays, Visits
from sim.scenario.schema import Scenario
from sim.sensing.area_stays import spans_in_area, spans_in_circle
from sim.sensing.coverage import unite

__all__ = ["AreaTraffic", "People", "add_areas", "draw_dead_areas", "sense_areas"]

Piece = tuple[IntColumn, FloatColumn, FloatColumn]


People = tuple[FloatColumn, FloatColumn]
"""When people come to one area and when they leave it [s], ascending (n,) each."""


@dataclass(frozen=True)
class AreaTraffic:
    """What happened in the open areas.

    Attributes
    ----------
    stays : of trucks and people; `visit` counts trips, then people, from 0
    seen : what each area's sensors saw
    """

    stays: Stays
    seen: Detections


def draw_dead_areas(layout: Layout, seed: int, replication: int) -> tuple[NDArray[np.bool_], ...]:
    """Return which sensors of each area are dead in one replication; one number is drawn for each (K,)."""
    made = []
    for number, area in enumerate(layout.areas):
        rng = random_stream(seed, replication, "area dead sensors", number)
        made.append(area.dead_sensor | (rng.random(len(area.dead_sensor)) < area.dead_share))
    return tuple(made)


def sense_areas(
    scenario: Scenario,
    layout: Layout,
    runs: OpenRuns,
    people: Sequence[People],
    visits: Visits,
    replication: int,
) -> AreaTraffic:
    """Find who is in each area, and let its sensors look.

    Parameters
    ----------
    scenario, layout : the site, with K areas
    runs : trucks outside the aisles
    people : who comes on foot, by area (K,)
    visits : how much each truck counts, which are seen, which are people on foot
    replication : its number
    """
    trips, first_zone, end_s = int(runs.trip.max(initial=-1)) + 1, layout.zones_in_aisles, scenario.duration_s
    weight = np.array(visits.truck_weight or (1.0,))
    is_dead = draw_dead_areas(layout, scenario.seed, replication)
    stays: list[tuple[NDArray[np.generic], ...]] = []
    pieces: list[Piece] = []
    persons = 0
    for number, (area, table) in enumerate(zip(layout.areas, scenario.area or (), strict=True)):
        come, go = people[number]
        zone = first_zone + number
        row, enter, leave = spans_in_area(runs, area).stays()
        truck_counts = weight[runs.truck[row]] if visits.truck_weight else np.ones(len(row))
        own = np.arange(len(come))
        stays += [
            (np.full(len(row), zone), runs.trip[row], enter, leave, truck_counts),
            (
                np.full(len(own), zone), trips + persons + own, come, go,
                np.full(len(own), table.people_weight),
            ),
        ]
        persons += len(own)
        draws = random_stream(scenario.seed, replication, "area sensing", number).spawn(4)
        seen = _see_trucks(area, runs, visits, ~is_dead[number], draws)
        if not is_dead[number].all():
            seen.append(_see_people(come, go, table.people_pulses_per_min, draws))
        pieces += [(np.full(len(at), zone), at, to) for at, to in seen]
    return AreaTraffic(_put_stays(stays, end_s), _put_pieces(pieces, end_s))


def _see_trucks(
    area: OpenArea,
    runs: OpenRuns,
    visits: Visits,
    works: NDArray[np.bool_],
    draws: list[np.random.Generator],
) -> list[tuple[FloatColumn, FloatColumn]]:
    """Return start and end of what each sensor sees, and the pulses of trucks that stand."""
    pieces: list[tuple[FloatColumn, FloatColumn]] = []
    every = np.ones(len(runs), dtype=bool)
    can_be_seen = np.array(visits.truck_seen)[runs.truck] if visits.truck_seen else every
    in_reach, noticed = np.zeros((2, len(runs)), dtype=bool)
    for sensor, does_work in enumerate(works.tolist()):
        place = float(area.sensor_across_m[sensor]), float(area.sensor_along_m[sensor])
        spans = spans_in_circle(runs, *place, area.radius_m)
        missed = (draws[0].random(spans.entries) < area.miss)[spans.entry]
        seen = ~missed & can_be_seen[spans.row] & does_work
        moving = runs.is_moving[spans.row]
        pieces.append((spans.enter[seen & moving], spans.leave[seen & moving]))
        in_reach[spans.row] = True
        noticed[spans.row[seen]] = True
    stands = np.flatnonzero(in_reach & ~runs.is_moving)
    stay = runs.end[stands] - runs.start[stands]
    on_foot = np.array(visits.truck_on_foot)[runs.truck[stands]] if visits.truck_on_foot else ~every[stands]
    rate = np.where(on_foot, area.still_rate_person_per_s, area.still_rate_per_s)
    pulses = draws[1].poisson(stay * rate)
    which = np.repeat(np.arange(len(stands)), pulses)
    time = runs.start[stands][which] + draws[1].random(len(which)) * stay[which]
    shown = noticed[stands][which]
    pieces.append((time[shown], time[shown]))
    return pieces


def _see_people(
    come: FloatColumn, go: FloatColumn, pulses_per_min: float | None, draws: list[np.random.Generator]
) -> tuple[FloatColumn, FloatColumn]:
    """Return start and end of what is seen of people: the whole stay, or a pulse on coming and more later."""
    if pulses_per_min is None:
        return come, go
    stay = go - come
    which = np.repeat(np.arange(len(stay)), draws[2].poisson(stay * pulses_per_min / 60.0))
    time = np.append(come, come[which] + draws[3].random(len(which)) * stay[which])
    return time, time


def _put_stays(parts: list[tuple[NDArray[np.generic], ...]], end_s: float) -> Stays:
    """Join stays, cut them to the run and put them in order."""
    zone, visit, enter, leave, weight = (np.concatenate(column) for column in zip(*parts, strict=True))
    enter, leave = np.maximum(enter.astype(np.float64), 0.0), np.minimum(leave.astype(np.float64), end_s)
    rows = np.flatnonzero(leave > enter)
    rows = rows[np.lexsort((enter[rows], zone[rows]))]
    return Stays(
        zone[rows].astype(np.int64), visit[rows].astype(np.int64), enter[rows], leave[rows],
        weight[rows].astype(np.float64),
    )


def _put_pieces(pieces: list[Piece], end_s: float) -> Detections:
    """Join what was seen, cut it to the run and unite it."""
    zone, start, end = (np.concatenate(column) for column in zip(*pieces, strict=True))
    inside = (start < end_s) & (end >= 0.0)
    return unite(zone[inside], np.maximum(start[inside], 0.0), np.minimum(end[inside], end_s))


def add_areas(visits: int, stays: Stays, seen: Detections, areas: AreaTraffic) -> tuple[Stays, Detections]:
    """Put the areas' stays and detections behind those of the aisles.

    Parameters
    ----------
    visits : how many there are; the areas' trips and people are counted on from them
    stays, seen : of the aisles
    areas : of the areas
    """
    more, own = areas.stays, stays.weight
    assert more.weight is not None
    weight = None
    if own is not None or (more.weight != 1.0).any():
        weight = np.append(np.ones(len(stays.zone)) if own is None else own, more.weight)
    return (
        Stays(
            np.append(stays.zone, more.zone),
            np.append(stays.visit, visits + more.visit),
            np.append(stays.enter, more.enter),
            np.append(stays.leave, more.leave),
            weight,
        ),
        Detections(
            np.append(seen.zone, areas.seen.zone),
            np.append(seen.start, areas.seen.start),
            np.append(seen.end, areas.seen.end),
        ),
    )
