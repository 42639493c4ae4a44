"""Speed of deciding: `python -m tests.bench.bench_recommend`, some minutes; `--days 30` for a shorter run.

A site-year of 40 aisles with a day and a night, 60 candidates for each: 3,600 combinations in every zone.
Evaluating and choosing are timed against simulating the traffic that they rest on, sensing included.  What
`recommend` does besides, trying the plans on other traffic, is simulation again, once per replication and
stress.  Times are the process's own; nothing here fails.
"""

from __future__ import annotations

import sys
import time
from typing import Any

import numpy as np

from sim.replication import Site, Traffic
from sim.scenario.schema import Scenario
from sim.study.decide import fit as room
from sim.study.decide.choose import LightPlan, choose_plan, equal_service
from sim.study.decide.fit import Fit, fit_settings
from sim.study.decide.groups import group_aisles
from sim.study.decide.wish import Wish, make_wish, with_wishes
from sim.study.relight import simulate_for_lights
from tests.bench.bench_ages import YEAR_DAYS, tell, two_periods
from tests.bench.site import bench_site

TIMEOUTS = [30.0, 60.0, 90.0, 120.0, 180.0, 240.0, 300.0, 420.0, 600.0, 900.0, 1200.0, 1800.0]
LEVELS = [0.1, 0.2, 0.3, 0.4, 0.5]
WISHES = {
    "max": {"shortfall_truck_s_per_visit": 0.2, "false_offs_per_day": 20.0, "switch_ups_per_zone_hour": 4.0},
    "timeouts_s": TIMEOUTS,
    "levels": LEVELS,
    "unoccupied_floor_share": 0.1,
    "egress_aisles": [],
    "walked_aisles": [],
}


def wishing(days: float) -> Scenario:
    """Return the bench's site with a day, a night, limits and 60 candidates for each."""
    return with_wishes(two_periods(bench_site(days)).scenario, WISHES)


def choose_all(wish: Wish, fit: Fit) -> dict[str, LightPlan]:
    """Choose one setting, by group and by aisle, the last two at equal service too."""
    aisles = fit.allowed.shape[0]
    busy = np.add.reduceat(fit.outcomes["time_at_low_h"][:, len(fit) // 2], np.arange(aisles))
    groups = {
        "single": np.zeros(aisles, dtype=np.int64),
        "groups": group_aisles(busy, wish.groups),
        "aisles": np.arange(aisles),
    }
    plans: dict[str, LightPlan] = {}
    for name, group_of in groups.items():
        for is_equal in (False, True):
            service = equal_service(fit, plans["single"]) if is_equal and "single" in plans else None
            if is_equal and (service is None or name == "single"):
                continue
            found = choose_plan(wish, fit, name, group_of, at_most=service)
            if isinstance(found, LightPlan):
                plans[f"{name} at equal service" if is_equal else name] = found
    return plans


def main(days: float = YEAR_DAYS) -> None:
    """Measure and print."""
    simulated_s = 0.0

    def timed(site: Site, replication: int) -> Traffic:
        nonlocal simulated_s
        begin = time.process_time()
        traffic = simulate_for_lights(site, replication)
        simulated_s += time.process_time() - begin
        return traffic

    wish = make_wish(wishing(days))
    patched: Any = room
    patched.simulate_for_lights = timed
    try:
        begin = time.process_time()
        fit = fit_settings(wish, (0,))
        evaluated_s = time.process_time() - begin - simulated_s
    finally:
        patched.simulate_for_lights = simulate_for_lights
    begin = time.process_time()
    plans = choose_all(wish, fit)
    chosen_s = time.process_time() - begin
    print(f"recommend  {len(fit)} combinations of 2 x 60 candidates, 40 aisles, {days:g} days")
    tell("simulating the traffic, sensing included", simulated_s, "s")
    tell("evaluating all combinations in every zone", evaluated_s, "s")
    tell("choosing: one setting, by group, by aisle", chosen_s, "s")
    for name, plan in plans.items():
        tell(f"  {name}: proved within", 100.0 * plan.gap, "%")
    ratio = (evaluated_s + chosen_s) / simulated_s
    tell("deciding over simulating", ratio, "times", f"at most 1: {'met' if ratio <= 1.0 else 'MISSED'}")


if __name__ == "__main__":
    arguments = sys.argv[1:]
    main(float(arguments[arguments.index("--days") + 1]) if "--days" in arguments else YEAR_DAYS)
