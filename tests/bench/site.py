"""The floor that speed is measured on: 40 aisles of capacity 1, 20 trucks always on duty, 300 moves an hour.

Comes in: length of the run.  Goes out: a prepared site.  The moves are invented and plain, so that the
obvious model in tests/naive_floor.py can do them too.
"""

from __future__ import annotations

from sim.replication import Site, prepare_site
from sim.scenario.toml import parse_scenario

__all__ = ["bench_site"]

_TEXT = """
format = 1
title = "bench"
start = 2027-03-01
days = {days}
seed = 1
replications = 1
[floor]
aisles = 40
aisle_length_m = 60.0
aisle_pitch_m = 5.0
aisle_capacity = 1
staging_depth_m = 15.0
dock_doors = 20
[luminaires]
per_aisle = 12
full_w = 105.0
standby_w = 0.6
[sensors]
at = "ends"
range_m = 9.0
still_rate_per_min = 2.0
[lighting.settings.day]
unoccupied_level = 0.3
timeout_s = 300
fade_up_s = 0.7
fade_down_s = 10.0
[[timetable]]
from = "00:00"
to = "24:00"
settings = "day"
[[trucks]]
name = "reach"
count = 20
speed_laden_m_per_s = 2.2
speed_empty_m_per_s = 2.6
acceleration_m_per_s2 = 0.5
handling_mean_s = 30
handling_cv = 0.5
[[shifts]]
trucks = "reach"
from = "00:00"
to = "24:00"
crew = 20
[[work]]
name = "in"
kind = "putaway"
per_hour = 150
aisle_skew = 1.0
[[work]]
name = "out"
kind = "retrieve"
per_hour = 150
aisle_skew = 1.0
"""


def bench_site(days: float, keys: str = "") -> Site:
    """Return the site with a run of so many days, and further keys of its trucks."""
    text = _TEXT.format(days=days).replace("handling_cv = 0.5", f"handling_cv = 0.5\n{keys}")
    return prepare_site(parse_scenario(text, "bench"))
