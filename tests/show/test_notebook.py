"""What results show of themselves in a notebook: small tables, means with half-widths, every text escaped.

The HTML is parsed; figures are compared with those that the result holds, to half a unit of the last digit
that is shown.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import replace
from html.parser import HTMLParser
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from sim.outcome.names import HEADLINES, OUTCOMES
from sim.results import Estimate
from sim.scenario.schema import Scenario
from sim.study.batch.run import BatchProgress
from sim.study.compare import compare, from_scenario
from sim.study.decide.recommend import recommend
from sim.study.decide.wish import make_wish
from sim.study.from_logs.figures import Figure
from sim.study.from_logs.fit import SiteFit
from sim.study.inputs import parse_inputs
from sim.study.sensitivity import Indices, tornado
from sim.study.sweeping.plan import make_plan
from sim.study.sweeping.sweep import sweep
from sim.study.sweeping.vary import parse_varied
from sim.verification.option_b import Saving
from sim.verification.verify import Verification
from sim.verification.worksheet import Base, Worksheet
from tests.show.made_results import make_result, make_scenario
from tests.study.decide_site import wishing_site

HOSTILE = '<script>alert("x")</script> & <b>hall</b>'


class Table(HTMLParser):
    """Tags that were met, cells of the rows, and the text of each caption and remark."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: set[str] = set()
        self.rows: list[list[str]] = []
        self.said: list[str] = []
        self.cells = False
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attributes: Any) -> None:
        self.tags.add(tag)
        if tag == "tr":
            self.rows.append([])
        if tag in ("td", "th"):
            self.rows[-1].append("")
        elif tag in ("caption", "p"):
            self.said.append("")
        self.cells = tag in ("td", "th")

    def handle_data(self, data: str) -> None:
        if self.cells:
            self.rows[-1][-1] += data
        elif self.said and data.strip():
            self.said[-1] += data

    def handle_endtag(self, tag: str) -> None:
        if tag in ("td", "th"):
            self.cells = False


def shown(result: Any) -> Table:
    """The table of a result; nothing of its texts has become markup."""
    text = result._repr_html_()
    assert "<script" not in text
    assert "<b>" not in text
    table = Table(text)
    assert table.tags <= {"table", "caption", "thead", "tbody", "tr", "th", "td", "p"}
    assert len({len(row) for row in table.rows}) == 1, "every row has every column"
    assert len(table.rows) <= 20, "small"
    return table


def number(text: str) -> float:
    """A number as it is shown."""
    return float(text.replace(",", ""))


def last_place(*texts: str) -> float:
    """What one in the last digit shown is worth, the least of several; noughts at the end do not count."""

    def place(text: str) -> float:
        whole, _, part = text.replace(",", "").partition(".")
        noughts = len(whole) - len(whole.rstrip("0")) if whole.strip("0") else 0
        return 10.0 ** (-len(part) if part else noughts)

    return min(map(place, texts))


def check_pair(mean: str, half: str, estimate: Estimate) -> None:
    """Mean and half-width as shown: both end at one digit, and lie within half a unit of it."""
    assert estimate.mean is not None
    assert estimate.half_width is not None
    most = 0.5 * last_place(mean, half) + 1e-9 * abs(estimate.mean)
    assert abs(number(mean) - estimate.mean) <= most
    assert abs(number(half) - estimate.half_width) <= most


def check_cell(cell: str, values: Sequence[float]) -> None:
    """A mean with its half-width of 95 % by Student's t in one cell, perhaps with a unit behind."""
    mean, half = cell.split(" ± ")
    half = half.split()[0]
    own = np.asarray(values)
    t = float(stats.t.ppf(0.975, len(own) - 1))
    check_pair(mean, half, Estimate(float(own.mean()), t * float(own.std(ddof=1)) / math.sqrt(len(own))))


def hostile(scenario: Scenario) -> Scenario:
    """The same with a title full of markup."""
    return scenario.model_copy(update={"title": HOSTILE})


