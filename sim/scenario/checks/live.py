"""Contradictions and open facts about sensors and about drivers who react to the light.

Comes in: the valid parts of a scenario, or a whole one.  Goes out: problems and notices.  Part of
`scenario/checks/contradictions`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from sim.floor.layout import sensor_positions
from sim.scenario.faults import Problem
from sim.scenario.parts import AisleKind, Parts, aisles_text, sort_aisles
from sim.scenario.positions import Key
from sim.scenario.schema import Override, Scenario, Sensors, Trucks
from sim.scenario.tables.sensors import reach_of_angle

__all__ = ["LIVE_CHECKS", "LIVE_NOTICES"]

_SAME_REACH = 1e-6
"""A stated range and a stated angle may differ so much, relative: a file that was written out states both."""


def check_lead_zones(parts: Parts) -> Iterator[Problem]:
    """Lead zones lie inside the aisle."""
    floor = parts.floor
    if floor is not None and floor.lead_zones >= floor.zones_per_aisle > 0 and floor.lead_zones > 0:
        yield Problem(
            ("floor", "lead_zones"),
            f"{floor.lead_zones} lead zones reach beyond an aisle of zones_per_aisle = "
            f"{floor.zones_per_aisle}; allowed: from 0 to {floor.zones_per_aisle - 1}",
        )


def check_angle(parts: Parts) -> Iterator[Problem]:
    """An angle needs a height, and agrees with a range that stands beside it."""
    tables: list[tuple[Key, Sensors | Override]] = [
        *([(("sensors",), parts.sensors)] if parts.sensors is not None else []),
        *((("override", position), override) for position, override in parts.override.items()),
    ]
    for path, table in tables:
        angle, height, reach = table.half_angle_deg, table.mounting_height_m, table.range_m
        if isinstance(table, Override) and parts.sensors is not None:
            angle = parts.sensors.half_angle_deg if angle is None and height is not None else angle
            height = parts.sensors.mounting_height_m if height is None and angle is not None else height
        if angle is not None and height is None:
            yield Problem((*path, "half_angle_deg"), "needs mounting_height_m [m] beside it")
        if table.half_angle_deg is None or angle is None or height is None or reach is None:
            continue
        meant = reach_of_angle(angle, height)
        if not math.isclose(meant, reach, rel_tol=_SAME_REACH):
            yield Problem(
                (*path, "range_m"),
                f"{reach:g} m is not what half_angle_deg and mounting_height_m give, {meant:.4g} m; write "
                "either the range or the angle and the height",
            )


def _sensor_count(kind: AisleKind) -> int:
    """Count the sensors of an aisle."""
    return len(sensor_positions(kind.sensors, kind.luminaires, kind.length_m, 1)[0])


def check_dead_sensors(parts: Parts) -> Iterator[Problem]:
    """Sensors that are named dead are there."""
    for position, override in parts.override.items():
        named = override.dead_sensors
        if named is None or named == "all":
            continue
        for kind in parts.kinds:
            if position not in kind.overrides:
                continue
            count = _sensor_count(kind)
            for place, number in enumerate(named):
                if isinstance(number, int) and number > count:
                    yield Problem(
                        ("override", position, "dead_sensors", place),
                        f"there is no sensor {number} in {aisles_text(kind.aisles)}; they have {count}, "
                        "counted from the front mouth",
                    )


def _reacts(trucks: Trucks) -> bool:
    """Say whether the drivers of a group react to the light."""
    return trucks.dim_speed_factor is not None or trucks.wait_for_light is not None


def check_reacting_trucks(parts: Parts) -> Iterator[Problem]:
    """What drivers wait for can come; what the lights' simulation cannot do is not asked for."""
    anyone = any(_reacts(trucks) for trucks in parts.trucks.values())
    for position, trucks in parts.trucks.items():
        path: Key = ("trucks", position)
        if anyone and trucks.pairing:
            yield Problem(
                (*path, "pairing"),
                "does not go with drivers who react to the light (dim_speed_factor, wait_for_light), in this "
                "group or another: which moves fit together would depend on the light; leave one of them out",
            )
        if trucks.wait_for_light is None:
            if "wait_at_most_s" in trucks.model_fields_set and trucks.wait_at_most_s != 30.0:
                yield Problem((*path, "wait_at_most_s"), "says nothing without wait_for_light")
            continue
        if not trucks.seen:
            yield Problem(
                (*path, "wait_for_light"),
                "these trucks are seen by no sensor (seen = false), so the light would never come for them",
            )
        for name, level in _occupied_levels(parts).items():
            if level < trucks.wait_for_light:
                yield Problem(
                    (*path, "wait_for_light"),
                    f"{trucks.wait_for_light:g} is above occupied_level = {level:g} of the settings "
                    f'"{name}", so the light would never come; allowed: at most {level:g}',
                )
                break


def _occupied_levels(parts: Parts) -> Mapping[str, float]:
    """Return the occupied levels that are in force anywhere."""
    rows = {row.settings for row in parts.timetable.values()}
    used = {kind.settings_names.get(name, name) for kind in parts.kinds for name in rows} or rows
    return {name: one.occupied_level for name, one in parts.settings.items() if name in used}


LIVE_CHECKS = (check_lead_zones, check_angle, check_dead_sensors, check_reacting_trucks)


def tell_reacting(scenario: Scenario) -> Iterator[str]:
    """Who waits where nothing sees him coming."""
    waiting = [trucks.name for trucks in scenario.trucks if trucks.wait_for_light is not None]
    blind = [name for name in scenario.aisle_names if scenario.sensors_of(name).approach_m == 0.0]
    if waiting and blind:
        yield (
            f"Trucks that wait for light ({', '.join(waiting)}) are not seen before they enter "
            f"{aisles_text(tuple(blind))}, because approach_m is 0 there: at a dark mouth they wait for "
            "wait_at_most_s and go in without light."
        )


def tell_dead_zones(scenario: Scenario) -> Iterator[str]:
    """Where nothing works any more."""
    dead = [
        name
        for kind in sort_aisles(scenario)
        for name in kind.aisles
        if len(scenario.dead_sensors_of(name, _sensor_count(kind))) >= _sensor_count(kind)
    ]
    if dead:
        yield f"All sensors are named dead in {aisles_text(tuple(dead))}: these zones stay high."


LIVE_NOTICES = (tell_reacting, tell_dead_zones)
