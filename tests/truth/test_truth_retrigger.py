"""Pulses of a Poisson process against the light's timeout: T1 to T4 and T22.

A retriggered delay is a type II (paralyzable) counter: Knoll, "Radiation Detection and Measurement", ch. 4.
Every aisle is an independent repetition.  Standard errors are exact (truth_formulas).  A window that begins
one hour after the start is exactly stationary: the light at t depends on the last `timeout` alone.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.truth.truth_formulas import (
    Light,
    cold_low_cov,
    cold_low_mean,
    low_cov,
    on_moments,
)
from tests.truth.truth_scenes import (
    after,
    agrees,
    equals,
    high_spans,
    holds,
    poisson_times,
    replay,
    site,
    spoilt,
)

PER_MIN = 6.0 / 60.0
AISLES = 400


def lights(
    timeout_min: float,
    *,
    hours: float,
    seed: int = 1,
    aisles: int = AISLES,
    as_many: bool = False,
    **day: float,
):
    """Replay independent pulse trains of 6 an hour in many aisles; or of exactly 6 times the hours."""
    place = site(aisles=aisles, hours=hours, day={"timeout_s": 60.0 * timeout_min} | day)
    rng, end_s = np.random.default_rng(seed), place.scenario.duration_s
    zone, time = poisson_times(rng, aisles, PER_MIN / 60.0, end_s)
    if as_many:
        zone = np.repeat(np.arange(aisles), int(6 * hours))
        time = rng.random(len(zone)) * end_s
    return *replay(place, zone, time, time), zone, time


def check_cold_start(timeout_min: float) -> None:
    """T1: E[low in 0..480 min] = (1 - e^-x)/lam + (T - tau) e^-x from a start without past."""
    outcomes, _, _, _ = lights(timeout_min, hours=8.0)
    found = outcomes.zones["time_at_low_h"].mean() * 60.0
    sd = math.sqrt(cold_low_cov(PER_MIN, 10.0, 10.0, 480.0))
    agrees(found, 179.224543, sd / math.sqrt(AISLES), "minutes at low in 480")


def test_T1_time_at_low_from_a_cold_start():
    equals(cold_low_mean(PER_MIN, 10.0, 480.0), 179.224543, 1e-6, "the formula itself")
    check_cold_start(10.0)
    with spoilt("timeout 9 min"):
        check_cold_start(9.0)


TABLE = {5.0: (0.606531, 3.639184), 10.0: (0.367879, 2.207277), 15.0: (0.223130, 1.338781)}
"""T2, T3: share at low e^-x and switch-downs an hour lam e^-x, by timeout [min]."""


def check_stationary(expected_for: float, timeout_min: float, **day: float) -> None:
    """T2, T3 in a window of 8 h."""
    outcomes, _, _, _ = lights(timeout_min, hours=9.0, **day)
    low, offs = TABLE[expected_for]
    light = Light(PER_MIN, 0.0, expected_for)
    root = math.sqrt(AISLES)
    agrees(after(outcomes, "time_at_low_h") / (8.0 * AISLES), low, light.low_sd(480.0) / 480.0 / root, "low")
    agrees(
        after(outcomes, "switch_downs") / (8.0 * AISLES), offs, light.offs_sd(480.0) / 8.0 / root, "offs/h"
    )
    saved = after(outcomes, "saved_kwh") / after(outcomes, "always_on_kwh")
    agrees(saved, 0.8 * low, 0.8 * light.low_sd(480.0) / 480.0 / root, "saved share at unoccupied level 0.2")


@pytest.mark.parametrize("timeout_min", TABLE)
def test_T2_T3_share_at_low_and_switching(timeout_min):
    check_stationary(timeout_min, timeout_min)
    with spoilt("10 % shorter timeout"):
        check_stationary(timeout_min, 0.9 * timeout_min)
    with spoilt("levels swapped"):
        check_stationary(timeout_min, timeout_min, occupied_level=0.2, unoccupied_level=1.0)


def check_periods(timeout_min: float) -> None:
    """T2: the first 20 on-periods of each aisle, complete, are independent draws of the exact laws."""
    first, aisles = 20, 200
    _, look, zone, time = lights(timeout_min, hours=24.0, aisles=aisles)
    on, low, pulses = [], [], []
    for place, levels in enumerate(look.levels):
        begin, end = high_spans(levels)
        assert len(begin) > first, "the run is too short for the draws asked for"
        own = np.sort(time[zone == place])
        on += ((end - begin)[:first] / 60.0).tolist()
        low += ((begin[1:] - end[:-1])[:first] / 60.0).tolist()
        pulses += np.diff(np.searchsorted(own, begin[: first + 1])).tolist()
    draws = first * aisles
    x = PER_MIN * 10.0
    moments = on_moments(PER_MIN, 10.0)
    variance = moments[2] - moments[1] ** 2
    fourth = moments[4] - 4 * moments[3] * moments[1] + 6 * moments[2] * moments[1] ** 2 - 3 * moments[1] ** 4
    agrees(np.mean(on), 17.182818, math.sqrt(variance / draws), "mean on [min]")
    # sd of s^2 is sqrt((mu4 - sigma^4) / n); of s, that over 2 sigma
    agrees(np.std(on), 9.759572, math.sqrt((fourth - variance**2) / draws / (4.0 * variance)), "sd on [min]")
    agrees(np.mean(low), 10.0, 10.0 / math.sqrt(draws), "mean low [min]")
    # geometric with mean e^x: variance e^2x - e^x
    agrees(
        np.mean(pulses), 2.718282, math.sqrt((math.exp(2 * x) - math.exp(x)) / draws), "pulses per on-period"
    )


def test_T2_on_periods_low_periods_and_pulses():
    check_periods(10.0)
    with spoilt("timeout 11 min"):
        check_periods(11.0)


def low_minutes(look, hours: int) -> np.ndarray:
    """Minutes at low of each aisle from hour 1 on, out of the light itself."""
    begin, end = 3600.0, 3600.0 * hours
    return (
        np.array(
            [
                np.sum(
                    np.where(own.is_high, 0.0, np.clip(own.end, begin, end) - np.clip(own.start, begin, end))
                )
                for own in look.levels
            ]
        )
        / 60.0
    )


def check_variance(*, as_many: bool) -> None:
    """T4: sd 30.451551 min of the time at low in 480 min; 400 runs: variance ratio in [0.7, 1.35].

    The band is wide of 4 sd: sqrt(2/400) = 0.07 for a normal law.
    """
    _, look, _, _ = lights(10.0, hours=9.0, as_many=as_many)
    ratio = np.var(low_minutes(look, 9), ddof=1) / 30.451551**2
    holds(0.7 <= ratio <= 1.35, f"variance over its exact value {ratio:.3f} in [0.7, 1.35]")


def test_T4_the_variance_is_the_exact_one():
    equals(math.sqrt(low_cov(PER_MIN, 10.0, 10.0, 480.0)), 30.451551, 1e-5, "the formula itself")
    check_variance(as_many=False)
    with spoilt("as many pulses in every run instead of a Poisson number"):
        check_variance(as_many=True)


def check_common_numbers(*, other_seed: int) -> None:
    """T22: on the same pulses 10 min is never longer at low than 5 min; mean difference 112.812214 min."""
    short, _, _, _ = lights(5.0, hours=8.0)
    long, _, _, _ = lights(10.0, hours=8.0, seed=other_seed)
    low_short, low_long = (run.zones["time_at_low_h"] * 60.0 for run in (short, long))
    holds(low_long <= low_short, "in each run a longer timeout is never longer at low")
    holds(long.zones["energy_kwh"] >= short.zones["energy_kwh"], "and never uses less energy")
    holds(long.zones["switch_ups"] <= short.zones["switch_ups"], "and never switches up more often")
    alone = [cold_low_cov(PER_MIN, delay, delay, 480.0) for delay in (5.0, 10.0)]
    paired = sum(alone) - 2.0 * cold_low_cov(PER_MIN, 5.0, 10.0, 480.0)
    gain = low_short - low_long
    agrees(gain.mean(), 112.812214, math.sqrt(paired / AISLES), "minutes gained by the shorter timeout")
    ratio = (np.var(low_short, ddof=1) + np.var(low_long, ddof=1)) / np.var(gain, ddof=1)
    holds(ratio > 5.0, f"pairing divides the variance by {ratio:.1f}: theory about 11, asked for 5")


def test_T22_common_random_numbers():
    check_common_numbers(other_seed=1)
    with spoilt("other pulses for the other timeout"):
        check_common_numbers(other_seed=2)
