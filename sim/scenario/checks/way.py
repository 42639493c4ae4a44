"""Contradictions about ways and stays: one-way aisles, middle cross-aisles, turns, dwell times.

Comes in: the valid parts of a scenario, or a whole one.  Goes out: problems and notices.  Part of
`scenario/checks/contradictions`; before: `scenario/checks/fleet`.
"""

from __future__ import annotations

from collections.abc import Iterator

from sim.scenario.checks.fleet import is_default
from sim.scenario.checks.site import repeated
from sim.scenario.faults import Problem
from sim.scenario.parts import Parts
from sim.scenario.schema import Scenario
from sim.wording import nearest_text

__all__ = ["WAY_CHECKS", "WAY_NOTICES"]

MOST_CROSS_AISLES = 20


def check_one_way(parts: Parts) -> Iterator[Problem]:
    """One-way aisles are there, and have one direction."""
    floor, names = parts.floor, parts.aisle_names
    if floor is None or names is None:
        return
    for key in ("one_way", "one_way_from_back"):
        listed = getattr(floor, key)
        if not isinstance(listed, tuple):
            continue
        for number, name in enumerate(listed):
            if name not in names:
                near = nearest_text(name, names)
                yield Problem(("floor", key, number), f'there is no aisle "{name}"{near}')
        for name in repeated(listed):
            yield Problem(("floor", key), f'the aisle "{name}" stands more than once')
    from_back = floor.one_way_from_back or ()
    if isinstance(floor.one_way, str):
        if from_back:
            yield Problem(
                ("floor", "one_way_from_back"),
                f'stands beside one_way = "{floor.one_way}", which speaks of all aisles; allowed: beside a '
                "list of aisles in one_way, or alone",
            )
        return
    for number, name in enumerate(from_back):
        if name in (floor.one_way or ()):
            yield Problem(
                ("floor", "one_way_from_back", number),
                f'the aisle "{name}" stands in one_way too; it is entered either at the front or at the back',
            )


def check_cross_aisles(parts: Parts) -> Iterator[Problem]:
    """Middle cross-aisles lie between the front one and the back one, each at a place of its own."""
    floor = parts.floor
    if floor is None or floor.cross_aisles_m is None:
        return
    lengths = floor.aisle_length_m
    longest = max(lengths) if isinstance(lengths, tuple) else lengths
    for number, place in enumerate(floor.cross_aisles_m):
        if not 0.0 < place < longest:
            yield Problem(
                ("floor", "cross_aisles_m", number),
                f"{place:g} m is not between the front cross-aisle and the back one; allowed: above 0, below "
                f"{longest:g} m, the longest aisle",
            )
    for place in sorted({place for place in floor.cross_aisles_m if floor.cross_aisles_m.count(place) > 1}):
        yield Problem(("floor", "cross_aisles_m"), f"{place:g} m stands more than once")
    if len(floor.cross_aisles_m) > MOST_CROSS_AISLES:
        yield Problem(
            ("floor", "cross_aisles_m"),
            f"{len(floor.cross_aisles_m)} middle cross-aisles; allowed: at most {MOST_CROSS_AISLES}",
        )


def check_turns(parts: Parts) -> Iterator[Problem]:
    """A turn is given by its time, or by its speed and radius."""
    for position, trucks in parts.trucks.items():
        path = ("trucks", position)
        speed, radius = trucks.turn_speed_m_per_s, trucks.turn_radius_m
        if speed is not None and radius is None:
            yield Problem((*path, "turn_speed_m_per_s"), "needs turn_radius_m [m], the radius of the turn")
        elif radius is not None and speed is None:
            yield Problem((*path, "turn_radius_m"), "needs turn_speed_m_per_s [m/s], the speed round it")
        elif speed is not None and not is_default(trucks, "turn_s"):
            yield Problem(
                (*path, "turn_s"),
                "stands beside turn_speed_m_per_s; allowed: the time of a turn, or its speed and radius",
            )


def check_dwell(parts: Parts) -> Iterator[Problem]:
    """A stay has one law: mean and spread of the gamma family, or median and spread of the lognormal one."""
    for position, work in parts.work.items():
        path = ("work", position)
        if work.dwell_median_s is None:
            if not is_default(work, "dwell_spread"):
                yield Problem((*path, "dwell_spread"), "says nothing without dwell_median_s [s]")
            if work.kind == "tour" and work.dwell_mean_s is None and not is_default(work, "dwell_cv"):
                yield Problem((*path, "dwell_cv"), "says nothing without dwell_mean_s [s]")
            continue
        for key in ("dwell_mean_s", "dwell_cv"):
            if not is_default(work, key):
                yield Problem(
                    (*path, key),
                    "stands beside dwell_median_s; allowed: dwell_mean_s with dwell_cv, or dwell_median_s "
                    "with dwell_spread",
                )


def tell_person_rate(scenario: Scenario) -> Iterator[str]:
    """A rate for people where nobody walks."""
    eyes = map(scenario.sensors_of, scenario.aisle_names)
    rated = any(sensors.still_rate_person_per_min is not None for sensors in eyes)
    if rated and scenario.trucks and not any(trucks.kind == "walker" for trucks in scenario.trucks):
        yield (
            "sensors.still_rate_person_per_min says nothing here: no group in [[trucks]] has "
            'kind = "walker".'
        )


WAY_NOTICES = (tell_person_rate,)
WAY_CHECKS = (check_one_way, check_cross_aisles, check_turns, check_dwell)
