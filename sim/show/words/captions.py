"""What to see in each picture, in words.

Comes in: a `Result`.  Goes out: captions in the order of the report.  Before: `show/numbers/run`,
`show/numbers/hour`, `show/words/captions_floor`; after: `show/reports/run`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sim.results import Result
from sim.show.numbers.gaps import gap_numbers
from sim.show.numbers.hour import hour_numbers
from sim.show.numbers.plan import plan_numbers
from sim.show.numbers.run import AisleNumbers, aisle_numbers, power_numbers, week_numbers
from sim.show.numbers.work import work_numbers
from sim.show.words.amounts import count_of, digits, percent
from sim.show.words.captions_floor import gap_words, plan_words, work_words
from sim.study.year.money import has_money
from sim.units import WEEKDAYS

__all__ = ["Caption", "captions"]


@dataclass(frozen=True)
class Caption:
    """Words for one picture.

    Attributes
    ----------
    name : of the picture
    heading : what it is
    text : what to see in it
    """

    name: str
    heading: str
    text: str


def captions(result: Result) -> tuple[Caption, ...]:
    """Return the captions of all pictures."""
    work = work_numbers(result)
    plan = plan_words(plan_numbers(result.scenario, result.layout))
    return (
        Caption("plan", "The site", plan),
        Caption("power", "Load over the run", _power(result)),
        Caption("hour", "One hour in a few aisles", _hour(result)),
        Caption("gaps", "How long zones wait for the next motion", gap_words(gap_numbers(result))),
        Caption("aisles", "How the aisles spent the run", _aisles(aisle_numbers(result))),
        Caption("week", "Light use by hour of the week", _week(result)),
        *(() if work is None else (Caption("work", "The trucks' work", work_words(work)),)),
        *_besides(result),
    )


def _besides(result: Result) -> tuple[Caption, ...]:
    """Pictures that only some scenarios ask for."""
    found = []
    if result.scenario.limits is not None:
        text = (
            "Each line is one number of the site as a multiple of its limit; on the pale side the number is "
            "met. Limits without a number are in the table only. Ask the authority having jurisdiction."
        )
        found.append(Caption("limits", "Numeric limits", text))
    if has_money(result.scenario):
        text = (
            "Bills of each month, the baseline on the left. Energy follows the price of each hour, demand "
            "the site meter's highest interval of the month."
        )
        found.append(Caption("months", "What the lights cost", text))
        text = "Loads of a year from the highest to the lowest; between the lines lies the saving."
        found.append(Caption("duration", "How long which load lasts", text))
    return tuple(found)


def _power(result: Result) -> str:
    """Mean against the baselines, and where the gap is."""
    numbers = power_numbers(result)
    mean = float(np.average(numbers.mean_kw, weights=np.diff(numbers.edge_s)))
    step = "day" if numbers.is_daily else "quarter-hour"
    text = (
        f"Mean load of each {step}: {digits(mean)} kW on average, against {digits(numbers.always_on_kw)} "
        "kW always on (dashed). The distance to the timetable alone (dash-dotted) is what the sensors "
        "save."
    )
    if numbers.replications > 1:
        text += f" The band runs from the least to the greatest of {numbers.replications} replications."
    return text


def _hour(result: Result) -> str:
    """Which hour and aisles, and how to read them."""
    numbers = hour_numbers(result)
    text = f"{numbers.hour_reason} {numbers.aisle_reason} Time runs to the right, the aisle's depth upwards, "
    text += "the front mouth at the bottom; the lighter the ground, the more light."
    if not numbers.knows_visits:
        return f"{text} Marks above each aisle are the motion that was seen."
    dim = any(track.is_dim.any() for strip in numbers.strips for track in strip.tracks)
    return (
        f"{text} Lines are trucks; a level stretch is a truck that stands and handles. Marks above each "
        "aisle are the motion that was seen; bars at its left edge are the sensors' reach."
        + (" Heavy red pieces are trucks below the occupied level." if dim else "")
    )


def _aisles(numbers: AisleNumbers) -> str:
    """What is still to win."""
    which = (
        f"The {len(numbers.names)} of {numbers.aisles} aisles with most {numbers.ranked_by}. "
        if numbers.ranked_by else ""
    )
    low, off = float(numbers.low.mean()), float(numbers.off.mean())
    dark = f" and off for {percent(off)}" if off else ""
    if not numbers.knows_trucks:
        high = float(numbers.in_use.mean())
        return f"{which}Lights were high for {percent(high)} of the time, low for {percent(low)}{dark}."
    empty, occupied = float(numbers.lit_empty.mean()), float(numbers.occupied.mean())
    return (
        f"{which}On average a truck was in the zone for {percent(occupied)} of the time (upright mark). "
        f"Lights were high with no truck there for {percent(empty)} (hatched): the energy still to win. "
        f"They were low for {percent(low)}{dark}. Where the mark lies beyond the first part of the bar, "
        "trucks were there while the command was low."
    )


def _week(result: Result) -> str:
    """Strongest and weakest hour."""
    numbers = week_numbers(result)
    most, least = np.nanargmax(numbers.share), np.nanargmin(numbers.share)
    covered = int((~np.isnan(numbers.share)).sum())
    weeks = count_of(round(max(numbers.weeks, 1.0)), "week")
    text = f"Mean load as a share of always on, averaged over {weeks}."
    if covered < 168:
        text = f"Mean load as a share of always on; the run touches {covered} of the week's 168 hours."
    return (
        f"{text} Most light is used on {_hour_name(int(most))} "
        f"({percent(float(numbers.share.flat[most]), 2)}), least on {_hour_name(int(least))} "
        f"({percent(float(numbers.share.flat[least]), 2)})."
    )


def _hour_name(hour: int) -> str:
    """Weekday and hour."""
    return f"{WEEKDAYS[hour // 24]} at {hour % 24:02d}:00"
