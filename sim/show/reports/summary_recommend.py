"""The first page of a recommendation's report, and the settings in force beside the recommended ones.

Comes in: a `Recommendation`.  Goes out: `Summary`, `Section`s.  Before: `study/decide/recommend`,
`show/words/recommend`, `show/reports/paper`; after: `show/folders/recommend`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sim.outcome.names import OUTCOMES
from sim.results import Estimate
from sim.scenario.schema import Scenario, Settings
from sim.show.reports.paper import Summary
from sim.show.words.amounts import count_of, digits, duration, interval, listing, percent
from sim.show.words.in_force import hours_by_name
from sim.show.words.recommend import plan_words
from sim.show.words.sections import Page, Section
from sim.study.decide.recommend import KINDS, Recommendation, Saving, limit_text
from sim.study.replications.precision import estimate_mean

__all__ = ["named_alike", "plan_origin", "recommend_summary", "recommended_plan", "settings_beside"]

_HEADS = {"current": "In force", "single": "One for all", "groups": "By group", "aisles": "By aisle"}
_SERVICE = ("dim_truck_s", "shortfall_truck_s", "dim_entries", "false_offs", "switch_ups")
_MOST_NAMED = 3


def recommended_plan(found: Recommendation) -> str:
    """Return the plan to lead with: the finest that saves more and keeps the limits on fresh traffic.

    It must be shown to save more than the single setting, which is the answer where none is.
    """
    finer = (name for name in reversed(KINDS) if name in found.plans)
    return next((name for name in finer if _is_better(found, name)), "single")


def _is_better(found: Recommendation, plan: str) -> bool:
    """Whether a plan keeps the limits on fresh traffic and is shown to save more than the single setting."""
    if plan == "single" or _exceeded(found, plan):
        return False
    more = _over_single(found, plan)
    return more is None or (more.difference.is_shown and (more.difference.estimate.mean or 0.0) > 0.0)


def _over_single(found: Recommendation, plan: str) -> Saving | None:
    """What a plan saves over one setting for all, None where there is no such pair."""
    return next((one for one in found.savings if (one.plan, one.over) == (plan, "single")), None)


def _kinds(found: Recommendation) -> list[str]:
    """Settings in force, then each kind of plan there is."""
    return ["current", *(name for name in KINDS if name in found.plans)]


def _totals(found: Recommendation, plan: str, outcome: str) -> list[float]:
    """An outcome in each fresh replication, as stated."""
    values: list[float] = found.trials[0].totals[plan][outcome].tolist()
    return values


def recommend_summary(found: Recommendation) -> Summary:
    """Return decision, saving, service, limits and how sure they are."""
    best = recommended_plan(found)
    answers = (
        ("Which settings?", _decision(found, best)),
        ("What do they save?", _saving(found, best)),
        ("What becomes of the light that trucks work in?", _service(found, best)),
        ("Are the limits kept?", _limits(found)),
        ("How sure is it?", _certainty(found)),
    )
    return Summary(answers, _figures(found))


def _decision(found: Recommendation, plan: str) -> str:
    """The recommended plan, and whether a simpler one does nearly as well."""
    kind = plan_words(plan).capitalize()
    text = f"{kind} ({plan}.toml), the least {found.wish.aim.name} within the limits."
    if plan == "single":
        text = f"{kind} for all (single.toml): {_one_line(found, 'single')}"
        if len(found.plans) > 1:
            text += " No plan that is finer is shown to save more within the limits."
    if _exceeded(found, plan):
        text += " On traffic that it was not fitted to it exceeds a limit; see below."
    over = _over_single(found, plan)
    if over is None:
        return text
    unit = OUTCOMES[found.wish.aim.outcome].unit.strip("-")
    size = f"{interval(over.difference.estimate, unit)} ({percent(over.share, 2)})"
    return (
        f"{text} One setting for all (single.toml) is simpler to enter and keep: "
        f"{_one_line(found, 'single')} The plan {plan_words(plan)} saves {size} more."
    )


def _one_line(found: Recommendation, name: str) -> str:
    """The settings of a plan with one set, by period."""
    own = found.plans[name].settings[0]
    words = [
        f"{period} timeout {duration(one.timeout_s)}, unoccupied level {percent(one.unoccupied_level)}"
        for period, one in list(own.items())[:_MOST_NAMED]
    ]
    more = len(own) - len(words)
    return "; ".join(words) + (f"; and {count_of(more, 'period')} more." if more else ".")


def _saving(found: Recommendation, best: str) -> str:
    """Against the settings in force, with both kinds of doubt."""
    outcome = found.wish.aim.outcome
    unit = OUTCOMES[outcome].unit.strip("-")
    one = next(one for one in found.savings if (one.plan, one.over) == (best, "current"))
    mean = one.difference.estimate.mean or 0.0
    size = interval(Estimate(abs(mean), one.difference.estimate.half_width), unit)
    run = duration(found.wish.scenario.duration_s)
    word = "less" if mean >= 0.0 else "more"
    shown = "" if one.difference.is_shown else " That is within chance: no difference is shown."
    behind = f" {unit}" if unit else ""
    return (
        f"In {run}, {size} ({percent(abs(one.share))}) {word} than the settings in force, on the same trucks "
        f"and on traffic that the plan was not fitted to.{shown} If volume, skew or handling differ by 30 % "
        f"from what was stated, the saving is from {digits(one.least)} to {digits(one.most)}{behind}."
    )


def plan_origin(found: Recommendation, name: str) -> str:
    """Return what a plan is and what it was compared with, in a line for its file."""
    unit = OUTCOMES[found.wish.aim.outcome].unit.strip("-")
    words = "; ".join(
        f"{interval(one.difference.estimate, unit)} ({percent(one.share, 2)}) less than "
        f"{'the settings in force' if one.over == 'current' else plan_words(one.over)}"
        for one in found.savings
        if one.plan == name
    )
    return f"Recommended settings, {plan_words(name)}: {words} in a run. report.html shows both sides."


def _service(found: Recommendation, best: str) -> str:
    """Dim truck-time and false-offs of both."""
    dim, off = (
        tuple(interval(estimate_mean(_totals(found, plan, name)), unit) for plan in ("current", best))
        for name, unit in (("dim_truck_s", "s"), ("false_offs", ""))
    )
    return (
        f"Trucks spend {dim[1]} below the occupied level, against {dim[0]} with the settings in force. The "
        "lights "
        f"go down on a truck that is still in the zone {off[1]} times, against {off[0]}."
    )


def _exceeded(found: Recommendation, plan: str) -> list[str]:
    """Limits that a plan's mean exceeds on fresh traffic."""
    verdicts = found.verdicts[plan][found.trials[0].stress.label]
    return [limit_text(one.limit) for one in verdicts if not one.is_met]


