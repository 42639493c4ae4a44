"""What a user may say about control zones that are not one aisle: groups of aisles, open areas.

Comes in: plain values.  Goes out: frozen tables, all optional.  Before: `scenario/tables/base`; after:
`scenario/schema`, `floor/layout`.  Places in the plan are pairs of metres: across the floor from the outer
side of the first aisle, and along the aisles from the front mouths, negative towards the docks.
"""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field, field_validator

from sim.scenario.tables.base import (
    EVERY_DAY,
    Amount,
    Curve,
    Days,
    Frozen,
    Hourly,
    Level,
    Name,
    Names,
    Part,
    Positive,
    Share,
    Spread,
    StillRate,
    quantity,
)
from sim.scenario.tables.light import Luminaires, PowerPreset
from sim.scenario.tables.sensors import DeadSensors

__all__ = ["LAMP_KEYS", "SENSOR_KEYS", "AisleGroup", "Area", "Areas", "Groups"]

Metre = Annotated[float, Field(ge=-1e7, le=1e7)]
Pair = Annotated[tuple[Metre, Metre], Frozen]

LAMP_KEYS = ("full_w", "standby_w", "power_curve", "driver_min_level", "relay_off")
SENSOR_KEYS = (
    "still_rate_per_min", "still_rate_person_per_min", "miss", "dead_share", "latency_s", "hold_s"
)
"""Keys of an area that hold as in [luminaires] and [sensors] where it does not state them."""


class AisleGroup(Part):
    """Aisles that share one control zone: all their luminaires change level together."""

    name: Name = quantity("name of the zone")
    aisles: Names = quantity("names of the aisles; their sensors all serve the zone")


class Area(Part):
    """An open area outside the aisles: dock, staging, cross-aisle, packing, floor stacking; one zone."""

    name: Name = quantity("name of the area and of its zone")
    across_m: Pair = quantity(
        "from where to where across the floor, from the outer side of the first aisle", "m"
    )
    along_m: Pair = quantity(
        "from where to where along the aisles, from the front mouths; negative towards the docks", "m"
    )
    luminaires: int = quantity("luminaires, evenly spread", "luminaires", ge=1, le=5000)
    full_w: Positive | None = quantity("as in luminaires, and absent: as stated there", "W", None)
    standby_w: Amount | None = quantity("as in luminaires, and absent: as stated there", "W", None)
    power_curve: Curve | PowerPreset | None = quantity(
        "as in luminaires, and absent: as stated there", "-, W", None
    )
    driver_min_level: Level | None = quantity("as in luminaires, and absent: as stated there", "-", None)
    relay_off: bool | None = quantity("as in luminaires, and absent: as stated there", "-", None)
    fixed_on: int = quantity(
        "how many never dim (egress, emergency)", "luminaires", 0, ge=0, le=5000
    )
    floor_lux_at_full: Positive | None = quantity("maintained average on its floor at full level", "lx", None)
    floor_uniformity: Share | None = quantity("least over average of the light on its floor", "-", None)
    sensors_at_m: Annotated[tuple[Pair, ...], Field(min_length=1, max_length=5000), Frozen] = quantity(
        "sensors: pairs of metres across and along, in the area", "m"
    )
    radius_m: Positive = quantity("each sensor sees a circle on the floor of this radius", "m")
    still_rate_per_min: StillRate | None = quantity(
        "as in sensors, and absent: as stated there", "1/min", None
    )
    still_rate_person_per_min: StillRate | None = quantity(
        "as in sensors, and absent: as stated there", "1/min", None
    )
    miss: Share | None = quantity("as in sensors, and absent: as stated there", "-", None)
    dead_share: Share | None = quantity("as in sensors, and absent: as stated there", "-", None)
    latency_s: Amount | None = quantity("as in sensors, and absent: as stated there", "s", None)
    hold_s: Amount | None = quantity("as in sensors, and absent: as stated there", "s", None)
    dead_sensors: DeadSensors | None = quantity(
        'sensors that see nothing: "all", or their numbers in sensors_at_m, from 1', "-", None
    )
    settings: dict[Name, Name] | None = quantity(
        "timetable's settings name to the name used in this area", "-", None
    )
    people_per_hour: Hourly = quantity(
        "people who come to work in it on foot: one number, or 24 by hour of the day; more or fewer with the "
        "day's volume, none on holidays",
        "1/h",
        0.0,
    )
    people_days: Days = quantity("weekdays on which they come", "-", EVERY_DAY)
    dwell_mean_s: Positive | None = quantity("how long each of them stays, mean", "s", None)
    dwell_cv: Spread = quantity("standard deviation over mean of the stay, gamma family", "-", 1.0)
    people_pulses_per_min: StillRate | None = quantity(
        "sensors see each of them on coming and then by so many pulses; absent: without a break while there",
        "1/min",
        None,
    )
    people_weight: Share = quantity("how much their dim seconds and dim entries count", "-", 1.0)

    _check_curve = field_validator("power_curve")(Luminaires._check_curve.__func__)  # type: ignore[attr-defined]

    @property
    def size_m2(self) -> float:
        """Its size [m2]."""
        return (self.across_m[1] - self.across_m[0]) * (self.along_m[1] - self.along_m[0])

    def stated(self, keys: tuple[str, ...]) -> dict[str, Any]:
        """Return those of some keys that are stated."""
        return {key: getattr(self, key) for key in keys if getattr(self, key) is not None}


Groups = Annotated[tuple[AisleGroup, ...], Frozen]
Areas = Annotated[tuple[Area, ...], Frozen]
