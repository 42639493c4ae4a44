"""The floor with everything on costs at most two events a visit, besides charging and going on duty."""

from __future__ import annotations

import numpy as np
import pytest

from sim.traffic import world
from sim.traffic.batteries import battery_changes
from sim.traffic.work import draw_tasks
from tests.bench.deep import deep_site
from tests.bench.test_events_a_visit import MOST_EVENTS_A_VISIT, CountingEnvironment


def test_everything_on_costs_two_events_a_visit(monkeypatch: pytest.MonkeyPatch) -> None:
    class Counting(CountingEnvironment):
        pass

    monkeypatch.setattr(world.simpy, "Environment", Counting)
    site = deep_site(2.0)
    scenario = site.scenario
    log = world.simulate_floor(
        site.layout,
        scenario.trucks,
        site.may_do,
        site.fleet,
        draw_tasks(scenario, site.layout, 0),
        scenario.duration_s,
        battery_changes(scenario, site.fleet, 0),
    )
    kinds = {part: np.count_nonzero(log.part == part) for part in (world.BOTH, world.SECOND_OF_PAIR)}
    assert min(kinds.values()) > 100, "pairs are part of everything"
    assert len(log.charges.truck) > 10
    assert np.unique(log.truck).size == len(site.fleet.names) - 6, "all but those who unload"
    duties = sum(len(hours) for hours in site.fleet.duty)
    most = MOST_EVENTS_A_VISIT * len(log.enter) + len(log.charges.truck) + duties + len(site.fleet.names) + 1
    assert len(log.enter) <= Counting.steps <= most
