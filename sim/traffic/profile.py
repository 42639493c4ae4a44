"""A run that changes its mind on the way: from any speed, under a new limit, to rest at the same place.

Comes in: speed now, way left, speed limit, acceleration.  Goes out: `Profile`: time of a place, place and
speed at a time.  Used by `lighting/live_floor`, where drivers slow down in the dark; from rest and with one
limit it is the run of `traffic/kinematics`.
"""

from __future__ import annotations

import math

__all__ = ["Profile"]


class Profile:
    """Speed over time from now to rest: to the limit at one rate, cruise, brake at the same rate.

    Parameters
    ----------
    speed : now; the truck can still stop in the way that is left [m/s]
    way_m : left until rest [m]
    limit : cruising speed; a faster truck brakes down to it first [m/s]
    rate : of speeding up and braking; 0 for none: constant speed [m/s2]

    Examples
    --------
    >>> run = Profile(0.0, 12.5, 2.5, 0.5)
    >>> run.duration_s, run.time_at(1.0), run.state_at(2.0)
    (10.0, 2.0, (1.0, 1.0))
    """

    __slots__ = ("_phases", "_way_m", "duration_s")

    def __init__(self, speed: float, way_m: float, limit: float, rate: float) -> None:
        self._way_m = way_m
        if rate == 0.0:
            nothing = (0.0, limit, 0.0, 0.0)
            self._phases = [nothing, (way_m / limit, limit, 0.0, way_m), nothing]
        else:
            if speed > limit:
                top, first = limit, -rate
                change_m = (speed * speed - limit * limit) / (2.0 * rate)
            else:
                top, first = min(limit, math.sqrt(rate * way_m + 0.5 * speed * speed)), rate
                change_m = max(0.0, (top * top - speed * speed) / (2.0 * rate))
            brake_m = top * top / (2.0 * rate)
            cruise_m = max(0.0, way_m - change_m - brake_m)
            self._phases = [
                (abs(top - speed) / rate, speed, first, change_m),
                (cruise_m / top if cruise_m else 0.0, top, 0.0, cruise_m),
                (top / rate, top, -rate, brake_m),
            ]
        self.duration_s: float = sum(phase[0] for phase in self._phases)

    def time_at(self, done_m: float) -> float:
        """Return when so much of the way is done [s]; the duration for all of it and more."""
        left = self._way_m - done_m
        if left <= 0.0:
            return self.duration_s
        if done_m <= 0.0:
            return 0.0
        (change_s, speed, rate, change_m), (_, top, _, _), (_, _, brake, brake_m) = self._phases
        if left < brake_m:
            return self.duration_s - math.sqrt(2.0 * left / -brake)
        if done_m < change_m:
            # v t + a t^2 / 2 = d by the root that does not cancel
            root = math.sqrt(max(0.0, speed * speed + 2.0 * rate * done_m))
            return 2.0 * done_m / (speed + root)
        return change_s + (done_m - change_m) / top

    def state_at(self, time: float) -> tuple[float, float]:
        """Return way done [m] and speed [m/s] at a time."""
        done = 0.0
        for length_s, speed, rate, length_m in self._phases:
            if time < length_s:
                return done + time * (speed + 0.5 * rate * time), speed + rate * time
            time -= length_s
            done += length_m
        return done, 0.0
