"""Contradictions in the traffic: who does what, with which trucks, in which aisles.

Comes in: the valid parts of a scenario.  Goes out: problems.  Part of `scenario/checks/contradictions`;
before: `scenario/parts`; after: `scenario/checks/fleet`, `scenario/checks/dock`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from sim.scenario.checks.site import repeated
from sim.scenario.faults import Problem
from sim.scenario.parts import Parts
from sim.scenario.positions import Key
from sim.scenario.schema import Inbound, Work
from sim.scenario.tables.traffic import Placing
from sim.wording import nearest_text

__all__ = ["STREAM_SECTIONS", "TRAFFIC_CHECKS", "able_groups", "streams", "unloaders"]

STREAM_SECTIONS = ("work", "inbound", "outbound")

_SKEW_KEYS = ("aisle_skew", "top_20pct_share", "aisle_shares")
_SHARES_TOLERANCE = 1e-6


def streams(parts: Parts) -> Iterator[tuple[Key, Placing]]:
    """Yield path and table of every stream of moves: work, inbound, outbound."""
    for position, work in parts.work.items():
        yield ("work", position), work
    for section in STREAM_SECTIONS[1:]:
        for position, stream in parts.lists[section].items():
            assert isinstance(stream, Placing)
            yield (section, position), stream


def unloaders(parts: Parts) -> set[str]:
    """Return the truck groups that unload trailers."""
    tables = parts.lists["inbound"].values()
    return {name for table in tables if isinstance(table, Inbound) for name in table.unload_trucks or ()}


def able_groups(parts: Parts, stream: Placing) -> set[str]:
    """Return the groups that may do a stream's moves, aisles and tiers apart."""
    if stream.trucks is not None:
        return set(stream.trucks)
    kind = "walker" if isinstance(stream, Work) and stream.kind == "walk" else "truck"
    return {trucks.name for trucks in parts.trucks.values() if trucks.kind == kind} - unloaders(parts)


def check_names(parts: Parts) -> Iterator[Problem]:
    """Truck groups and streams of work have names of their own."""
    names: list[tuple[Key, str]] = [((*path, "name"), stream.name) for path, stream in streams(parts)]
    groups: list[tuple[Key, str]] = [
        (("trucks", position, "name"), trucks.name) for position, trucks in parts.trucks.items()
    ]
    for tables in (groups, names):
        for name, found in repeated([name for _, name in tables]).items():
            first = tables[found[0]][0][0]
            for again in found[1:]:
                path = tables[again][0]
                where = f"in [[{first}]]" if path[0] == first else f"in [[{first}]] and [[{path[0]}]]"
                yield Problem(path, f'the name "{name}" stands more than once {where}')


def check_truck_names(parts: Parts) -> Iterator[Problem]:
    """Shifts and work may only name truck groups that are there."""
    known = parts.truck_names
    if known is None:
        return
    wanted: list[tuple[Key, str]] = [
        (("shifts", position, "trucks"), shift.trucks) for position, shift in parts.shifts.items()
    ]
    lists: list[tuple[Key, tuple[str, ...]]] = [
        ((*path, "trucks"), stream.trucks) for path, stream in streams(parts) if stream.trucks is not None
    ]
    for position, stream in parts.lists["inbound"].items():
        if isinstance(stream, Inbound) and stream.unload_trucks is not None:
            lists.append((("inbound", position, "unload_trucks"), stream.unload_trucks))
    for position, trucks in parts.trucks.items():
        if trucks.not_with is not None:
            lists.append((("trucks", position, "not_with"), trucks.not_with))
    for path, names in lists:
        wanted += [(path, name) for name in names]
        for name in repeated(names):
            yield Problem(path, f'the group "{name}" stands more than once')
    for path, name in wanted:
        if name not in known:
            near = nearest_text(name, known) or "; there are no [[trucks]]"
            yield Problem(path, f'there is no truck group "{name}"{near}')


def check_crews(parts: Parts) -> Iterator[Problem]:
    """A shift has no more drivers than its group has trucks."""
    counts: dict[str, int] = {}
    for group in parts.trucks.values():
        counts.setdefault(group.name, group.count)
    for position, shift in parts.shifts.items():
        count = counts.get(shift.trucks, shift.crew)
        if shift.crew > count:
            yield Problem(
                ("shifts", position, "crew"),
                f'{shift.crew} drivers for {count} "{shift.trucks}" trucks; allowed: at most {count}',
            )


def check_work_is_done(parts: Parts) -> Iterator[Problem]:
    """Every stream of work has a shift whose trucks may do it."""
    on_shift = {shift.trucks for shift in parts.shifts.values()}
    if parts.truck_names is None or parts.faulty & {"shifts", "trucks"} or on_shift - {*parts.truck_names}:
        return
    for path, stream in streams(parts):
        if not parts.trucks:
            yield Problem(path, "there is work but no [[trucks]] to do it")
            continue
        if set(stream.trucks or ()) - set(parts.truck_names):
            continue
        able = able_groups(parts, stream)
        if not able:
            kind = "walkers" if isinstance(stream, Work) and stream.kind == "walk" else "trucks"
            yield Problem(
                path, f"there are no {kind} to do it; add a group to [[trucks]], or name one in its trucks"
            )
        elif not able & on_shift:
            yield Problem(
                path,
                f"no [[shifts]] has drivers for the trucks that may do it: {', '.join(sorted(able))}",
            )


def check_aisle_choice(parts: Parts) -> Iterator[Problem]:
    """The skew over aisles is given in one way; a table of shares fits the aisles and sums to 1."""
    for where, work in streams(parts):
        given = [key for key in _SKEW_KEYS if getattr(work, key) is not None]
        if len(given) > 1:
            yield Problem(
                (*where, given[1]),
                f"stands beside {given[0]}; allowed: at most one of {', '.join(_SKEW_KEYS)}",
            )
        if work.aisle_shares is None:
            continue
        path = (*where, "aisle_shares")
        total = math.fsum(work.aisle_shares)
        if abs(total - 1.0) > _SHARES_TOLERANCE:
            yield Problem(path, f"the shares sum to {total:.10g}; allowed: 1, within {_SHARES_TOLERANCE:g}")
        count = len(work.aisle_shares)
        if parts.aisle_names is not None and count != len(parts.aisle_names):
            yield Problem(
                path, f"has {count} shares for {len(parts.aisle_names)} aisles; allowed: one for each aisle"
            )


TRAFFIC_CHECKS = (
    check_names,
    check_truck_names,
    check_crews,
    check_work_is_done,
    check_aisle_choice,
)
