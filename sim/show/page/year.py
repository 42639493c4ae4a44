"""A year of the run's weeks, as weights on its quarter-hours: energy and its price are then one sum each.

Comes in: a prepared site.  Goes out: weights for the page.  Before: `outcome/year_load`, `outcome/tariff`;
after: `show/page/data`.  The same calendar as the report's: whole weeks repeated in their order.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from sim.outcome.tariff import price_year
from sim.outcome.year_load import QUARTERS_A_WEEK, repeat_weeks, year_clock
from sim.replication import Site
from sim.units import QUARTER_S

__all__ = ["year_weights"]

_QUARTER_H = 0.25


def year_weights(site: Site) -> dict[str, Any] | None:
    """Return what each quarter-hour's mean load counts in a calendar year.

    Parameters
    ----------
    site : the prepared site

    Returns
    -------
    of : the year; kwh : hours (Q,); money : price of energy times hours (Q,), None without a tariff.  None
    where the run is shorter than a week or does not start on a quarter-hour, or where the year is more than
    its weeks: special weeks, or a cold store whose heat is pumped out
    """
    scenario, start = site.scenario, site.scenario.start_datetime
    quarters = len(site.bins.quarter_edges) - 1
    is_cooled = scenario.store is not None and scenario.store.cooling_cop is not None
    past_s = start.minute * 60 + start.second + start.microsecond * 1e-6
    if quarters < QUARTERS_A_WEEK or past_s % QUARTER_S or scenario.year_weeks or is_cooled:
        return None
    chosen = None if scenario.year is None else scenario.year.of
    clock = year_clock(start.year if chosen is None else chosen)
    which = repeat_weeks(np.arange(quarters, dtype=np.float64), start, clock).astype(np.int64)
    hours = np.full(len(clock), _QUARTER_H)
    weights: dict[str, Any] = {
        "of": clock.year,
        "kwh": np.bincount(which, hours, quarters).tolist(),
        "money": None,
    }
    if scenario.tariff is not None:
        per_kwh = price_year(scenario, scenario.tariff, clock).per_kwh
        weights["money"] = np.bincount(which, hours * per_kwh, quarters).tolist()
    return weights
