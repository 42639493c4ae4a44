"""Recorded motion told to the lights inside a simulation, event by event.

Comes in: a layout, programs, detections.  Goes out: every zone's `Commands` and `Levels`.  Where nobody
reacts to the light the result equals that of `lighting/replay`, computed in another way.
Before: `sensing`; after: `outcome`.
"""

from __future__ import annotations

from collections.abc import Sequence

import simpy

from sim.lighting.live import STATED, LiveZone, Policy
from sim.lighting.replay import Commands
from sim.lighting.timetable import Program
from sim.records import Detections
from sim.results import Levels

__all__ = ["light_live", "make_zones", "tell_motion"]


def make_zones(
    env: simpy.Environment,
    names: Sequence[str],
    zone_aisle: Sequence[int],
    programs: Sequence[Program],
    policy: Policy = STATED,
) -> tuple[LiveZone, ...]:
    """Put every zone of a site into a simulation.

    Parameters
    ----------
    env : the simulation
    names, zone_aisle : of the zones (Z,)
    programs : settings in force, by place (P,)
    policy : decides delays and levels
    """
    return tuple(
        LiveZone(env, name, programs[aisle], policy) for name, aisle in zip(names, zone_aisle, strict=True)
    )


def tell_motion(
    env: simpy.Environment, hearers: Sequence[LiveZone], start: Sequence[float], end: Sequence[float]
) -> simpy.events.ProcessGenerator:
    """Tell zones of recorded motion as it happens: the generator of a process.

    Parameters
    ----------
    hearers : the zones in which this motion counts
    start, end : intervals in order that do not overlap; a pulse has start = end [s] (n,)
    """
    timeout = env.timeout
    for begin, finish in zip(start, end, strict=True):
        while (now := env.now) < begin:
            yield timeout(_step(now, begin))
        for zone in hearers:
            zone.motion_began()
        while (now := env.now) < finish:
            yield timeout(_step(now, finish))
        for zone in hearers:
            zone.motion_ended()


def _step(now: float, time: float) -> float:
    """Return a wait that ends at a time, or a rounding error before it, never after it [s].

    When it ends before, what is left is a difference of near neighbours, which is exact (Sterbenz).
    """
    step = time - now
    while now + step > time:
        step *= 1.0 - 2.0**-52
    return step


def light_live(
    names: Sequence[str],
    zone_aisle: Sequence[int],
    programs: Sequence[Program],
    detections: Detections,
    hearers: Sequence[Sequence[int]],
    failed: Sequence[int] = (),
    policy: Policy = STATED,
) -> list[tuple[Commands, Levels]]:
    """Run the lights as processes on recorded motion.

    Parameters
    ----------
    names, zone_aisle : of the zones (Z,)
    programs : settings in force, by place (P,)
    detections : what each zone's own sensors saw
    hearers : for each zone, the zones in which its motion counts (Z,)
    failed : zones without a working sensor, which stay high
    policy : decides delays and levels

    Returns
    -------
    commands and light of every zone (Z,)
    """
    env = simpy.Environment()
    zones = make_zones(env, names, zone_aisle, programs, policy)
    for number in failed:
        zones[number].motion_began()
    for number in range(len(zones)):
        start, end = detections.of_zone(number)
        if len(start):
            listening = [zones[other] for other in hearers[number]]
            env.process(tell_motion(env, listening, start.tolist(), end.tolist()))
    env.run(until=programs[0].end_s)
    return [zone.finish() for zone in zones]
