"""Live against replay on drawn floors: one-way aisles, middle cross-aisles, tours, queues, cut zones.

Nobody is slowed (a factor of 1), nothing is left to chance, so the two engines must agree on every visit, on
what the sensors see and on every outcome, to the end of the run.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, find, given, settings
from hypothesis import strategies as st
from hypothesis.errors import NoSuchExample

from sim.lighting import live_floor
from sim.replication import prepare_site, run_replication, simulate_live, simulate_traffic
from sim.traffic.work import KINDS
from tests.lighting.test_live_floor import motion_apart
from tests.truth.truth_scenes import scenario

FEW = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])


@st.composite
def floors(draw: st.DrawFn) -> dict[str, Any]:
    """Draw the keys of a small busy site."""
    aisles = draw(st.integers(2, 5))
    names = [f"A{number + 1:02d}" for number in range(aisles)]
    way = draw(st.lists(st.sampled_from([-1, 0, 1]), min_size=aisles, max_size=aisles))
    cuts = draw(st.integers(1, 3))
    shorter = st.lists(st.sampled_from([24.0, 40.0]), min_size=aisles - 1, max_size=aisles - 1)
    lengths = [40.0, *draw(shorter)]
    kinds = draw(st.lists(st.sampled_from(KINDS), min_size=1, max_size=4, unique=True))
    extra = {
        "tour": {"lines_per_tour": 3, "routing": draw(st.sampled_from(["traversal", "return", "shortest"]))},
        "walk": {"dwell_median_s": 40.0, "dwell_spread": 2.0, "through": draw(st.booleans())},
    }
    return {
        "aisles": aisles,
        "hours": draw(st.sampled_from([0.3, 0.7, 1.1])),
        "seed": draw(st.integers(0, 99)),
        "floor": {
            "aisle_length_m": lengths,
            "aisle_capacity": draw(st.sampled_from([1, 2, None])),
            "dock_doors": draw(st.integers(1, 3)),
            "staging_depth_m": draw(st.sampled_from([0.0, 9.0])),
            "zones_per_aisle": cuts,
            "lead_zones": draw(st.integers(0, cuts - 1)),
            "cross_aisles_m": draw(
                st.lists(st.sampled_from([8.0, 20.0, 24.0, 31.0]), min_size=1, max_size=2, unique=True)
                | st.none()
            ),
            "one_way": [name for name, one in zip(names, way, strict=True) if one > 0] or None,
            "one_way_from_back": [name for name, one in zip(names, way, strict=True) if one < 0] or None,
        },
        "sensors": {
            "at": "every",
            "range_m": draw(st.sampled_from([2.0, 6.0])),
            "approach_m": draw(st.sampled_from([0.0, 4.0])),
            "passing_trigger": 1.0,
            "passing_range_m": draw(st.sampled_from([0.0, 3.0])),
        },
        "day": {"timeout_s": 30.0, "fade_down_s": 3.0},
        "work": [
            {"name": kind, "kind": kind, "per_hour": 40.0} | extra.get(kind, {}) for kind in sorted(kinds)
        ],
        "volume_cv": 0.0,
    }


def groups(**keys: float) -> list[dict[str, Any]]:
    """Return trucks and people."""
    speeds = {"speed_laden_m_per_s": 1.8, "speed_empty_m_per_s": 2.5, "acceleration_m_per_s2": 0.5}
    arc = {"turn_speed_m_per_s": 1.0, "turn_radius_m": 1.5}
    truck = {"name": "reach", "count": 5, "handling_mean_s": 15.0, "handling_cv": 0.5}
    return [truck | speeds | arc | keys, {"name": "people", "kind": "walker", "count": 2} | keys]


def differences(drawn: dict[str, Any]) -> list[str]:
    """Say where the two engines differ."""
    usual = prepare_site(scenario(**drawn, trucks=groups()))
    live = prepare_site(scenario(**drawn, trucks=groups(dim_speed_factor=1.0)))
    traffic, lived = simulate_traffic(usual, 0), simulate_live(live, 0).traffic
    assert traffic.visits is not None
    assert lived.visits is not None
    if len(traffic.visits) != len(lived.visits):
        return [f"{len(traffic.visits)} visits replayed, {len(lived.visits)} live"]
    found = []
    for name in ("arrive", "enter", "leave", "bay_m"):
        ours, theirs = (np.sort(getattr(one.visits, name)) for one in (traffic, lived))
        if len(ours) and np.abs(ours - theirs).max() > 1e-6:
            found.append(f"{name}: {np.abs(ours - theirs).max()} s apart")
    if len(traffic.visits) and motion_apart(traffic, lived) > 1e-5:
        found.append(f"motion {motion_apart(traffic, lived)} s apart")
    replayed, outcomes = run_replication(usual, 0)[0].total, run_replication(live, 0)[0].total
    found += [
        f"{name}: {value} replayed, {outcomes[name]} live"
        for name, value in replayed.items()
        if not math.isclose(value, outcomes[name], rel_tol=1e-9, abs_tol=1e-5)
    ]
    return found


@given(floors())
@settings(FEW, derandomize=True)  # a rare difference is known, see the next test
def test_live_is_the_replay_on_drawn_floors(drawn: dict[str, Any]) -> None:
    assert differences(drawn) == []


@pytest.mark.xfail(strict=True, reason="one of 25 dim entries is missing where a cross-aisle meets a cut")
def test_live_is_the_replay_where_a_middle_cross_aisle_meets_a_cut() -> None:
    """Found by drawing: for a moment a truck is in the farther zone, and only the replay counts it there."""
    floor = {
        "aisle_length_m": [40.0, 40.0], "aisle_capacity": 1, "dock_doors": 1, "staging_depth_m": 0.0,
        "zones_per_aisle": 2, "lead_zones": 0, "cross_aisles_m": [20.0], "one_way": None,
        "one_way_from_back": ["A01"],
    }
    sensors = {
        "at": "every", "range_m": 2.0, "approach_m": 0.0, "passing_trigger": 1.0, "passing_range_m": 0.0,
    }
    work = [{"name": "replenish", "kind": "replenish", "per_hour": 40.0}]
    drawn = {
        "aisles": 2, "hours": 0.3, "seed": 1, "floor": floor, "sensors": sensors,
        "day": {"timeout_s": 30.0, "fade_down_s": 3.0}, "work": work, "volume_cv": 0.0,
    }
    assert differences(drawn) == []


def is_found(monkeypatch: Any, name: str, spoilt: Any, most: int = 400) -> bool:
    """Say whether a live floor with one method spoilt is noticed on some drawn floor."""
    with monkeypatch.context() as patch:
        patch.setattr(live_floor.LiveFloor, name, spoilt)
        try:
            find(floors(), lambda drawn: bool(differences(drawn)), settings=search(most))
        except NoSuchExample:
            return False
    return True


def search(count: int) -> settings:
    """Return the settings for a search: no shrinking, so that it stays quick."""
    return settings(FEW, max_examples=count, phases=[Phase.generate], derandomize=True)


def test_spoilt_floors_are_found(monkeypatch: Any) -> None:
    """Negative controls: all are seen to come as if to a mouth; visits begin in the first or last zone."""

    def at_an_end(floor: Any, plan: Any) -> int:
        return int(floor.layout.zones_of(plan.aisle)[-1 if plan.enter_line else 0])

    assert is_found(monkeypatch, "_mouth", lambda floor, plan: plan.enters_back)
    assert is_found(monkeypatch, "_first_zone", at_an_end)
    assert not is_found(monkeypatch, "_mouth", live_floor.LiveFloor._mouth, 60)
