"""Contradictions in the traffic: who does what, with which trucks, in which aisles.

Comes in: the valid parts of a scenario.  Goes out: problems.  Part of `scenario/contradictions`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from sim.scenario.faults import Problem
from sim.scenario.parts import Parts
from sim.scenario.positions import Key
from sim.scenario.site_checks import repeated
from sim.wording import nearest_text

__all__ = ["TRAFFIC_CHECKS"]

_SKEW_KEYS = ("aisle_skew", "top_20pct_share", "aisle_shares")
_SHARES_TOLERANCE = 1e-6


def check_names(parts: Parts) -> Iterator[Problem]:
    """Truck groups and streams of work have names of their own."""
    for section, tables in (("trucks", parts.trucks), ("work", parts.work)):
        positions = list(tables)
        for name, found in repeated([table.name for table in tables.values()]).items():
            for again in found[1:]:
                path: Key = (section, positions[again], "name")
                yield Problem(path, f'the name "{name}" stands more than once in [[{section}]]')


def check_truck_names(parts: Parts) -> Iterator[Problem]:
    """Shifts and work may only name truck groups that are there."""
    known = parts.truck_names
    if known is None:
        return
    wanted = [(("shifts", position, "trucks"), shift.trucks) for position, shift in parts.shifts.items()]
    for position, work in parts.work.items():
        wanted += [(("work", position, "trucks"), name) for name in work.trucks or ()]
        for name in repeated(work.trucks or ()):
            yield Problem(("work", position, "trucks"), f'the group "{name}" stands more than once')
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
    for position, work in parts.work.items():
        if not parts.trucks:
            yield Problem(("work", position), "there is work but no [[trucks]] to do it")
            continue
        if set(work.trucks or ()) - set(parts.truck_names):
            continue
        able = set(work.trucks or parts.truck_names)
        if not able & on_shift:
            yield Problem(
                ("work", position),
                f"no [[shifts]] has drivers for the trucks that may do it: {', '.join(sorted(able))}",
            )


def check_aisle_choice(parts: Parts) -> Iterator[Problem]:
    """The skew over aisles is given in one way; a table of shares fits the aisles and sums to 1."""
    for position, work in parts.work.items():
        given = [key for key in _SKEW_KEYS if getattr(work, key) is not None]
        if len(given) > 1:
            yield Problem(
                ("work", position, given[1]),
                f"stands beside {given[0]}; allowed: at most one of {', '.join(_SKEW_KEYS)}",
            )
        if work.aisle_shares is None:
            continue
        path = ("work", position, "aisle_shares")
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
