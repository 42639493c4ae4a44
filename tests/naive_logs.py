"""Logs read the slow and obvious way: the standard library's CSV reader, a row at a time, lists.

Comes in: a well-formed log in seconds.  Goes out: what the quick readers must give.  Nothing is shared with
them but the floor, the trucks' speeds and `travel_time` (held against formulas in `tests/truth`): numbers by
`float`, unions of sorted rows, visits of stops by a list for each truck.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from sim.floor.layout import Layout
from sim.traffic.gait import Gait
from sim.traffic.kinematics import travel_time

Row = Mapping[str, str]
Run = tuple[float, float, float, float, float]


def rows_of(path: Path) -> list[dict[str, str]]:
    """All rows of a log."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def naive_detections(path: Path, zones: Sequence[str], end_s: float) -> list[tuple[int, float, float]]:
    """Zone, start and end of the united motion."""
    found: list[tuple[int, float, float]] = []
    for number, zone in enumerate(zones):
        spans = sorted(
            (float(row["start"]), min(end_s, float(row["end"] or row["start"])))
            for row in rows_of(path)
            if row["zone"] == zone
        )
        mine: list[tuple[int, float, float]] = []
        for start, end in spans:
            if mine and start <= mine[-1][2]:
                mine[-1] = (number, mine[-1][1], max(mine[-1][2], end))
            else:
                mine.append((number, start, end))
        found += mine
    return found


def naive_late_rows(rows: Sequence[Row], group: str | None, time: str) -> int:
    """Count the rows that are earlier than the one before them in their group."""
    latest: dict[str, float] = {}
    late = 0
    for row in rows:
        name = row[group] if group else ""
        late += float(row[time]) < latest.get(name, -math.inf)
        latest[name] = float(row[time])
    return late


def naive_doubles(rows: Sequence[Row], columns: Sequence[str]) -> int:
    """Count the rows that are in every column as one before them."""
    seen = [tuple(row[column] for column in columns) for row in rows]
    return len(seen) - len(set(seen))


def naive_silences(spans: Sequence[tuple[float, float]], longer_s: float) -> int:
    """Count the stretches in which nothing at all was seen."""
    found, reach = 0, math.inf
    for start, end in sorted(spans):
        found += start - reach > longer_s
        reach = end if math.isinf(reach) else max(reach, end)
    return found


def naive_crew(rows: Sequence[Row]) -> list[str]:
    """Pseudonym of each row: of its truck, else of its operator, else nothing."""
    known: dict[str, dict[str, str]] = {"truck": {}, "operator": {}}
    found = []
    for row in rows:
        for column, letter in (("truck", "T"), ("operator", "P")):
            name = row.get(column, "")
            if name:
                known[column].setdefault(name, f"{letter}{len(known[column]) + 1:02d}")
        truck, operator = (known[column].get(row.get(column, ""), "") for column in ("truck", "operator"))
        found.append(truck or operator)
    return found


def naive_stays(
    layout: Layout, gait: Gait, handling_s: float, picks: Sequence[tuple[float, int, float, str]]
) -> list[dict[str, Any]]:
    """Stays of the dwell model for picks: time, aisle, bay and truck of each, in any order.

    A way in, the handling that ends at the pick's time, a way out; the next pick of the same truck in the
    same aisle belongs to the stay where the truck had no time for the way to the nearest door and back.
    """

    def way(metres: float, speed: float) -> float:
        return float(travel_time(abs(metres), speed, gait.ramp))

    def run(here: float, there: float, speed: float, earliest: float, arrive: float) -> Run:
        begin = arrive - way(there - here, speed)
        if begin >= earliest or here == there:
            return begin, here, there, speed, gait.ramp
        left = max(arrive - earliest, 1e-3)
        return arrive - left, here, there, abs(there - here) / left, 0.0

    def errand(aisle: int) -> float:
        door = min(abs(place - layout.aisle_m[aisle]) for place in layout.door_m.tolist())
        ways = 0.0
        for metres in (door, layout.staging_depth_m):
            for speed in (gait.laden, gait.empty):
                ways += way(metres, speed)
        return ways + handling_s + 2.0 * gait.turn_s

    by_truck: dict[str, list[tuple[float, int, float, str]]] = {}
    for number, pick in enumerate(picks):
        by_truck.setdefault(pick[3] or f"nobody {number}", []).append(pick)
    stays: list[dict[str, Any]] = []
    for own in by_truck.values():
        last: dict[str, Any] | None = None
        before = 0.0
        for time, aisle, bay, truck in sorted(own, key=lambda pick: pick[0]):
            begun = time - handling_s
            enter, leave = begun - way(bay, gait.aisle_empty), time + way(bay, gait.aisle_laden)
            if last is not None and last["aisle"] == aisle and enter <= last["leave"] + errand(aisle):
                here = last["runs"].pop()[1]
                last["runs"].append(run(here, bay, gait.aisle_empty, before, begun))
                last["leave"] = max(last["leave"], leave)
            else:
                first = max(enter, 0.0)
                if last is not None and enter <= last["leave"]:
                    first = max(first, 0.5 * (before + max(begun, before)))
                    last["leave"] = min(last["leave"], max(first, last["enter"] + 1e-3))
                    _, here, _, speed, _ = last["runs"].pop()
                    last["runs"].append(run(here, 0.0, speed, before, last["leave"]))
                last = {"aisle": aisle, "truck": truck, "enter": first, "leave": max(leave, first + 1e-3)}
                last["runs"] = [run(0.0, bay, gait.aisle_empty, first, max(begun, first))]
                stays.append(last)
            last["runs"].append((time, bay, 0.0, gait.aisle_laden, gait.ramp))
            before = time
    return sorted(stays, key=lambda stay: stay["enter"])
