"""The program's sensing against the obvious sampler of tests/naive_sensing.py on drawn sites and visits.

Both are exact, so at an instant chosen at random they must agree, unless it falls within a millisecond of the
edge of a detection.  Nothing is missed, every passer-by within range is seen, standing trucks never.
"""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from sim.replication import Site, prepare_site, simulate_traffic
from tests.naive_sensing import NaiveSensing, way_done, way_duration
from tests.truth.truth_scenes import drawn_ways, equals, holds, scenario, spoilt

EDGE_S = 1e-3


def random_site(number: int) -> Site:
    """Return a small site with drawn sensors: places, reach, look-out, cut zones, unequal aisles.

    From number 9 on also one-way aisles, either way, and middle cross-aisles.
    """
    rng = np.random.default_rng(1000 + number)
    aisles = int(rng.integers(2, 6))
    lengths = [float(length) for length in rng.choice([24.0, 37.0, 50.0], aisles)]
    shortest = min(lengths)
    places: object = ["ends", "every", sorted(float(place) for place in rng.uniform(0.0, shortest, 3))][
        number % 3
    ]
    zones = 1 if isinstance(places, list) else int(rng.integers(1, 3))
    trucks = {
        "name": "reach",
        "count": 4,
        "speed_laden_m_per_s": float(rng.uniform(1.0, 2.5)),
        "speed_empty_m_per_s": float(rng.uniform(1.0, 3.0)),
        "acceleration_m_per_s2": float(rng.choice([0.0, 0.5, 1.0])),
        "handling_mean_s": 20.0,
        "handling_cv": 0.8,
    }
    ways = drawn_ways(number, aisles, (11.0, 18.0, 23.5)) if number >= 9 else {}
    return prepare_site(
        scenario(
            aisles=aisles,
            hours=1.5,
            seed=number,
            trucks=[trucks],
            floor={
                "aisle_length_m": lengths,
                "aisle_pitch_m": float(rng.uniform(4.0, 6.0)),
                "aisle_capacity": 2,
                "zones_per_aisle": zones,
                "staging_depth_m": float(rng.choice([0.0, 4.0, 15.0])),
                "dock_doors": int(rng.integers(1, 4)),
            }
            | ways,
            luminaires={"per_aisle": 6},
            sensors={
                "at": places,
                "range_m": float(rng.uniform(1.0, 14.0)),
                "approach_m": float(rng.choice([0.0, 3.0, 9.0])),
                "passing_trigger": 1.0,
                "passing_range_m": float(rng.choice([0.0, 3.0, 8.0])),
            },
            work=[
                {"name": kind, "kind": kind, "per_hour": 16.0}
                for kind in ("putaway", "retrieve", "replenish")
            ],
        )
    )


def check_samples(number: int, *, floor: dict | None = None, **sensors: float) -> int:
    """Compare at 1500 random instants; return how many of them saw anything."""
    place = random_site(number)
    traffic = simulate_traffic(place, 0)
    layout = place.layout
    model = dataclasses.replace(
        layout, sensors=tuple(own.model_copy(update=sensors) for own in layout.sensors), **(floor or {})
    )
    twin = NaiveSensing(model, traffic.visits)
    times = np.sort(np.random.default_rng(number).random(1500)) * place.scenario.duration_s
    found = traffic.detections
    edges = np.sort(np.concatenate([found.start, found.end]))
    near = np.minimum(
        np.abs(times - edges[np.minimum(np.searchsorted(edges, times), len(edges) - 1)]),
        np.abs(times - edges[np.maximum(np.searchsorted(edges, times) - 1, 0)]),
    )
    clear = times[near > EDGE_S]
    assert len(clear) > 1400
    wanted = twin.samples(clear.tolist())
    for time, zones in zip(clear.tolist(), wanted, strict=True):
        seen = set(found.zone[(found.start <= time) & (time < found.end)].tolist())
        holds(seen == zones, f"site {number} at {time:.3f} s: zones {seen} seen, by hand {zones}")
    return sum(map(bool, wanted))


@pytest.mark.parametrize("number", range(21))
def test_the_obvious_sampler_sees_the_same(number):
    assert check_samples(number) > 20, "too little to see"


@pytest.mark.parametrize("key, more_m", [("range_m", 0.5), ("approach_m", 1.0), ("passing_range_m", 1.0)])
def test_the_comparison_notices_other_reaches(key, more_m):
    """Not every site shows it (reaches overlap), one of the nine has to."""
    with spoilt(f"{key} {more_m} m more"):
        for number in range(9):
            check_samples(number, **{key: getattr(random_site(number).layout.sensors[0], key) + more_m})


def test_the_comparison_notices_moved_sensors():
    with spoilt("sensors moved by 1 m"):
        for number in range(9):
            check_samples(number, floor={"sensor_m": random_site(number).layout.sensor_m + 1.0})
    with spoilt("sensors of the first zone serve the second"):
        for number in range(9):
            zone = random_site(number).layout.sensor_zone
            check_samples(number, floor={"sensor_zone": np.where(zone == 0, 1, zone)})
    with spoilt("middle cross-aisles 1 m farther back"):
        for number in range(9, 18):
            check_samples(number, floor={"cross_m": random_site(number).layout.cross_m + 1.0})


def test_the_twin_s_own_kinematics():
    """12.5 m at 2.5 m/s and 0.5 m/s2: 10 s, halfway after 5 s, 1 m after 2 s; at constant speed 5 s."""
    equals(way_duration(12.5, 2.5, 0.5), 10.0, 1e-12, "duration")
    equals(
        [way_done(time, 12.5, 2.5, 0.5) for time in (2.0, 5.0, 8.0, 10.0)],
        [1.0, 6.25, 11.5, 12.5],
        1e-12,
        "ways",
    )
    equals((way_duration(12.5, 2.5, 0.0), way_done(2.0, 12.5, 2.5, 0.0)), (5.0, 5.0), 1e-12, "no ramp")
    assert way_done(10.1, 12.5, 2.5, 0.5) is None
