"""Rules of thumb for a first scenario: how many trucks its moves keep busy, how full its busiest aisle is.

Comes in: `Answers`.  Goes out: numbers of trucks, and sentences about what the answers ask too much of.
Before: `scenario/questions`, `scenario/truck_types`; after: `scenario/new_site`, `cli`.  Not a result: a run
tells what queues and breaks do.
"""

from __future__ import annotations

from dataclasses import dataclass

from sim.scenario.questions import Answers
from sim.scenario.truck_types import TYPE_VALUES

__all__ = ["STAGING_M", "WAREHOUSE", "Warehouse", "busy_trucks", "load_of_busiest_aisle", "strains"]

STAGING_M = 15.0
"""Depth between doors and aisles; common practice, no source."""

BUSY_SHARE, FULL_SHARE = 0.85, 0.6
"""Above these shares of trucks at work, and of an aisle's capacity, waiting grows fast."""


@dataclass(frozen=True)
class Warehouse:
    """What the type of truck says about the racks.

    Attributes
    ----------
    pitch_m : an aisle with half a rack on either side
    capacity : trucks in an aisle at once
    tiers, tier_height_m : of the racks
    """

    pitch_m: float
    capacity: int
    tiers: int
    tier_height_m: float


WAREHOUSE = {
    "reach": Warehouse(5.4, 2, 5, 1.8),
    "counterbalance": Warehouse(6.2, 2, 4, 1.5),
    "turret": Warehouse(4.3, 1, 6, 1.8),
    "order-picker": Warehouse(4.2, 2, 5, 1.8),
    "pallet-truck": Warehouse(5.0, 3, 1, 0.0),
}
"""Aisle widths by type of truck are from memory; the rest is common practice, no source."""


def _leg_s(length_m: float, speed: float, acceleration: float) -> float:
    """One straight run from rest to rest [s]: d / v + v / a, or 2 sqrt(d / a) where it never reaches v."""
    if length_m >= speed * speed / acceleration:
        return length_m / speed + speed / acceleration
    return 2.0 * float((length_m / acceleration) ** 0.5)


def _both_ways_s(answers: Answers, length_m: float) -> float:
    """One straight run there and back, once with a load [s]."""
    usual = TYPE_VALUES[answers.truck_type]
    ramp = float(usual["acceleration_m_per_s2"].value)
    speeds = (float(usual[key].value) for key in ("speed_laden_m_per_s", "speed_empty_m_per_s"))
    return sum(_leg_s(length_m, speed, ramp) for speed in speeds)


def _stay_s(answers: Answers, length_m: float) -> float:
    """Mean time of a move inside an aisle: in and out to the middle, handling, lifting [s]."""
    usual, house = TYPE_VALUES[answers.truck_type], WAREHOUSE[answers.truck_type]
    stay = _both_ways_s(answers, length_m / 2.0) + float(usual["handling_mean_s"].value)
    if "lift_m_per_s" in usual and not usual["lifts_while_travelling"].value:
        height_m = (house.tiers - 1) / 2.0 * house.tier_height_m
        stay += sum(height_m / float(usual[key].value) for key in ("lift_m_per_s", "lower_m_per_s"))
    return stay


def busy_trucks(answers: Answers) -> float:
    """Return how many trucks the moves keep busy on average.

    Notes
    -----
    Moves an hour times a mean cycle: staging, a third of the front (the mean distance of two places that lie
    anywhere along it), half an aisle, handling at both ends, there and back; no waiting, no breaks.
    """
    across_m = WAREHOUSE[answers.truck_type].pitch_m * len(answers.rows) / 3.0
    mean_m = sum(row.length_m for row in answers.rows) / len(answers.rows)
    at_door_s = float(TYPE_VALUES[answers.truck_type]["handling_mean_s"].value)
    outside_s = _both_ways_s(answers, STAGING_M) + _both_ways_s(answers, across_m)
    cycle = outside_s + at_door_s + _stay_s(answers, mean_m)
    return answers.moves_per_hour * cycle / 3600.0


def load_of_busiest_aisle(answers: Answers) -> float:
    """Return how many trucks the first aisle would hold on average.

    Its share of the moves is Bender's curve at one aisle: (1 + A) x / (A + x), A = 0.2 (1 - s) / (s - 0.2).
    """
    part, share = 1.0 / len(answers.rows), answers.busiest_share
    if share > 0.2:
        skew = 0.2 * (1.0 - share) / (share - 0.2)
        part = (1.0 + skew) * part / (skew + part)
    return answers.moves_per_hour * part * _stay_s(answers, answers.rows[0].length_m) / 3600.0


def strains(answers: Answers) -> tuple[str, ...]:
    """Return sentences on what these answers ask too much of; none where the floor can do its work."""
    found = []
    busy, capacity = busy_trucks(answers), WAREHOUSE[answers.truck_type].capacity
    if busy > BUSY_SHARE * answers.trucks:
        found.append(
            f"{answers.moves_per_hour:g} moves an hour keep about {busy:.1f} trucks busy and there are "
            f"{answers.trucks}: work will pile up. More trucks, or fewer moves."
        )
    if (load := load_of_busiest_aisle(answers)) > FULL_SHARE * capacity:
        found.append(
            f"The busiest aisle, {answers.rows[0].name}, would hold about {load:.1f} trucks on average "
            f"and takes {capacity} at once: trucks will queue at its mouth. Check the share of the busiest "
            "fifth."
        )
    return tuple(found)
