"""The slow obvious twin, second half: outcomes of one replay, summed over short pieces of time.

Pure Python, no arrays; written from the meaning of the words, never from the program it checks.
Time is cut wherever anything at all may change, so that on each short piece trucks, settings and
power curve stay the same and the level is a straight line: every sum is then a sum of trapezoids.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass, field
from itertools import pairwise

from sim.outcome.names import OUTCOMES
from sim.scenario.schema import Scenario
from tests import naive_commands as twin

Row = dict[str, float | None]
HOUR, QUARTER = 3600.0, 900.0
CODE_DELAY = 1200.0
SUMS = ("energy_kwh", "always_on_kwh", "schedule_only_kwh", "code_minimum_kwh", "time_at_low_h",
        "time_at_zero_h", "lit_empty_h", "occupied_h", "dim_truck_s", "shortfall_truck_s", "dim_entries",
        "false_offs", "switch_ups", "switch_downs", "timetable_changes")
UNIT_S = {"kwh": 3.6e6, "h": 3600.0}


@dataclass(frozen=True)
class NaiveResult:
    """Outcomes by name for the site, each zone and each hour; commands as (time, state, level, cause)."""

    total: Row
    zones: dict[str, Row]
    hours: list[Row]
    quarter_kw: list[float]
    commands: dict[str, list[tuple[float, str, float, str]]]


@dataclass
class Ledger:
    """What is added up somewhere: shares of each sum, energy by quarter-hour, dim spells."""

    sums: dict[str, list[float]] = field(default_factory=lambda: {name: [] for name in SUMS})
    quarters: dict[int, list[float]] = field(default_factory=dict)
    full_quarters: dict[int, list[float]] = field(default_factory=dict)
    spells: list[float] = field(default_factory=list)
    waits: list[float] = field(default_factory=list)
    visits: int = 0

    def peak_kw(self, quarters: dict[int, list[float]]) -> float:
        """Return the highest mean over a quarter-hour."""
        return max((math.fsum(joules) / QUARTER / 1000.0 for joules in quarters.values()), default=0.0)

    def row(self, length_s: float, has_visits: bool) -> Row:
        """Return every outcome."""
        row: Row = {}
        for name in SUMS:
            row[name] = math.fsum(self.sums[name]) / UNIT_S.get(name.rsplit("_", 1)[1], 1.0)
        row["saved_kwh"] = row["always_on_kwh"] - row["energy_kwh"]
        row["saved_share"] = row["saved_kwh"] / row["always_on_kwh"] if row["always_on_kwh"] else None
        row["peak_kw"] = self.peak_kw(self.quarters)
        row["always_on_peak_kw"] = self.peak_kw(self.full_quarters)
        row["dim_spell_max_s"] = max(self.spells, default=0.0)
        row["dim_spell_p95_s"] = percentile(self.spells, 0.95)
        row["visits"] = float(self.visits)
        row["visits_per_h"] = self.visits / (length_s / HOUR)
        row["mouth_wait_s"] = math.fsum(self.waits)
        row["mouth_wait_mean_s"] = math.fsum(self.waits) / self.visits if self.visits else 0.0
        for name in row:
            if OUTCOMES[name].needs_visits and not has_visits:
                row[name] = None
        return {name: row[name] for name in OUTCOMES}


def percentile(values: list[float], share: float) -> float:
    """Return the percentile on straight lines between ordered values; 0 of nothing."""
    if not values:
        return 0.0
    ordered = sorted(values)
    place = share * (len(ordered) - 1)
    low = math.floor(place)
    high = min(low + 1, len(ordered) - 1)
    return ordered[low] + (ordered[high] - ordered[low]) * (place - low)


@dataclass
class Zone:
    """One zone and all that happens in it."""

    name: str
    aisle: str
    curve: list[tuple[float, float]]
    dimmed: int
    fixed: int
    stays: list[tuple[int, float, float]]
    periods: list[twin.Period]
    commands: list[twin.Command]
    pieces: list[twin.Piece]
    dim_entries: list[float]
    code_full: list[tuple[float, float]]

    def power(self, level: float) -> float:
        """Return the power of one luminaire [W] on the lines between the curve's points."""
        for (x0, y0), (x1, y1) in pairwise(self.curve):
            if level <= x1:
                return y0 + (y1 - y0) * (level - x0) / (x1 - x0)
        return self.curve[-1][1]


def shares_of(scenario: Scenario) -> list[tuple[str, list[str]]]:
    """Name the aisles or groups of aisles with their aisles, by their first aisle, then the open areas."""
    found: list[tuple[str, list[str]]] = []
    for aisle in scenario.aisle_names:
        own = [group for group in scenario.group or () if aisle in group.aisles]
        if not own:
            found.append((aisle, [aisle]))
        elif own[0].name not in [name for name, _ in found]:
            found.append((own[0].name, [name for name in scenario.aisle_names if name in own[0].aisles]))
    return found + [(area.name, [area.name]) for area in scenario.area or ()]


