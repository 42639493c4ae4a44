"""A recommendation in words: what was asked, what was found, how sure, which limits hold.

Comes in: a `Recommendation`.  Goes out: a `Page`.  Before: `study/decide/recommend`, `show/words/sections`;
after: `show/folders/recommend`, `commands/decide`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from sim.floor.layout import lay_out
from sim.outcome.names import OUTCOMES
from sim.scenario.schema import Settings
from sim.show.words.amounts import count_of, digits, duration, interval, listing, moment, percent, plain
from sim.show.words.sections import Page, Section
from sim.study.decide.candidates import egress_aisles
from sim.study.decide.recommend import EQUAL, KINDS, Recommendation, Saving, limit_text
from sim.study.decide.trial import Verdict
from sim.study.replications.precision import estimate_mean
from sim.study.replications.stopping import MOST_FORECAST

__all__ = ["plan_words", "recommendation_page"]

_WORDS = {
    "current": "as the scenario stands",
    "single": "one setting",
    "groups": "by group",
    "aisles": "by aisle",
}
_MOST_GROUPS = 12


def plan_words(name: str) -> str:
    """Return a plan's name for people."""
    kind = name.removesuffix(EQUAL)
    return _WORDS[kind] + (", equal service" if kind != name else "")


def recommendation_page(found: Recommendation) -> Page:
    """Return the whole answer."""
    scenario = found.wish.scenario
    fitted, tried = len(found.fitted_to), len(found.tried_on)
    return Page(
        title=scenario.title,
        subtitle=(
            f"Recommended settings: {duration(scenario.duration_s)} from "
            f"{moment(scenario.start_datetime)}, fitted "
            f"to {count_of(fitted, 'replication')}, tried on {tried} others"
        ),
        sections=(
            _asked(found),
            _plans(found),
            _savings(found),
            _limits(found),
            _stresses(found),
            *_settings(found),
        ),
        notices=(*found.impossible.values(), *_passed(found), *found.notices),
        pictures=(
            ("tradeoff", "Every single setting on the replications fitted to, and the plans on fresh ones."),
            ("value", "What each plan uses, with both kinds of doubt."),
            ("aisles", "The timeout of each aisle over its visits an hour, beside the single setting."),
        ),
    )


def _passed(found: Recommendation) -> Iterator[str]:
    """Warn of plans that exceed a limit on traffic they were not fitted to."""
    label = found.trials[0].stress.label
    for name in KINDS:
        if name in found.plans:
            passed = [limit_text(one.limit) for one in found.verdicts[name][label] if not one.is_met]
            if passed:
                yield (
                    f"On fresh traffic the plan {plan_words(name)} exceeds {listing(passed)}: it was "
                    "fitted to "
                    "the limit. Fit to more replications, or ask for something to spare: --margin 0.1."
                )


def _asked(found: Recommendation) -> Section:
    """Aim, limits and candidates."""
    wish = found.wish
    rows = tuple(
        (limit_text(limit), f"at most {plain(limit.most)} {limit.measure.unit}".rstrip())
        for limit in wish.limits
    )
    offered = []
    for name in wish.offer.names:
        candidates = wish.offer.candidates[name]
        timeouts = [duration(one) for one in sorted({one.timeout_s for one in candidates})]
        levels = [percent(one) for one in sorted({one.unoccupied_level for one in candidates})]
        offered.append(f"{name}: {_choice('timeout', timeouts)}, {_choice('unoccupied level', levels)}.")
        table = wish.scenario.recommend
        if table is not None and table.occupied_lux is not None:
            offered[-1] += (
                f" Occupied level {percent(candidates[0].occupied_level)}: the lowest standard one that "
                f"gives {plain(table.occupied_lux)} lx in every aisle."
            )
    remarks = (*_margin_words(found), *offered, *_floor_words(found))
    return Section(f"Asked: least {wish.aim.name}, with", (), rows, remarks)


def _choice(what: str, values: Sequence[str]) -> str:
    """Count what may be chosen and say from where to where."""
    if len(values) == 1:
        return f"{what} {values[0]}"
    return f"{count_of(len(values), what)} from {values[0]} to {values[-1]}"


