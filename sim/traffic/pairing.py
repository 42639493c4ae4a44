"""Dual commands: a truck that comes to put away takes a retrieval near by that waits.

Comes in: queues of planned tasks, layout.  Goes out: the partner of a putaway, and the times of the two moves
done in one round.  Before: `traffic/plans`; after: `traffic/world`.  The same legs as
`legs.route_between`, for one pair at a time and without arrays: it is asked for at every putaway.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sim.floor.layout import Layout
from sim.scenario.schema import Trucks
from sim.traffic.gait import Gait, gait_of
from sim.traffic.plans import Queues, Task
from sim.traffic.ways import ALIKE_M, cross_lines, side_between
from sim.traffic.work import Tasks

__all__ = ["PairTimes", "Pairing", "WaitingTasks"]

MOST_LOOKED_AT = 64
"""A driver's terminal offers the oldest so many retrievals that wait."""


class WaitingTasks:
    """Queues of tasks of which any one that waits can be taken, not only the first.

    `heads` holds the first task of each queue, None where there is none left (Q,).
    """

    def __init__(self, queues: Queues) -> None:
        self._later: list[Iterator[Task]] = list(queues.tasks)
        self._behind: list[deque[Task]] = [deque() for _ in queues.tasks]
        self.heads: list[Task | None] = [next(later, None) for later in self._later]

    def take_first(self, queue: int) -> None:
        """Take the first task of a queue away."""
        behind = self._behind[queue]
        self.heads[queue] = behind.popleft() if behind else next(self._later[queue], None)

    def waiting(self, queue: int, now: float) -> Iterator[tuple[int, Task]]:
        """Yield place and task of those that have arisen by now, the oldest first."""
        head, behind = self.heads[queue], self._behind[queue]
        if head is None or head[0] > now:
            return
        yield 0, head
        place = 1
        while place < MOST_LOOKED_AT:
            if place > len(behind):
                following = next(self._later[queue], None)
                if following is None:
                    return
                behind.append(following)
            task = behind[place - 1]
            if task[0] > now:
                return
            yield place, task
            place += 1

    def take(self, queue: int, place: int) -> None:
        """Take a task away that `waiting` has shown."""
        if place == 0:
            self.take_first(queue)
        else:
            del self._behind[queue][place - 1]

    def count_left(self) -> int:
        """Count the tasks that nobody took; the queues are used up by it."""
        heads = sum(head is not None for head in self.heads)
        return heads + sum(map(len, self._behind)) + sum(1 for later in self._later for _ in later)


@dataclass(frozen=True)
class PairTimes:
    """How long a putaway and a retrieval take in one round [s].

    Attributes
    ----------
    is_one_visit : whether both are done in one visit, in the same aisle
    first_stay : in the putaway's aisle
    set_down : from entering it to the end of the set-down, lowering included
    between, second_stay : to the retrieval's mouth, and in its aisle; 0 in one visit
    home : from the mouth to the end of the set-down at the door
    """

    is_one_visit: bool
    first_stay: float
    set_down: float
    between: float
    second_stay: float
    home: float


def _run(distance: float, speed: float, ramp: float) -> float:
    """Time of a run from rest to rest, as `kinematics.travel_time` [s]."""
    if ramp > 0.0:
        if distance >= speed * speed / ramp:
            return distance / speed + speed / ramp
        return 2.0 * math.sqrt(distance / ramp)
    return distance / speed


