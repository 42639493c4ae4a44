"""Reach from an angle, sensors that are dead, zones that lead: against geometry, chance and counting by hand.

Standard errors: the number of dead among n sensors is binomial, se = sqrt(n p (1 - p)); k = 4.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pytest

from sim.floor.layout import lay_out
from sim.lighting.replay import command_zone
from sim.randomness import random_stream
from sim.records import Detections
from sim.replication import hear_seen, prepare_site, run_replication, sense_visits, simulate_traffic
from sim.scenario.schema import Scenario
from sim.sensing.hearing import draw_dead
from tests.lighting.engines import site
from tests.lighting.test_live_floor import make_site


def reach_of(sensors: dict[str, object], override: dict[str, object] | None = None) -> float:
    """Return the reach that the first aisle's sensors come to."""
    scenario = angled(sensors, override)
    return scenario.sensors_of("A01").range_m


def angled(sensors: dict[str, object], override: dict[str, object] | None = None) -> Scenario:
    """Make a site whose sensors are told without `range_m`."""
    content = site().content() | {"start": site().start}
    content["sensors"] = {"at": "every"} | sensors
    content["override"] = [{"aisles": ["A01"]} | override] if override else []
    return Scenario.model_validate(content)


def test_reach_from_an_angle() -> None:
    """r = h tan(angle): tan 45 = 1, tan 30 = 1 / sqrt(3), tan 60 = sqrt(3)."""
    assert reach_of({"half_angle_deg": 45.0, "mounting_height_m": 9.0}) == pytest.approx(9.0)
    assert reach_of({"half_angle_deg": 30.0, "mounting_height_m": 9.0}) == pytest.approx(9.0 / math.sqrt(3.0))
    # an override of one key keeps the other; a range in an override puts the angle out of use
    high = {"half_angle_deg": 30.0, "mounting_height_m": 9.0}
    assert reach_of(high, {"half_angle_deg": 60.0}) == pytest.approx(9.0 * math.sqrt(3.0))
    assert reach_of(high, {"mounting_height_m": 3.0}) == pytest.approx(math.sqrt(3.0))
    assert reach_of(high, {"range_m": 2.5}) == 2.5
    assert reach_of({"range_m": 4.0}, high) == pytest.approx(9.0 / math.sqrt(3.0))


@pytest.mark.parametrize("share", [0.1, 0.5])
def test_the_dead_are_a_share(share: float) -> None:
    layout = lay_out(site(floor={"aisles": 40}, sensors={"dead_share": share}))
    count = len(layout.sensor_m)
    dead = [draw_dead(layout, partial(random_stream, 1, number, "dead sensors")) for number in range(25)]
    found = sum(0 if one is None else int(one.sum()) for one in dead)
    se = math.sqrt(25 * count * share * (1.0 - share))
    assert abs(found - 25 * count * share) < 4.0 * se
    assert abs(found - 25 * count * (share + 0.05)) > 4.0 * se, "negative control: another share is seen"
    assert len({found if one is None else one.tobytes() for one in dead}) > 1, "drawn anew each time"


def test_dead_sensors_move_no_other_draw() -> None:
    """One sensor a zone: zones whose sensor works see what they saw when all worked, the others nothing."""
    sensors = "approach_m = 3.0\nmiss = 0.2\nstill_rate_per_min = 2.0\n"
    sensors += "passing_trigger = 0.3\npassing_range_m = 3.0"
    values: dict[str, object] = {"zones": 12, "at": '"every"', "range_m": 4.0, "days": 0.2}
    sound = make_site(sensors=sensors, **values)
    hurt = make_site(sensors=f"{sensors}\ndead_share = 0.4", **values)
    traffic = simulate_traffic(sound, 0)
    assert traffic.visits is not None
    assert traffic.seen is not None
    dead = draw_dead(hurt.layout, partial(random_stream, hurt.scenario.seed, 0, "dead sensors"))
    assert dead is not None
    seen = sense_visits(hurt, traffic.visits, 0)
    for zone in range(len(hurt.layout.zones)):
        start, end = seen.of_zone(zone)
        if dead[hurt.layout.sensor_zone == zone].all():
            assert not len(start)
        else:
            usual = traffic.seen.of_zone(zone)
            assert np.array_equal(start, usual[0])
            assert np.array_equal(end, usual[1])
    assert 0 < dead.sum() < len(dead)


def test_a_zone_of_dead_sensors_stays_high() -> None:
    """Named dead: time at low is the latency alone; with one of two sensors at work it is not."""
    overrides = {"all": "all", "one": [1]}
    low = {}
    for name, dead in overrides.items():
        made = make_site(work="", sensors="latency_s = 3.0", aisles=2).scenario
        override = made.model_copy(update={"override": ()}).content() | {"start": made.start}
        override["override"] = [{"aisles": ["A01"], "dead_sensors": dead}]
        ready = prepare_site(Scenario.model_validate(override))
        low[name] = run_replication(ready, 0)[0].zones["time_at_low_h"]
    assert low["all"][0] == pytest.approx(3.0 / 3600.0)
    assert low["all"][1] == pytest.approx(12.0)
    # negative control: nothing moves, so a working sensor lets it dim
    assert low["one"][0] == pytest.approx(12.0)


@pytest.mark.parametrize("lead", [0, 1, 2])
def test_lead_zones_by_hand(lead: int) -> None:
    """Motion in the third of five zones lights zones 3 - n to 3 + n; in the first, zones 1 to 1 + n."""
    ready = prepare_site(site(floor={"aisles": 2, "zones_per_aisle": 5, "lead_zones": lead}))
    for zone, nearest in ((2, range(2 - lead, 3 + lead)), (5, range(5, 6 + lead)), (4, range(4 - lead, 5))):
        seen = Detections(np.array([zone]), np.array([100.0]), np.array([130.0]))
        heard = hear_seen(ready, seen, None)
        assert heard.zone.tolist() == list(nearest)
        ups = [one for one in range(10) if command_zone(*heard.of_zone(one), ready.programs[0]).is_high.any()]
        assert ups == list(nearest)
