"""The settings a controller offers: timeouts in usual steps, levels of the standard dimming curve.

Comes in: a scenario with its `[recommend]` table.  Goes out: candidate settings by timetable name, and which
of them each aisle may have.  Before: `scenario`, `lighting/dali`; after: `study/decide/wish`,
`study/decide/recommend`.
"""

from __future__ import annotations

import bisect
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.lighting.dali import LARGEST_LEVEL, light_of_level, nearest_level
from sim.scenario.schema import Recommend, Scenario, Settings

__all__ = [
    "LEVEL_SHARES",
    "TIMEOUTS_S",
    "Offer",
    "candidate_settings",
    "egress_aisles",
    "floor_share",
    "level_at_least",
    "names_in_force",
    "offer",
    "standard_levels",
]

TIMEOUTS_S: tuple[float, ...] = (
    30.0,
    60.0,
    90.0,
    120.0,
    180.0,
    240.0,
    300.0,
    420.0,
    600.0,
    900.0,
    1200.0,
    1800.0,
)
"""30 s to 30 min in usual steps (common practice, no source)."""
LEVEL_SHARES: tuple[float, ...] = (0.1, 0.2, 0.3, 0.4, 0.5)
"""Unoccupied levels whose nearest standard level is offered (common practice, no source)."""


def standard_levels(*, are_commands: bool) -> tuple[float, ...]:
    """Return the levels 0 (off) to 254 (full) of IEC 62386-102 as settings take them.

    Parameters
    ----------
    are_commands : levels are commands, 254ths of the range, not shares of light

    Examples
    --------
    >>> ladder = standard_levels(are_commands=False)
    >>> round(ladder[229], 4), ladder[254], ladder[0], standard_levels(are_commands=True)[127]
    (0.5053, 1.0, 0.0, 0.5)
    """
    numbers = range(LARGEST_LEVEL + 1)
    if are_commands:
        return tuple(number / LARGEST_LEVEL for number in numbers)
    return tuple(min(1.0, light_of_level(number)) for number in numbers)


def level_at_least(floor: float, ladder: Sequence[float]) -> float:
    """Return the lowest of ascending levels that is not below a floor.

    >>> round(level_at_least(0.10, standard_levels(are_commands=False)), 4)
    0.1009
    """
    return ladder[bisect.bisect_left(ladder, floor)]


def names_in_force(scenario: Scenario) -> tuple[str, ...]:
    """Return the names for settings that the timetable and its exception dates use, in their order."""
    rows = [row.settings for row in scenario.timetable]
    rows += [row.settings for row in scenario.exceptions or () if row.settings is not None]
    return tuple(dict.fromkeys(rows))


def floor_share(scenario: Scenario, table: Recommend, aisle: str, name: str) -> float | None:
    """Return the lowest unoccupied level allowed in an aisle under a timetable name, None if not stated.

    The highest of the stated floors counts; one in lux is taken to the aisle's light at full level.
    """
    full_lux = scenario.luminaires_of(aisle).floor_lux_at_full
    floors: list[float] = []
    stated = [
        (_of_name(table.unoccupied_floor_share, name), 1.0),
        (_of_name(table.unoccupied_floor_lux, name), full_lux),
    ]
    if aisle in (egress_aisles(scenario, table) or ()):
        stated += [(table.egress_floor_share, 1.0), (table.egress_floor_lux, full_lux)]
    for value, scale in stated:
        if value is not None and scale is not None:
            floors.append(value / scale)
    return max(floors) if floors else None


def egress_aisles(scenario: Scenario, table: Recommend) -> tuple[str, ...] | None:
    """Return the aisles declared to be marked ways out, here or among the statements; None if nowhere."""
    if table.egress_aisles is None and scenario.statements is not None:
        return scenario.statements.egress_aisles
    return table.egress_aisles


def _of_name(stated: float | Mapping[str, float] | None, name: str) -> float | None:
    """One number for all settings, or the one of this name."""
    return stated.get(name) if isinstance(stated, Mapping) else stated


def candidate_settings(
    scenario: Scenario, table: Recommend, name: str, floors: Sequence[float]
) -> tuple[Settings, ...]:
    """Return what may be set under one timetable name, by level, then timeout.

    Fades and a second delay stay as they are.  Without listed levels, the standard levels nearest to the
    usual shares are offered, and for each floor the lowest one that keeps it.

    Parameters
    ----------
    scenario, table : the site and its wishes
    name : the timetable's name
    floors : the distinct floors of the aisles
    """
    base = scenario.lighting.settings[name]
    occupied = _occupied_level(scenario, table, base)
    ladder = _ladder(scenario)
    levels = set(table.levels or (ladder[nearest_level(share)] for share in LEVEL_SHARES))
    if table.levels is None:
        levels |= {level_at_least(floor, ladder) for floor in floors if floor <= 1.0}
    lowest = max(min(floors), base.second_level or 0.0)
    return tuple(
        base.model_copy(
            update={"timeout_s": float(timeout), "unoccupied_level": level, "occupied_level": occupied}
        )
        for level in sorted(levels)
        if lowest <= level <= occupied
        for timeout in sorted({*(table.timeouts_s or TIMEOUTS_S)})
    )


def _occupied_level(scenario: Scenario, table: Recommend, base: Settings) -> float:
    """Keep the occupied level, or take the lowest standard one that gives the light wanted in every aisle.

    It is kept where nobody said how much light an aisle has; that is refused afterwards, with all the rest.
    """
    stated = [scenario.luminaires_of(name).floor_lux_at_full for name in scenario.lit_names]
    full = min(lux or 0.0 for lux in stated)
    if table.occupied_lux is None or full == 0.0:
        return base.occupied_level
    return level_at_least(table.occupied_lux / full, _ladder(scenario))


def _ladder(scenario: Scenario) -> tuple[float, ...]:
    """The standard levels; commands as soon as they are that in any aisle."""
    curves = (scenario.luminaires_of(name).power_curve for name in scenario.lit_names)
    return standard_levels(are_commands=any(curve == "iec62386-log" for curve in curves))


@dataclass(frozen=True)
class Offer:
    """What may be set where.

    Attributes
    ----------
    names : the timetable's names for settings (T,)
    candidates : by name
    allowed : by name, which place may have which candidate (P, C)
    """

    names: tuple[str, ...]
    candidates: Mapping[str, tuple[Settings, ...]]
    allowed: Mapping[str, NDArray[np.bool_]]


def offer(scenario: Scenario, table: Recommend) -> Offer:
    """Lay out every candidate and where its level and its delay are allowed.

    A delay must be above latency and fade-up together, as in a scenario file.
    """
    names = names_in_force(scenario)
    candidates, allowed = {}, {}
    for name in names:
        floors = [
            max(floor_share(scenario, table, aisle, name) or 0.0 for aisle in aisles)
            for _, aisles in scenario.places
        ]
        found = candidate_settings(scenario, table, name, sorted(set(floors)))
        rows = []
        for (_, aisles), floor in zip(scenario.places, floors, strict=True):
            sensors = scenario.sensors_of(aisles[0])
            rows.append(
                [
                    one.unoccupied_level >= floor
                    and sensors.hold_s + one.timeout_s > sensors.latency_s + one.fade_up_s
                    for one in found
                ]
            )
        candidates[name] = found
        allowed[name] = np.array(rows, dtype=bool).reshape(len(rows), len(found))
    return Offer(names, candidates, allowed)
