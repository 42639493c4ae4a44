"""Speed as ratios within one run: `python -m tests.bench`, about two minutes; `--quick` leaves out the year.

Absolute times drift between machines and builds, ratios within one run carry over. The yardstick is a bare
SimPy timeout; times are the process's own (what other programs do meanwhile does not count), medians of
several. Nothing here fails: the figures stand beside their targets.
"""

from __future__ import annotations

import json
import random
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import simpy

from sim.replication import Engine, Site, Traffic, replay_site, sense_visits, simulate_and_light
from sim.traffic.paths import log_paths, stays_in_zones
from sim.traffic.work import draw_tasks
from sim.traffic.world import simulate_floor
from tests.bench.site import bench_site
from tests.naive_floor import naive_floor

ROOT = Path(__file__).resolve().parent.parent.parent
BARE_TIMEOUTS = 200_000
REPEATS = 5
STARTS = 9
WEEK_DAYS, YEAR_DAYS = 7.0, 365.0


def bare_timeout_s() -> float:
    """Return the cost of one bare SimPy timeout: processes that only `yield timeout(random())` [s]."""
    env = simpy.Environment()
    timeout, draw = env.timeout, random.Random(1).random

    def wait() -> Any:
        while True:
            yield timeout(draw())

    for _ in range(20):
        env.process(wait())
    begin = time.process_time()
    env.run(until=BARE_TIMEOUTS / 20 * 0.5)
    return (time.process_time() - begin) / BARE_TIMEOUTS


def median_bare_s() -> float:
    """Return the median over several repeats."""
    return statistics.median(bare_timeout_s() for _ in range(REPEATS))


def peak_mb() -> float | None:
    """Return the most memory this process has had [MB]; None where the system does not tell."""
    try:
        import resource
    except ImportError:
        return None
    return float(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss) / (
        1e6 if sys.platform == "darwin" else 1e3
    )


def stage_costs(site: Site, replication: int) -> dict[str, Any]:
    """Run one replication room by room; return each room's own time [s], visits, and memory peaks [MB]."""
    scenario, layout = site.scenario, site.layout
    costs: dict[str, Any] = {}
    clock = time.process_time()

    def lap(name: str) -> None:
        nonlocal clock
        now = time.process_time()
        costs[name], clock = now - clock, now

    tasks = draw_tasks(scenario, layout, replication)
    lap("draw")
    log = simulate_floor(layout, scenario.trucks, site.may_do, site.fleet, tasks, scenario.duration_s)
    lap("simulate")
    costs["peak_floor_mb"] = peak_mb()
    visits = log_paths(layout, scenario.trucks, site.fleet, tasks, log, scenario.duration_s)
    lap("paths")
    waiting = log.waiting_tasks
    del tasks, log  # as `simulate_traffic` does
    clock = time.process_time()
    detections, stays = sense_visits(site, visits, replication), stays_in_zones(layout, visits)
    lap("sense")
    replay_site(site, Traffic(visits, stays, detections, waiting))
    lap("replay")
    return {**costs, "visits": len(visits), "peak_all_mb": peak_mb()}


def per_visit(costs: dict[str, Any], bare_s: float, *names: str) -> float:
    """Return the cost of some rooms in bare timeouts a visit."""
    return float(sum(costs[name] for name in names)) / costs["visits"] / bare_s


FLOOR = ("draw", "simulate", "paths")
ALL = (*FLOOR, "sense", "replay")


def tell(name: str, value: float | None, target: float | None = None, unit: str = "") -> None:
    """Print one figure beside its target."""
    shown = "not measured here" if value is None else f"{value:10.2f} {unit}"
    mark = (
        ""
        if target is None or value is None
        else f"at most {target:g}: {'met' if value <= target else 'MISSED'}"
    )
    print(f"  {name:<58}{shown:<32}{mark}".rstrip())


def bench_floor() -> None:
    """T-a: the floor against bare timeouts and against the obvious model, on the same moves."""
    print("T-a  the floor: a week of 40 aisles, 20 trucks, 300 moves an hour")
    site, day = bench_site(WEEK_DAYS), bench_site(1.0)
    bare_s = median_bare_s()
    rounds = [stage_costs(site, number) for number in range(REPEATS)]
    floor = statistics.median(per_visit(one, bare_s, *FLOOR) for one in rounds)
    tell("one bare timeout", bare_s * 1e6, None, "us")
    for name in FLOOR:
        tell(
            f"  {name}",
            statistics.median(per_visit(one, bare_s, name) for one in rounds),
            None,
            "timeouts a visit",
        )
    tell("floor, all three", floor, 5.0, "timeouts a visit")
    tasks = draw_tasks(day.scenario, day.layout, 0)
    obvious_s = []
    for _ in range(3):
        begin = time.process_time()
        visits = naive_floor(day.layout, day.scenario.trucks[0], tasks, day.scenario.duration_s)
        obvious_s.append((time.process_time() - begin) / len(visits))
    obvious = statistics.median(obvious_s) / bare_s
    tell("the obvious model: a process a task, Resources", obvious, None, "timeouts a visit")
    tell("the obvious model over the floor", obvious / floor, None, "times")
    print("  events a visit: counted exactly in tests/bench/test_events_a_visit.py")


