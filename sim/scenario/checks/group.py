"""Contradictions about aisles that share one zone.

Comes in: the valid parts of a scenario.  Goes out: problems.  Part of `scenario/checks/contradictions`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping

from sim.scenario.faults import Problem
from sim.scenario.parts import AisleKind, Parts
from sim.scenario.positions import Key
from sim.scenario.tables.areas import AisleGroup
from sim.scenario.tables.daylight import Skylight
from sim.wording import nearest_text

__all__ = ["GROUP_CHECKS"]

_POWER_KEYS = ("full_w", "standby_w", "power_curve", "driver_min_level", "relay_off")
_SENSOR_KEYS = ("hold_s", "latency_s")


def _groups(parts: Parts) -> Mapping[int, AisleGroup]:
    """The valid groups by position."""
    return {place: one for place, one in parts.lists["group"].items() if isinstance(one, AisleGroup)}


def check_group_names(parts: Parts) -> Iterator[Problem]:
    """A group has a name of its own."""
    first: dict[str, int] = {}
    for position, group in _groups(parts).items():
        path: Key = ("group", position, "name")
        if first.setdefault(group.name, position) != position:
            yield Problem(path, f'the name "{group.name}" stands more than once')
        if group.name in (parts.aisle_names or ()):
            yield Problem(path, f'"{group.name}" is the name of an aisle; give the group another one')


def check_group_aisles(parts: Parts) -> Iterator[Problem]:
    """Groups name aisles that are there, each in one group, and once; their aisles are not cut."""
    home: dict[str, int] = {}
    cut = 1 if parts.floor is None else parts.floor.zones_per_aisle
    for position, group in _groups(parts).items():
        path: Key = ("group", position)
        for number, name in enumerate(group.aisles):
            if parts.aisle_names is not None and name not in parts.aisle_names:
                near = nearest_text(name, parts.aisle_names)
                yield Problem((*path, "aisles", number), f'there is no aisle "{name}"{near}')
            elif name in group.aisles[:number]:
                yield Problem((*path, "aisles", number), f'the aisle "{name}" stands more than once')
            elif home.setdefault(name, position) != position:
                other = _groups(parts)[home[name]].name
                message = f'the aisle "{name}" is in the group "{other}" already; allowed: one group'
                yield Problem((*path, "aisles", number), message)
        if cut > 1:
            yield Problem(
                path,
                f"does not go with zones_per_aisle = {cut}: a group is one zone; allowed: 1",
            )


def _unlike(
    of_aisle: Mapping[str, AisleKind], names: tuple[str, ...], value: Callable[[str], object]
) -> str | None:
    """The first aisle of a group that is not like its first one."""
    known = [name for name in names if name in of_aisle]
    return next((name for name in known[1:] if value(name) != value(known[0])), None)


def check_group_is_alike(parts: Parts) -> Iterator[Problem]:
    """One zone has one power table, one pair of sensor timers, one set of settings, one sky."""
    of_aisle = {name: kind for kind in parts.kinds for name in kind.aisles}
    skylight = parts.tables.get("skylight")
    under = skylight.aisles if isinstance(skylight, Skylight) else None
    for position, group in _groups(parts).items():
        path: Key = ("group", position, "aisles")
        names = group.aisles
        for table, keys in (("luminaires", _POWER_KEYS), ("sensors", _SENSOR_KEYS)):
            for key in keys:

                def value(name: str, table: str = table, key: str = key) -> object:
                    return getattr(getattr(of_aisle[name], table), key)

                other = _unlike(of_aisle, names, value)
                if other is not None:
                    yield Problem(
                        path,
                        f"aisles {names[0]} and {other} differ in {table}.{key}; aisles that share a zone "
                        "must have the same",
                    )
        other = _unlike(of_aisle, names, lambda name: of_aisle[name].settings_names)
        if other is not None:
            yield Problem(
                path, f"an override gives {names[0]} and {other} different settings; a zone has one"
            )
        if under is not None:
            other = next((name for name in names if (name in under) != (names[0] in under)), None)
            if other is not None:
                yield Problem(path, f"only one of {names[0]} and {other} is in skylight.aisles")


GROUP_CHECKS = (check_group_names, check_group_aisles, check_group_is_alike)
