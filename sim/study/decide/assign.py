"""One choice for every unit under shared limits, at least cost, with a proved gap.

Comes in: columns (a unit's choices with their cost and their use of each limit).  Goes out: the choices, the
cost and a lower bound that no choice can go below.  Pure; after it: `study/decide/recommend`.

A multiple-choice knapsack: minimise sum c x with one x = 1 in every unit and sum a x <= b.  Choices that
another choice of the same unit beats in cost and in every use are dropped first.  The linear relaxation then
gives multipliers; with them every choice has a reduced cost, and one whose reduced cost exceeds the room
between the bound and a solution in hand cannot be part of a better one (it lies above the hull).  The
solution in hand comes from the few choices of each unit next to the hull; if it is not near enough to the
bound, all that are left are searched.  Search: `scipy.optimize.milp` (HiGHS, branch and cut).

References
----------
Kellerer, Pferschy and Pisinger, "Knapsack Problems", 2004, chapter 11 (from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sim.records import FloatColumn, IntColumn
from sim.study.sweeping.front import find_front

__all__ = [
    "Columns",
    "Nearest",
    "Solution",
    "drop_beaten",
    "find_nearest_choice",
    "lagrangian_bound",
    "reduced_costs",
    "solve",
]

GAP = 1e-4
"""Relative gap at which the search may stop."""
TIME_LIMIT_S = 60.0
_SLACK = 1e-9
_CORE = 12


@dataclass(frozen=True)
class Columns:
    """Everything that may be chosen.

    Attributes
    ----------
    unit : ascending from 0, every unit has a choice (n,)
    label : of the choice, for the caller (n,)
    cost : (n,)
    use : of each limit (L, n)
    most : each limit (L,)
    """

    unit: IntColumn
    label: IntColumn
    cost: FloatColumn
    use: NDArray[np.float64]
    most: FloatColumn

    def __len__(self) -> int:
        return len(self.unit)

    @property
    def starts(self) -> IntColumn:
        """First row of each unit (U,)."""
        return np.flatnonzero(np.diff(self.unit, prepend=-1))

    def take(self, rows: IntColumn | NDArray[np.bool_]) -> Columns:
        """Return some rows, in order."""
        return Columns(self.unit[rows], self.label[rows], self.cost[rows], self.use[:, rows], self.most)

    def keeps(self, rows: IntColumn) -> bool:
        """Say whether a choice of rows keeps every limit."""
        used = [math.fsum(line[rows]) for line in self.use]
        return all(
            value <= most + _SLACK * max(abs(most), 1.0)
            for value, most in zip(used, self.most.tolist(), strict=True)
        )


@dataclass(frozen=True)
class Solution:
    """A choice for every unit.

    Attributes
    ----------
    label : of the choice (U,)
    cost : of all together
    bound : no choice that keeps the limits costs less
    considered, kept : columns before and after pruning
    """

    label: IntColumn
    cost: float
    bound: float
    considered: int
    kept: int

    @property
    def gap(self) -> float:
        """Proved distance from the optimum, over the cost."""
        return max(0.0, self.cost - self.bound) / abs(self.cost) if self.cost else 0.0


def drop_beaten(columns: Columns) -> Columns:
    """Drop every choice that another one of its unit beats or equals; nothing better is lost."""
    kept = []
    table = np.vstack([columns.cost, columns.use]).T
    ends = np.append(columns.starts[1:], len(columns))
    for first, last in zip(columns.starts.tolist(), ends.tolist(), strict=True):
        own = table[first:last]
        _, once = np.unique(own, axis=0, return_index=True)
        once.sort()
        kept.append(first + once[find_front(own[once])])
    return columns.take(np.concatenate(kept))


def lagrangian_bound(columns: Columns, multipliers: FloatColumn) -> float:
    """Return a lower bound of the cost of any choice that keeps the limits.

    Parameters
    ----------
    columns : the choices
    multipliers : price of each limit, none below 0 (L,)

    Notes
    -----
    sum over units of min (c + m a) - m b: weak duality, whatever the multipliers.
    """
    priced = columns.cost + multipliers @ columns.use
    least = np.minimum.reduceat(priced, columns.starts)
    return math.fsum(least) - math.fsum(multipliers * columns.most)


def solve(columns: Columns, *, gap: float = GAP) -> Solution | None:
    """Choose once for every unit.

    Parameters
    ----------
    columns : the choices; costs and uses finite
    gap : relative gap at which the search may stop

    Returns
    -------
    None where no choice keeps every limit
    """
    if len(columns.starts) == 1:
        return _try_all(columns)
    pruned = drop_beaten(columns)
    multipliers = _relax(pruned)
    if multipliers is None:
        return None
    bound = lagrangian_bound(pruned, multipliers)
    reduced = _reduce(pruned, multipliers)
    in_hand = _search_core(pruned, reduced, gap)
    searched = pruned
    if in_hand is not None:
        cost = math.fsum(pruned.cost[in_hand])
        keep = reduced <= cost - bound + 1e-9 * (1.0 + abs(bound))
        keep[in_hand] = True
        searched, in_hand = pruned.take(keep), np.cumsum(keep)[in_hand] - 1
        if cost - bound <= gap * abs(cost):
            return Solution(searched.label[in_hand], cost, min(cost, bound), len(columns), len(searched))
    rows, found_bound = _branch(searched, gap)
    costs = [math.fsum(searched.cost[choice]) for choice in (rows, in_hand) if choice is not None]
    if not costs:
        return None
    best = rows if rows is not None and math.fsum(searched.cost[rows]) == min(costs) else in_hand
    assert best is not None
    proved = min(min(costs), max(bound, found_bound))
    return Solution(searched.label[best], min(costs), proved, len(columns), len(searched))


def _is_impossible(use: NDArray[np.float64], most: FloatColumn, once: Any) -> bool:
    """Say whether even shares of choices cannot keep the limits: the least excess is above 0."""
    from scipy.optimize import linprog
    from scipy.sparse import csr_array, hstack

    units, count = once.shape
    found: Any = linprog(  # type: ignore[call-overload]
        np.append(np.zeros(count), 1.0),
        A_ub=hstack([csr_array(use), csr_array(-np.ones((len(most), 1)))]),
        b_ub=most,
        A_eq=hstack([once, csr_array((units, 1))]),
        b_eq=np.ones(units),
        method="highs",
    )
    return bool(found.success and found.fun > 1e-9)


def _search_core(columns: Columns, reduced: FloatColumn, gap: float) -> IntColumn | None:
    """Search among the few choices of each unit with the least reduced cost; None if they do not do."""
    ends = np.append(columns.starts[1:], len(columns))
    near = np.concatenate(
        [
            first + np.sort(np.argsort(reduced[first:last], kind="stable")[:_CORE])
            for first, last in zip(columns.starts.tolist(), ends.tolist(), strict=True)
        ]
    )
    rows, _ = _branch(columns.take(near), gap)
    return None if rows is None else near[rows]


def _reduce(columns: Columns, multipliers: FloatColumn) -> FloatColumn:
    """Cost at the multipliers' prices above the unit's least (n,)."""
    priced = columns.cost + multipliers @ columns.use
    least = np.minimum.reduceat(priced, columns.starts)
    reduced: FloatColumn = priced - np.repeat(least, np.diff(np.append(columns.starts, len(columns))))
    return reduced


def reduced_costs(columns: Columns) -> FloatColumn:
    """Return how far each choice lies above the hull at the best prices of the limits; 0 on it (n,)."""
    multipliers = _relax(columns)
    return _reduce(columns, np.zeros(len(columns.most)) if multipliers is None else multipliers)


def _try_all(columns: Columns) -> Solution | None:
    """Choose for a single unit: every choice is looked at, nothing is left to prove."""
    within = columns.most + _SLACK * np.maximum(np.abs(columns.most), 1.0)
    kept = np.flatnonzero((columns.use <= within[:, None]).all(axis=0))
    if not len(kept):
        return None
    best = kept[np.argmin(columns.cost[kept])]
    cost = float(columns.cost[best])
    return Solution(columns.label[[best]], cost, cost, len(columns), len(kept))


def _scaled(columns: Columns) -> tuple[NDArray[np.float64], FloatColumn]:
    """Uses and limits, each limit taken to 1 (or 0): solvers work with absolute tolerances."""
    largest = np.abs(columns.use).max(axis=1, initial=0.0)
    scale = np.where(columns.most > 0.0, columns.most, np.where(largest > 0.0, largest, 1.0))
    return columns.use / scale[:, None], columns.most / scale


def _once(columns: Columns) -> Any:
    """One choice for each unit, as rows of a sparse matrix (U, n)."""
    from scipy.sparse import csr_array

    # the solver takes places as 32-bit numbers; SciPy 1.13 hands them on as they are
    places = (columns.unit.astype(np.int32), np.arange(len(columns), dtype=np.int32))
    return csr_array((np.ones(len(columns)), places), shape=(len(columns.starts), len(columns)))


def _relax(columns: Columns) -> FloatColumn | None:
    """Solve the linear relaxation; return its multipliers, None where even it is impossible."""
    if not len(columns.most):
        return np.zeros(0)
    from scipy.optimize import linprog
    from scipy.sparse import csr_array

    use, most = _scaled(columns)
    units = len(columns.starts)
    once = _once(columns)
    size = max(1.0, float(np.abs(columns.cost).max(initial=0.0)))
    found: Any = linprog(  # type: ignore[call-overload]
        columns.cost / size, A_ub=csr_array(use), b_ub=most, A_eq=once, b_eq=np.ones(units), method="highs"
    )
    if not found.success:
        return None if _is_impossible(use, most, once) else np.zeros(len(most))
    prices = np.maximum(0.0, -np.asarray(found.ineqlin.marginals)) * size
    scale = np.divide(columns.most, most, out=np.abs(columns.use).max(axis=1, initial=0.0), where=most > 0.0)
    per_unit: FloatColumn = np.divide(prices, scale, out=np.zeros_like(prices), where=scale > 0.0)
    return per_unit


def _branch(columns: Columns, gap: float) -> tuple[IntColumn | None, float]:
    """Search by branch and cut; return the rows of the best choice found and the bound reached."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    use, most = _scaled(columns)
    count, units = len(columns), len(columns.starts)
    once = _once(columns)
    size = max(1.0, float(np.abs(columns.cost).max(initial=0.0)))
    found_bound = -math.inf
    # a solver's tolerance may let a limit be passed by a hair: then ask again, a hair tighter
    for margin in (0.0, 1e-7, 1e-6, 1e-5):
        constraints = [LinearConstraint(once, np.ones(units), np.ones(units))]
        if len(most):
            constraints.append(LinearConstraint(csr_array(use), -np.inf, most - margin))
        found = milp(
            columns.cost / size,
            integrality=np.ones(count, dtype=np.int64),
            bounds=Bounds(0.0, 1.0),
            constraints=constraints,
            options=_options(gap),
        )
        if margin == 0.0 and found.mip_dual_bound is not None:
            found_bound = float(found.mip_dual_bound) * size
        if found.x is None:
            return None, found_bound
        rows = _chosen(columns, found.x)
        if columns.keeps(rows):
            return rows, found_bound
    return None, found_bound


