"""Names of outcomes and keys as a page says them: "energy_kwh" is energy.

Comes in: text with names of outcomes or keys of settings.  Goes out: text, names without their underscores.
Before: `outcome/names`, `show/words/amounts`; after: `show/reports/paper`, `show/summary_*`.  Terminal and
files keep the names themselves, which are what a person types.
"""

from __future__ import annotations

import re

from sim.outcome.names import ALL_OUTCOMES
from sim.show.words.amounts import duration, percent

__all__ = ["OUTCOME_WORDS", "plain_names"]

OUTCOME_WORDS: dict[str, str] = {
    "energy_kwh": "energy",
    "always_on_kwh": "energy always on",
    "schedule_only_kwh": "energy of the timetable alone",
    "code_minimum_kwh": "energy of the code minimum",
    "saved_kwh": "energy saved",
    "saved_share": "share of energy saved",
    "peak_kw": "highest quarter-hour load",
    "always_on_peak_kw": "highest load always on",
    "time_at_low_h": "zone-hours at low",
    "time_at_zero_h": "zone-hours off",
    "lit_empty_h": "zone-hours lit empty",
    "occupied_h": "zone-hours with a truck",
    "dim_truck_s": "dim truck-time",
    "shortfall_truck_s": "shortfall",
    "dim_entries": "dim entries",
    "false_offs": "false-offs",
    "switch_ups": "switch-ups",
    "switch_downs": "switch-downs",
    "timetable_changes": "changes by the timetable",
    "dim_spell_max_s": "longest dim spell",
    "dim_spell_p95_s": "95 % of dim spells",
    "visits": "visits",
    "visits_per_h": "visits an hour",
    "mouth_wait_s": "waits at the mouths",
    "mouth_wait_mean_s": "mean wait at the mouth",
    "light_lost_min": "time lost for light",
    "light_lost_min_per_shift": "time lost for light per driver and 8 h",
    "light_waits": "stops for light",
    "light_waits_given_up": "stops for light given up",
}
"""Each outcome in words that stand in a sentence, without its unit."""
_PER = {
    "_per_zone_hour": " per zone and hour", "_per_visit": " per visit", "_per_day": " per day",
    "_per_hour": " per hour",
}
_KEYS = {
    "timeout_s": "timeout", "occupied_level": "occupied level", "unoccupied_level": "unoccupied level",
    "fade_up_s": "fade-up", "fade_down_s": "fade-down", "second_delay_s": "second delay",
    "second_level": "second level", "hold_s": "hold",
}
_NAME = re.compile(
    r"(?<![\w.])(" + "|".join(sorted(ALL_OUTCOMES, key=len, reverse=True)) + ")(" + "|".join(_PER)
    + r")?(?![\w=]|\.\w)"
)
_SETTING = re.compile(r"(?:([\w-]+)\.)?(" + "|".join(_KEYS) + r") ?= ?([0-9.eE+-]+)(?=$|[\s,;:.])")
_INPUTS = {
    "sensors.miss": "passages that a sensor misses",
    "sensors.still_rate_per_min": "how often a sensor sees a standing truck",
    "sensors.approach_m": "how far an end sensor sees a truck come",
    "sensors.range_m": "reach of a sensor",
    "sensors.passing_trigger": "passing trucks that a sensor sees",
    "handling_mean_s": "mean handling time",
    "handling_cv": "spread of the handling time over its mean",
    "bay_skew": "skew along the aisle",
}
"""Keys that are inputs of a study or figures of a fit; the key stands behind the words."""
_INPUT = re.compile(r"(?<![\w.])(?:" + "|".join(re.escape(key) for key in _INPUTS) + r")(?![\w=]|\.\w)")
_AGAIN = re.compile(r"(?<![\w-])(all periods|[\w-]+): (.+?), \1: ")


def plain_names(text: str) -> str:
    """Return a text with names of outcomes and settings in words.

    Examples
    --------
    >>> plain_names("least energy_kwh, dim_truck_s_per_visit")
    'least energy, dim truck-time per visit'
    >>> plain_names("all.timeout_s=60, all.unoccupied_level=0.2")
    'all periods: timeout 1 min, unoccupied level 20 %'
    >>> plain_names("see energy_kwh.csv and sensors.at=ends")
    'see energy_kwh.csv and sensors.at=ends'
    """
    found = _SETTING.sub(_setting_words, _INPUT.sub(lambda match: f"{_INPUTS[match[0]]} ({match[0]})", text))
    while (shorter := _AGAIN.sub(r"\1: \2, ", found)) != found:
        found = shorter
    named = _NAME.sub(lambda match: OUTCOME_WORDS[match[1]] + _PER.get(match[2] or "", ""), found)
    return named.replace(" <= ", " ≤ ")


def _setting_words(match: re.Match[str]) -> str:
    """One key of the settings with its value."""
    name, key, number = match[1], match[2], match[3]
    if name == "sensors" and key != "hold_s":
        return match[0]
    try:
        value = float(number)
    except ValueError:
        return match[0]
    words = percent(value) if key.endswith("level") else duration(value)
    who = "all periods" if name == "all" else name
    return f"{f'{who}: ' if who else ''}{_KEYS[key]} {words}"
