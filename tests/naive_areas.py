"""A slow obvious twin of open areas: walk a truck's whole way in small steps and look where it is.

It shares nothing with the program but the scenario, the tasks drawn and the log of who reached which mouth
when. Only putaways and retrievals, front and back mouths by the front: one door, one bay, home.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass

from sim.floor.layout import Layout
from sim.scenario.schema import Scenario
from sim.traffic.work import KINDS, Tasks
from sim.traffic.world import Log

STEP_S = 0.05
Corner = tuple[float, float]


@dataclass(frozen=True)
class Leg:
    """A run (speed above 0) or a stand of one truck; in an aisle or outside."""

    truck: int
    start: float
    end: float
    origin: Corner
    goal: Corner
    speed: float
    rate: float
    in_aisle: bool


def run_s(length: float, speed: float, rate: float) -> float:
    """Time of a run from rest to rest."""
    if length == 0.0:
        return 0.0
    if rate == 0.0:
        return length / speed
    if length * rate >= speed * speed:
        return length / speed + speed / rate
    return 2.0 * math.sqrt(length / rate)


def covered_m(age: float, length: float, speed: float, rate: float) -> float:
    """How far a run has come at an age, by the speed it has: up, along, down."""
    total = run_s(length, speed, rate)
    if rate == 0.0:
        return min(length, speed * age)
    top = min(speed, math.sqrt(length * rate))
    rise = top / rate
    if age <= rise:
        return 0.5 * rate * age * age
    if age >= total - rise:
        return length - 0.5 * rate * (total - age) ** 2
    return 0.5 * rate * rise * rise + top * (age - rise)


def legs_of(scenario: Scenario, layout: Layout, tasks: Tasks, log: Log) -> Iterator[Leg]:
    """Write every task's way down, leg by leg."""
    (keys,) = scenario.trucks
    depth = layout.staging_depth_m
    for row in range(len(log.task)):
        task, truck = int(log.task[row]), int(log.truck[row])
        kind = KINDS[tasks.kind[task]]
        is_put = kind == "putaway"
        assert is_put or kind == "retrieve"
        come = keys.speed_laden_m_per_s if is_put else keys.speed_empty_m_per_s
        back = keys.speed_empty_m_per_s if is_put else keys.speed_laden_m_per_s
        door_m, own_m = float(layout.door_m[tasks.door[task]]), float(layout.door_m[log.from_door[row]])
        from_m = door_m if is_put else own_m
        at_m, bay_m = float(layout.aisle_m[tasks.aisle[task]]), float(tasks.bay_m[task])
        pick, put = float(tasks.pick_s[0, task]), float(tasks.set_s[0, task])
        now = float(log.begin[task])
        rate = keys.acceleration_m_per_s2

        way: list[tuple[Corner, Corner, float, float, bool]] = []  # from, to, speed, stand, in the aisle
        if is_put:
            way.append(((own_m, -depth), (door_m, -depth), keys.speed_empty_m_per_s, 0.0, False))
            way.append(((door_m, -depth), (door_m, -depth), 0.0, pick, False))
        mouth, bay, wall = (at_m, 0.0), (at_m, bay_m), (door_m, -depth)
        way += [
            ((from_m, -depth), (from_m, 0.0), come, 0.0, False),
            ((from_m, 0.0), mouth, come, 0.0, False),
            (mouth, mouth, 0.0, math.nan, False),
            (mouth, bay, come, 0.0, True),
            (bay, bay, 0.0, put if is_put else pick, True),
            (bay, mouth, back, 0.0, True),
            (mouth, (door_m, 0.0), back, 0.0, False),
            ((door_m, 0.0), wall, back, 0.0, False),
        ]
        if not is_put:
            way.append((wall, wall, 0.0, put, False))
        for origin, goal, speed, stand_s, in_aisle in way:
            length = run_s(math.dist(origin, goal), speed, rate) if speed else stand_s
            if math.isnan(length):  # the queue at the mouth
                length = float(log.enter[row]) - now
            yield Leg(truck, now, now + length, origin, goal, speed, rate, in_aisle)
            now += length


def steps_inside(legs: list[Leg], holds, end_s: float) -> tuple[float, float, float]:
    """Step along all legs outside the aisles; seconds inside a shape, of them under way and standing.

    The steps begin at a random place of each leg, so that a stretch of f steps counts as f on the average,
    with a variance of at most a quarter of a step squared.
    """
    under_way = standing = 0.0
    rng = random.Random(1)
    for leg in legs:
        if leg.in_aisle:
            continue
        length = math.dist(leg.origin, leg.goal)
        count = max(1, math.ceil((leg.end - leg.start) / STEP_S))
        step, phase = (leg.end - leg.start) / count, rng.random()
        for number in range(count):
            age = (number + phase) * step
            if leg.start + age >= end_s:
                break
            share = covered_m(age, length, leg.speed, leg.rate) / length if length else 0.0
            place = tuple(a + share * (b - a) for a, b in zip(leg.origin, leg.goal, strict=True))
            if holds(*place):
                if leg.speed:
                    under_way += step
                else:
                    standing += step
    return under_way + standing, under_way, standing
