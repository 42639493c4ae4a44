"""Random small sites with detections and visits, for comparing the twin with the program.

Instants come from two worlds: a coarse grid with the instants at which rules meet (borders, ends plus
delay, starts plus latency) mixed in, so that coincidences are common; and floating-point numbers at large.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from hypothesis import strategies as st

from sim.scenario.schema import Scenario
from tests.lighting.engines import Motion, Staying, Visiting, site
from tests.naive import shares_of
from tests.naive_commands import periods_of

LEVELS = (1.0, 0.5, 0.3, 0.0)
STARTS = ("2027-03-01T00:00:00", "2027-03-05T23:41:20", "2027-03-07T23:50:00", "2027-03-03T11:07:30.500000")
DAYS = (0.01, 0.02, 0.05, 1000 / 86_400, 3700 / 86_400)
GRID_S = 10.0


@dataclass(frozen=True)
class Example:
    """One replay to compare."""

    scenario: Scenario
    motion: Motion
    visits: Visiting | None
    stays: Staying | None


def clock(seconds: int) -> str:
    """Write seconds after midnight as HH:MM:SS."""
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


@st.composite
def settings(draw: st.DrawFn, is_grid: bool) -> dict[str, Any]:
    """Draw one set of settings with a delay above 45.5 s, the most that latency and fade-up can take."""
    level = st.sampled_from(LEVELS) if is_grid else st.one_of(st.sampled_from(LEVELS), st.floats(1e-3, 1.0))
    levels = sorted((draw(level), draw(level), draw(level)))
    chosen: dict[str, Any] = {"occupied_level": levels[2], "unoccupied_level": levels[1]}
    if is_grid:
        chosen["timeout_s"] = draw(st.sampled_from((50.0, 60.0, 90.0, 100.0, 200.0, 300.0)))
        chosen["fade_up_s"] = draw(st.sampled_from((0.0, 0.5, 5.0, 20.0, 35.0)))
        chosen["fade_down_s"] = draw(st.sampled_from((0.0, 5.0, 40.0, 200.0, 800.0)))
    else:
        chosen["timeout_s"] = draw(st.floats(46.0, 400.0))
        chosen["fade_up_s"] = draw(st.one_of(st.just(0.0), st.floats(1e-3, 35.0)))
        chosen["fade_down_s"] = draw(st.one_of(st.just(0.0), st.floats(1e-3, 500.0)))
    if draw(st.booleans()):
        chosen["second_delay_s"] = (
            draw(st.sampled_from((0.0, 10.0, 50.0, 100.0, 300.0))) if is_grid else draw(st.floats(0.0, 400.0))
        )
        chosen["second_level"] = levels[0]
    return chosen


@st.composite
def timetables(draw: st.DrawFn, names: list[str], start_s: int, length_s: int) -> list[dict[str, Any]]:
    """Draw a week whose borders lie in the run, at minutes or odd seconds; weekends may differ."""
    step = draw(st.sampled_from((10, 60, 7)))
    offsets = draw(st.lists(st.integers(1, max(1, length_s // step)), max_size=5, unique=True))
    cuts = sorted({0, *((start_s + step * offset) % 86_400 for offset in offsets)})
    weeks = [["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]]
    if draw(st.booleans()):
        weeks = [["Mon", "Tue", "Wed", "Thu", "Fri"], ["Sat", "Sun"]]
    rows = []
    for days in weeks:
        for begin, end in zip(cuts, [*cuts[1:], 86_400], strict=True):
            rows.append({"days": days, "from": clock(begin), "to": "24:00" if end == 86_400 else clock(end),
                         "settings": draw(st.sampled_from(names))})
    if len(weeks) == 1 and len(rows) > 1 and draw(st.booleans()):
        # the last row runs past midnight in place of the first
        rows[-1]["to"] = rows.pop(0)["to"]
    return rows


@st.composite
def scenarios(draw: st.DrawFn, is_grid: bool, lengths_d: tuple[float, ...]) -> Scenario:
    """Draw a site of one to three aisles."""
    names = ["a", "b", "c", "d"][: draw(st.integers(2, 4))]
    start = draw(st.sampled_from(STARTS))
    days = draw(st.sampled_from(lengths_d))
    start_s = sum(int(part) * unit for part, unit in zip(start[11:19].split(":"), (3600, 60, 1), strict=True))
    aisles = draw(st.integers(1, 3))
    zones = draw(st.sampled_from((1, 1, 1, 2, 3)))
    latency = st.sampled_from((0.0, 0.5, 5.0, 10.0)) if is_grid else st.floats(0.0, 10.0)
    hold = st.sampled_from((0.0, 10.0)) if is_grid else st.floats(0.0, 20.0)
    lamps = st.integers(zones, 7)
    luminaires: dict[str, Any] = {"per_aisle": draw(lamps), "full_w": 100.0,
                                  "standby_w": draw(st.sampled_from((0.0, 2.5)))}
    if draw(st.booleans()):
        luminaires["power_curve"] = [
            [0.0, luminaires["standby_w"]], [0.25, 12.0], [0.6, draw(st.floats(12.0, 100.0))], [1.0, 100.0]
        ]
    luminaires["fixed_on"] = draw(st.integers(0, luminaires["per_aisle"]))
    override = []
    for number in range(1, aisles + 1):
        if draw(st.integers(0, 3)) == 0:
            override.append({
                "aisles": [f"A{number:02d}"],
                "latency_s": draw(latency),
                "hold_s": draw(hold),
                "settings": {draw(st.sampled_from(names)): draw(st.sampled_from(names))},
                "per_aisle": max(draw(lamps), luminaires["fixed_on"]),
            })
    plain = sorted({f"A{number:02d}" for number in range(1, aisles + 1)}
                   - {one["aisles"][0] for one in override})
    more = {}
    if zones == 1 and len(plain) > 1 and draw(st.booleans()):
        more["group"] = [{"name": "pair", "aisles": draw(st.permutations(plain))[:2]}]
    if draw(st.integers(0, 3)) == 0:
        more["area"] = [{
            "name": "yard", "across_m": [0.0, 5.0], "along_m": [0.0, 3.0],
            "luminaires": draw(st.integers(1, 5)),
            "fixed_on": draw(st.integers(0, 1)), "full_w": 150.0,
            "sensors_at_m": [[1.0, 1.0]], "radius_m": 3.0,
            "hold_s": draw(hold), "latency_s": draw(latency),
            "settings": {draw(st.sampled_from(names)): draw(st.sampled_from(names))},
        }]
    return site(
        **more,
        settings={name: draw(settings(is_grid)) for name in names} | {"day": {"unoccupied_level": 0.5,
                                                                              "timeout_s": 60.0}},
        timetable=draw(timetables(names, start_s, int(days * 86_400))),
        floor={"aisles": aisles, "zones_per_aisle": zones, "lead_zones": draw(st.integers(0, zones - 1))},
        luminaires=luminaires,
        sensors={"latency_s": draw(latency), "hold_s": draw(hold)},
        override=override,
        start=start,
        days=days,
    )


def meeting_points(scenario: Scenario) -> list[float]:
    """Return durations after which something may fall due: latencies, delays, second delays, fades."""
    found = {0.0, 0.5, GRID_S}
    for aisle in scenario.aisle_names:
        eyes = scenario.sensors_of(aisle)
        found.add(eyes.latency_s)
        for one in scenario.lighting.settings.values():
            delay = eyes.hold_s + one.timeout_s
            found |= {delay, delay + 0.5, delay + (one.second_delay_s or 0.0), one.fade_up_s, one.fade_down_s}
    return sorted(found)


def borders_of(scenario: Scenario) -> list[float]:
    """Return every instant of the run at which some row of the timetable begins; 0 without any."""
    start = scenario.start_datetime
    second = start.hour * 3600 + start.minute * 60 + start.second + start.microsecond / 1e6
    found = set()
    for row in scenario.timetable:
        hours, minutes, seconds = [*(int(part) for part in row.from_.split(":")), 0][:3]
        found.add((hours * 3600 + minutes * 60 + seconds - second) % 86_400.0)
    return sorted(border for border in found if border < scenario.duration_s) or [0.0]


@st.composite
def instants(draw: st.DrawFn, scenario: Scenario, is_grid: bool, known: list[float]) -> float:
    """Draw an instant of the run: on the grid, at a border, or a meaningful time from a known one."""
    end_s = scenario.duration_s
    if not is_grid:
        return draw(st.floats(0.0, end_s, exclude_max=True))
    kind = draw(st.integers(0, 2))
    if kind == 0:
        instant = GRID_S * draw(st.integers(0, int(end_s // GRID_S)))
    else:
        shift = draw(st.sampled_from(meeting_points(scenario)))
        if kind == 1 or not known:
            instant = draw(st.sampled_from(borders_of(scenario))) - shift
        else:
            instant = draw(st.sampled_from(known)) + shift
    return instant if 0.0 <= instant < end_s else 0.0


def aisle_of(scenario: Scenario, zone: str) -> str:
    """Return an aisle in a zone."""
    return dict(shares_of(scenario))[zone.split(".")[0]][0]


@st.composite
def chains(draw: st.DrawFn, scenario: Scenario, zone: str) -> Motion:
    """Draw motion whose age meets a delay at a border, and motion whose latency meets that border."""
    aisle = aisle_of(scenario, zone)
    periods = periods_of(scenario, aisle)
    if len(periods) == 1:
        return []
    number = draw(st.integers(1, len(periods) - 1))
    old, new = periods[number - 1], periods[number]
    border, latency = new.begin, scenario.sensors_of(aisle).latency_s
    ages = [(old.delay + new.delay) / 2.0] * 2
    for period in (old, new):
        ages += [period.delay, period.delay + (period.second_delay or 0.0)]
    last = border - draw(st.sampled_from(ages))
    first = last - draw(st.sampled_from((0.0, 5.0)))
    motion = [(zone, first, last)] if first >= 0.0 else []
    again = border - draw(st.sampled_from((0.0, 0.5, 0.75, 1.0))) * latency
    if draw(st.booleans()) and again >= 0.0:
        motion.append((zone, again, again + draw(st.sampled_from((0.0, 1.0, 60.0)))))
    return motion


@st.composite
def examples(draw: st.DrawFn, is_grid: bool, lengths_d: tuple[float, ...] = DAYS) -> Example:
    """Draw a site and what happened there."""
    scenario = draw(scenarios(is_grid, lengths_d))
    end_s, cut = scenario.duration_s, scenario.floor.zones_per_aisle
    zones = [name if cut == 1 or name in scenario.area_names else f"{name}.{part + 1}"
             for name, _ in shares_of(scenario)
             for part in range(1 if name in scenario.area_names else cut)]
    home = {aisle: name for name, aisles in shares_of(scenario) for aisle in aisles}
    lengths = st.sampled_from(meeting_points(scenario)) if is_grid else st.one_of(
        st.just(0.0), st.floats(0.0, 300.0))
    known: list[float] = []
    motion: Motion = []
    for _ in range(draw(st.integers(0, 4))):
        start = draw(instants(scenario, is_grid, known))
        end = start + draw(lengths)
        motion.append((draw(st.sampled_from(zones)), start, end))
        known += [start, end]
    for _ in range(draw(st.integers(1, 3)) if is_grid else 0):
        motion += draw(chains(scenario, draw(st.sampled_from(zones))))
        known += [end for _, _, end in motion]
    if draw(st.integers(0, 4)) == 0:
        return Example(scenario, motion, None, None)
    visits: Visiting = []
    for _ in range(draw(st.integers(0, 5))):
        aisle = draw(st.sampled_from(scenario.aisle_names))
        enter = draw(instants(scenario, is_grid, known))
        leave = enter + draw(lengths) + (GRID_S if is_grid else draw(st.floats(1e-3, 500.0)))
        if is_grid and motion and draw(st.booleans()):
            # enters or leaves as a light goes down
            zone, _, end = draw(st.sampled_from(motion))
            if zone not in scenario.area_names:
                aisle = aisle_of(scenario, zone)
            down = end + draw(st.sampled_from(periods_of(scenario, aisle))).delay
            stay = leave - enter
            enter, leave = (down, down + stay) if draw(st.booleans()) else (down - stay, down)
            if not 0.0 <= enter < end_s:
                enter, leave = 0.0, stay
        visits.append((aisle, enter, leave, enter - draw(lengths)))
    visits.sort(key=lambda visit: visit[1])
    stays: Staying = []
    for number, (aisle, enter, leave, _) in enumerate(visits):
        if cut == 1:
            stays.append((home[aisle], number, enter, leave))
            continue
        shares = sorted(draw(st.lists(st.sampled_from((0.25, 0.5, 0.75)), max_size=2, unique=True)))
        marks = [enter, *(enter + share * (leave - enter) for share in shares), leave]
        part = draw(st.integers(1, cut))
        for begin, until in pairwise(marks):
            if begin < min(until, end_s):
                stays.append((f"{aisle}.{part}", number, begin, until))
            part = part % cut + 1
    for name in scenario.area_names:
        for extra in range(draw(st.integers(0, 3))):
            enter = draw(instants(scenario, is_grid, known))
            stays.append((name, len(visits) + extra, enter, enter + draw(lengths) + GRID_S))
    return Example(scenario, motion, visits, stays)
