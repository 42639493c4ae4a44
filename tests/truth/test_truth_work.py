"""The work as it is drawn: shares of aisles (T15), aisles visited (T19), arrivals by hour, handling, depths.

Everything here looks at `draw_tasks`, the program's own draw.  Standard errors are exact: binomial, Poisson,
or the derivation stands beside the check.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from sim.replication import prepare_site
from sim.scenario.schema import Work
from sim.traffic.work import Tasks, aisle_shares, draw_tasks
from sim.units import WEEKDAYS
from tests.truth.truth_scenes import TRUCK, agrees, equals, holds, scenario, spoilt


def tasks_of(
    hours: float, work: dict, *, aisles: int = 10, start: str = "2027-03-01T00:00:00", **truck: float
) -> Tasks:
    """Draw the tasks of one stream."""
    made = scenario(
        aisles=aisles,
        hours=hours,
        start=start,
        trucks=[TRUCK | truck],
        work=[{"name": "stream", "kind": "retrieve"} | work],
    )
    return draw_tasks(made, prepare_site(made).layout, 0)


def stream(**keys: object) -> Work:
    """Return a stream of work."""
    return Work.model_validate({"name": "stream", "kind": "retrieve", "per_hour": 1.0} | keys)


def check_bender_shares(skew: float) -> None:
    """T15: Bender's A = 0.2 over 10 aisles: differences of 1.2 x / (0.2 + x)."""
    shares = aisle_shares(stream(aisle_skew=skew), 10)
    equals(shares[:5], [0.4, 0.2, 0.12, 0.08, 0.057143], 1e-6, "shares of the first aisles")
    equals(shares.sum(), 1.0, 1e-12, "sum")


def test_T15_shares_of_the_aisles():
    check_bender_shares(0.2)
    with spoilt("A = 0.3"):
        check_bender_shares(0.3)


