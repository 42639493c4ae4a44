"""What a user may ask of a recommendation: what to make small, what to keep to, what the controller offers.

Comes in: plain values.  Goes out: the frozen `Recommend` table.  Before: `scenario/tables/base`; after:
`scenario/schema`, `study/decide/wish`.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from sim.scenario.tables.base import (
    Amount,
    AnyNames,
    Level,
    Levels,
    Name,
    Part,
    Positive,
    Seconds,
    quantity,
)

__all__ = ["Recommend"]


class Recommend(Part):
    """What a recommendation must keep to, and what the controller offers."""

    minimise: Name = quantity("additive outcome to make as small as the limits allow", "-", "energy_kwh")
    max: dict[Name, Amount] = quantity(
        "limits of the whole site: an additive outcome alone or with _per_visit, _per_day, _per_hour, "
        "_per_zone_hour behind it, to the most allowed on the average",
        "-",
        {},
    )
    max_zone: dict[Name, Amount] = quantity("the same limits for each control zone by itself", "-", {})
    max_hour: dict[Name, Amount] = quantity("the same limits for each hour of the day by itself", "-", {})
    margin: Annotated[float, Field(ge=0.0, lt=1.0)] = quantity(
        "share of each limit that plans must have to spare on the traffic they are fitted to", "-", 0.0
    )
    timeouts_s: Seconds | None = quantity("timeouts the controller offers; absent: 30 s to 30 min", "s", None)
    levels: Levels | None = quantity(
        "unoccupied levels the controller offers; absent: those of IEC 62386-102 nearest to 10, 20, 30, 40 "
        "and 50 %",
        "-",
        None,
    )
    groups: int = quantity("groups of like aisles that share their settings", "groups", 3, ge=1, le=100)
    unoccupied_floor_share: Level | dict[Name, Level] | None = quantity(
        "lowest unoccupied level allowed, share of full light: one number, or one by settings", "-", None
    )
    unoccupied_floor_lux: Amount | dict[Name, Amount] | None = quantity(
        "the same in lux on the floor; needs floor_lux_at_full", "lx", None
    )
    occupied_lux: Positive | None = quantity(
        "light wanted while a zone is held; absent: the occupied levels stay as they are", "lx", None
    )
    egress_aisles: AnyNames | None = quantity("aisles that are marked ways out; [] for none", "-", None)
    egress_floor_share: Level | None = quantity("lowest unoccupied level allowed in them", "-", None)
    egress_floor_lux: Amount | None = quantity("the same in lux on the floor", "lx", None)
    walked_aisles: AnyNames | None = quantity("aisles in which people walk; [] for none", "-", None)
