"""Who may be in an aisle with whom: aisles that are full, or closed to some while others are in.

Comes in: layout and truck groups.  Goes out: `Gates`, which says when a truck that comes to a mouth may
enter.  Before: `scenario`; after: `traffic/world`.  First come, first served, without overtaking.  How long a
truck stays is known when it comes, so the time of entry is too, and no event is needed for it.
"""

from __future__ import annotations

from sim.floor.layout import Layout
from sim.scenario.schema import Trucks

__all__ = ["Gates", "has_rules"]


def has_rules(groups: tuple[Trucks, ...]) -> bool:
    """Say whether any group has a limit of its own or is kept apart from another."""
    return any(trucks.aisle_capacity is not None or trucks.not_with for trucks in groups)


class Gates:
    """The bookings of every aisle.

    Parameters
    ----------
    layout : with the capacity that counts all groups together
    groups : with their own capacities and the groups they are kept apart from
    """

    def __init__(self, layout: Layout, groups: tuple[Trucks, ...]) -> None:
        self.capacity = layout.capacity
        self.own = [trucks.aisle_capacity for trucks in groups]
        apart = {(trucks.name, other) for trucks in groups for other in trucks.not_with or ()}
        self.apart = [
            frozenset(
                number
                for number, other in enumerate(groups)
                if (trucks.name, other.name) in apart or (other.name, trucks.name) in apart
            )
            for trucks in groups
        ]
        self.inside: list[list[tuple[float, int]]] = [[] for _ in layout.aisles]
        """When each truck that was let in leaves, and its group."""
        self.last_entry = [0.0] * len(layout.aisles)

    def enter(self, aisle: int, group: int, arrive: float, stay: float) -> float:
        """Book the earliest entry from `arrive` on that every rule allows, and return it [s]."""
        entry = self.last_entry[aisle]
        if arrive > entry:
            entry = arrive
        inside = [booking for booking in self.inside[aisle] if booking[0] > arrive]
        if inside:
            # all of them are in before this one, so it is their leaving alone that makes room
            limit = self.capacity
            if limit is not None and len(inside) >= limit:
                entry = max(entry, sorted(inside)[-limit][0])
            limit = self.own[group]
            if limit is not None:
                own = sorted(leave for leave, other in inside if other == group)
                if len(own) >= limit:
                    entry = max(entry, own[-limit])
            apart = self.apart[group]
            if apart:
                entry = max([entry, *(leave for leave, other in inside if other in apart)])
        self.last_entry[aisle] = entry
        inside.append((entry + stay, group))
        self.inside[aisle] = inside
        return entry
