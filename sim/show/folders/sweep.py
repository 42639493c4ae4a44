"""The results folder of a sweep.

Comes in: a `SweepResult`.  Goes out: sweep.csv (or sweep.parquet), summary.csv, front.csv, scenario.toml,
summary.json, figures.  Before: `study/sweeping/sweep`, `show/folders/whole`; after: `commands/decide`.

sweep.csv: a row per point and replication, points in the order of the grid (the last key runs fastest); a
column per varied key, named as given, then `replication`, then site totals in the order of the outcomes'
names.  Peaks and dim spells do not add up; they stand in front.csv for settings on the front, and their
outcomes by hour of the day, means over replications, in front_hours.csv.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.outcome.names import OUTCOMES
from sim.provenance import content_hash, versions
from sim.records import FloatColumn
from sim.scenario.toml import dump_scenario
from sim.show.as_json.decide import sweep_figures
from sim.show.folders.whole import MARK, number_text, put_text, write_folder, write_json, write_rows
from sim.show.notes.decide import SWEEP_NOTES
from sim.show.reports.paper import paper_html
from sim.show.reports.summary_sweep import sweep_summary
from sim.show.words.cautions import cautions
from sim.show.words.front_facts import front_facts
from sim.show.words.sweep import sweep_page
from sim.study.clock_hours import HOURS
from sim.study.replications.precision import CONFIDENCE, estimate_mean
from sim.study.sweeping.sweep import EXACT_OUTCOMES, HOURLY_OUTCOMES, SweepResult
from sim.study.sweeping.values import value_text

__all__ = ["need_parquet", "render_sweep", "sweep_json", "write_sweep"]

_REPLAYED = tuple(name for name in OUTCOMES if name not in EXACT_OUTCOMES)


def need_parquet() -> None:
    """Stop before any work if Parquet is asked for and cannot be written.

    Raises
    ------
    InputError : the extra is not installed
    """
    try:
        import pyarrow  # noqa: F401
    except ImportError:
        raise InputError("--parquet needs pyarrow: pip install 'aislewake[parquet]'") from None


def write_sweep(result: SweepResult, out: Path, *, parquet: bool = False, force: bool = False) -> None:
    """Write the results folder, whole or not at all.

    Parameters
    ----------
    result : of `sweep`
    out : the folder to make
    parquet : sweep.parquet instead of sweep.csv
    force : replace an earlier results folder

    Raises
    ------
    InputError : the folder exists, or Parquet cannot be written
    MachineError : the disk refused; what was there before is untouched
    """
    if parquet:
        need_parquet()
    write_folder(out, lambda folder: _fill(result, folder, parquet), force=force)


def _fill(result: SweepResult, folder: Path, parquet: bool) -> None:
    """Write every file."""
    from sim.show.figures.sweep import draw_sweep_figures

    write_json(folder / MARK, sweep_json(result))
    put_text(folder / "scenario.toml", dump_scenario(result.scenario))
    if parquet:
        _write_parquet(result, folder / "sweep.parquet")
    else:
        write_rows(folder / "sweep.csv", [*result.plan.keys, "replication", *EXACT_OUTCOMES], _rows(result))
    write_rows(folder / "summary.csv", *_summary_table(result))
    write_rows(folder / "front.csv", *_front_table(result))
    write_rows(
        folder / "front_hours.csv", ["point", *result.plan.keys, "hour", *HOURLY_OUTCOMES], _hour_rows(result)
    )
    figures = folder / "figures"
    figures.mkdir()
    svgs = draw_sweep_figures(result, figures)
    put_text(folder / "report.html", render_sweep(result, svgs))


def render_sweep(result: SweepResult, svgs: Mapping[str, str]) -> str:
    """Return the report as one self-contained page; pictures by name, absent ones are left out."""
    site = result.scenario
    notes = cautions(site, lay_out(site))
    return paper_html(sweep_page(result), sweep_summary(result), SWEEP_NOTES, svgs, notes, site)


def _rows(result: SweepResult) -> Iterator[list[str]]:
    """Rows of sweep.csv."""
    for point, values in enumerate(result.plan.points):
        words = [value_text(value) for value in values]
        columns = [result.outcomes[name][:, point].tolist() for name in EXACT_OUTCOMES]
        for number, figures in zip(result.replications, zip(*columns, strict=True), strict=True):
            yield [*words, str(number), *map(number_text, figures)]


def _write_parquet(result: SweepResult, path: Path) -> None:
    """Write the same columns as Parquet, figures as doubles."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    count = len(result.replications)
    columns: dict[str, Any] = {}
    for place, key in enumerate(result.plan.keys):
        values = [point[place] for point in result.plan.points]
        is_number = all(isinstance(value, int | float) and not isinstance(value, bool) for value in values)
        plain = [value if is_number else value_text(value) for value in values]
        columns[key] = np.repeat(np.array(plain, dtype=np.float64 if is_number else object), count)
    columns["replication"] = np.tile(np.array(result.replications, dtype=np.int64), len(result.plan))
    for name in EXACT_OUTCOMES:
        columns[name] = result.outcomes[name].T.ravel()
    pq.write_table(pa.table(columns), path)


