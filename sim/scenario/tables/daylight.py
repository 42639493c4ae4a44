"""What a user may say about skylights: how much light the luminaires still have to give, by month and hour.

Comes in: plain values.  Goes out: the frozen `Skylight` table.  Before: `scenario/tables/base`; after:
`scenario/schema`, `lighting/daylight`.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from sim.scenario.tables.base import AnyNames, Frozen, Level, Part, Positive, Share, quantity

__all__ = ["Skylight"]

Day = Annotated[tuple[Level, ...], Field(min_length=24, max_length=24), Frozen]
Caps = Annotated[tuple[Day, ...], Field(min_length=12, max_length=12), Frozen]


class Skylight(Part):
    """A cap on every level by month and hour, as daylight sensors would hold it; in some aisles or all."""

    aisles: AnyNames | None = quantity("aisles under skylights; absent: all", "-", None)
    caps: Caps | None = quantity(
        "12 rows of 24 numbers, January first: share of full light that the luminaires still have to give",
        "-",
        None,
    )
    weather: Literal["pvlib-723170TYA", "pvlib-703165TY", "pvlib-12839"] | None = quantity(
        "instead of caps: a typical year that comes with pvlib (Greensboro, North Carolina; Sand Point, "
        "Alaska; Miami, Florida); needs pvlib; elsewhere `aislewake skylight FILE` makes caps of a file",
        "-",
        None,
    )
    indoor_share: Share | None = quantity(
        "with weather: light on the floor over light outdoors on the horizontal (daylight factor)", "-", None
    )
    needed_lux: Positive | None = quantity(
        "with weather: light on the floor that full level gives", "lx", None
    )
