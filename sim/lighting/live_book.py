"""What happened on a live floor, written down as it happens: visits, stays, runs, motion.

Comes in: trucks entering, crossing, leaving.  Goes out: the records that a simulated floor leaves behind.
Before: `lighting/live_floor`; after: `outcome`, `show`.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from sim.lighting.live_legs import Leg, VisitPlan
from sim.records import Detections, Moves, Stays, Visits
from sim.sensing.coverage import unite
from sim.traffic.paths import VISIT_TASKS

__all__ = ["VisitBook"]

_Run = tuple[float, float, float, float, float]
"""Start [s], from, to [m], speed [m/s], acceleration [m/s2]."""


class VisitBook:
    """Rows in the order in which trucks enter."""

    def __init__(self) -> None:
        self._plans: list[VisitPlan] = []
        self._rows: list[tuple[int, float, float, float, float]] = []
        self._leave: list[float | None] = []
        self._zone: list[tuple[int, float]] = []
        self._stays: list[tuple[int, int, float, float]] = []
        self._runs: list[tuple[int, list[_Run]]] = []
        self._moving: dict[int, tuple[int, float]] = {}
        self._seen: list[tuple[int, float, float]] = []

    def enter(
        self, truck: int, plan: VisitPlan, zone: int, arrive: float, now: float, run_in: float, before: float
    ) -> int:
        """Write down that a truck enters, and return the number of its visit."""
        self._plans.append(plan)
        self._rows.append((truck, arrive, now, run_in, before))
        self._leave.append(None)
        self._zone.append((zone, now))
        return len(self._rows) - 1

    def cross(self, visit: int, zone: int, now: float) -> None:
        """A truck crosses into another zone."""
        self._close_stay(visit, now)
        self._zone[visit] = (zone, now)

    def leave(self, visit: int, now: float) -> None:
        """A truck leaves the aisle."""
        self._close_stay(visit, now)
        self._leave[visit] = now

    def _close_stay(self, visit: int, now: float) -> None:
        zone, since = self._zone[visit]
        if now > since:
            self._stays.append((zone, visit, since, now))

    def begin_run(self, visit: int, leg: Leg, limit: float, now: float) -> int:
        """A truck sets off; return the number of the run."""
        self._runs.append((visit, [(now, leg.from_m, leg.to_m, limit, leg.rate)]))
        return len(self._runs) - 1

    def end_run(self, number: int, leg: Leg, tracks: list[tuple[float, float]], now: float) -> None:
        """Where the driver changed speed, keep straight pieces from look to look (for pictures)."""
        if len(tracks) == 1:
            return
        sign = 1.0 if leg.to_m >= leg.from_m else -1.0
        marks = [*tracks, (now, abs(leg.to_m - leg.from_m))]
        pieces = []
        for (start, done), (stop, then) in pairwise(marks):
            if stop > start and then > done:
                speed = (then - done) / (stop - start)
                pieces.append((start, leg.from_m + sign * done, leg.from_m + sign * then, speed, 0.0))
        self._runs[number] = (self._runs[number][0], pieces)

    def began(self, zone: int, now: float) -> None:
        """The sensors of a zone begin to see a truck."""
        count, since = self._moving.get(zone, (0, now))
        self._moving[zone] = (count + 1, since if count else now)

    def ended(self, zone: int, now: float) -> None:
        """They see one truck less."""
        count, since = self._moving[zone]
        self._moving[zone] = (count - 1, since)
        if count == 1:
            self._seen.append((zone, since, now))

    def detections(self, end_s: float) -> Detections:
        """Return what each zone's own sensors saw until the end of the run."""
        still = [(zone, since, end_s) for zone, (count, since) in self._moving.items() if count]
        rows = [*self._seen, *still]
        zone, start, end = (
            (np.array(column) for column in zip(*rows, strict=True)) if rows else [np.zeros(0)] * 3
        )
        return unite(zone.astype(np.int64), start.astype(np.float64), end.astype(np.float64))

    def stays(self, truck_weight: tuple[float, ...], end_s: float) -> Stays:
        """Return who was in which zone; trucks under way stay until the end."""
        rows = list(self._stays)
        for visit, leave in enumerate(self._leave):
            zone, since = self._zone[visit]
            if leave is None and since < end_s:
                rows.append((zone, visit, since, end_s))
        rows.sort(key=lambda row: (row[0], row[2]))
        columns = list(zip(*rows, strict=True)) or [()] * 4
        weight = None
        if any(weight != 1.0 for weight in truck_weight):
            weight = np.array([truck_weight[self._rows[visit][0]] for visit in columns[1]], dtype=np.float64)
        return Stays(
            np.array(columns[0], dtype=np.int64),
            np.array(columns[1], dtype=np.int64),
            np.array(columns[2], dtype=np.float64),
            np.array(columns[3], dtype=np.float64),
            weight,
        )

    def visits(
        self,
        truck_names: tuple[str, ...],
        truck_weight: tuple[float, ...],
        truck_seen: tuple[bool, ...],
        end_s: float,
    ) -> Visits:
        """Return every visit; the runs of a truck that changed speed on the way are straightened."""
        plans, rows = self._plans, self._rows
        runs = sorted((visit, *run) for visit, pieces in self._runs for run in pieces)
        visit, start, from_m, to_m, speed, rate = list(zip(*runs, strict=True)) or [()] * 6

        def column(values: list[float]) -> np.ndarray[tuple[int], np.dtype[np.float64]]:
            return np.array(values, dtype=np.float64)

        lines: list[np.ndarray[tuple[int], np.dtype[np.int64]] | None] = [None, None]
        by_line = [(plan.enter_line, plan.leave_line) for plan in plans]
        if any(line > 0 for pair in by_line for line in pair):
            lines = [np.array(own, dtype=np.int64) for own in zip(*by_line, strict=True)]
        return Visits(
            aisle=np.array([plan.aisle for plan in plans], dtype=np.int64),
            enter=column([row[2] for row in rows]),
            leave=column([end_s if leave is None else leave for leave in self._leave]),
            truck=np.array([row[0] for row in rows], dtype=np.int64),
            bay_m=column([plan.bay_m for plan in plans]),
            task=np.array([plan.task for plan in plans], dtype=np.int64),
            enters_back=np.array([plan.enters_back for plan in plans], dtype=bool),
            leaves_back=np.array([plan.leaves_back for plan in plans], dtype=bool),
            arrive=column([row[1] for row in rows]),
            run_in_m=column([row[3] for row in rows]),
            run_before_m=column([row[4] for row in rows]),
            run_speed=column([plan.run_speed for plan in plans]),
            run_acceleration=column([plan.run_rate for plan in plans]),
            truck_names=truck_names,
            task_names=VISIT_TASKS,
            moves=Moves(
                np.array(visit, dtype=np.int64),
                *(np.array(values, dtype=np.float64) for values in (start, from_m, to_m, speed, rate)),
            ),
            drives=None,
            turn=column([plan.turn_s for plan in plans]),
            truck_weight=truck_weight,
            truck_seen=truck_seen,
            enter_line=lines[0],
            leave_line=lines[1],
        )
