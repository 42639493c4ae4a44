"""The answers to the four questions of a commissioning, in plain sentences.

Comes in: a `Result`.  Goes out: text.  Before: `show/words/findings`; after: `show/reports/run`.
"""

from __future__ import annotations

from dataclasses import dataclass

from sim.results import Estimate, Result
from sim.scenario.checks.notices import tell_blind_stretches
from sim.show.words.amounts import (
    about_one_in,
    count_of,
    digits,
    duration,
    interval,
    percent,
    percent_interval,
    plain,
    time_interval,
)
from sim.show.words.findings import (
    BlindStretch,
    blind_stretch,
    estimate_of,
    estimate_ratio,
    knows_visits,
    savings,
    zone_day_rates,
)

__all__ = ["Answer", "answers", "blind_sentence", "shown_notices"]


@dataclass(frozen=True)
class Answer:
    """A question and its answer in plain sentences."""

    question: str
    text: str


def answers(result: Result) -> tuple[Answer, ...]:
    """Return the four questions with their answers."""
    return (
        Answer("How much energy and demand does this timetable save?", _energy(result)),
        Answer("How often did a truck work in dim light?", _service(result)),
        Answer("How often did the lights switch?", _switching(result)),
        Answer("How sure are these figures?", _certainty(result)),
    )


def blind_sentence(result: Result) -> tuple[str, bool]:
    """Return what became of visits at bays that no sensor covers ("" where places are not known).

    The second value tells whether it is a warning: most of these visits went dim.
    """
    found = blind_stretch(result)
    if found is None:
        return "", False
    if found.blind == 0:
        return "Every visit with a known bay worked within the reach of a sensor.", False
    warning = (
        " Most visits in the blind stretch went dim: the sensors reach too little of the aisle, or the "
        "delay is too short to bridge the time there."
    )
    return _blind(found) + (warning if found.is_warning else ""), found.is_warning


def shown_notices(result: Result) -> tuple[str, ...]:
    """Return what a reader must know first.

    Of the blind stretch only what was measured is told where visits tell it, not also what was predicted.
    """
    measured, is_warning = blind_sentence(result)
    predicted = frozenset(tell_blind_stretches(result.scenario)) if measured else frozenset()
    others = tuple(notice for notice in result.notices if notice not in predicted)
    return (measured, *others) if is_warning else others


def _blind(found: BlindStretch) -> str:
    """Visits in the blind stretch in numbers."""
    everyone = count_of(found.blind + found.seen, "visit")
    others = f", against {percent(found.seen_dim / found.seen, 2)} of the others" if found.seen else ""
    return (
        f"Sensors cover {percent(found.covered_share, 2)} of the aisles' length. In the replication shown in "
        f"full, {plain(found.blind)} of {everyone} worked at a bay that no sensor covers; "
        f"{percent(found.blind_dim / found.blind, 2)} of these were in dim light for longer than the lights "
        f"need to come up{others}."
    )


def _energy(result: Result) -> str:
    """Energy and demand."""
    always, schedule, code = (_less(saving.saved_share) for saving in savings(result))
    energy = interval(estimate_of(result, "energy_kwh"), "kWh")
    peak = interval(estimate_of(result, "peak_kw"), "kW")
    full_peak = interval(Estimate(estimate_of(result, "always_on_peak_kw").mean, None), "kW")
    return (
        f"In {duration(result.scenario.duration_s)} these settings use {energy}. That is {always} than "
        f"with every luminaire always on, {schedule} than with the timetable alone, and {code} than with "
        f"the energy code's minimum of control. The highest quarter-hour load is {peak}, against "
        f"{full_peak} always on."
    )


def _less(share: Estimate) -> str:
    """A saving in words; a negative one is a use of more."""
    if share.mean is not None and share.mean < 0.0:
        return f"{percent_interval(Estimate(-share.mean, share.half_width))} more"
    return f"{percent_interval(share)} less"


def _service(result: Result) -> str:
    """Trucks and light."""
    if not knows_visits(result):
        return "Not known: the log holds motion only and no visits of trucks."
    visits = estimate_of(result, "visits").mean or 0.0
    if visits == 0.0:
        return "No truck entered an aisle."
    entries = estimate_of(result, "dim_entries")
    dim_time = time_interval(estimate_of(result, "dim_truck_s"))
    longest = time_interval(estimate_of(result, "dim_spell_max_s"))
    if result.layout.zones_per_aisle == 1 and not result.layout.areas:
        met = f"an aisle whose lights were still low {interval(entries)} times"
        met += f" ({about_one_in((entries.mean or 0.0) / visits)})"
    else:
        met = f"a zone whose lights were still low {interval(entries)} times"
    per_visit = estimate_ratio(result, "dim_truck_s", "visits").mean or 0.0
    return (
        f"In {count_of(round(visits), 'visit')}, a truck entered {met}. Trucks spent {dim_time} below the "
        f"occupied level, {digits(per_visit)} s a visit; the longest spell lasted {longest}. The lights went "
        f"down with a truck still in the zone {interval(estimate_of(result, 'false_offs'))} times."
    )


def _switching(result: Result) -> str:
    """Switching."""
    rate, zone, most = zone_day_rates(result, "switch_ups")
    return (
        f"A zone came up {interval(rate)} times a day by a detection; {zone} came up most often, "
        f"{digits(most)} times a day. In all there were "
        f"{interval(estimate_of(result, 'switch_ups'))} switch-ups, "
        f"{interval(estimate_of(result, 'switch_downs'))} switch-downs and "
        f"{interval(estimate_of(result, 'timetable_changes'))} changes at the timetable's borders."
    )


def _certainty(result: Result) -> str:
    """Intervals, and what they do not cover."""
    inputs = (
        "Whether the inputs are right (moves an hour, their spread over the aisles, what the sensors see) no "
        "interval can tell."
    )
    if result.source == "replay":
        return f"This is a replay of one measured log: there is no interval. {inputs}"
    count = len(result.replications)
    if count == 1:
        return f"There was 1 replication: no interval, so chance alone may move every figure. {inputs}"
    saved = estimate_of(result, "saved_kwh")
    text = (
        f"The figures are means of {count} replications, each with its own random traffic; behind ± stands "
        f"the half-width of the 95 % interval."
    )
    if saved.mean and saved.half_width is not None:
        text += f" The energy saved is known to ± {percent(abs(saved.half_width / saved.mean), 2)} of itself."
    return f"{text} {inputs}"