def bench_replay_and_year(with_year: bool) -> None:
    """T-c: cost grows linearly with visits; memory of a site-year; the cost of one more replay."""
    print("T-c  a week against a year: everything, and one replay")
    week = run_apart("week")
    for name in ALL:
        tell(f"  week: {name}", week[name], None, "timeouts a visit")
    tell("week: all", week["all"], None, "timeouts a visit")
    tell(
        "one replay over one simulation with sensing",
        week["replay"] / (week["all"] - week["replay"]),
        None,
        "",
    )
    if not with_year:
        return
    year = run_apart("year")
    tell("year: visits", year["visits"] / 1e6, None, "million")
    tell("year: all", year["all"], None, "timeouts a visit")
    tell("year over week, cost of a visit, all", year["all"] / week["all"], 1.3, "times")
    tell("year over week, cost of a visit, floor", year["floor"] / week["floor"], 1.3, "times")
    tell("year over week, cost of a visit, one replay", year["replay"] / week["replay"], 1.3, "times")
    tell("year: most memory, moves drawn and floor simulated", year["peak_floor_mb"], 1000.0, "MB")
    tell("year: most memory, with paths, sensing and replay", year["peak_all_mb"], 1000.0, "MB")


def run_apart(what: str) -> dict[str, float]:
    """Measure a run in a process of its own, so that its memory is its own."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.bench", "--part", what],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    found: dict[str, float] = json.loads(done.stdout)
    return found


def part(what: str) -> None:
    """Print the figures of a week (median of several) or a year as JSON."""
    site = bench_site(YEAR_DAYS if what == "year" else WEEK_DAYS)
    bare_s = median_bare_s()
    rounds = [stage_costs(site, number) for number in range(1 if what == "year" else REPEATS)]
    groups = {**{name: (name,) for name in ALL}, "floor": FLOOR, "all": ALL}
    figures = {
        name: statistics.median(per_visit(one, bare_s, *names) for one in rounds)
        for name, names in groups.items()
    }
    last = rounds[-1]
    print(
        json.dumps({**figures, **{name: last[name] for name in ("visits", "peak_floor_mb", "peak_all_mb")}})
    )


def bench_live() -> None:
    """Lights inside the simulation against the replay, of the same run; then drivers who react."""
    print("live  the lights inside the simulation: a week")
    site, reacting = bench_site(WEEK_DAYS), bench_site(WEEK_DAYS, "dim_speed_factor = 0.6")

    def cost_s(one: Site, engine: Engine) -> float:
        begin = time.process_time()
        simulate_and_light(one, 0, engine)
        return time.process_time() - begin

    rounds = [(cost_s(site, "replay"), cost_s(site, "live")) for _ in range(REPEATS)]
    live = statistics.median(live_s / replay_s for replay_s, live_s in rounds)
    replay_s = statistics.median(replay_s for replay_s, _ in rounds)
    tell("live over replay, the same run", live, 3.0, "times")
    reacts = statistics.median(cost_s(reacting, "live") for _ in range(3)) / replay_s
    tell("drivers who react over a replay of drivers who do not", reacts, None, "times")


def bench_start() -> None:
    """T-e: the cost of `--help` against an empty interpreter; what it imports is a test in tests/house."""
    print("T-e  starting the command")

    def wall_s(*arguments: str) -> float:
        begin = time.perf_counter()
        subprocess.run([sys.executable, *arguments], cwd=ROOT, capture_output=True, check=True)
        return time.perf_counter() - begin

    kinds: dict[str, Callable[[], float]] = {
        "empty": lambda: wall_s("-c", "pass"),
        "help": lambda: wall_s("-m", "sim", "--help"),
        "check": lambda: wall_s("-m", "sim", "check", "pallet-reserve"),
    }
    found: dict[str, list[float]] = {name: [] for name in kinds}
    for _ in range(STARTS):
        for name, measure in kinds.items():
            found[name].append(measure())
    empty, shown, checked = (statistics.median(found[name]) for name in kinds)
    tell("an empty interpreter", empty * 1000.0, None, "ms")
    tell("--help over an empty interpreter", shown / empty, 8.0, "times")
    tell("check over an empty interpreter", checked / empty, None, "times")


def main(arguments: list[str]) -> None:
    """Run every bench, or one part for a parent."""
    if arguments[:1] == ["--part"]:
        part(arguments[1])
        return
    bench_floor()
    bench_live()
    bench_replay_and_year(with_year="--quick" not in arguments)
    bench_start()


if __name__ == "__main__":
    main(sys.argv[1:])
