"""A quick estimate from ten numbers: the closed form of a held light, aisle by aisle.

Comes in: what a salesperson knows.  Goes out: three options, each with a range.  Nothing is simulated; the
page computes the same in files/estimate.mjs.

Trucks come to an aisle at random (Poisson); each holds the light for its stay and the delay after it, so the
light is high while any such hold lasts: an M/G/infinity queue, empty with the chance exp(-lam (E[S] + D)).
Takacs, "Introduction to the Theory of Queues" (1962), from memory.  Aisles differ by Bender's curve, as in
`traffic/slotting`.  Sensors are taken to see a truck throughout its stay.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn
from sim.traffic.slotting import bender_share

__all__ = [
    "DRIVE_M_PER_S", "HANDLING_S", "UNSURE", "Option", "QuickInputs", "Unsure", "aisle_shares",
    "quick_estimate", "saved_share", "stay_time",
]

WEEKS_A_YEAR = 365.0 / 7.0
DRIVE_M_PER_S = 2.0
"""Mean speed in an aisle, starts and stops included (common practice, no source)."""
HANDLING_S = 60.0
"""Handling in one visit (common practice, no source)."""
LEAST_LEVEL = 0.1


@dataclass(frozen=True)
class QuickInputs:
    """What is asked.

    Attributes
    ----------
    aisles, length_m, luminaires, watts : the floor; luminaires of one aisle, watts of one luminaire
    visits_per_h : of the whole site, in an average hour
    busiest_share : of the visits, in the busiest fifth of the aisles [-]
    hours_per_week : in which the site works and the lights would be on
    unoccupied_level : share of full power after the delay [-]
    timeout_s : hold and timeout together
    price_per_kwh : of electricity
    cost_per_aisle : of the controls, for the payback; 0 where nobody knows it yet
    """

    aisles: int = 24
    length_m: float = 70.0
    luminaires: int = 12
    watts: float = 110.0
    visits_per_h: float = 100.0
    busiest_share: float = 0.5
    hours_per_week: float = 96.0
    unoccupied_level: float = 0.3
    timeout_s: float = 360.0
    price_per_kwh: float = 0.2
    cost_per_aisle: float = 0.0


@dataclass(frozen=True)
class Unsure:
    """Factors on visits and stay, and what is added to the busiest fifth's share."""

    visits: float = 1.0
    stay: float = 1.0
    share: float = 0.0


UNSURE = Unsure(0.3, 0.3, 0.1)
"""How far each of the three may be off before anybody has counted (common practice, no source)."""


@dataclass(frozen=True)
class Option:
    """One way to set the lights.

    Attributes
    ----------
    name : lean, balanced or cautious
    timeout_s, level : hold and timeout together; unoccupied level
    low, likely, high : saved share of always on
    logged_low, logged_high : the range when each unknown is known twice as well
    saved_kwh, saved_money : of a year, likely
    payback_years, payback_low, payback_high : simple payback; None without a cost
    """

    name: str
    timeout_s: float
    level: float
    low: float
    likely: float
    high: float
    logged_low: float
    logged_high: float
    saved_kwh: float
    saved_money: float
    payback_years: float | None
    payback_low: float | None
    payback_high: float | None


def saved_share(inputs: QuickInputs, timeout_s: float, level: float, unsure: Unsure | None = None) -> float:
    """Return the share of always on that is saved in the hours given.

    Parameters
    ----------
    inputs : the site
    timeout_s, level : the setting
    unsure : how far visits, stay and skew are off; None: not at all

    Notes
    -----
    (1 - level) times the mean over aisles of exp(-lam_i (S + D)), lam_i the visits of aisle i a second.
    """
    off = unsure or Unsure()
    held = stay_time(inputs) * off.stay + timeout_s
    rate = inputs.visits_per_h / 3600.0 * off.visits
    shares = aisle_shares(inputs.aisles, min(0.99, max(0.2, inputs.busiest_share + off.share)))
    return (1.0 - level) * float(np.sum(np.exp(-rate * shares * held))) / inputs.aisles


def stay_time(inputs: QuickInputs) -> float:
    """Return how long a visit lasts [s]: handling, and the drive to the middle of the aisle and back."""
    return HANDLING_S + inputs.length_m / DRIVE_M_PER_S


def aisle_shares(aisles: int, busiest: float) -> FloatColumn:
    """Return the share of the visits of each aisle, busiest first, by the busiest fifth's share (A,)."""
    ranks = np.arange(aisles + 1) / aisles
    if busiest <= 0.2:
        return np.diff(ranks)
    return np.diff(bender_share(ranks, 0.2 * (1.0 - busiest) / (busiest - 0.2)))


def quick_estimate(inputs: QuickInputs) -> tuple[Option, ...]:
    """Return the lean, balanced and cautious options.

    Lean: half the delay and a level 0.1 lower, not below 0.1; cautious: twice the delay and 0.2 more.
    """
    ways = (
        (
            "lean",
            inputs.timeout_s / 2.0,
            min(inputs.unoccupied_level, max(LEAST_LEVEL, inputs.unoccupied_level - 0.1)),
        ),
        ("balanced", inputs.timeout_s, inputs.unoccupied_level),
        ("cautious", inputs.timeout_s * 2.0, min(1.0, inputs.unoccupied_level + 0.2)),
    )
    return tuple(_option(inputs, *way) for way in ways)


def _option(inputs: QuickInputs, name: str, timeout_s: float, level: float) -> Option:
    """One option with its ranges."""
    year_kwh = (
        inputs.aisles * inputs.luminaires * inputs.watts / 1000.0 * inputs.hours_per_week * WEEKS_A_YEAR
    )

    def at(side: float) -> float:
        off = Unsure(1.0 - side * UNSURE.visits, 1.0 - side * UNSURE.stay, side * UNSURE.share)
        return saved_share(inputs, timeout_s, level, off)

    def payback(share: float) -> float | None:
        saved = share * year_kwh * inputs.price_per_kwh
        cost = inputs.cost_per_aisle * inputs.aisles
        return cost / saved if cost > 0.0 and saved > 0.0 and math.isfinite(cost / saved) else None

    low, likely, high = at(-1.0), at(0.0), at(1.0)
    return Option(
        name=name,
        timeout_s=timeout_s,
        level=level,
        low=low,
        likely=likely,
        high=high,
        logged_low=at(-0.5),
        logged_high=at(0.5),
        saved_kwh=likely * year_kwh,
        saved_money=likely * year_kwh * inputs.price_per_kwh,
        payback_years=payback(likely),
        payback_low=payback(high),
        payback_high=payback(low),
    )
