"""Commands for after commissioning: verify, worksheet.

Comes in: words from a terminal.  Goes out: calls to `verification`, text, a folder.  Before: `verification`,
`show`; after: `cli`, which registers them.  Heavy libraries are imported inside the commands.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from sim.commands.shared import complete_scenarios, json_option, say_where, tell_json, written
from sim.errors import InputError
from sim.terminal import CONTEXT, free_folder, progress_told
from sim.wording import printable

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from sim.results import Result
    from sim.scenario.schema import Scenario
    from sim.verification.meter import Kind, Meter, Reading, Stamps, Unit
    from sim.verification.meter_clock import Dst

__all__ = ["verify", "worksheet"]

_SPAN = re.compile(r"([0-9]{4}-[0-9]{2}-[0-9]{2})\.\.([0-9]{4}-[0-9]{2}-[0-9]{2})")


@click.command(context_settings=CONTEXT, short_help="Set a meter beside the simulation.")
@click.argument("meter", type=click.Path(path_type=Path))
@click.option(
    "--scenario",
    "scenario_name",
    required=True,
    shell_complete=complete_scenarios,
    help="The site as built: file or packaged name.",
)
@click.option(
    "--baseline", metavar="FILE|FROM..TO", help="Meter before the measure: a file, or dates in METER."
)
@click.option("--period", metavar="FROM..TO", help="Reporting period; by default what follows the baseline.")
@click.option("--circuit", "circuits", multiple=True, metavar="NAME=A01,A02", help="What a column feeds.")
@click.option("--unit", type=click.Choice(["kWh", "kW"]), help="Of columns whose header does not tell.")
@click.option(
    "--marked", type=click.Choice(["measured", "calculated"]), help="Of columns whose header does not tell."
)
@click.option(
    "--stamps", type=click.Choice(["start", "end"]), default="start", show_default=True,
    help="Times name the start or the end of their interval.",
)
@click.option("--time-zone", metavar="NAME", help="Of times without offset; by default the scenario's.")
@click.option(
    "--dst", type=click.Choice(["first", "second"]), help="What a time means that clocks show twice or never."
)
@click.option("--sort", is_flag=True, help="Accept rows that are not in order of time.")
@click.option(
    "--confidence", type=click.FloatRange(0.5, 0.999), default=0.9, show_default=True,
    help="Of the saving's interval.",
)
@click.option(
    "--meter-accuracy", type=click.FloatRange(0.0, 0.2), default=0.0, show_default=True,
    help="Limit of error of the meters, share of the reading.",
)
@click.option("--replications", type=click.IntRange(min=1, max=10_000), help="Instead of the scenario's.")
@click.option(
    "--workers", type=click.IntRange(min=1, max=256), default=1, show_default=True,
    help="Processes; the figures do not depend on it.",
)
@click.option("--out", type=click.Path(path_type=Path), help="Folder to write; by default none.")
@click.option("--force", is_flag=True, help="Replace an earlier results folder.")
@json_option
def verify(
    meter: Path,
    scenario_name: str,
    baseline: str | None,
    period: str | None,
    circuits: Sequence[str],
    unit: Unit | None,
    marked: Kind | None,
    stamps: Stamps,
    time_zone: str | None,
    dst: Dst | None,
    sort: bool,
    confidence: float,
    meter_accuracy: float,
    replications: int | None,
    workers: int,
    out: Path | None,
    force: bool,
    as_json: bool,
) -> None:
    """Set METER, a CSV of energy or power by interval, beside what the scenario predicts.

    METER has the column time (ISO 8601, with offset, or local) and a column for each circuit, whose header
    says what it is: site [kWh measured], C1 [kW calculated]. A column that a control system works out from
    its own levels is calculated; it is shown and never counts as proof. With --baseline the metered saving is
    told with its uncertainty (IPMVP Option B). Missing and doubled intervals are named, not refused.

    \b
    Examples:
      aislewake verify april.csv --scenario my-site.toml --out april
      aislewake verify meter.csv --scenario my-site.toml \\
          --baseline 2027-01-04..2027-01-31 --json
    """
    from sim.scenario.demos import find_scenario
    from sim.scenario.toml import load
    from sim.show.folders.whole import refuse_existing
    from sim.show.words.sections import page_text
    from sim.show.words.verify import verify_page
    from sim.verification.meter import Reading, read_meter
    from sim.verification.verify import verify_meter

    if out is not None:
        refuse_existing(out, force=force)
    site = load(find_scenario(scenario_name))
    zone = _zone_of(site, time_zone)
    reading = Reading(unit=unit, kind=marked, stamps=stamps, zone=zone, dst=dst, sort=sort)
    whole = read_meter(meter, reading)
    before, after = _periods(whole, baseline, period, reading)
    with progress_told() as tell:
        found = verify_meter(
            site,
            after,
            baseline=before,
            stated=_stated(circuits),
            accuracy=meter_accuracy,
            replications=replications,
            workers=workers,
            progress=tell,
        )
    page = verify_page(found, confidence)
    if out is not None:
        from sim.show.folders.verify import write_verification

        write_verification(found, page, confidence, out, force=force)
        written(out)
    if as_json:
        from sim.show.folders.verify import verification_json

        tell_json(verification_json(found, page, confidence))
    else:
        click.echo(page_text(page))
    if out is not None:
        say_where(out, as_json=as_json)


def _zone_of(site: Scenario, named: str | None) -> ZoneInfo | None:
    """The zone of the meter's clock: as said, or the scenario's, or none."""
    from sim.verification.meter_clock import find_zone

    name = named or site.timezone or (site.place.time_zone if site.place is not None else None)
    if name is None:
        return None
    zone = find_zone(name)
    if zone is None:
        raise InputError(
            f'--time-zone {printable(name)}: is no time zone of the IANA database here; write one such as '
            '"Europe/Berlin"; where the machine has no database: pip install "aislewake[site]"'
        )
    return zone


def _periods(
    whole: Meter, baseline: str | None, period: str | None, reading: Reading
) -> tuple[Meter | None, Meter]:
    """Cut baseline and reporting period."""
    from sim.verification.meter import read_meter

    first, last = whole.dates()
    span = None if baseline is None else _read_span("--baseline", baseline)
    reporting = None if period is None else _read_span("--period", period)
    if period is not None and reporting is None:
        raise InputError(f"--period {printable(period)}: write two dates, such as 2027-03-01..2027-03-31")
    if baseline is None:
        before = None
    elif span is None:
        before = read_meter(Path(baseline), reading)
    else:
        before = _cut(whole, span, "--baseline")
        if reporting is None:
            reporting = (span[1] + dt.timedelta(days=1), last)
            if span[1] >= last:
                reporting = (first, span[0] - dt.timedelta(days=1))
            if reporting[1] < reporting[0]:
                raise InputError(f"--baseline {baseline}: leaves no dates of {whole.where} to report on")
    return before, whole if reporting is None else _cut(whole, reporting, "--period")


def _cut(whole: Meter, span: tuple[dt.date, dt.date], option: str) -> Meter:
    """Some dates of a meter, at least one hour of them."""
    part = whole.within(*span)
    if not len(part):
        first, last = whole.dates()
        raise InputError(
            f"{option}: {whole.where} has no hour from {span[0]} to {span[1]}; it reaches from {first} to "
            f"{last}"
        )
    return part


def _read_span(option: str, text: str) -> tuple[dt.date, dt.date] | None:
    """Read FROM..TO, None where a text has another form."""
    match = _SPAN.fullmatch(text)
    if match is None:
        return None
    try:
        first, last = dt.date.fromisoformat(match[1]), dt.date.fromisoformat(match[2])
    except ValueError:
        raise InputError(f"{option} {text}: there is no such date") from None
    if last < first:
        raise InputError(f"{option} {text}: the second date is before the first")
    return first, last


def _stated(texts: Sequence[str]) -> dict[str, list[str]]:
    """Read NAME=A01,A02."""
    found: dict[str, list[str]] = {}
    for text in texts:
        name, sign, parts = text.partition("=")
        names = [part.strip() for part in parts.split(",") if part.strip()]
        if not sign or not name.strip() or not names:
            raise InputError(f"--circuit {printable(text)}: write NAME=A01,A02 with zones or aisles")
        found.setdefault(name.strip(), []).extend(names)
    return found


@click.command(context_settings=CONTEXT, short_help="Write a rebate worksheet.")
@click.argument("site", metavar="RESULTS|SCENARIO", shell_complete=complete_scenarios)
@click.option("--replications", type=click.IntRange(min=1, max=10_000), help="Instead of the scenario's.")
@click.option(
    "--workers", type=click.IntRange(min=1, max=256), default=1, show_default=True,
    help="Processes; the figures do not depend on it.",
)
@click.option("--out", type=click.Path(path_type=Path), help="By default NAME-worksheet-results here.")
@click.option("--force", is_flag=True, help="Replace an earlier results folder.")
@json_option
def worksheet(
    site: str, replications: int | None, workers: int, out: Path | None, force: bool, as_json: bool
) -> None:
    """Write a rebate worksheet for a results folder (computed again, the same) or a scenario.

    Connected load, equivalent full-load hours before and after, control savings factor, energy and load
    against what is there today ([today] in the scenario), always on, the timetable alone and the code
    minimum, on the same traffic; what a code forces anyway is struck out. Trim, timetable, daylight and
    sensors stand apart as factors that multiply, beside deemed factors. A programme's own numbers with their
    sources go into [rebate].

    \b
    Examples:
      aislewake worksheet my-site.toml --out rebate
      aislewake worksheet week-12
      aislewake worksheet my-site.toml --json
    """
    from sim.show.folders.whole import refuse_existing
    from sim.show.folders.worksheet import worksheet_json, write_worksheet
    from sim.show.words.sections import page_text
    from sim.show.words.worksheet import sheet_page
    from sim.verification.worksheet import make_worksheet

    target = out or free_folder(f"{Path(site).stem}-worksheet")
    refuse_existing(target, force=force)
    sheet = make_worksheet(_result_of(site, replications, workers))
    write_worksheet(sheet, target, force=force)
    written(target)
    if as_json:
        tell_json(worksheet_json(sheet))
    else:
        click.echo(page_text(sheet_page(sheet)))
    say_where(target, as_json=as_json, page="worksheet.html")


def _result_of(site: str, replications: int | None, workers: int) -> Result:
    """Run a scenario, or compute a results folder again."""
    from sim.scenario.demos import find_scenario
    from sim.scenario.toml import load
    from sim.study.replications.replicate import replay, run
    from sim.study.store import is_results_folder, read_stored_run

    folder = Path(site)
    if not is_results_folder(folder):
        if folder.is_dir():
            raise InputError(
                f"{printable(site)}: is a folder without summary.json; give a results folder or a scenario "
                "file"
            )
        with progress_told() as tell:
            return run(
                load(find_scenario(site)), replications=replications, workers=workers, progress=tell
            )
    stored = read_stored_run(folder)
    if stored.source == "replay":
        visits = folder / "visits.csv"
        return replay(
            stored.scenario,
            detections=folder / "detections.csv",
            visits=visits if visits.is_file() else None,
            sort=True,
        )
    count = len(stored.replications) if replications is None else replications
    single = count == 1 and replications is None
    with progress_told() as tell:
        return run(
            stored.scenario,
            replications=None if single else count,
            replication=stored.replications[0] if single else None,
            workers=workers,
            progress=tell,
        )
