"""The outcomes by name: unit, meaning, and how they add up; every table and picture reads this list.

Comes in: nothing.  Goes out: `OUTCOMES`.  Used by all of `outcome`, `study` and `show`.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ALL_OUTCOMES", "HEADLINES", "LIVE_OUTCOMES", "OUTCOMES", "TRUCK_OUTCOMES", "Outcome"]


@dataclass(frozen=True)
class Outcome:
    """One outcome: its column name, unit, meaning, whether zones and hours add up to the total.

    Attributes
    ----------
    name : column name, unit included
    unit : for people
    meaning : one phrase
    is_additive : zones and hours add up to the total
    needs_visits : empty where no visits are known
    """

    name: str
    unit: str
    meaning: str
    is_additive: bool = True
    needs_visits: bool = False


_LIST = (
    Outcome("energy_kwh", "kWh", "energy of all luminaires"),
    Outcome("always_on_kwh", "kWh", "every luminaire at full level in every hour"),
    Outcome("schedule_only_kwh", "kWh", "the timetable's occupied levels, never low"),
    Outcome("code_minimum_kwh", "kWh", "half the power 20 minutes after the aisle's last motion"),
    Outcome("saved_kwh", "kWh", "always on less energy"),
    Outcome("saved_share", "-", "saved_kwh over always_on_kwh", is_additive=False),
    Outcome("peak_kw", "kW", "highest mean load over a quarter-hour", is_additive=False),
    Outcome("always_on_peak_kw", "kW", "the same, always on", is_additive=False),
    Outcome("time_at_low_h", "h", "zone-hours with the command not high"),
    Outcome("time_at_zero_h", "h", "zone-hours with the command not high and its level 0"),
    Outcome("lit_empty_h", "h", "zone-hours at high with no truck in the zone", needs_visits=True),
    Outcome("occupied_h", "h", "zone-hours with at least one truck", needs_visits=True),
    Outcome("dim_truck_s", "s", "truck-seconds below the occupied level", needs_visits=True),
    Outcome("shortfall_truck_s", "s", "the same weighted by the missing share of light", needs_visits=True),
    Outcome("dim_entries", "-", "trucks that entered a zone whose command was low", needs_visits=True),
    Outcome("false_offs", "-", "switch-downs with a truck in the zone", needs_visits=True),
    Outcome("switch_ups", "-", "low to high by a detection"),
    Outcome("switch_downs", "-", "high to low by a timeout"),
    Outcome("timetable_changes", "-", "changes of the commanded level at a period's border"),
    Outcome("dim_spell_max_s", "s", "longest time one visit was dim without a break", False, True),
    Outcome("dim_spell_p95_s", "s", "95 % of the dim spells are shorter", False, True),
    Outcome("visits", "-", "trucks that entered an aisle", needs_visits=True),
    Outcome("visits_per_h", "1/h", "visits over the length of the run", False, True),
    Outcome("mouth_wait_s", "s", "truck-seconds queued at aisle mouths", needs_visits=True),
    Outcome("mouth_wait_mean_s", "s", "mean wait at the mouth per visit", False, True),
)

OUTCOMES: dict[str, Outcome] = {outcome.name: outcome for outcome in _LIST}
LIVE_OUTCOMES: dict[str, Outcome] = {
    outcome.name: outcome
    for outcome in (
        Outcome("light_lost_min", "min", "driver-minutes lost by slowing down and waiting for light"),
        Outcome(
            "light_lost_min_per_shift", "min", "the same per driver and 8 hours on duty", is_additive=False
        ),
        Outcome("light_waits", "-", "stops at a mouth for light"),
        Outcome("light_waits_given_up", "-", "such stops that ended without the light"),
    )
}
"""Further site totals where drivers react to the light; they stand behind the others."""

ALL_OUTCOMES: dict[str, Outcome] = {**OUTCOMES, **LIVE_OUTCOMES}

TRUCK_OUTCOMES: tuple[str, ...] = tuple(outcome.name for outcome in _LIST if outcome.needs_visits)
HEADLINES: tuple[str, ...] = (
    "saved_kwh",
    "saved_share",
    "energy_kwh",
    "peak_kw",
    "dim_truck_s",
    "shortfall_truck_s",
    "dim_entries",
    "false_offs",
    "switch_ups",
    "switch_downs",
    "dim_spell_max_s",
    "dim_spell_p95_s",
    "visits",
)
"""The figures a person reads first, in this order."""
