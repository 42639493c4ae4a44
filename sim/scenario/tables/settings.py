"""What a user may say about the controller: settings by name, and the hours of the week in which each holds.

Comes in: plain values.  Goes out: frozen tables.  Before: `scenario/tables/base`; after: `scenario/schema`,
`lighting/timetable`.
"""

from __future__ import annotations

from sim.scenario.tables.base import EVERY_DAY, Amount, Clock, Days, Level, Name, Part, quantity

__all__ = ["Lighting", "Settings", "TimetableRow"]


class Settings(Part):
    """One named set of controller settings."""

    occupied_level: Level = quantity("share of full light while the zone is held", "-", 1.0)
    unoccupied_level: Level = quantity("share of full light after the timeout")
    timeout_s: Amount = quantity("the controller's time delay, after the sensor's hold time", "s")
    fade_up_s: Amount = quantity("duration of one whole transition upwards", "s", 0.0)
    fade_down_s: Amount = quantity("duration of one whole transition downwards", "s", 0.0)
    second_delay_s: Amount | None = quantity(
        "so long after the first change to low comes the second level", "s", None
    )
    second_level: Level | None = quantity("share of full light after the second delay", "-", None)


class Lighting(Part):
    """The named settings."""

    settings: dict[Name, Settings] = quantity("settings by name", min_length=1)


class TimetableRow(Part):
    """Hours of the week in which one set of settings holds."""

    days: Days = quantity("weekdays on which these hours begin", "-", EVERY_DAY)
    from_: Clock = quantity("start, wall clock HH:MM", "h", alias="from")
    to: Clock = quantity(
        "end, wall clock HH:MM, 24:00 allowed; earlier than the start: runs past midnight", "h"
    )
    settings: Name = quantity("name of the settings in force")
