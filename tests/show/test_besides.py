"""What a scenario asks for besides: it stands in report, files and terminal, and only if it is asked for."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from sim.outcome.limit_rows import limit_rows
from sim.scenario.tables.money import SiteLoad, Store, Tariff
from sim.show.figures.draw import draw_pictures
from sim.show.figures.limits import MOST_ROWS, drawn_rows
from sim.show.figures.money import draw_duration
from sim.show.folders.run import write_results
from sim.show.words.besides import beside_sections, beside_summary, beside_tables
from sim.show.words.limits import limit_lines, met_text
from sim.show.words.limits_report import limit_section
from sim.study.replications.replicate import run
from sim.study.year.money import count_money
from tests.show.made_results import make_scenario

LIMITS = (
    "ASHRAE 90.1-2019", "IECC-2021", "Title 24", "EN 12464-1", "HSG38", "OSHA 1910.178(h)", "NFPA 101 egress",
)
TARIFF = {"currency": "EUR", "per_kwh": 0.2}


@pytest.fixture(scope="module")
def full_result():
    """A week with limits, a tariff, a proposal, carbon, offices."""
    return run(make_scenario(
        days=7.0, limits=list(LIMITS), tariff=TARIFF, demand_charges=[{"per_kw": 5.0}],
        carbon={"g_per_kwh": 348.0, "year": 2023, "kind": "average", "source": "EPA"},
        proposal={"cost_fixed": 4000.0, "years": 10, "discount_rate": 0.05, "rated_switchings": 50_000.0},
        statements={"egress_aisles": ["A01"], "manual_override": False},
        luminaires={"per_aisle": 10, "full_w": 100.0, "floor_lux_at_full": 150.0},
        offices=[{"name": "office", "kw": 2.0, "from": "07:00", "to": "18:00"}],
    ), replications=2)


@pytest.fixture(scope="module")
def plain_result():
    """The same site, asking for nothing."""
    return run(make_scenario(days=1.0), replications=2)


def test_nothing_is_added_unasked(plain_result) -> None:
    assert beside_sections(plain_result) == ()
    assert beside_summary(plain_result) == {}
    assert beside_tables(plain_result) == {}
    assert limit_lines(plain_result.scenario) == []
    drawn = {picture.name for picture in draw_pictures(plain_result)}
    assert not drawn & {"limits", "months", "duration"}


def test_every_section_stands_in_the_report(full_result, tmp_path: Path) -> None:
    out = tmp_path / "results"
    write_results(full_result, out)
    page = (out / "report.html").read_text(encoding="utf-8")
    titles = [section.title for section in beside_sections(full_result)]
    assert titles == [
        "Numeric limits", "A year", "What the proposal is worth", "The saving beside deemed factors",
        "Calculated by EN 15193, beside the simulation", "The whole site",
    ]
    for title in titles:
        assert re.search(rf"<h2[^>]*>{re.escape(title)}(<sup|</h2>)", page)
    assert {path.stem for path in (out / "figures").glob("*.svg")} >= {"limits", "months", "duration"}
    assert page.count("<img") == len(list((out / "figures").glob("*.svg")))


def test_files_hold_what_the_rows_say(full_result, tmp_path: Path) -> None:
    out = tmp_path / "results"
    write_results(full_result, out)
    rows = limit_rows(full_result.scenario)
    with (out / "limits.csv").open(encoding="utf-8", newline="") as file:
        read = list(csv.DictReader(file))
    assert len(read) == len(rows)
    for line, row in zip(read, rows, strict=True):
        assert line["met"] == {True: "yes", False: "no", None: ""}[row.is_met]
        assert line["source"] == row.source
        assert "authority having jurisdiction" in line["next"]
        assert (line["value"] == "") == (row.value is None)
    summary = json.loads((out / "summary.json").read_text(encoding="utf-8"))
    assert len(summary["limits"]) == len(rows)
    with (out / "costs.csv").open(encoding="utf-8", newline="") as file:
        months = list(csv.DictReader(file))
    assert [line["month"] for line in months] == [f"2027-{month:02d}" for month in range(1, 13)]
    total = sum(float(line["cost"]) for line in months)
    assert total == pytest.approx(summary["money"]["money"]["settings"]["mean"])
    assert total == pytest.approx(sum(float(line["energy"]) + float(line["demand"]) for line in months))


def test_check_lists_every_row_with_its_source(full_result) -> None:
    lines = limit_lines(full_result.scenario)
    text = " ".join(" ".join(lines).split())
    assert all(len(line) <= 80 for line in lines)
    for rule in LIMITS:
        assert f" {rule} " in text
    for row in limit_rows(full_result.scenario):
        assert f"{row.source}: {row.seen}]" in text


def test_words_of_the_verdict(full_result) -> None:
    words = {met_text(row) for row in limit_rows(full_result.scenario)}
    assert words == {"meets", "does not meet", "not known", "shown", "stated: no"}


def test_the_picture_shows_the_most_missed_first(full_result) -> None:
    """Numbers over their limits never fall from row to row; rows without a number are not drawn."""
    rows = drawn_rows(limit_rows(full_result.scenario))
    assert 0 < len(rows) <= MOST_ROWS
    ratios = [
        row.value / row.least if row.least is not None else row.most / max(row.value, 1e-9) for row in rows
    ]
    cut = np.clip(ratios, 1.0 / 8.0, 8.0)
    assert (np.diff(cut) >= -1e-12).all()
    assert [row.is_met for row in rows if row.is_met is False] == [
        row.is_met for row in rows[: sum(row.is_met is False for row in rows)]
    ]


def test_deemed_factors_are_for_lights_without_controls(full_result) -> None:
    """Against the code minimum, which is controlled already, they are left out."""
    [deemed] = [section for section in beside_sections(full_result) if "deemed" in section.title]
    # 30 luminaires of 100 W over 900 m2; NECB 2015 as coded: none up to 8.6 W/m2
    assert any("8.6 W/m2; these aisles have 3.33" in remark for remark in deemed.remarks)
    assert full_result.scenario.proposal is not None
    proposal = full_result.scenario.proposal.model_copy(update={"baseline": "code_minimum"})
    scenario = full_result.scenario.model_copy(update={"proposal": proposal})
    other = replace(full_result, scenario=scenario)
    assert not any("deemed" in section.title for section in beside_sections(other))
    assert beside_summary(other)["money"]["deemed_kwh"] is None


def test_the_report_lists_what_is_missed_first_and_numbers_its_sources(full_result) -> None:
    section = limit_section(full_result.scenario)
    assert section is not None
    words = [row[5] for row in section.rows]
    order = ["does not meet", "stated: no", "not known", "meets", "stated", "shown"]
    assert [order.index(word) for word in words] == sorted(order.index(word) for word in words)
    told = " ".join(section.remarks)
    for row in limit_rows(full_result.scenario):
        assert f"] {row.source}: {row.seen}." in told
    assert {row[6] for row in section.rows} == {
        text.partition(" ")[0] for text in section.remarks if text.startswith("[")
    }


def test_alike_numbers_are_drawn_as_one(full_result) -> None:
    """50 % of power in 20 min stands in three rule sets: one line with three names."""
    drawn = drawn_rows(limit_rows(full_result.scenario))
    delays = [row for row in drawn if row.what == "hold and timeout together"]
    assert {row.rule for row in delays} == {"ASHRAE 90.1-2019, IECC-2021, Title 24"}
    values = [(row.what, row.aisles, row.value, row.least, row.most) for row in drawn]
    assert len(set(values)) == len(values)


def test_energy_per_area(full_result) -> None:
    """LENI: three aisles of 60 m x 5 m; always on 30 luminaires of 100 W are 26 280 kWh over 900 m2."""
    rows = {row[0]: row for section in beside_sections(full_result) for row in section.rows}
    assert rows["The same per area of the aisles (LENI)"][1] == "29.2 ± 0 kWh/m2"
    cold = full_result.scenario.model_copy(update={"store": Store(cooling_cop=2.0)})
    other = beside_sections(replace(full_result, scenario=cold))
    assert not any("(LENI)" in row[0] for section in other for row in section.rows)


def test_fees_and_the_least_bill_are_told(full_result) -> None:
    """600 a month at the least, the lights alone: 12 x 600 where the bills are below it."""
    tariff = Tariff(currency="EUR", per_kwh=0.2, minimum_per_month=6000.0, fixed_per_month=10.0)
    scenario = full_result.scenario.model_copy(update={"tariff": tariff, "demand_charges": None})
    other = replace(full_result, scenario=scenario)
    rows = {row[0]: row for section in beside_sections(other) for row in section.rows}
    assert rows["Whole bill of the site's meter"][2] == "72,000 ± 0 EUR"
    assert "To the least bill of the month" in rows
    money = beside_summary(other)["money"]
    assert money["site_bill"]["settings"]["mean"] == pytest.approx(12 * 6000.0)
    header, lines = beside_tables(other)["costs.csv"]
    site = header.index("site_bill")
    assert [float(line[site]) for line in lines] == pytest.approx([6000.0] * 12)


def test_duration_of_the_lights_and_of_the_meter(full_result) -> None:
    """With a site load two panels; against another baseline a line for the lights always on."""
    load = (SiteLoad(kw=20.0),)
    proposal = full_result.scenario.proposal.model_copy(update={"baseline": "schedule_only"})
    scenario = full_result.scenario.model_copy(update={"site_load": load, "proposal": proposal})
    money = count_money(replace(full_result, scenario=scenario))
    assert money is not None
    assert money.meter_kw is not None
    assert (money.meter_kw[0] >= 20.0).all()
    assert money.meter_kw[0].sum() == pytest.approx(
        money.load_kw[0].sum() + 8760 * 4 * 20.0 + 4 * (money.parts[1].kwh)
    )
    figure = draw_duration(money)
    assert len(figure.axes) == 2
    plain = count_money(full_result)
    assert plain is not None
    assert len(draw_duration(replace(plain, meter_kw=None)).axes) == 1
