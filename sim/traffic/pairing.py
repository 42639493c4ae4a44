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
    first_stay : in the putaway's aisle
    set_down : from entering it to the end of the set-down, lowering included
    between, second_stay : to the retrieval's mouth, and in its aisle; 0 where it is the same aisle
    home : from the mouth to the end of the set-down at the door
    """

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
        self.length_m, self.back_m = layout.length_m.tolist(), float(layout.length_m.max())
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
        same = first == second
        by_back = not same and (self.back_m - bay) + (self.back_m - second_bay) < bay + second_bay
        out_m = self.length_m[first] - bay if by_back else bay
        in_m = self.length_m[second] - second_bay if by_back else second_bay
        come_in, leave = _run(bay, gait.aisle_laden, ramp), _run(second_bay, gait.aisle_laden, ramp)
        inside = _run(abs(bay - second_bay), gait.aisle_empty, ramp)
        go_out, go_in = _run(out_m, gait.aisle_empty, ramp), _run(in_m, gait.aisle_empty, ramp)
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
        across = abs(self.door_m[int(tasks.door[fetch])] - self.aisle_m[second])
        home = gait.turn_s + _run(across, gait.laden, ramp) + self.staging + float(tasks.set_s[group, fetch])
        if same:
            return PairTimes(
                come_in + stand + inside + second_stand + leave, come_in + stand, 0.0, 0.0, home
            )
        ways = [abs(self.aisle_m[first] - self.aisle_m[second])]
        if by_back:
            ways += [self.back_m - self.length_m[first], self.back_m - self.length_m[second]]
        between = sum(_run(way, gait.empty, ramp) for way in ways) + 2.0 * gait.turn_s
        return PairTimes(
            come_in + stand + go_out, come_in + stand, between, go_in + second_stand + leave, home
        )
