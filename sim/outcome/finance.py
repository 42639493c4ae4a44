"""Closed sums of a proposal: payback, net present value, internal rate of return, carbon.

Comes in: plain numbers.  Goes out: plain numbers.  Used by `study/year/money`.  Outlays fall at once, savings
at the end of each year (Brealey, Myers and Allen, "Principles of Corporate Finance", chapters 2 and 5).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

__all__ = ["cash_flows", "internal_rate", "net_present_value", "simple_payback", "tonnes"]

_HIGHEST_RATE = 1e6
_LOWEST_RATE = -0.999_999


def cash_flows(
    outlay: float, saving: float, maintenance: float, years: int, price_rise: float
) -> list[float]:
    """Return outlay and net savings, a number for now and one for the end of each year.

    Parameters
    ----------
    outlay : paid at once
    saving : of the first year; rises with the price
    maintenance : of each year
    years : how many
    price_rise : from year to year [-]

    Examples
    --------
    >>> cash_flows(1000.0, 300.0, 50.0, 2, 0.5)
    [-1000.0, 250.0, 400.0]
    """
    return [-outlay, *(saving * (1.0 + price_rise) ** year - maintenance for year in range(years))]


def net_present_value(rate: float, flows: Sequence[float]) -> float:
    """Return the worth today of flows at the ends of years 0, 1, 2, ...

    Notes
    -----
    NPV = sum of C_k / (1 + r)^k.
    """
    return sum(flow / (1.0 + rate) ** year for year, flow in enumerate(flows))


def internal_rate(flows: Sequence[float]) -> float | None:
    """Return the rate at which the net present value is 0, None where there is none or more than one.

    One change of sign gives at most one rate (Descartes); with more than one the figure would mislead.
    """
    from scipy.optimize import brentq

    signs = [flow > 0.0 for flow in flows if flow != 0.0]
    changes = sum(before != after for before, after in itertools.pairwise(signs))
    low, high = _LOWEST_RATE, _HIGHEST_RATE
    if changes != 1:
        return None
    if (net_present_value(low, flows) > 0.0) == (net_present_value(high, flows) > 0.0):
        return None
    return float(brentq(net_present_value, low, high, args=(flows,), xtol=1e-13))


def simple_payback(outlay: float, net_saving: float) -> float | None:
    """Return the years until the outlay is back, interest left out; None where it never is."""
    if outlay <= 0.0:
        return 0.0
    return outlay / net_saving if net_saving > 0.0 else None


def tonnes(kwh: float, g_per_kwh: float) -> float:
    """Return the CO2 of some energy [t]."""
    return kwh * g_per_kwh / 1e6
