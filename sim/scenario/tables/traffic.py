"""What a user may say about traffic: trucks and walkers, shifts, streams of work, trailers.

Comes in: plain dictionaries.  Goes out: frozen models.  Before: `scenario/tables/base`,
`scenario/truck_types`; after: `scenario/schema`, which is where other rooms take them from.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, model_validator

from sim.scenario.tables.base import (
    EVERY_DAY,
    Amount,
    Breaks,
    Clock,
    Clocks,
    Count,
    Days,
    Frozen,
    Hourly,
    Level,
    Name,
    Names,
    Part,
    Positive,
    Share,
    Speed,
    Spread,
    quantity,
)
from sim.scenario.truck_types import usual_values

__all__ = ["Inbound", "Outbound", "Placing", "Shift", "Trucks", "Work"]

_FILLED_IN = ("speed_laden_m_per_s", "speed_empty_m_per_s", "handling_mean_s")


def _only_without_type(schema: dict[str, Any]) -> None:
    """Say in the JSON Schema that a type or a walker has usual values for some keys."""
    schema["required"] = [key for key in schema["required"] if key not in _FILLED_IN]
    schema["if"] = {"not": {"anyOf": [{"required": ["type"]}, {"required": ["kind"]}]}}
    schema["then"] = {"required": list(_FILLED_IN)}


class Trucks(Part):
    """A group of like trucks, or of people on foot."""

    model_config = ConfigDict(json_schema_extra=_only_without_type)

    name: Name = quantity("name of the group; trucks are called name-01, name-02, ...")
    count: int = quantity("trucks owned", "trucks", ge=1, le=5000)
    type: Literal["counterbalance", "reach", "turret", "order-picker", "pallet-truck"] | None = quantity(
        "type of truck (ISO 5053-1): fills in usual values for keys that are absent", "-", None
    )
    kind: Literal["truck", "walker"] = quantity("trucks, or people on foot", "-", "truck")
    speed_laden_m_per_s: Speed = quantity("travel speed with a load", "m/s")
    speed_empty_m_per_s: Speed = quantity("travel speed without a load", "m/s")
    acceleration_m_per_s2: Annotated[float, Field(ge=0.0, le=1000.0)] = quantity(
        "acceleration and braking; 0 means none: constant speed", "m/s2", 0.0
    )
    aisle_speed_m_per_s: Speed | None = quantity("speed limit inside aisles; absent: none", "m/s", None)
    turn_s: Amount = quantity("time lost at each turn between a cross-aisle and an aisle", "s", 0.0)
    turn_speed_m_per_s: Speed | None = quantity(
        "speed round such a turn, instead of turn_s; needs turn_radius_m", "m/s", None
    )
    turn_radius_m: Positive | None = quantity("radius of such a turn, a quarter of a circle", "m", None)
    handling_mean_s: Amount = quantity("mean of one pick-up or one set-down", "s")
    handling_cv: Spread = quantity(
        "standard deviation over mean of the handling time, gamma family: 0 constant, 1 exponential", "-", 0.0
    )
    lift_m_per_s: Speed | None = quantity("lifting speed; absent: lifting takes no time", "m/s", None)
    lower_m_per_s: Speed | None = quantity("lowering speed; absent: lowering takes no time", "m/s", None)
    lifts_while_travelling: bool = quantity(
        "whether it lifts and lowers while it travels (turret trucks), not before and after", "-", False
    )
    lift_height_m: Amount | None = quantity("highest tier it reaches; absent: any", "m", None)
    aisles: Names | None = quantity("the aisles it may enter; absent: all", "-", None)
    aisle_capacity: Count | None = quantity(
        "how many of this group may be in one aisle at once; absent: no limit of its own", "trucks", None
    )
    not_with: Names | None = quantity(
        "groups that may not be in an aisle together with this one, either way round", "-", None
    )
    service_weight: Annotated[float, Field(ge=0.0, le=1.0)] = quantity(
        "how much its dim seconds and dim entries count; 0: unmanned, needs no light", "-", 1.0
    )
    seen: bool = quantity("whether the sensors can see it", "-", True)
    pairing: bool = quantity(
        "whether a truck that comes to put away also takes the nearest retrieval that waits", "-", False
    )
    pairing_within_m: Positive | None = quantity(
        "pair only aisles this near to each other, across the floor; absent: any", "m", None
    )
    battery_h: Positive | None = quantity("hours of work on one battery; absent: never empty", "h", None)
    charge_at: Annotated[float, Field(ge=0.0, lt=1.0)] = quantity(
        "state of charge below which a truck that comes free goes to a charger", "-", 0.2
    )
    charge_h: Positive | None = quantity("charging time from empty to full", "h", None)
    change_mean_s: Positive | None = quantity("mean time of a battery change, instead of charge_h", "s", None)
    change_cv: Spread = quantity("standard deviation over mean of a battery change, gamma family", "-", 0.0)
    chargers: Count | None = quantity("chargers or change stations of the group; absent: no limit", "-", None)
    dim_speed_factor: Annotated[float, Field(gt=0.0, le=1.0)] | None = quantity(
        "drivers react: speed in a zone below its occupied level, as a share of the usual speed; absent: 1",
        "-",
        None,
    )
    wait_for_light: Level | None = quantity(
        "drivers react: a truck stops at the mouth until the first zone is at this level; absent: never",
        "-",
        None,
    )
    wait_at_most_s: Positive = quantity(
        "with wait_for_light: then the truck goes in without it, and this is counted", "s", 30.0
    )

    @model_validator(mode="before")
    @classmethod
    def _fill_in(cls, content: Any) -> Any:
        """Fill in a type's usual values; an explicit key wins."""
        if not isinstance(content, dict):
            return content
        return {**usual_values(content.get("type"), content.get("kind")), **content}


