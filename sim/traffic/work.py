"""The moves to be done: when each arises, from where to where, and how long its handling takes.

Comes in: scenario, layout, streams.  Goes out: `Tasks`, in order of time.  After it: `traffic/world`.
Arrivals are a Poisson process whose rate changes by hour and weekday, by thinning (Lewis and Shedler,
"Simulation of nonhomogeneous Poisson processes by thinning", Naval Research Logistics Quarterly 26(3),
1979).  Aisle shares follow Bender's curve ("Mathematical modeling of the 20/80 rule", Journal of
Business Logistics 2(2), 1981; formula from memory), a table, or are alike.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.floor.layout import Layout
from sim.randomness import random_stream
from sim.records import FloatColumn, IntColumn
from sim.scenario.schema import Scenario, Trucks, Work
from sim.units import SECONDS_PER_DAY, SECONDS_PER_HOUR, SECONDS_PER_WEEK, WEEKDAYS

__all__ = ["KINDS", "Tasks", "aisle_shares", "bender_share", "draw_depths", "draw_tasks", "hourly_rates"]

KINDS: tuple[str, ...] = ("putaway", "retrieve", "replenish")


@dataclass(frozen=True)
class Tasks:
    """Moves to be done, ascending in time (n,).

    Attributes
    ----------
    time : when the move arises [s] (n,)
    work : index of the stream in the scenario (n,)
    kind : index into `KINDS` (n,)
    aisle, bay_m : where it is put away, fetched, or fetched first (n,)
    second_aisle, second_bay_m : where a replenishment is set down; -1 and nan otherwise (n,)
    door : dock door of a putaway or retrieval, -1 otherwise (n,)
    pick_s, set_s : handling at pick-up and set-down by truck group [s] (groups, n)
    """

    time: FloatColumn
    work: IntColumn
    kind: IntColumn
    aisle: IntColumn
    bay_m: FloatColumn
    second_aisle: IntColumn
    second_bay_m: FloatColumn
    door: IntColumn
    pick_s: FloatColumn
    set_s: FloatColumn

    def __len__(self) -> int:
        return len(self.time)


def bender_share(rank: FloatColumn, skew: float) -> FloatColumn:
    """Return the share of the moves in the busiest part `rank` (0..1): (1 + A) x / (A + x).

    >>> round(float(bender_share(np.array([0.2]), 0.2)[0]), 6)
    0.6
    """
    share: FloatColumn = (1.0 + skew) * rank / (skew + rank)
    return share


def aisle_shares(work: Work, aisles: int) -> FloatColumn:
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


def hourly_rates(work: Work) -> FloatColumn:
    """Return moves an hour in each hour of the week from Monday 00:00 (168,)."""
    table = (work.per_hour,) * 24 if isinstance(work.per_hour, float | int) else work.per_hour
    works = np.array([day in work.days for day in WEEKDAYS])
    return (works[:, None] * np.array(table, dtype=np.float64)[None, :]).ravel()


def _draw_arrivals(
    rng: np.random.Generator, rates: FloatColumn, offset_s: float, end_s: float
) -> FloatColumn:
    """Thin a Poisson process of the highest rate; offset_s is second 0 within the week."""
    top = float(rates.max())
    candidates = np.sort(rng.random(rng.poisson(top * end_s / SECONDS_PER_HOUR)) * end_s)
    hour = ((candidates + offset_s) % SECONDS_PER_WEEK // SECONDS_PER_HOUR).astype(np.int64)
    return candidates[rng.random(len(candidates)) * top < rates[np.minimum(hour, 167)]]


def _draw_handling(rng: np.random.Generator, trucks: Trucks, count: int) -> FloatColumn:
    """Draw pick-up and set-down times of the gamma family (2, n)."""
    mean, cv = trucks.handling_mean_s, trucks.handling_cv
    if cv == 0.0:
        return np.full((2, count), mean)
    shape = 1.0 / cv**2
    return rng.standard_gamma(shape, (count, 2)).T * (mean / shape)


def _draw_stream(
    scenario: Scenario, layout: Layout, replication: int, number: int, offset_s: float
) -> list[np.ndarray]:
    """Draw one stream of moves; columns in the order of `Tasks`, each with memory of its own."""
    work = scenario.work[number]

    def stream(name: str, *sub: int) -> np.random.Generator:
        return random_stream(scenario.seed, replication, name, number, *sub)

    time = _draw_arrivals(stream("arrivals"), hourly_rates(work), offset_s, scenario.duration_s)
    count = len(time)
    share = np.cumsum(aisle_shares(work, len(layout.aisles)))[:-1]
    aisle = np.searchsorted(share, stream("aisles").random((count, 2)), side="right")
    bay = draw_depths(stream("bays"), 2 * count, work.bay_skew).reshape(count, 2) * layout.length_m[aisle]
    is_rack_to_rack = work.kind == "replenish"
    door = stream("doors").integers(len(layout.door_m), size=count)
    handling = np.array(
        [
            _draw_handling(stream("handling", group), trucks, count)
            for group, trucks in enumerate(scenario.trucks)
        ]
    ).reshape(len(scenario.trucks), 2, count)
    return [
        time,
        np.full(count, number),
        np.full(count, KINDS.index(work.kind)),
        aisle[:, 0].copy(),
        bay[:, 0].copy(),
        aisle[:, 1].copy() if is_rack_to_rack else np.full(count, -1),
        bay[:, 1].copy() if is_rack_to_rack else np.full(count, np.nan),
        np.full(count, -1) if is_rack_to_rack else door,
        handling[:, 0].copy(),
        handling[:, 1].copy(),
    ]


def draw_tasks(scenario: Scenario, layout: Layout, replication: int) -> Tasks:
    """Draw every move of one replication.

    Each stream of moves and each truck group has draws of its own, so that a change in one of them
    leaves the others' times and places as they were.
    """
    if not scenario.work:
        nothing, none = np.zeros(0), np.zeros(0, dtype=np.int64)
        by_group = np.zeros((len(scenario.trucks), 0))
        return Tasks(nothing, none, none, none, nothing, none, nothing, none, by_group, by_group)
    start = scenario.start_datetime
    offset = (
        start.weekday() * SECONDS_PER_DAY
        + (start - start.replace(hour=0, minute=0, second=0, microsecond=0)).total_seconds()
    )
    streams = [
        _draw_stream(scenario, layout, replication, number, offset) for number in range(len(scenario.work))
    ]
    order = np.argsort(np.concatenate([columns[0] for columns in streams]), kind="stable")
    ordered = []
    while streams[0]:
        # column by column, each dropped once it is merged: a year of moves lies in memory once
        ordered.append(np.concatenate([columns.pop(0) for columns in streams], axis=-1)[..., order])
    return Tasks(*ordered)
