"""Nothing hidden: a file without the keys of the deeper floor gives the visits that the first model gave.

The digests were taken from the first model (version 1 of the figures) with the numpy version named below.
NumPy does not promise equal draws across versions (NEP 19), so the digests are compared under that version
only; the structural checks hold under any.
"""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from sim.records import Visits
from sim.replication import prepare_site, simulate_traffic
from sim.scenario.toml import parse_scenario

DRAWN_WITH = "2.4.6"
DIGESTS = {0: "4b5910105656a807d65da655", 3: "af536f3f229092642e92ee40"}

SITE = """
format = 1
start = 2027-03-01
days = 3
seed = 17
TOP
[floor]
aisles = 9
aisle_length_m = [60.0, 60.0, 60.0, 45.0, 45.0, 60.0, 60.0, 30.0, 60.0]
aisle_pitch_m = PITCH
aisle_capacity = 2
staging_depth_m = 12.0
dock_doors = 4
FLOOR
[luminaires]
per_aisle = 9
full_w = 100.0
[sensors]
at = "ends"
range_m = 8.0
approach_m = 3.0
passing_trigger = 0.3
passing_range_m = 3.0
still_rate_per_min = 2.0
miss = 0.05
[lighting.settings.day]
unoccupied_level = 0.3
timeout_s = 300
[[timetable]]
from = "00:00"
to = "24:00"
settings = "day"
[[trucks]]
name = "reach"
count = 5
speed_laden_m_per_s = 2.2
speed_empty_m_per_s = 2.6
acceleration_m_per_s2 = 0.5
handling_mean_s = 45
handling_cv = 0.5
REACH
[[trucks]]
name = "counter"
count = 3
speed_laden_m_per_s = 2.6
speed_empty_m_per_s = 3.0
handling_mean_s = 30
[[shifts]]
trucks = "reach"
from = "06:00"
to = "22:00"
crew = 5
breaks = [["09:00", "09:20"], ["18:00", "18:20"]]
SHIFT
[[shifts]]
trucks = "counter"
from = "05:30"
to = "14:00"
crew = 2
[[work]]
name = "in"
kind = "putaway"
per_hour = 25
aisle_skew = 0.3
WORK
[[work]]
name = "out"
kind = "retrieve"
per_hour = 30
aisle_skew = 0.4
bay_skew = 0.5
trucks = ["reach"]
[[work]]
name = "moves"
kind = "replenish"
per_hour = 10
"""

ADDED = {
    "PITCH": "5.0",
    "FLOOR": "",
    "REACH": "",
    "SHIFT": "",
    "WORK": "",
    "TOP": "",
}


def visits_of(replication: int, **added: str) -> Visits:
    """Simulate the site with some lines added."""
    text = SITE
    for word, line in (ADDED | added).items():
        text = text.replace(word, line)
    visits = simulate_traffic(prepare_site(parse_scenario(text)), replication).visits
    assert visits is not None
    return visits


def columns(visits: Visits) -> list[np.ndarray]:
    """Columns that the first model had."""
    moves, drives = visits.moves, visits.drives
    assert moves is not None
    assert drives is not None
    names = ("aisle", "enter", "leave", "truck", "bay_m", "task", "enters_back", "leaves_back", "arrive")
    runs = ("run_in_m", "run_before_m", "run_speed", "run_acceleration")
    return [
        *(getattr(visits, name) for name in (*names, *runs)),
        moves.visit, moves.start, moves.from_m, moves.to_m, moves.speed, moves.acceleration,
        drives.is_back, drives.start, drives.from_m, drives.to_m, drives.speed, drives.acceleration,
        drives.from_aisle, drives.to_aisle,
    ]  # fmt: skip


def digest(visits: Visits) -> str:
    """Hash of every column, bit for bit."""
    found = hashlib.sha256()
    for column in columns(visits):
        found.update(np.ascontiguousarray(column).tobytes())
    return found.hexdigest()[:24]


@pytest.mark.skipif(np.__version__ != DRAWN_WITH, reason="draws are compared under one version of numpy")
@pytest.mark.parametrize("replication", DIGESTS)
def test_visits_are_those_of_the_first_model(replication: int) -> None:
    assert digest(visits_of(replication)) == DIGESTS[replication]


IDLE = {
    "one tier": {"FLOOR": "tiers = 1\ntier_height_m = 2.0"},
    "a list of equal widths": {"PITCH": str([5.0] * 9)},
    "a mast without tiers": {"REACH": "lift_m_per_s = 0.3\nlifts_while_travelling = true"},
    "a limit above every speed": {"REACH": "aisle_speed_m_per_s = 9.0\nturn_s = 0.0"},
    "all aisles by name": {"REACH": f"aisles = {[f'A{number:02d}' for number in range(1, 10)]}"},
    "a capacity of its own above the aisle's": {"REACH": "aisle_capacity = 2"},
    "a battery that outlasts the run": {"REACH": "battery_h = 100.0\ncharge_h = 1.0"},
    "pairs that are never near enough": {
        "REACH": "pairing = true\npairing_within_m = 1e-9", "WORK": "trucks = ['counter']",
    },
    "one group of breaks": {"SHIFT": "break_groups = 1"},
    "days alike and a holiday far away": {"TOP": "volume_cv = 0\nholidays = [2031-01-01]"},
    "all tiers of one": {"WORK": "tiers = 1"},
    "full weight, seen": {"REACH": "service_weight = 1.0\nseen = true"},
}
"""Keys that say nothing new; some of them lead through other code."""


@pytest.mark.parametrize("name", IDLE)
def test_keys_that_say_nothing_change_nothing(name: str) -> None:
    bare = visits_of(0, **({"WORK": IDLE[name]["WORK"]} if name.startswith("pairs") else {}))
    said = visits_of(0, **IDLE[name])
    for one, other in zip(columns(bare), columns(said), strict=True):
        assert np.array_equal(one, other, equal_nan=one.dtype.kind == "f")


@pytest.mark.parametrize(
    "added",
    [
        {"FLOOR": "tiers = 2\ntier_height_m = 2.0", "REACH": "lift_m_per_s = 0.3"},
        {"REACH": "turn_s = 1.0"},
        {"REACH": "aisle_speed_m_per_s = 2.5"},
        {"REACH": "aisle_capacity = 1"},
        {"REACH": "battery_h = 3.0\ncharge_h = 1.0"},
        {"REACH": "pairing = true"},
        {"TOP": "volume_cv = 0.1"},
        {"PITCH": str([5.0] * 8 + [5.1])},
    ],
)
def test_the_comparison_would_notice(added: dict[str, str]) -> None:
    assert digest(visits_of(0)) != digest(visits_of(0, **added))
