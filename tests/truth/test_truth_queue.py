"""Queues at an aisle's mouth: T20, through the whole run and by ciw.

The aisle is the server: capacity 3, handling exponential, length near 0, no staging, trucks ample, one door
at the aisle.  Waits are those of M/M/3: Erlang (1917), C = cB/(c - a(1 - B)), Wq = C/(c mu - lam).
"""

from __future__ import annotations

import math

import ciw
import numpy as np
import pytest

from sim.replication import prepare_site, replay_site, simulate_traffic
from tests.truth.truth_scenes import RETRIEVE, TRUCK, agrees, equals, scenario, spoilt

SERVICE_S = 120.0
WARM_UP_H = 5
"""The slowest mode of M/M/3 at a = 2 fades in about 10 services = 20 min: e^-15 is left."""


def erlang_c(servers: int, load: float) -> float:
    """Chance to wait: B(0) = 1, B(k) = aB(k-1)/(k + aB(k-1)); C = cB/(c - a(1 - B))."""
    blocked = 1.0
    for k in range(1, servers + 1):
        blocked = load * blocked / (k + load * blocked)
    return servers * blocked / (servers - load * (1.0 - blocked))


def sd_of_means(servers: int, load: float, time: float) -> tuple[float, float]:
    """Return the sd of the mean wait [services] and of the share that waits, over `time` [services].

    The number present is a birth-death chain with births lam = load and deaths min(i, c).  Take
    Z = int f(X) dt + sum of u(X) over births, with mean 0: f = (i - c)+, u = -Wq for the wait (Little's law
    in the sample: sum of waits = int of the queue), f = 0, u = [i >= c] - C for the share.  With
    lam pi_i d_i = sum_{j > i} pi_j g_j, g = f + lam u, Z + h(X), d_i = h(i+1) - h(i), is a martingale, so
    Z has variance T sum_i pi_i (lam (u_i + d_i)^2 + mu_i d_{i-1}^2); the mean is Z / (lam T).
    """
    state = np.arange(600)
    death = np.minimum(state, servers).astype(float)
    pi = np.cumprod(np.append(1.0, load / death[1:]))
    pi /= pi.sum()
    chance = erlang_c(servers, load)

    def sd(rate: np.ndarray, jump: np.ndarray) -> float:
        gain = rate + load * jump
        beyond = np.cumsum((pi * gain)[::-1])[::-1] - pi * gain
        step = np.where(pi > 1e-200, beyond / (load * np.maximum(pi, 1e-300)), 0.0)
        below = np.append(0.0, step[:-1])
        keep = pi > 1e-14
        variance = np.sum((pi * (load * (jump + step) ** 2 + death * below**2))[keep])
        return math.sqrt(variance * time) / (load * time)

    wait = chance / (servers - load)
    queue = np.maximum(state - servers, 0).astype(float)
    return sd(queue, np.full(600, -wait)), sd(np.zeros(600), (state >= servers) - chance)


def test_erlang_and_the_standard_error_by_cases_known_by_hand():
    equals((erlang_c(2, 1.0), erlang_c(3, 2.0)), (1 / 3, 4 / 9), 1e-12, "Erlang C by hand")
    # M/M/1 with all customers counted: the wait's autocorrelations sum up (Blomqvist 1967, from memory):
    # n Var(mean wait in queue) -> rho (2 + 5 rho - 4 rho^2 + rho^3) / (1 - rho)^4, unit service
    rho = 0.5
    exact = rho * (2 + 5 * rho - 4 * rho**2 + rho**3) / (1 - rho) ** 4
    equals(sd_of_means(1, rho, 1e6)[0] ** 2 * rho * 1e6, exact, 1e-6, "n Var(mean wait), M/M/1")


CASES = {  # load, Wq in services, chance to wait
    "M/M/3, a = 2": (2.0, 0.444444, 4 / 9),
    "300 a year, 2 days": (300 / 182.5, 0.428785 / 2.0, None),
}


