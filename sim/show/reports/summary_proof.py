"""The first page of a verification's, a fit's and a worksheet's report.

Comes in: a `Verification`; a `SiteFit` with its log and `Goodness`; a `Worksheet`.  Goes out: `Summary`.
Before: `verification/*`, `study/from_logs/goodness`, `show/reports/paper`; after: `show/folders/verify`,
`show/folders/fit`, `show/folders/worksheet`.
"""

from __future__ import annotations

import math

import numpy as np

from sim.results import Estimate
from sim.show.reports.paper import Summary
from sim.show.words.amounts import count_of, digits, duration, interval, listing, percent
from sim.show.words.sections import Section
from sim.show.words.verify import all_series
from sim.show.words.worksheet import BASE_WORDS
from sim.study.from_logs.fit import SiteFit
from sim.study.from_logs.goodness import Goodness
from sim.study.from_logs.log import SiteLog
from sim.verification.agree import LIMITS, Agreement
from sim.verification.verify import Series, Verification
from sim.verification.worksheet import Worksheet

__all__ = ["fit_summary", "verify_summary_page", "worksheet_summary"]

_STEPS = {"month": "by month", "hour": "by hour", "day": "by day"}
_CLOSE = 0.1


def verify_summary_page(found: Verification, confidence: float) -> Summary:
    """Return what the meter shows: agreement, saving, what does not fit."""
    main = found.main
    judged = next(
        (
            one
            for step in _STEPS
            for one in main.agreements
            if one.step == step and one.count > 1 and LIMITS[step]
        ),
        None,
    )
    metered = float(np.nansum(main.metered))
    agreement = (
        f"{main.circuit.name} used {digits(metered)} kWh over the hours known; the simulation predicts "
        f"{interval(main.predicted_kwh, 'kWh')}. {_judged(judged)}"
    )
    odd = len(found.days) + len(found.patterns)
    misfit = "Nothing: each day and all quiet and busy hours lie within chance."
    if odd:
        named = [*(one.circuit for one in found.patterns), *(one.circuit for one in found.days)]
        parts = ((len(found.days), "day"), (len(found.patterns), "pattern of the whole period"))
        counted = " and ".join(count_of(number, name) for number, name in parts if number)
        misfit = (
            f"{counted[:1].upper()}{counted[1:]}, in {listing(list(dict.fromkeys(named)), 4)}. Each stands "
            "with the question to ask under What does not fit."
        )
    answers = (
        ("Does the meter agree with the prediction?", agreement),
        ("What is saved, by the meter?", _metered(main, confidence)),
        ("What does not fit?", misfit),
        (
            "How sure is it?",
            f"The prediction is the mean of {count_of(found.replications, 'replication')} of "
            f"{count_of(found.weeks, 'week')}; its ± is chance in the simulation (95 %). The saving's ± is "
            "that of "
            f"the meters' days at {percent(confidence)} confidence. Neither says what would have been used "
            "on the "
            "very same days.",
        ),
    )
    return Summary(answers, _circuits(found, confidence))


def _judged(agreement: Agreement | None) -> str:
    """NMBE and CV(RMSE) beside their limits."""
    if agreement is None:
        return "There are too few hours or months for NMBE and CV(RMSE)."
    if math.isnan(agreement.bias):
        return "Nothing was metered: NMBE and CV(RMSE), which divide by the mean metered, are not known."
    limits = []
    for limit in LIMITS[agreement.step]:
        said = {True: "meets", False: "does not meet", None: "not known beside"}[agreement.meets(limit)]
        limits.append(
            f"{said} the numeric limits of {percent(limit.bias)} and {percent(limit.spread)} "
            f"({limit.source.partition(',')[0]})"
        )
    return (
        f"{_STEPS[agreement.step].capitalize()}, NMBE is {percent(agreement.bias)} and CV(RMSE) "
        f"{percent(agreement.spread)}, which {' and '.join(limits)}."
    )


def _metered(main: Series, confidence: float) -> str:
    """The metered saving of the series that speaks for the site."""
    saving = main.saving
    if saving is None:
        return "Not known: no baseline was metered. Give --baseline a file or a period from before."
    half = saving.half_width_kwh(confidence)
    text = (
        f"{interval(Estimate(saving.kwh, half), 'kWh')} in the reporting period's whole days"
        + (f", {percent(saving.kwh / saving.baseline_kwh)} of the baseline" if saving.baseline_kwh else "")
        + "."
    )
    if main.kind != "measured":
        return f"{text} The column is calculated and not metered, so that it proves nothing."
    sure = "below" if saving.is_sure_enough else "not below"
    return f"{text} Its uncertainty at 68 % confidence is {sure} half of it, which is what FEMP asks."


def _circuits(found: Verification, confidence: float) -> Section:
    """Every circuit in a row."""
    rows = []
    for one in all_series(found):
        saving = one.saving
        saved = "no baseline"
        if saving is not None:
            saved = interval(Estimate(saving.kwh, saving.half_width_kwh(confidence)), "kWh")
        rows.append(
            (one.circuit.name, f"{digits(float(np.nansum(one.metered)))} kWh",
             interval(one.predicted_kwh, "kWh"), saved)
        )
    shown = rows[:10]
    more = (f"{len(rows) - 10} more circuits stand below.",) if len(rows) > 10 else ()
    return Section("Circuits", ("circuit", "Metered", "Predicted", "Saved kWh"), tuple(shown), more)