class Pairing:
    """Finds and times pairs for one truck group."""

    def __init__(
        self, layout: Layout, trucks: Trucks, group: int, tasks: Tasks, queues: Queues, waiting: WaitingTasks
    ) -> None:
        self.gait: Gait = gait_of(trucks)
        self.within = math.inf if trucks.pairing_within_m is None else trucks.pairing_within_m
        self.group, self.tasks, self.waiting = group, tasks, waiting
        self.queues: Sequence[int] = [
            queue
            for queue, (able, is_retrieval) in enumerate(
                zip(queues.may_do, queues.is_retrieval, strict=True)
            )
            if able[group] and is_retrieval
        ]
        self.aisle_m, self.door_m = layout.aisle_m.tolist(), layout.door_m.tolist()
        self.length_m: list[float] = layout.length_m.tolist()
        self.lines: list[float] = cross_lines(layout).tolist()
        self.direction, self.width_m = layout.direction.tolist(), layout.width_m
        self.staging = _run(layout.staging_depth_m, self.gait.laden, self.gait.ramp)

    def take_partner(self, aisle: int, now: float) -> Task | None:
        """Take the waiting retrieval in the nearest aisle, the oldest of those; None where none is near."""
        here = self.aisle_m[aisle]
        best: tuple[float, float, int, int] | None = None
        chosen: Task | None = None
        for queue in self.queues:
            for place, task in self.waiting.waiting(queue, now):
                away = abs(self.aisle_m[task[3]] - here)
                if away <= self.within and (best is None or (away, task[0]) < best[:2]):
                    best, chosen = (away, task[0], queue, place), task
        if best is not None:
            self.waiting.take(best[2], best[3])
        return chosen

    def times(self, put: int, fetch: int) -> PairTimes:
        """Time a putaway and a retrieval, by their numbers, done in one round."""
        tasks, gait, ramp, group = self.tasks, self.gait, self.gait.ramp, self.group
        first, second = int(tasks.aisle[put]), int(tasks.aisle[fetch])
        bay, second_bay = float(tasks.bay_m[put]), float(tasks.bay_m[fetch])
        height, second_height = float(tasks.height_m[put]), float(tasks.height_m[fetch])
        way = self.direction[first]
        same = first == second and (second_bay - bay) * way >= 0.0
        out, into = self._lines_between(first, bay, second, second_bay)
        enter_m = self._line_behind(bay) if way < 0 else 0.0
        home_line_m = self._line_behind(second_bay) if self.direction[second] > 0 else 0.0
        length, second_length = self.length_m[first], self.length_m[second]
        in_run = abs(bay - min(enter_m, length))
        out_run = abs(min(home_line_m, second_length) - second_bay)
        come_in, leave = _run(in_run, gait.aisle_laden, ramp), _run(out_run, gait.aisle_laden, ramp)
        inside = _run(abs(bay - second_bay), gait.aisle_empty, ramp)
        go_out = _run(abs(min(out, length) - bay), gait.aisle_empty, ramp)
        go_in = _run(abs(second_bay - min(into, second_length)), gait.aisle_empty, ramp)
        up, down = gait.up, gait.down
        if not gait.lifts_while_travelling:
            mast, second_mast = height * (up + down), second_height * (up + down)
        else:
            rise = second_height - height
            mast = max(0.0, height * up - come_in) + (
                max(0.0, (rise * up if rise > 0.0 else -rise * down) - inside)
                if same
                else max(0.0, height * down - go_out)
            )
            second_mast = (0.0 if same else max(0.0, second_height * up - go_in)) + max(
                0.0, second_height * down - leave
            )
        stand = float(tasks.set_s[group, put]) + mast
        second_stand = float(tasks.pick_s[group, fetch]) + second_mast
        here, door_m = self.aisle_m[second], self.door_m[int(tasks.door[fetch])]
        to_door = [abs(door_m - here)]
        if home_line_m > 0.0:
            side = side_between(here, door_m, self.width_m)
            stub = max(0.0, home_line_m - second_length)
            to_door = [stub, abs(here - side), home_line_m, abs(side - door_m)]
        driven = sum(_run(way, gait.laden, ramp) for way in to_door)
        home = gait.turn_s + driven + self.staging + float(tasks.set_s[group, fetch])
        if same:
            stay = come_in + stand + inside + second_stand + leave
            return PairTimes(True, stay, come_in + stand, 0.0, 0.0, home)
        ways = [
            max(0.0, out - length),
            *self._ways_across(self.aisle_m[first], self.aisle_m[second], out, into),
            max(0.0, into - second_length),
        ]
        between = sum(_run(way, gait.empty, ramp) for way in ways) + 2.0 * gait.turn_s
        return PairTimes(
            False, come_in + stand + go_out, come_in + stand, between, go_in + second_stand + leave, home
        )

    def _line_behind(self, bay: float) -> float:
        """Return where the first cross-aisle at a bay or behind it lies, the front one left out [m]."""
        return next((line for line in self.lines[1:] if line >= bay), self.lines[-1])

    def _lines_between(self, first: int, bay: float, second: int, second_bay: float) -> tuple[float, float]:
        """Return where the cross-aisles of the shortest legal way from bay to bay lie [m]."""
        best, chosen = math.inf, (0.0, 0.0)
        here, there = self.aisle_m[first], self.aisle_m[second]
        side = side_between(here, there, self.width_m)
        detour = abs(here - side) + abs(side - there) - abs(here - there)
        enter = _may_leave(self.lines, -self.direction[second], second_bay)
        for out in _may_leave(self.lines, self.direction[first], bay):
            for into in enter:
                extra = 0.0 if out == into else abs(out - into) + detour
                cost = abs(bay - out) + abs(second_bay - into) + extra
                if cost < best - ALIKE_M:
                    best, chosen = cost, (out, into)
        return chosen

    def _ways_across(self, here: float, there: float, out: float, into: float) -> list[float]:
        """Return the runs along cross-aisles and round the shorter side, from line to line."""
        if out == into:
            return [abs(here - there)]
        side = side_between(here, there, self.width_m)
        return [abs(here - side), abs(out - into), abs(side - there)]


def _may_leave(lines: list[float], direction: int, bay: float) -> list[float]:
    """Return the lines by which an aisle may be left after a bay, or, its direction reversed, entered."""
    if direction > 0:
        return [line for line in lines[1:] if line >= bay]
    return lines if direction == 0 else [line for line in lines[:-1] if line <= bay]
