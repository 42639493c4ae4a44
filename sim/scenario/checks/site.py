"""Contradictions on the floor: aisles, luminaires, sensors and what overrides make of them.

Comes in: the valid parts of a scenario.  Goes out: problems.  Part of `scenario/checks/contradictions`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from sim.floor.layout import sensor_positions
from sim.scenario.faults import Problem
from sim.scenario.parts import AisleKind, Parts, aisles_text
from sim.scenario.positions import Key
from sim.scenario.schema import Luminaires
from sim.wording import nearest_text

__all__ = ["SITE_CHECKS", "repeated"]


def repeated(names: Sequence[str]) -> dict[str, list[int]]:
    """Return the names that stand more than once, with their positions."""
    positions: dict[str, list[int]] = {}
    for position, name in enumerate(names):
        positions.setdefault(name, []).append(position)
    return {name: found for name, found in positions.items() if len(found) > 1}


def _origin(parts: Parts, kind: AisleKind, key: str) -> Key:
    """Return the path of the table that decides a key in aisles of one kind."""
    for position in reversed(kind.overrides):
        if key in parts.override[position].model_fields_set:
            return ("override", position, key)
    return ("luminaires" if key in Luminaires.model_fields else "sensors", key)


def check_aisles(parts: Parts) -> Iterator[Problem]:
    """Names of aisles are unique; a list of lengths has one for each aisle."""
    if parts.floor is None or parts.aisle_names is None:
        return
    for name, positions in repeated(parts.aisle_names).items():
        yield Problem(("floor", "aisles", positions[1]), f'the name "{name}" stands more than once')
    lengths, count = parts.floor.aisle_length_m, len(parts.aisle_names)
    if isinstance(lengths, tuple) and len(lengths) != count:
        yield Problem(
            ("floor", "aisle_length_m"),
            f"has {len(lengths)} lengths for {count} aisles; allowed: one number [m], or {count} numbers",
        )


def check_override_aisles(parts: Parts) -> Iterator[Problem]:
    """Overrides name aisles that are there, each once, and change something."""
    for position, override in parts.override.items():
        path: Key = ("override", position)
        for number, name in enumerate(override.aisles):
            if parts.aisle_names is not None and name not in parts.aisle_names:
                near = nearest_text(name, parts.aisle_names)
                yield Problem((*path, "aisles", number), f'there is no aisle "{name}"{near}')
        for name in repeated(override.aisles):
            yield Problem((*path, "aisles"), f'the aisle "{name}" stands more than once')
        changed = override.model_fields_set - {"aisles"}
        if not changed or (changed == {"settings"} and not override.settings):
            yield Problem(path, "changes nothing; name a key of [luminaires] or [sensors], or settings")


def check_override_twice(parts: Parts) -> Iterator[Problem]:
    """No key of one aisle may be overridden twice."""
    first_at: dict[tuple[str, str], int] = {}
    clashes: dict[tuple[int, int, str], list[str]] = {}
    for position, override in parts.override.items():
        keys = [key for key in override.model_fields_set if key not in ("aisles", "settings")]
        keys += [f"settings.{name}" for name in override.settings or ()]
        for aisle in dict.fromkeys(override.aisles):
            for key in sorted(keys):
                earlier = first_at.setdefault((aisle, key), position)
                if earlier != position:
                    clashes.setdefault((earlier, position, key), []).append(aisle)
    for (earlier, position, key), aisles in clashes.items():
        yield Problem(
            ("override", position, *key.split(".", 1)),
            f"override {earlier + 1} sets {key} for {aisles_text(aisles)} already; write it once",
        )


def check_luminaires(parts: Parts) -> Iterator[Problem]:
    """Fixed-on luminaires are some of the aisle's; standby draws no more than full; no zone is empty."""
    for kind in parts.kinds:
        lamps, where = kind.luminaires, aisles_text(kind.aisles)
        if lamps.fixed_on > lamps.per_aisle:
            yield Problem(
                _origin(parts, kind, "fixed_on"),
                f"{lamps.fixed_on} is more than per_aisle = {lamps.per_aisle} luminaires ({where})",
            )
        if not isinstance(lamps.power_curve, tuple) and lamps.standby_w > lamps.full_w:
            yield Problem(
                _origin(parts, kind, "standby_w"),
                f"{lamps.standby_w:g} W is above full_w = {lamps.full_w:g} W ({where})",
            )
        zones = parts.floor.zones_per_aisle if parts.floor else 1
        if lamps.per_aisle < zones:
            yield Problem(
                _origin(parts, kind, "per_aisle"),
                f"{lamps.per_aisle} luminaires leave one of zones_per_aisle = {zones} zones without any "
                f"({where}); allowed: at least {zones}",
            )


def check_sensors(parts: Parts) -> Iterator[Problem]:
    """Sensors given in metres stand inside the aisle, and every zone has one."""
    for kind in parts.kinds:
        path, where = _origin(parts, kind, "at"), aisles_text(kind.aisles)
        metres = kind.sensors.at if isinstance(kind.sensors.at, tuple) else ()
        outside = [number for number, at_m in enumerate(metres) if at_m > kind.length_m]
        for number in outside:
            yield Problem(
                (*path, number),
                f"{metres[number]:g} m lies behind the aisle's end at {kind.length_m:g} m ({where})",
            )
        if len(set(metres)) < len(metres):
            yield Problem(path, "two sensors stand at the same place")
        zones = parts.floor.zones_per_aisle if parts.floor else 1
        if outside or zones == 1 or kind.luminaires.per_aisle < zones:
            continue
        _, homes = sensor_positions(kind.sensors, kind.luminaires, kind.length_m, zones)
        blind = sorted(set(range(zones)) - set(homes.tolist()))
        if blind:
            stretches = ", ".join(
                f"{zone + 1} ({kind.length_m * zone / zones:g} to {kind.length_m * (zone + 1) / zones:g} m)"
                for zone in blind[:4]
            )
            more = f" and {len(blind) - 4} more" if len(blind) > 4 else ""
            yield Problem(
                path,
                f"no sensor stands in zone {stretches}{more} of {zones} ({where}); every zone needs one: "
                'use at = "every", more positions, or fewer zones_per_aisle',
            )


SITE_CHECKS = (
    check_aisles,
    check_override_aisles,
    check_override_twice,
    check_luminaires,
    check_sensors,
)
