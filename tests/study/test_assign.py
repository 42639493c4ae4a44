"""The choice under shared limits, against all combinations; bounds that are never above the optimum."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import scipy.optimize
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from sim.study.decide.assign import (
    Columns,
    drop_beaten,
    find_nearest_choice,
    lagrangian_bound,
    reduced_costs,
    solve,
)
from sim.study.decide.fit import _nearest_to_hull
from sim.study.decide.groups import group_aisles


def columns_of(costs: list[list[float]], uses: list[list[list[float]]], most: list[float]) -> Columns:
    """Lay columns out from rows by unit: costs[unit][choice], uses[limit][unit][choice]."""
    unit = np.repeat(np.arange(len(costs)), [len(row) for row in costs])
    label = np.concatenate([np.arange(len(row)) for row in costs])
    use = np.array([np.concatenate(line) for line in uses]).reshape(len(uses), len(unit))
    return Columns(unit, label, np.concatenate(costs), use, np.array(most, dtype=np.float64))


def all_choices(columns: Columns) -> list[np.ndarray]:
    """Return every combination of one row per unit."""
    groups = [np.flatnonzero(columns.unit == unit) for unit in range(len(columns.starts))]
    return [np.array(rows) for rows in itertools.product(*groups)]


def best_of_all(columns: Columns) -> float:
    """Try everything."""
    return min(
        (math.fsum(columns.cost[rows]) for rows in all_choices(columns) if columns.keeps(rows)),
        default=math.inf,
    )


NUMBERS = st.integers(0, 9).map(float)


@st.composite
def problems(draw: st.DrawFn) -> Columns:
    """Draw a few units with a few choices each; whole numbers, so that limits are often met exactly."""
    units, limits = draw(st.integers(1, 4)), draw(st.integers(1, 3))
    sizes = [draw(st.integers(1, 5)) for _ in range(units)]
    costs = [[draw(NUMBERS) for _ in range(size)] for size in sizes]
    uses = [[[draw(NUMBERS) for _ in range(size)] for size in sizes] for _ in range(limits)]
    most = [float(draw(st.integers(0, 6 * units))) for _ in range(limits)]
    return columns_of(costs, uses, most)


@given(problems())
@settings(max_examples=150, deadline=None)
def test_the_choice_is_the_best_of_all_or_within_its_proved_gap(columns):
    best = best_of_all(columns)
    found = solve(columns, gap=0.0)
    assert (found is None) == math.isinf(best)
    if found is not None:
        rows = columns.starts + found.label
        assert columns.keeps(rows)
        assert found.cost == pytest.approx(math.fsum(columns.cost[rows]))
        assert found.cost <= best + 1e-6 + found.gap * abs(best)
        assert found.bound <= best + 1e-6


@given(problems(), st.lists(st.floats(0.0, 20.0), min_size=3, max_size=3))
@settings(max_examples=150, deadline=None)
def test_no_multipliers_give_a_bound_above_the_optimum(columns, multipliers):
    best = best_of_all(columns)
    assume(math.isfinite(best))
    prices = np.array(multipliers[: len(columns.most)])
    assert lagrangian_bound(columns, prices) <= best + 1e-9
    # the bound without the limits' own term is no bound: the check can fail
    if prices @ columns.most > 100.0:
        spoilt = lagrangian_bound(columns, prices) + float(prices @ columns.most)
        assert spoilt > lagrangian_bound(columns, prices)


@given(problems())
@settings(max_examples=150, deadline=None)
def test_pruning_loses_nothing(columns):
    assert best_of_all(drop_beaten(columns)) == best_of_all(columns)


@given(problems())
@settings(max_examples=100, deadline=None)
def test_the_nearest_choice_passes_its_limits_by_the_least(columns):
    assume(math.isinf(best_of_all(columns)))
    found = find_nearest_choice(columns)
    largest = np.abs(columns.use).max(axis=1)
    scale = np.where(columns.most > 0.0, columns.most, np.where(largest > 0.0, largest, 1.0))

    def excess(rows: np.ndarray) -> float:
        return float(((columns.use[:, rows].sum(axis=1) - columns.most) / scale).max())

    least = min(excess(rows) for rows in all_choices(columns))
    assert found.excess == pytest.approx(least, abs=2e-3 * max(1.0, least))
    assert excess(columns.starts + found.label) == pytest.approx(found.excess, abs=1e-9)


def test_without_limits_every_unit_takes_its_cheapest():
    columns = columns_of([[3.0, 1.0, 2.0], [5.0, 4.0], [0.5]], [], [])
    found = solve(columns)
    assert found is not None
    assert found.label.tolist() == [1, 1, 0]
    assert found.cost == found.bound == 5.5 == best_of_all(columns)
    assert reduced_costs(columns).tolist() == [2.0, 0.0, 1.0, 1.0, 0.0, 0.0]


NARROW = columns_of([[1.0, 4.0, 9.0], [2.0, 6.0, 12.0]], [[[6.0, 3.0, 1.0], [6.0, 3.0, 2.0]]], [8.0])
"""At most 8 in use: 3 + 3 costs 10, 1 + 6 costs 11, 6 + 2 costs 13; the cheapest pair, 6 + 6, is too much."""


@pytest.mark.parametrize("wrong", [1, 2, 3])
def test_a_solver_that_passes_a_limit_is_asked_again_a_hair_tighter(wrong, monkeypatch):
    """As HiGHS may within its tolerance: it answers the cheapest pair so often, then as it should."""
    asked: list[float] = []
    right = scipy.optimize.milp

    def by_a_hair(cost, *, constraints, **more):
        asked.append(float(constraints[1].ub[0]))
        found = right(cost, constraints=constraints, **more)
        if len(asked) <= wrong:
            found.x = np.array([1.0, 0.0, 0.0, 1.0, 0.0, 0.0])
        return found

    monkeypatch.setattr("scipy.optimize.milp", by_a_hair)
    found = solve(NARROW, gap=0.0)
    assert found is not None
    assert found.label.tolist() == [1, 1]
    assert found.cost == best_of_all(NARROW) == 10.0
    # the limit is 1 to the solver, and each time a little less
    assert asked[: wrong + 1] == [1.0, 1.0 - 1e-7, 1.0 - 1e-6, 1.0 - 1e-5][: wrong + 1]


def test_a_solver_that_never_keeps_the_limits_is_not_believed(monkeypatch):
    wrong = scipy.optimize.OptimizeResult(x=np.array([1.0, 0.0, 0.0, 1.0, 0.0, 0.0]), mip_dual_bound=0.0)
    monkeypatch.setattr("scipy.optimize.milp", lambda *_, **__: wrong)
    assert solve(NARROW) is None


def test_many_units_are_within_the_proved_gap():
    """40 units, 400 choices, 3 limits: the bound is a proof, so the gap is all there is to check."""
    rng = np.random.default_rng(3)
    timeout = np.tile(np.linspace(0.5, 30.0, 400), (40, 1))
    rate = rng.exponential(0.2, (40, 1))
    cost = 100.0 - 60.0 * np.exp(-rate * timeout) + 0.01 * rng.random((40, 400))
    uses = [np.exp(-timeout / 3.0) * rate, np.exp(-rate * timeout) * rate, np.exp(-timeout / 5.0) * rate]
    most = [0.5 * float(use.mean(axis=1).sum()) for use in uses]
    columns = columns_of(list(cost), [list(use) for use in uses], most)
    found = solve(columns)
    assert found is not None
    assert columns.keeps(columns.starts + found.label)
    assert 0.0 <= found.gap <= 2e-4
    assert found.bound <= found.cost
    # tighter limits cost more, looser ones less
    tighter = solve(columns_of(list(cost), [list(use) for use in uses], [0.9 * value for value in most]))
    assert tighter is not None
    assert tighter.cost >= found.cost * (1.0 - 2e-4)


@given(st.lists(st.integers(0, 12), min_size=1, max_size=8), st.integers(1, 4))
@settings(max_examples=150, deadline=None)
def test_groups_have_the_least_squares_of_all_partitions(figures, groups):
    """Fisher 1958: contiguous in the figure; compared with every way to put the aisles into groups."""
    values = np.array(figures, dtype=np.float64)

    def squares(number: np.ndarray) -> float:
        return sum(
            float(((values[number == one] - values[number == one].mean()) ** 2).sum()) for one in set(number)
        )

    found = group_aisles(values, groups)
    assert set(found) == set(range(len(set(found.tolist()))))
    assert len(set(found.tolist())) == min(groups, len(set(figures)))
    best = (
        min(squares(np.array(number)) for number in itertools.product(range(groups), repeat=len(figures)))
        if len(figures) <= 6
        else squares(found)
    )
    assert squares(found) == pytest.approx(best, abs=1e-9)
    order = np.argsort(values, kind="stable")
    assert (np.diff(found[order]) >= 0).all()


def test_short_lists_are_picked_in_turn_and_a_short_offer_is_kept_whole():
    """Two aisles, two names: of three candidates of the first name two are kept, both of the second.

    Without limits the reduced cost is the cost above the aisle's least.  Aisle 0 wants candidate 2 first,
    aisle 1 candidate 1; then the list is full.
    """
    costs = [[5.0, 4.0, 1.0], [3.0, 2.0], [9.0, 6.0, 8.0], [1.0, 2.0]]
    first, second = _nearest_to_hull(columns_of(costs, [], []), [3, 2], 2)
    assert first.tolist() == [1, 2]
    assert second.tolist() == [0, 1]
    # with the last aisle's wish turned round another candidate is kept
    costs[2] = [6.0, 9.0, 8.0]
    assert _nearest_to_hull(columns_of(costs, [], []), [3, 2], 2)[0].tolist() == [0, 2]
