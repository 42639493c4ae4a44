"""What the sensors see of a truck while it is on its way: for lights inside the event simulation.

Comes in: layout, which sensors are dead, a source of chance per truck.  Goes out: for each run the stretches
in which it is seen, for each stand who sees its pulses.  Before: `floor`; after: `lighting/live_floor`.
The same geometry and the same rules as `sensing/coverage`, asked one run at a time; draws of their own.
"""

from __future__ import annotations

from collections.abc import Callable, Container, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from sim.floor.layout import Layout

__all__ = ["BLIND", "OnlineSensors", "Stretch", "Watcher"]

Stretch = tuple[int, float, float]
"""Zone, and where along a run its motion begins and ceases to be seen [m from the run's start]."""


class Watcher(Protocol):
    """Anything that is fed with trucks on their way and says what is seen of them.

    For one visit of a truck the calls come in the order of the truck's way: `approach`, then `run` and
    `stand` in turn. Trucks are told by their number in the fleet. `is_back` is None for a truck that comes in
    between the mouths, by a middle cross-aisle: there no sensor looks out.
    """

    def approach(self, truck: int, aisle: int, is_back: bool | None) -> tuple[int, float] | None:
        """Say which zone sees a truck before it turns in, and from how far outside [m]; None for none."""

    def wait(self, truck: int, aisle: int, is_back: bool | None) -> tuple[tuple[int, ...], float]:
        """Say which zones see pulses of a truck that waits at the mouth, and how many a second."""

    def run(
        self, truck: int, aisle: int, from_m: float, to_m: float, *, is_first: bool, is_last: bool
    ) -> Sequence[Stretch]:
        """Say where along a run inside the aisle which zone sees it; stretches of a zone do not overlap."""

    def stand(self, truck: int, aisle: int, at_m: float) -> tuple[tuple[int, ...], float]:
        """Say which zones see pulses of a truck that stands at a place, and how many a second."""

    def passes(self, truck: int, aisle: int, is_back: bool) -> int | None:
        """Say which zone sees a truck that drives past a mouth within `passing_range_m`; None for none."""

    def crosses(self, truck: int, aisle: int, at_m: float) -> tuple[int, ...]:
        """Say which zones see a truck that crosses an aisle, between its mouths, on a middle cross-aisle."""


class _Blind:
    """Sees nothing: for trucks that no sensor can see."""

    def approach(self, truck: int, aisle: int, is_back: bool | None) -> None:
        return None

    def wait(self, truck: int, aisle: int, is_back: bool | None) -> tuple[tuple[int, ...], float]:
        return (), 0.0

    def run(
        self, truck: int, aisle: int, from_m: float, to_m: float, *, is_first: bool, is_last: bool
    ) -> Sequence[Stretch]:
        return ()

    def stand(self, truck: int, aisle: int, at_m: float) -> tuple[tuple[int, ...], float]:
        return (), 0.0

    def passes(self, truck: int, aisle: int, is_back: bool) -> None:
        return None

    def crosses(self, truck: int, aisle: int, at_m: float) -> tuple[int, ...]:
        return ()


BLIND = _Blind()


@dataclass(frozen=True)
class _Eyes:
    """The working sensors of one aisle: (number, zone, low, high); `joined` per zone without overlap."""

    sensors: tuple[tuple[int, int, float, float], ...]
    joined: tuple[tuple[int, float, float], ...]
    front: tuple[int, int] | None
    back: tuple[int, int] | None
    approach_m: float
    miss: float
    still_rate_per_s: float
    still_rate_person_per_s: float
    trigger: float


def _join(stretches: Sequence[Stretch]) -> list[Stretch]:
    """Unite the stretches of each zone."""
    joined: list[Stretch] = []
    for zone, low, high in sorted(stretches):
        if joined and joined[-1][0] == zone and low <= joined[-1][2]:
            joined[-1] = (zone, joined[-1][1], max(high, joined[-1][2]))
        else:
            joined.append((zone, low, high))
    return joined


