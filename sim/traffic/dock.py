"""The dock: trailers queue for doors, stand there, and are unloaded pallet by pallet.

Comes in: trailers in order of arrival, who unloads.  Goes out: `DockBook`: who stood where and when, and
when each pallet was on the floor.  Before: `traffic/arrivals`, `traffic/fleet`; after: `traffic/work`.
A door holds one trailer.  Trailers are served in order of arrival; one that waits for certain doors does not
hold up others.  Trucks that unload do nothing else (so the dock can be worked out before the floor); one
truck works at a trailer, and goes off duty between two pallets.  A departing trailer leaves on time, loaded
or not.
"""

from __future__ import annotations

import heapq
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import count

import numpy as np

from sim.records import FloatColumn, IntColumn
from sim.traffic.fleet import Fleet

__all__ = ["DockBook", "Trailer", "run_dock"]


@dataclass(frozen=True)
class Trailer:
    """One trailer.

    Attributes
    ----------
    arrive : at the yard [s]
    stream : its number among the streams of work
    pallets : how many it brings, or takes
    doors : the doors it may use, from 0
    leave : when a departing trailer leaves, None for one that brings pallets [s]
    pallet_s : unloading time of each of its pallets, empty where a truck unloads (pallets,)
    unload_trucks : groups that may unload it, by number; () where nobody is modelled
    change_s : from its leaving the door to the next trailer's standing there
    """

    arrive: float
    stream: int
    pallets: int
    doors: tuple[int, ...]
    leave: float | None
    pallet_s: tuple[float, ...]
    unload_trucks: tuple[int, ...]
    change_s: float


@dataclass(frozen=True)
class DockBook:
    """What happened at the dock.

    Attributes
    ----------
    trailer_stream, trailer_door : door -1 where it never got one (T,)
    trailer_arrive, trailer_docked, trailer_gone : inf where it never happened [s] (T,)
    pallet_trailer, pallet_time : pallets on the floor, in order of time [s] (P,)
    busy_truck, busy_from, busy_to : when which truck unloaded [s] (B,)
    """

    trailer_stream: IntColumn
    trailer_door: IntColumn
    trailer_arrive: FloatColumn
    trailer_docked: FloatColumn
    trailer_gone: FloatColumn
    pallet_trailer: IntColumn
    pallet_time: FloatColumn
    busy_truck: IntColumn
    busy_from: FloatColumn
    busy_to: FloatColumn


ARRIVES, DOOR_IS_FREE, TRUCK_IS_FREE, JOB_WAITS = range(4)


