"""What no timeout can say: a policy and a sensor of a researcher's own, each a few lines.

A policy decides delays and levels, or lets an order bring the light up; a watcher says who is seen.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from sim.lighting.live import LiveZone, StatedPolicy
from sim.replication import simulate_live
from sim.sensing.online import OnlineSensors
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
    """Sees all of an aisle, standing trucks too, and never misses one."""

    def __init__(self, sensors: OnlineSensors, length_m: float, zones: int) -> None:
        self.length_m, self.zones = length_m, zones

    def approach(self, truck: int, aisle: int, is_back: bool) -> None:
        return None

    def wait(self, truck: int, aisle: int, is_back: bool) -> tuple[tuple[int, ...], float]:
        return (), 0.0

    def run(
        self, truck: int, aisle: int, from_m: float, to_m: float, *, is_first: bool, is_last: bool
    ) -> list[tuple[int, float, float]]:
        return [(aisle, 0.0, abs(to_m - from_m))]

    def stand(self, truck: int, aisle: int, at_m: float) -> tuple[tuple[int, ...], float]:
        return (aisle,), 1.0  # a picture a second, on the average

    def passes(self, truck: int, aisle: int, is_back: bool) -> None:
        return None


def test_an_adaptive_delay_saves_time_at_high() -> None:
    site = make_site("dim_speed_factor = 1.0")
    usual, busy = simulate_live(site, 0), simulate_live(site, 0, policy=BusyStaysUp())

    def high_s(run: object) -> float:
        return sum(float((levels.end - levels.start)[levels.is_high].sum()) for _, levels in run.lights)  # type: ignore[attr-defined]

    assert high_s(busy) < 0.95 * high_s(usual)
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


def test_a_watcher_of_ones_own_sees_standing_trucks() -> None:
    site = make_site("dim_speed_factor = 0.5", range_m=9.0)
    seen = simulate_live(site, 0, watch=lambda sensors: Camera(sensors, 60.0, 8)).traffic
    assert seen.visits is not None
    # all motion from entry to leaving, as one chain of detections with gaps of about a second
    start, end = seen.detections.of_zone(0)
    inside = seen.visits.aisle == 0
    assert len(start) > 30 * inside.sum() * 0.5
    covered = float((seen.visits.leave - seen.visits.enter)[inside].sum())
    assert float((end - start).sum()) == pytest.approx(covered - 30.0 * inside.sum(), rel=0.05)
