"""What a user may say about sensors: where they sit, what they see, which of them are dead.

Comes in: plain values.  Goes out: the frozen `Sensors` table.  Before: `scenario/tables/base`; after:
`scenario/schema`, which puts the table into a scenario.  Racks block a sensor's view of neighbouring aisles:
a sensor sees its own aisle only.  Detection that depends on the direction of motion is not modelled.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import ConfigDict, Field, model_validator

from sim.scenario.tables.base import Amount, Frozen, Metres, Part, Positive, Share, StillRate, quantity

__all__ = ["DeadSensors", "HalfAngle", "Sensors", "reach_of_angle", "with_reach"]

HalfAngle = Annotated[float, Field(gt=0.0, lt=90.0)]
DeadSensors = (
    Literal["all"] | Annotated[tuple[Annotated[int, Field(ge=1, le=5000)], ...], Field(min_length=1), Frozen]
)
_ANGLE_KEYS = ("half_angle_deg", "mounting_height_m")


def reach_of_angle(half_angle_deg: float, mounting_height_m: float) -> float:
    """Return the reach on the floor of a sensor that looks straight down [m].

    Parameters
    ----------
    half_angle_deg : from the vertical to the edge of the cone [degrees]
    mounting_height_m : above the floor [m]

    Notes
    -----
    r = h tan(angle), plane geometry; a truck's height is left out, so the reach is never too long.

    Examples
    --------
    >>> round(reach_of_angle(45.0, 9.0), 9)
    9.0
    """
    return mounting_height_m * math.tan(math.radians(half_angle_deg))


def with_reach(own: Mapping[str, Any], others: Mapping[str, Any]) -> dict[str, Any]:
    """Return the keys of one table with `range_m` worked out where an angle or a height is among them.

    Parameters
    ----------
    own : keys stated here; a stated range_m wins and puts an angle from elsewhere out of use
    others : keys stated elsewhere, which hold where there are none here
    """
    found = dict(own)
    if "range_m" in own:
        return found | {key: None for key in _ANGLE_KEYS if key not in own}
    angle, height = (own.get(key, others.get(key)) for key in _ANGLE_KEYS)
    if any(key in own for key in _ANGLE_KEYS) and _is_number(angle) and _is_number(height):
        found["range_m"] = reach_of_angle(float(angle), float(height))
    return found


def _is_number(value: Any) -> bool:
    """Say whether an angle or height could be right."""
    return isinstance(value, int | float) and not isinstance(value, bool) and 0.0 < value < 1e7


def _range_or_angle(schema: dict[str, Any]) -> None:
    """Say in the JSON Schema that an angle and a height stand for a range."""
    schema["required"] = [key for key in schema["required"] if key != "range_m"]
    schema["if"] = {"not": {"required": list(_ANGLE_KEYS)}}
    schema["then"] = {"required": ["range_m"]}


class Sensors(Part):
    """Where the sensors sit and what they see; each sees its own aisle only, whatever the direction."""

    model_config = ConfigDict(json_schema_extra=_range_or_angle)

    at: Literal["ends", "every"] | Metres = quantity(
        '"ends" (first and last luminaire), "every" luminaire, or metres from the front mouth', "m"
    )
    range_m: Positive = quantity(
        "reach along the aisle, each way; or give half_angle_deg and mounting_height_m", "m"
    )
    half_angle_deg: HalfAngle | None = quantity(
        "from straight down to the edge of what a sensor sees; with mounting_height_m instead of range_m: "
        "reach = height times tan(angle)",
        "degrees",
        None,
    )
    mounting_height_m: Positive | None = quantity("height of the sensors above the floor", "m", None)
    approach_m: Amount = quantity(
        "how far outside its mouth an end sensor sees a truck that turns in", "m", 0.0
    )
    passing_trigger: Share = quantity(
        "share of trucks that only pass the mouth and are seen all the same", "-", 0.0
    )
    passing_range_m: Amount = quantity("a passing truck may be seen this near to the mouth", "m", 0.0)
    still_rate_per_min: StillRate = quantity("pulses from a truck that stands in range", "1/min", 0.0)
    still_rate_person_per_min: StillRate | None = quantity(
        "pulses from a person of a group of walkers who stands in range; absent: as still_rate_per_min",
        "1/min",
        None,
    )
    miss: Share = quantity("chance that a truck's whole passage through the range goes unseen", "-", 0.0)
    dead_share: Share = quantity(
        "share of the sensors that see nothing, drawn anew in each replication; a zone whose sensors are all "
        "dead stays high",
        "-",
        0.0,
    )
    latency_s: Amount = quantity("from motion to the command, sensor and network together", "s", 0.0)
    hold_s: Amount = quantity("the sensor's own hold time, before the timeout starts", "s", 0.0)

    @model_validator(mode="before")
    @classmethod
    def _work_out_reach(cls, content: Any) -> Any:
        """Work the reach out where an angle and a height stand for it."""
        if not isinstance(content, dict) or "range_m" in content:
            return content
        return with_reach(content, {})

    @property
    def person_rate_per_min(self) -> float:
        """Pulses from a person who stands in range [1/min]."""
        rate = self.still_rate_person_per_min
        return self.still_rate_per_min if rate is None else rate
