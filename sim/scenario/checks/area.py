"""Contradictions about open areas: where they lie, their luminaires, sensors, settings and people.

Comes in: the valid parts of a scenario.  Goes out: problems.  Part of `scenario/checks/contradictions`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from sim.floor.areas import ROUNDING_M
from sim.scenario.checks.week import names_in_force
from sim.scenario.faults import Problem
from sim.scenario.parts import Parts
from sim.scenario.positions import Key
from sim.scenario.schema import Floor, Lighting, Recommend, Scenario
from sim.scenario.tables.areas import AisleGroup, Area
from sim.wording import nearest_text

__all__ = ["AREA_CHECKS"]


def _areas(parts: Parts) -> Mapping[int, Area]:
    """The valid areas by position."""
    return {place: one for place, one in parts.lists["area"].items() if isinstance(one, Area)}


def _zone_names(parts: Parts) -> set[str]:
    """Names that zones of aisles and groups have, and the aisles' own."""
    cut = 1 if parts.floor is None else parts.floor.zones_per_aisle
    aisles = parts.aisle_names or ()
    groups = {one.name for one in parts.lists["group"].values() if isinstance(one, AisleGroup)}
    return {*aisles, *groups, *(f"{name}.{part + 1}" for name in aisles for part in range(cut) if cut > 1)}


def check_area_names(parts: Parts) -> Iterator[Problem]:
    """An area has a name of its own."""
    first: dict[str, int] = {}
    taken = _zone_names(parts)
    for position, area in _areas(parts).items():
        path: Key = ("area", position, "name")
        if first.setdefault(area.name, position) != position:
            yield Problem(path, f'the name "{area.name}" stands more than once')
        elif area.name in taken:
            yield Problem(path, f'"{area.name}" is the name of an aisle, a zone or a group already')


def _width_m(floor: Floor, aisles: int) -> float:
    """Width of the floor [m]."""
    pitch = floor.aisle_pitch_m
    return sum(pitch) if isinstance(pitch, tuple) else pitch * aisles


def _is_a_rectangle(area: Area) -> bool:
    """Say whether both pairs rise."""
    return area.across_m[0] < area.across_m[1] and area.along_m[0] < area.along_m[1]


def check_area_places(parts: Parts) -> Iterator[Problem]:
    """An area is a rectangle on the floor; it may reach beyond the back cross-aisle, not begin there."""
    floor, names = parts.floor, parts.aisle_names
    for position, area in _areas(parts).items():
        for key in ("across_m", "along_m"):
            low, high = getattr(area, key)
            if low >= high:
                message = f"{low:g} to {high:g} m has no length; the smaller first"
                yield Problem(("area", position, key), message)
        if floor is None or names is None:
            continue
        width, lengths = _width_m(floor, len(names)), floor.aisle_length_m
        depth, back = floor.staging_depth_m, max(lengths) if isinstance(lengths, tuple) else lengths
        if area.across_m[0] < 0.0 or area.across_m[1] > width + ROUNDING_M:
            yield Problem(
                ("area", position, "across_m"), f"lies outside the floor; allowed: within 0 to {width:g} m"
            )
        if area.along_m[0] < -depth - ROUNDING_M or area.along_m[0] > back:
            yield Problem(
                ("area", position, "along_m"),
                f"begins outside the floor; allowed: from {-depth:g} m (the doors, by staging_depth_m) to "
                f"{back:g} m (the back cross-aisle)",
            )


def check_areas_apart(parts: Parts) -> Iterator[Problem]:
    """Areas do not overlap: a truck in both would count twice."""
    placed = [(position, area) for position, area in _areas(parts).items() if _is_a_rectangle(area)]
    for number, (position, area) in enumerate(placed):
        for _, other in placed[:number]:
            keys = ("across_m", "along_m")
            sides = (zip(getattr(area, key), getattr(other, key), strict=True) for key in keys)
            if all(max(low) < min(high) for low, high in sides):
                yield Problem(
                    ("area", position),
                    f'overlaps the area "{other.name}"; a truck in both would count twice; let them touch',
                )


def check_area_lamps(parts: Parts) -> Iterator[Problem]:
    """Fixed-on luminaires are some of the area's; standby draws no more than full; lux need light."""
    for position, area in _areas(parts).items():
        if area.fixed_on > area.luminaires:
            yield Problem(
                ("area", position, "fixed_on"),
                f"{area.fixed_on} is more than luminaires = {area.luminaires}",
            )
        wish = parts.tables.get("recommend")
        if isinstance(wish, Recommend) and area.power_curve == "iec62386-log":
            for key in ("unoccupied_floor_lux", "occupied_lux"):
                if getattr(wish, key) is not None:
                    yield Problem(
                        ("recommend", key),
                        f'does not go with power_curve = "iec62386-log" (area {area.name}), where levels are '
                        "commands and not shares of light; write the floor as a level instead",
                    )
        if parts.luminaires is None:
            continue
        lamps = Scenario.model_construct(luminaires=parts.luminaires, area=(area,)).luminaires_of(area.name)
        if not isinstance(lamps.power_curve, tuple) and lamps.standby_w > lamps.full_w:
            key = "standby_w" if area.standby_w is not None else "full_w"
            yield Problem(
                ("area", position, key),
                f"standby_w = {lamps.standby_w:g} W is above full_w = {lamps.full_w:g} W",
            )