def _margin_words(found: Recommendation) -> Iterator[str]:
    """What plans had to have to spare."""
    margin = max(limit.margin for limit in found.wish.limits)
    if margin > 0.0:
        yield f"Where plans were fitted, {percent(margin)} of each limit was kept to spare."


def _floor_words(found: Recommendation) -> Iterator[str]:
    """The floor that was stated: depth is always charged."""
    table = found.wish.scenario.recommend
    assert table is not None
    for stated, unit in ((table.unoccupied_floor_share, "of full light"), (table.unoccupied_floor_lux, "lx")):
        if isinstance(stated, dict):
            words = ", ".join(f"{name} {plain(value)}" for name, value in stated.items())
        elif stated is not None:
            words = plain(stated)
        else:
            continue
        yield f"Floor of the unoccupied level, as stated: {words} {unit}."
    declared = egress_aisles(found.wish.scenario, table)
    if declared:
        floors = (
            (table.egress_floor_share, "of full light"),
            (table.egress_floor_lux, "lx"),
        )
        words = " and ".join(f"{plain(value)} {unit}" for value, unit in floors if value is not None)
        yield f"In the marked ways out ({listing(declared)}): {words}."


def _plans(found: Recommendation) -> Section:
    """What each plan uses, fitted and fresh."""
    outcome = found.wish.aim.outcome
    unit = OUTCOMES[outcome].unit
    rows = []
    for name in ("current", *found.plans):
        estimate = estimate_mean(found.trials[0].totals[name][outcome].tolist())
        plan = found.plans.get(name)
        fitted = "" if plan is None else digits(plan.cost, 4)
        gap = "" if plan is None else ("none" if plan.gap < 1e-9 else f"{percent(plan.gap, 2)}")
        groups = "" if plan is None else str(len(set(plan.combination)))
        rows.append((plan_words(name), groups, fitted, interval(estimate, unit), gap))
    return Section(
        f"{outcome} of a run",
        ("plan", "settings", "fitted", "on fresh traffic", "gap"),
        tuple(rows),
        (
            "Gap: no plan of that kind within the limits can have less by more than this, on the "
            "replications "
            "fitted to.",
            "A full replay of each plan agrees with the sums it was chosen by: "
            f"{_agreement(found.replay_error)}.",
        ),
    )


def _agreement(error: float) -> str:
    """How well two computations agree."""
    return "exactly" if error == 0.0 else f"to {error:.1g} of each figure"


def _savings(found: Recommendation) -> Section:
    """What plans save over others, with both kinds of doubt apart."""
    unit = OUTCOMES[found.wish.aim.outcome].unit
    rows = []
    for saving in found.savings:
        shown = "" if saving.difference.is_shown else _undecided(saving)
        rows.append(
            (
                f"{plan_words(saving.plan)} over {_over(saving.over)}",
                f"{interval(saving.difference.estimate, unit)} ({percent(saving.share, 2)})",
                f"{digits(saving.least)} to {digits(saving.most)}",
                shown,
            )
        )
    if not any(row[3] for row in rows):
        rows = [row[:3] for row in rows]  # type: ignore[misc]
    header = ("saved", "± simulation noise", "if the site differs", "")[: len(rows[0])] if rows else ()
    return Section(
        "Saved, paired on the same trucks, fresh traffic",
        header,
        tuple(rows),
        (
            "Simulation noise: 95 % interval over replications. If the site differs: means when "
            "volume, skew and "
            "handling are each 30 % less or more than stated.",
            "At equal service: no more dim or shortfall truck-seconds, dim entries, false-offs or "
            "switch-ups than "
            "the single setting, on the replications fitted to.",
        ),
    )


def _over(name: str) -> str:
    """The plan compared with, short."""
    return "today's" if name == "current" else plan_words(name)


def _undecided(saving: Saving) -> str:
    """Say that no difference is shown, and how much longer to look."""
    if saving.weeks_more is None:
        return "no difference"
    if saving.weeks_more == 0.0 or saving.weeks_more >= MOST_FORECAST:
        return "none shown"
    weeks = digits(saving.weeks_more, 2)
    return f"none shown; {weeks} {'week' if weeks == '1' else 'weeks'} more"


