"""The front, its hypervolume and who beats whom, against slow twins."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sim.study.sweeping.front import explain_beaten, find_front, find_knee, hypervolume

ROWS = st.integers(1, 3).flatmap(
    lambda width: st.lists(
        st.lists(st.integers(0, 5), min_size=width, max_size=width), min_size=1, max_size=14
    )
)


def naive_front(rows: list[list[int]]) -> list[bool]:
    """Compare every row with every other one."""
    return [
        not any(
            all(a <= b for a, b in zip(other, row, strict=True))
            and any(a < b for a, b in zip(other, row, strict=True))
            for other in rows
        )
        for row in rows
    ]


def naive_volume(rows: list[list[int]], corner: list[int]) -> int:
    """Count the unit cells that some row beats: whole coordinates make this exact."""
    cells = itertools.product(*(range(size) for size in corner))
    return sum(
        any(all(a <= cell for a, cell in zip(row, place, strict=True)) for row in rows) for place in cells
    )


@given(ROWS)
def test_front_and_volume_are_those_of_the_slow_twins(rows):
    costs = np.array(rows, dtype=np.float64)
    assert find_front(costs).tolist() == naive_front(rows)
    corner = [5] * costs.shape[1]
    assert hypervolume(costs, corner) == pytest.approx(naive_volume(rows, corner), abs=1e-9)


@pytest.mark.parametrize("seed", range(6))
def test_the_front_of_more_rows_than_are_looked_at_together(seed):
    rows = np.random.default_rng(seed).integers(0, 40, (300, 4 + seed % 2))
    found = find_front(rows.astype(np.float64))
    assert found.tolist() == naive_front(rows.tolist())
    assert found.sum() > 20


@given(ROWS)
def test_each_beaten_row_names_one_that_beats_it(rows):
    costs = np.array(rows, dtype=np.float64)
    front = find_front(costs)
    beaten = explain_beaten(costs, front)
    for row, by in enumerate(beaten.by.tolist()):
        assert (by < 0) == front[row]
        if by >= 0:
            assert front[by]
            assert (beaten.margin[row] == costs[row] - costs[by]).all()
            assert (beaten.margin[row] >= 0.0).all()
            assert beaten.margin[row].any()
            better = [other for other in np.flatnonzero(front) if (costs[other] <= costs[row]).all()]
            assert costs[by, 0] == min(costs[other, 0] for other in better)


def check_front(costs, front):
    """No row beats one of the front, and each other row is beaten by one of the front."""
    best = costs[front]

    def is_beaten(rows, by):
        beats = (by <= rows[:, None]).all(axis=2) & (by < rows[:, None]).any(axis=2)
        return beats.any(axis=1)

    assert not any(is_beaten(best[first : first + 20], costs).any() for first in range(0, len(best), 20))
    others = costs[~front]
    assert all(is_beaten(others[first : first + 500], best).all() for first in range(0, len(others), 500))


def test_large_tables_are_no_trouble():
    """Every one of 20,000 rows; spoilt: one row of the front left out, a beaten one or all taken in."""
    costs = np.random.default_rng(1).random((20_000, 4))
    front = find_front(costs)
    check_front(costs, front)
    for row in (np.flatnonzero(front)[7], np.flatnonzero(~front)[7]):
        spoilt = front.copy()
        spoilt[row] = not front[row]
        with pytest.raises(AssertionError):
            check_front(costs, spoilt)
    with pytest.raises(AssertionError):
        check_front(costs, np.ones(len(costs), dtype=bool))


def test_too_many_points_in_space_are_refused():
    angle = np.linspace(0.01, 1.5, 300)
    points = np.column_stack([np.cos(angle), np.sin(angle), 0.5 * np.ones(300)])
    with pytest.raises(ValueError, match="at most 200"):
        hypervolume(points, [2.0, 2.0, 2.0])


def test_no_knee_without_a_curve():
    assert find_knee(np.array([1.0, 2.0]), np.array([2.0, 1.0])) is None
    assert find_knee(np.array([1.0, 1.0, 1.0]), np.array([2.0, 1.0, 0.0])) is None
    assert find_knee(np.array([1.0, 2.0, 3.0]), np.array([1.0, 1.0, 1.0])) is None
    assert find_knee(np.zeros(0), np.zeros(0)) is None
