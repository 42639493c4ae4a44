"""Handover sheets of unusual sites: open areas, lead zones, aisles with settings of their own.

Comes in: scenarios and step-in schedules made by hand.  What a sheet says is compared with what they state.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from functools import cache
from typing import Any

import pytest

from sim.floor.layout import lay_out
from sim.results import Estimate
from sim.scenario.schema import Scenario
from sim.show.handover.limits import limits_sheet
from sim.show.handover.lists import Sheet, sensor_sheet, settings_sheet, zone_sheet
from sim.show.handover.sheets import Handover, build_handover
from sim.show.handover.tests import plan_tests
from sim.show.handover.words import always_rules, operation_periods
from sim.study.step_in import Step, StepIn
from tests.show.made_results import make_scenario

FLOOR = {
    "aisles": 3, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0, "zones_per_aisle": 3, "staging_depth_m": 12.0,
}
SENSORS = {"at": [10.0, 30.0, 50.0], "range_m": 9.0, "hold_s": 30.0, "latency_s": 0.5}
DOCK = {
    "name": "dock", "across_m": [0.0, 15.0], "along_m": [-11.0, -3.0], "luminaires": 4, "full_w": 250.0,
    "fixed_on": 1, "sensors_at_m": [[4.0, -7.0], [11.0, -7.0]], "radius_m": 6.5, "hold_s": 60.0,
}
SETTINGS = {
    "day": {"unoccupied_level": 0.3, "timeout_s": 270, "second_delay_s": 3600, "second_level": 0.1},
    "night": {"occupied_level": 0.5, "unoccupied_level": 0.0, "timeout_s": 60},
}


@cache
def unusual(lead_zones: int = 1) -> Scenario:
    """An open area, zones that hear their neighbours, an aisle with settings of its own and a dead sensor."""
    return make_scenario(
        floor={**FLOOR, "lead_zones": lead_zones}, sensors=SENSORS, area=[DOCK],
        lighting={"settings": SETTINGS},
        override=[{"aisles": ["A02"], "settings": {"day": "night"}, "dead_sensors": [1]}],
        exceptions=[{"dates": [dt.date(2027, 12, 24)], "settings": "night"}],
        skylight={"caps": [[1.0] * 24 for _ in range(12)], "aisles": ["A01", "A03"]},
        limits=["ASHRAE 90.1-2022"],
    )


def usual() -> Scenario:
    """The same floor with none of that."""
    return make_scenario(floor=FLOOR, sensors=SENSORS)


def csv_of(sheet: Sheet) -> list[dict[str, str]]:
    """The file's rows by column."""
    return [dict(zip(sheet.csv_header, row, strict=True)) for row in sheet.csv_rows]


def test_an_open_area_is_a_zone_with_its_own_sensors() -> None:
    """4 luminaires of 250 W, one of which never dims; 2 sensors; 8 m along the floor."""
    site = unusual()
    sheet = zone_sheet(site, lay_out(site))
    shown = {row[0]: row for row in sheet.rows}
    assert shown["dock"] == ("dock", "open area", "whole", "3", "1", "1,000 W", "2", "")
    assert shown["A01.2"][:3] == ("A01.2", "A01", "20 to 40 m")
    (row,) = [row for row in csv_of(sheet) if row["zone"] == "dock"]
    assert (row["aisle"], row["luminaires_dim"], row["luminaires_fixed"]) == ("open area", "3", "1")
    assert (row["full_w"], row["sensors"]) == ("1000", "2")
    assert "dock" not in {row[0] for row in zone_sheet(usual(), lay_out(usual())).rows}


def test_an_areas_sensors_stand_with_their_places() -> None:
    """Across and along the floor, with the reach on the floor; an aisle's sensors keep their one place."""
    site = unusual()
    sheet = sensor_sheet(lay_out(site))
    shown = {row[0]: row for row in sheet.rows}
    assert shown["dock-S1"] == ("dock-S1", "dock", "4 / -7 m", "", "area", "6.5 m", "1 min")
    assert shown["dock-S2"][2] == "11 / -7 m"
    assert shown["A01-S1"][2] == "10 m"
    assert shown["A01-S1"][6] == "30 s"
    assert len(sheet.rows) == len(sheet.csv_rows) == 3 * 3 + 2
    row = next(row for row in csv_of(sheet) if row["sensor"] == "dock-S2")
    assert (row["zone"], row["at_m"], row["range_m"], row["hold_s"]) == ("dock", "-7", "6.5", "60")
    # an area has its sensors' latency as stated for all
    assert (row["approach_m"], row["latency_s"]) == ("", "0.5")


