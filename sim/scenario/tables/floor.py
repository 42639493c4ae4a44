"""What a user may say about the floor: aisles, cross-aisles, directions, docks, tiers.

Comes in: plain values.  Goes out: the frozen `Floor` table.  Before: `scenario/tables/base`; after:
`scenario/schema`, which puts the table into a scenario.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import Field

from sim.scenario.tables.base import Amount, Frozen, Metres, Names, Part, Positive, quantity

__all__ = ["Floor"]


class Floor(Part):
    """Aisles side by side between a front and a back cross-aisle; the docks lie in front."""

    aisles: Annotated[int, Field(ge=1, le=2000)] | Names = quantity(
        "number of aisles (named A01, A02, ... from the dock corner), or the list of their names"
    )
    aisle_length_m: Positive | Annotated[tuple[Positive, ...], Field(min_length=1), Frozen] = quantity(
        "length from the front mouth to the back mouth: one number, or one per aisle", "m"
    )
    aisle_pitch_m: Positive | Annotated[tuple[Positive, ...], Field(min_length=1), Frozen] = quantity(
        "width of an aisle with its half of the racks on either side: one number (then the distance between "
        "neighbouring centre lines), or one per aisle",
        "m",
    )
    zones_per_aisle: int = quantity("equal control zones along each aisle", "-", 1, ge=1, le=200)
    lead_zones: int = quantity(
        "motion in a zone counts also in so many zones on either side of it, along its aisle",
        "-",
        0,
        ge=0,
        le=199,
    )
    one_way: Literal["front-to-back", "back-to-front", "alternating"] | Names | None = quantity(
        "aisles that are entered at the front and left at the back; or one word for all aisles (alternating: "
        "the first front to back, the second back to front, and so on); absent: none",
        "-",
        None,
    )
    one_way_from_back: Names | None = quantity(
        "aisles that are entered at the back and left at the front; beside a list in one_way, or alone",
        "-",
        None,
    )
    cross_aisles_m: Metres | None = quantity(
        "middle cross-aisles by their distance from the front mouths: trucks enter and leave aisles there "
        "where that is shorter; absent: none",
        "m",
        None,
    )
    aisle_capacity: int | None = quantity(
        "trucks that may be in one aisle at once; absent: no limit", "trucks", None, ge=1, le=10_000
    )
    staging_depth_m: Amount = quantity(
        "depth of the staging area between doors and front cross-aisle", "m", 0.0
    )
    dock_doors: int = quantity("dock doors, evenly spread along the front", "doors", 1, ge=1, le=2000)
    tiers: int = quantity("tiers of the racks, the lowest on the floor", "tiers", 1, ge=1, le=1000)
    tier_height_m: Amount = quantity("from one tier to the next", "m", 0.0)

    def directions(self, names: Sequence[str]) -> tuple[int, ...]:
        """Return which way each aisle is driven: 1 from the front, -1 from the back, 0 either way (A,).

        Parameters
        ----------
        names : of the aisles, from the dock corner
        """
        if self.one_way == "alternating":
            return tuple(1 if number % 2 == 0 else -1 for number in range(len(names)))
        if isinstance(self.one_way, str):
            return (1 if self.one_way == "front-to-back" else -1,) * len(names)
        from_front, from_back = self.one_way or (), self.one_way_from_back or ()
        return tuple((name in from_front) - (name in from_back) for name in names)