@pytest.mark.parametrize("stated", [0.4, 0.6, 0.8, 0.9])
def test_top_fifth_has_the_stated_share(stated):
    """The busiest fifth takes the stated share: A = x (1 - F) / (F - x); 20/60 gives 0.2 (Bender 1981)."""

    def check(model: float) -> None:
        for aisles in (5, 10, 25, 40):
            shares = aisle_shares(stream(top_20pct_share=model), aisles)
            equals(shares[: aisles // 5].sum(), stated, 1e-12, f"busiest fifth of {aisles}")
            holds(np.diff(shares) < 0.0, "rank 1 is the first aisle")

    check(stated)
    with spoilt("another share"):
        check(stated + 0.05)
    equals(
        aisle_shares(stream(top_20pct_share=0.6), 10),
        aisle_shares(stream(aisle_skew=0.2), 10),
        1e-12,
        "20/60 is A = .2",
    )


def test_aisles_are_alike_where_the_top_fifth_has_a_fifth():
    equals(aisle_shares(stream(top_20pct_share=0.2), 10), np.full(10, 0.1), 1e-12, "shares")


UNEQUAL = (0.4, 0.3, 0.15, 0.1, 0.05)
VISITED = [  # shares of the aisles, lines, expected distinct aisles
    ((0.1,) * 10, 5, 4.095100),
    ((0.1,) * 10, 10, 6.513216),
    ((0.05,) * 20, 25, 14.452209),
    (UNEQUAL, 6, 3.192013),
]


def check_visited(
    shares: tuple[float, ...], lines: int, expected: float, model: tuple[float, ...] | None
) -> None:
    """T19: distinct aisles among n independent draws: sum 1 - (1 - p)^n (classical occupancy).

    Variance with q_i = (1 - p_i)^n: sum q_i (1 - q_i) + sum_i!=j [(1 - p_i - p_j)^n - q_i q_j].
    """
    p = np.array(shares)
    none = (1.0 - p) ** lines
    equals(np.sum(1.0 - none), expected, 1e-6, "the formula itself")
    both = (1.0 - p[:, None] - p[None, :]) ** lines - none[:, None] * none[None, :]
    np.fill_diagonal(both, none * (1.0 - none))
    stated = {} if model is None else {"aisle_shares": model}
    tasks = tasks_of(500.0, {"per_hour": 120.0} | stated, aisles=len(shares))
    trips = len(tasks) // lines
    aisle = np.sort(tasks.aisle[: trips * lines].reshape(trips, lines), axis=1)
    distinct = 1 + np.count_nonzero(np.diff(aisle, axis=1), axis=1)
    agrees(distinct.mean(), expected, math.sqrt(both.sum() / trips), f"aisles visited in {lines} lines")


@pytest.mark.parametrize("shares, lines, expected", VISITED)
def test_T19_aisles_visited(shares, lines, expected):
    check_visited(shares, lines, expected, shares)
    skewed = np.array(shares) * np.linspace(1.3, 0.7, len(shares))
    with spoilt("other shares"):
        check_visited(shares, lines, expected, tuple((skewed / skewed.sum()).tolist()))


def test_T19_by_the_equal_default():
    """Without any key about aisles the draw is uniform."""
    check_visited((0.1,) * 10, 10, 6.513216, None)


RATES = (0, 0, 0, 0, 1, 3, 20, 26, 30, 24, 22, 18, 9, 21, 27, 30, 24, 12, 6, 4, 2, 1, 0.5, 0)
WORKDAYS = ("Mon", "Tue", "Wed", "Thu", "Sat")


def check_counts(expected: tuple[float, ...], model: dict, start_hour: int) -> None:
    """Counts by hour of the week over 60 weeks: independent Poisson, mean = variance = Lam.

    Start on Wednesday.  Chi-square: sum (N - Lam)^2 / Lam has mean k and variance 2k + sum 1/Lam.
    The variance of the counts of one hour over weeks: ratio to the mean has sd sqrt((2 + 1/lam)/(weeks - 1)).
    """
    weeks = 60
    tasks = tasks_of(168.0 * weeks, model, start=f"2027-03-03T{start_hour:02d}:00:00")
    hour_of_week = (tasks.time // 3600.0 + 48 + start_hour).astype(int) % 168
    week = (tasks.time // 604_800.0).astype(int)
    counts = np.bincount(week * 168 + hour_of_week, minlength=168 * weeks).reshape(weeks, 168)
    mean = np.array([rate if day in WORKDAYS else 0.0 for day in WEEKDAYS for rate in expected])
    holds(counts[:, mean == 0.0] == 0, "no work where there is none")
    own, at = counts[:, mean > 0.0], mean[mean > 0.0]
    total = own.sum(axis=0)
    k = len(at)
    chi = float(np.sum((total - weeks * at) ** 2 / (weeks * at)))
    agrees(
        chi,
        k,
        math.sqrt(2.0 * k + np.sum(1.0 / (weeks * at))),
        "chi-square of the counts by hour of the week",
    )
    ratio = np.var(own, axis=0, ddof=1) / at
    errors = np.sqrt((2.0 * weeks / (weeks - 1) + 1.0 / at) / weeks)
    agrees(ratio.mean(), 1.0, float(np.sqrt(np.sum(errors**2)) / k), "variance over mean")


@pytest.mark.parametrize("start_hour", [0, 11])
def test_arrivals_by_hour_and_weekday(start_hour):
    model = {"per_hour": RATES, "days": WORKDAYS}
    check_counts(RATES, model, start_hour)
    with spoilt("the table an hour late"):
        check_counts(RATES[-1:] + RATES[:-1], model, start_hour)
    with spoilt("Friday instead of Saturday"):
        check_counts(RATES, {"per_hour": RATES, "days": ("Mon", "Tue", "Wed", "Thu", "Fri")}, start_hour)
    with spoilt("5 % more"):
        check_counts(RATES, {"per_hour": tuple(1.05 * rate for rate in RATES), "days": WORKDAYS}, start_hour)


def test_times_within_an_hour_are_uniform_and_gaps_exponential():
    """A homogeneous stream: Kolmogorov-Smirnov at 1e-4; the control is a stream of even gaps."""
    time = tasks_of(2000.0, {"per_hour": 10.0}).time

    def check(times: np.ndarray) -> None:
        holds(stats.kstest(np.diff(times) / 360.0, "expon").pvalue > 1e-4, "gaps are exponential")
        holds(stats.kstest(times % 3600.0 / 3600.0, "uniform").pvalue > 1e-4, "uniform within the hour")

    check(time)
    with spoilt("even gaps"):
        check(np.arange(0.0, 7.2e6, 360.0))


def check_handling(mean: float, cv: float, **model: float) -> None:
    """Gamma family of shape k = 1/cv^2: sd of s^2 is sigma^2 sqrt((2 + 6/k)/n) for large n."""
    tasks = tasks_of(400.0, {"per_hour": 100.0}, **model)
    for name, draws in (("pick-up", tasks.pick_s[0]), ("set-down", tasks.set_s[0])):
        count, sigma = len(draws), cv * mean
        agrees(draws.mean(), mean, max(sigma / math.sqrt(count), 1e-12), f"mean {name}")
        if cv:
            error = sigma**2 * math.sqrt((2.0 + 6.0 * cv**2) / count)
            agrees(np.var(draws, ddof=1), sigma**2, error, f"variance of {name}")
            pvalue = stats.kstest(draws, stats.gamma(1.0 / cv**2, scale=mean * cv**2).cdf).pvalue
            holds(pvalue > 1e-4, f"{name} is gamma")
    if cv:
        spread = np.corrcoef(tasks.pick_s[0], tasks.set_s[0])[0, 1]
        agrees(spread, 0.0, 1.0 / math.sqrt(len(tasks)), "pick-up and set-down are independent")


@pytest.mark.parametrize("cv", [0.0, 0.5, 1.0, 1.8])
def test_handling_mean_and_cv(cv):
    check_handling(60.0, cv, handling_mean_s=60.0, handling_cv=cv)
    with spoilt("3 % longer"):
        check_handling(60.0, cv, handling_mean_s=61.8, handling_cv=cv)
    if cv:
        with spoilt("cv a tenth higher"):
            check_handling(60.0, cv, handling_mean_s=60.0, handling_cv=1.1 * cv)


DEPTHS = {0.0: 0.5, 0.2: 0.230022, 0.066667: 0.130495, 0.028571: 0.076740}
"""Mean depth over length by Bender's A: 1 - (1 + A)(1 - A ln((1 + A)/A)); uniform: one half."""


def check_depth(skew: float, model: float) -> None:
    """Bender's curve over the depth of the aisle; sd by quadrature of its tail."""
    tasks = tasks_of(400.0, {"per_hour": 100.0, "bay_skew": model})
    depth = tasks.bay_m / 60.0

    def tail(x: float) -> float:
        return 1.0 - (x if not skew else (1.0 + skew) * x / (skew + x))

    mean, second = integrate.quad(tail, 0.0, 1.0)[0], integrate.quad(lambda x: 2.0 * x * tail(x), 0.0, 1.0)[0]
    equals(mean, DEPTHS[skew], 2e-6, "the formula itself")
    agrees(depth.mean(), DEPTHS[skew], math.sqrt((second - mean**2) / len(depth)), "mean depth")
    share = float(np.mean(depth <= 0.2))
    expected = 1.0 - tail(0.2)
    agrees(share, expected, math.sqrt(expected * (1.0 - expected) / len(depth)), "share in the front fifth")


@pytest.mark.parametrize("skew", DEPTHS)
def test_depth_in_the_aisle(skew):
    check_depth(skew, skew)
    with spoilt("another curve"):
        check_depth(skew, 1.2 * skew + 0.5 * (skew == 0.0))
