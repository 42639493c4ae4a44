"""The results folder of a recommendation.

Comes in: a `Recommendation`.  Goes out: settings.csv, a scenario per plan that loads back, plans.csv,
limits.csv, numeric_limits.csv, savings.csv, report.html, summary.json, figures.  Before:
`study/decide/recommend`, `show/folders/whole`; after: `commands/decide`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from sim.floor.layout import lay_out
from sim.outcome.names import OUTCOMES
from sim.provenance import content_hash, versions
from sim.results import Estimate
from sim.scenario.toml import dump_scenario
from sim.show.as_json.decide import recommendation_figures
from sim.show.folders.whole import MARK, number_text, put_text, write_folder, write_json, write_rows
from sim.show.notes.decide import RECOMMEND_NOTES
from sim.show.reports.paper import paper_html
from sim.show.reports.summary_recommend import (
    named_alike,
    plan_origin,
    recommend_summary,
    recommended_plan,
    settings_beside,
)
from sim.show.words.cautions import cautions
from sim.show.words.limits import limit_csv
from sim.show.words.limits_report import limit_section
from sim.show.words.recommend import recommendation_page
from sim.study.decide.recommend import Recommendation
from sim.study.replications.precision import CONFIDENCE, estimate_mean

__all__ = ["recommendation_json", "render_recommendation", "write_recommendation"]

_NUMERIC_LIMITS = "numeric_limits.csv"
"""Limits of codes beside the best plan; limits.csv holds those that were asked for."""


def write_recommendation(found: Recommendation, out: Path, *, force: bool = False) -> None:
    """Write the results folder, whole or not at all.

    Parameters
    ----------
    found : of `recommend`
    out : the folder to make
    force : replace an earlier results folder

    Raises
    ------
    InputError : the folder exists
    MachineError : the disk refused; what was there before is untouched
    """
    write_folder(out, lambda folder: _fill(found, folder), force=force)


def _fill(found: Recommendation, folder: Path) -> None:
    """Write every file."""
    from sim.show.figures.recommend import draw_recommend_figures

    write_json(folder / MARK, recommendation_json(found))
    put_text(folder / "scenario.toml", dump_scenario(found.wish.scenario))
    for name in found.plans:
        text = dump_scenario(found.scenarios[name])
        put_text(folder / f"{_slug(name)}.toml", f"# {plan_origin(found, name)}\n{text}")
    write_rows(
        folder / "settings.csv",
        (
            "plan",
            "zone",
            "period",
            "timeout_s",
            "occupied_level",
            "unoccupied_level",
            "fade_up_s",
            "fade_down_s",
            "second_delay_s",
            "second_level",
        ),
        _settings_rows(found),
    )
    write_rows(folder / "plans.csv", ("plan", "site", "outcome", "mean", "half_width"), _plan_rows(found))
    write_rows(
        folder / "limits.csv",
        ("plan", "site", "measure", "scope", "most", "mean", "half_width", "worst_at", "is_met"),
        _limit_rows(found),
    )
    write_rows(
        folder / "savings.csv",
        (
            "plan",
            "over",
            "mean",
            "half_width",
            "share",
            "least_if_site_differs",
            "most_if_site_differs",
            "weeks_more_to_decide",
        ),
        _saving_rows(found),
    )
    figures = folder / "figures"
    figures.mkdir()
    svgs = draw_recommend_figures(found, figures)
    site = found.scenarios[recommended_plan(found)]
    if site.limits is not None:
        write_rows(folder / _NUMERIC_LIMITS, *limit_csv(site))
    put_text(folder / "report.html", render_recommendation(found, svgs))


def render_recommendation(found: Recommendation, svgs: Mapping[str, str]) -> str:
    """Return the report as one self-contained page; pictures by name, absent ones are left out."""
    site, page = found.scenarios[recommended_plan(found)], recommendation_page(found)
    numeric = limit_section(site, _NUMERIC_LIMITS)
    more = () if numeric is None else (numeric,)
    page = named_alike(replace(page, sections=(*settings_beside(found), *page.sections, *more)))
    notes = cautions(site, lay_out(site))
    return paper_html(page, recommend_summary(found), RECOMMEND_NOTES, svgs, notes, found.wish.scenario)


def _slug(name: str) -> str:
    """A plan's name as a file name."""
    return name.replace(" ", "-")


