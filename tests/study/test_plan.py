"""The points of a sweep: grid, samples, and every point checked like a file."""

from __future__ import annotations

import numpy as np
import pytest

from sim.errors import InputError
from sim.scenario.toml import dump_scenario, parse_scenario
from sim.study.sweeping.plan import Plan, make_plan
from sim.study.sweeping.vary import parse_varied
from tests.study.decide_site import small_site


def plan_of(*texts: str, replications: int = 2, **how: object) -> Plan:
    """Return the plan of a sweep of the small site."""
    site = small_site()
    return make_plan(site, parse_varied(texts, site), replications=replications, **how)  # type: ignore[arg-type]


def test_the_grid_runs_over_the_last_key_fastest():
    plan = plan_of("day.timeout_s=60,120", "sensors.at=ends,every", "night.unoccupied_level=0.1,0.2")
    assert plan.points[:3] == ((60, "ends", 0.1), (60, "ends", 0.2), (60, "every", 0.1))
    assert len(plan) == 8
    assert len(plan.sites) == 2
    assert plan.site_of == (0, 0, 1, 1, 0, 0, 1, 1)
    assert [site.sensors.at for site in plan.sites] == ["ends", "every"]


def test_each_point_is_the_scenario_with_the_values_written_in():
    plan = plan_of("all.timeout_s=60,90.5", "trucks.reach.count=4,5", "floor.zones_per_aisle=2")
    site = small_site()
    for point, (timeout, count, _) in enumerate(plan.points):
        text = dump_scenario(site)
        for old, new in (
            ("timeout_s = 300.0", f"timeout_s = {timeout}"),
            ("timeout_s = 120.0", f"timeout_s = {timeout}"),
            ("count = 4", f"count = {count}"),
            ("zones_per_aisle = 1", "zones_per_aisle = 2"),
        ):
            assert text.count(old) == 1
            text = text.replace(old, new)
        assert plan.scenario_at(point) == parse_scenario(text)


@pytest.mark.parametrize(
    ("texts", "words"),
    [
        # the count and the crew stand in the same sentence
        (["trucks.reach.count=2,4"], 'trucks.reach.count=2: .*3 drivers for 2 "reach" trucks'),
        (["day.timeout_s=-1,60"], "day.timeout_s=-1: -1 is out of range"),
        (["day.unoccupied_level=0.5,1.5"], "day.unoccupied_level=1.5: .*from 0 to 1"),
        (["day.occupied_level=0.2"], "day.occupied_level=0.2: .*unoccupied_level"),
        (["sensors.at=ends,evry"], 'sensors.at=evry: .*did you mean "every"'),
        (["all.timeout_s=0", "sensors.hold_s=0,30"], "hold_s=0.*not above latency_s"),
        (["trucks.reach.count=4.5"], "trucks.reach.count=4.5"),
        ([], "nothing to sweep"),
        (["day.timeout_s=60:120"], "a:b:step, or --sample"),
    ],
)
def test_faults_name_key_and_value(texts, words):
    with pytest.raises(InputError, match=words):
        plan_of(*texts)


@pytest.mark.parametrize(("values", "told"), [("-1,-2,-3", 3), ("-40:-1:1", 20)])
def test_of_many_faults_twenty_are_told(values, told):
    with pytest.raises(InputError) as caught:
        plan_of(f"day.timeout_s={values}")
    assert len(caught.value.faults) == told
    assert "--vary day.timeout_s=-2: -2 is out of range" in str(caught.value) or told == 20


def test_a_sweep_too_large_is_refused_with_its_size():
    with pytest.raises(InputError, match=r"100,000,000 rows .*--sample"):
        plan_of("day.timeout_s=1:10000:1", "night.timeout_s=1:1000:1", replications=10)


@pytest.mark.parametrize(
    ("how", "points", "replications"), [({}, 2, 5_000_000), ({"sample": 1}, 1, 10_000_000)]
)
def test_ten_million_rows_are_planned_and_no_more(how, points, replications):
    """Rows are points times replications, of every combination as of a sample."""
    assert len(plan_of("day.timeout_s=60,120", replications=replications, **how)) == points
    told = rf"{10_000_000 + points:,} rows \({points} points x .* at most 10,000,000\."
    with pytest.raises(InputError, match=told):
        plan_of("day.timeout_s=60,120", replications=replications + 1, **how)


def test_a_latin_hypercube_has_a_point_in_every_stratum():
    """McKay, Beckman and Conover 1979: n points, each of n equal strata of each key holds one."""
    plan = plan_of(
        "day.timeout_s=100.0:500.0", "night.unoccupied_level=0.0:0.5", sample=40, design="lhs", replications=1
    )
    shares = np.array([[(point[0] - 100.0) / 400.0, point[1] / 0.5] for point in plan.points])
    strata = np.sort(np.floor(shares * 40).astype(int), axis=0)
    assert (strata == np.arange(40)[:, None]).all()


def test_sobol_points_fill_evenly_and_a_seed_repeats_them():
    """2^m points of a scrambled Sobol' net: each half, quarter, ... of each key holds the same number."""
    texts = ("day.timeout_s=100.0:500.0", "night.unoccupied_level=0.0:0.5")
    plan = plan_of(*texts, sample=64, replications=1)
    shares = np.array([[(point[0] - 100.0) / 400.0, point[1] / 0.5] for point in plan.points])
    for parts in (2, 4, 8, 16):
        for column in shares.T:
            assert (
                np.bincount((column * parts).astype(int), minlength=parts).tolist() == [64 // parts] * parts
            )
    assert plan_of(*texts, sample=64, replications=1).points == plan.points


def test_lists_are_sampled_by_index_and_doubles_kept_once():
    plan = plan_of("day.timeout_s=30,60,600", "sensors.at=ends,every", sample=200, replications=1)
    assert sorted(plan.points, key=str) == sorted(
        [(timeout, at) for timeout in (30, 60, 600) for at in ("ends", "every")], key=str
    )
    whole = plan_of("trucks.reach.count=4:6", sample=50, replications=1)
    assert sorted(point[0] for point in whole.points) == [4, 5, 6]