def _limits(found: Recommendation) -> Section:
    """Each limit on fresh traffic."""
    names = ("current", *(name for name in KINDS if name in found.plans))
    label = found.trials[0].stress.label
    rows = []
    for place, limit in enumerate(found.wish.limits):
        rows.append((f"{limit_text(limit)} <= {plain(limit.most)}", *([""] * len(names))))
        rows[-1] = (
            rows[-1][0],
            *(_verdict_words(found, found.verdicts[name][label][place]) for name in names),
        )
    return Section(
        "Limits on fresh traffic",
        ("limit", *(_short(name) for name in names)),
        tuple(rows),
        ("! the mean exceeds the limit; ? the interval reaches across it; zones and hours: the worst one.",),
    )


def _short(name: str) -> str:
    """A plan's name for a narrow column."""
    return {"current": "today's", "single": "one", "groups": "group", "aisles": "aisle"}[name]


def _verdict_words(found: Recommendation, verdict: Verdict) -> str:
    """A measure with its mark and place."""
    mark = (
        ""
        if verdict.is_met and verdict.is_sure
        else "?"
        if verdict.is_met
        else "!"
        if verdict.is_sure
        else "!?"
    )
    where = ""
    if verdict.where is not None:
        where = f" {_place(found, verdict)}"
    return f"{interval(verdict.estimate)}{mark}{where}"


def _place(found: Recommendation, verdict: Verdict) -> str:
    """Name the worst zone or hour."""
    assert verdict.where is not None
    if verdict.limit.scope == "hour":
        return f"at {verdict.where:02d}:00"
    return f"in {lay_out(found.wish.flat).zones[verdict.where]}"


def _stresses(found: Recommendation) -> Section:
    """Aim and exceeded limits where the site differs from what was stated."""
    outcome = found.wish.aim.outcome
    names = ("current", *(name for name in KINDS if name in found.plans))
    rows = []
    for trial in found.trials:
        cells = []
        for name in names:
            passed = sum(not verdict.is_met for verdict in found.verdicts[name][trial.stress.label])
            mean = float(trial.totals[name][outcome].mean())
            cells.append(digits(mean, 4) + (f" !{passed}" if passed else ""))
        rows.append((trial.stress.label, *cells))
    return Section(
        f"If the site differs: {outcome}, and how many limits are exceeded",
        ("", *(_short(name) for name in names)),
        tuple(rows),
        ("!n: so many of the limits are exceeded by the mean.",),
    )


def _settings(found: Recommendation) -> Iterator[Section]:
    """The settings of each plan, group by group."""
    names = [name for name, _ in found.wish.flat.places]
    starts = np.flatnonzero(np.diff(found.fit.zone_place, prepend=-1))
    rate = (found.fit.zone.visits / found.fit.zone.hours)[starts]
    for kind in KINDS:
        plan = found.plans.get(kind)
        if plan is None:
            continue
        alike: dict[int, list[int]] = {}
        for aisle, group in enumerate(plan.group_of.tolist()):
            alike.setdefault(plan.combination[group], []).append(aisle)
        ordered = sorted(alike.values(), key=lambda aisles: -float(rate[aisles].mean()))
        rows = []
        for aisles in ordered[:_MOST_GROUPS]:
            own = plan.settings_of(aisles[0])
            where = (
                "all aisles" if len(aisles) == len(names) else listing([names[aisle] for aisle in aisles], 4)
            )
            low, high = float(rate[aisles].min()), float(rate[aisles].max())
            visits = digits(low, 2) if len(aisles) == 1 else f"{digits(low, 2)} to {digits(high, 2)}"
            rows.append((where, visits, *(_settings_words(one) for one in own.values())))
        more = len(ordered) - len(rows)
        remarks = (f"and {more} more sets; see settings.csv.",) if more else ()
        yield Section(
            f"Settings, {plan_words(kind)} (timeout, unoccupied level)",
            ("aisles", "visits/h", *found.fit.names),
            tuple(rows),
            remarks,
        )


def _settings_words(settings: Settings) -> str:
    """Timeout and level in a few words."""
    return f"{duration(settings.timeout_s)}, {percent(settings.unoccupied_level)}"
