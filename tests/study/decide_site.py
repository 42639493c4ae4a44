"""A small site for the tests of deciding: few aisles, little time, two names in the timetable."""

from __future__ import annotations

from typing import Any

from sim.scenario.schema import Scenario
from sim.scenario.toml import parse_scenario
from sim.study.decide.wish import with_wishes

TEXT = """
format = 1
title = "Small site (invented)"
start = 2027-03-01
days = 1
replications = 2
seed = 3

[floor]
aisles = 3
aisle_length_m = 40
aisle_pitch_m = 5
dock_doors = 2

[luminaires]
per_aisle = 6
full_w = 100
standby_w = 2
floor_lux_at_full = 200

[sensors]
at = "ends"
range_m = 20
still_rate_per_min = 2
passing_trigger = 0
latency_s = 0.5
hold_s = 5

[lighting.settings.day]
unoccupied_level = 0.3
timeout_s = 300
fade_up_s = 0.7
fade_down_s = 10

[lighting.settings.night]
unoccupied_level = 0.2
timeout_s = 120
fade_up_s = 0.7

[[timetable]]
from = "06:00"
to = "18:00"
settings = "day"

[[timetable]]
from = "18:00"
to = "06:00"
settings = "night"

[[trucks]]
name = "reach"
count = 4
speed_laden_m_per_s = 2.0
speed_empty_m_per_s = 2.4
acceleration_m_per_s2 = 0.5
handling_mean_s = 40
handling_cv = 0.5

[[shifts]]
trucks = "reach"
from = "00:00"
to = "12:00"
crew = 3

[[shifts]]
trucks = "reach"
from = "12:00"
to = "24:00"
crew = 2

[[work]]
name = "retrieval"
kind = "retrieve"
per_hour = 14
aisle_skew = 0.4

[[work]]
name = "putaway"
kind = "putaway"
per_hour = 6
top_20pct_share = 0.6
"""

WISHES: dict[str, Any] = {
    "unoccupied_floor_share": 0.1,
    "egress_aisles": [],
    "walked_aisles": [],
    "timeouts_s": [30.0, 120.0, 600.0],
    "levels": [0.1, 0.4],
    "groups": 2,
}
"""All that a recommendation must be told, and few candidates."""


def small_site(*, extra: str = "", **changes: str) -> Scenario:
    """Return the site; each change replaces a text by another one, given as "old -> new"."""
    text = TEXT + extra
    for change in changes.values():
        old, _, new = change.partition(" -> ")
        assert old in text, old
        text = text.replace(old, new)
    return parse_scenario(text)


def wishing_site(limits: dict[str, float], **wishes: Any) -> Scenario:
    """Return the site with wishes and limits."""
    return with_wishes(small_site(), {**WISHES, "max": limits, **wishes})
