"""Sites made for the checks of limits: every number that a limit looks at is given."""

from __future__ import annotations

from typing import Any

from sim.outcome.limit_group import LimitRow
from sim.outcome.limit_rows import limit_rows
from sim.scenario.toml import parse_scenario

SITE = """
format = 1
start = 2027-03-01
days = 1
limits = [{limits}]
[floor]
aisles = {aisles}
aisle_length_m = {length_m}
aisle_pitch_m = {pitch_m}
[luminaires]
per_aisle = {per_aisle}
full_w = {full_w}
standby_w = {standby_w}
fixed_on = {fixed_on}
{lamps}
[sensors]
at = "ends"
range_m = 9.0
hold_s = {hold_s}
latency_s = {latency_s}
[lighting.settings.all]
unoccupied_level = {low}
timeout_s = {timeout_s}
fade_up_s = {fade_up_s}
[[timetable]]
from = "00:00"
to = "24:00"
settings = "all"
[[trucks]]
name = "reach"
count = 1
speed_laden_m_per_s = 1.0
speed_empty_m_per_s = {speed}
handling_mean_s = 20
[statements]
{said}
"""
USUAL = {
    "aisles": 3, "length_m": 60.0, "pitch_m": 5.0, "per_aisle": 10, "full_w": 100.0, "standby_w": 0.0,
    "fixed_on": 0, "lamps": "", "hold_s": 0.0, "latency_s": 0.0, "low": 0.5, "timeout_s": 600.0,
    "fade_up_s": 0.0, "speed": 2.0, "said": "",
}


def rows_of(limits: str, **changes: Any) -> tuple[LimitRow, ...]:
    """Return the rows of a site; `limits` is one name."""
    return limit_rows(parse_scenario(SITE.format(limits=f'"{limits}"', **{**USUAL, **changes})))


def row_of(limits: str, words: str, **changes: Any) -> LimitRow:
    """Return the one row whose quantity holds some words."""
    found = [row for row in rows_of(limits, **changes) if words in row.what]
    assert len(found) == 1, [row.what for row in found]
    return found[0]
