"""Who may enter an aisle when, as it happens: first come, first served, without overtaking.

Comes in: the rules of `traffic/gates` (how many at once, of which group, who not with whom).  Goes out: an
event that happens when a truck may enter.  Before: `scenario`; after: `lighting/live_floor`, where nobody
knows beforehand how long a visit lasts.
"""

from __future__ import annotations

from collections import Counter, deque

import simpy

from sim.scenario.schema import Trucks

__all__ = ["LiveGates"]


class LiveGates:
    """The mouths of every aisle.

    Parameters
    ----------
    env : the simulation
    aisles : how many there are
    capacity : trucks of all groups that may be in one aisle at once; None for no limit
    groups : with their own capacities and the groups they are kept apart from
    """

    def __init__(
        self, env: simpy.Environment, aisles: int, capacity: int | None, groups: tuple[Trucks, ...]
    ) -> None:
        self._env, self._capacity = env, capacity
        self._own = [trucks.aisle_capacity for trucks in groups]
        apart = {(trucks.name, other) for trucks in groups for other in trucks.not_with or ()}
        self._apart = [
            [
                number
                for number, other in enumerate(groups)
                if (trucks.name, other.name) in apart or (other.name, trucks.name) in apart
            ]
            for trucks in groups
        ]
        self._inside: list[Counter[int]] = [Counter() for _ in range(aisles)]
        self._queue: list[deque[tuple[int, simpy.Event]]] = [deque() for _ in range(aisles)]

    def request(self, aisle: int, group: int) -> simpy.Event | None:
        """Ask for a place; None: the truck has it and may enter now."""
        if not self._queue[aisle] and self._has_room(aisle, group):
            self._inside[aisle][group] += 1
            return None
        event = self._env.event()
        self._queue[aisle].append((group, event))
        return event

    def release(self, aisle: int, group: int) -> None:
        """Give a place back, and let in who may enter now."""
        self._inside[aisle][group] -= 1
        queue = self._queue[aisle]
        while queue and self._has_room(aisle, queue[0][0]):
            next_group, event = queue.popleft()
            self._inside[aisle][next_group] += 1
            event.succeed()

    def _has_room(self, aisle: int, group: int) -> bool:
        """Say whether every rule lets one more of a group in."""
        inside, own = self._inside[aisle], self._own[group]
        if self._capacity is not None and inside.total() >= self._capacity:
            return False
        if own is not None and inside[group] >= own:
            return False
        return not any(inside[other] for other in self._apart[group])