def _limits(found: Recommendation) -> str:
    """Which limits each plan keeps on fresh traffic; plans that are alike in it are named together."""
    alike: dict[str, list[str]] = {}
    for name in _kinds(found):
        alike.setdefault(listing(_exceeded(found, name)), []).append(_HEADS[name].lower())
    count = len(found.wish.limits)
    kept = "it" if count == 1 else f"all {count}"
    words = []
    for passed, plans in alike.items():
        verb = ("keeps", "exceeds") if len(plans) == 1 else ("keep", "exceed")
        words.append(f"{listing(plans)} {f'{verb[0]} {kept}' if passed == 'none' else f'{verb[1]} {passed}'}")
    spare = ""
    if any(_exceeded(found, name) for name in KINDS if name in found.plans):
        spare = " A margin keeps something to spare where plans are fitted: --margin 0.1."
    return f"{count_of(count, 'limit')}, on fresh traffic: {'; '.join(words)}.{spare}"


def _certainty(found: Recommendation) -> str:
    """What the interval holds, and what it does not."""
    return (
        f"Fitted to {count_of(len(found.fitted_to), 'replication')}, tried on {len(found.tried_on)} others "
        "of "
        f"{duration(found.wish.scenario.duration_s)}. Behind ± stands the half-width of the 95 % interval: "
        "chance "
        "in the simulation alone. The range if the site differs is the larger doubt as a rule."
    )


def _figures(found: Recommendation) -> Section:
    """Energy, saving and service of each kind of plan beside the settings in force."""
    kinds = _kinds(found)
    rows = [("energy_kwh", *(_figure(found, plan, "energy_kwh") for plan in kinds))]
    shares = (_saved_share(found, plan) for plan in kinds[1:])
    rows.append(("saved against the settings in force", "", *shares))
    rows.append(("saved_share", *(_figure(found, plan, "saved_share") for plan in kinds)))
    rows += [(name, *(_figure(found, plan, name) for plan in kinds)) for name in _SERVICE]
    return Section(
        f"In force and recommended: a run of {duration(found.wish.scenario.duration_s)}",
        ("", *(_HEADS[plan] for plan in kinds)),
        tuple(rows),
    )