def zones_of(
    scenario: Scenario, detections: list[tuple[str, float, float]], stays: list[tuple[str, int, float, float]]
) -> list[Zone]:
    """Build every zone and run its controller."""
    run_end = scenario.duration_s
    zones = []
    for place, aisles in shares_of(scenario):
        aisle = aisles[0]
        cut = 1 if aisle in scenario.area_names else scenario.floor.zones_per_aisle
        names = [place] if cut == 1 else [f"{place}.{part + 1}" for part in range(cut)]
        homes = [0] * cut
        fixed = [0] * cut
        for lamps in (scenario.luminaires_of(one) for one in aisles):
            for lamp in range(lamps.per_aisle):
                # (lamp + 0.5) / per_aisle of the length, counted in zones; whole numbers: a cut is exact
                home = ((2 * lamp + 1) * cut) // (2 * lamps.per_aisle)
                is_fixed = lamp >= lamps.per_aisle - lamps.fixed_on
                (fixed if is_fixed else homes)[home] += 1
        curve = list(lamps.power_curve or [(0.0, lamps.standby_w), (1.0, lamps.full_w)])
        periods = twin.periods_of(scenario, aisle)
        seen = [
            (zone, start, min(end, run_end)) for zone, start, end in detections
            if zone in names and start < run_end
        ]
        aisle_motion = twin.unite([(start, end) for _, start, end in seen])
        code_full = twin.unite([(start, end + CODE_DELAY) for start, end in aisle_motion])
        for part, name in enumerate(names):
            own = [
                (visit, enter, min(leave, run_end)) for zone, visit, enter, leave in stays
                if zone == name and enter < run_end
            ]
            commands, dim_entries = twin.walk(
                periods,
                scenario.sensors_of(aisle).latency_s,
                twin.unite([
                    (start, end) for zone, start, end in seen
                    if abs(names.index(zone) - part) <= scenario.floor.lead_zones
                ]),
                sorted(enter for _, enter, _ in own),
            )
            zones.append(Zone(
                name, aisle, curve, homes[part], fixed[part], own, periods, commands,
                twin.light(commands, run_end), dim_entries, code_full,
            ))
    return zones


