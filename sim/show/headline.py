"""The headline figures in words: rows for the end of `run` and for the report, and the four answers.

Comes in: a `Result`.  Goes out: rows and sentences.  Before: `show/findings`; after: `show/tables`,
`show/report`.
"""

from __future__ import annotations

from dataclasses import dataclass

from sim.results import Estimate, Result
from sim.show.findings import (
    blind_stretch,
    estimate_of,
    estimate_ratio,
    knows_visits,
    savings,
    zone_day_rates,
)
from sim.show.words import (
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

__all__ = ["Answer", "Group", "Row", "answers", "blind_sentence", "headline_groups", "span_of_run"]


@dataclass(frozen=True)
class Row:
    """One figure: what, how much, and a remark that may be empty."""

    label: str
    value: str
    remark: str = ""


@dataclass(frozen=True)
class Group:
    """Figures that answer one question."""

    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True)
class Answer:
    """A question and its answer in plain sentences."""

    question: str
    text: str


def span_of_run(result: Result) -> str:
    """Return the run's length in words: "7 days"."""
    return duration(result.scenario.duration_s)


def headline_groups(result: Result) -> tuple[Group, ...]:
    """Return the headline figures grouped by the question they answer."""
    return (
        Group("Energy and demand", _energy_rows(result)),
        Group("Trucks in dim light", _service_rows(result)),
        Group("Switching", _switching_rows(result)),
    )


def answers(result: Result) -> tuple[Answer, ...]:
    """Return the answers to the four questions that a commissioning starts with."""
    return (
        Answer("How much energy and demand is saved?", _energy_answer(result)),
        Answer("How often did a truck work in dim light?", _service_answer(result)),
        Answer("How often did the lights switch?", _switching_answer(result)),
        Answer("How sure are these figures?", _certainty_answer(result)),
    )


def blind_sentence(result: Result) -> str:
    """Return what became of visits at bays that no sensor covers, or "" where that is not known."""
    found = blind_stretch(result)
    if found is None:
        return ""
    everyone = found.blind + found.seen
    if found.blind == 0:
        return "Every visit with a known bay worked within the reach of a sensor."
    text = (
        f"Sensors cover {percent(found.covered_share, 2)} of the aisles' length. In the replication looked at "
        f"closely, {plain(found.blind)} of {count_of(everyone, 'visit')} worked at a bay that no sensor covers; "
        f"{percent(found.blind_dim / found.blind, 2)} of these were in dim light for longer than the lights need "
        f"to come up"
    )
    if found.seen:
        text += f", against {percent(found.seen_dim / found.seen, 2)} of the others"
    text += "."
    if found.is_warning:
        text += (
            " Most visits in the blind stretch went dim: the sensors' reach is short against the aisle and the "
            "delay is too short to bridge it."
        )
    return text


def _energy_rows(result: Result) -> tuple[Row, ...]:
    rows = [Row("energy used", interval(estimate_of(result, "energy_kwh"), "kWh"))]
    for saving in savings(result):
        rows.append(
            Row(
                f"saved against {saving.name}",
                percent_interval(saving.saved_share),
                f"{interval(saving.saved_kwh)} of {interval(Estimate(saving.baseline_kwh.mean, None), 'kWh')}",
            )
        )
    rows.append(
        Row(
            "highest quarter-hour load",
            interval(estimate_of(result, "peak_kw"), "kW"),
            f"always on {interval(Estimate(estimate_of(result, 'always_on_peak_kw').mean, None), 'kW')}",
        )
    )
    return tuple(rows)


def _service_rows(result: Result) -> tuple[Row, ...]:
    if not knows_visits(result):
        return (Row("trucks", "not known", "no visits log"),)
    visits = estimate_of(result, "visits").mean or 0.0
    entries = estimate_of(result, "dim_entries")
    remark = f"of {count_of(round(visits), 'visit')}"
    if result.layout.zones_per_aisle == 1 and visits > 0:
        remark += f", {about_one_in((entries.mean or 0.0) / visits)}"
    return (
        Row("trucks that entered at low", interval(entries), remark),
        Row(
            "truck time below the occupied level",
            time_interval(estimate_of(result, "dim_truck_s")),
            f"{digits(estimate_ratio(result, 'dim_truck_s', 'visits').mean or 0.0)} s a visit",
        ),
        Row("the same, weighted by missing light", time_interval(estimate_of(result, "shortfall_truck_s"))),
        Row("lights down on a truck in the zone", interval(estimate_of(result, "false_offs")), "false-offs"),
        Row("longest dim spell of one visit", time_interval(estimate_of(result, "dim_spell_max_s"))),
        Row("95 % of dim spells are shorter than", time_interval(estimate_of(result, "dim_spell_p95_s"))),
        Row("wait at aisle mouths, mean of visits", time_interval(estimate_of(result, "mouth_wait_mean_s"))),
    )


