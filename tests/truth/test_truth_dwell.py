"""Trucks that stay: T5 (seen all the time) and T13 (seen at the mouth alone).

T5 is the queue with as many servers as needed: the number present is Poisson whatever the law of the stay,
so three laws of one mean must give one answer (Ross, "Introduction to Probability Models"; Takacs 1962; both
from memory), and a public queueing program must agree.  One hour of warm-up: the rest of a longer stay than
that has chance e^-40 for the laws used here, the lognormal 1e-7.
"""

from __future__ import annotations

import math

import ciw
import numpy as np
import pytest
from scipy import stats

from tests.truth.truth_formulas import Law, Light
from tests.truth.truth_scenes import (
    after,
    agrees,
    equals,
    high_spans,
    plain_visits,
    poisson_times,
    replay,
    site,
    spoilt,
)

MEAN_MIN, RATE = 1.5, 0.1
# lognormal of cv 1: sigma^2 = ln 2, median = mean / sqrt 2
LAWS = {
    "constant": stats.uniform(MEAN_MIN, 1e-12),
    "exponential": stats.expon(scale=MEAN_MIN),
    "lognormal": stats.lognorm(math.sqrt(math.log(2.0)), scale=MEAN_MIN / math.sqrt(2.0)),
}
SHARES = {"low": 0.316637, "occupied": 0.139292, "lit empty": 0.544071, "offs": 1.899821}


def test_the_formulas_give_the_known_standard_deviations():
    """Sd of the time at low in 480 min, by other quadratures of the same integral; T5's four shares."""
    for law, mean, sd in (
        ("constant", 0.9, 30.871534),
        ("constant", 1.5, 31.038905),
        ("exponential", 1.5, 31.212667),
    ):
        shape = stats.uniform(mean, 1e-12) if law == "constant" else LAWS[law]
        equals(Light(RATE, mean, 10.0, Law.of(shape.ppf)).low_sd(480.0), sd, 2e-3, law)
    light = Light(RATE, 1.5, 10.0)
    equals(
        (light.low, light.occupied, light.offs * 60.0), (0.316637, 0.139292, 1.899821), 1e-6, "T5's shares"
    )


def check_shares(law: str, timeout_s: float, *, mean_factor: float = 1.0) -> None:
    """T5 for one law over 24 h in 200 aisles."""
    aisles, hours = 200, 25.0
    place = site(aisles=aisles, hours=hours, day={"timeout_s": timeout_s})
    rng = np.random.default_rng(5)
    aisle, enter = poisson_times(rng, aisles, RATE / 60.0, 3600.0 * hours)
    stay = LAWS[law].rvs(len(enter), random_state=rng) * 60.0 * mean_factor
    visits = plain_visits(aisle, enter, enter + stay, 3600.0 * hours)
    outcomes, look = replay(place, aisle, enter, enter + stay, visits)
    whole = (hours - 1.0) * aisles
    light = Light(RATE, MEAN_MIN, 10.0, Law.of(LAWS[law].ppf))
    truck = Light(RATE, MEAN_MIN, 0.0, Law.of(LAWS[law].ppf))
    root, window = math.sqrt(aisles), 60.0 * (hours - 1.0)
    low, occupied, empty = (
        after(outcomes, name) / whole for name in ("time_at_low_h", "occupied_h", "lit_empty_h")
    )
    low_error, truck_error = light.low_sd(window) / window / root, truck.low_sd(window) / window / root
    agrees(low, SHARES["low"], low_error, f"{law}: low")
    agrees(occupied, SHARES["occupied"], truck_error, f"{law}: occupied")
    # lit empty = 1 - low - occupied, so its sd is at most the sum of theirs
    agrees(empty, SHARES["lit empty"], low_error + truck_error, f"{law}: lit empty")
    equals(low + occupied + empty, 1.0, 1e-12, "the three shares")
    offs = after(outcomes, "switch_downs") / whole
    agrees(offs, SHARES["offs"], light.offs_sd(window) * 60.0 / window / root, f"{law}: offs/h")
    # the first 20 on-periods of each aisle are independent busy periods
    on = [high_spans(own) for own in look.levels]
    first = np.concatenate([(end - begin)[:20] for begin, end in on]) / 60.0
    assert all(len(begin) > 20 for begin, _ in on)
    agrees(first.mean(), 21.581929, light.on_sd / math.sqrt(len(first)), f"{law}: mean on [min]")


@pytest.mark.parametrize("law", LAWS)
def test_T5_any_law_of_the_stay_gives_one_answer(law):
    check_shares(law, 600.0)
    with spoilt("timeout counted from the start of the motion, 1.5 min too early on the average"):
        check_shares(law, 510.0)
    with spoilt("stays 30 % longer"):
        check_shares(law, 600.0, mean_factor=1.3)


