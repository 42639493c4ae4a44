"""Speed of the age view: `python -m tests.bench.bench_ages`, some minutes; `--days 30` for a shorter run.

A site-year of 40 aisles and 10,000 settings of one period, then the same with two periods a day, then with a
bent power curve.  Sorting the pieces and working through the settings are timed apart.  Times are the
process's own, ratios hold within one run.  Nothing here fails: the figures stand beside their targets.

The yardstick is the obvious model of `tests/bench/obvious.py`, with the lights in its event loop.
"""

from __future__ import annotations

import itertools
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np

from sim.replication import Site, Traffic, prepare_site, replay_site, simulate_traffic
from sim.scenario.schema import Settings, TimetableRow
from sim.study.ages.evaluate import lay_weeks, sort_zone, zone_lamps
from sim.study.ages.plan import lay_out_choices
from sim.study.ages.zone import evaluate_zone
from tests.bench.obvious import obvious_s
from tests.bench.site import bench_site

Choice = Mapping[str, Settings]
YEAR_DAYS, MONTH_DAYS = 365.0, 30.0
BENT = ((0.0, 0.6), (0.25, 20.0), (0.6, 55.0), (1.0, 105.0))
NIGHT = Settings(unoccupied_level=0.1, timeout_s=180.0, fade_up_s=0.7, fade_down_s=10.0)


def setting(timeout_s: float, level: float, fade_down_s: float) -> Settings:
    """Return one candidate; fade-up as at the bench's site."""
    return Settings(unoccupied_level=level, timeout_s=timeout_s, fade_up_s=0.7, fade_down_s=fade_down_s)


def candidates(timeouts: int, levels: int, fades: int) -> list[Settings]:
    """Return a grid of candidates."""
    grid = itertools.product(
        np.linspace(30.0, 1800.0, timeouts).tolist(),
        np.linspace(0.0, 0.9, levels).tolist(),
        np.linspace(0.0, 45.0, fades).tolist(),
    )
    return [setting(*one) for one in grid]


def two_periods(site: Site) -> Site:
    """Return the site with a day and a night in its timetable."""
    rows = tuple(
        TimetableRow.model_validate({"from": begin, "to": end, "settings": name})
        for begin, end, name in (("06:00", "22:00", "day"), ("22:00", "06:00", "night"))
    )
    lighting = site.scenario.lighting.model_copy(
        update={"settings": {**site.scenario.lighting.settings, "night": NIGHT}}
    )
    return prepare_site(site.scenario.model_copy(update={"timetable": rows, "lighting": lighting}))


def bent(site: Site) -> Site:
    """Return the site with luminaires whose power is no straight line of level."""
    lamps = site.scenario.luminaires.model_copy(update={"power_curve": BENT})
    return prepare_site(site.scenario.model_copy(update={"luminaires": lamps}))


def clock(work: Callable[[], Any]) -> float:
    """Return the process time of some work [s]."""
    begin = time.process_time()
    work()
    return time.process_time() - begin


def measure(site: Site, traffic: Traffic, choices: Sequence[Choice]) -> tuple[float, float, int]:
    """Return the time to sort all pieces, to work through all settings [s], and zones that need a replay."""
    sort_s = work_s = 0.0
    replayed = 0
    begin = time.process_time()
    plan, weeks = lay_out_choices(site.scenario, choices), lay_weeks(site.scenario)
    work_s += time.process_time() - begin
    for zone, place in enumerate(site.layout.zone_place.tolist()):
        hold_s = site.layout.place_sensors[place].hold_s
        begin = time.process_time()
        least_s = plan.least_delay(weeks[place].names, hold_s)
        pieces = sort_zone(traffic, zone, weeks[place], least_s)
        middle = time.process_time()
        _, fails = evaluate_zone(pieces, plan, zone_lamps(site, zone), hold_s)
        sort_s, work_s = sort_s + middle - begin, work_s + time.process_time() - middle
        replayed += int(fails.sum())
    return sort_s, work_s, replayed


def further(site: Site, traffic: Traffic, choices: Sequence[Choice]) -> float:
    """Return the cost of one further setting: all of them less a tenth of them, over the rest [s]."""
    few = choices[::10]
    return (measure(site, traffic, choices)[1] - measure(site, traffic, few)[1]) / (len(choices) - len(few))


def tell(name: str, value: float, unit: str, target: str = "") -> None:
    """Print one figure."""
    print(f"  {name:<64}{value:12.3f} {unit:<8}{target}".rstrip())


def show(name: str, site: Site, traffic: Traffic, choices: Sequence[Choice], target_s: float | None) -> float:
    """Measure some choices and print; return the cost of one setting [s]."""
    sort_s, work_s, replayed = measure(site, traffic, choices)
    print(f"  {name}: {len(choices)} settings")
    tell("  sorting the pieces", sort_s, "s")
    verdict = ""
    if target_s is not None:
        verdict = f"at most {target_s:g}: {'met' if work_s <= target_s else 'MISSED'}"
    tell("  all settings, pieces sorted", work_s, "s", verdict)
    if replayed:
        tell("  zones replayed instead", float(replayed), "")
    return work_s / len(choices)


def main(days: float = YEAR_DAYS) -> None:
    """Measure and print everything for a run of so many days."""
    site = bench_site(days)
    begin = time.process_time()
    traffic = simulate_traffic(site, 0)
    simulate_s = time.process_time() - begin
    assert traffic.visits is not None
    print(f"T-b  10,000 settings on one traffic: 40 aisles, {days:g} days, {len(traffic.visits)} visits")
    tell("simulating the traffic, sensing included", simulate_s, "s")
    replay_s = clock(lambda: replay_site(site, traffic))
    tell("replaying one setting", replay_s, "s")
    one = [{"day": day} for day in candidates(50, 20, 10)]
    each_s = show("one period", site, traffic, one, 1.0)
    tell("replay over the age view, one setting", replay_s / each_s, "times")
    tell("simulation and replay over the age view, one setting", (simulate_s + replay_s) / each_s, "times")
    slow_s = obvious_s(site)
    tell("the obvious model, one setting", slow_s, "s")
    ratio = slow_s / each_s
    verdict = f"at least 10,000: {'met' if ratio >= 1e4 else 'MISSED'}"
    tell("the obvious model over the age view, one setting", ratio, "times", verdict)
    day_night = two_periods(site)
    show(
        "two periods a day, one varied, with its fade",
        day_night,
        traffic,
        [{"day": day, "night": NIGHT} for day in candidates(50, 20, 10)],
        15.0,
    )
    for name, many, target_s in (
        ("two periods a day, both varied, with their fades", candidates(10, 5, 2), 15.0),
        ("two periods a day, both varied, no fades", candidates(20, 5, 1), 5.0),
    ):
        both = [{"day": day, "night": night} for day, night in itertools.product(many, many)]
        show(name, day_night, traffic, both, target_s)
    show("one period, bent power curve", bent(site), traffic, one, None)
    print("T-c  the cost of one further setting, over that of a month")
    month = bench_site(min(days, MONTH_DAYS))
    further_s = [
        further(place, moves, one) for place, moves in ((site, traffic), (month, simulate_traffic(month, 0)))
    ]
    tell("visits", days / min(days, MONTH_DAYS), "times")
    ratio = further_s[0] / further_s[1]
    tell("one further setting", ratio, "times", f"at most 2.5: {'met' if ratio <= 2.5 else 'MISSED'}")


if __name__ == "__main__":
    arguments = sys.argv[1:]
    main(float(arguments[arguments.index("--days") + 1]) if "--days" in arguments else YEAR_DAYS)