def fit_summary(fit: SiteFit, log: SiteLog, goodness: Goodness) -> Summary:
    """Return whether the fitted scenario may stand for the log."""
    observed = float(log.grid.observed_h.sum())
    measured = sum(one.visits for one in goodness.aisles)
    simulated = sum(one.simulated_visits for one in goodness.aisles)
    gaps = goodness.tests[0]
    far = [gaps.statistic > _CLOSE, bool(measured) and abs(simulated / measured - 1.0) > _CLOSE]
    decision = (
        "Take it with care: it differs from the log in what matters; see What to know first. For today's "
        "traffic "
        "replay the log itself."
        if any(far)
        else "It repeats the log's traffic closely enough for what-ifs: no more than a tenth apart in visits "
        "and in the lengths of the gaps."
    )
    answers = (
        ("May the fitted scenario stand for the log?", decision),
        (
            "What was fitted?",
            f"{count_of(float(log.events.sum()), 'visit')} in {duration(observed * 3600.0)} observed gave "
            "rates by "
            f"hour of the week, shares of the aisles and stays. scenario.toml runs as it is: aislewake run.",
        ),
        (
            "How sure is it?",
            f"Against means of {count_of(goodness.replications, 'replication')}. The figures come from the "
            "same log, "
            "so a good fit is no proof: a log of other weeks would be. The intervals of shares and times are "
            "those "
            "of the log's counts (95 %).",
        ),
    )
    # what the whole site did
    occupied = [float(np.mean([getattr(one, key) for one in goodness.aisles]))
                for key in ("occupied_share", "simulated_occupied_share")]
    rows = [
        ("visits", digits(measured), digits(simulated)),
        ("occupied share of an aisle, mean", *(percent(one) for one in occupied)),
    ]
    for label, column in (("median gap between visits", ("gap_p50_s", "simulated_gap_p50_s")),):
        values = [np.array([getattr(one, key) for one in goodness.aisles]) for key in column]
        if not any(np.isnan(one).all() for one in values):
            rows.append((f"{label}, median aisle", *(duration(float(np.nanmedian(one))) for one in values)))
    if not math.isnan(gaps.statistic):
        rows.append(("gaps: largest distance of the curves", percent(gaps.statistic, 2), ""))
    table = Section("The site in the log and simulated", ("", "Log", "Fitted scenario"), tuple(rows))
    return Summary(answers, table)


def worksheet_summary(sheet: Worksheet) -> Summary:
    """Return what counts, against what, and beside which agreed number."""
    counted = sheet.counted_kwh
    floor = "the code minimum" if sheet.forced_kwh is not None else (
        "always on" if sheet.lamps_kwh is None else "new lamps in today's hours"
    )
    claim = f"{interval(counted, 'kWh')} a year by controls, against {floor}."
    if sheet.lamps_kwh is not None:
        claim += f" New lamps are a measure of their own: {interval(sheet.lamps_kwh, 'kWh')} a year."
    if sheet.lifetime_kwh is not None:
        claim += f" Over the measure's life {interval(sheet.lifetime_kwh, 'kWh')}."
    struck = "Nothing: no code is said to apply."
    if sheet.forced_kwh is not None:
        struck = (
            f"{interval(sheet.forced_kwh, 'kWh')} a year, struck out: a code's least control forces it "
            "anyway "
            "(half the power 20 minutes after the last motion)."
        )
    deemed = sheet.deemed[0]
    over = "more" if deemed.over >= 0.0 else "less"
    answers = (
        ("What counts?", claim),
        ("What does not count?", struck),
        (
            "What would a deemed factor say?",
            f"{deemed.name.capitalize()}, {percent(deemed.factor)}: {digits(deemed.kwh)} kWh a year, "
            f"{digits(abs(deemed.over))} kWh {over} than the controls save here. The programme decides which "
            "it takes.",
        ),
        (
            "How sure is it?",
            f"{_how(sheet)} laid over {sheet.year}. The ± is chance in the simulation (95 %). After "
            "commissioning a "
            "meter shows the saving: aislewake verify.",
        ),
    )
    rows = [
        (f"saved in a year against {BASE_WORDS[base.name]}", interval(base.saved_kwh, "kWh"),
         "struck out in part" if base.is_struck else "")
        for base in sheet.bases
    ]
    rows.append(("energy of a year as proposed", interval(sheet.kwh, "kWh"), ""))
    rows.append(("connected load as proposed", f"{digits(sheet.connected_kw)} kW", ""))
    return Summary(answers, Section("A year", (), tuple(rows)))


def _how(sheet: Worksheet) -> str:
    """What the year is made of."""
    if sheet.source == "replay":
        return f"A replayed log of {count_of(sheet.weeks, 'week')},"
    return f"Means of {count_of(sheet.replications, 'replication')} of {count_of(sheet.weeks, 'week')},"
