"""Trailers as a scenario states them: drawn, worked through the dock, and turned into moves.

Comes in: inbound and outbound streams, fleet, week.  Goes out: `DockMoves`.  Before: `traffic/arrivals`,
`traffic/dock`; after: `traffic/work`.  Each pallet of an inbound trailer is a putaway that arises when it is
on the floor; each pallet of a departure is a retrieval that arises when its wave is released.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from sim.randomness import random_stream
from sim.records import FloatColumn, IntColumn
from sim.scenario.schema import Inbound, Outbound, Scenario
from sim.traffic.arrivals import Week, draw_arrivals, draw_gamma, timetable_arrivals, week_rates
from sim.traffic.dock import DockBook, Trailer, run_dock
from sim.traffic.fleet import Fleet
from sim.traffic.kinematics import travel_time

__all__ = ["DockMoves", "StreamMoves", "draw_dock"]

ARRIVALS, UNLOADING, DOORS, WAVES = range(4)
"""Substreams of the random stream "trailers"."""
BLOCK = 64


@dataclass(frozen=True)
class StreamMoves:
    """When the moves of one stream of trailers arise, at which door, and when they are due (n,)."""

    time: FloatColumn
    door: IntColumn
    due: FloatColumn | None


@dataclass(frozen=True)
class DockMoves:
    """What the dock leaves behind: moves of each stream, inbound first, and the dock's book."""

    streams: tuple[StreamMoves, ...]
    book: DockBook


def _doors(numbers: tuple[int, ...] | None, doors: int) -> tuple[int, ...]:
    """Return door indices."""
    return tuple(range(doors)) if numbers is None else tuple(sorted({number - 1 for number in numbers}))


def _pallets(pallets: int, volume: float) -> int:
    """Return a timetabled trailer's pallets on a day of some volume."""
    return round(pallets * volume)


def _inbound(
    scenario: Scenario, stream: Inbound, number: int, week: Week, doors: int, seed: tuple[int, int]
) -> list[Trailer]:
    """Draw one stream's trailers."""
    if stream.at is not None:
        times, volumes = timetable_arrivals(stream.at, stream.days, week)
        pallets = [_pallets(stream.pallets, volume) for volume in volumes.tolist()]
    else:
        rng = random_stream(*seed, "trailers", ARRIVALS, number)
        times = draw_arrivals(rng, week_rates(stream.per_hour or 0.0, stream.days), week)
        pallets = [stream.pallets] * len(times)
    names = [trucks.name for trucks in scenario.trucks]
    unloaders = tuple(names.index(name) for name in stream.unload_trucks or ())
    pace = () if unloaders else (stream.pallet_s or 0.0,)
    return [
        Trailer(
            arrive=time,
            stream=len(scenario.work) + number,
            pallets=count,
            doors=_doors(stream.doors, doors),
            leave=None,
            pallet_s=pace * count,
            unload_trucks=unloaders,
            change_s=stream.change_s,
        )
        for time, count in zip(times.tolist(), pallets, strict=True)
        if 0.0 <= time < week.end_s and count
    ]


def _outbound(scenario: Scenario, stream: Outbound, number: int, week: Week, doors: int) -> list[Trailer]:
    """Return one stream's departures."""
    times, volumes = timetable_arrivals(stream.at, stream.days, week)
    return [
        Trailer(
            arrive=time - stream.wave_s,
            stream=len(scenario.work) + len(scenario.inbound) + number,
            pallets=_pallets(stream.pallets, volume),
            doors=_doors(stream.doors, doors),
            leave=time,
            pallet_s=(),
            unload_trucks=(),
            change_s=0.0,
        )
        for time, volume in zip(times.tolist(), volumes.tolist(), strict=True)
        if 0.0 <= time - stream.wave_s < week.end_s and _pallets(stream.pallets, volume)
    ]


def draw_dock(scenario: Scenario, doors: int, fleet: Fleet, week: Week, replication: int) -> DockMoves:
    """Draw all trailers of one replication and work the dock.

    Parameters
    ----------
    scenario : with inbound or outbound trailers
    doors : number of doors
    fleet : trucks and their hours
    week : where the run lies in the week
    replication : its number
    """
    seed = (scenario.seed, replication)
    trailers: list[Trailer] = []
    for number, inbound in enumerate(scenario.inbound):
        trailers += _inbound(scenario, inbound, number, week, doors, seed)
    for number, outbound in enumerate(scenario.outbound):
        trailers += _outbound(scenario, outbound, number, week, doors)
    trailers.sort(key=lambda trailer: trailer.arrive)
    door_rng = random_stream(*seed, "trailers", DOORS)
    way_m = {
        name: inbound.unload_m for inbound in scenario.inbound for name in inbound.unload_trucks or ()
    }

    def pallet_times(truck: int) -> Iterator[float]:
        """Into the trailer, pick up, out, set down: one pallet after the other."""
        trucks = scenario.trucks[fleet.group[truck]]
        rng = random_stream(*seed, "trailers", UNLOADING, truck)
        ramp, way = trucks.acceleration_m_per_s2, way_m[trucks.name]
        ways = travel_time(way, trucks.speed_empty_m_per_s, ramp) + travel_time(
            way, trucks.speed_laden_m_per_s, ramp
        )
        while True:
            draws = draw_gamma(rng, trucks.handling_mean_s, trucks.handling_cv, 2 * BLOCK)
            yield from (float(ways) + draws.reshape(BLOCK, 2).sum(axis=1)).tolist()

    book = run_dock(
        trailers, doors, fleet, pallet_times, lambda free: int(door_rng.integers(free)), week.end_s
    )
    return DockMoves(_moves(scenario, trailers, book, week, seed), book)


def _moves(
    scenario: Scenario, trailers: list[Trailer], book: DockBook, week: Week, seed: tuple[int, int]
) -> tuple[StreamMoves, ...]:
    """Turn pallets into moves, stream by stream."""
    first = len(scenario.work)
    moves = []
    for number in range(len(scenario.inbound)):
        rows = book.trailer_stream[book.pallet_trailer] == first + number
        trailer = book.pallet_trailer[rows]
        moves.append(StreamMoves(book.pallet_time[rows], book.trailer_door[trailer], None))
    for number, outbound in enumerate(scenario.outbound):
        rng = random_stream(*seed, "trailers", WAVES, number)
        stream = first + len(scenario.inbound) + number
        of_stream = np.flatnonzero(book.trailer_stream == stream)
        pallets = np.array([trailers[index].pallets for index in of_stream.tolist()], dtype=np.int64)
        trailer = np.repeat(of_stream, pallets)
        # drawn for every trailer, also one that never got a door, so that no door moves another's draws
        released = book.trailer_docked[trailer] + rng.random(len(trailer)) * outbound.spread_s
        due = np.array([trailers[index].leave for index in trailer.tolist()], dtype=np.float64)
        order = np.argsort(released, kind="stable")
        order = order[released[order] < week.end_s]
        moves.append(StreamMoves(released[order], book.trailer_door[trailer][order], due[order]))
    return tuple(moves)