def waits_of_a_run(load: float, *, capacity: int = 3, cv: float = 1.0, aisles: int = 10, days: int = 3):
    """Run trucks through aisles that are servers; waits [services] and shares, warm-up left out."""
    made = scenario(
        aisles=aisles,
        hours=24.0 * days,
        floor={"aisle_length_m": 1e-3, "aisle_capacity": capacity, "aisle_pitch_m": 1e-3},
        trucks=[TRUCK | {"count": 250, "handling_mean_s": SERVICE_S, "handling_cv": cv}],
        work=[RETRIEVE | {"per_hour": load * aisles * 3600.0 / SERVICE_S}],
    )
    place = prepare_site(made)
    traffic = simulate_traffic(place, 0)
    assert traffic.waiting_tasks == 0, "trucks are not ample"
    outcomes, _ = replay_site(place, traffic)
    hours = slice(WARM_UP_H, None)
    wait_s, visits = outcomes.hours["mouth_wait_s"][hours].sum(), outcomes.hours["visits"][hours].sum()
    mean_s = np.average(outcomes.hours["mouth_wait_mean_s"][hours], weights=outcomes.hours["visits"][hours])
    equals(mean_s, wait_s / visits, 1e-9, "the hours' means are those of their visits")
    late = traffic.visits.enter >= 3600.0 * WARM_UP_H
    waited = (traffic.visits.enter > traffic.visits.arrive)[late]
    time = aisles * (24.0 * days - WARM_UP_H) * 3600.0 / SERVICE_S
    return mean_s / SERVICE_S, float(waited.mean()), wait_s / SERVICE_S / time, time


def check_mouth(case: str, **model: float) -> None:
    """T20 through the whole run."""
    load, wait, chance = CASES[case]
    equals(erlang_c(3, load) / (3.0 - load), wait, 1e-6, "the formula itself")
    found, waited, queue, time = waits_of_a_run(**({"load": load} | model))
    wait_error, share_error = sd_of_means(3, load, time)
    agrees(found, wait, wait_error, f"{case}: mean wait [services]")
    agrees(waited, erlang_c(3, load), share_error, f"{case}: share that waits")
    if chance is not None:
        equals(erlang_c(3, load), chance, 1e-12, "chance to wait by hand")
    # Lq = lam Wq: 0.888889 and 0.352426; arrivals add lam Wq^2 T to the variance, so this is generous
    agrees(queue, load * wait, load * wait_error + wait * math.sqrt(load / time), f"{case}: mean queue")


@pytest.mark.parametrize("case", CASES)
def test_T20_the_mouth_of_an_aisle_as_a_queue(case):
    check_mouth(case)
    with spoilt("capacity 4"):
        check_mouth(case, capacity=4)
    with spoilt("constant handling"):
        check_mouth(case, cv=0.0)
    with spoilt("5 % more work"):
        check_mouth(case, load=1.05 * CASES[case][0])


def test_T20_the_year_in_days():
    """Published (Bronson, "Operations Research", 1982, 24.6): p0 .17754, Lq .352, Wq .43 d, W 2.429 d."""
    load = 300 / 182.5
    p0 = 1.0 / (1.0 + load + load**2 / 2.0 + load**3 / 6.0 / (1.0 - load / 3.0))
    wait_d = 2.0 * erlang_c(3, load) / (3.0 - load)
    equals((p0, wait_d, wait_d + 2.0), (0.177537, 0.428785, 2.428785), 1e-6, "p0, Wq, W")
    equals(load * wait_d / 2.0, 0.352426, 1e-6, "Lq")


def check_by_ciw(capacity: int) -> None:
    """The same case by a public queueing program; both means within 4 standard errors of the theory."""
    services = 25_000.0
    network = ciw.create_network(
        arrival_distributions=[ciw.dists.Exponential(2.0)],
        service_distributions=[ciw.dists.Exponential(1.0)],
        number_of_servers=[capacity],
    )
    ciw.seed(20)
    simulation = ciw.Simulation(network)
    simulation.simulate_until_max_time(services)
    waits = [row.waiting_time for row in simulation.get_all_records() if row.arrival_date > 150.0]
    ours, _, _, time = waits_of_a_run(2.0)
    error, _ = sd_of_means(3, 2.0, services - 150.0)
    agrees(np.mean(waits), 4 / 9, error, "ciw's mean wait [services]")
    agrees(np.mean(waits), ours, math.hypot(error, sd_of_means(3, 2.0, time)[0]), "ciw against the whole run")


def test_T20_a_public_queueing_program_agrees():
    check_by_ciw(3)
    with spoilt("ciw with 4 servers"):
        check_by_ciw(4)