def test_dead_sensors_are_to_be_mended_first() -> None:
    assert "see nothing" in " ".join(sensor_sheet(lay_out(unusual())).remarks)
    assert "see nothing" not in " ".join(sensor_sheet(lay_out(usual())).remarks)


@pytest.mark.parametrize(("lead", "zones"), [(1, "1 zone on either side"), (2, "2 zones on either side")])
def test_zones_that_hear_their_neighbours_are_told_on_every_sheet(lead: int, zones: str) -> None:
    site = unusual(lead)
    told = [
        " ".join(zone_sheet(site, lay_out(site)).remarks), " ".join(always_rules(site)),
        " ".join(step.expected for step in plan_tests(site, lay_out(site), 0.1, 1).steps),
    ]
    assert all(zones in text for text in told)
    assert not any("listens to its own sensors alone" in text for text in told)
    assert "listens to its own sensors alone" in " ".join(always_rules(usual()))


def test_luminaires_that_never_dim_in_one_place_alone() -> None:
    assert "Always at full: 1 luminaire in dock, counted" in " ".join(always_rules(unusual()))
    two = make_scenario(override=[{"aisles": ["A01", "A03"], "fixed_on": 2}])
    assert "Always at full: 2 luminaires in each of A01 and A03, counted" in " ".join(always_rules(two))


def test_daylight_is_told_with_its_aisles() -> None:
    assert "Daylight in A01 and A03: levels are capped" in " ".join(always_rules(unusual()))
    assert "Daylight" not in " ".join(always_rules(usual()))


def test_an_aisle_with_its_own_settings_has_a_sequence_of_its_own() -> None:
    by_where = {(one.name, one.where): " ".join(one.steps) for one in operation_periods(unusual())}
    own = by_where["day", "aisle A02"]
    assert "at 50 % of full light" not in own
    assert "to 50 % of full light" in own
    assert "After 1 h more" in by_where["day", "aisles A01 and A03"]
    assert "1 min hold" in by_where["day", "area dock"]
    assert "30 s hold" in by_where["night", "aisles A01 to A03"]
    assert [one.where for one in operation_periods(usual())] == ["all aisles", "all aisles"]
    alike = make_scenario(floor=FLOOR, sensors=SENSORS, area=[{**DOCK, "hold_s": None}])
    assert [one.where for one in operation_periods(alike)] == ["all aisles and areas"] * 2
    own = make_scenario(
        floor=FLOOR, sensors=SENSORS, area=[{**DOCK, "hold_s": 5.0}],
        override=[{"aisles": ["A02"], "hold_s": 5.0}],
    )
    assert {one.where for one in operation_periods(own)} == {"aisles A01 and A03", "aisle A02 and area dock"}


def test_settings_of_exception_dates_alone() -> None:
    settings = {"day": SETTINGS["day"], "feast": SETTINGS["night"]}
    feast = make_scenario(
        lighting={"settings": settings},
        timetable=[{"from": "00:00", "to": "24:00", "settings": "day"}],
        exceptions=[{"dates": [dt.date(2027, 12, 24)], "settings": "feast"}],
    )
    when = {one.name: one.when for one in operation_periods(feast)}
    assert when["feast"] == "on exception dates only"
    assert when["day"].endswith("(168 h a week)")


def test_each_zone_has_the_settings_of_its_own_aisle() -> None:
    """By day A02 goes by the night's numbers: 60 s and 0 %; the others by 270 s and 30 %, then 10 %."""
    site = unusual()
    sheet = settings_sheet(site, lay_out(site))
    rows = {(row["period"], row["zone"]): row for row in csv_of(sheet)}
    assert len(rows) == len(sheet.csv_rows) == 2 * (3 * 3 + 1)
    for zone in ("A02.1", "A02.2", "A02.3"):
        row = rows["day", zone]
        assert (row["timeout_s"], row["unoccupied_level"], row["second_delay_s"]) == ("60", "0", "")
    for zone in ("A01.1", "A03.3", "dock"):
        row = rows["day", zone]
        assert (row["timeout_s"], row["unoccupied_level"]) == ("270", "0.3")
        assert (row["second_delay_s"], row["second_level"]) == ("3600", "0.1")
    assert rows["day", "dock"]["hold_s"] == "60"
    second = {(row[0], row[1]): row[7] for row in sheet.rows}
    assert second["day", "A02"] == ""
    assert second["day", "A01 and A03"] == "10 % after 1 h"


