"""The report: one HTML file that needs nothing else, from answer to cautions.

Comes in: a `Result` and its pictures as SVG.  Goes out: HTML.  Before: `show/words/answers`,
`show/words/headline`, `show/words/cautions`; after: the results folder.  Names and titles from the scenario
are shown as text only.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.outcome.limit_rows import limit_rows
from sim.outcome.limits import LIGHT_LIMITS
from sim.outcome.names import OUTCOMES
from sim.provenance import content_hash, versions
from sim.results import Result
from sim.show.notes.book import NoteBook
from sim.show.notes.headline import note_rows
from sim.show.notes.run import RUN_NOTES
from sim.show.reports.paper import jinja_template, make_table
from sim.show.words.amounts import (
    count_of,
    digits,
    duration,
    interval,
    moment,
    percent,
    percent_interval,
    plain,
    times_alike,
)
from sim.show.words.answers import answers, blind_sentence, shown_notices
from sim.show.words.besides import beside_sections
from sim.show.words.captions import Caption, captions
from sim.show.words.cautions import cautions, lux_rows, where_text
from sim.show.words.findings import Saving, knows_visits, savings
from sim.show.words.glossary import used_words
from sim.show.words.headline import headline_groups
from sim.show.words.in_force import InForce, levels_text, settings_in_force
from sim.show.words.limits import limit_counts
from sim.units import SECONDS_PER_HOUR

__all__ = ["render_report"]

MOST_ZONES = 40


@dataclass(frozen=True)
class Figure:
    """A picture as the page holds it."""

    source: str
    caption: Caption


def render_report(result: Result, figure_svgs: Mapping[str, str]) -> str:
    """Return the report as one self-contained page.

    Parameters
    ----------
    result : of a run or a replay
    figure_svgs : pictures by name, as `show/figures/draw` draws them; absent ones are left out

    Returns
    -------
    HTML with no script and no reference to anything outside the file
    """
    scenario = result.scenario
    blind, is_warning = blind_sentence(result)
    groups = headline_groups(result)
    note_of, headline_notes = note_rows(groups, has_intervals=len(result.replications) > 1)
    book = NoteBook(RUN_NOTES, headline_notes)
    lux, zone_count = lux_rows(scenario), len(result.layout.zones)
    shown: dict[str, Any] = {
        "title": scenario.title,
        "subtitle": _subtitle(result),
        "answers": [(answer.question, answer.text) for answer in answers(result)],
        "groups": groups,
        "note_of": note_of,
        "mark": {
            "settings": book.mark("Settings in force"),
            "light": book.mark("Light on the floor") if lux else (),
            "zones": book.mark("Zones, the worst first"),
        },
        "has_intervals": len(result.replications) > 1,
        "settings": [_settings_row(row) for row in settings_in_force(scenario)],
        "recommended": _recommended(result),
        "luxes": lux,
        "lux_limits": LIGHT_LIMITS,
        "digits": digits,
        "notices": shown_notices(result),
        "blind": "" if is_warning else blind,
        "zones": _zone_rows(result),
        "zone_count": zone_count,
        "zone_order": "time in dim light, then by switch-ups" if knows_visits(result) else "switch-ups",
        "knows_visits": knows_visits(result),
        "baselines": [_baseline_row(saving) for saving in savings(result)],
        "sections": [make_table(section, book) for section in beside_sections(result)],
        "method": _method(result),
        "facts": _facts(result),
        "limits": limit_counts(rows) if (rows := limit_rows(scenario)) else "",
        "cautions": cautions(scenario, result.layout),
    }
    shown["notes"] = book.notes
    figures = [
        Figure(_as_data(figure_svgs[caption.name]), caption)
        for caption in captions(result)
        if caption.name in figure_svgs
    ]
    template = jinja_template("report.html.j2")
    bare = [Figure("", figure.caption) for figure in figures]
    words = used_words(template.render(**shown, figures=bare, glossary=()))
    return template.render(**shown, figures=figures, glossary=words)


def _recommended(result: Result) -> str:
    """Say which command sets recommended settings beside these, and where a comparison stands already."""
    if "light_lost_min" in result.headline:
        return (
            "Drivers react to the light here, so that none are recommended by themselves: aislewake "
            "compare "
            "sets two scenarios beside each other."
        )
    text = (
        "aislewake recommend sets recommended settings beside these, period by period, with what both use "
        "and save"
    )
    if result.scenario.recommend is None:
        return f"{text}, and the service of both. It asks for limits first; see its --help."
    return (
        f"{text}, and the service of both; this scenario states what it is asked for ([recommend]). Where "
        "these "
        "settings came from a recommendation, its report.html says what they were compared with."
    )


def _as_data(svg: str) -> str:
    """A picture as an address that holds it; inside an image it can neither run nor fetch anything."""
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()


def _subtitle(result: Result) -> str:
    """What was computed, in a line."""
    scenario = result.scenario
    how = "replay of a log" if result.source == "replay" else "simulated"
    aisles = count_of(len(result.layout.aisles), "aisle")
    span = f"{duration(scenario.duration_s)} from {moment(scenario.start_datetime)}"
    return f"Planning estimate: {aisles}, {span}, {how}"


def _settings_row(row: InForce) -> tuple[str, ...]:
    """One row of the settings in force."""
    settings = row.settings
    return (
        where_text(row),
        plain(row.hours_a_week),
        levels_text(row),
        duration(row.sensors.hold_s),
        duration(settings.timeout_s),
        duration(row.delay_s),
        f"{duration(settings.fade_up_s)} / {duration(settings.fade_down_s)}",
    )


def _baseline_row(saving: Saving) -> tuple[str, ...]:
    """One row of the baselines."""
    return (
        saving.name,
        saving.meaning,
        interval(saving.baseline_kwh, "kWh"),
        interval(saving.saved_kwh, "kWh"),
        percent_interval(saving.saved_share),
    )


def _zone_rows(result: Result) -> list[tuple[str, ...]]:
    """Zones, the worst first: most time in dim light, then most switching; means over replications."""
    columns = {
        name: np.mean([outcome.zones[name] for outcome in result.outcomes], axis=0) for name in OUTCOMES
    }
    hours = result.scenario.duration_s / SECONDS_PER_HOUR
    order = np.lexsort((-columns["switch_ups"], -np.nan_to_num(columns["dim_truck_s"])))[:MOST_ZONES]
    times = {name: times_alike(columns[name][order].tolist()) for name in ("dim_truck_s", "dim_spell_max_s")}
    rows = []
    for place, zone in enumerate(order):
        value = {name: float(column[zone]) for name, column in columns.items()}
        row = [result.layout.zones[zone]]
        if knows_visits(result):
            row += [digits(value["visits"])]
            row += [percent(value[name] / hours) for name in ("occupied_h", "lit_empty_h")]
        row += [
            percent(value["time_at_low_h"] / hours), percent(value["saved_share"]),
            digits(value["switch_ups"] / result.scenario.days),
        ]
        if knows_visits(result):
            row += [times[name][place] for name in ("dim_truck_s", "dim_spell_max_s")]
            row += [digits(value["false_offs"])]
        rows.append(tuple(row))
    return rows


AREAS = (
    "In open areas trucks are followed on their way between doors and aisles, where they queue, and at doors "
    "while they pick up or set down; people come there at random on foot. Truck times and dim entries count "
    "both, each with its weight; visits are those of aisles."
)


def _method(result: Result) -> tuple[str, ...]:
    """How the figures were computed, as the STRESS guidelines for reporting a simulation ask."""
    lights = (
        "The lights follow exactly: a zone is high while its last detected motion is not older than hold "
        "and timeout together; levels run in straight lines in the fade times; energy is integrated over "
        "them, not sampled. No draw of chance is made for the lights."
    )
    if result.source == "replay":
        return (
            "The lights run on a log: nothing about the traffic is simulated here. The log is taken as it "
            "stands; before its first row nothing was detected.",
            lights,
            "Baselines are computed on the same log.",
        )
    return (
        "A discrete-event simulation lets trucks with drivers, shifts and breaks do moves that arise at "
        "random (Poisson, with the rate of the hour), wait at the mouths of full aisles, travel with the "
        "given speeds and acceleration, and handle for a random time. Sensors see moving trucks within "
        "their reach and standing trucks in pulses only.",
        *([AREAS] if result.layout.areas else []),
        lights,
        "A replication is one run of the whole span with random numbers of its own. It starts empty: no "
        "truck is in an aisle, nothing has been detected, every zone is low. There is no warm-up; the "
        "start is part of the run. All baselines are computed on the same traffic as the settings.",
    )


def _facts(result: Result) -> tuple[tuple[str, str], ...]:
    """Seed, replications, versions, hash."""
    scenario = result.scenario
    numbers = result.replications
    span = f"number {numbers[0]} only"
    if len(numbers) > 1:
        span = f"{len(numbers)}, numbers {numbers[0]} to {numbers[-1]}"
    facts = [("Run", f"{duration(scenario.duration_s)} from {moment(scenario.start_datetime)}")]
    if result.source == "run":
        facts += [("Seed", str(scenario.seed)), ("Replications", span)]
        if scenario.precision is not None:
            facts.append(("Precision asked", f"energy within {plain(100.0 * scenario.precision)} %"))
    facts.append(("Versions", ", ".join(f"{name} {number}" for name, number in versions().items())))
    facts.append(("Scenario", f"sha256 {content_hash(scenario.content())}"))
    return tuple(facts)