def test_a_run() -> None:
    result = make_result(hostile(make_scenario()), notices=(HOSTILE,))
    table = shown(result)
    assert table.said[0] == HOSTILE
    assert HOSTILE in table.said[1:]
    assert table.rows[0] == ["", "mean", "±", "unit"]
    assert [row[0] for row in table.rows[1:]] == list(HEADLINES)
    for name, mean, half, unit in table.rows[1:]:
        check_pair(mean, half, result.headline[name])
        assert unit == OUTCOMES[name].unit.replace("-", "")
    for name, mean, half, _ in table.rows[1:]:
        spoilt, place = result.headline[name], last_place(mean, half)
        with pytest.raises(AssertionError):
            check_pair(mean, half, replace(spoilt, mean=(spoilt.mean or 0.0) + 1.01 * place))
        with pytest.raises(AssertionError):
            check_pair(mean, half, replace(spoilt, half_width=(spoilt.half_width or 0.0) + 1.01 * place))
    blind = shown(make_result(make_scenario(), with_visits=False, factors=(1.0,)))
    assert {row[0]: row[1:3] for row in blind.rows}["dim_truck_s"] == ["not known", ""]


def small() -> Scenario:
    """The small site with limits and a title full of markup."""
    few = {"timeouts_s": [120.0, 600.0], "levels": [0.2]}
    return hostile(wishing_site({"switch_ups_per_zone_hour": 60.0}, **few))


def test_a_sweep() -> None:
    scenario = small()
    plan = make_plan(scenario, parse_varied(["day.timeout_s=60:960:60"], scenario), replications=2)
    found = sweep(scenario, plan, replications=2)
    table = shown(found)
    assert table.said[0] == HOSTILE
    assert table.rows[1][0] == "as it stands"
    assert 3 < len(table.rows) <= 14
    place = {f"day.timeout_s={point[0]}": row for row, point in enumerate(plan.points)}
    for label, *cells in table.rows[2:]:
        assert found.is_front[place[label]]
        for aim, cell in zip(found.aims, cells, strict=True):
            check_cell(cell, found.outcomes[aim.outcome][:, place[label]])
    with pytest.raises(AssertionError):
        check_cell(table.rows[2][1], found.outcomes[found.aims[0].outcome][:, place[table.rows[3][0]]])
    energy = [number(row[1].split(" ± ")[0]) for row in table.rows[2:]]
    assert energy == sorted(energy)


def test_a_recommendation_and_where_its_run_begins() -> None:
    found = recommend(make_wish(small()), replications=1, fresh=2)
    table = shown(found)
    assert [row[0] for row in table.rows[1:]] == ["current", *found.plans]
    row = next(row for row in table.rows if row[0] == "single")
    check_cell(row[1], found.trials[0].totals["single"]["energy_kwh"])
    with pytest.raises(AssertionError):
        check_cell(row[1], found.trials[0].totals["current"]["energy_kwh"])
    assert row[3] == "1 of 1"
    assert any("begins while a shift works" in notice for notice in found.notices)
    assert any("begins while a shift works" in one for one in table.said)
    quiet = small().content()
    quiet["shifts"] = [{**quiet["shifts"][0], "from": "06:00"}]
    quiet["work"] = quiet["work"][:1]
    found = recommend(make_wish(Scenario.model_validate(quiet)), replications=1, fresh=2)
    assert not any("begins while a shift works" in notice for notice in found.notices), "no shift before it"


