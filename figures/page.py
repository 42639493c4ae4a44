"""The page to mail: figures of its table, and its picture.

Comes in: the packaged pallet reserve as its file has it, and with a shorter timeout of the day.  Goes out: a
row a setting and figure of the page's table, means over ten runs with half-widths of 95 %, computed by Python
alone.  The picture is what Chromium shows; it is not kept where a figure in the page is another one.
(The curve in the picture is the page's own; `tests/page` holds the page against Python at any setting.)
"""

from __future__ import annotations

import math
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

import sim
from sim.results import Result
from sim.scenario.schema import Scenario
from sim.show.page.data import Source
from sim.show.page.write import render_page
from sim.show.page.year import year_weights
from sim.study.relight import with_settings
from sim.study.replications.precision import estimate_mean

FILE, NOW = "as in the file", "now"
VARIED = "day"
TIMEOUT_S = 120.0
PRICE = 0.21
"""Of a kWh, typed into the page."""

SIZE = {"width": 1180, "height": 940}
SETTLE_MS = 2500


def settings() -> dict[str, Scenario]:
    """Return the site under both settings."""
    scenario = sim.load()
    shorter = scenario.lighting.settings[VARIED].model_copy(update={"timeout_s": TIMEOUT_S})
    named = {**scenario.lighting.settings, VARIED: shorter}
    return {FILE: scenario, NOW: with_settings(scenario, named)}


def compute(results: Mapping[str, Result] | None = None) -> pd.DataFrame:
    """Return the figures of each setting."""
    results = {name: sim.run(one) for name, one in settings().items()} if results is None else results
    rows = []
    for name, result in results.items():
        for figure, values in _figures(result).items():
            estimate = estimate_mean(values)
            rows.append((name, figure, estimate.mean, estimate.half_width))
    return pd.DataFrame(rows, columns=["setting", "figure", "mean", "mean_half_width"])


def _figures(result: Result) -> dict[str, list[float]]:
    """Return the page's figures by run, by the page's names for them."""
    scenario, runs = result.scenario, result.outcomes
    weights = year_weights(sim.prepare_site(scenario))
    assert weights is not None
    days, zone_h = scenario.days, len(result.layout.zone_place) * 24.0 * scenario.days
    totals = [one.total for one in runs]
    year_kwh = [float(np.dot(weights["kwh"], one.quarter_kw)) for one in runs]
    return {
        "saved_share": [1.0 - one["energy_kwh"] / one["always_on_kwh"] for one in totals],
        "code_share": [1.0 - one["energy_kwh"] / one["code_minimum_kwh"] for one in totals],
        "energy_kwh_per_day": [one["energy_kwh"] / days for one in totals],
        "cost_per_year": [PRICE * kwh for kwh in year_kwh],
        "peak_kw": [one["peak_kw"] for one in totals],
        "dim_truck_s_per_day": [one["dim_truck_s"] / days for one in totals],
        "dim_entries_per_day": [one["dim_entries"] / days for one in totals],
        "false_offs_per_day": [one["false_offs"] / days for one in totals],
        "switch_ups_per_zone_hour": [one["switch_ups"] / zone_h for one in totals],
    }


def draw(table: pd.DataFrame) -> bytes:
    """Take the picture of the page's first screen.

    Raises
    ------
    ValueError : the page shows other figures than the table holds
    """
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    scenario = settings()[FILE]
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as play:
        path = Path(folder) / "what-if.html"
        text = render_page([Source("as planned", scenario)], range(scenario.replications))
        path.write_text(text, encoding="utf-8", newline="\n")
        browser = play.chromium.launch(executable_path=chromium, args=["--no-sandbox", "--disable-gpu"])
        page = browser.new_page(viewport=SIZE, device_scale_factor=1.25)
        page.goto(path.as_uri())
        page.wait_for_selector("html[data-state=open]")
        page.fill("#price", str(PRICE))
        page.keyboard.press("Enter")
        _compare(page, table, FILE)
        page.fill("#set-0-timeout_s-box", f"{TIMEOUT_S:.0f}")
        page.keyboard.press("Enter")
        page.evaluate("document.activeElement.blur()")
        page.evaluate("scrollTo(0, 0)")
        page.evaluate("document.querySelector('.side').scrollTop = 0")
        page.wait_for_timeout(SETTLE_MS)
        _compare(page, table, NOW)
        png: bytes = page.screenshot()
        browser.close()
    return png


def _compare(page: Any, table: pd.DataFrame, setting: str) -> None:
    """Hold what the page computes against the table."""
    shown = page.evaluate("aislewake.figures()")["rows"]
    for _, figure, mean, _ in table[table["setting"] == setting].itertuples(index=False, name=None):
        found = float(np.mean(shown[figure]))
        if not math.isclose(found, mean, rel_tol=1e-9, abs_tol=1e-9):
            raise ValueError(f"{figure} {setting}: the page shows {found}, the table holds {mean}")
