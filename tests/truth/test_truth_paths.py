"""The runs behind the visits: one follows the other in place and time, and they put each truck in its zone.

Kinematics alone: a truck cannot jump.  Durations and positions of runs are worked out a second time, by
tests/naive_sensing.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from sim.records import Visits
from sim.replication import Site, prepare_site, simulate_traffic
from sim.traffic.paths import stays_in_zones
from tests.naive_sensing import way_done, way_duration
from tests.truth.truth_scenes import TRUCK, equals, holds, scenario, spoilt

LENGTHS = [40.0, 55.0, 55.0, 30.0]


def mixed_site(ramp: float, zones: int = 1) -> Site:
    """Return a site with every kind of work, unequal aisles and a little queueing."""
    truck = {"count": 8, "acceleration_m_per_s2": ramp, "speed_laden_m_per_s": 1.8, "handling_cv": 0.5}
    return prepare_site(
        scenario(
            aisles=4,
            hours=12.0,
            seed=5,
            trucks=[TRUCK | truck],
            floor={
                "aisle_length_m": LENGTHS,
                "aisle_capacity": 1,
                "dock_doors": 3,
                "staging_depth_m": 14.0,
                "zones_per_aisle": zones,
            },
            sensors={"at": "every", "range_m": 5.0},
            work=[
                {"name": kind, "kind": kind, "per_hour": 22.0}
                for kind in ("putaway", "retrieve", "replenish")
            ],
        )
    )


def check_moves(visits: Visits, end_s: float) -> None:
    """Each visit: from the mouth at its entry, run by run, to a mouth at its exit; stops are handling."""
    moves = visits.moves
    for row in range(len(visits)):
        if visits.leave[row] >= end_s:
            continue
        runs = np.flatnonzero(moves.visit == row)
        length = LENGTHS[visits.aisle[row]]
        duration = [
            way_duration(abs(moves.to_m[run] - moves.from_m[run]), moves.speed[run], moves.acceleration[run])
            for run in runs
        ]
        ends = moves.start[runs] + duration
        equals(moves.start[runs[0]], visits.enter[row], 1e-9, "the first run starts at the entry")
        equals(moves.from_m[runs[0]], length if visits.enters_back[row] else 0.0, 1e-9, "at the mouth")
        equals(moves.to_m[runs[0]], visits.bay_m[row], 1e-9, "to the bay")
        equals(
            moves.from_m[runs[1:]], moves.to_m[runs[:-1]], 1e-9, "each run begins where the last one ended"
        )
        holds(moves.start[runs[1:]] >= ends[:-1] - 1e-9, "and not before")
        equals(ends[-1], visits.leave[row], 1e-6, "the last run ends at the exit")
        equals(moves.to_m[runs[-1]], length if visits.leaves_back[row] else 0.0, 1e-9, "at the mouth")


def check_drives(visits: Visits, place: Site) -> None:
    """Every arrival ends a drive at that mouth, every exit begins one; stubs of short aisles between."""
    drives, layout, end_s = visits.drives, place.layout, place.scenario.duration_s
    way = np.abs(drives.to_m - drives.from_m)
    took = np.array([way_duration(*run) for run in zip(way, drives.speed, drives.acceleration, strict=True)])
    for row in range(len(visits)):
        aisle = int(visits.aisle[row])
        stub_m = layout.length_m.max() - layout.length_m[aisle]
        stub = way_duration(stub_m, 1.8, float(visits.run_acceleration[row]))
        into = (drives.to_aisle == aisle) & (drives.is_back == visits.enters_back[row])
        late = stub if visits.enters_back[row] else 0.0
        near = into & (np.abs(drives.start + took + late - visits.arrive[row]) < 1e-6)
        holds(near.sum() == 1, "one drive ends at each arrival")
        equals(drives.to_m[near], layout.aisle_m[aisle], 1e-9, "at the mouth")
        run = float(way[near][0]) if late == 0.0 else stub_m
        if run > 0.0:
            equals(visits.run_in_m[row], run, 1e-9, "length of the last run before the mouth")
        if visits.leave[row] < end_s:
            out = (drives.from_aisle == aisle) & (drives.is_back == visits.leaves_back[row])
            away = stub if visits.leaves_back[row] else 0.0
            near = out & (np.abs(drives.start - away - visits.leave[row]) < 1e-6)
            holds(near.sum() == 1, "one drive begins at each exit")
            equals(drives.from_m[near], layout.aisle_m[aisle], 1e-9, "at the mouth")


@pytest.mark.parametrize("ramp", [0.0, 0.5])
def test_a_truck_never_jumps(ramp):
    place = mixed_site(ramp)
    end_s = place.scenario.duration_s
    visits = simulate_traffic(place, 0).visits
    assert visits.enters_back.sum() > 10
    assert (visits.enter > visits.arrive).sum() > 10
    check_moves(visits, end_s)
    check_drives(visits, place)
    moves, drives = visits.moves, visits.drives
    with spoilt("another speed"):
        check_moves(
            dataclasses.replace(visits, moves=dataclasses.replace(moves, speed=moves.speed * 1.01)), end_s
        )
    with spoilt("a bay half a metre off"):
        check_moves(dataclasses.replace(visits, bay_m=visits.bay_m + 0.5), end_s)
    with spoilt("drives a second late"):
        check_drives(
            dataclasses.replace(visits, drives=dataclasses.replace(drives, start=drives.start + 1.0)), place
        )


def where(visits: Visits, row: int, time: float) -> float:
    """Position of a truck in its aisle at a time within its visit."""
    moves = visits.moves
    place = float("nan")
    for run in np.flatnonzero(moves.visit == row):
        if moves.start[run] > time:
            break
        way = abs(moves.to_m[run] - moves.from_m[run])
        done = way_done(time - moves.start[run], way, moves.speed[run], moves.acceleration[run])
        done = way if done is None else done
        place = moves.from_m[run] + np.sign(moves.to_m[run] - moves.from_m[run]) * done
    return float(place)


def check_stays(visits: Visits, place: Site, zones: int, model: Visits) -> None:
    """At random instants each truck has one stay under way, in the zone of its position."""
    stays = stays_in_zones(place.layout, model)
    rng = np.random.default_rng(3)
    for row in rng.integers(len(visits), size=400).tolist():
        time = float(rng.uniform(visits.enter[row], visits.leave[row]))
        mine = (stays.visit == row) & (stays.enter <= time) & (time < stays.leave)
        holds(mine.sum() == 1, "in one zone at a time")
        aisle = int(visits.aisle[row])
        part = min(int(where(visits, row, time) / LENGTHS[aisle] * zones), zones - 1)
        equals(stays.zone[mine], aisle * zones + part, 0.0, f"zone of visit {row} at {time:.2f} s")


@pytest.mark.parametrize("ramp, zones", [(0.0, 2), (0.5, 3), (0.5, 1)])
def test_stays_in_zones_by_position(ramp, zones):
    place = mixed_site(ramp, zones)
    visits = simulate_traffic(place, 0).visits
    check_stays(visits, place, zones, visits)
    with spoilt("cut once more"):
        check_stays(visits, place, zones + 1, visits)
    if zones > 1:
        with spoilt("runs that begin 5 s late"):
            moves = dataclasses.replace(visits.moves, start=visits.moves.start + 5.0)
            check_stays(visits, place, zones, dataclasses.replace(visits, moves=moves))