class Shift(Part):
    """When how many trucks of a group have drivers."""

    trucks: Name = quantity("name of the truck group")
    days: Days = quantity("weekdays on which the shift begins", "-", EVERY_DAY)
    from_: Clock = quantity("start, wall clock HH:MM", "h", alias="from")
    to: Clock = quantity("end, wall clock HH:MM; earlier than the start: runs past midnight", "h")
    crew: int = quantity("drivers on this shift", "drivers", ge=1, le=5000)
    breaks: Breaks = quantity("pairs of start and end, wall clock HH:MM", "h", ())
    break_groups: Annotated[int, Field(ge=1, le=100)] = quantity(
        "the crew takes each break in so many groups, one after the other", "-", 1
    )


class Placing(Part):
    """Which aisles, bays and tiers a stream of moves goes to, and who does it."""

    name: Name = quantity("name of the stream, of its own among work, inbound and outbound")
    aisle_skew: Annotated[float, Field(ge=0.0, le=1e6)] | None = quantity(
        "Bender's A over aisles ranked by activity, rank 1 is the first aisle; 0: all alike", "-", None
    )
    top_20pct_share: Annotated[float, Field(ge=0.2, lt=1.0)] | None = quantity(
        "share of the moves in the busiest fifth of the aisles, instead of aisle_skew", "-", None
    )
    aisle_shares: Annotated[tuple[Share, ...], Field(min_length=1), Frozen] | None = quantity(
        "share of the moves by aisle, summing to 1, instead of aisle_skew", "-", None
    )
    bay_skew: Annotated[float, Field(ge=0.0, le=1e6)] = quantity(
        "Bender's A over the depth of an aisle, front bays busiest; 0: uniform", "-", 0.0
    )
    bay_classes: (
        Annotated[
            tuple[Annotated[tuple[Share, Share], Frozen], ...], Field(min_length=2, max_length=50), Frozen
        ]
        | None
    ) = quantity(
        "classes of places, nearest first: rows of [share of places, share of moves], instead of bay_skew",
        "-",
        None,
    )
    tiers: Count | None = quantity("lowest so many tiers are used; absent: all of the floor", "tiers", None)
    trucks: Names | None = quantity(
        "truck groups that may do it; absent: any (of walkers where the work is a walk)", "-", None
    )