def _options(gap: float) -> Any:
    """How HiGHS searches.

    Without presolve: version 1.12 prints to the terminal when it mends a presolved solution (its issue 2783).
    """
    return {"mip_rel_gap": gap, "time_limit": TIME_LIMIT_S, "presolve": False}


def _chosen(columns: Columns, x: FloatColumn) -> IntColumn:
    """The row with the largest share of each unit."""
    ends = np.append(columns.starts[1:], len(columns))
    return np.array(
        [
            first + int(np.argmax(x[first:last]))
            for first, last in zip(columns.starts.tolist(), ends.tolist(), strict=True)
        ]
    )


@dataclass(frozen=True)
class Nearest:
    """The choice that passes its limits by the least, where none keeps them all.

    Attributes
    ----------
    label : of the choice (U,)
    excess : largest share by which a limit is passed; of a limit of 0, the share of the largest use
    """

    label: IntColumn
    excess: float


def find_nearest_choice(columns: Columns) -> Nearest:
    """Find the choice whose worst excess over a limit is least."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array, hstack

    use, most = _scaled(columns)
    pruned = drop_beaten(Columns(columns.unit, columns.label, columns.cost, use, most))
    use = pruned.use
    count, units = len(pruned), len(pruned.starts)
    once = _once(pruned)
    # the last variable is the excess; a little of the cost breaks ties
    size = max(1.0, float(np.abs(pruned.cost).sum()))
    found = milp(
        np.append(1e-6 * pruned.cost / size, 1.0),
        integrality=np.append(np.ones(count), 0.0),
        bounds=Bounds(np.zeros(count + 1), np.append(np.ones(count), np.inf)),
        constraints=[
            LinearConstraint(hstack([once, csr_array((units, 1))]), np.ones(units), np.ones(units)),
            LinearConstraint(hstack([csr_array(use), csr_array(-np.ones((len(most), 1)))]), -np.inf, most),
        ],
        options=_options(1e-3),
    )
    rows = _chosen(pruned, found.x[:-1]) if found.x is not None else pruned.starts
    excess = max(
        (math.fsum(line[rows]) - limit for line, limit in zip(use, most.tolist(), strict=True)), default=0.0
    )
    return Nearest(pruned.label[rows], max(0.0, float(excess)))
