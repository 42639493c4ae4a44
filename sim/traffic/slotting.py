"""Where the goods lie: which aisle, how deep in it, on which tier.

Comes in: a stream's placing keys, layout, random streams.  Goes out: shares, depths, heights.  Before:
`scenario`; after: `traffic/work`.  Aisle shares follow Bender's curve ("Mathematical modeling of the 20/80
rule", Journal of Business Logistics 2(2), 1981; formula from memory), a table, or are alike.  Classes of
places, nearest first: Hausman, Schwarz and Graves, "Optimal storage assignment in automatic warehousing
systems", Management Science 22(6), 1976.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.records import FloatColumn, IntColumn
from sim.scenario.tables.traffic import Placing

__all__ = ["Reach", "aisle_shares", "bender_share", "draw_class_places", "draw_depths", "draw_heights"]


def bender_share(rank: FloatColumn, skew: float) -> FloatColumn:
    """Return the share of the moves in the busiest part `rank` (0..1): (1 + A) x / (A + x).

    >>> round(float(bender_share(np.array([0.2]), 0.2)[0]), 6)
    0.6
    """
    share: FloatColumn = (1.0 + skew) * rank / (skew + rank)
    return share


def aisle_shares(work: Placing, aisles: int) -> FloatColumn:
    """Return each aisle's share of a stream's moves, rank 1 being the first aisle (A,).

    `top_20pct_share` s stands for A = 0.2 (1 - s) / (s - 0.2), the curve through (0.2, s).
    """
    if work.aisle_shares is not None:
        table = np.array(work.aisle_shares, dtype=np.float64)
        shares: FloatColumn = table / table.sum()
        return shares
    skew = work.aisle_skew
    if work.top_20pct_share is not None and work.top_20pct_share > 0.2:
        skew = 0.2 * (1.0 - work.top_20pct_share) / (work.top_20pct_share - 0.2)
    if not skew:
        return np.full(aisles, 1.0 / aisles)
    return np.diff(bender_share(np.arange(aisles + 1) / aisles, skew))


def draw_depths(rng: np.random.Generator, count: int, skew: float) -> FloatColumn:
    """Draw depths as shares of the aisle's length, front bays busiest by Bender's curve; 0: uniform (n,)."""
    draw = rng.random(count)
    return draw if not skew else skew * draw / (1.0 + skew - draw)


def draw_heights(rng: np.random.Generator, count: int, tiers: int, tier_height_m: float) -> FloatColumn:
    """Draw tiers, all alike, as heights above the lowest [m] (n,)."""
    heights: FloatColumn = rng.integers(tiers, size=count) * np.float64(tier_height_m)
    return heights


@dataclass(frozen=True)
class Reach:
    """How long a truck takes to the far end of the rack and to its top, for ranking places by time (n,).

    Attributes
    ----------
    along : to the far end [s]
    up : to the top [s]; 0 where only the depth counts
    """

    along: FloatColumn
    up: FloatColumn


def draw_class_places(
    rng: np.random.Generator, classes: tuple[tuple[float, float], ...], reach: Reach
) -> tuple[FloatColumn, FloatColumn]:
    """Draw places class by class, the classes lying one behind the other in order of travel time.

    A truck that moves along and up at once reaches in a given time an L-shaped set of places (the longer of
    the two times decides), so that is the shape of the classes; where only the depth counts they are
    stretches of the aisle.

    Parameters
    ----------
    rng : of the bays
    classes : rows of (share of the places, share of the moves), nearest first, either summing to 1
    reach : of the racks drawn for (n,)

    Returns
    -------
    depth and height as shares of the rack's length and of its height, 0..1 (n,) each
    """
    count = len(reach.along)
    draw = rng.random((4, count))
    table = np.array(classes, dtype=np.float64)
    moves, edges = np.cumsum(table[:, 1]), np.concatenate([[0.0], np.cumsum(table[:, 0])])
    number: IntColumn = np.searchsorted(moves[:-1], draw[0], side="right")
    rank = edges[number] + draw[1] * (edges[number + 1] - edges[number])
    is_long_along = reach.along >= reach.up
    longest = np.maximum(reach.along, reach.up)
    shape = np.minimum(reach.along, reach.up) / np.where(longest > 0.0, longest, 1.0)
    # places reached within time t (whole rack 1, shape Q): t^2 / Q up to t = Q, then t
    time = np.where(rank <= shape, np.sqrt(rank * shape), rank)
    is_corner = time <= shape
    on_short_edge = is_corner & (draw[2] < 0.5)
    long = np.where(on_short_edge, draw[3] * time, time)
    span = np.where(shape > 0.0, shape, 1.0)
    short = np.where(on_short_edge, time, draw[3] * np.where(is_corner, time, shape)) / span
    short = np.where(shape > 0.0, short, draw[3])
    return np.where(is_long_along, long, short), np.where(is_long_along, short, long)
