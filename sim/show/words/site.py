"""The resolved site in a screenful of text: what `check` prints.

Comes in: scenario, layout, programs, notices.  Goes out: lines of at most 80 columns.  Before:
`show/words/in_force`; after: `show/words/tables`.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from sim.floor.layout import Layout
from sim.lighting.power import power_curve
from sim.lighting.timetable import Program
from sim.scenario.schema import Inbound, Outbound, Scenario, Sensors, Shift, Trucks, Work
from sim.scenario.tables.areas import Area
from sim.show.words.amounts import (
    WIDTH,
    count_of,
    digits,
    duration,
    listing,
    moment,
    percent,
    plain,
    short,
    weekday_list,
    wrapped,
)
from sim.show.words.in_force import InForce, connected_kw, levels_text, settings_in_force, timers, week_grid
from sim.show.words.limits import limit_lines
from sim.traffic.arrivals import week_rates
from sim.traffic.work import aisle_shares, hourly_rates
from sim.units import WEEKDAYS

__all__ = ["site_lines"]

INDENT = 12
MOST_ROWS, MOST_SETTINGS, MOST_WORK, MOST_NAME = 6, 8, 8, 24
BUSIEST_PART = 0.2


def site_lines(
    scenario: Scenario, layout: Layout, programs: Sequence[Program], notices: Sequence[str]
) -> list[str]:
    """Return the site's lines; long lists are cut with a count of what is left."""
    return [
        *wrapped(scenario.title),
        *wrapped(_run(scenario, programs)),
        "",
        *_part("floor", [_floor(scenario, layout)]),
        *_part("luminaires", [_luminaires(scenario, layout)]),
        *_part("sensors", [_sensors(scenario.sensors, layout)]),
        *_part("groups", [f"{group.name}: {listing(group.aisles, 6)}" for group in scenario.group or ()]),
        *_part("areas", [_area(scenario, area) for area in scenario.area or ()]),
        "",
        *_settings(settings_in_force(scenario)),
        "",
        *_week(scenario),
        "",
        *_trucks(scenario.trucks),
        *_part("shifts", [_shift(shift) for shift in scenario.shifts]),
        *_work(scenario.work, len(layout.aisles)),
        *_part("trailers", [*map(_trailers, scenario.inbound), *map(_trailers, scenario.outbound)]),
        *_part("overrides", list(_overrides(scenario))),
        *limit_lines(scenario),
        *_part("notices", list(notices), most=len(notices)),
    ]


def _part(heading: str, rows: Sequence[str], most: int = MOST_ROWS) -> list[str]:
    """One part: the heading before its first row, the others indented."""
    shown = [*rows[:most], *([f"and {len(rows) - most} more"] if len(rows) > most else [])]
    lines: list[str] = []
    for number, row in enumerate(shown):
        first = heading if number == 0 else ""
        lines += wrapped(f"{first:<{INDENT}}{row}", " " * INDENT)
    return lines


def _run(scenario: Scenario, programs: Sequence[Program]) -> str:
    """Span, seed, replications."""
    until = "" if scenario.precision is None else f" or more: energy to {plain(100 * scenario.precision)} %"
    borders = count_of(max(len(program.border) - 2 for program in programs), "timetable border")
    return (
        f"{duration(scenario.duration_s)} from {moment(scenario.start_datetime)}, seed {scenario.seed}, "
        f"{count_of(scenario.replications, 'replication')}{until}, {borders}"
    )


def _floor(scenario: Scenario, layout: Layout) -> str:
    """Aisles, zones, doors."""
    lengths = sorted(set(layout.length_m.tolist()))
    length = plain(lengths[0]) if len(lengths) == 1 else f"{plain(lengths[0])} to {plain(lengths[-1])}"
    floor = scenario.floor
    capacity = (
        "no limit of trucks in an aisle"
        if floor.aisle_capacity is None
        else f"at most {count_of(floor.aisle_capacity, 'truck')} in an aisle"
    )
    return (
        f"{count_of(len(layout.aisles), 'aisle')} ({listing(layout.aisles, 4)}), {length} m long, "
        f"{_pitch(floor.aisle_pitch_m)}; {count_of(len(layout.zones), 'zone')}; {capacity}; "
        f"{count_of(floor.dock_doors, 'door')}, staging {plain(floor.staging_depth_m)} m deep{_ways(layout)}"
    )


