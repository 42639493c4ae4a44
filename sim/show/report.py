"""The report: one HTML file that needs nothing else, from answer to cautions.

Comes in: a `Result` and its pictures as SVG.  Goes out: HTML.  Before: `show/answers`, `show/headline`,
`show/cautions`; after: the results folder.  Names and titles from the scenario are shown as text only.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import jinja2
import numpy as np

from sim.outcome.limit_rows import limit_rows
from sim.outcome.limits import LIGHT_LIMITS
from sim.outcome.names import OUTCOMES
from sim.provenance import content_hash, versions
from sim.results import Result
from sim.show.answers import answers, blind_sentence, shown_notices
from sim.show.besides import beside_sections
from sim.show.captions import Caption, captions
from sim.show.cautions import cautions, lux_rows, where_text
from sim.show.findings import Saving, knows_visits, savings
from sim.show.glossary import GLOSSARY
from sim.show.headline import headline_groups
from sim.show.in_force import InForce, levels_text, settings_in_force
from sim.show.limits_text import limit_counts
from sim.show.notes import note_rows
from sim.show.words import (
    bind_units,
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
from sim.units import SECONDS_PER_HOUR

__all__ = ["render_report"]

MOST_ZONES = 40


@dataclass(frozen=True)
class Figure:
    """A picture as the page holds it."""

    source: str
    caption: Caption


def _bound(value: object) -> object:
    """Keep numbers and their units on one line."""
    return bind_units(value) if type(value) is str else value


@cache
def _template() -> jinja2.Template:
    """The page; every value it shows is escaped."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("sim.show"), autoescape=True, undefined=jinja2.StrictUndefined,
        trim_blocks=True, lstrip_blocks=True, finalize=_bound,
    )
    return environment.get_template("report.html.j2")


def render_report(result: Result, figure_svgs: Mapping[str, str]) -> str:
    """Return the report as one self-contained page.

    Parameters
    ----------
    result : of a run or a replay
    figure_svgs : pictures by name, as `show/figures` draws them; absent ones are left out

    Returns
    -------
    HTML with no script and no reference to anything outside the file
    """
    scenario = result.scenario
    blind, is_warning = blind_sentence(result)
    groups = headline_groups(result)
    note_of, notes = note_rows(groups, has_intervals=len(result.replications) > 1)
    shown_zones, zone_count = _zone_rows(result), len(result.layout.zones)
    return _template().render(
        title=scenario.title,
        subtitle=_subtitle(result),
        answers=answers(result),
        groups=groups,
        note_of=note_of,
        notes=notes,
        glossary=GLOSSARY,
        has_intervals=len(result.replications) > 1,
        settings=[_settings_row(row) for row in settings_in_force(scenario)],
        luxes=lux_rows(scenario),
        lux_limits=LIGHT_LIMITS,
        digits=digits,
        notices=shown_notices(result),
        blind="" if is_warning else blind,
        figures=[
            Figure(_as_data(figure_svgs[caption.name]), caption)
            for caption in captions(result)
            if caption.name in figure_svgs
        ],
        zones=shown_zones,
        zone_count=zone_count,
        zone_order="time in dim light, then by switch-ups" if knows_visits(result) else "switch-ups",
        knows_visits=knows_visits(result),
        baselines=[_baseline_row(saving) for saving in savings(result)],
        sections=beside_sections(result),
        method=_method(result),
        facts=_facts(result),
        limits=limit_counts(rows) if (rows := limit_rows(scenario)) else "",
        cautions=cautions(scenario, result.layout),
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
