"""How a group of trucks moves: speeds, mast and turns as plain numbers.

Comes in: a truck group of the scenario.  Goes out: `Gait`.  After it: `traffic/legs`, `traffic/tours`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn
from sim.scenario.schema import Trucks

__all__ = ["Gait", "gait_of", "mast_time", "stopping_distance", "turn_time"]


@dataclass(frozen=True)
class Gait:
    """How one group moves.

    Attributes
    ----------
    laden, empty : speed on cross-aisles and in staging [m/s]
    aisle_laden, aisle_empty : speed inside an aisle [m/s]
    ramp : acceleration and braking, 0 for none [m/s2]
    up, down : seconds of lifting and lowering a metre, 0 where they take no time [s/m]
    lifts_while_travelling : whether mast and wheels move at once
    turn_s : lost at each turn into or out of an aisle
    """

    laden: float
    empty: float
    aisle_laden: float
    aisle_empty: float
    ramp: float
    up: float
    down: float
    lifts_while_travelling: bool
    turn_s: float


def gait_of(trucks: Trucks) -> Gait:
    """Return how a group moves."""
    limit = trucks.aisle_speed_m_per_s
    laden, empty = trucks.speed_laden_m_per_s, trucks.speed_empty_m_per_s
    return Gait(
        laden=laden,
        empty=empty,
        aisle_laden=laden if limit is None else min(laden, limit),
        aisle_empty=empty if limit is None else min(empty, limit),
        ramp=trucks.acceleration_m_per_s2,
        up=0.0 if trucks.lift_m_per_s is None else 1.0 / trucks.lift_m_per_s,
        down=0.0 if trucks.lower_m_per_s is None else 1.0 / trucks.lower_m_per_s,
        lifts_while_travelling=trucks.lifts_while_travelling,
        turn_s=turn_time(trucks),
    )


def turn_time(trucks: Trucks) -> float:
    """Return the time of one turn between a cross-aisle and an aisle [s].

    Notes
    -----
    A quarter of a circle at constant speed: (pi / 2) r / v.
    """
    if trucks.turn_speed_m_per_s is None or trucks.turn_radius_m is None:
        return trucks.turn_s
    return 0.5 * math.pi * trucks.turn_radius_m / trucks.turn_speed_m_per_s


def mast_time(gait: Gait, from_m: FloatColumn, to_m: FloatColumn) -> FloatColumn:
    """Return the time the mast takes from one height to another [s] (n,)."""
    rise = to_m - from_m
    time: FloatColumn = np.where(rise > 0.0, rise * gait.up, -rise * gait.down)
    return time


def stopping_distance(
    speed_m_per_s: float, reaction_s: float = 1.2214, braking_m_per_s2: float = 1.4403
) -> float:
    """Return how far a truck goes from the moment its driver sees something [m].

    Parameters
    ----------
    speed_m_per_s : before braking
    reaction_s, braking_m_per_s2 : by default the pair that two figures of an Australian regulator's campaign
        imply, 6 km/h in about 3 m and 14 km/h in at least 10 m; a typical pair, not a truck's own

    Notes
    -----
    d = v t + v^2 / (2 a), elementary kinematics.

    Examples
    --------
    >>> round(stopping_distance(6 / 3.6), 2), round(stopping_distance(14 / 3.6), 2)
    (3.0, 10.0)
    """
    return speed_m_per_s * reaction_s + speed_m_per_s**2 / (2.0 * braking_m_per_s2)
