"""The pictures that only some scenarios ask for.

Comes in: a `Result`.  Goes out: figures by name.  Before: `show/figures/limits`, `show/figures/money`;
after: `show/figures/draw`.
"""

from __future__ import annotations

from matplotlib.figure import Figure

from sim.outcome.limit_rows import limit_rows
from sim.results import Result
from sim.show.figures.limits import draw_limits, drawn_rows
from sim.show.figures.money import draw_duration, draw_months
from sim.study.year.money import count_money

__all__ = ["draw_besides"]


def draw_besides(result: Result) -> dict[str, Figure]:
    """Draw what the scenario asks for besides the pictures of every run."""
    found: dict[str, Figure] = {}
    rows = drawn_rows(limit_rows(result.scenario))
    if rows:
        found["limits"] = draw_limits(rows, result.scenario.aisle_names)
    money = count_money(result)
    if money is not None:
        if money.months is not None and result.scenario.tariff is not None:
            found["months"] = draw_months(money, result.scenario.tariff.currency)
        found["duration"] = draw_duration(money)
    return found