def check_second_opinion(timeout_s: float) -> None:
    """T5 by ciw, a public queueing program, and by the replay of the same arrivals and stays.

    ciw holds each customer for stay + 10 min at as many servers as needed; the light of the replay must be
    high exactly while a customer is there, and the share high agrees with 1 - exp(-lam (E S + 10 min)).
    """
    hold_min, end_min = 10.0, 20_000.0

    class Hold(ciw.dists.Distribution):
        def sample(self, t=None, ind=None):
            return hold_min + ciw.random.expovariate(1.0 / MEAN_MIN)

    network = ciw.create_network(
        arrival_distributions=[ciw.dists.Exponential(RATE)],
        service_distributions=[Hold()],
        number_of_servers=[float("inf")],
    )
    ciw.seed(1)
    simulation = ciw.Simulation(network)
    simulation.simulate_until_max_time(end_min)
    # ciw records a customer when it leaves; those still there are in the node
    gone = [(row.arrival_date, row.exit_date) for row in simulation.get_all_records()]
    there = [(person.arrival_date, end_min + hold_min) for person in simulation.nodes[1].all_individuals]
    spans = np.array(sorted(gone + there))
    busy, reach = 0.0, 0.0
    for begin, end in spans.tolist():
        busy += max(0.0, min(end, end_min) - max(begin, reach))
        reach = max(reach, min(end, end_min))

    place = site(hours=end_min / 60.0, day={"timeout_s": timeout_s})
    begin, end = spans[:, 0] * 60.0, (spans[:, 1] - hold_min) * 60.0
    outcomes, _ = replay(place, np.zeros(len(begin), np.int64), begin, end)
    equals(end_min - outcomes.total["time_at_low_h"] * 60.0, busy, 1e-6, "minutes high by both programs")
    light = Light(RATE, MEAN_MIN, 10.0, Law.of(LAWS["exponential"].ppf))
    agrees(busy / end_min, 0.683363, light.low_sd(end_min) / end_min, "share high by ciw")


def test_T5_a_public_queueing_program_agrees():
    check_second_opinion(600.0)
    with spoilt("timeout 9 min"):
        check_second_opinion(540.0)


def check_unseen(timeout_s: float, *, pulses_per_h: float, seen_to_the_end: bool = False) -> None:
    """T13: a truck is seen at its entry alone, stays Exp(4 min); timeout 5 min; 0 or 6 other pulses an hour.

    One visit every 3 h in each aisle: the dark times depend on the pulses within the stay alone, so they are
    independent.  With m = 1/mean stay, l = rate of other pulses: E D = e^(-(l+m) tau)/m,
    E D^2 = 2 e^(-(l+m) tau)/m [(1 - e^(-(l+m) tau))/(l+m) + e^(-(l+m) tau)/m], by integrating over two
    instants of the stay that are both dark.
    """
    aisles, rounds, tau, m, rate = 300, 8, 5.0, 1.0 / 4.0, pulses_per_h / 60.0
    place = site(aisles=aisles, hours=3.0 * rounds, day={"timeout_s": timeout_s, "unoccupied_level": 0.0})
    rng = np.random.default_rng(13)
    aisle = np.repeat(np.arange(aisles), rounds)
    enter = np.tile(np.arange(rounds) * 10_800.0 + 600.0, aisles)
    stay = rng.standard_exponential(len(enter)) * 60.0 / m
    assert stay.max() < 10_000.0
    visits = plain_visits(aisle, enter, enter + stay, place.scenario.duration_s)
    other, time = poisson_times(rng, aisles, rate / 60.0, place.scenario.duration_s)
    end = enter + stay if seen_to_the_end else enter
    outcomes, look = replay(
        place, np.append(aisle, other), np.append(enter, time), np.append(end, time), visits
    )
    draws, both = len(enter), math.exp(-(rate + m) * tau)
    mean = both / m
    square = 2.0 * both / m * ((1.0 - both) / (rate + m) + both / m)
    expected = 1.146019 if pulses_per_h == 0.0 else 0.695096
    equals(mean, expected, 1e-6, "the formula itself")
    found = outcomes.total["dim_truck_s"] / 60.0 / draws
    agrees(found, expected, math.sqrt((square - mean**2) / draws), "mean minutes dark on a truck")
    # at unoccupied level 0 the shortfall is the whole of it
    equals(outcomes.total["shortfall_truck_s"], outcomes.total["dim_truck_s"], 1e-6, "shortfall at level 0")
    if pulses_per_h == 0.0:
        share = 0.286505
        agrees(
            outcomes.total["false_offs"] / draws,
            share,
            math.sqrt(share * (1.0 - share) / draws),
            "P(dark on truck)",
        )
        equals(look.false_off_visits.sum(), outcomes.total["false_offs"], 0.0, "visits that met a false-off")


@pytest.mark.parametrize("pulses_per_h", [0.0, 6.0])
def test_T13_end_sensor_and_a_truck_that_dwells(pulses_per_h):
    check_unseen(300.0, pulses_per_h=pulses_per_h)
    with spoilt("timeout 6 min"):
        check_unseen(360.0, pulses_per_h=pulses_per_h)
    with spoilt("a standing truck is seen"):
        check_unseen(300.0, pulses_per_h=pulses_per_h, seen_to_the_end=True)