def test_a_comparison_and_a_tornado() -> None:
    scenario = small()
    settings = scenario.lighting.settings
    darker = {**settings, "day": settings["day"].model_copy(update={"unoccupied_level": 0.1})}
    lighting = scenario.lighting.model_copy(update={"settings": darker})
    other = scenario.model_copy(update={"lighting": lighting})
    both = [from_scenario(scenario, "<b>old</b>"), from_scenario(other, "new & dark")]
    found = compare(both, replications=2)
    table = shown(found)
    assert table.rows[0][1:] == ["<b>old</b>", "new & dark, difference"]
    row = next(row for row in table.rows if row[0].startswith("energy_kwh"))
    mean, half = row[2].split(" ± ")
    check_pair(mean, half, found.pairs[0].differences["energy_kwh"].estimate)
    swings = tornado(scenario, parse_inputs(["volume=0.5:1.5"], scenario), "saved_share", replications=2)
    row = shown(swings).rows[1]
    assert row[:2] == ["volume", "0.5 to 1.5"]
    mean, half = row[2].split(" ± ")
    check_pair(mean, half, swings.bars[0].at_low.estimate)


def test_indices_fits_studies() -> None:
    column = np.array([0.5, 0.25])
    found = Indices("saved_share", "sobol", ("a<b>", "c"), column, 0.1 * column, 2 * column, 0.2 * column, 24)
    assert shown(found).rows[1:] == [
        ["a<b>", "0.500 ± 0.050", "1.00 ± 0.10"], ["c", "0.250 ± 0.025", "0.500 ± 0.050"],
    ]
    figures = tuple(Figure(f"work.{n}<i>", 10.0 + n, 9.0, 12.0 + n, "1/h", 1200) for n in range(30))
    figures = (replace(figures[0], low=float("nan"), high=float("nan")), *figures[1:])
    fit = SiteFit(hostile(make_scenario()), {}, figures, column, column, column > 0.0, (HOSTILE,))
    rows = shown(fit).rows
    assert rows[1] == ["work.0<i>", "10", "", "1/h", "1,200"]
    assert rows[2] == ["work.1<i>", "11", "9 to 13", "1/h", "1,200"]
    assert len(rows) == 13
    progress = BatchProgress(12_000, 5, 11_999, {(3, 1): HOSTILE})
    table = shown(progress)
    assert table.rows[1:] == [
        ["rows planned", "12,000"], ["there before", "5"], ["there now", "11,999"], ["failed", "1"],
    ]
    assert table.said[-1] == f"point 3, replication 1: {HOSTILE}"


def test_a_verification_and_a_worksheet() -> None:
    saving = Saving(
        baseline_kwh=300.0, reporting_kwh=200.0, standard_kwh=10.0, freedom=1e9, days=(9, 9), left_out=0,
        correlation=0.0,
    )
    series = SimpleNamespace(
        circuit=SimpleNamespace(name="<b>C1</b>"), kind="measured", metered=np.array([1.0, np.nan, 2.5]),
        predicted_kwh=Estimate(4.0, 0.5), saving=saving,
    )
    day = dt.date(2027, 3, 1)
    found = Verification(
        scenario=hostile(make_scenario()), where="a<b>.csv", interval_s=3600, period=(day, day),
        baseline_period=None, replications=2, weeks=2, series=(series,), whole=None, days=(), patterns=(),  # type: ignore[arg-type]
        warnings=(HOSTILE,), accuracy=0.0,
    )
    row = shown(found).rows[1]
    # two-sided 90 % of a normal: 1.645 standard errors
    assert row == ["<b>C1</b>", "measured", "3.50", "4.00 ± 0.50", "100 ± 16"]
    one = Estimate(50.0, 2.0)
    base = Base("code_minimum", 1.0, one, 1.0, 1.0, one, one, None, True)
    sheet = Worksheet(
        scenario=hostile(make_scenario()), source="run", replications=2, year=2027, weeks=1, connected_kw=1.0,
        controlled_kw=1.0, heat_factor=1.0, kwh=one, bases=(base,), measures=(), lamps_kwh=None,
        forced_kwh=None, counted_kwh=one, lifetime_kwh=None, deemed=(),
    )
    rows = shown(sheet).rows
    assert rows[2] == ["saved over code minimum, struck out", "50.0", "2.0", "kWh a year"]
