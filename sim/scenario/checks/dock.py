"""Contradictions at the dock: trailers, doors, who unloads, more of them than can be turned.

Comes in: the valid parts of a scenario.  Goes out: problems.  Part of `scenario/checks/contradictions`;
before: `scenario/checks/fleet`.
"""

from __future__ import annotations

from collections.abc import Iterator

from sim.scenario.checks.fleet import shift_length_s
from sim.scenario.checks.site import repeated
from sim.scenario.checks.traffic import streams
from sim.scenario.faults import Problem
from sim.scenario.parts import Parts
from sim.scenario.positions import Key
from sim.scenario.schema import Inbound, Outbound

__all__ = ["DOCK_CHECKS"]

_WEEK_S = 604_800.0


def _trailers(parts: Parts) -> Iterator[tuple[Key, Inbound | Outbound]]:
    """Yield path and table of every stream of trailers."""
    for path, stream in streams(parts):
        if isinstance(stream, Inbound | Outbound):
            yield path, stream


def check_trailer_keys(parts: Parts) -> Iterator[Problem]:
    """How trailers come and who unloads them is said in one way; waves fit before their departure."""
    for path, stream in _trailers(parts):
        for number, clock in enumerate(stream.at or ()):
            if (stream.at or ()).index(clock) < number:
                yield Problem((*path, "at", number), f'"{clock}" stands more than once')
        if isinstance(stream, Outbound):
            if stream.spread_s > stream.wave_s:
                yield Problem(
                    (*path, "spread_s"),
                    f"{stream.spread_s:g} s is longer than wave_s = {stream.wave_s:g} s: moves would arise "
                    "after the departure; allowed: at most wave_s",
                )
            continue
        if (stream.at is None) == (stream.per_hour is None):
            yield Problem(path, "say how trailers come: by at (a timetable) or by per_hour (at random)")
        if (stream.pallet_s is None) == (stream.unload_trucks is None):
            yield Problem(path, "say who unloads: unload_trucks, or pallet_s [s] for hands not modelled")
        if stream.unload_m and stream.unload_trucks is None:
            yield Problem((*path, "unload_m"), "is the way of unload_trucks; without them leave it out")


def check_doors(parts: Parts) -> Iterator[Problem]:
    """Trailers use doors that are there."""
    if parts.floor is None:
        return
    doors = parts.floor.dock_doors
    for path, stream in _trailers(parts):
        for place, number in enumerate(stream.doors or ()):
            if number > doors:
                yield Problem((*path, "doors", place), f"there is no door {number}; allowed: 1 to {doors}")
        for name in repeated([str(number) for number in stream.doors or ()]):
            yield Problem((*path, "doors"), f"the door {name} stands more than once")


def check_unloaders(parts: Parts) -> Iterator[Problem]:
    """Groups that unload are trucks with shifts and do nothing else."""
    kinds = {trucks.name: trucks.kind for trucks in parts.trucks.values()}
    on_shift = {shift.trucks for shift in parts.shifts.values()}
    taken: dict[str, str] = {}
    for path, stream in _trailers(parts):
        if not isinstance(stream, Inbound):
            continue
        for name in stream.unload_trucks or ():
            taken.setdefault(name, stream.name)
            if kinds.get(name) == "walker":
                yield Problem((*path, "unload_trucks"), f'"{name}" walk; trailers are unloaded by trucks')
            elif name in kinds and "shifts" not in parts.faulty and name not in on_shift:
                yield Problem((*path, "unload_trucks"), f'no [[shifts]] has drivers for "{name}"')
    for path, mover in streams(parts):
        for name in mover.trucks or ():
            if name in taken:
                yield Problem(
                    (*path, "trucks"),
                    f'"{name}" unload the trailers of "{taken[name]}" and do nothing else; name '
                    "another group, or make two groups of them",
                )


def _per_week(stream: Inbound | Outbound) -> float:
    """Trailers a week."""
    if stream.at is not None:
        return float(len(stream.at) * len(set(stream.days)))
    assert isinstance(stream, Inbound)
    rate = stream.per_hour or 0.0
    a_day = sum(rate) if isinstance(rate, tuple) else 24.0 * rate
    return a_day * len(set(stream.days))


def _pallet_s(parts: Parts, stream: Inbound) -> float:
    """Mean time of unloading one pallet by the quickest group [s]."""
    if stream.unload_trucks is None:
        return stream.pallet_s or 0.0
    return min(
        (
            2.0 * trucks.handling_mean_s
            + stream.unload_m * (1.0 / trucks.speed_empty_m_per_s + 1.0 / trucks.speed_laden_m_per_s)
            for trucks in parts.trucks.values()
            if trucks.name in stream.unload_trucks
        ),
        default=0.0,
    )


def check_turns(parts: Parts) -> Iterator[Problem]:
    """The doors can take all trailers of a week, and those who unload can unload them."""
    if parts.floor is None or parts.faulty & {"inbound", "outbound", "trucks"}:
        return
    every = frozenset(range(1, parts.floor.dock_doors + 1))
    trailers = list(_trailers(parts))
    doors = {path: frozenset(stream.doors or every) for path, stream in trailers}
    for wanted in dict.fromkeys(doors.values()):
        needed, first = 0.0, None
        for path, stream in trailers:
            if doors[path] <= wanted:
                first = first or path
                stay = (
                    stream.wave_s
                    if isinstance(stream, Outbound)
                    else stream.pallets * _pallet_s(parts, stream) + stream.change_s
                )
                needed += _per_week(stream) * stay
        if first is not None and needed >= len(wanted) * _WEEK_S:
            have = f"{len(wanted)} doors have" if len(wanted) > 1 else "1 door has"
            yield Problem(
                first,
                f"more trailers than the doors can turn: they would stand there {needed / 3600.0:,.0f} h a "
                f"week, and {have} {len(wanted) * 168:,} h; fewer trailers, more doors or quicker "
                "unloading",
            )
    yield from _check_unloading(parts)


def _check_unloading(parts: Parts) -> Iterator[Problem]:
    """The hours of those who unload suffice for a week's pallets."""
    if "shifts" in parts.faulty:
        return
    groups: dict[frozenset[str], tuple[Key, float]] = {}
    for path, stream in _trailers(parts):
        if isinstance(stream, Inbound) and stream.unload_trucks is not None:
            key = frozenset(stream.unload_trucks)
            where, needed = groups.get(key, (path, 0.0))
            groups[key] = (where, needed + _per_week(stream) * stream.pallets * _pallet_s(parts, stream))
    for names, (where, needed) in groups.items():
        hours = sum(
            shift.crew * shift_length_s(shift) * len(set(shift.days))
            for shift in parts.shifts.values()
            if shift.trucks in names
        )
        if hours and needed > hours:
            yield Problem(
                (*where, "unload_trucks"),
                f"unloading a week's pallets takes {needed / 3600.0:,.0f} truck-hours, and the shifts of "
                f"{', '.join(sorted(names))} have {hours / 3600.0:,.0f}; more drivers, or fewer trailers",
            )


DOCK_CHECKS = (check_trailer_keys, check_doors, check_unloaders, check_turns)
