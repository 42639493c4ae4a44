"""Why a light was low at an instant, who was there, and what would have kept it up.

Comes in: a close look at one replication.  Goes out: `Moment` for each zone of an aisle, or the worst dim
spells.  Before: `study/store`, `study/replications/replicate`, `study/ages/evaluate`; after:
`show/words/explain`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn, IntColumn, Visits
from sim.replication import Traffic, choose_engine, prepare_site
from sim.results import CloseLook, Levels, Result
from sim.scenario.schema import Scenario
from sim.study.ages.evaluate import evaluate_settings
from sim.study.decide.candidates import TIMEOUTS_S

__all__ = [
    "IN_THE_OPEN",
    "Cure",
    "Guest",
    "Moment",
    "Spell",
    "explain_moment",
    "find_worst_spells",
]

DAYS_PER_YEAR = 365.0
IN_THE_OPEN = "in the open"
"""What stands for the task of trucks and people in open areas, where no more is known of them."""


@dataclass(frozen=True)
class Guest:
    """A truck in the aisle at an instant.

    Attributes
    ----------
    truck, task : by name
    enter, leave : of its visit [s]
    bay_m : where it handles first, nan where not known
    unseen_s : longest time within the visit that the zone had seen no motion
    """

    truck: str
    task: str
    enter: float
    leave: float
    bay_m: float
    unseen_s: float


@dataclass(frozen=True)
class Cure:
    """A timeout that would have kept the light up, and its price.

    Attributes
    ----------
    needed_s : the shortest timeout that does
    offered_s : the next one that a controller usually offers; the needed one where none is as long
    aisle_kwh, site_kwh : more energy in a year, set in this aisle alone and wherever these settings hold;
        nan where drivers react, so that another setting is another traffic
    """

    needed_s: float
    offered_s: float
    aisle_kwh: float
    site_kwh: float


@dataclass(frozen=True)
class Moment:
    """One zone at one instant.

    Attributes
    ----------
    zone, aisle, time : where and when [s]; for aisles that share a zone, the group's name
    settings_name : of the settings in force there
    hold_s, timeout_s, second_delay_s : the timers in a row; the last is None without one
    last_start, last_end : latest detection begun by then; nan where there was none
    next_start : the detection after it, inf where there is none
    is_high, level, occupied : command, actual light, and the level that a truck should have
    low_since : when the command last went low [s], nan where it is high or never was
    is_by_border : whether it went low because the timetable changed
    guests : trucks in the aisle
    now, visit : what would have kept the light up at that instant, and through the whole of the visits;
        None where it is up, or where nothing was ever detected
    """

    zone: str
    aisle: str
    time: float
    settings_name: str
    hold_s: float
    timeout_s: float
    second_delay_s: float | None
    last_start: float
    last_end: float
    next_start: float
    is_high: bool
    level: float
    occupied: float
    low_since: float
    is_by_border: bool
    guests: tuple[Guest, ...]
    now: Cure | None
    visit: Cure | None


def explain_moment(result: Result, place: int, time: float) -> tuple[Moment, ...]:
    """Explain every zone of an aisle, or the zone of a group of aisles, at an instant, front to back.

    Parameters
    ----------
    result : of a run of one replication, or of a replay
    place : its index
    time : within the run [s]
    """
    return tuple(_explain_zone(result, zone, time) for zone in result.layout.zones_of_place(place))


def _explain_zone(result: Result, zone: int, time: float) -> Moment:
    """Explain one zone."""
    look, layout, scenario = result.close_look, result.layout, result.scenario
    place = int(layout.zone_place[zone])
    program = result.programs[place]
    period = int(np.searchsorted(program.border[1:-1], time, side="right"))
    name = own_settings(scenario, scenario.places[place][1][0], program.names[period])
    settings = scenario.lighting.settings[name]
    start, end = look.detections.of_zone(zone)
    row = int(np.searchsorted(start, time, side="right")) - 1
    levels = look.levels[zone]
    at = int(np.searchsorted(levels.start, time, side="right")) - 1
    is_high = bool(levels.is_high[at])
    downs = np.flatnonzero(~levels.is_high[1 : at + 1] & levels.is_high[:at]) + 1
    low_since = float(levels.start[downs[-1]]) if len(downs) and not is_high else math.nan
    guests = _guests(look, layout.aisles_of(place), zone, time, in_area=zone >= layout.zones_in_aisles)
    hold_s = layout.place_sensors[place].hold_s
    now = visit = None
    if not is_high and row >= 0:
        now = _cure(result, name, place, time - float(end[row]) - hold_s)
        longest = max((guest.unseen_s for guest in guests), default=0.0)
        if longest - hold_s > settings.timeout_s:
            visit = _cure(result, name, place, longest - hold_s)
    return Moment(
        zone=layout.zones[zone],
        aisle=layout.places[place],
        time=time,
        settings_name=name,
        hold_s=hold_s,
        timeout_s=settings.timeout_s,
        second_delay_s=settings.second_delay_s,
        last_start=float(start[row]) if row >= 0 else math.nan,
        last_end=float(end[row]) if row >= 0 else math.nan,
        next_start=float(start[row + 1]) if row + 1 < len(start) else math.inf,
        is_high=is_high,
        level=_light_at(levels, at, time),
        occupied=float(levels.occupied[at]),
        low_since=low_since,
        is_by_border=low_since in program.border[1:-1],
        guests=guests,
        now=now,
        visit=visit,
    )


def own_settings(scenario: Scenario, aisle: str, name: str) -> str:
    """Return the name of the settings that a timetable name stands for in an aisle or open area."""
    area = scenario.area_named(aisle)
    if area is not None and area.settings:
        return area.settings.get(name, name)
    mapped = [
        override.settings[name]
        for override in scenario.override
        if aisle in override.aisles and override.settings and name in override.settings
    ]
    return mapped[-1] if mapped else name


def _light_at(levels: Levels, at: int, time: float) -> float:
    """Actual light within one straight piece."""
    span = float(levels.end[at] - levels.start[at])
    share = (time - float(levels.start[at])) / span if span > 0.0 else 0.0
    first, last = float(levels.start_level[at]), float(levels.end_level[at])
    return first + share * (last - first)


def _guests(
    look: CloseLook, aisles: IntColumn, zone: int, time: float, *, in_area: bool
) -> tuple[Guest, ...]:
    """Trucks in the aisle or aisles, longest there first; whoever is in an open area."""
    visits = look.visits
    if visits is None or look.stays is None:
        return ()
    start, end = look.detections.of_zone(zone)
    if in_area:
        inside = look.stays.of_zone(zone)
        rows = np.flatnonzero((inside.enter <= time) & (time < inside.leave))
        spans = zip(inside.enter[rows].tolist(), inside.leave[rows].tolist(), strict=True)
        return tuple(
            Guest("", IN_THE_OPEN, enter, leave, math.nan, _longest_unseen(start, end, enter, leave))
            for enter, leave in spans
        )
    there = np.flatnonzero(
        np.isin(visits.aisle, aisles) & (visits.enter <= time) & (time < visits.leave)
    )
    return tuple(
        Guest(
            truck=visits.truck_names[visits.truck[row]],
            task=visits.task_names[visits.task[row]],
            enter=float(visits.enter[row]),
            leave=float(visits.leave[row]),
            bay_m=float(visits.bay_m[row]),
            unseen_s=_longest_unseen(start, end, float(visits.enter[row]), float(visits.leave[row])),
        )
        for row in there.tolist()
    )


def _longest_unseen(start: FloatColumn, end: FloatColumn, enter: float, leave: float) -> float:
    """Largest age of the latest motion within a visit; before any motion there is none to count from."""
    first = int(np.searchsorted(start, enter, side="right")) - 1
    last = int(np.searchsorted(start, leave, side="left"))
    longest = 0.0
    for row in range(max(first, 0), last):
        until = min(leave, float(start[row + 1]) if row + 1 < len(start) else math.inf)
        longest = max(longest, until - float(end[row]))
    return longest


def _cure(result: Result, name: str, place: int, needed_s: float) -> Cure:
    """Price a timeout for the settings in force, on the same traffic."""
    scenario = result.scenario
    needed = float(math.ceil(needed_s))
    offered = next((timeout for timeout in TIMEOUTS_S if timeout >= needed), needed)
    look = result.close_look
    if choose_engine(scenario) == "live":
        return Cure(needed, offered, math.nan, math.nan)
    base = dict(scenario.lighting.settings)
    longer = base[name].model_copy(update={"timeout_s": offered})
    energy = evaluate_settings(
        prepare_site(scenario),
        Traffic(look.visits, look.stays, look.detections, 0),
        [base, {**base, name: longer}],
        by_zone=True,
    )["energy_kwh"]
    more = (energy[:, 1] - energy[:, 0]) * DAYS_PER_YEAR / scenario.days
    own = [*result.layout.zones_of_place(place)]
    return Cure(needed, offered, math.fsum(more[own]), math.fsum(more))


@dataclass(frozen=True)
class Spell:
    """A time that one visit spent below the occupied level without a break.

    Attributes
    ----------
    aisle, truck, task : by name
    start, end : [s]
    enter, leave : of the visit [s]
    least_level : lowest light in it
    """

    aisle: str
    truck: str
    task: str
    start: float
    end: float
    enter: float
    leave: float
    least_level: float


def find_worst_spells(result: Result, count: int, place: int | None = None) -> tuple[Spell, ...]:
    """Return the longest dim spells, the worst first; of one aisle or group of aisles, or of all.

    Parameters
    ----------
    result : of a run of one replication, or of a replay
    count : how many
    place : its index, None for all
    """
    look, layout = result.close_look, result.layout
    visits, stays = look.visits, look.stays
    if visits is None or stays is None:
        return ()
    pieces: dict[int, list[tuple[float, float, float]]] = {}
    spans: dict[int, tuple[str, float, float]] = {}
    for zone, home in enumerate(layout.zone_place.tolist()):
        if place is not None and home != place:
            continue
        dim_start, dim_end, least = _dim_times(look.levels[zone])
        inside = stays.of_zone(zone)
        for visit, enter, leave in zip(
            inside.visit.tolist(), inside.enter.tolist(), inside.leave.tolist(), strict=True
        ):
            if zone >= layout.zones_in_aisles:
                name, since, until = spans.get(visit, (layout.zones[zone], enter, leave))
                spans[visit] = (name, min(since, enter), max(until, leave))
            first = int(np.searchsorted(dim_end, enter, side="right"))
            last = int(np.searchsorted(dim_start, leave, side="left"))
            for row in range(first, last):
                begun, over = max(enter, float(dim_start[row])), min(leave, float(dim_end[row]))
                pieces.setdefault(visit, []).append((begun, over, float(least[row])))
    spells = [
        _spell(result, visits, visit, *one) if visit < len(visits) else _open_spell(spans[visit], *one)
        for visit, own in pieces.items()
        for one in _join(own)
    ]
    spells.sort(key=lambda spell: (spell.start - spell.end, spell.start))
    return tuple(spells[:count])


def _dim_times(levels: Levels) -> tuple[FloatColumn, FloatColumn, FloatColumn]:
    """When a zone was below its occupied level, without a break, and how low it was."""
    low_start, low_end = levels.start_level < levels.occupied, levels.end_level < levels.occupied
    rise = levels.end_level - levels.start_level
    share = np.divide(levels.occupied - levels.start_level, rise, out=np.zeros_like(rise), where=rise != 0.0)
    crossing = levels.start + np.clip(share, 0.0, 1.0) * (levels.end - levels.start)
    begin = np.where(low_start, levels.start, crossing)
    over = np.where(low_end, levels.end, crossing)
    is_dim = (low_start | low_end) & (over > begin)
    begin, over = begin[is_dim], over[is_dim]
    least = np.minimum(levels.start_level, levels.end_level)[is_dim]
    if not len(begin):
        return begin, over, least
    heads = np.flatnonzero(np.append(True, begin[1:] > over[:-1]))
    return begin[heads], over[np.append(heads[1:], len(begin)) - 1], np.minimum.reduceat(least, heads)


def _join(pieces: Sequence[tuple[float, float, float]]) -> list[tuple[float, float, float]]:
    """Join the pieces of a visit that touch where it crosses from zone to zone."""
    joined: list[tuple[float, float, float]] = []
    for begun, over, least in sorted(pieces):
        if joined and begun <= joined[-1][1]:
            before = joined[-1]
            joined[-1] = (before[0], max(before[1], over), min(before[2], least))
        else:
            joined.append((begun, over, least))
    return joined


def _spell(result: Result, visits: Visits, visit: int, begun: float, over: float, least: float) -> Spell:
    """Name everything about one spell."""
    return Spell(
        aisle=result.layout.aisles[visits.aisle[visit]],
        truck=visits.truck_names[visits.truck[visit]],
        task=visits.task_names[visits.task[visit]],
        start=begun,
        end=over,
        enter=float(visits.enter[visit]),
        leave=float(visits.leave[visit]),
        least_level=least,
    )


def _open_spell(span: tuple[str, float, float], begun: float, over: float, least: float) -> Spell:
    """Say what is known of one spell in an open area."""
    name, enter, leave = span
    return Spell(name, "", IN_THE_OPEN, begun, over, enter, leave, least)
