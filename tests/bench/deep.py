"""The floor with everything on, for the speed target of the deeper traffic: `python -m tests.bench.deep`.

Prints bare SimPy timeouts a visit (draw, simulate, paths) beside the target of 8.
"""

from __future__ import annotations

import statistics
import time

from sim.replication import Site, prepare_site
from sim.scenario.toml import parse_scenario
from sim.traffic.batteries import battery_changes
from sim.traffic.paths import log_paths
from sim.traffic.work import draw_tasks
from sim.traffic.world import simulate_floor

MOST_TIMEOUTS_A_VISIT = 8.0
REPEATS = 5

_TEXT = """
format = 1
title = "bench, everything on"
start = 2027-03-01
days = {days}
seed = 1
replications = 1
volume_cv = 0.15
holidays = [2027-03-05]
[floor]
aisles = 40
aisle_length_m = 60.0
aisle_pitch_m = 5.0
aisle_capacity = 2
staging_depth_m = 15.0
dock_doors = 20
tiers = 5
tier_height_m = 1.8
[luminaires]
per_aisle = 12
full_w = 105.0
[sensors]
at = "ends"
range_m = 9.0
[lighting.settings.day]
unoccupied_level = 0.3
timeout_s = 300
[[timetable]]
from = "00:00"
to = "24:00"
settings = "day"
[[trucks]]
name = "dock"
type = "counterbalance"
count = 6
[[trucks]]
name = "reach"
type = "reach"
count = 16
pairing = true
turn_s = 2.0
aisles = [{wide}]
battery_h = 6.0
charge_h = 1.5
chargers = 4
[[trucks]]
name = "turret"
type = "turret"
count = 6
pairing = true
aisles = [{narrow}]
aisle_capacity = 1
not_with = ["people"]
battery_h = 7.0
change_mean_s = 600
change_cv = 0.4
chargers = 2
[[trucks]]
name = "picker"
type = "order-picker"
count = 6
[[trucks]]
name = "robot"
type = "pallet-truck"
count = 2
service_weight = 0.0
seen = false
[[trucks]]
name = "people"
kind = "walker"
count = 4
{shifts}
[[work]]
name = "narrow in"
kind = "putaway"
per_hour = 40
trucks = ["turret"]
aisle_shares = [{only_narrow}]
bay_classes = [[0.2, 0.6], [0.8, 0.4]]
[[work]]
name = "narrow out"
kind = "retrieve"
per_hour = 40
trucks = ["turret"]
aisle_shares = [{only_narrow}]
[[work]]
name = "out"
kind = "retrieve"
per_hour = 60
trucks = ["reach"]
aisle_shares = [{only_wide}]
[[work]]
name = "moves"
kind = "replenish"
per_hour = 15
trucks = ["reach"]
aisle_shares = [{only_wide}]
[[work]]
name = "tours"
kind = "tour"
per_hour = 12
lines_per_tour = 12
tiers = 2
trucks = ["picker"]
[[work]]
name = "robots"
kind = "retrieve"
per_hour = 8
tiers = 1
trucks = ["robot"]
[[work]]
name = "cleaning"
kind = "walk"
per_hour = 4
dwell_mean_s = 300
dwell_cv = 0.5
[[inbound]]
name = "suppliers"
per_hour = 2.5
pallets = 28
unload_trucks = ["dock"]
unload_m = 10
change_s = 600
trucks = ["reach"]
aisle_shares = [{only_wide}]
[[outbound]]
name = "stores"
at = ["10:00", "14:00", "18:00", "22:00"]
pallets = 26
wave_s = 7200
spread_s = 3600
trucks = ["reach"]
aisle_shares = [{only_wide}]
"""

_SHIFT = """
[[shifts]]
trucks = "{name}"
from = "00:00"
to = "24:00"
crew = {crew}
breaks = [["09:00", "09:20"], ["17:00", "17:20"]]
break_groups = 2
"""


def deep_site(days: float) -> Site:
    """Return the site with a run of so many days."""
    crews = {"dock": 6, "reach": 16, "turret": 6, "picker": 6, "robot": 2, "people": 4}
    names = [f'"A{number:02d}"' for number in range(1, 41)]
    text = _TEXT.format(
        days=days,
        wide=", ".join(names[:30]),
        narrow=", ".join(names[30:]),
        only_wide=", ".join([str(1 / 30)] * 30 + ["0.0"] * 10),
        only_narrow=", ".join(["0.0"] * 30 + ["0.1"] * 10),
        shifts="".join(_SHIFT.format(name=name, crew=crew) for name, crew in crews.items()),
    )
    return prepare_site(parse_scenario(text, "bench, everything on"))


def cost_a_visit(site: Site) -> tuple[float, int]:
    """Return the floor's own time a visit [s], the median of several, and the visits."""
    scenario, spent, visits = site.scenario, [], 0
    for _ in range(REPEATS):
        begin = time.process_time()
        tasks = draw_tasks(scenario, site.layout, 0)
        changes = battery_changes(scenario, site.fleet, 0)
        log = simulate_floor(
            site.layout, scenario.trucks, site.may_do, site.fleet, tasks, scenario.duration_s, changes
        )
        log_paths(site.layout, scenario.trucks, site.fleet, tasks, log, scenario.duration_s)
        spent.append(time.process_time() - begin)
        visits = len(log.enter)
    return statistics.median(spent) / visits, visits


def main() -> None:
    """Print the ratio for a week with everything on."""
    from tests.bench.__main__ import median_bare_s

    bare = median_bare_s()
    cost, visits = cost_a_visit(deep_site(7.0))
    print(
        f"everything on, one week: {visits:,} visits, {cost / bare:.1f} bare timeouts a visit "
        f"(target: at most {MOST_TIMEOUTS_A_VISIT:g})"
    )


if __name__ == "__main__":
    main()
