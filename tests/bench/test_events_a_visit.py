"""The exact gate of speed: how many events the floor costs a visit. Counted, so it holds on any machine."""

from __future__ import annotations

import pytest
import simpy

from sim.traffic import world
from sim.traffic.work import draw_tasks
from tests.bench.site import bench_site

MOST_EVENTS_A_VISIT = 2
"""Arriving at the mouth, coming free at the door; everything else is known beforehand."""


class CountingEnvironment(simpy.Environment):
    """Counts the events it works off."""

    steps = 0

    def step(self) -> None:
        """Work off one event."""
        type(self).steps += 1
        super().step()


def test_a_visit_costs_two_events(monkeypatch: pytest.MonkeyPatch) -> None:
    class Counting(CountingEnvironment):
        pass

    monkeypatch.setattr(world.simpy, "Environment", Counting)
    site = bench_site(1.0)
    scenario = site.scenario
    tasks = draw_tasks(scenario, site.layout, 0)
    log = world.simulate_floor(
        site.layout, scenario.trucks, site.may_do, site.fleet, tasks, scenario.duration_s
    )
    visits, trucks = len(log.enter), len(site.fleet.names)
    assert visits > 6000
    # besides: a start for each truck, and one event that ends the run
    assert Counting.steps <= MOST_EVENTS_A_VISIT * visits + trucks + 1
    assert Counting.steps >= visits, "the count counts nothing"