def _figure(found: Recommendation, plan: str, outcome: str) -> str:
    """One outcome with its interval."""
    estimate = estimate_mean(_totals(found, plan, outcome))
    if outcome.endswith("_share"):
        return interval(estimate, "%", 100.0)
    return interval(estimate, OUTCOMES[outcome].unit.strip("-"))


def _saved_share(found: Recommendation, plan: str) -> str:
    """Energy less than the settings in force, share with its interval."""
    here, today = _totals(found, plan, "energy_kwh"), _totals(found, "current", "energy_kwh")
    shares = [1.0 - one / base if base else 0.0 for one, base in zip(here, today, strict=True)]
    return interval(estimate_mean(shares), "%", 100.0)


def named_alike(page: Page) -> Page:
    """Return the page with its plans called alike in every table."""
    heads = {"today's": "In force", "one": "One for all", "group": "By group", "aisle": "By aisle"}
    return replace(
        page,
        sections=tuple(
            replace(section, header=tuple(heads.get(word, word) for word in section.header))
            for section in page.sections
        ),
    )


def settings_beside(found: Recommendation) -> tuple[Section, ...]:
    """Return, period by period, the settings in force beside those of each plan."""
    scenario = found.wish.scenario
    hours = hours_by_name(scenario)
    kinds = _kinds(found)
    sections: list[Section] = []
    for period in found.fit.names:
        here = {plan: _of_period(found, plan, period) for plan in kinds}
        rows = [("different settings", *(str(len(set(here[plan]))) for plan in kinds))]
        rows += [
            (label, *(_range([one[place] for one in here[plan]]) for plan in kinds))
            for place, label in enumerate(_ROWS)
            if any(one[place] for plan in kinds for one in here[plan])
        ]
        length = hours.get(period)
        when = f", {digits(length)} h a week" if length else ""
        remark = () if sections else (
            "Hold in the sensor and timeout in the controller run one after the other: the light stays high "
            "for "
            "their sum. Where settings differ by aisle, from the least to the greatest; each zone's own "
            "values are "
            "in settings.csv, each plan as a scenario in its .toml file.",
        )
        sections.append(
            Section(
                f"Settings in force and recommended: {period}{when}",
                ("", *(_HEADS[plan] for plan in kinds)), tuple(rows), remark,
            )
        )
    return tuple(sections)


_ROWS = (
    "hold", "timeout", "sum", "occupied level", "unoccupied level", "second level", "fade-up", "fade-down",
)


def _of_period(found: Recommendation, plan: str, period: str) -> list[tuple[object, ...]]:
    """Sort key and words of each place's settings in a period."""
    scenario: Scenario = found.scenarios[plan]
    rows: list[tuple[object, ...]] = []
    for name in scenario.lit_names:
        settings, sensors = scenario.settings_of(name)[period], scenario.sensors_of(name)
        rows.append(_cells(settings, sensors.hold_s))
    return rows


def _cells(settings: Settings, hold_s: float) -> tuple[object, ...]:
    """The rows of one place's settings: value to sort by, and words."""
    second: tuple[float, str] | None = None
    if settings.second_delay_s is not None and settings.second_level is not None:
        words = f"{percent(settings.second_level)} after {duration(settings.second_delay_s)} more"
        second = (settings.second_level, words)
    return (
        (hold_s, duration(hold_s)),
        (settings.timeout_s, duration(settings.timeout_s)),
        (hold_s + settings.timeout_s, duration(hold_s + settings.timeout_s)),
        (settings.occupied_level, percent(settings.occupied_level)),
        (settings.unoccupied_level, percent(settings.unoccupied_level)),
        second,
        (settings.fade_up_s, duration(settings.fade_up_s)),
        (settings.fade_down_s, duration(settings.fade_down_s)),
    )


def _range(cells: Sequence[object]) -> str:
    """From the least to the greatest in words, "none" where there is nothing."""
    known = sorted({cell for cell in cells if isinstance(cell, tuple)})
    if not known:
        return "none"
    words = list(dict.fromkeys((known[0][1], known[-1][1])))
    if len(words) == 2 and all(word.endswith(" %") for word in words):
        words[0] = words[0].removesuffix(" %")
    return ("" if None not in cells else "in some: ") + " to ".join(words)
