"""The moves to be done: when each arises, from where to where, and how long its handling takes.

Comes in: scenario, layout, streams of random numbers.  Goes out: `Tasks`, in order of time.  Before:
`traffic/arrivals`, `traffic/slotting`, `traffic/tours`, `traffic/trailers`; after: `traffic/world`.
The streams are counted work first, then inbound, then outbound trailers.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from sim.floor.layout import Layout
from sim.randomness import random_stream
from sim.records import FloatColumn, IntColumn
from sim.scenario.schema import Inbound, Outbound, Scenario, Trucks, Work
from sim.traffic.arrivals import Week, draw_arrivals, draw_gamma, draw_lognormal, week_of, week_rates
from sim.traffic.dock import DockBook
from sim.traffic.fleet import Fleet, muster
from sim.traffic.gait import gait_of
from sim.traffic.slotting import (
    Reach,
    aisle_shares,
    bender_share,
    draw_class_places,
    draw_depths,
    draw_heights,
)
from sim.traffic.tours import Tours, join_tours, no_tours, order_tours
from sim.traffic.trailers import DockMoves, draw_dock

__all__ = [
    "KINDS",
    "Tasks",
    "aisle_shares",
    "all_streams",
    "bender_share",
    "draw_depths",
    "draw_tasks",
    "hourly_rates",
    "who_may_do",
]

KINDS: tuple[str, ...] = ("putaway", "retrieve", "replenish", "tour", "walk")
INBOUND_SUBSTREAM, OUTBOUND_SUBSTREAM = 1000, 2000
"""First number of the trailers' random substreams, so that another stream of work moves no trailer."""

Stream = Work | Inbound | Outbound


