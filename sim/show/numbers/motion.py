"""Where trucks are and how bright zones are at given instants.

Comes in: visits with their moves, the light of a zone.  Goes out: places [m].  Before: `sim.records`; after:
`show/numbers/film`, `show/page/playback`.  The page's own half is show/page/files/playback.mjs.
"""

from __future__ import annotations

import math

import numpy as np

from sim.records import OpenRuns, Visits
from sim.traffic.kinematics import travel_time

__all__ = ["distance_at", "open_place_at", "place_at"]


def distance_at(elapsed_s: float, distance_m: float, speed: float, acceleration: float) -> float:
    """Return how far a run from rest to rest has come [m].

    Parameters
    ----------
    elapsed_s : since its start, clipped to its duration [s]
    distance_m : its whole length, >= 0 [m]
    speed : cruising speed [m/s]
    acceleration : of speeding up and of braking, 0 for none [m/s2]

    Notes
    -----
    The inverse of `sim.traffic.kinematics.time_at`: a t^2 / 2 while speeding up, straight while cruising, and
    the same seen from the end while braking.

    Examples
    --------
    >>> distance_at(2.0, 12.5, 2.5, 0.5), distance_at(5.0, 12.5, 2.5, 0.5)
    (1.0, 6.25)
    """
    if distance_m <= 0.0:
        return 0.0
    total = float(travel_time(distance_m, speed, acceleration))
    elapsed = min(max(elapsed_s, 0.0), total)
    if acceleration <= 0.0:
        return min(elapsed * speed, distance_m)
    top = min(speed, math.sqrt(acceleration * distance_m))
    ramp_s = top / acceleration
    if elapsed <= ramp_s:
        return 0.5 * acceleration * elapsed * elapsed
    left = total - elapsed
    if left <= ramp_s:
        return distance_m - 0.5 * acceleration * left * left
    return 0.5 * top * ramp_s + top * (elapsed - ramp_s)


def place_at(visits: Visits, row: int, time_s: float, length_m: float) -> float:
    """Return a truck's distance from the front mouth at an instant of its visit [m].

    Parameters
    ----------
    visits : all visits
    row : which of them
    time_s : within the visit [s]
    length_m : of its aisle [m]

    Returns
    -------
    The place; of a log without moves the bay, or nan where the log does not say
    """
    moves = visits.moves
    if moves is None:
        return float(visits.bay_m[row])
    first, last = np.searchsorted(moves.visit, [row, row + 1])
    begun = int(np.searchsorted(moves.start[first:last], time_s, side="right"))
    if begun == 0:
        return length_m if visits.enters_back[row] else 0.0
    move = int(first) + begun - 1
    start, end = float(moves.from_m[move]), float(moves.to_m[move])
    done = distance_at(
        time_s - float(moves.start[move]), abs(end - start), float(moves.speed[move]),
        float(moves.acceleration[move]),
    )
    return start + done if end >= start else start - done


def open_place_at(runs: OpenRuns, row: int, time_s: float) -> tuple[float, float]:
    """Return where a truck outside the aisles is at an instant, across the floor and along the aisles [m].

    Parameters
    ----------
    runs : all stretches of trucks' ways outside the aisles
    row : which of them
    time_s : within it [s]
    """
    across, along = float(runs.from_across_m[row]), float(runs.from_along_m[row])
    right, on = float(runs.to_across_m[row]) - across, float(runs.to_along_m[row]) - along
    whole = abs(right) + abs(on)  # one of the two is 0
    if whole == 0.0:
        return across, along
    speed, acceleration = float(runs.speed[row]), float(runs.acceleration[row])
    share = distance_at(time_s - float(runs.start[row]), whole, speed, acceleration) / whole
    return across + share * right, along + share * on
