"""From a door round the side of the floor, by hand: times leg by leg, and where the truck was meanwhile.

Three aisles at 4, 13 and 24 m across a floor 30 m wide, doors at 7.5 and 22.5 m; the middle aisle is 30 m
long, its neighbours 40 m, so that 10 m lie between its back mouth and the back cross-aisle.  The side at 0 is
the nearer one to the middle aisle.  From the second door the way across is shorter round the other one:
17 + 7.5 = 24.5 m against 13 + 22.5 = 35.5 m; from the first door round the nearer one: 13 + 7.5 = 20.5 m.

Times from rest to rest are elementary kinematics: d / v + v / a, or 2 sqrt(d / a) where v is not reached.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from sim.floor.layout import Layout, lay_out
from sim.traffic import plans, ways
from tests.truth.traffic_scenes import Floor, run_floor
from tests.truth.truth_scenes import equals, holds, scenario, spoilt

TURN_S, HANDLING_S = 3.0, 20.0
LADEN_S = {"stub": 10 / 2 + 4, 13: 13 / 2 + 4, 17: 17 / 2 + 4, "along": 40 / 2 + 4}
"""At 2 m/s and 0.5 m/s2; the speed is reached from 8 m on."""
EMPTY_S = {"stub": 2 * math.sqrt(10 / 0.5), 13: 13 / 2.5 + 5, 17: 17 / 2.5 + 5, "along": 40 / 2.5 + 5}
"""At 2.5 m/s; the speed is reached from 12.5 m on."""
FRONT_S = 2 * math.sqrt(7.5 / 0.5) + 2 * math.sqrt(6 / 0.5)
"""From a corner 7.5 m to either door, and across 6 m of staging: too short to reach any of the speeds."""
ACROSS = (13, 17)
"""Metres on the back cross-aisle, by door."""
MIDDLE = 1
KINDS = ("putaway", "retrieve", "replenish")


def round_way(times: dict[Any, float], door: int) -> float:
    """Seconds between the middle aisle's back mouth and the inner edge of the doors, a turn included."""
    return TURN_S + times["stub"] + times[ACROSS[door]] + times["along"] + FRONT_S


def busy_floor(direction: str) -> Floor:
    """The floor of the module's docstring, with a truck in its middle aisle most of the time."""
    return run_floor(
        aisles=3,
        hours=60.0,
        floor={
            "aisle_pitch_m": [8.0, 10.0, 12.0],
            "aisle_length_m": [40.0, 30.0, 40.0],
            "dock_doors": 2,
            "staging_depth_m": 6.0,
            direction: ["A02"],
        },
        trucks=[
            {
                "name": "reach", "count": 2, "speed_laden_m_per_s": 2.0, "speed_empty_m_per_s": 2.5,
                "acceleration_m_per_s2": 0.5, "handling_mean_s": HANDLING_S, "turn_s": TURN_S,
            }
        ],
        work=[{"name": kind, "kind": kind, "per_hour": 8.0} for kind in KINDS],
    )  # fmt: skip


@dataclass(frozen=True)
class Outer:
    """Ways between a door and the middle aisle, empty or laden (n,)."""

    row: np.ndarray
    kind: np.ndarray
    door: np.ndarray
    is_laden: np.ndarray

    def pairs(self) -> Iterator[tuple[int, int, bool]]:
        """Row of the log, door, and whether there is a load."""
        return zip(self.row.tolist(), self.door.tolist(), self.is_laden.tolist(), strict=True)


def outer_ways(made: Floor, *, is_in: bool) -> Outer:
    """The ways into the middle aisle as first one, or home from it as last one, of tasks that were done."""
    log, tasks = made.log, made.tasks
    kind, task = tasks.kind[log.task], log.task
    is_move = kind == KINDS.index("replenish")
    aisle = np.where(log.part == 1, tasks.second_aisle[task], tasks.aisle[task])
    goes_on = (log.part == 0) & np.isin(task, task[log.part == 1])
    ours = (aisle == MIDDLE) & ((log.part == 0) if is_in else ~goes_on) & np.isfinite(log.finish[task])
    is_laden = kind == KINDS.index("putaway" if is_in else "retrieve")
    at_own = ~is_laden if is_in else is_move
    found = Outer(ours.nonzero()[0], kind[ours], np.where(at_own, log.from_door, tasks.door[task])[ours],
                  is_laden[ours])
    assert len({*zip(found.door.tolist(), found.kind.tolist(), strict=True)}) == 6, "a kind of way is missing"
    return found