@dataclass(frozen=True)
class Tasks:
    """Moves to be done, ascending in time (n,).

    Attributes
    ----------
    time : when the move arises [s] (n,)
    work : index of the stream, see `all_streams` (n,)
    kind : index into `KINDS` (n,)
    aisle, bay_m : where it is put away, fetched, or fetched first (n,)
    second_aisle, second_bay_m : where a replenishment is set down; -1 and nan otherwise (n,)
    door : dock door of a putaway or retrieval, or where a tour or walk ends; -1 otherwise (n,)
    pick_s, set_s : handling at pick-up and set-down by truck group [s] (groups, n); a walk's dwell is a
        pick-up, a tour's picks lie in `tours`
    height_m, second_height_m : of either place above the lowest tier (n,)
    is_through : goes through the whole aisle, from mouth to mouth: some walks (n,)
    due : when it should be done, nan where nobody says [s] (n,)
    tour : index into `tours`, -1 for other kinds (n,)
    tours : the tours
    dock : what happened at the dock, None without trailers
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
    height_m: FloatColumn
    second_height_m: FloatColumn
    is_through: np.ndarray[Any, np.dtype[np.bool_]]
    due: FloatColumn
    tour: IntColumn
    tours: Tours
    dock: DockBook | None

    def __len__(self) -> int:
        return len(self.time)


def all_streams(scenario: Scenario) -> tuple[Stream, ...]:
    """Return every stream of moves: work, then inbound, then outbound trailers."""
    return (*scenario.work, *scenario.inbound, *scenario.outbound)


def who_may_do(scenario: Scenario) -> tuple[tuple[bool, ...], ...]:
    """Return for each stream which truck groups may do it (W, G).

    Without `trucks` a walk is done by any walkers, anything else by any trucks; trucks that unload trailers
    do nothing else.
    """
    unloaders = {name for inbound in scenario.inbound for name in inbound.unload_trucks or ()}
    table = []
    for stream in all_streams(scenario):
        kind = "walker" if isinstance(stream, Work) and stream.kind == "walk" else "truck"
        table.append(
            tuple(
                (trucks.kind == kind if stream.trucks is None else trucks.name in stream.trucks)
                and trucks.name not in unloaders
                for trucks in scenario.trucks
            )
        )
    return tuple(table)


def hourly_rates(work: Work) -> FloatColumn:
    """Return moves an hour in each hour of the week from Monday 00:00 (168,)."""
    return week_rates(work.per_hour, work.days)


def _draw_handling(rng: np.random.Generator, trucks: Trucks, count: int) -> FloatColumn:
    """Draw pick-up and set-down times of the gamma family (2, n)."""
    draws = draw_gamma(rng, trucks.handling_mean_s, trucks.handling_cv, 2 * count)
    return draws.reshape(count, 2).T


class _Stream:
    """One stream's draws, each purpose from a random stream of its own."""

    def __init__(
        self, scenario: Scenario, layout: Layout, replication: int, number: int, substream: int
    ) -> None:
        self.scenario, self.layout, self.replication = scenario, layout, replication
        self.number, self.substream = number, substream
        self.keys = all_streams(scenario)[number]

    def rng(self, name: str, *sub: int) -> np.random.Generator:
        """Return the generator of one purpose."""
        return random_stream(self.scenario.seed, self.replication, name, self.substream, *sub)

    def places(self, count: int, each: int) -> tuple[IntColumn, FloatColumn, FloatColumn]:
        """Draw aisle, depth and height of so many places for each of some moves (n, each)."""
        keys, layout, floor = self.keys, self.layout, self.scenario.floor
        share = np.cumsum(aisle_shares(keys, len(layout.aisles)))[:-1]
        aisle = np.searchsorted(share, self.rng("aisles").random((count, each)), side="right")
        tiers = floor.tiers if keys.tiers is None else min(keys.tiers, floor.tiers)
        heights = np.broadcast_to(np.float64(0.0), (count, each))
        if tiers > 1:
            drawn = draw_heights(self.rng("tiers"), each * count, tiers, floor.tier_height_m)
            heights = drawn.reshape(count, each)
        if keys.bay_classes is None:
            depth = draw_depths(self.rng("bays"), each * count, keys.bay_skew).reshape(count, each)
            return aisle, depth * layout.length_m[aisle], heights
        along, up = self._times_to_the_ends(aisle.ravel(), tiers)
        deep, high = draw_class_places(self.rng("bays"), keys.bay_classes, Reach(along, up))
        if tiers > 1 and up.any():
            tier = np.minimum((high * tiers).astype(np.int64), tiers - 1).reshape(count, each)
            heights = tier * np.float64(floor.tier_height_m)
        return aisle, deep.reshape(count, each) * layout.length_m[aisle], heights

    def _times_to_the_ends(self, aisle: IntColumn, tiers: int) -> tuple[FloatColumn, FloatColumn]:
        """Times to the rack's far end and top by the first group that may do the work [s] (n,)."""
        able = who_may_do(self.scenario)[self.number]
        gait = gait_of(next(trucks for trucks, may in zip(self.scenario.trucks, able, strict=True) if may))
        top_m = (tiers - 1) * self.scenario.floor.tier_height_m
        up = top_m * gait.up if gait.lifts_while_travelling else 0.0
        along: FloatColumn = self.layout.length_m[aisle] / gait.aisle_empty
        return along, np.full(len(aisle), up)

    def dwell(self, count: int) -> FloatColumn | None:
        """Draw stays of a walk or tour, None where the handling time stands for them [s] (n,)."""
        work = self.keys
        assert isinstance(work, Work)
        if work.dwell_median_s is not None:
            return draw_lognormal(self.rng("dwell"), work.dwell_median_s, work.dwell_spread, count)
        if work.dwell_mean_s is None:
            return None
        return draw_gamma(self.rng("dwell"), work.dwell_mean_s, work.dwell_cv, count)

    def handling(self, count: int) -> tuple[FloatColumn, FloatColumn]:
        """Draw pick-up and set-down times by truck group (groups, n) each."""
        groups = self.scenario.trucks
        draws = np.array(
            [
                _draw_handling(self.rng("handling", group), trucks, count)
                for group, trucks in enumerate(groups)
            ]
        ).reshape(len(groups), 2, count)
        return draws[:, 0].copy(), draws[:, 1].copy()

    def tours(self, count: int) -> Tours:
        """Draw the lines of tours and put them in order."""
        work = self.keys
        assert isinstance(work, Work)
        assert work.lines_per_tour is not None
        lines = work.lines_per_tour
        aisle, bay, height = self.places(count, lines)
        dwell = self.dwell(count * lines)
        if dwell is not None:
            pick = np.tile(dwell.reshape(1, count, lines), (len(self.scenario.trucks), 1, 1))
            return order_tours(self.layout, aisle, bay, height, pick, work.routing)
        pick = np.array(
            [
                draw_gamma(
                    self.rng("handling", group, 1), trucks.handling_mean_s, trucks.handling_cv, count * lines
                )
                for group, trucks in enumerate(self.scenario.trucks)
            ]
        ).reshape(len(self.scenario.trucks), count, lines)
        return order_tours(self.layout, aisle, bay, height, pick, work.routing)

    def moves(
        self, time: FloatColumn, kind: str, door: IntColumn | None, due: FloatColumn | None
    ) -> _Columns:
        """Put the columns of `Tasks` together for moves that arise at given times."""
        count, layout, work = len(time), self.layout, self.keys
        pick, put = self.handling(count)
        tours = None
        if kind == "tour":
            tours = self.tours(count)
            begin = tours.first_visit[:-1]
            aisle, bay = tours.aisle[begin][:, None], tours.bay_m[tours.first_line[begin]][:, None]
            height = np.zeros((count, 1))
        else:
            aisle, bay, height = self.places(count, 2)
        if isinstance(work, Work) and work.kind == "walk":
            dwell = self.dwell(count)
            assert dwell is not None
            pick, put = np.tile(dwell, (len(pick), 1)), np.zeros_like(put)
            height = np.zeros((count, 2))
        is_rack_to_rack = kind == "replenish"
        if door is None:
            door = self.rng("doors").integers(len(layout.door_m), size=count)
        return _Columns(
            time=time,
            work=np.full(count, self.number),
            kind=np.full(count, KINDS.index(kind)),
            aisle=aisle[:, 0].copy(),
            bay_m=bay[:, 0].copy(),
            second_aisle=aisle[:, 1].copy() if is_rack_to_rack else np.full(count, -1),
            second_bay_m=bay[:, 1].copy() if is_rack_to_rack else np.full(count, np.nan),
            door=np.full(count, -1) if is_rack_to_rack else door,
            pick_s=pick,
            set_s=put,
            height_m=height[:, 0],
            second_height_m=height[:, 1] if is_rack_to_rack else np.broadcast_to(np.float64(0.0), count),
            is_through=np.broadcast_to(np.bool_(isinstance(work, Work) and work.through), count),
            due=np.broadcast_to(np.float64(np.nan), count) if due is None else due,
            tour=np.broadcast_to(np.int64(-1), count) if tours is None else np.arange(count),
            tours=tours,
        )