class _Dock:
    """The dock while it runs; events in order of time, then of making."""

    def __init__(
        self,
        trailers: list[Trailer],
        doors: int,
        fleet: Fleet,
        pallet_times: Callable[[int], Iterator[float]],
        door_draw: Callable[[int], int],
        end_s: float,
    ) -> None:
        self.trailers, self.fleet, self.end_s = trailers, fleet, end_s
        self.door_draw = door_draw
        self.free_doors = list(range(doors))
        self.yard: deque[int] = deque()
        """Trailers that wait for a door."""
        self.jobs: deque[int] = deque()
        """Trailers at doors that wait for a truck to unload them."""
        self.idle: dict[int, None] = {}
        """Free trucks on duty, the one idle longest first."""
        self.events: list[tuple[float, int, int, int]] = []
        self.order = count()
        self.door = [-1] * len(trailers)
        self.docked, self.gone = [np.inf] * len(trailers), [np.inf] * len(trailers)
        self.left = [trailer.pallets for trailer in trailers]
        self.pallets: list[tuple[float, int]] = []
        self.busy: list[tuple[int, float, float]] = []
        unloaders = {group for trailer in trailers for group in trailer.unload_trucks}
        self.times = {
            truck: pallet_times(truck) for truck, group in enumerate(fleet.group) if group in unloaders
        }
        self.busy_until = dict.fromkeys(self.times, 0.0)
        for number, trailer in enumerate(trailers):
            self._at(trailer.arrive, ARRIVES, number)
        for truck in self.times:
            for begin in fleet.duty[truck][::2]:
                self._at(max(begin, 0.0), TRUCK_IS_FREE, truck)

    def _at(self, time: float, kind: int, which: int) -> None:
        heapq.heappush(self.events, (time, next(self.order), kind, which))

    def run(self) -> None:
        """Go from event to event until the end of the run."""
        while self.events and self.events[0][0] < self.end_s:
            now, _, kind, which = heapq.heappop(self.events)
            if kind == ARRIVES:
                self.yard.append(which)
                self._fill_doors(now)
            elif kind == DOOR_IS_FREE:
                self.free_doors.append(which)
                self._fill_doors(now)
            elif kind == JOB_WAITS:
                self.jobs.appendleft(which)
                self._give_jobs(now)
            elif now >= self.busy_until[which] and self.fleet.is_on_duty(which, now):
                self.idle.setdefault(which)
                self._give_jobs(now)

    def _fill_doors(self, now: float) -> None:
        """Let waiting trailers drive to free doors."""
        for number in list(self.yard):
            trailer = self.trailers[number]
            fitting = [door for door in self.free_doors if door in trailer.doors]
            if not fitting:
                continue
            self.yard.remove(number)
            door = fitting[self.door_draw(len(fitting))]
            self.free_doors.remove(door)
            self.door[number], self.docked[number] = door, now
            if trailer.leave is not None:
                self._leave(number, max(now, trailer.leave))
            elif trailer.unload_trucks:
                self.jobs.append(number)
                self._give_jobs(now)
            else:
                times = now + np.cumsum(trailer.pallet_s)
                self.pallets += [(time, number) for time in times.tolist()]
                self._leave(number, float(times[-1]) if len(times) else now)
            if not self.free_doors:
                return

    def _leave(self, number: int, time: float) -> None:
        """A trailer leaves its door, and the next one can be there after the change."""
        self.gone[number] = time
        self._at(time + self.trailers[number].change_s, DOOR_IS_FREE, self.door[number])

    def _give_jobs(self, now: float) -> None:
        """Send idle trucks to trailers, first come first served on both sides."""
        for number in list(self.jobs):
            groups = self.trailers[number].unload_trucks
            for truck in list(self.idle):
                if not self.fleet.is_on_duty(truck, now):
                    del self.idle[truck]
                elif self.fleet.group[truck] in groups:
                    del self.idle[truck]
                    self.jobs.remove(number)
                    self._unload(truck, number, now)
                    break

    def _unload(self, truck: int, number: int, now: float) -> None:
        """One truck unloads until the trailer is empty or its duty ends."""
        duty = self.fleet.duty[truck]
        off_at = next((time for time in duty[1::2] if time > now), np.inf)
        time = now
        while self.left[number] and time < off_at:
            time += next(self.times[truck])
            self.left[number] -= 1
            self.pallets.append((time, number))
        self.busy.append((truck, now, time))
        self.busy_until[truck] = time
        self._at(time, TRUCK_IS_FREE, truck)
        if self.left[number]:
            self._at(time, JOB_WAITS, number)
        else:
            self._leave(number, time)


def run_dock(
    trailers: list[Trailer],
    doors: int,
    fleet: Fleet,
    pallet_times: Callable[[int], Iterator[float]],
    door_draw: Callable[[int], int],
    end_s: float,
) -> DockBook:
    """Work the dock until the end of the run.

    Parameters
    ----------
    trailers : in order of arrival (T,)
    doors : number of doors
    fleet : trucks and their hours
    pallet_times : for a truck that unloads, its time for one pallet after the other [s]
    door_draw : a whole number below the one given, for the choice among free doors
    end_s : end of the run [s]
    """
    dock = _Dock(trailers, doors, fleet, pallet_times, door_draw, end_s)
    dock.run()
    pallets = sorted(pallet for pallet in dock.pallets if pallet[0] < end_s)
    busy = sorted(dock.busy, key=lambda row: row[1])
    return DockBook(
        trailer_stream=np.array([trailer.stream for trailer in trailers], dtype=np.int64),
        trailer_door=np.array(dock.door, dtype=np.int64),
        trailer_arrive=np.array([trailer.arrive for trailer in trailers], dtype=np.float64),
        trailer_docked=np.array(dock.docked, dtype=np.float64),
        trailer_gone=np.array(dock.gone, dtype=np.float64),
        pallet_trailer=np.array([number for _, number in pallets], dtype=np.int64),
        pallet_time=np.array([time for time, _ in pallets], dtype=np.float64),
        busy_truck=np.array([row[0] for row in busy], dtype=np.int64),
        busy_from=np.array([row[1] for row in busy], dtype=np.float64),
        busy_to=np.array([row[2] for row in busy], dtype=np.float64),
    )
