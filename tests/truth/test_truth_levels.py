"""Rules of the light's level over the age since the last motion: T8 to T12.

In a stationary Poisson stream the age is exponential, so the mean of any rule g(age) is
int g(a) lam exp(-lam a) da (T10, T11).  T9: renewal-reward, low = E(X - tau)+ / E X for gaps X (Ross,
"Stochastic Processes"; Cox, "Renewal Theory", 1962; both from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from tests.truth.truth_formulas import Light, weighted_low_sd
from tests.truth.truth_scenes import after, agrees, equals, holds, poisson_times, replay, site, spoilt


def check_periodic(timeout_s: float, low: float, ups: int, latency_s: float) -> None:
    """T8: a pulse every 10 minutes for 480 minutes; exact, the retrigger at age = timeout included.

    Each switch-up comes a latency after its pulse, and the light is low so much longer.
    """
    time = np.arange(0.0, 28_800.0, 600.0)
    place = site(hours=8.0, day={"timeout_s": timeout_s}, sensors={"latency_s": latency_s})
    outcomes, _ = replay(place, np.zeros(48, np.int64), time, time)
    equals(outcomes.total["time_at_low_h"] * 3600.0, 28_800.0 * low + ups * latency_s, 1e-6, "seconds at low")
    equals(outcomes.total["switch_ups"], ups, 0.0, "switch-ups")


@pytest.mark.parametrize("latency_s", [0.0, 0.5])
@pytest.mark.parametrize(
    "timeout_s, low, ups",
    [(300.0, 0.5, 48), (480.0, 0.2, 48), (600.0, 0.0, 1), (601.0, 0.0, 1), (1200.0, 0.0, 1)],
)
def test_T8_periodic_pulses(timeout_s, low, ups, latency_s):
    check_periodic(timeout_s, low, ups, latency_s)
    with spoilt("a timeout that ends just before the pulse"):
        check_periodic(min(timeout_s, 600.0) - 1e-3, low, ups, latency_s)


GAPS = {
    "Erlang-2": (0.270671, stats.gamma(2.0, scale=5.0)),
    "Poisson": (0.367879, stats.expon(scale=10.0)),
    "U(0,20)": (0.25, stats.uniform(0.0, 20.0)),
}
"""Share at low under a timeout of 10 min, laws of gaps with mean 10 min."""
# balanced means, cv^2 = 4: p = (1 + sqrt((cv^2 - 1) / (cv^2 + 1))) / 2, rates 2p/mean and 2(1-p)/mean
H2_SHARE = 0.5 * (1.0 + math.sqrt(3.0 / 5.0))
H2_LOW = 0.483873


def h2_gaps(rng: np.random.Generator, count: int) -> np.ndarray:
    """Draw hyperexponential gaps of mean 10 min."""
    is_first = rng.random(count) < H2_SHARE
    return rng.standard_exponential(count) * np.where(is_first, 5.0 / H2_SHARE, 5.0 / (1.0 - H2_SHARE))


def h2_tail(gap: float) -> float:
    """P(X > gap)."""
    return H2_SHARE * math.exp(-gap * H2_SHARE / 5.0) + (1 - H2_SHARE) * math.exp(-gap * (1 - H2_SHARE) / 5.0)


def low_share(gaps_min: np.ndarray, timeout_min: float) -> float:
    """Replay pulses with given gaps, one train an aisle; time at low over the time of the gaps' mean.

    Only the gaps count: the time after the last pulse of each train is taken off.
    """
    aisles, count = gaps_min.shape
    time = np.concatenate([np.zeros((aisles, 1)), np.cumsum(gaps_min * 60.0, axis=1)], axis=1)
    hours = math.ceil(time.max() / 3600.0) + 1.0
    zone = np.repeat(np.arange(aisles), count + 1)
    place = site(aisles=aisles, hours=hours, day={"timeout_s": 60.0 * timeout_min})
    outcomes, _ = replay(place, zone, time.ravel(), time.ravel())
    tail_h = hours - time[:, -1] / 3600.0 - timeout_min / 60.0
    return float((outcomes.zones["time_at_low_h"] - tail_h).sum() * 60.0 / (aisles * count * 10.0))


def draw_gaps(name: str, aisles: int = 60, count: int = 300) -> np.ndarray:
    """Draw trains of gaps of one law."""
    rng = np.random.default_rng(9)
    if name == "H2":
        return h2_gaps(rng, aisles * count).reshape(aisles, count)
    return GAPS[name][1].rvs((aisles, count), random_state=rng)


def check_gaps(name: str, timeout_min: float) -> None:
    """T9 for one law; sd of (X - tau)+ by quadrature of its tail."""
    expected, tail = (H2_LOW, h2_tail) if name == "H2" else (GAPS[name][0], GAPS[name][1].sf)
    gaps = draw_gaps(name)
    first = integrate.quad(tail, 10.0, 2000.0, limit=200)[0]
    second = integrate.quad(lambda gap: 2.0 * (gap - 10.0) * tail(gap), 10.0, 2000.0, limit=200)[0]
    equals(first / 10.0, expected, 1e-6, f"{name}: the formula itself")
    agrees(
        low_share(gaps, timeout_min),
        expected,
        math.sqrt((second - first**2) / gaps.size) / 10.0,
        f"{name}: low",
    )


@pytest.mark.parametrize("name", [*GAPS, "H2"])
def test_T9_other_laws_of_arrival(name):
    check_gaps(name, 10.0)
    with spoilt("timeout 6 min"):
        check_gaps(name, 6.0)


def check_order(names: list[str]) -> None:
    """T9: more regular traffic saves less."""
    shares = [low_share(np.full((1, 100), 10.0), 10.0)] + [low_share(draw_gaps(name), 10.0) for name in names]
    holds(np.diff(shares) > 0.0, f"shares at low rise with irregularity: {shares}")


def test_T9_more_regular_traffic_saves_less():
    check_order(["U(0,20)", "Erlang-2", "Poisson", "H2"])
    with spoilt("two laws taken for each other"):
        check_order(["U(0,20)", "Erlang-2", "H2", "Poisson"])


def check_two_stages(first_min: float, second_min: float, model: tuple[float, float]) -> None:
    """T10: full for the timeout, dim 0.2 for the second delay, then off; 6 pulses an hour.

    With a = timeout and b = a + second delay: full 1 - e^(-lam a), off e^(-lam b), switch-ups lam e^(-lam a).
    Power is 1 - 0.8 [A > a] - 0.2 [A > b] of full: its sd by the covariances of the times at low.
    """
    aisles = 400
    timeout_min, delay_min = model
    day = {"timeout_s": 60.0 * timeout_min, "second_delay_s": 60.0 * delay_min, "second_level": 0.0}
    place = site(aisles=aisles, day=day)
    zone, time = poisson_times(np.random.default_rng(10), aisles, 6.0 / 3600.0, place.scenario.duration_s)
    outcomes, look = replay(place, zone, time, time)
    whole = 8.0 * aisles
    off, low = after(outcomes, "time_at_zero_h") / whole, after(outcomes, "time_at_low_h") / whole
    full, dim = (
        sum(
            np.sum((own.command == level) * np.clip(own.end - np.maximum(own.start, 3600.0), 0.0, None))
            for own in look.levels
        )
        / 3600.0
        / whole
        for level in (1.0, 0.2)
    )
    equals((full + dim + off, low - off), (1.0, dim), 1e-12, "shares add up")
    delays = np.array([first_min, first_min + second_min])

    def error(*weights: float) -> float:
        return weighted_low_sd(0.1, delays, np.array(weights), 480.0) / 480.0 / math.sqrt(aisles)

    not_full, dark = np.exp(-0.1 * delays).tolist()
    agrees(full, 1.0 - not_full, error(1.0, 0.0), "full")
    agrees(dim, not_full - dark, error(1.0, -1.0), "dim")
    agrees(off, dark, error(0.0, 1.0), "off")
    power = after(outcomes, "energy_kwh") / after(outcomes, "always_on_kwh")
    agrees(power, 1.0 - 0.8 * not_full - 0.2 * dark, error(0.8, 0.2), "power")
    # two switch-ups lie at least a timeout apart like two switch-downs, with the same joint density: one sd
    ups, light = after(outcomes, "switch_ups") / whole, Light(0.1, 0.0, first_min)
    agrees(ups, 6.0 * not_full, light.offs_sd(480.0) / 8.0 / math.sqrt(aisles), "switch-ups an hour")


@pytest.mark.parametrize("first_min, second_min", [(5.0, 10.0), (10.0, 4.0)])
def test_T10_second_delay(first_min, second_min):
    check_two_stages(first_min, second_min, (first_min, second_min))
    with spoilt("second delay counted from the last motion"):
        check_two_stages(first_min, second_min, (first_min, abs(second_min - first_min)))
    with spoilt("the delays swapped"):
        check_two_stages(first_min, second_min, (second_min, first_min))


def test_T10_by_the_known_shares():
    """Full 0.393469, dim 0.383400, off 0.223130, power 0.470149."""
    not_full, dark = math.exp(-0.5), math.exp(-1.5)
    shares = (1.0 - not_full, not_full - dark, dark, 1.0 - 0.8 * not_full - 0.2 * dark)
    equals(shares, (0.393469, 0.383400, 0.223130, 0.470149), 1e-6, "the formulas themselves")


def check_fade(fade_down_s: float, expected: float, assumed_fade_min: float) -> None:
    """T11: 30 pulses an hour, timeout 2 min, linear fade to 0.2: mean level.

    A fade is a mixture of steps 0.8 [A > 2 + z], z uniform in the fade: 8 Gauss-Legendre points for the sd.
    """
    aisles = 200
    place = site(aisles=aisles, day={"timeout_s": 120.0, "fade_down_s": fade_down_s})
    zone, time = poisson_times(np.random.default_rng(11), aisles, 30.0 / 3600.0, place.scenario.duration_s)
    outcomes, _ = replay(place, zone, time, time)
    points, weights = np.polynomial.legendre.leggauss(8)
    delays = 2.0 + assumed_fade_min * (points + 1.0) / 2.0
    sd = weighted_low_sd(0.5, delays, 0.8 * weights / 2.0, 480.0)
    found = after(outcomes, "energy_kwh") / after(outcomes, "always_on_kwh")
    agrees(found, expected, sd / 480.0 / math.sqrt(aisles), "mean level")


def test_T11_energy_through_a_fade():
    equals(_mean_level(2.0, 1.0), 0.768401, 1e-6, "the formula itself")
    check_fade(60.0, 0.768401, 1.0)
    check_fade(0.0, 0.705696, 0.0)
    with spoilt("no fade"):
        check_fade(0.0, 0.768401, 1.0)
    with spoilt("half the fade"):
        check_fade(30.0, 0.768401, 1.0)


def _mean_level(timeout_min: float, fade_min: float) -> float:
    """Integrate the level over the exponential age, 30 pulses an hour."""

    def level(age: float) -> float:
        return 1.0 - 0.8 * min(1.0, max(0.0, (age - timeout_min) / fade_min))

    return integrate.quad(lambda age: level(age) * 0.5 * math.exp(-0.5 * age), 0.0, 60.0, points=[2.0, 3.0])[
        0
    ]


T12 = {
    5.0: (4.089959, 39.775315),
    10.0: (6.840203, 27.210337),
    15.0: (8.753151, 19.296880),
    30.0: (11.979817, 8.645615),
}
"""Hours lit and switch-downs a day: 6 an hour 06-14, 1.5 an hour 14-22, none at night; by timeout [min]."""


def day_sds(timeout_h: float) -> tuple[float, float]:
    """Sd of hours lit and of switch-downs in one day from 06:00, on a grid of a minute.

    With Lam(t) the mean number of pulses: P(low at s and t) = exp(-Lam of the union of the two windows);
    switch-downs at s < t - tau have the joint density lam(s - tau) lam(t - tau) exp(-Lam(both windows)).
    """
    step = 1.0 / 60.0
    time = (np.arange(1440) + 0.5) * step

    def mean_pulses(hour: np.ndarray) -> np.ndarray:
        return 6.0 * np.clip(hour, 0.0, 8.0) + 1.5 * np.clip(hour - 8.0, 0.0, 8.0)

    begin = time - timeout_h
    window = mean_pulses(time) - mean_pulses(begin)
    low = np.exp(-window)
    shared = np.clip(
        mean_pulses(np.minimum(time[:, None], time[None, :]))
        - mean_pulses(np.maximum(begin[:, None], begin[None, :])),
        0.0,
        None,
    )
    lit = float((low[:, None] * low[None, :] * np.expm1(shared)).sum()) * step**2
    rate = np.where(begin < 0.0, 0.0, np.where(begin < 8.0, 6.0, np.where(begin < 16.0, 1.5, 0.0))) * low
    apart = np.abs(time[:, None] - time[None, :]) >= timeout_h
    pairs = float((rate[:, None] * rate[None, :] * apart).sum()) * step**2
    mean = float(rate.sum()) * step
    return math.sqrt(lit), math.sqrt(mean + pairs - mean**2)


def check_two_shifts(expected_for: float, timeout_min: float) -> None:
    """T12: one day from 06:00 in each of many aisles; the light is low long before the day ends."""
    aisles = 400
    place = site(
        aisles=aisles, hours=24.0, start="2027-03-01T06:00:00", day={"timeout_s": 60.0 * timeout_min}
    )
    rng = np.random.default_rng(12)
    early, late = (
        poisson_times(rng, aisles, 6.0 / 3600.0, 28_800.0),
        poisson_times(rng, aisles, 1.5 / 3600.0, 28_800.0),
    )
    zone, time = np.append(early[0], late[0]), np.append(early[1], late[1] + 28_800.0)
    outcomes, _ = replay(place, zone, time, time)
    lit, offs = T12[expected_for]
    lit_sd, offs_sd = day_sds(expected_for / 60.0)
    agrees(24.0 - outcomes.zones["time_at_low_h"].mean(), lit, lit_sd / math.sqrt(aisles), "hours lit a day")
    agrees(outcomes.zones["switch_downs"].mean(), offs, offs_sd / math.sqrt(aisles), "switch-downs a day")


@pytest.mark.parametrize("timeout_min", T12)
def test_T12_two_shifts(timeout_min):
    check_two_shifts(timeout_min, timeout_min)
    with spoilt("20 % longer timeout"):
        check_two_shifts(timeout_min, 1.2 * timeout_min)
