"""The sensors written the obvious way: where is each truck at an instant, and who sees it there.

Comes in: layout, visits with their runs.  Goes out: for one instant after another, which zones see motion.
Nothing is drawn: every motion in range is seen, every truck that passes within range too, and a standing
truck never.  Pure Python, one instant and one truck at a time; the oracle of the program's sensing
(tests/truth).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from sim.floor.layout import Layout
from sim.records import Visits

__all__ = ["NaiveSensing", "way_done"]


def way_done(time: float, length: float, speed: float, acceleration: float) -> float | None:
    """Return how far a run has come so long after its start, rest to rest; None when not under way."""
    if acceleration == 0.0:
        return speed * time if 0.0 <= time <= length / speed else None
    top = min(speed, math.sqrt(acceleration * length))
    ramp_s = top / acceleration
    total_s = ramp_s + length / top if top > 0.0 else 0.0
    if not 0.0 <= time <= total_s:
        return None
    if time <= ramp_s:
        return 0.5 * acceleration * time**2
    if time >= total_s - ramp_s:
        return length - 0.5 * acceleration * (total_s - time) ** 2
    return top * (time - 0.5 * ramp_s)


def way_duration(length: float, speed: float, acceleration: float) -> float:
    """Return the time of a run from rest to rest [s]."""
    if acceleration == 0.0:
        return length / speed
    top = min(speed, math.sqrt(acceleration * length))
    return top / acceleration + length / top if top > 0.0 else 0.0


class NaiveSensing:
    """All runs as plain rows, and the question who is seen at an instant."""

    def __init__(self, layout: Layout, visits: Visits) -> None:
        self.layout = layout
        aisle_m, lengths = layout.aisle_m.tolist(), layout.length_m.tolist()
        self.inside = []
        moves = visits.moves
        assert moves is not None
        for row in range(len(moves.visit)):
            aisle = int(visits.aisle[int(moves.visit[row])])
            self.inside.append(
                (
                    aisle,
                    *(
                        float(column[row])
                        for column in (moves.start, moves.from_m, moves.to_m, moves.speed, moves.acceleration)
                    ),
                )
            )
        self.coming: list[tuple[int, bool, float, float, float, float, float]] = []
        self.crossing: list[tuple[float, set[int], float, float, float, float, float]] = []
        for record in (visits, visits.coming):
            if record is not None:
                self.look_outside(record, max(lengths))
        self.sensors = [
            [
                (float(layout.sensor_m[sensor]), int(layout.sensor_zone[sensor]))
                for sensor in range(len(layout.sensor_m))
                if layout.sensor_aisle[sensor] == aisle
            ]
            for aisle in range(len(lengths))
        ]
        self.aisle_m, self.lengths, self.back_m = aisle_m, lengths, max(lengths)

    def look_outside(self, visits: Visits, back_m: float) -> None:
        """Add trucks on their way to a mouth, and runs along the cross-aisles."""
        lines = [0.0, *self.layout.cross_m.tolist(), back_m]
        for row in range(len(visits)):
            aisle = int(visits.aisle[row])
            if visits.enter_line is not None:
                line_m = lines[int(visits.enter_line[row])]
                if 0.0 < line_m < float(self.layout.length_m[aisle]):
                    continue  # between the mouths no sensor looks out
            run_in, before = float(visits.run_in_m[row]), float(visits.run_before_m[row])
            speed, ramp = float(visits.run_speed[row]), float(visits.run_acceleration[row])
            arrive = float(visits.arrive[row])
            last_from = arrive - way_duration(run_in, speed, ramp)
            first_from = last_from - way_duration(before, speed, ramp)
            mouth = (aisle, bool(visits.enters_back[row]))
            self.coming.append((*mouth, last_from, run_in, 0.0, speed, ramp))
            if before > 0.0:
                self.coming.append((*mouth, first_from, before, run_in, speed, ramp))
        drives = visits.drives
        for row in range(0 if drives is None else len(drives.start)):
            line_m = back_m if drives.is_back[row] else 0.0
            if drives.middle_m is not None and not math.isnan(drives.middle_m[row]):
                line_m = float(drives.middle_m[row])
            own = {int(drives.from_aisle[row]), int(drives.to_aisle[row])}
            columns = (drives.start, drives.from_m, drives.to_m, drives.speed, drives.acceleration)
            self.crossing.append((line_m, own, *(float(column[row]) for column in columns)))

    def mouth_zone(self, aisle: int, is_back: bool) -> int:
        """Return the zone of the sensor nearest to a mouth."""
        mouth = self.lengths[aisle] if is_back else 0.0
        return min(self.sensors[aisle], key=lambda sensor: abs(sensor[0] - mouth))[1]

    def zones_at(self, time: float) -> set[int]:
        """Return the zones that see motion at an instant."""
        seen: set[int] = set()
        for aisle, start, from_m, to_m, speed, ramp in self.inside:
            done = way_done(time - start, abs(to_m - from_m), speed, ramp)
            if done is None or from_m == to_m:
                continue
            place = from_m + (done if to_m > from_m else -done)
            reach = self.layout.sensors[aisle].range_m
            seen |= {zone for sensor_m, zone in self.sensors[aisle] if abs(place - sensor_m) <= reach}
        for aisle, is_back, start, length, beyond, speed, ramp in self.coming:
            done = way_done(time - start, length, speed, ramp)
            if done is not None and length - done + beyond <= self.layout.sensors[aisle].approach_m:
                seen.add(self.mouth_zone(aisle, is_back))
        for line_m, own, start, from_m, to_m, speed, ramp in self.crossing:
            done = way_done(time - start, abs(to_m - from_m), speed, ramp)
            if done is None:
                continue
            place = from_m + (done if to_m > from_m else -done)
            for aisle, mouth_m in enumerate(self.aisle_m):
                near_m = self.layout.sensors[aisle].passing_range_m
                setback = max(0.0, line_m - self.lengths[aisle])
                if aisle in own or math.hypot(place - mouth_m, setback) > near_m:
                    continue
                if 0.0 < line_m < self.lengths[aisle]:
                    reach = self.layout.sensors[aisle].range_m
                    seen |= {zone for at_m, zone in self.sensors[aisle] if abs(at_m - line_m) <= reach}
                else:
                    seen.add(self.mouth_zone(aisle, line_m > 0.0))
        return seen

    def samples(self, times: Sequence[float]) -> list[set[int]]:
        """Return the zones that see motion at each of some instants."""
        return [self.zones_at(time) for time in times]