def test_numeric_limits_stand_for_the_zones_that_they_are_about() -> None:
    """Each zone once for each number of its own aisle's settings, never for another aisle's."""
    site = unusual()
    delays = [
        (row["zone"], row["period"], row["value"])
        for row in csv_of(limits_sheet(site, lay_out(site)))
        if row["what"] == "hold and timeout together" and row["period"] == "day"
    ]
    seconds = {zone: float(value) for zone, _, value in delays}
    assert len(seconds) == len(delays)
    # 30 s + 60 s in A02, 30 s + 270 s in the other aisles
    assert (seconds["A02.2"], seconds["A01.1"]) == (90.0, 300.0)


def test_the_second_level_is_tested_where_there_is_one() -> None:
    test = plan_tests(unusual(), lay_out(unusual()), 0.1, 1)
    assert "Keep the aisle empty past the second delay." in [step.action for step in test.steps]
    levels = {(row[0], row[1]): row[5] for row in test.delays}
    assert levels["day", "A02"] == "50 % / 0 %"
    assert levels["day", "A01 and A03"] == "100 % / 30 %, then 10 % after 1 h"
    plain = plan_tests(usual(), lay_out(usual()), 0.1, 1)
    assert "Keep the aisle empty past the second delay." not in [step.action for step in plain.steps]


@pytest.mark.parametrize(
    ("keys", "seen", "passing"),
    [
        ({"approach_m": 0.0, "passing_trigger": 0.0}, "at the mouth", "passing trucks are never seen"),
        ({"approach_m": 3.0, "passing_trigger": 0.4}, "3 m before the mouth", "at most 40 % of passing"),
    ],
)
def test_what_is_seen_of_trucks_at_the_mouths(keys: dict[str, Any], seen: str, passing: str) -> None:
    site = make_scenario(sensors={"at": "ends", "range_m": 9.0, **keys})
    steps = {step.action: step.expected for step in plan_tests(site, lay_out(site), 0.1, 1).steps}
    assert f"it is seen {seen}." in steps["Drive in at the front mouth at the site's usual speed."]
    assert passing in steps["Pass each mouth on the cross-aisle without turning in, ten times."]


def pack(timeouts_s: Sequence[float], false_offs: Estimate) -> Handover:
    """The sheets with a schedule of these weeks."""
    site = make_scenario()
    steps = tuple(
        Step(week + 1, dict.fromkeys(site.lighting.settings, timeout), false_offs,
             "A01" if false_offs.mean else "", 0.25, Estimate(0.4, 0.01))
        for week, timeout in enumerate(timeouts_s)
    )
    return build_handover(site, StepIn(steps, 10.0, True, 5), settings_from="by hand", share=0.1)


def test_false_offs_that_nobody_can_know() -> None:
    """A log of motion has no visits: the sheet and the cover say so, and no number stands for it."""
    found = pack([1170.0, 270.0], Estimate(None, None))
    assert [row[3] for row in found.steps.rows] == ["not known", "not known"]
    assert "No visits are known, so that false-offs cannot be expected." in found.steps.remarks
    assert {row[3] for row in found.steps.csv_rows} == {""}
    assert "false-offs are not known, because no visits are" in dict(found.answers)["What may be expected?"]
    known = pack([1170.0, 270.0], Estimate(0.5, 0.1))
    assert known.steps.rows[0][3] == "0.50 (0.40 to 0.60)"
    assert "No visits are known" not in " ".join(known.steps.remarks)
    assert "0.50 false-offs a shift" in dict(known.answers)["What may be expected?"]


def test_settings_as_long_as_the_first_weeks() -> None:
    figure = Estimate(0.5, 0.1)
    assert "there is nothing to shorten" in " ".join(pack([270.0], figure).steps.remarks)
    assert "there is nothing to shorten" not in " ".join(pack([1170.0, 270.0], figure).steps.remarks)
