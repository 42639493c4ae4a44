"""Reports of every kind on small sites, as HTML without pictures; each is made once.

Comes in: nothing.  Goes out: pages by kind.  Used by the tests of what stands in them and how they print.
"""

from __future__ import annotations

import datetime as dt
import tempfile
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

from sim.floor.layout import lay_out
from sim.results import Estimate
from sim.scenario.schema import Scenario
from sim.show.folders.fit import render_fit
from sim.show.folders.handover import render_handover
from sim.show.folders.recommend import render_recommendation
from sim.show.folders.sensitivity import render_sensitivity
from sim.show.folders.sweep import render_sweep
from sim.show.folders.verify import render_verification
from sim.show.folders.worksheet import render_worksheet
from sim.show.handover.sheets import Handover, build_handover
from sim.show.reports.run import render_report
from sim.show.words.cautions import cautions
from sim.show.words.fit import fit_page
from sim.show.words.sensitivity import sensitivity_page
from sim.show.words.verify import verify_page
from sim.study import sensitivity
from sim.study.decide.recommend import Recommendation, recommend
from sim.study.decide.wish import make_wish
from sim.study.from_logs.fit import fit_site
from sim.study.from_logs.goodness import judge_fit
from sim.study.from_logs.log import read_site_log
from sim.study.inputs import parse_inputs
from sim.study.replications.replicate import run
from sim.study.step_in import Step, StepIn
from sim.study.sweeping.plan import make_plan
from sim.study.sweeping.sweep import sweep
from sim.study.sweeping.vary import parse_varied
from sim.verification.meter import Reading, read_meter
from sim.verification.verify import Verification, verify_meter
from sim.verification.worksheet import make_worksheet
from tests.show.made_results import make_scenario
from tests.study.decide_site import small_site, wishing_site
from tests.truth.test_truth_site_fit import made_site, write_visits
from tests.verification.made_meters import meter_text, other_weeks
from tests.verification.made_meters import small_site as metered_site

__all__ = ["KINDS", "advised", "pack_of", "paper", "verified"]


def _sweep() -> str:
    site = small_site()
    texts = ["day.timeout_s=60,300,600", "day.unoccupied_level=0.1,0.5"]
    plan = make_plan(site, parse_varied(texts, site), replications=2)
    return render_sweep(sweep(site, plan, replications=2), {})


@cache
def advised() -> Recommendation:
    """A recommendation in which the plans differ."""
    limits = {"shortfall_truck_s_per_visit": 0.3, "switch_ups_per_zone_hour": 3.0}
    return recommend(make_wish(wishing_site(limits)), replications=2, fresh=2)


def _sensitivity() -> str:
    site = small_site()
    inputs = parse_inputs(["volume=0.5:1.5", "sensors.miss=0:0.2"], site)
    found = sensitivity.tornado(site, inputs, "saved_share", replications=2)
    logs = sensitivity.log_size(site, 0.1, replications=2)
    return render_sensitivity(site, found, logs, sensitivity_page(site, found, logs, 2, ()), {})


@cache
def verified() -> Verification:
    """A meter of two weeks beside the site that it is on, the first of them the baseline."""
    site = metered_site(replications=3)
    weeks = other_weeks(2).reshape(2 * 168, 3)
    columns = {f"{name} [kWh measured]": weeks[:, at] for at, name in enumerate(site.aisle_names)}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "meter.csv"
        path.write_text(meter_text(columns), encoding="utf-8")
        meter = read_meter(path, Reading())
    first, last = dt.date(2027, 3, 1), dt.date(2027, 3, 14)
    before = meter.within(first, first + dt.timedelta(days=6))
    after = meter.within(first + dt.timedelta(days=7), last)
    return verify_meter(site, after, baseline=before, replications=3)


def _verify() -> str:
    return render_verification(verified(), verify_page(verified(), 0.9), 0.9, {})


def _fit() -> str:
    site = made_site()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "visits.csv"
        write_visits(site, 0, path)
        log = read_site_log(site, "visits", path)
    fit = fit_site(site.scenario, site.layout, log)
    goodness = judge_fit(fit, log, 2)
    return render_fit(fit, log, goodness, fit_page(fit, log, goodness), {})


def _worksheet() -> str:
    return render_worksheet(make_worksheet(run(make_scenario(days=7.0, replications=2))))


def pack_of(scenario: Scenario) -> Handover:
    """Return the sheets of a site, with a schedule of plain numbers."""
    steps = tuple(
        Step(week, dict.fromkeys(scenario.lighting.settings, timeout), Estimate(0.5 * week, 0.1), "A01", 0.25,
             Estimate(0.4, 0.01))
        for week, timeout in ((1, 1170.0), (2, 270.0))
    )
    return build_handover(scenario, StepIn(steps, 10.0, True, 5), settings_from="by hand", share=0.1)


def _handover() -> str:
    site = make_scenario(limits=("ASHRAE 90.1-2022", "OSHA 1910.178(h)"))
    return render_handover(pack_of(site), cautions(site, lay_out(site)))


def _run() -> str:
    tariff = {"currency": "EUR", "per_kwh": 0.2}
    site = make_scenario(days=7.0, replications=2, tariff=tariff, limits=("ASHRAE 90.1-2022",))
    return render_report(replace(run(site), notices=("One thing to know.",)), {})


KINDS: dict[str, Callable[[], str]] = {
    "run": _run,
    "sweep": _sweep,
    "recommend": lambda: render_recommendation(advised(), {}),
    "sensitivity": _sensitivity,
    "verify": _verify,
    "fit": _fit,
    "worksheet": _worksheet,
    "handover": _handover,
}


@cache
def paper(kind: str) -> str:
    """Return the page of a kind."""
    return KINDS[kind]()
