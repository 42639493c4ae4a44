"""The trade-off: settings that no other setting beats, how much of the ground they cover, where it bends.

Comes in: figures of settings, a row per setting.  Goes out: indices, areas, a knee with its range.  Pure
arrays; after it: `study/sweeping/sweep`, `study/decide/recommend`, `show`.

Along the timeout alone energy rises and switching falls, so that every timeout is on the front; a setting
is beaten only through its level, its fades, or other keys.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn

__all__ = ["AIMS", "Aim", "Beaten", "Knee", "explain_beaten", "find_front", "find_knee", "hypervolume"]

Flags = NDArray[np.bool_]
Table = NDArray[np.float64]

_MOST_POINTS_IN_SPACE = 200
_BLOCK = 64


@dataclass(frozen=True)
class Aim:
    """An outcome that should be small, or large."""

    outcome: str
    is_maximised: bool = False

    @property
    def sign(self) -> float:
        """1 where small is good, -1 where large is good."""
        return -1.0 if self.is_maximised else 1.0


AIMS: tuple[Aim, ...] = (
    Aim("energy_kwh"),
    Aim("shortfall_truck_s"),
    Aim("false_offs"),
    Aim("switch_ups"),
)
"""What the front is made of unless others are named."""


def find_front(costs: Table) -> Flags:
    """Say which rows no other row beats; small is good.

    A row beats another if it is nowhere worse and somewhere better; equal rows do not beat each other.

    Parameters
    ----------
    costs : a row per setting, a column per aim (n, m); finite

    Returns
    -------
    (n,)

    Examples
    --------
    >>> find_front(np.array([[1.0, 3.0], [2.0, 2.0], [2.0, 3.0]])).tolist()
    [True, True, False]
    """
    count = len(costs)
    is_front = np.zeros(count, dtype=bool)
    if count == 0:
        return is_front
    distinct, back = np.unique(costs, axis=0, return_inverse=True)
    # the rows come sorted: whoever beats a row stands before it, so that one pass is enough; aim by aim, and
    # what is beaten is taken out now and then only, which is several times faster
    left, places = np.ascontiguousarray(distinct.T), np.arange(len(distinct))
    kept: list[int] = []
    while len(places):
        survives = np.ones(len(places), dtype=bool)
        for number in range(min(_BLOCK, len(places))):
            if survives[number]:
                kept.append(int(places[number]))
                survives &= (left < left[:, number : number + 1]).any(axis=0)
        survives[:_BLOCK] = False
        left, places = left[:, survives], places[survives]
    own = np.zeros(len(distinct), dtype=bool)
    own[kept] = True
    is_front[:] = own[back.reshape(-1)]
    return is_front


def hypervolume(costs: Table, reference: Sequence[float]) -> float:
    """Return the size of the ground that the rows beat, up to a reference point.

    Parameters
    ----------
    costs : a row per setting, small is good (n, m); rows not below the reference cover nothing
    reference : the worst corner (m,)

    Raises
    ------
    ValueError : more than 200 rows are on the front in more than two dimensions

    Notes
    -----
    Two dimensions: strips sorted by the first aim.  More: slices along the last aim, each an area of one
    dimension less (exact; the work grows fast, hence the limit).

    References
    ----------
    Zitzler and Thiele, "Multiobjective evolutionary algorithms: a comparative case study and the Strength
    Pareto approach", IEEE Transactions on Evolutionary Computation 3(4), 1999 (from memory).

    Examples
    --------
    >>> hypervolume(np.array([[1.0, 3.0], [2.0, 2.0], [3.0, 1.0]]), [4.0, 4.0])
    6.0
    """
    corner = np.asarray(reference, dtype=np.float64)
    inside = costs[(costs < corner).all(axis=1)]
    inside = np.unique(inside[find_front(inside)], axis=0)
    if len(inside) == 0:
        return 0.0
    if inside.shape[1] > 2 and len(inside) > _MOST_POINTS_IN_SPACE:
        raise ValueError(f"at most {_MOST_POINTS_IN_SPACE} points in more than two dimensions")
    return _volume(inside, corner)


def _volume(points: Table, corner: FloatColumn) -> float:
    """Volume of points that do not beat each other, sorted by the first aim."""
    if points.shape[1] == 1:
        return float(corner[0] - points[:, 0].min())
    if points.shape[1] == 2:
        width = corner[0] - points[:, 0]
        height = -np.diff(points[:, 1], prepend=corner[1])
        return float(np.sum(width * height))
    order = np.argsort(points[:, -1], kind="stable")
    depths = np.append(points[order, -1], corner[-1])
    total = 0.0
    for number in range(len(order)):
        thickness = depths[number + 1] - depths[number]
        if thickness > 0.0:
            slice_points = points[order[: number + 1], :-1]
            slice_front = np.unique(slice_points[find_front(slice_points)], axis=0)
            total += thickness * _volume(slice_front, corner[:-1])
    return total


@dataclass(frozen=True)
class Knee:
    """Where a trade-off bends most, which depends on the range looked at.

    Attributes
    ----------
    index : of the point farthest from the chord
    distance : from the chord, both axes scaled to 0..1 [-]
    first, last : the ends of the range, along the horizontal axis
    """

    index: int
    distance: float
    first: float
    last: float


def find_knee(across: FloatColumn, along: FloatColumn) -> Knee | None:
    """Find the point farthest from the straight line between the ends.

    Parameters
    ----------
    across, along : the curve, horizontal and vertical (n,); in any order, sorted here by `across`

    Returns
    -------
    None where there are fewer than three points, no width or no height

    References
    ----------
    Satopaa et al., "Finding a 'Kneedle' in a Haystack", 2011.

    Examples
    --------
    >>> find_knee(np.array([0.0, 1.0, 4.0]), np.array([4.0, 1.0, 0.0])).index
    1
    """
    order = np.argsort(across, kind="stable")
    horizontal, vertical = across[order], along[order]
    width = horizontal[-1] - horizontal[0] if len(order) else 0.0
    height = vertical[-1] - vertical[0] if len(order) else 0.0
    if len(order) < 3 or width == 0.0 or height == 0.0:
        return None
    share_across = (horizontal - horizontal[0]) / width
    share_along = (vertical - vertical[0]) / height
    gap = np.abs(share_along - share_across) / np.sqrt(2.0)
    at = int(np.argmax(gap))
    return Knee(int(order[at]), float(gap[at]), float(horizontal[0]), float(horizontal[-1]))


@dataclass(frozen=True)
class Beaten:
    """Which setting beats each one.

    Attributes
    ----------
    by : index of a setting on the front that beats it; -1 for settings on the front (n,)
    margin : how much less that setting has of every aim (n, m); 0 on the front
    """

    by: IntColumn
    margin: Table


def explain_beaten(costs: Table, is_front: Flags) -> Beaten:
    """Name for each beaten setting the one on the front that beats it by most in the first aim.

    Parameters
    ----------
    costs : small is good (n, m)
    is_front : from `find_front` (n,)
    """
    front = np.flatnonzero(is_front)
    by = np.full(len(costs), -1, dtype=np.int64)
    margin = np.zeros_like(costs)
    for row in np.flatnonzero(~is_front):
        better = front[(costs[front] <= costs[row]).all(axis=1)]
        best = better[np.argmin(costs[better, 0])]
        by[row] = best
        margin[row] = costs[row] - costs[best]
    return Beaten(by, margin)
