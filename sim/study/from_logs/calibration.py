"""Rates from motion alone, set right by the sensors' own account of simulated traffic.

Comes in: a `SiteFit` to a log of motion.  Goes out: another one.  Before: `study/from_logs/fit`,
`replication`; after: `study/from_logs/goodness`.  What a sensor takes for an arrival may be a truck that only
passes the mouth, or the second half of a long visit. So the fitted scenario is simulated, its own motion is
estimated in the same way as the log's, and the rates are moved until the two agree: all together by the ratio
of their sums, each aisle's by what is then left (indirect inference: Gourieroux, Monfort and Renault, Journal
of Applied Econometrics 8, 1993, from memory).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from sim.records import FloatColumn
from sim.replication import prepare_site, simulate_traffic
from sim.study.from_logs.fit import SiteFit, estimate_rates, with_rates
from sim.study.from_logs.log import SiteLog, motion_log

__all__ = ["calibrate_motion"]

_ROUNDS, _KEPT = 16, 8
"""Simulations, and how many of the last ones are averaged."""
_STREAM = 1
_DAMPING = 0.5
_MOST_STEP = 4.0


def calibrate_motion(fit: SiteFit, log: SiteLog) -> SiteFit:
    """Move the rates of a fit to motion until its simulated motion looks like the log's.

    Parameters
    ----------
    fit, log : the fit and the log of motion that it was made from

    Raises
    ------
    InputError : drivers react to the light, so there is no traffic without it
    """
    shape, level = fit.rate_per_h[_STREAM], float(fit.rate_per_h[_STREAM].sum())
    wanted = level * fit.share[_STREAM]
    aisle_rates = wanted.copy()
    kept: list[FloatColumn] = []
    for number in range(_ROUNDS):
        found = _seen_rates(_with_aisles(fit, shape, level, aisle_rates), log, number)
        ratio = float(np.clip(wanted.sum() / max(float(found.sum()), 1e-9), 1.0 / _MOST_STEP, _MOST_STEP))
        scaled = aisle_rates * ratio
        moved = scaled + _DAMPING * (wanted - found * ratio)
        aisle_rates = np.where(wanted > 0.0, np.clip(moved, scaled / _MOST_STEP, scaled * _MOST_STEP), 0.0)
        kept.append(aisle_rates)
    final = np.mean(kept[-_KEPT:], axis=0)
    done = _with_aisles(fit, shape, level, final)
    changed = float(final.sum() / wanted.sum())
    said = (
        "Rates were set so that the scenario's own sensors see what the log shows: "
        f"{100.0 * changed:.0f} % of the arrivals that the motion suggests are visits, the others are trucks "
        "seen passing or visits seen twice. The intervals are of the counts alone."
    )
    return replace(done, notices=(*done.notices, said))


def _with_aisles(fit: SiteFit, shape: FloatColumn, level: float, aisle_rates: FloatColumn) -> SiteFit:
    """The fit with other weekly totals by aisle; the week keeps its shape."""
    total = float(aisle_rates.sum())
    rates, shares = fit.rate_per_h.copy(), fit.share.copy()
    rates[_STREAM] = shape * (total / level)
    shares[_STREAM] = aisle_rates / total
    return with_rates(fit, rates, shares)


def _seen_rates(fit: SiteFit, log: SiteLog, number: int) -> FloatColumn:
    """Weekly totals by aisle that the motion of one simulation suggests (A,)."""
    site = prepare_site(fit.scenario)
    traffic = simulate_traffic(site, number)
    motion = traffic.detections if traffic.seen is None else traffic.seen
    if not len(motion.start):
        return np.zeros(len(site.layout.aisles))
    again = motion_log(fit.scenario, site.layout, motion)
    rates, shares, _ = estimate_rates(site.layout, again)
    total: FloatColumn = float(rates[_STREAM].sum()) * shares[_STREAM]
    return total