class Work(Placing):
    """A stream of moves, of picking tours or of walks."""

    kind: Literal["putaway", "retrieve", "replenish", "tour", "walk"] = quantity(
        "putaway (dock to bay), retrieve (bay to dock), replenish (bay to bay), tour (picks in several "
        "aisles), walk (on foot into an aisle, to count, clean or mend)"
    )
    per_hour: Hourly = quantity("moves, tours or walks an hour: one number, or 24 by hour of the day", "1/h")
    days: Days = quantity("weekdays with this work", "-", EVERY_DAY)
    lines_per_tour: Annotated[int, Field(ge=1, le=1000)] | None = quantity(
        "picks on one tour, each in an aisle of its own draw", "lines", None
    )
    routing: Literal["traversal", "return", "shortest"] = quantity(
        "traversal (in by one end of an aisle, out by the other), return (out by the end it came in) or "
        "shortest (in and out by whatever cross-aisles make the tour shortest, the aisles in order)",
        "-",
        "traversal",
    )
    dwell_mean_s: Amount | None = quantity(
        "walks: mean time at the place in the aisle; tours: at each pick, instead of the handling time",
        "s",
        None,
    )
    dwell_cv: Spread = quantity("standard deviation over mean of that time, gamma family", "-", 0.0)
    dwell_median_s: Amount | None = quantity(
        "median of that time instead, lognormal family: most stays short, some long", "s", None
    )
    dwell_spread: Annotated[float, Field(ge=1.0, le=100.0)] = quantity(
        "two thirds of those times lie between the median divided by this and multiplied by it; 1: all alike",
        "-",
        1.0,
    )
    through: bool = quantity("walks: out by the back and round the outside, not the same way", "-", False)


class Inbound(Placing):
    """Trailers that bring pallets, each pallet a putaway once it is unloaded."""

    at: Clocks | None = quantity("arrivals by timetable, wall clock HH:MM", "h", None)
    per_hour: Hourly | None = quantity(
        "trailers an hour at random instead: one number, or 24 by hour of the day", "1/h", None
    )
    days: Days = quantity("weekdays on which they come", "-", EVERY_DAY)
    pallets: Count = quantity("pallets on one trailer: 26, 28 and 30 in 53 ft, 33 on 13.6 m", "pallets")
    doors: Annotated[tuple[Count, ...], Field(min_length=1), Frozen] | None = quantity(
        "numbers of the doors it may use, from 1; absent: all", "-", None
    )
    change_s: Amount = quantity("from a trailer's leaving a door to the next one's standing there", "s", 0.0)
    pallet_s: Amount | None = quantity(
        "unloading time of one pallet, by hands that are not modelled", "s", None
    )
    unload_trucks: Names | None = quantity(
        "truck groups that unload and do nothing else, one truck a trailer, instead of pallet_s", "-", None
    )
    unload_m: Amount = quantity("their way from the trailer to where the pallet is put down", "m", 0.0)


class Outbound(Placing):
    """Trailers that take pallets away: a wave of retrievals ahead of each departure."""

    at: Clocks = quantity("departures, wall clock HH:MM", "h")
    days: Days = quantity("weekdays on which they leave", "-", EVERY_DAY)
    pallets: Count = quantity("pallets that each of them takes", "pallets")
    wave_s: Positive = quantity("so long before it leaves the trailer comes and its wave is released", "s")
    spread_s: Amount = quantity("the wave comes at random over this time from then; 0: all at once", "s", 0.0)
    doors: Annotated[tuple[Count, ...], Field(min_length=1), Frozen] | None = quantity(
        "numbers of the doors it may use, from 1; absent: all", "-", None
    )
