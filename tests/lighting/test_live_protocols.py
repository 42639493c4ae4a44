"""What no timeout can say: a policy and a sensor of a researcher's own, each a few lines.

A policy decides delays and levels, or lets an order bring the light up; a watcher says who is seen.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from sim.lighting.live import LiveZone, StatedPolicy
from sim.replication import LiveRun, simulate_live
from tests.lighting.test_live_floor import ONE_MOVE, make_site


class BusyStaysUp(StatedPolicy):
    """An adaptive delay: after each motion twice the last gap, from 60 s to the stated delay."""

    def __init__(self) -> None:
        self.last: dict[str, float] = {}

    def delay_s(self, zone: LiveZone, stated_s: float) -> float:
        gap = zone.env.now - self.last.get(zone.name, -np.inf)
        self.last[zone.name] = zone.env.now
        return min(max(60.0, 2.0 * gap), stated_s)


class OrderBringsLight(StatedPolicy):
    """The light goes up as soon as a truck sets off for the aisle, not when a sensor sees it there."""

    def ordered(self, zones: Sequence[LiveZone], truck: int) -> None:
        for zone in zones:
            zone.pulse()


class Camera:
    """Sees an aisle up to its reach, standing trucks too, and never misses one."""

    def __init__(self, pictures_per_s: float = 1.0, reach_m: float = math.inf) -> None:
        self.pictures_per_s, self.reach_m = pictures_per_s, reach_m

    def approach(self, truck: int, aisle: int, is_back: bool) -> None:
        return None

    def wait(self, truck: int, aisle: int, is_back: bool) -> tuple[tuple[int, ...], float]:
        return (), 0.0

    def run(
        self, truck: int, aisle: int, from_m: float, to_m: float, *, is_first: bool, is_last: bool
    ) -> list[tuple[int, float, float]]:
        ends = (min(from_m, self.reach_m), min(to_m, self.reach_m))
        if ends[0] == ends[1]:
            return []
        near, far = sorted(abs(end - from_m) for end in ends)
        return [(aisle, near, far)]

    def stand(self, truck: int, aisle: int, at_m: float) -> tuple[tuple[int, ...], float]:
        return ((aisle,) if at_m <= self.reach_m else ()), self.pictures_per_s

    def passes(self, truck: int, aisle: int, is_back: bool) -> None:
        return None


def high_by_hand(run: LiveRun, least_s: float, most_s: float) -> list[float]:
    """Time at high of each light by its own detections, one after the other [s] (Z,).

    From the first motion on a light is up until the delay has passed after an end of motion and nothing came.
    The delay is twice the time since the end before, `least_s` at least and `most_s` at most.
    """
    found = []
    for zone in range(len(run.lights)):
        start, end = (column.tolist() for column in run.traffic.detections.of_zone(zone))
        high_s, last = 0.0, -math.inf
        for begin, stop, follows in zip(start, end, [*start[1:], run.lights[zone][1].end[-1]], strict=True):
            delay_s = min(max(least_s, 2.0 * (stop - last)), most_s)
            high_s += stop - begin + min(delay_s, follows - stop)
            last = stop
        found.append(high_s)
    return found


def check_high(run: LiveRun, least_s: float, most_s: float) -> None:
    """Hold every light's time at high against the sum by hand; to a microsecond of some 30 000 s."""
    found = [float((levels.end - levels.start)[levels.is_high].sum()) for _, levels in run.lights]
    assert found == pytest.approx(high_by_hand(run, least_s, most_s), abs=1e-6)


def test_an_adaptive_delay_is_twice_the_last_gap() -> None:
    """Nobody is slowed, so both lights see the same trucks; neither passes the other's check."""
    site = make_site("dim_speed_factor = 1.0", capacity=6)
    usual, busy = simulate_live(site, 0), simulate_live(site, 0, policy=BusyStaysUp())
    check_high(usual, 120.0, 120.0)
    check_high(busy, 60.0, 120.0)
    for run, least_s in ((usual, 60.0), (busy, 120.0), (busy, 61.0)):
        with pytest.raises(AssertionError):
            check_high(run, least_s, 120.0)
    # every light stayed up at least a minute and at most the stated two after its last motion
    commands = busy.lights[0][0]
    _, end = busy.traffic.detections.of_zone(0)
    for down in commands.time[commands.cause == 2]:
        age = down - end[np.searchsorted(end, down, side="right") - 1]
        assert 60.0 - 1e-6 <= age <= 120.0 + 1e-6


def test_light_on_order_is_up_when_the_truck_comes() -> None:
    """Blind sensors and a dark aisle: without the order each truck waits in vain, with it none does."""
    site = make_site("wait_for_light = 1.0", ONE_MOVE, range_m=0.01)
    assert simulate_live(site, 0).loss.gave_up > 0
    with_order = simulate_live(site, 0, policy=OrderBringsLight())
    assert with_order.loss.waits == 0


ONE_BAY = """
[[work]]
name = "out"
kind = "retrieve"
per_hour = 100
aisle_skew = 0.5
"""


def check_camera(camera: Camera) -> None:
    """One truck at a time in the aisle, one stand of 30 s in each visit, a picture a second on the average.

    All motion is seen, so a visit is 30 s longer than what is seen of it in motion, to a microsecond.
    Pictures of n stands are Poisson with the mean 30 n, the standard error sqrt(30 n); k = 4.
    """
    site = make_site("dim_speed_factor = 0.5", ONE_BAY)
    seen = simulate_live(site, 0, watch=lambda _: camera).traffic
    assert seen.visits is not None
    start, end = seen.detections.of_zone(0)
    is_whole = (seen.visits.aisle == 0) & (seen.visits.leave < site.scenario.duration_s)
    enter, leave = seen.visits.enter[is_whole], seen.visits.leave[is_whole]
    assert len(enter) > 200
    assert (enter[1:] >= leave[:-1]).all(), "one at a time"
    motion_s = [
        float(np.clip(np.minimum(end, last) - np.maximum(start, first), 0.0, None).sum())
        for first, last in zip(enter.tolist(), leave.tolist(), strict=True)
    ]
    assert motion_s == pytest.approx((leave - enter - 30.0).tolist(), abs=1e-6), "motion"
    pictures = np.count_nonzero((start == end) & (start < leave[-1]))
    assert abs(pictures - 30.0 * len(enter)) <= 4.0 * math.sqrt(30.0 * len(enter)), "pictures"


def test_a_watcher_of_ones_own_sees_standing_trucks() -> None:
    check_camera(Camera())


@pytest.mark.parametrize(
    ("camera", "fault"),
    [
        (Camera(pictures_per_s=0.5), "pictures"),
        (Camera(pictures_per_s=1.1), "pictures"),
        (Camera(reach_m=59.0), "motion"),
    ],
)
def test_another_camera_is_told_apart(camera: Camera, fault: str) -> None:
    """Negative control: half the pictures, a tenth more of them, blind in the last metre."""
    with pytest.raises(AssertionError, match=fault):
        check_camera(camera)
