"""The sheet of numeric limits: every zone and period against numbers worked out here by hand."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from sim.floor.layout import lay_out
from sim.scenario.schema import Scenario
from sim.show.folders.handover import write_handover
from sim.show.handover.limits import USUAL_RULES, limits_sheet, numeric_rows
from tests.show.made_papers import pack_of
from tests.show.made_results import make_scenario

COLUMNS = (
    "zone", "period", "rule", "what", "value", "unit", "at_least", "at_most", "met", "source", "seen",
    "remark", "next", "decided_by", "scenario_hash",
)
LUX_PER_FOOTCANDLE = 1.0 / 0.09290304
"""One lumen per square foot; the foot is 0.3048 m."""


def site(**changes: object) -> Scenario:
    """Three aisles of two zones, ten luminaires of 100 W of which one never dims, 60 lx at full."""
    content: dict[str, object] = {
        "floor": {"aisles": 3, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0, "zones_per_aisle": 2},
        "luminaires": {
            "per_aisle": 10, "full_w": 100.0, "standby_w": 2.0, "fixed_on": 1, "floor_lux_at_full": 60.0,
        },
        "limits": ("ASHRAE 90.1-2022", "OSHA 1910.178(h)"),
    }
    return make_scenario(**(content | changes))


def expected() -> dict[tuple[str, str, str], tuple[float, str, str, str]]:
    """Value, limits and verdict by zone, period and unit, from the site's own numbers."""
    found = {}
    for zone in (f"A0{aisle}.{part}" for aisle in (1, 2, 3) for part in (1, 2)):
        for period, level, delay_s in (("day", 0.3, 30.0 + 270.0), ("night", 0.0, 30.0 + 60.0)):
            watts = 9 * (2.0 + 98.0 * level) + 1 * 100.0
            cut, lux = 1.0 - watts / 1000.0, 60.0 * level
            found[zone, period, "share"] = (cut, "0.5", "", "yes" if cut >= 0.5 else "no")
            found[zone, period, "s"] = (delay_s, "", "1200", "yes" if delay_s <= 1200.0 else "no")
            found[zone, period, "lx"] = (
                lux, repr(2.0 * LUX_PER_FOOTCANDLE), "", "yes" if lux >= 2.0 * LUX_PER_FOOTCANDLE else "no",
            )
    return found


def rows_of(scenario: Scenario, folder: Path) -> list[dict[str, str]]:
    """The file as a handover writes it."""
    out = folder / "pack"
    write_handover(pack_of(scenario), scenario, (), out, force=True)
    with (out / "numeric_limits.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def differences(rows: list[dict[str, str]]) -> list[tuple[str, str, str]]:
    """Return zone, period and unit of every row that is not as it was worked out."""
    wanted, odd = expected(), []
    for row in rows:
        key = (row["zone"], row["period"], row["unit"])
        if row["unit"] not in ("share", "s", "lx"):
            continue
        if key not in wanted:
            odd.append(key)  # a row that is not foreseen, or one twice
            continue
        value, least, most, met = wanted.pop(key)
        if (
            float(row["value"]) != pytest.approx(value, abs=1e-12)
            or (row["at_most"], row["met"]) != (most, met)
            or (least and float(row["at_least"]) != pytest.approx(float(least), rel=1e-6))
        ):
            odd.append(key)
    return [*odd, *wanted]


def test_every_zone_and_period_is_as_worked_out_by_hand(tmp_path: Path) -> None:
    rows = rows_of(site(), tmp_path)
    assert tuple(rows[0]) == COLUMNS
    assert differences(rows) == []
    assert differences(rows + rows[:1]) != []
    assert {row["next"] for row in rows} == {"ask the authority having jurisdiction"}
    sources = {row["source"] for row in rows if row["unit"] == "s"}
    assert sources == {"ANSI/ASHRAE/IES 90.1-2022, 9.4.1.1(g)"}
    assert all("public copy" in row["seen"] or "memory" in row["seen"] for row in rows)


@pytest.mark.parametrize(
    "spoiled",
    [
        {"unoccupied_level": 0.6, "timeout_s": 270.0},  # 60 % of light: less is cut, more is lit
        {"unoccupied_level": 0.3, "timeout_s": 1171.0},  # 20 min and a second with the hold
    ],
)
def test_another_level_or_timeout_is_noticed(spoiled: dict[str, float], tmp_path: Path) -> None:
    """Negative control."""
    lighting = {"settings": {"day": spoiled, "night": {"unoccupied_level": 0.0, "timeout_s": 60.0}}}
    found = differences(rows_of(site(lighting=lighting), tmp_path))
    assert {key[1] for key in found} == {"day"}
    assert len(found) >= 6


def test_the_page_shows_what_is_missed_first_and_says_where_it_is_written() -> None:
    scenario = site()
    sheet = limits_sheet(scenario, lay_out(scenario))
    verdicts = [row[-1] for row in sheet.rows]
    assert verdicts == sorted(verdicts, key=["does not meet", "meets"].index)
    assert set(verdicts) == {"does not meet", "meets"}
    text = " ".join(sheet.remarks)
    assert "ask the authority having jurisdiction" in text
    assert "29 CFR 1910.178(h)(2)" in text
    assert "compl" not in text


def test_a_site_that_asks_for_none_is_set_beside_the_usual_ones() -> None:
    scenario = make_scenario()
    assert scenario.limits is None
    assert {row.rule for row in numeric_rows(scenario)} <= {*USUAL_RULES, "both sides"}
    assert "asks for no rule set" in limits_sheet(scenario, lay_out(scenario)).remarks[0]
