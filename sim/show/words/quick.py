"""The quick estimate in words.

Comes in: `QuickInputs`.  Goes out: a `Page`.  Before: `study/quick`, `show/words/sections`; after:
`commands/page`.
"""

from __future__ import annotations

import math

from sim.show.words.amounts import digits, duration, plain
from sim.show.words.sections import Page, Section
from sim.study.quick import HANDLING_S, QuickInputs, aisle_shares, quick_estimate, stay_time

__all__ = ["estimate_page"]


def estimate_page(inputs: QuickInputs) -> Page:
    """Return three options with their ranges, and what to log to know more."""
    rows = []
    for option in quick_estimate(inputs):
        payback = "no cost given"
        if option.payback_years is not None:
            high = "more" if option.payback_high is None else digits(option.payback_high, 2)
            payback = f"{digits(option.payback_years, 2)} ({digits(option.payback_low or 0.0, 2)} to {high})"
        rows.append(
            (
                option.name,
                f"{duration(option.timeout_s)}, {plain(100.0 * option.level)} %",
                f"{_share(option.likely)} %",
                f"{_share(option.low)} to {_share(option.high)} %",
                f"{digits(option.saved_kwh)} kWh",
                digits(option.saved_money),
                payback,
            )
        )
    logged = "; ".join(
        f"{option.name} {_share(option.logged_low)} to {_share(option.logged_high)} %"
        for option in quick_estimate(inputs)
    )
    shares = aisle_shares(inputs.aisles, inputs.busiest_share)
    edge, middle = math.ceil(inputs.aisles / 5) - 1, (inputs.aisles - 1) // 2
    stay = duration(stay_time(inputs))
    hourly = [digits(float(inputs.visits_per_h * shares[place]), 2) for place in (0, edge, middle)]
    return Page(
        title="Quick estimate",
        subtitle=(
            f"{plain(inputs.aisles)} aisles, {plain(inputs.visits_per_h)} visits an hour, "
            f"{plain(inputs.hours_per_week)} hours a week; a closed form, nothing is simulated"
        ),
        sections=(
            Section(
                "Saved of always on in these hours, and in a year",
                ("option", "timeout, level", "likely", "low to high", "energy", "money", "payback [years]"),
                tuple(rows),
                (
                    f"Trucks come at random and are seen all through a visit of {stay} "
                    f"(handling {plain(HANDLING_S)} s, and the drive). The range: visits and stays 30 % more "
                    "or less, the busiest fifth's share 10 points more or less (common practice, no source).",
                    f"Log these aisles for two weeks to halve the range: the busiest (here some {hourly[0]} "
                    f"visits an hour), number {edge + 1} by traffic ({hourly[1]}) and number {middle + 1} "
                    f"({hourly[2]}). Then: {logged}.",
                ),
            ),
        ),
        notices=("An estimate for a first talk, not a design and no promise; `aislewake new` makes a site.",),
    )


def _share(value: float) -> str:
    """Per cent, two figures."""
    return digits(100.0 * value, 2)