class OnlineSensors:
    """The scenario's sensors.

    Parameters
    ----------
    layout : the floor with its sensors
    is_dead : sensors that see nothing; None: all work (S,)
    chance : a uniform number from 0 to 1 for a truck, from its own stream
    on_foot : the numbers of those in the fleet who are people on foot
    """

    def __init__(
        self,
        layout: Layout,
        is_dead: NDArray[np.bool_] | None,
        chance: Callable[[int], float],
        on_foot: Container[int] = (),
    ) -> None:
        self._chance, self._on_foot = chance, on_foot
        if is_dead is None:
            is_dead = np.zeros(len(layout.sensor_m), dtype=bool)
        self._missed: dict[int, dict[int, bool]] = {}
        self._eyes = [_gather(layout, is_dead, aisle) for aisle in range(len(layout.aisles))]

    def approach(self, truck: int, aisle: int, is_back: bool | None) -> tuple[int, float] | None:
        """Draw whether the mouth's sensor misses the truck, unless it does not look out."""
        eyes = self._eyes[aisle]
        missed = self._missed[truck] = {}
        looking = eyes.back if is_back else eyes.front
        if looking is None or eyes.approach_m == 0.0 or is_back is None:
            return None
        sensor, zone = looking
        if eyes.miss > 0.0:
            missed[sensor] = self._chance(truck) < eyes.miss
            if missed[sensor]:
                return None
        return zone, eyes.approach_m

    def wait(self, truck: int, aisle: int, is_back: bool | None) -> tuple[tuple[int, ...], float]:
        """A truck that waits is seen by the sensor that saw it come."""
        eyes = self._eyes[aisle]
        looking = eyes.back if is_back else eyes.front
        if looking is None or eyes.approach_m == 0.0 or is_back is None:
            return (), 0.0
        if self._missed[truck].get(looking[0], False):
            return (), 0.0
        return (looking[1],), self._rate(truck, eyes)

    def _rate(self, truck: int, eyes: _Eyes) -> float:
        """Return the rate of pulses of whoever stands [1/s]."""
        return eyes.still_rate_person_per_s if truck in self._on_foot else eyes.still_rate_per_s

    def run(
        self, truck: int, aisle: int, from_m: float, to_m: float, *, is_first: bool, is_last: bool
    ) -> Sequence[Stretch]:
        """Draw a miss for each sensor whose stretch is entered, and unite what the others see."""
        eyes = self._eyes[aisle]
        near, far = (from_m, to_m) if from_m <= to_m else (to_m, from_m)
        covering: list[Stretch] = []
        if eyes.miss == 0.0:
            covering = [
                (zone, max(low, near), min(high, far))
                for zone, low, high in eyes.joined
                if max(low, near) < min(high, far)
            ]
        else:
            missed = self._missed[truck]
            for sensor, zone, low, high in eyes.sensors:
                lower, upper = max(low, near), min(high, far)
                is_covered = lower < upper
                ends_here = low <= to_m <= high and not is_last
                goes_on = low <= from_m <= high and not is_first
                is_drawn = is_first and sensor in missed
                if (is_covered or ends_here) and not goes_on and not is_drawn:
                    missed[sensor] = self._chance(truck) < eyes.miss
                if is_covered and not missed.get(sensor, False):
                    covering.append((zone, lower, upper))
            covering = _join(covering)
        if from_m <= to_m:
            return [(zone, low - from_m, high - from_m) for zone, low, high in covering]
        return [(zone, from_m - high, from_m - low) for zone, low, high in covering]

    def stand(self, truck: int, aisle: int, at_m: float) -> tuple[tuple[int, ...], float]:
        """A standing truck is seen by the sensors in whose reach it is, unless they missed it."""
        eyes = self._eyes[aisle]
        rate = self._rate(truck, eyes)
        if rate == 0.0:
            return (), 0.0
        missed = self._missed[truck]
        zones = {
            zone
            for sensor, zone, low, high in eyes.sensors
            if low <= at_m <= high and not missed.get(sensor, False)
        }
        return tuple(sorted(zones)), rate

    def passes(self, truck: int, aisle: int, is_back: bool) -> int | None:
        """Draw whether a truck that passes is seen."""
        eyes = self._eyes[aisle]
        looking = eyes.back if is_back else eyes.front
        if looking is None or eyes.trigger == 0.0 or self._chance(truck) >= eyes.trigger:
            return None
        return looking[1]

    def crosses(self, truck: int, aisle: int, at_m: float) -> tuple[int, ...]:
        """Draw whether a truck that crosses is seen, by all in whose reach it is or by none."""
        eyes = self._eyes[aisle]
        if eyes.trigger == 0.0 or self._chance(truck) >= eyes.trigger:
            return ()
        return tuple(sorted({zone for _, zone, low, high in eyes.sensors if low <= at_m <= high}))


def _gather(layout: Layout, is_dead: NDArray[np.bool_], aisle: int) -> _Eyes:
    """Lay one aisle's working sensors out."""
    keys = layout.sensors[aisle]
    numbers = np.flatnonzero((layout.sensor_aisle == aisle) & ~is_dead)
    sensors = tuple(
        (
            int(number),
            int(layout.sensor_zone[number]),
            float(layout.sensor_m[number] - keys.range_m),
            float(layout.sensor_m[number] + keys.range_m),
        )
        for number in numbers
    )

    def mouth(number: int) -> tuple[int, int] | None:
        return None if is_dead[number] else (number, int(layout.sensor_zone[number]))

    return _Eyes(
        sensors=sensors,
        joined=tuple(_join([sensor[1:] for sensor in sensors])),
        front=mouth(int(layout.front_sensor[aisle])),
        back=mouth(int(layout.back_sensor[aisle])),
        approach_m=keys.approach_m,
        miss=keys.miss,
        still_rate_per_s=keys.still_rate_per_min / 60.0,
        still_rate_person_per_s=keys.person_rate_per_min / 60.0,
        trigger=keys.passing_trigger,
    )