@dataclass
class _Columns:
    """Columns of `Tasks` of one stream; those that are alike throughout take no memory."""

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
    height_m: FloatColumn
    second_height_m: FloatColumn
    is_through: np.ndarray[Any, np.dtype[np.bool_]]
    due: FloatColumn
    tour: IntColumn
    tours: Tours | None


def draw_tasks(scenario: Scenario, layout: Layout, replication: int) -> Tasks:
    """Draw every move of one replication.

    Each stream of moves and each truck group has draws of its own, so that a change in one of them
    leaves the others' times and places as they were.
    """
    week = week_of(scenario, replication)
    groups = len(scenario.trucks)
    parts = []
    for number, work in enumerate(scenario.work):
        stream = _Stream(scenario, layout, replication, number, number)
        time = draw_arrivals(stream.rng("arrivals"), hourly_rates(work), week)
        parts.append(stream.moves(time, work.kind, None, None))
    dock = _draw_trailers(scenario, layout, replication, week)
    for number, moves in enumerate(() if dock is None else dock.streams, start=len(scenario.work)):
        inbound = number < len(scenario.work) + len(scenario.inbound)
        first = INBOUND_SUBSTREAM if inbound else OUTBOUND_SUBSTREAM - len(scenario.inbound)
        stream = _Stream(scenario, layout, replication, number, first + number - len(scenario.work))
        kind = "putaway" if inbound else "retrieve"
        parts.append(stream.moves(moves.time, kind, moves.door, moves.due))
    return _merge(parts, groups, None if dock is None else dock.book)


def _draw_trailers(scenario: Scenario, layout: Layout, replication: int, week: Week) -> DockMoves | None:
    """Work the dock where there are trailers."""
    if not scenario.inbound and not scenario.outbound:
        return None
    fleet: Fleet = muster(scenario)
    return draw_dock(scenario, len(layout.door_m), fleet, week, replication)


def _merge(parts: list[_Columns], groups: int, dock: DockBook | None) -> Tasks:
    """Put the streams together in order of time."""
    if not parts:
        nothing, none = np.zeros(0), np.zeros(0, dtype=np.int64)
        by_group, never = np.zeros((groups, 0)), np.zeros(0, dtype=bool)
        return Tasks(
            nothing, none, none, none, nothing, none, nothing, none, by_group, by_group, nothing, nothing,
            never, nothing, none, no_tours(groups), dock,
        )
    order = np.argsort(np.concatenate([part.time for part in parts]), kind="stable")
    before = 0
    for part in parts:
        if part.tours is not None:
            part.tour = part.tour + before
            before += len(part.tours)
    tours = [part.tours for part in parts if part.tours is not None]
    merged: dict[str, Any] = {"tours": join_tours(tours) if tours else no_tours(groups), "dock": dock}
    for field in fields(_Columns):
        if field.name == "tours":
            continue
        # column by column, each dropped once it is merged: a year of moves lies in memory once, not thrice
        columns = [part.__dict__.pop(field.name) for part in parts]
        first = {column[:1].tobytes() for column in columns if len(column)}
        if all(0 in column.strides for column in columns) and len(first) <= 1:
            some = next((column for column in columns if len(column)), columns[0])
            merged[field.name] = np.broadcast_to(some[:1], len(order)) if len(order) else some
        else:
            merged[field.name] = np.concatenate(columns, axis=-1)[..., order]
    return Tasks(**merged)
