"""Aisles that share one zone: a group of M/G/infinity aisles is one M/G/infinity queue with the rates added.

Superposed Poisson streams are a Poisson stream of the summed rate (Kingman, "Poisson Processes", 1993, from
memory), so share low = exp(-sum lam (E S + delay)) as in `truth_formulas`.  What the sensors of a group see
is what those of its aisles see by themselves, united; a group of one aisle is no group.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

import sim
from sim.floor.layout import lay_out
from sim.outcome.limit_rows import limit_rows
from sim.replication import (
    account_lights,
    light_traffic,
    prepare_site,
    replay_site,
    simulate_live,
    simulate_traffic,
)
from sim.scenario.schema import Scenario
from sim.scenario.tables.areas import AisleGroup
from sim.scenario.toml import parse_scenario
from sim.sensing.coverage import unite
from sim.study.ages.evaluate import evaluate_settings
from tests.lighting.engines import by_program, by_twin
from tests.lighting.engines import site as small_site
from tests.truth.limit_scenes import SITE, USUAL
from tests.truth.truth_formulas import Law, Light
from tests.truth.truth_scenes import after, agrees, equals, holds, plain_visits, replay, site, spoilt
from tests.truth.truth_scenes import scenario as scene

RATES = (0.02, 0.05, 0.03)
"""Visits a minute to the three aisles of a group."""
PAIR = '\n[[group]]\nname = "pair"\naisles = ["A01", "A03"]\n'
MEAN_MIN, DELAY_MIN, GROUPS, HOURS = 1.5, 10.0, 150, 25.0


def check_group(*, is_grouped: bool = True, timeout_s: float = 600.0) -> None:
    """Shares low and occupied, energy of groups of three aisles, exponential stays; an hour to warm up."""
    names = [f"{number:03d}{letter}" for number in range(GROUPS) for letter in "abc"]
    group = [{"name": f"G{k:03d}", "aisles": names[3 * k : 3 * k + 3][::-1]} for k in range(GROUPS)]
    place = site(
        aisles=names, hours=HOURS, day={"timeout_s": timeout_s}, luminaires={"standby_w": 5.0},
        **({"group": group} if is_grouped else {}),
    )
    rng, end_s = np.random.default_rng(31), 3600.0 * HOURS
    counts = rng.poisson(np.tile(RATES, GROUPS) / 60.0 * end_s)
    aisle = np.repeat(np.arange(3 * GROUPS), counts)
    enter = rng.random(len(aisle)) * end_s
    stay = rng.standard_exponential(len(aisle)) * 60.0 * MEAN_MIN
    visits = plain_visits(aisle, enter, enter + stay, end_s)
    zone = place.layout.aisle_place[aisle]
    outcomes, _ = replay(place, zone, enter, enter + stay, visits)
    law = Law.of(stats.expon(scale=MEAN_MIN).ppf)
    light, truck = Light(sum(RATES), MEAN_MIN, DELAY_MIN, law), Light(sum(RATES), MEAN_MIN, 0.0, law)
    window, root = 60.0 * (HOURS - 1.0), math.sqrt(GROUPS)
    zones = len(place.layout.zones)
    whole = (HOURS - 1.0) * zones
    error = light.low_sd(window) / window / root
    agrees(after(outcomes, "time_at_low_h") / whole, light.low, error, "share low")
    truck_error = truck.low_sd(window) / window / root
    agrees(after(outcomes, "occupied_h") / whole, truck.occupied, truck_error, "share occupied")
    # thirty luminaires: 100 W at full, 5 + 0.2 x 95 = 24 W at the unoccupied level
    mean_kw = after(outcomes, "energy_kwh") / (HOURS - 1.0) / GROUPS
    agrees(mean_kw, 3.0 - 30 * 0.076 * light.low, 30 * 0.076 * error, "kW of a group")


def test_a_group_is_a_queue_with_the_rates_added() -> None:
    check_group()
    with spoilt("each aisle by itself"):
        check_group(is_grouped=False)
    with spoilt("timeout 9 min"):
        check_group(timeout_s=540.0)


def demo(*groups: tuple[str, ...], days: float = 1.0) -> Scenario:
    """A packaged site with groups among its like aisles."""
    made = tuple(AisleGroup(name=f"G{k}", aisles=aisles) for k, aisles in enumerate(groups, start=1))
    return sim.load("cross-dock").model_copy(update={"days": days, "area": None, "group": made or None})


def same_numbers(one: dict, other: dict) -> bool:
    """Say whether two tables are equal to the last bit."""
    return one.keys() == other.keys() and all(
        np.array_equal(np.asarray(one[name]), np.asarray(other[name]), equal_nan=True) for name in one
    )


def test_a_group_of_one_aisle_is_no_group() -> None:
    """Replay, age view and lights inside the simulation, to the last bit."""
    found = []
    for scenario in (demo(), demo(("L03",), ("L07",)), demo(("L03", "L04"))):
        place = prepare_site(scenario)
        traffic = simulate_traffic(place, 0)
        outcomes, _ = replay_site(place, traffic)
        ages = evaluate_settings(place, traffic, [scenario.lighting.settings])
        live = simulate_live(place, 0)
        found.append((dict(outcomes.total), ages, {"turns": [len(one[0].time) for one in live.lights]}))
    for number in range(3):
        holds(same_numbers(found[0][number], found[1][number]), "a group of one changes nothing")
    with spoilt("a group of two"):
        holds(same_numbers(found[0][0], found[2][0]), "a group of one changes nothing")


def check_union(members: tuple[str, ...], asked: tuple[str, ...]) -> None:
    """A group's sensors see what the aisles' sensors see; every outcome of the zone follows from that."""
    alone, grouped = prepare_site(demo()), prepare_site(demo(members))
    by_itself, together = simulate_traffic(alone, 0), simulate_traffic(grouped, 0)
    rows = np.isin(by_itself.detections.zone, [alone.layout.aisles.index(name) for name in asked])
    nothing = np.zeros(int(rows.sum()), dtype=np.int64)
    wanted = unite(nothing, by_itself.detections.start[rows], by_itself.detections.end[rows])
    zone = grouped.layout.zones.index("G1")
    start, end = together.detections.of_zone(zone)
    holds(np.array_equal(start, wanted.start) and np.array_equal(end, wanted.end), "what the group sees")
    stays = together.stays
    assert stays is not None
    assert by_itself.visits is not None
    there = int(np.isin(by_itself.visits.aisle, [alone.layout.aisles.index(name) for name in asked]).sum())
    equals(len(stays.of_zone(zone).zone), there, 0.0, "visits of the group")


def test_a_group_sees_what_its_aisles_see() -> None:
    members = ("L02", "L09", "L05")
    check_union(members, members)
    with spoilt("one aisle's sensors are left out"):
        check_union(members, members[:2])


def test_lights_inside_the_simulation_do_the_same_with_groups() -> None:
    place = prepare_site(demo(("L02", "L09", "L05"), ("L06", "L03")))
    traffic = simulate_traffic(place, 0)
    _, look = replay_site(place, traffic)
    for (_, levels), wanted in zip(light_traffic(place, traffic), look.levels, strict=True):
        equals(levels.start, wanted.start, 0.0, "turns")
        equals(levels.end_level, wanted.end_level, 1e-12, "levels")


def check_live_floor(miss: float) -> None:
    """One simulation of trucks and lights, nobody reacts, no chance in the sensors: the same turns."""
    scenario = scene(
        aisles=6, hours=24.0, floor={"aisle_capacity": 1, "staging_depth_m": 10.0, "dock_doors": 2},
        sensors={"at": "ends", "range_m": 9.0, "approach_m": 3.0, "miss": miss},
        trucks=[{
            "name": "reach", "count": 3, "speed_laden_m_per_s": 2.0, "speed_empty_m_per_s": 2.5,
            "acceleration_m_per_s2": 0.5, "handling_mean_s": 30.0, "handling_cv": 0.5,
        }],
        work=[
            {"name": "out", "kind": "retrieve", "per_hour": 15.0, "aisle_skew": 0.5},
            {"name": "move", "kind": "replenish", "per_hour": 5.0, "aisle_skew": 0.5},
        ],
        group=[{"name": "west", "aisles": ["A01", "A02"]}, {"name": "odd", "aisles": ["A06", "A04", "A03"]}],
    )
    place = prepare_site(scenario)
    traffic, live = simulate_traffic(place, 0), simulate_live(place, 0)
    replayed, look = replay_site(place, traffic)
    lived, _ = account_lights(place, live.lights, live.traffic)
    for (_, levels), wanted in zip(live.lights, look.levels, strict=True):
        holds(len(levels.start) == len(wanted.start), "number of turns")
        equals(levels.start, wanted.start, 1e-5, "turns")
    for name, column in replayed.zones.items():
        equals(lived.zones[name], column, 1e-6, name)


def test_the_live_floor_lights_groups_as_a_replay_does() -> None:
    check_live_floor(0.0)
    with spoilt("sensors that miss by chances of their own"):
        check_live_floor(0.2)


def test_a_group_by_hand() -> None:
    """A01 seen 0 to 100 s, A02 at 150 s, timeout 100 s: one zone high from 0 to 250 s, not two."""
    scenario = small_site(
        floor={"aisles": 3}, override=[{"aisles": ["A02"], "per_aisle": 4}],
        group=[{"name": "pair", "aisles": ["A02", "A01"]}],
    )
    layout = lay_out(scenario)
    assert layout.zones == ("pair", "A03")
    assert layout.dimmed.tolist() == [14, 10]
    motion = [("pair", 0.0, 100.0), ("pair", 150.0, 150.0)]
    visits = [("A01", 0.0, 120.0, 0.0), ("A02", 140.0, 200.0, 130.0)]
    stays = [("pair", 0, 0.0, 120.0), ("pair", 1, 140.0, 200.0)]
    for engine in (by_program, by_twin):
        row = engine(scenario, motion, visits, stays).zones["pair"]
        high = 250.0
        assert row["time_at_low_h"] == pytest.approx((4320.0 - high) / 3600.0)
        assert row["energy_kwh"] == pytest.approx((14 * 100.0 * high + 14 * 20.0 * (4320.0 - high)) / 3.6e6)
        assert (row["visits"], row["occupied_h"]) == (2.0, pytest.approx(180.0 / 3600.0))
        # full for 20 min after 150 s, half the power afterwards
        assert row["code_minimum_kwh"] == pytest.approx((1400.0 * 1350.0 + 700.0 * 2970.0) / 3.6e6)


def test_a_code_that_wants_each_aisle_by_itself() -> None:
    """IECC 2021, C405.2.1.2: the aisles of a warehouse are controlled each by itself."""
    text = SITE.format(limits='"IECC-2021"', **{**USUAL, "said": "each_aisle_alone = true"})
    grouped = parse_scenario(text + PAIR)
    plain = parse_scenario(text)
    for scenario, wanted in (
        (plain, [(("A01", "A02", "A03"), True)]),
        (grouped, [(("A01", "A03"), False), (("A02",), True)]),
    ):
        rows = [row for row in limit_rows(scenario) if row.what == "each aisle by itself"]
        assert [(row.aisles, row.is_met) for row in rows] == wanted