def leave_times(made: Floor) -> np.ndarray:
    """When the visit of each row of the log ended; visits are in order of entry."""
    leave = np.full(len(made.log.enter), np.nan)
    leave[np.argsort(made.log.enter, kind="stable")[: len(made.visits)]] = made.visits.leave
    return leave


def check_times(made: Floor, *, is_in: bool, doors: tuple[int, int] = (0, 1)) -> None:
    """In: from taking the task to the mouth. Home: from leaving to the end of the task."""
    log, ways_done, leave = made.log, outer_ways(made, is_in=is_in), leave_times(made)
    for row, door, is_laden in ways_done.pairs():
        wanted = round_way(LADEN_S if is_laden else EMPTY_S, doors[door])
        wanted += HANDLING_S if is_laden else 0.0
        if is_in and is_laden and log.from_door[row] != door:
            wanted += 15 / 2.5 + 5.0  # empty from one door to the other
        begun, ended = log.begin[log.task[row]], log.finish[log.task[row]]
        equals(log.arrive[row] - begun if is_in else ended - leave[row], wanted, 1e-6, f"row {row}")


def check_drives(made: Floor, *, is_in: bool, sides: tuple[float, float] = (0.0, 30.0)) -> None:
    """Where sensors see the truck: on the back cross-aisle, 40 m of the side's length apart on the front."""
    log, drives, leave = made.log, made.visits.drives, leave_times(made)
    assert drives is not None
    for row, door, is_laden in outer_ways(made, is_in=is_in).pairs():
        times, door_m, side = LADEN_S if is_laden else EMPTY_S, 7.5 + 15.0 * door, sides[door]
        across = times[13 if side == 0.0 else 17]
        if is_in:
            back = log.arrive[row] - TURN_S - times["stub"] - across
            front = back - times["along"] - 2 * math.sqrt(7.5 / 0.5)
            wanted = ((True, back, side, 13.0), (False, front, door_m, side))
        else:
            back = leave[row] + TURN_S + times["stub"]
            front = back + across + times["along"]
            wanted = ((True, back, 13.0, side), (False, front, side, door_m))
        for is_back, start, from_m, to_m in wanted:
            near = (drives.truck == log.truck[row]) & (np.abs(drives.start - start) < 1e-6)
            near &= (drives.is_back == is_back) & (drives.from_m == from_m) & (drives.to_m == to_m)
            holds(near.sum() == 1, f"row {row}: a drive from {from_m} to {to_m} m at {start} s")


@pytest.mark.parametrize(("direction", "is_in"), [("one_way", False), ("one_way_from_back", True)])
def test_ways_between_doors_and_a_one_way_aisle(
    direction: str, is_in: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """All kinds of moves, to or from either door, empty and laden."""
    made = busy_floor(direction)
    check_times(made, is_in=is_in)
    check_drives(made, is_in=is_in)
    with spoilt("both doors by the nearer side"):
        check_drives(made, is_in=is_in, sides=(0.0, 0.0))
    with spoilt("the doors swapped"):
        check_times(made, is_in=is_in, doors=(1, 0))

    def nearer(layout: Layout, here_m: np.ndarray, there_m: np.ndarray) -> np.ndarray:
        aisle_m = there_m if here_m.ndim == 2 else here_m  # the table of targets has doors first
        return np.where(aisle_m <= 0.5 * layout.width_m, 0.0, layout.width_m)

    for room in (ways, plans):
        monkeypatch.setattr(room, "sides_between", nearer)
    with spoilt("a program that goes round the side nearer to the aisle"):
        check_times(busy_floor(direction), is_in=is_in)


def test_of_sides_alike_the_one_at_0() -> None:
    """Within 1e-9 m: the widths of floors are sums that rounding touches."""
    layout, width = lay_out(scenario(aisles=6)), 30.0
    for excess, side in ((0.0, 0.0), (4e-10, 0.0), (6e-10, width), (1.0, width), (-1.0, 0.0)):
        assert ways.side_between(13.0, 17.0 + excess, width) == side
        place = np.array([13.0]), np.array([17.0 + excess])
        assert ways.sides_between(layout, *place).tolist() == [side]
