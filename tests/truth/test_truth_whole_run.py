"""Whole runs, traffic to outcomes, against exact answers: T6, T7 and T15.

With trucks ample and one door every move reaches its aisle a fixed time after it arises, so visits to the
aisles are independent Poisson streams (a Poisson stream split by chance; shifts of it) and each aisle is the
queue M/G/infinity of T5 with S = way in + handling + way out.  The first hour is left out: way, stay and
timeout are shorter, so the rest is exactly stationary.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from sim.replication import prepare_site, replay_site, simulate_traffic
from tests.truth.truth_formulas import Law, Light
from tests.truth.truth_scenes import RETRIEVE, TRUCK, after, agrees, equals, high_spans, scenario, spoilt

TIMEOUT_MIN = 10.0


def leg(distance: np.ndarray, ramp: float) -> np.ndarray:
    """Way of a truck at 2.5 m/s [min]."""
    if ramp == 0.0:
        return distance / 2.5 / 60.0
    is_long = distance >= 2.5**2 / ramp
    return np.where(is_long, distance / 2.5 + 2.5 / ramp, 2.0 * np.sqrt(distance / ramp)) / 60.0


EXPECTED = {
    0.0: {"mean_stay": 0.9, "low": 0.336216, "offs": 2.017299, "on": 19.742741},
    0.5: {"mean_stay": 1.060880, "low": 0.330851},
}
"""T6 without, T7 with acceleration [m/s2]: E S [min], share at low, switch-downs an hour, mean on [min]."""


def check_trips(expected_for: float, ramp: float, sensors: dict, timeout_s: float = 600.0) -> None:
    """T6, T7: 60 m, 2.5 m/s, handling 30 s, uniform depth, out and back, 6 visits an hour an aisle."""
    aisles, hours = 10, 241.0
    made = scenario(
        aisles=aisles,
        hours=hours,
        day={"timeout_s": timeout_s},
        sensors=sensors,
        trucks=[TRUCK | {"acceleration_m_per_s2": ramp, "count": 40}],
        work=[RETRIEVE | {"per_hour": 6.0 * aisles}],
    )
    place = prepare_site(made)
    traffic = simulate_traffic(place, 0)
    outcomes, look = replay_site(place, traffic)
    known = EXPECTED[expected_for]
    law = Law.of(lambda rank: 2.0 * leg(60.0 * rank, expected_for) + 0.5)
    light = Light(0.1, known["mean_stay"], TIMEOUT_MIN, law)
    equals(
        (light.low, light.offs * 60.0),
        (known["low"], known.get("offs", light.offs * 60.0)),
        1e-6,
        "the formula",
    )
    equals(np.mean(law.quantiles), known["mean_stay"], 1e-5, "E S of the law")

    whole, window = (hours - 1.0) * aisles, (hours - 1.0) * 60.0
    root = math.sqrt(aisles)
    visits = traffic.visits
    stays = ((visits.leave - visits.enter) / 60.0)[visits.leave < place.scenario.duration_s]
    agrees(stays.mean(), known["mean_stay"], np.std(law.quantiles) / math.sqrt(len(stays)), "mean stay [min]")
    agrees(after(outcomes, "visits"), 6.0 * whole, math.sqrt(6.0 * whole), "visits")
    low, offs = after(outcomes, "time_at_low_h") / whole, after(outcomes, "switch_downs") / whole
    agrees(low, known["low"], light.low_sd(window) / window / root, "share at low")
    agrees(offs, light.offs * 60.0, light.offs_sd(window) / window * 60.0 / root, "switch-downs an hour")
    agrees(
        after(outcomes, "saved_kwh") / after(outcomes, "always_on_kwh"),
        0.8 * known["low"],
        0.8 * light.low_sd(window) / window / root,
        "saved share at unoccupied level 0.2",
    )
    truck = Light(0.1, known["mean_stay"], 0.0, law)
    agrees(
        after(outcomes, "occupied_h") / whole,
        truck.occupied,
        truck.low_sd(window) / window / root,
        "share occupied",
    )
    # the first 300 on-periods of each aisle, complete, are independent busy periods
    spans = [high_spans(own) for own in look.levels]
    on = np.concatenate([(end - begin)[:300] for begin, end in spans]) / 60.0
    assert all(len(begin) > 300 for begin, _ in spans)
    agrees(on.mean(), known.get("on", light.mean_on), light.on_sd / math.sqrt(len(on)), "mean on [min]")


@pytest.mark.parametrize("sensors", [{"at": "every", "range_m": 4.0}, {"at": "ends", "range_m": 60.0}])
@pytest.mark.parametrize("ramp", [0.0, 0.5])
def test_T6_T7_the_whole_run(ramp, sensors):
    check_trips(ramp, ramp, sensors)


def test_T6_T7_notice_spoilt_models():
    every = {"at": "every", "range_m": 4.0}
    with spoilt("acceleration ignored"):
        check_trips(0.5, 0.0, every)
    with spoilt("acceleration where there is none"):
        check_trips(0.0, 0.5, every)
    with spoilt("timeout 9 min"):
        check_trips(0.0, 0.0, every, timeout_s=540.0)
    with spoilt("sensors that leave a blind stretch and a timeout that ends in it"):
        check_trips(0.0, 0.0, {"at": "ends", "range_m": 5.0}, timeout_s=20.0)


def check_skew(skew: float) -> None:
    """T15: 60 visits an hour over 10 aisles by Bender's A = 0.2, timeout 10 min: mean low 0.524052.

    Aisles of 1 mm and no handling: visits are pulses.  Aisles are independent: the variances add.
    """
    hours = 481.0
    made = scenario(
        aisles=10,
        hours=hours,
        floor={"aisle_length_m": 1e-3},
        trucks=[TRUCK | {"handling_mean_s": 0.0}],
        work=[RETRIEVE | {"per_hour": 60.0, "aisle_skew": skew}],
    )
    place = prepare_site(made)
    outcomes, _ = replay_site(place, simulate_traffic(place, 0))
    rank = np.arange(11) / 10.0
    shares = np.diff(1.2 * rank / (0.2 + rank))
    window = 60.0 * (hours - 1.0)
    aisles = [Light(share, 0.0, TIMEOUT_MIN) for share in shares.tolist()]
    equals(np.mean([own.low for own in aisles]), 0.524052, 1e-6, "the formula itself")
    sd = math.sqrt(sum(own.low_sd(window) ** 2 for own in aisles)) / window / 10.0
    agrees(after(outcomes, "time_at_low_h") / (hours - 1.0) / 10.0, 0.524052, sd, "mean share at low")
    # each aisle: 1 h of start included, so the cold-start bias (< tau) is left to the tolerance
    for place_, own in enumerate(aisles):
        agrees(
            outcomes.zones["time_at_low_h"][place_] / hours,
            own.low,
            own.low_sd(60.0 * hours) / (60.0 * hours) + TIMEOUT_MIN / (60.0 * hours) / 4.0,
            f"aisle {place_}",
        )


def test_T15_skewed_aisles_save_more():
    check_skew(0.2)
    with spoilt("aisles alike: 0.367879"):
        check_skew(0.0)
    with spoilt("A = 0.3"):
        check_skew(0.3)
