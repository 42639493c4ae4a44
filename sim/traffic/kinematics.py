"""Straight runs from rest to rest: speed rises, cruises and falls at one acceleration.

Comes in: lengths, speeds.  Goes out: times.  Used by `traffic` and `sensing`.  The formula is
elementary kinematics; as travel time of storage machines e.g. Chang, Wen and Lin, "The effects of
acceleration/deceleration on travel time models for AS/RS", IIE Transactions 27 (1995) (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from sim.records import FloatColumn

__all__ = ["time_at", "travel_time"]


def travel_time(distance_m: ArrayLike, speed: ArrayLike, acceleration: ArrayLike) -> FloatColumn:
    """Return the duration of runs from rest to rest [s].

    Parameters
    ----------
    distance_m : length of the run, >= 0 [m], broadcast with the others
    speed : cruising speed, > 0 [m/s]
    acceleration : of speeding up and of braking, 0 for none: constant speed [m/s2]

    Notes
    -----
    With d >= v^2 / a: t = d / v + v / a; shorter runs never reach v: t = 2 sqrt(d / a).

    Examples
    --------
    >>> float(travel_time(12.5, 2.5, 0.5))
    10.0
    """
    distance, speed, acceleration = np.broadcast_arrays(
        np.asarray(distance_m, float), np.asarray(speed, float), np.asarray(acceleration, float)
    )
    has_ramp = acceleration > 0.0
    rate = np.where(has_ramp, acceleration, 1.0)
    reaches = distance >= speed * speed / rate
    ramped = np.where(reaches, distance / speed + speed / rate, 2.0 * np.sqrt(distance / rate))
    return np.where(has_ramp, ramped, distance / speed)


def time_at(
    done_m: ArrayLike, distance_m: ArrayLike, speed: ArrayLike, acceleration: ArrayLike
) -> FloatColumn:
    """Return the time after its start at which a run has covered part of its length [s].

    Parameters
    ----------
    done_m : length covered, clipped to 0..distance_m [m]
    distance_m, speed, acceleration : as in `travel_time`

    Examples
    --------
    >>> float(time_at(1.0, 12.5, 2.5, 0.5)), float(time_at(12.5, 12.5, 2.5, 0.5))
    (2.0, 10.0)
    """
    done, distance, speed, acceleration = np.broadcast_arrays(
        np.asarray(done_m, float),
        np.asarray(distance_m, float),
        np.asarray(speed, float),
        np.asarray(acceleration, float),
    )
    done = np.clip(done, 0.0, distance)
    has_ramp = acceleration > 0.0
    rate = np.where(has_ramp, acceleration, 1.0)
    top = np.minimum(speed, np.sqrt(rate * distance))
    ramp = top * top / (2.0 * rate)
    total = travel_time(distance, speed, np.where(has_ramp, acceleration, 0.0))
    left = distance - done
    cruise = top / rate + (done - ramp) / np.where(top > 0.0, top, 1.0)
    ramped = np.where(
        done <= ramp,
        np.sqrt(2.0 * done / rate),
        np.where(left <= ramp, total - np.sqrt(2.0 * left / rate), cruise),
    )
    taken: FloatColumn = np.where(has_ramp, ramped, done / speed)
    return taken
