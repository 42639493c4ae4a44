"""Dice that can be read, and the sensors written the obvious way with them, one truck at a time.

Comes in: layout, visits with their runs, the dice.  Goes out: what every zone sees.  The oracle of
`test_truth_sensing_dice`; passing trucks and those on their way at the end included.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, cast

import numpy as np

from sim.floor.layout import Layout
from sim.records import Visits

__all__ = ["DiceBox", "Interval", "Twin", "united"]

Interval = tuple[int, float, float]
GAP_S = 1e-6


class Dice:
    """Draws that are known beforehand: a table of misses, means for counts, the middle for times."""

    def __init__(self, means: list[float], table: Any) -> None:
        self.means, self.table = means, table

    def random(self, size: Any) -> np.ndarray:
        """Misses row by row where a table is asked for, else 0.5."""
        return self.table.random(size) if isinstance(size, tuple) else np.full(size, 0.5)

    def poisson(self, mean: np.ndarray) -> np.ndarray:
        """The mean, rounded."""
        self.means += mean[mean > 0.0].tolist()
        return np.rint(mean).astype(np.int64)


class DiceBox:
    """Dice for every kind of draw in every aisle; the means that were asked for are kept.

    A table may be given for all aisles, else each aisle has one of its own.
    """

    def __init__(self, table: Any = None) -> None:
        self.means: list[float] = []
        self.table = table

    def __call__(self, kind: int, aisle: int) -> np.random.Generator:
        """The dice of one kind in one aisle."""
        table = np.random.default_rng([99, aisle]) if self.table is None else self.table
        return cast(np.random.Generator, Dice(self.means, table))


def time_to(way: float, length: float, speed: float, ramp: float) -> float:
    """How long after its start a run from rest to rest has come so far."""
    if way <= 0.0:
        return 0.0
    if ramp == 0.0:
        return way / speed
    top = min(speed, math.sqrt(ramp * length))
    whole, up_m = top / ramp + length / top, top**2 / (2.0 * ramp)
    if way <= up_m:
        return math.sqrt(2.0 * way / ramp)
    if way >= length - up_m:
        return whole - math.sqrt(2.0 * max(0.0, length - way) / ramp)
    return top / ramp + (way - up_m) / top


class Twin:
    """All that sensors see of some visits, one truck, one sensor and one run at a time."""

    def __init__(self, layout: Layout, visits: Visits, end_s: float, is_dead: np.ndarray | None) -> None:
        self.layout, self.visits, self.end_s = layout, visits, end_s
        self.is_dead = np.zeros(len(layout.sensor_m), bool) if is_dead is None else is_dead

    def of_aisle(self, aisle: int) -> list[int]:
        """Sensors of an aisle."""
        return np.flatnonzero(self.layout.sensor_aisle == aisle).tolist()

    def looks_out(self, record: Visits, row: int, sensor: int) -> bool:
        """Whether a sensor sees a truck before it comes in: nearest to that mouth, look-out asked for."""
        aisle = int(record.aisle[row])
        own = self.layout.back_sensor if record.enters_back[row] else self.layout.front_sensor
        if record.enter_line is not None:
            line = int(record.enter_line[row])
            is_between = line not in (0, -1, len(self.layout.cross_m) + 1)
            if is_between and self.layout.cross_m[line - 1] < self.layout.length_m[aisle]:
                return False
        return own[aisle] == sensor and self.layout.sensors[aisle].approach_m > 0.0

    def rate(self, record: Visits, row: int) -> float:
        """Pulses a second from whoever stands."""
        keys = self.layout.sensors[int(record.aisle[row])]
        on_foot = record.truck_on_foot and record.truck_on_foot[record.truck[row]]
        per_min = keys.still_rate_person_per_min if on_foot else None
        return (keys.still_rate_per_min if per_min is None else per_min) / 60.0

    def is_seen(self, record: Visits, row: int) -> bool:
        """Whether sensors can see the truck."""
        return not record.truck_seen or record.truck_seen[record.truck[row]]

    def coming_in(self, record: Visits, row: int, sensor: int, until: float) -> Iterator[Interval]:
        """The last metres before the mouth by motion, the queue there by pulses."""
        zone, arrive = int(self.layout.sensor_zone[sensor]), float(record.arrive[row])
        arrive = float(record.enter[row]) if math.isnan(arrive) else arrive  # nobody knows of a queue
        outside = self.layout.sensors[int(record.aisle[row])].approach_m
        last, before = float(record.run_in_m[row]), float(record.run_before_m[row])
        own = float(record.run_speed[row]), float(record.run_acceleration[row])
        # braking to rest mirrors speeding up from it
        way_s = time_to(min(outside, last), last, *own)
        way_s += time_to(min(max(0.0, outside - last), before), before, *own)
        turn_s = 0.0 if record.turn is None else float(record.turn[row])
        yield zone, arrive - way_s - turn_s, arrive
        wait = max(0.0, until - arrive)
        if round(wait * self.rate(record, row)) > 0:
            yield zone, arrive + 0.5 * wait, arrive + 0.5 * wait

    def inside(self) -> Iterator[Interval]:
        """All visits: an entry into a sensor's stretch lasts until the truck has moved out of it."""
        moves, visits = self.visits.moves, self.visits
        assert moves is not None
        of_run = visits.aisle[moves.visit]
        tables = [
            DiceBox()(0, aisle).random((int(np.sum(of_run == aisle)), len(self.of_aisle(aisle))))
            for aisle in range(len(self.layout.aisles))
        ]
        for row in range(len(visits)):
            runs = np.flatnonzero(moves.visit == row).tolist()
            aisle = int(visits.aisle[row])
            reach, miss = self.layout.sensors[aisle].range_m, self.layout.sensors[aisle].miss
            for column, sensor in enumerate(self.of_aisle(aisle)):
                if self.is_dead[sensor] or not self.is_seen(visits, row):
                    continue
                zone, place = int(self.layout.sensor_zone[sensor]), float(self.layout.sensor_m[sensor])
                is_in, is_missed = False, True
                for run in runs:
                    from_m, to_m, start = (float(c[run]) for c in (moves.from_m, moves.to_m, moves.start))
                    own = abs(to_m - from_m), float(moves.speed[run]), float(moves.acceleration[run])
                    ways = sorted(
                        min(max((edge - from_m) * (1.0 if to_m >= from_m else -1.0), 0.0), own[0])
                        for edge in (place - reach, place + reach)
                    )
                    is_last = run == runs[-1]
                    stands = abs(to_m - place) <= reach and not is_last
                    looks = run == runs[0] and self.looks_out(visits, row, sensor)
                    if not is_in and (ways[0] < ways[1] or looks or stands):
                        is_missed = bool(tables[aisle][int(np.sum(of_run[:run] == aisle)), column] < miss)
                    if not is_missed and looks:
                        yield from self.coming_in(visits, row, sensor, float(visits.enter[row]))
                    if not is_missed and ways[0] < ways[1]:
                        yield zone, start + time_to(ways[0], *own), start + time_to(ways[1], *own)
                    if not is_last:
                        stop = start + time_to(own[0], *own)
                        stay = float(moves.start[run + 1]) - stop
                        if stands and not is_missed and round(stay * self.rate(visits, row)) > 0:
                            yield zone, stop + 0.5 * stay, stop + 0.5 * stay
                    is_in = stands

    def under_way(self) -> Iterator[Interval]:
        """Trucks that were on their way to a mouth as the run ended; a chance of one half."""
        coming = self.visits.coming
        for row in range(0 if coming is None else len(coming)):
            for sensor in self.of_aisle(int(coming.aisle[row])):
                is_missed = self.layout.sensors[int(coming.aisle[row])].miss > 0.5 or self.is_dead[sensor]
                if self.looks_out(coming, row, sensor) and self.is_seen(coming, row) and not is_missed:
                    yield from self.coming_in(coming, row, sensor, self.end_s)

    def passing(self, record: Visits | None) -> Iterator[Interval]:
        """Trucks that drive past a mouth on a cross-aisle and turn in neither there; a chance of one half."""
        if record is None or record.drives is None:
            return
        drives = record.drives
        for run in range(len(drives.start)):
            from_m, to_m, start = (float(c[run]) for c in (drives.from_m, drives.to_m, drives.start))
            own = abs(to_m - from_m), float(drives.speed[run]), float(drives.acceleration[run])
            along = self.layout.length_m.max() if drives.is_back[run] else 0.0
            if drives.middle_m is not None and not np.isnan(drives.middle_m[run]):
                along = float(drives.middle_m[run])
            is_known = drives.truck is None or not record.truck_seen or record.truck_seen[drives.truck[run]]
            for aisle, mouth_m in enumerate(self.layout.aisle_m.tolist()):
                keys, length = self.layout.sensors[aisle], float(self.layout.length_m[aisle])
                behind_m = max(0.0, along - length)
                turns = aisle in (drives.from_aisle[run], drives.to_aisle[run])
                if turns or not is_known or keys.passing_trigger <= 0.5 or keys.passing_range_m <= behind_m:
                    continue
                half = math.sqrt(keys.passing_range_m**2 - behind_m**2)
                ways = sorted(
                    min(max((edge - from_m) * (1.0 if to_m >= from_m else -1.0), 0.0), own[0])
                    for edge in (mouth_m - half, mouth_m + half)
                )
                if ways[0] >= ways[1]:
                    continue
                nearest = self.layout.back_sensor if along >= length else self.layout.front_sensor
                eyes = [int(nearest[aisle])]
                if 0.0 < along < length:
                    eyes = [
                        eye for eye in self.of_aisle(aisle)
                        if abs(self.layout.sensor_m[eye] - along) <= keys.range_m
                    ]
                for eye in eyes:
                    zone = int(self.layout.sensor_zone[eye])
                    if not self.is_dead[eye]:
                        yield zone, start + time_to(ways[0], *own), start + time_to(ways[1], *own)

    def seen(self) -> list[Interval]:
        """Everything within the run, cut at its ends."""
        coming = self.visits.coming
        found = [*self.inside(), *self.under_way(), *self.passing(self.visits), *self.passing(coming)]
        return [
            (zone, max(0.0, start), min(end, self.end_s))
            for zone, start, end in found if start < self.end_s and end >= 0.0
        ]


def united(found: list[Interval]) -> list[Interval]:
    """Join what touches to a microsecond, zone by zone."""
    joined: list[Interval] = []
    for zone, start, end in sorted(found):
        if joined and joined[-1][0] == zone and start <= joined[-1][2] + GAP_S:
            joined[-1] = (zone, joined[-1][1], max(joined[-1][2], end))
        else:
            joined.append((zone, start, end))
    return joined
