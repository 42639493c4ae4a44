"""Exact means and standard deviations of a retriggered light under random traffic.

Pure mathematics, nothing of the program: the light is high while any truck, or any motion of the last
`delay`, is there.  That is a queue with as many servers as needed (M/G/infinity) whose service lasts
S' = S + delay, S the stay; a bare pulse has S = 0.  Sources: Takacs, "Introduction to the Theory of Queues"
(1962); Ross, "Introduction to Probability Models", infinite-server Poisson queue (both from memory); the
second moments are derived beside each function.  Any unit of time, the same for all arguments.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

POINTS = 40_001


@dataclass(frozen=True)
class Law:
    """A law of stays, as its quantiles at evenly spread ranks (enough for standard errors)."""

    quantiles: tuple[float, ...]

    @staticmethod
    def of(quantile_function) -> Law:
        """Return the law whose quantile at rank p is quantile_function(p)."""
        ranks = (np.arange(4000) + 0.5) / 4000
        return Law(tuple(np.sort(np.broadcast_to(quantile_function(ranks), ranks.shape)).tolist()))


@dataclass(frozen=True)
class Light:
    """A light held for `delay` after each of a Poisson stream of stays.

    Attributes
    ----------
    rate : stays begun per unit of time
    mean_stay : its exact mean
    delay : held so long after a stay
    law : of the stays; needed for second moments only
    """

    rate: float
    mean_stay: float
    delay: float
    law: Law = Law((0.0,))

    @property
    def load(self) -> float:
        """Mean number of overlapping holds, lam E[S + delay]."""
        return self.rate * (self.mean_stay + self.delay)

    @property
    def low(self) -> float:
        """Share of time at low: P(no hold) = exp(-lam E[S'])."""
        return math.exp(-self.load)

    @property
    def occupied(self) -> float:
        """Share of time with a truck: 1 - exp(-lam E[S])."""
        return 1.0 - math.exp(-self.rate * self.mean_stay)

    @property
    def offs(self) -> float:
        """Switch-downs per unit of time: a hold ends and no other is there."""
        return self.rate * self.low

    @property
    def mean_on(self) -> float:
        """Mean busy period of M/G/infinity."""
        return math.expm1(self.load) / self.rate

    @cached_property
    def _grid(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Ages u, P(S' <= u) and H(u) = E(S' - u)+."""
        holds = np.array(self.law.quantiles) + self.delay
        age = np.linspace(0.0, holds[-1] * (1.0 + 1e-9), POINTS)
        below = np.searchsorted(holds, age, side="right")
        sums = np.concatenate([[0.0], np.cumsum(holds)])
        excess = (sums[-1] - sums[below] - age * (len(holds) - below)) / len(holds)
        return age, below / len(holds), excess

    def low_sd(self, length: float) -> float:
        """Return the exact sd of the time at low in a stationary window.

        P(low at both 0 and u) = exp(-lam (2m - H(u))): the holds that meet either instant are Poisson.
        """
        age, _, excess = self._grid
        m, lam = self.mean_stay + self.delay, self.rate
        joint = np.exp(-lam * (2.0 * m - excess)) - math.exp(-2.0 * lam * m)
        return math.sqrt(2.0 * np.trapezoid((length - age) * joint, age))

    def offs_sd(self, length: float) -> float:
        """Return the exact sd of the number of switch-downs in a stationary window.

        A hold ends alone at 0, the next ones begin later, one of them ends alone at u:
        density lam^2 P(S' <= u) exp(-lam m) exp(-lam (m - H(u))).
        """
        age, below, excess = self._grid
        m, lam = self.mean_stay + self.delay, self.rate
        joint = lam**2 * below * np.exp(-lam * (2.0 * m - excess)) - self.offs**2
        return math.sqrt(self.offs * length + 2.0 * np.trapezoid((length - age) * joint, age))

    @property
    def on_sd(self) -> float:
        """Sd of the busy period.

        From its transform B*(s) = 1 + s/lam - 1/(lam p*(s)), p(t) = exp(-lam (m - H(t))) the chance to be
        low again at t: E[B^2] = (2/lam) exp(lam m) int (exp(lam H(t)) - 1) dt.
        """
        age, _, excess = self._grid
        second = 2.0 / self.rate * math.exp(self.load) * np.trapezoid(np.expm1(self.rate * excess), age)
        return math.sqrt(second - self.mean_on**2)


def low_cov(rate: float, first: float, second: float, length: float) -> float:
    """Return the covariance of the times at low under two delays on the same pulses, stationary.

    Low at 0 with the first delay and at u with the second: no pulse in (-first, 0] or (u - second, u].
    """
    lag = np.linspace(-first, second, POINTS)
    shared = np.clip(np.minimum(0.0, lag) - np.maximum(-first, lag - second), 0.0, None)
    joint = math.exp(-rate * (first + second)) * np.expm1(rate * shared)
    return float(np.trapezoid((length - np.abs(lag)) * joint, lag))


def weighted_low_sd(rate: float, delays: np.ndarray, weights: np.ndarray, length: float) -> float:
    """Return the sd of a weighted sum of times at low under several delays on the same pulses."""
    table = np.array([[low_cov(rate, a, b, length) for b in delays] for a in delays])
    return math.sqrt(float(weights @ table @ weights))


def cold_low_mean(rate: float, delay: float, length: float) -> float:
    """Return the mean time at low from a start without past: (1 - e^-x)/lam + (T - tau) e^-x."""
    x = rate * delay
    return -math.expm1(-x) / rate + (length - delay) * math.exp(-x)


def cold_low_cov(rate: float, first: float, second: float, length: float) -> float:
    """Return the covariance of the times at low from a start without past, on a grid.

    Low at s and t: no pulse in ((s - first)+, s] or ((t - second)+, t].
    """
    steps = 1200
    time = (np.arange(steps) + 0.5) * length / steps
    begin, other = np.maximum(time - first, 0.0), np.maximum(time - second, 0.0)
    shared = np.clip(
        np.minimum(time[:, None], time[None, :]) - np.maximum(begin[:, None], other[None, :]), 0.0, None
    )
    alone, alone_too = np.exp(-rate * (time - begin)), np.exp(-rate * (time - other))
    joint = alone[:, None] * alone_too[None, :] * np.expm1(rate * shared)
    return float(joint.sum() * (length / steps) ** 2)


def on_moments(rate: float, delay: float) -> list[float]:
    """Return E[B^n], n = 0..4, of an on-period under pulses: B = delay + Y.

    Y is a geometric number of gaps X shorter than the delay: 0 with chance e^-x, else X + an independent
    Y: (1 - q) E[Y^n] = q sum_k>0 C(n, k) E[X^k] E[Y^(n-k)], q = 1 - e^-x.
    """
    q = -math.expm1(-rate * delay)
    gap = np.linspace(0.0, delay, POINTS)
    density = rate * np.exp(-rate * gap) / q
    of_gap = [float(np.trapezoid(density * gap**n, gap)) for n in range(5)]
    of_sum = [1.0]
    for n in range(1, 5):
        terms = (math.comb(n, k) * of_gap[k] * of_sum[n - k] for k in range(1, n + 1))
        of_sum.append(q / (1.0 - q) * sum(terms))
    return [sum(math.comb(n, k) * of_sum[k] * delay ** (n - k) for k in range(n + 1)) for n in range(5)]