def check_area_sensors(parts: Parts) -> Iterator[Problem]:
    """Sensors stand in their area, each at its own place; those named dead are there."""
    for position, area in _areas(parts).items():
        path: Key = ("area", position, "sensors_at_m")
        (left, right), (near, far) = area.across_m, area.along_m
        for number, (across, along) in enumerate(area.sensors_at_m):
            if _is_a_rectangle(area) and not (left <= across <= right and near <= along <= far):
                yield Problem(
                    (*path, number),
                    f"{across:g} m across, {along:g} m along lies outside the area; allowed: {left:g} to "
                    f"{right:g} m across, {near:g} to {far:g} m along",
                )
        if len(set(area.sensors_at_m)) < len(area.sensors_at_m):
            yield Problem(path, "two sensors stand at the same place")
        named = area.dead_sensors if isinstance(area.dead_sensors, tuple) else ()
        for place, number in enumerate(named):
            if number > len(area.sensors_at_m):
                yield Problem(
                    ("area", position, "dead_sensors", place),
                    f"there is no sensor {number}; the area has {len(area.sensors_at_m)}",
                )


def check_area_settings(parts: Parts) -> Iterator[Problem]:
    """An area names settings that are there, and its light is not due to dim before it is up."""
    for position, area in _areas(parts).items():
        for name, other in (area.settings or {}).items():
            for one in dict.fromkeys((name, other)):
                if parts.settings_names and one not in parts.settings_names:
                    message = f'there are no settings "{one}"{nearest_text(one, parts.settings_names)}'
                    yield Problem(("area", position, "settings", name), message)
        if parts.sensors is None or not set((area.settings or {}).values()) <= set(parts.settings):
            continue
        site = Scenario.model_construct(
            sensors=parts.sensors,
            area=(area,),
            lighting=Lighting.model_construct(settings=dict(parts.settings)),
            override=(),
        )
        eyes, chosen = site.sensors_of(area.name), site.settings_of(area.name)
        for name in dict.fromkeys(names_in_force(parts)):
            settings = chosen.get(name)
            if settings is None:
                continue
            delay, least = eyes.hold_s + settings.timeout_s, eyes.latency_s + settings.fade_up_s
            if delay <= least:
                key = next((key for key in ("hold_s", "latency_s") if getattr(area, key) is not None), "name")
                yield Problem(
                    ("area", position, key),
                    f'hold_s + timeout_s = {delay:g} s under "{name}" is not above latency_s + fade_up_s = '
                    f"{least:g} s; the light would be due to dim before it is up",
                )
                break


def check_area_people(parts: Parts) -> Iterator[Problem]:
    """People who come stay for some time; without people nothing is said of them."""
    for position, area in _areas(parts).items():
        path: Key = ("area", position)
        rates = area.people_per_hour if isinstance(area.people_per_hour, tuple) else (area.people_per_hour,)
        if any(rate > 0.0 for rate in rates):
            if area.dwell_mean_s is None:
                message = "needs dwell_mean_s [s], how long each of them stays"
                yield Problem((*path, "people_per_hour"), message)
        else:
            for key in ("dwell_mean_s", "people_pulses_per_min"):
                if getattr(area, key) is not None:
                    yield Problem((*path, key), "says nothing without people_per_hour")
        for day in sorted({day for day in area.people_days if area.people_days.count(day) > 1}):
            yield Problem((*path, "people_days"), f'"{day}" stands more than once')


def check_areas_without_reaction(parts: Parts) -> Iterator[Problem]:
    """Where drivers react, their ways outside the aisles are not kept."""
    reacting = [
        one.name
        for one in parts.trucks.values()
        if one.dim_speed_factor is not None or one.wait_for_light is not None
    ]
    for position in list(_areas(parts))[:1] if reacting else ():
        yield Problem(
            ("area", position),
            f"does not go with drivers who react to the light ({reacting[0]}: dim_speed_factor, "
            "wait_for_light): their ways outside the aisles are not kept; leave one of them out",
        )


AREA_CHECKS = (
    check_area_names,
    check_area_places,
    check_areas_apart,
    check_area_lamps,
    check_area_sensors,
    check_area_settings,
    check_area_people,
    check_areas_without_reaction,
)