def _switching_rows(result: Result) -> tuple[Row, ...]:
    rate, zone, most = zone_day_rates(result, "switch_ups")
    return (
        Row(
            "up, by a detection", interval(estimate_of(result, "switch_ups")),
            f"{interval(Estimate(rate.mean, None))} a zone and day; most in {zone}: {digits(most)}",
        ),
        Row("down, by a timeout", interval(estimate_of(result, "switch_downs"))),
        Row("changes by the timetable", interval(estimate_of(result, "timetable_changes"))),
        Row("zone-hours at low", interval(estimate_of(result, "time_at_low_h"), "h"), _lit_empty_remark(result)),
    )


def _lit_empty_remark(result: Result) -> str:
    lit_empty = estimate_of(result, "lit_empty_h")
    return "" if lit_empty.mean is None else f"{interval(Estimate(lit_empty.mean, None), 'h')} high and empty"


def _energy_answer(result: Result) -> str:
    always, schedule, code = savings(result)
    peak, full_peak = estimate_of(result, "peak_kw"), estimate_of(result, "always_on_peak_kw")
    text = (
        f"In {span_of_run(result)} these settings use {interval(estimate_of(result, 'energy_kwh'), 'kWh')}. "
        f"That is {_less(always.saved_share)} than with every luminaire always on, "
        f"{_less(schedule.saved_share)} than with the timetable alone, and {_less(code.saved_share)} than with "
        f"the energy code's minimum of control."
    )
    if peak.mean is None or full_peak.mean is None:
        return text
    return (
        f"{text} The highest quarter-hour load is {interval(peak, 'kW')}, against "
        f"{interval(Estimate(full_peak.mean, None), 'kW')} always on."
    )


def _less(share: Estimate) -> str:
    """A saving in words; a negative one is a use of more."""
    if share.mean is not None and share.mean < 0.0:
        return f"{percent_interval(Estimate(-share.mean, share.half_width))} more"
    return f"{percent_interval(share)} less"


def _service_answer(result: Result) -> str:
    if not knows_visits(result):
        return "Not known: the log holds motion only and no visits of trucks."
    visits = estimate_of(result, "visits").mean or 0.0
    if visits == 0.0:
        return "No truck entered an aisle."
    entries = estimate_of(result, "dim_entries")
    what = "an aisle" if result.layout.zones_per_aisle == 1 else "a zone"
    share = ""
    if result.layout.zones_per_aisle == 1:
        share = f" ({about_one_in((entries.mean or 0.0) / visits)})"
    per_visit = estimate_ratio(result, "dim_truck_s", "visits").mean or 0.0
    return (
        f"In {count_of(round(visits), 'visit')}, a truck entered {what} whose lights were still low "
        f"{interval(entries)} times{share}. Trucks spent {time_interval(estimate_of(result, 'dim_truck_s'))} below the "
        f"occupied level, {digits(per_visit)} s a visit; the longest spell lasted "
        f"{time_interval(estimate_of(result, 'dim_spell_max_s'))}. The lights went down with a truck still in the "
        f"zone {interval(estimate_of(result, 'false_offs'))} times."
    )


def _switching_answer(result: Result) -> str:
    rate, zone, most = zone_day_rates(result, "switch_ups")
    return (
        f"A zone came up {interval(rate)} times a day by a detection; {zone} came up most often, {digits(most)} "
        f"times a day. In all there were {interval(estimate_of(result, 'switch_ups'))} switch-ups, "
        f"{interval(estimate_of(result, 'switch_downs'))} switch-downs and "
        f"{interval(estimate_of(result, 'timetable_changes'))} changes at the timetable's borders."
    )


def _certainty_answer(result: Result) -> str:
    count = len(result.replications)
    inputs = (
        "Whether the inputs are right (moves an hour, their spread over the aisles, what the sensors see) no "
        "interval can tell."
    )
    if result.source == "replay":
        return f"This is a replay of one measured log: there is no interval. {inputs}"
    if count == 1:
        return f"There was 1 replication: no interval, so chance alone may move every figure. {inputs}"
    saved = estimate_of(result, "saved_kwh")
    text = f"Figures are means of {count} replications, each with its own random traffic, ± half of a 95 % interval."
    if saved.mean and saved.half_width is not None:
        text += f" The energy saved is known to ± {percent(abs(saved.half_width / saved.mean), 2)} of itself."
    return f"{text} {inputs}"