def cuts_of(zone: Zone, run_end: float, quarters: list[float]) -> list[float]:
    """Return every instant of the run at which anything may change in a zone, and its ends."""
    cuts = {0.0, run_end}
    cuts.update(HOUR * hour for hour in range(int(run_end // HOUR) + 1))
    cuts.update(quarters)
    cuts.update(period.begin for period in zone.periods)
    cuts.update(command.time for command in zone.commands)
    for _, enter, leave in zone.stays:
        cuts.update((enter, leave))
    for start, end in zone.code_full:
        cuts.update((start, end))
    levels = {period.occupied for period in zone.periods} | {level for level, _ in zone.curve}
    for piece in zone.pieces:
        cuts.update((piece.start, piece.end))
        for level in levels:
            if min(piece.before, piece.after) < level < max(piece.before, piece.after):
                share = (level - piece.before) / (piece.after - piece.before)
                cuts.add(piece.start + (piece.end - piece.start) * share)
    return sorted(time for time in cuts if 0.0 <= time <= run_end)


def add_zone(
    zone: Zone, run_end: float, quarters: list[float], here: Ledger, hours: list[Ledger], site: Ledger
) -> list[tuple[int, float, float]]:
    """Add one zone to its own row, to the hours and to the site; return (visit, start, end) of dim pieces."""
    commands, pieces, periods = zone.commands, zone.pieces, zone.periods
    times = [command.time for command in commands]
    starts = [piece.start for piece in pieces]
    begins = [period.begin for period in periods]
    full = zone.power(1.0)
    dim: list[tuple[int, float, float]] = []

    def add(name: str, instant: float, amount: float) -> None:
        for ledger in (here, hours[int(instant // HOUR)], site):
            ledger.sums[name].append(amount)

    cuts = cuts_of(zone, run_end, quarters)
    for start, end in pairwise(cuts):
        length = end - start
        command = commands[bisect_right(times, start) - 1]
        piece = pieces[bisect_right(starts, start) - 1]
        period = periods[bisect_right(begins, start) - 1]
        level_a, level_b = piece.at(start), piece.at(end)
        level = (level_a + level_b) / 2.0
        watts = (zone.power(level_a) + zone.power(level_b)) / 2.0
        is_code_full = any(on <= start < off for on, off in zone.code_full)
        trucks = [visit for visit, enter, leave in zone.stays if enter <= start < leave]
        fixed = zone.fixed * full * length
        energy = zone.dimmed * watts * length + fixed
        always = zone.dimmed * full * length + fixed
        add("energy_kwh", start, energy)
        add("always_on_kwh", start, always)
        add("schedule_only_kwh", start, zone.dimmed * zone.power(period.occupied) * length + fixed)
        add("code_minimum_kwh", start, zone.dimmed * full * length * (1.0 if is_code_full else 0.5) + fixed)
        if command.state != "high":
            add("time_at_low_h", start, length)
            if command.level == 0.0:
                add("time_at_zero_h", start, length)
        if trucks:
            add("occupied_h", start, length)
        elif command.state == "high":
            add("lit_empty_h", start, length)
        if level < period.occupied:
            for visit in trucks:
                add("dim_truck_s", start, length)
                add("shortfall_truck_s", start, length * (period.occupied - level) / period.occupied)
                dim.append((visit, start, end))
        quarter = bisect_right(quarters, start) - 1
        hour = hours[int(max(0.0, quarters[quarter]) // HOUR)]
        for ledger in (here, hour, site):
            ledger.quarters.setdefault(quarter, []).append(energy)
            ledger.full_quarters.setdefault(quarter, []).append(always)
    for entry in zone.dim_entries:
        add("dim_entries", entry, 1.0)
    for before, command in pairwise([None, *commands]):
        if command.cause == "up":
            add("switch_ups", command.time, 1.0)
        if command.cause == "down":
            add("switch_downs", command.time, 1.0)
            if any(enter <= command.time < leave for _, enter, leave in zone.stays):
                add("false_offs", command.time, 1.0)
        if command.cause == "border" and before is not None and before.level != command.level:
            add("timetable_changes", command.time, 1.0)
    return dim


def join_spells(pieces: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Join dim pieces of one visit that follow each other without a break."""
    joined: list[tuple[float, float]] = []
    for start, end in sorted(pieces):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined


def naive_replay(
    scenario: Scenario,
    detections: list[tuple[str, float, float]],
    stays: list[tuple[str, int, float, float]] | None,
    visits: list[tuple[str, float, float, float]] | None,
) -> NaiveResult:
    """Replay detections through the lights of a site and count everything, slowly.

    Parameters
    ----------
    scenario : a resolved scenario, free of contradictions
    detections : (zone, start, end) [s]
    stays : (zone, number of the visit, enter, leave) [s], None where no visits are known
    visits : (aisle, enter, leave, arrive) [s], likewise; the stays' numbers count these from 0
    """
    run_end = scenario.duration_s
    start = scenario.start_datetime
    offset = (start.minute * 60 + start.second + start.microsecond / 1e6) % QUARTER
    # starts of the quarter-hours of the local clock; the first may lie before the run
    quarters = [QUARTER * k - offset for k in range(math.ceil((run_end + offset) / QUARTER))]
    has_visits = stays is not None and visits is not None
    zones = zones_of(scenario, detections, stays or [])
    site = Ledger()
    rows = {zone.name: Ledger() for zone in zones}
    hours = [Ledger() for _ in range(math.ceil(run_end / HOUR))]
    dim_of_visit: dict[int, list[tuple[float, float]]] = {}
    for zone in zones:
        here: dict[int, list[tuple[float, float]]] = {}
        for visit, begin, end in add_zone(zone, run_end, quarters, rows[zone.name], hours, site):
            here.setdefault(visit, []).append((begin, end))
            dim_of_visit.setdefault(visit, []).append((begin, end))
        for pieces in here.values():
            rows[zone.name].spells.extend(end - begin for begin, end in join_spells(pieces))
    for pieces in dim_of_visit.values():
        for begin, end in join_spells(pieces):
            site.spells.append(end - begin)
            hours[int(begin // HOUR)].spells.append(end - begin)
    for number, (_, enter, _, arrive) in enumerate(visits or []):
        if enter >= run_end:
            continue
        first = min((stay_enter, zone) for zone, visit, stay_enter, _ in stays or [] if visit == number)[1]
        for ledger in (site, hours[int(enter // HOUR)], rows[first]):
            ledger.waits.append(enter - arrive)
            ledger.visits += 1
    return NaiveResult(
        total=site.row(run_end, has_visits),
        zones={name: ledger.row(run_end, has_visits) for name, ledger in rows.items()},
        hours=[
            ledger.row(min(HOUR, run_end - HOUR * hour), has_visits) for hour, ledger in enumerate(hours)
        ],
        quarter_kw=[math.fsum(joules) / QUARTER / 1000.0 for _, joules in sorted(site.quarters.items())],
        commands={
            zone.name: [(turn.time, turn.state, turn.level, turn.cause) for turn in zone.commands]
            for zone in zones
        },
    )