def _ways(layout: Layout) -> str:
    """One-way aisles and middle cross-aisles, where there are any."""
    said = []
    for direction, way in ((1, "front to back"), (-1, "back to front")):
        count = int((layout.direction == direction).sum())
        said += [f"{count_of(count, 'aisle')} one way, {way}"] if count else []
    if len(layout.cross_m):
        said.append(f"middle cross-aisles at {', '.join(map(plain, layout.cross_m.tolist()))} m")
    return "".join(f"; {words}" for words in said)


def _pitch(pitch_m: float | tuple[float, ...]) -> str:
    """How far the aisles are apart."""
    if isinstance(pitch_m, tuple):
        return f"{plain(min(pitch_m))} to {plain(max(pitch_m))} m wide with their racks"
    return f"{plain(pitch_m)} m apart"


def _luminaires(scenario: Scenario, layout: Layout) -> str:
    """Luminaires and their power."""
    count = int(layout.dimmed.sum() + layout.fixed.sum())
    full, off = digits(connected_kw(scenario)), digits(connected_kw(scenario, 0.0))
    never = plain(int(layout.fixed.sum()))
    text = f"{plain(count)}, {full} kW connected, {off} kW at level 0; {never} never dim"
    lux = scenario.luminaires.floor_lux_at_full
    return text if lux is None else f"{text}; {plain(lux)} lx on the floor at full"


def _sensors(sensors: Sensors, layout: Layout) -> str:
    """Sensors and what they see."""
    where = {"ends": "at the ends of each aisle", "every": "at every luminaire"}
    place = (
        where[sensors.at] if isinstance(sensors.at, str)
        else f"at {', '.join(plain(place) for place in sensors.at)} m"
    )
    person = sensors.still_rate_person_per_min
    people = "" if person is None else f" ({plain(person)} of a person)"
    return (
        f"{len(layout.sensor_m)} {place}, reach {plain(sensors.range_m)} m each way; seen "
        f"{plain(sensors.approach_m)} m before the mouth; passing {percent(sensors.passing_trigger)} within "
        f"{plain(sensors.passing_range_m)} m; still {plain(sensors.still_rate_per_min)} pulses/min"
        f"{people}; miss "
        f"{percent(sensors.miss)}; latency {duration(sensors.latency_s)}"
    )


def _area(scenario: Scenario, area: Area) -> str:
    """One open area."""
    kw = area.luminaires * float(power_curve(scenario.luminaires_of(area.name)).at(1.0)) / 1000.0
    weekly = float(week_rates(area.people_per_hour, area.people_days).sum())
    return (
        f"{area.name}: {count_of(area.luminaires, 'luminaire')}, {digits(kw)} kW, "
        f"{count_of(len(area.sensors_at_m), 'sensor')}"
        + (f", {digits(weekly)} people a week" if weekly else "")
    )


def _settings(rows: Sequence[InForce]) -> list[str]:
    """Settings with both timers and their sum."""
    shown = rows[:MOST_SETTINGS]
    width = min(MOST_NAME, max(8, *(len(_settings_name(row)) for row in shown))) + 2
    lines = [f"{'settings':<{width}}{'hold + timeout = sum':<26}{'fade up/down':<14}high / low"]
    for row in shown:
        fades = f"{duration(row.settings.fade_up_s)} / {duration(row.settings.fade_down_s)}"
        line = f"{_settings_name(row)[:MOST_NAME]:<{width}}{timers(row):<25} {fades:<14}{levels_text(row)}"
        lines += wrapped(line, " " * (width + 2))
    if len(rows) > len(shown):
        lines.append(f"and {len(rows) - len(shown)} more")
    return lines


def _settings_name(row: InForce) -> str:
    """Name of the settings; where aisles differ, with the first of them."""
    used = row.name if row.uses == row.name else f"{row.name}: {row.uses}"
    return used if row.is_everywhere else f"{used} ({row.aisles[0]}{'..' if len(row.aisles) > 1 else ''})"