def _settings_rows(found: Recommendation) -> Iterator[list[str]]:
    """What to enter: each plan, each zone, each name of the timetable."""
    layout = lay_out(found.wish.flat)
    for name, plan in found.plans.items():
        for zone, place in zip(layout.zones, layout.zone_place.tolist(), strict=True):
            for period, settings in plan.settings_of(place).items():
                yield [
                    _slug(name),
                    zone,
                    period,
                    number_text(settings.timeout_s),
                    number_text(settings.occupied_level),
                    number_text(settings.unoccupied_level),
                    number_text(settings.fade_up_s),
                    number_text(settings.fade_down_s),
                    _optional(settings.second_delay_s),
                    _optional(settings.second_level),
                ]


def _plan_rows(found: Recommendation) -> Iterator[list[str]]:
    """Every outcome of every plan, as stated and stressed, on fresh replications."""
    for name in found.scenarios:
        for trial in found.trials:
            for outcome in OUTCOMES:
                estimate = estimate_mean(trial.totals[name][outcome].tolist())
                yield [_slug(name), trial.stress.label, outcome, *_both(estimate)]


def _limit_rows(found: Recommendation) -> Iterator[list[str]]:
    """Every limit held against every plan, as stated and stressed."""
    layout = lay_out(found.wish.flat)
    for name, by_stress in found.verdicts.items():
        for label, verdicts in by_stress.items():
            for verdict in verdicts:
                limit = verdict.limit
                where = ""
                if verdict.where is not None:
                    where = (
                        layout.zones[verdict.where] if limit.scope == "zone" else f"{verdict.where:02d}:00"
                    )
                yield [
                    _slug(name),
                    label,
                    limit.measure.name,
                    limit.scope,
                    number_text(limit.most),
                    *_both(verdict.estimate),
                    where,
                    str(int(verdict.is_met)),
                ]


def _saving_rows(found: Recommendation) -> Iterator[list[str]]:
    """What plans save over each other, paired."""
    for saving in found.savings:
        yield [
            _slug(saving.plan),
            saving.over,
            *_both(saving.difference.estimate),
            number_text(saving.share),
            number_text(saving.least),
            number_text(saving.most),
            _optional(saving.weeks_more),
        ]


def _both(estimate: Estimate) -> tuple[str, str]:
    """Mean and half-width."""
    return _optional(estimate.mean), _optional(estimate.half_width)


def _optional(value: float | None) -> str:
    """A number's text, nothing where it is not known."""
    return "" if value is None else number_text(float(value))


def recommendation_json(found: Recommendation) -> dict[str, Any]:
    """Return what was asked and found, as plain JSON values."""
    wish = found.wish
    scenario = wish.scenario
    return {
        "format": 1,
        "title": scenario.title,
        "source": "recommend",
        "minimise": wish.aim.name,
        "limits": [
            {
                "measure": limit.measure.name,
                "scope": limit.scope,
                "most": limit.most,
                "margin": limit.margin,
                "unit": limit.measure.unit,
            }
            for limit in wish.limits
        ],
        "recommended_plan": _slug(recommended_plan(found)),
        "plans": {
            _slug(name): {
                "fitted": plan.cost,
                "bound": plan.bound,
                "gap": plan.gap,
                "choices": plan.considered,
                "file": f"{_slug(name)}.toml",
            }
            for name, plan in found.plans.items()
        },
        "impossible": dict(found.impossible),
        **recommendation_figures(found),
        "fitted_to_replications": list(found.fitted_to),
        "tried_on_replications": list(found.tried_on),
        "largest_difference_to_replay": found.replay_error,
        "confidence": CONFIDENCE,
        "seed": scenario.seed,
        "scenario_hash": content_hash(scenario.content()),
        "versions": versions(),
        "notices": list(found.notices),
        "caution": (
            "Planning estimate, not a lighting design, a code check, a safety approval or a guarantee. "
            "The authority having jurisdiction, licensed practice and the site's safety officer decide."
        ),
    }
