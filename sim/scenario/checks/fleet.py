"""Contradictions about trucks and their work: kinds, aisles to enter, tiers to reach, batteries, tours.

Comes in: the valid parts of a scenario.  Goes out: problems.  Part of `scenario/checks/contradictions`;
before: `scenario/checks/traffic`.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

from sim.scenario.checks.site import repeated
from sim.scenario.checks.traffic import able_groups, streams
from sim.scenario.faults import Problem
from sim.scenario.parts import Parts, aisles_text
from sim.scenario.schema import Shift, Trucks, Work, seconds_of_day
from sim.scenario.tables.traffic import Placing
from sim.wording import nearest_text

__all__ = ["FLEET_CHECKS", "is_default", "shift_length_s"]

_DAY = 86_400
_SUM_TOLERANCE = 1e-6
_ONLY_FOR = {
    "lines_per_tour": ("tour",),
    "routing": ("tour",),
    "dwell_mean_s": ("walk", "tour"),
    "dwell_cv": ("walk", "tour"),
    "dwell_median_s": ("walk", "tour"),
    "dwell_spread": ("walk", "tour"),
    "through": ("walk",),
}
_CHARGING = ("charge_h", "change_mean_s", "change_cv", "charge_at", "chargers")


def shift_length_s(shift: Shift) -> int:
    """Return the length of a shift [s]."""
    return (seconds_of_day(shift.to) - seconds_of_day(shift.from_)) % _DAY or _DAY


def check_floor(parts: Parts) -> Iterator[Problem]:
    """A list of widths has one for each aisle; tiers have a height."""
    floor = parts.floor
    if floor is None or parts.aisle_names is None:
        return
    pitches, count = floor.aisle_pitch_m, len(parts.aisle_names)
    if isinstance(pitches, tuple) and len(pitches) != count:
        yield Problem(
            ("floor", "aisle_pitch_m"),
            f"has {len(pitches)} widths for {count} aisles; allowed: one number [m], or {count} numbers",
        )
    if floor.tiers > 1 and floor.tier_height_m == 0.0:
        yield Problem(("floor", "tiers"), f"{floor.tiers} tiers need a tier_height_m [m] above 0")


def check_work_keys(parts: Parts) -> Iterator[Problem]:
    """Keys of tours and walks stand only there, and what they need is there."""
    for position, work in parts.work.items():
        for key, kinds in _ONLY_FOR.items():
            if work.kind not in kinds and not is_default(work, key):
                allowed = " or ".join(f'"{kind}"' for kind in kinds)
                yield Problem(("work", position, key), f'is only for kind = {allowed}; this is "{work.kind}"')
        if work.kind == "tour" and work.lines_per_tour is None:
            yield Problem(("work", position), "a tour needs lines_per_tour, its number of picks")
        if work.kind == "walk" and work.dwell_mean_s is None and work.dwell_median_s is None:
            yield Problem(
                ("work", position),
                "a walk needs dwell_mean_s [s], the time at its place, or its median dwell_median_s",
            )


def is_default(table: Work | Trucks, key: str) -> bool:
    """Say whether a key has its default, as in a resolved file."""
    return bool(getattr(table, key) == type(table).model_fields[key].default)


def check_kinds(parts: Parts) -> Iterator[Problem]:
    """Walks are done on foot, pallets are moved by trucks; people have no type of truck."""
    kinds = {trucks.name: trucks.kind for trucks in parts.trucks.values()}
    for path, stream in streams(parts):
        is_walk = isinstance(stream, Work) and stream.kind == "walk"
        may_walk = is_walk or (isinstance(stream, Work) and stream.kind == "tour")
        for name in stream.trucks or ():
            if is_walk and kinds.get(name) == "truck":
                yield Problem((*path, "trucks"), f'"{name}" are trucks; a walk is done by kind = "walker"')
            elif not may_walk and kinds.get(name) == "walker":
                yield Problem((*path, "trucks"), f'"{name}" walk; pallets are moved by trucks')
    for position, trucks in parts.trucks.items():
        if trucks.kind == "walker" and trucks.type is not None:
            yield Problem(("trucks", position, "type"), f'walkers are no trucks of type "{trucks.type}"')


def check_aisles_of_groups(parts: Parts) -> Iterator[Problem]:
    """Groups name aisles that are there."""
    for position, trucks in parts.trucks.items():
        for number, name in enumerate(trucks.aisles or ()):
            if parts.aisle_names is not None and name not in parts.aisle_names:
                near = nearest_text(name, parts.aisle_names)
                yield Problem(("trucks", position, "aisles", number), f'there is no aisle "{name}"{near}')
        for name in repeated(trucks.aisles or ()):
            yield Problem(("trucks", position, "aisles"), f'the aisle "{name}" stands more than once')
        if trucks.name in (trucks.not_with or ()):
            yield Problem(
                ("trucks", position, "not_with"),
                "names the group itself; for one of them in an aisle at a time write aisle_capacity = 1",
            )


def _worked(parts: Parts, stream: Placing) -> list[str]:
    """Aisles that a stream goes to."""
    names = parts.aisle_names or ()
    if stream.aisle_shares is None or len(stream.aisle_shares) != len(names):
        return list(names)
    return [name for name, share in zip(names, stream.aisle_shares, strict=True) if share > 0.0]


def check_access(parts: Parts) -> Iterator[Problem]:
    """Every aisle with work may be entered by a group that does the work; no group is left without one."""
    if parts.truck_names is None or "trucks" in parts.faulty or parts.aisle_names is None:
        return
    entry = {
        trucks.name: None if trucks.aisles is None else set(trucks.aisles) for trucks in parts.trucks.values()
    }
    if all(aisles is None for aisles in entry.values()):
        return
    useful: set[str] = set()
    wanted: set[str] = set()
    for path, stream in streams(parts):
        able = able_groups(parts, stream)
        if not able or able - set(entry):
            continue
        worked = _worked(parts, stream)
        wanted |= able
        useful |= {name for name in able if entry[name] is None or set(worked) & (entry[name] or set())}
        groups = {
            aisle: frozenset(name for name in able if entry[name] is None or aisle in (entry[name] or ()))
            for aisle in worked
        }
        closed = [aisle for aisle in worked if not groups[aisle]]
        if closed:
            yield Problem(
                path,
                f"no group that may do it ({', '.join(sorted(able))}) may enter {aisles_text(closed)}; "
                "add them to the group's aisles, or give them a share of 0 in aisle_shares",
            )
        elif (
            isinstance(stream, Work)
            and stream.kind == "tour"
            and not frozenset.intersection(*groups.values())
        ):
            yield Problem(
                path,
                f"a tour may visit any of its {len(worked)} aisles, and no group that may do it "
                f"({', '.join(sorted(able))}) may enter them all",
            )
        elif isinstance(stream, Work) and stream.kind == "replenish":
            apart = next(
                (
                    (one, other)
                    for one, other in itertools.combinations(dict.fromkeys(groups.values()), 2)
                    if not one & other
                ),
                None,
            )
            if apart is not None:
                ends = [next(aisle for aisle in worked if groups[aisle] == group) for group in apart]
                yield Problem(
                    path, f"a move from {ends[0]} to {ends[1]} is possible, and no group may enter both"
                )
    for position, trucks in parts.trucks.items():
        if trucks.name in wanted - useful:
            yield Problem(
                ("trucks", position, "aisles"),
                f'"{trucks.name}" may enter no aisle that its work goes to; allow it one, or leave the group '
                "out of the work",
            )


def check_tiers(parts: Parts) -> Iterator[Problem]:
    """Work uses tiers that are there and that its trucks reach."""
    floor = parts.floor
    if floor is None:
        return
    groups = {trucks.name: trucks for trucks in parts.trucks.values()}
    for path, stream in streams(parts):
        if isinstance(stream, Work) and stream.kind == "walk":
            continue
        if stream.tiers is not None and stream.tiers > floor.tiers:
            yield Problem((*path, "tiers"), f"{stream.tiers} is more than the floor's tiers = {floor.tiers}")
            continue
        tiers = floor.tiers if stream.tiers is None else stream.tiers
        top_m = (tiers - 1) * floor.tier_height_m
        for name in sorted(able_groups(parts, stream) & set(groups)):
            reach = groups[name].lift_height_m
            if reach is not None and reach < top_m:
                fits = int(reach / floor.tier_height_m) + 1
                yield Problem(
                    path,
                    f'"{name}" reach {reach:g} m, and the highest of {tiers} tiers lies at {top_m:g} m; '
                    f"write tiers = {fits}, raise lift_height_m [m], or name other groups in trucks",
                )


def check_classes(parts: Parts) -> Iterator[Problem]:
    """Classes of places hold all places and all moves, and stand alone."""
    for path, stream in streams(parts):
        if stream.bay_classes is None:
            continue
        for column, what in enumerate(("places", "moves")):
            total = math.fsum(row[column] for row in stream.bay_classes)
            if abs(total - 1.0) > _SUM_TOLERANCE:
                yield Problem(
                    (*path, "bay_classes"),
                    f"the shares of {what} sum to {total:.10g}; allowed: 1, within {_SUM_TOLERANCE:g}",
                )
        if stream.bay_skew:
            yield Problem((*path, "bay_classes"), "stands beside bay_skew; allowed: only one of them")


def check_batteries(parts: Parts) -> Iterator[Problem]:
    """A battery is either charged or changed."""
    for position, trucks in parts.trucks.items():
        given = [key for key in _CHARGING if not is_default(trucks, key)]
        if trucks.battery_h is None:
            if given:
                yield Problem(("trucks", position, given[0]), "needs battery_h [h], the work on one battery")
        elif (trucks.charge_h is None) == (trucks.change_mean_s is None):
            yield Problem(
                ("trucks", position, "battery_h"),
                "an empty battery is charged or changed: give either charge_h [h] or change_mean_s [s]",
            )
        elif trucks.charge_h is not None and trucks.change_cv:
            yield Problem(("trucks", position, "change_cv"), "is for batteries that are changed, not charged")


def check_break_groups(parts: Parts) -> Iterator[Problem]:
    """Breaks that groups take one after the other end inside the shift and before the next break."""
    for position, shift in parts.shifts.items():
        if shift.break_groups == 1 or seconds_of_day(shift.from_) == seconds_of_day(shift.to):
            continue
        if shift.break_groups > shift.crew:
            yield Problem(
                ("shifts", position, "break_groups"),
                f"{shift.break_groups} groups of {shift.crew} drivers; allowed: at most {shift.crew}",
            )
            continue
        if not shift.breaks:
            yield Problem(
                ("shifts", position, "break_groups"),
                f"{shift.break_groups} groups, and the shift has no breaks; state breaks, or leave it out",
            )
            continue
        begin, length = seconds_of_day(shift.from_), shift_length_s(shift)
        spans = []
        for number, (start, end) in enumerate(shift.breaks):
            first = (seconds_of_day(start) - begin) % _DAY
            span = (seconds_of_day(end) - seconds_of_day(start)) % _DAY
            spans.append((first, first + shift.break_groups * span, number))
        spans.sort()
        following = [first for first, _, _ in spans[1:]] + [length]
        for (_, until, number), limit in zip(spans, following, strict=True):
            if until > limit:
                what = "the next break" if limit < length else "the end of the shift"
                yield Problem(
                    ("shifts", position, "breaks", number),
                    f"{shift.break_groups} groups one after the other need it until "
                    f"{(until - limit) / 60.0:g} min after {what}; fewer break_groups, or a shorter break",
                )


def check_tour_length(parts: Parts) -> Iterator[Problem]:
    """A tour is shorter than the shifts of those who do it."""
    if parts.floor is None or "shifts" in parts.faulty or parts.aisle_names is None:
        return
    lengths = parts.floor.aisle_length_m
    mean_m = lengths if isinstance(lengths, float | int) else math.fsum(lengths) / len(lengths)
    groups = {trucks.name: trucks for trucks in parts.trucks.values()}
    for position, work in parts.work.items():
        if work.kind != "tour" or work.lines_per_tour is None:
            continue
        able = [groups[name] for name in sorted(able_groups(parts, work) & set(groups))]
        shifts = [shift for shift in parts.shifts.values() if shift.trucks in {group.name for group in able}]
        if not able or not shifts:
            continue
        aisles = len(_worked(parts, work))
        visited = aisles * (1.0 - (1.0 - 1.0 / aisles) ** work.lines_per_tour) if aisles else 0.0
        way_m = 0.0 if work.routing == "shortest" else visited * mean_m
        takes = min(_tour_s(trucks, work, way_m) for trucks in able)
        longest = max(map(shift_length_s, shifts))
        if takes > longest:
            yield Problem(
                ("work", position, "lines_per_tour"),
                f"{work.lines_per_tour} picks take about {takes / 3600.0:.1f} h, and the longest shift of "
                f"those who do them has {longest / 3600.0:g} h; fewer lines, or shorter handling",
            )


def _tour_s(trucks: Trucks, work: Work, way_m: float) -> float:
    """Least time of a tour: its picks, and the aisles visited from end to end [s].

    M (1 - (1 - 1/M)^n) aisles are visited by n lines (classical occupancy), at most as many as alike ones.
    """
    pick_s = trucks.handling_mean_s
    if work.dwell_median_s is not None:
        pick_s = work.dwell_median_s
    elif work.dwell_mean_s is not None:
        pick_s = work.dwell_mean_s
    return (work.lines_per_tour or 0) * pick_s + way_m / trucks.speed_laden_m_per_s


FLEET_CHECKS = (
    check_floor,
    check_work_keys,
    check_kinds,
    check_aisles_of_groups,
    check_access,
    check_tiers,
    check_classes,
    check_batteries,
    check_break_groups,
    check_tour_length,
)