def _week(scenario: Scenario) -> list[str]:
    """The timetable as a picture: a letter for each half-hour, days that are alike in one row."""
    names, grid = week_grid(scenario)
    letters = [name[0] for name in names]
    if len(set(letters)) < len(letters):
        letters = [chr(ord("a") + number % 26) for number in range(len(names))]
    days: dict[str, list[str]] = {}
    for day, row in zip(WEEKDAYS, grid, strict=True):
        days.setdefault("".join(letters[number] for number in row), []).append(day)
    ruler = "".join(f"{hour:<12}" for hour in ("00", "06", "12", "18")) + "24"
    key = ", ".join(f"{letter} {name}" for letter, name in zip(letters, names, strict=True))
    lines = [f"{'week':<{INDENT}}{ruler}"]
    for picture, alike in days.items():
        lines.append(f"  {weekday_list(alike):<{INDENT - 2}}{picture}"[:WIDTH])
    return [*lines, *wrapped(" " * INDENT + key, " " * INDENT)]


def _trucks(groups: Sequence[Trucks]) -> list[str]:
    """Groups of trucks."""
    if not groups:
        return []
    lines = [f"{'trucks':<27}{'count':>5}  {'laden / empty':<18}{'acceleration':<14}handling (cv)"]
    for group in groups[:MOST_ROWS]:
        speeds = f"{short(group.speed_laden_m_per_s)} / {short(group.speed_empty_m_per_s)} m/s"
        rate = group.acceleration_m_per_s2
        ramp = f"{plain(rate)} m/s2" if rate else "none"
        handling = f"{duration(group.handling_mean_s)} ({plain(group.handling_cv)})"
        lines.append(f"  {group.name[:MOST_NAME]:<25}{group.count:>5}  {speeds:<18}{ramp:<14}{handling}")
    if len(groups) > MOST_ROWS:
        lines.append(f"  and {len(groups) - MOST_ROWS} more")
    return lines


def _shift(shift: Shift) -> str:
    """One shift."""
    breaks = ", ".join(f"{start}-{end}" for start, end in shift.breaks)
    return (
        f"{shift.trucks} {weekday_list(shift.days)} {shift.from_}-{shift.to}, crew {shift.crew}"
        + (f", breaks {breaks}" if breaks else "")
    )


def _trailers(stream: Inbound | Outbound) -> str:
    """One stream of trailers."""
    if stream.at is not None:
        times = f"at {listing(stream.at, 6)}"
    else:
        times = f"{digits(float(week_rates(stream.per_hour or 0.0, stream.days).sum()))} a week at random"
    if isinstance(stream, Outbound):
        rest = f"each takes {stream.pallets} pallets, released {duration(stream.wave_s)} before"
    elif stream.unload_trucks is None:
        rest = f"each brings {stream.pallets} pallets, unloaded in {duration(stream.pallet_s or 0.0)} each"
    else:
        rest = f"each brings {stream.pallets} pallets, unloaded by {listing(stream.unload_trucks, 3)}"
    return f"{stream.name}: {weekday_list(stream.days)} {times}; {rest}"


def _work(streams: Sequence[Work], aisles: int) -> list[str]:
    """Streams of moves: how many, and how much of it goes to the busiest aisles."""
    if not streams:
        return []
    lines = [f"{'work':<26}{'kind':<10}{'days':<8}{'most/h':>7}{'a week':>11}  top aisle, fifth"]
    for work in streams[:MOST_WORK]:
        rates = hourly_rates(work)
        shares = sorted(aisle_shares(work, aisles).tolist(), reverse=True)
        fifth = sum(shares[:max(1, round(BUSIEST_PART * aisles))])
        days = weekday_list(work.days)
        days = days if len(days) < 8 else f"{len(work.days)} days"
        lines.append(
            f"  {work.name[:MOST_NAME - 1]:<24}{work.kind:<10}{days:<8}{digits(float(rates.max())):>7}"
            f"{digits(float(rates.sum())):>11}  {percent(shares[0])}, {percent(fifth)}"
        )
    if len(streams) > MOST_WORK:
        lines.append(f"  and {len(streams) - MOST_WORK} more")
    return lines


def _overrides(scenario: Scenario) -> Iterable[str]:
    """What differs in some aisles."""
    for override in scenario.override:
        stated = {key: getattr(override, key) for key in sorted(override.model_fields_set - {"aisles"})}
        yield f"{listing(override.aisles, 4)}: " + ", ".join(
            f"{key} {_value_text(value)}" for key, value in stated.items() if value is not None
        )


def _value_text(value: object) -> str:
    """One overridden value in words."""
    if isinstance(value, dict):
        return ", ".join(f"{name} is {other}" for name, other in value.items())
    if isinstance(value, tuple):
        return "[" + ", ".join(_value_text(part) for part in value) + "]"
    return plain(value) if isinstance(value, float | int) else str(value)