def _summary_table(result: SweepResult) -> tuple[list[str], Iterator[list[str]]]:
    """Means and half-widths of every point, and who beats it by how much."""
    aims = [aim.outcome for aim in result.aims]
    header = [
        "point",
        *result.plan.keys,
        *(column for name in EXACT_OUTCOMES for column in (name, f"{name}_half_width")),
        "on_front",
        "beaten_by",
        *(f"beaten_by_{name}" for name in aims),
    ]

    def rows() -> Iterator[list[str]]:
        for point, values in enumerate(result.plan.points):
            figures: list[str] = []
            for name in EXACT_OUTCOMES:
                estimate = estimate_mean(result.outcomes[name][:, point].tolist())
                figures += [_optional(estimate.mean), _optional(estimate.half_width)]
            by = int(result.beaten.by[point])
            beaten = [str(by) if by >= 0 else ""]
            beaten += [number_text(float(one)) if by >= 0 else "" for one in result.beaten.margin[point]]
            words = [value_text(value) for value in values]
            yield [str(point), *words, *figures, str(int(result.is_front[point])), *beaten]

    return header, rows()


def _front_table(result: SweepResult) -> tuple[list[str], Iterator[list[str]]]:
    """The settings that no other beats, by their first aim, with the outcomes that need a replay."""
    header = ["point", *result.plan.keys, *OUTCOMES, *(f"{name}_half_width" for name in OUTCOMES)]
    means = result.means
    points = np.flatnonzero(result.is_front)
    order = points[np.argsort(result.aims[0].sign * means[result.aims[0].outcome][points], kind="stable")]

    def rows() -> Iterator[list[str]]:
        for point in order.tolist():
            replayed = result.replayed.get(point, {})
            estimates = []
            for name in OUTCOMES:
                values: FloatColumn | None = (
                    replayed.get(name) if name in _REPLAYED else result.outcomes[name][:, point]
                )
                estimates.append(None if values is None else estimate_mean(values.tolist()))
            words = [value_text(value) for value in result.plan.points[point]]
            yield [
                str(point),
                *words,
                *(_optional(None if one is None else one.mean) for one in estimates),
                *(_optional(None if one is None else one.half_width) for one in estimates),
            ]

    return header, rows()


def _hour_rows(result: SweepResult) -> Iterator[list[str]]:
    """Settings on the front by hour of the day: 6 is 06:00 to 07:00 of every day of the run."""
    for point, table in result.by_hour.items():
        words = [value_text(value) for value in result.plan.points[point]]
        means = [table[name].mean(axis=0) for name in HOURLY_OUTCOMES]
        for hour in range(HOURS):
            yield [str(point), *words, str(hour), *(number_text(float(column[hour])) for column in means)]


def _optional(value: float | None) -> str:
    """A number's text, nothing where it is not known."""
    return "" if value is None else number_text(float(value))


def sweep_json(result: SweepResult) -> dict[str, Any]:
    """Return what was swept and what the front is like, as plain JSON values."""
    scenario = result.scenario
    return {
        "format": 1,
        "title": scenario.title,
        "source": "sweep",
        "varied": list(result.plan.keys),
        "points": len(result.plan),
        "sites_simulated": len(result.plan.sites),
        "replications": len(result.replications),
        "replication_numbers": list(result.replications),
        "confidence": CONFIDENCE,
        "aims": [{"outcome": aim.outcome, "is_maximised": aim.is_maximised} for aim in result.aims],
        "front": front_facts(result),
        **sweep_figures(result),
        "seed": scenario.seed,
        "scenario_hash": content_hash(scenario.content()),
        "versions": versions(),
        "notices": list(result.notices),
    }
