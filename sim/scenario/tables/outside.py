"""What a user may say about the rest of the site: where it lies, lights by the sun, offices by the clock.

Comes in: plain values.  Goes out: frozen tables, all optional.  Before: `scenario/tables/base`; after:
`scenario/schema`, `outcome/outside`.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, Field, StringConstraints

from sim.logs.clock import why_no_zone
from sim.scenario.tables.base import EVERY_DAY, Amount, Clock, Days, Name, Part, Positive, Share, quantity

__all__ = ["ZONE_PATTERN", "KnownZone", "Office", "Place", "Yard"]

ZONE_PATTERN = r"^[A-Za-z][A-Za-z0-9_+/-]{0,60}$"
Zone = Annotated[str, StringConstraints(pattern=ZONE_PATTERN)]


def _check_zone(zone: str) -> str:
    why = why_no_zone(zone)
    if why is not None:
        raise ValueError(why)
    return zone


KnownZone = Annotated[str, StringConstraints(pattern=ZONE_PATTERN), AfterValidator(_check_zone)]
Minutes = Annotated[float, Field(ge=-720.0, le=720.0)]


class Place(Part):
    """Where the site lies, for the sun."""

    latitude: Annotated[float, Field(ge=-90.0, le=90.0)] = quantity("degrees north; south is negative", "deg")
    longitude: Annotated[float, Field(ge=-180.0, le=180.0)] = quantity(
        "degrees east; west is negative", "deg"
    )
    time_zone: Zone = quantity("name in the IANA time zone database, such as Europe/Berlin")


class Yard(Part):
    """Lights outside that burn from sunset to sunrise; needs [place]."""

    name: Name = quantity("what to call them")
    kw: Positive = quantity("power at full", "kW")
    sunset_offset_min: Minutes = quantity("on so long after sunset; negative: before", "min", 0.0)
    sunrise_offset_min: Minutes = quantity("off so long after sunrise; negative: before", "min", 0.0)
    late_from: Clock = quantity("the late level holds from, wall clock HH:MM", "h", "00:00")
    late_to: Clock = quantity("to; earlier than the start: past midnight", "h", "06:00")
    late_power: Share = quantity(
        "share of the power in these hours; 1: none is cut; the default is what energy codes ask", "-", 0.5
    )


class Office(Part):
    """Lights with fixed hours; rows of one name add up."""

    name: Name = quantity("what to call them")
    kw: Positive = quantity("power while on", "kW")
    rest_kw: Amount = quantity("power in all other hours", "kW", 0.0)
    days: Days = quantity("weekdays on which the hours begin", "-", EVERY_DAY)
    from_: Clock = quantity("on from, wall clock HH:MM", "h", alias="from")
    to: Clock = quantity("to; earlier than the start: past midnight", "h")
