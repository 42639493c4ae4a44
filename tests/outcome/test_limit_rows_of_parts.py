"""Rows of limits where a site has parts: open areas, cut aisles, two settings, aisles that are not alike.

Three aisles of 60 m x 5 m with ten luminaires of 100 W; a packing area of 10 m x 10 m with seven of 50 W.
Everything expected is worked by hand; one square foot is 0.3048 m x 0.3048 m.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import pytest

from sim.outcome.limit_group import LimitRow, egress_aisles
from sim.outcome.limit_rows import limit_rows
from sim.scenario.schema import Scenario
from sim.scenario.toml import parse_scenario
from tests.truth.limit_scenes import SITE, USUAL

AREA = """
[[area]]
name = "packing"
across_m = [5.0, 15.0]
along_m = [-8.0, 2.0]
luminaires = 7
full_w = 50.0
sensors_at_m = [[7.0, -3.0]]
radius_m = 4.0
"""
DARK = """
[lighting.settings.late]
unoccupied_level = 0.0
timeout_s = 1500.0
"""
LATE = """
[[timetable]]
from = "12:00"
to = "24:00"
settings = "late"
""" + DARK
ALL = ("A01", "A02", "A03")
FT2 = 0.3048**2


def rows(limits: str, more: str = "", floor: str = "", **changes: Any) -> list[LimitRow]:
    """Rows of the site with more tables behind it."""
    text = SITE.replace("aisles = {aisles}", "aisles = {aisles}\n" + floor)
    if "[[timetable]]" in more:
        text = text.replace('to = "24:00"', 'to = "12:00"')
    return list(limit_rows(parse_scenario(text.format(limits=limits, **{**USUAL, **changes}) + more)))


def of(found: list[LimitRow], words: str) -> list[LimitRow]:
    """Rows whose quantity holds some words."""
    return [row for row in found if words in row.what]


def test_an_area_beside_cut_aisles() -> None:
    """Space by space each by itself; by building area 3350 W over 1000 m2; full off by control zone.

    An aisle of 300 m2 has two zones of 1614.6 ft2, the area of 100 m2 is one of 1076.4 ft2.
    """
    found = rows(
        '"ASHRAE 90.1-2022"', AREA, "staging_depth_m = 8\nzones_per_aisle = 2",
        said='goods = "bulky"\nshut_off = "full"',
    )
    spaces = of(found, "space by space")
    assert [(row.aisles, row.value, row.is_met) for row in spaces] == [
        (ALL, pytest.approx(1000.0 / 300.0 * FT2), True),
        (("packing",), pytest.approx(3.5 * FT2), True),
    ]
    assert [row.remark for row in spaces] == [
        "medium to bulky palletised goods; 3.33 W/m2 over length times pitch",
        "medium to bulky palletised goods; 3.5 W/m2 over its size",
    ]
    [building] = of(found, "building area")
    assert (building.aisles, building.value) == ((*ALL, "packing"), pytest.approx(3.35 * FT2))
    assert building.remark == (
        "warehouse, building area method; 3.35 W/m2 over length times pitch and the areas' sizes; "
        "the aisles and open areas alone, other rooms are not counted; "
        'judged with statements.lpd_method = "building area"'
    )
    assert [(row.aisles, row.value) for row in of(found, "one device")] == [
        (ALL, pytest.approx(150.0 / FT2)), (("packing",), pytest.approx(100.0 / FT2)),
    ]
    whole = rows('"ASHRAE 90.1-2022"', AREA, "staging_depth_m = 8", said='shut_off = "full"')
    assert of(whole, "one device")[0].value == pytest.approx(300.0 / FT2)


def test_aisles_and_areas_stand_apart_though_they_are_alike() -> None:
    found = rows('"IECC-2021", "HSG38", "OSHA 1910.178(h)", "IECC-2024"', AREA, "staging_depth_m = 8")
    for words in ("hold and timeout", "vehicles, average", "vehicles, least", "lights of their own"):
        aisles = [row.aisles for row in of(found, words) if row.rule != "IECC-2024"]
        assert aisles == [ALL, ("packing",)], words
    for words in ("shut-off", "switching by hand", "ratio", "driven"):
        assert {row.aisles for row in of(found, words)} == {ALL}, words
    unknown = [row.aisles for row in found if row.rule == "IECC-2024"]
    assert unknown[:4] == [ALL, ALL, ("packing",), ("packing",)]


def test_settings_by_day_and_late() -> None:
    """Until noon 600 s and half the power, later 1500 s and none."""
    found = rows('"IECC-2021", "NFPA 101 egress"', LATE, fade_up_s=1.0, said='egress_aisles = ["A02"]')
    assert [(row.period, row.value, row.is_met) for row in of(found, "cut of power")] == [
        ("all", 0.5, True), ("late", 1.0, True),
    ]
    assert [(row.rule, row.period, row.value, row.is_met) for row in of(found, "hold and timeout")] == [
        ("IECC-2021", "all", 600.0, True), ("IECC-2021", "late", 1500.0, False),
        ("both sides", "all", 600.0, False), ("both sides", "late", 1500.0, False),
    ]
    assert of(found, "shut-off")[0].remark == (
        "not stated: statements.shut_off; level 0 is reached under late"
    )
    assert [(row.period, row.value) for row in of(found, "driven")] == [("all", 2.0), ("late", 0.0)]
    assert {row.period for row in of(found, "power density")} == {""}


def test_an_aisle_with_settings_of_its_own() -> None:
    """A02 has the late settings at all times; the others have those of the timetable."""
    own = '[[override]]\naisles = ["A02"]\nsettings = { all = "late" }'
    found = rows('"IECC-2021"', DARK + own)
    assert [(row.aisles, row.period, row.value) for row in of(found, "hold and timeout")] == [
        (("A01", "A03"), "all", 600.0), (("A02",), "all", 1500.0),
    ]
    assert [(row.aisles, row.value) for row in of(found, "cut of power")] == [
        (("A01", "A03"), 0.5), (("A02",), 1.0),
    ]


def test_light_by_period_and_neighbour() -> None:
    """100 lx, later dark: 200/100 until noon, no ratio afterwards; none beside an aisle of unknown light."""
    found = of(rows('"HSG38"', LATE, lamps="floor_lux_at_full = 200.0"), "ratio")
    assert [(row.aisles, row.period, row.value, row.is_met) for row in found] == [
        (ALL, "all", 2.0, True), (ALL, "all", 2.0, True), (ALL, "late", None, False),
        (ALL, "late", None, False),
    ]
    first = 'aisles = ["A01"]\nfloor_lux_at_full = '
    unknown = of(rows('"HSG38"', f"[[override]]\n{first}200.0", low=0.25), "ratio")
    assert [(row.aisles, row.value, row.is_met) for row in unknown] == [(ALL, None, None)] * 2


def test_aisles_that_are_not_alike_have_rows_of_their_own() -> None:
    """A02 with 20 luminaires draws twice the power; A03 waits 60 s longer; rows come in the aisles' order."""
    more = '[[override]]\naisles = ["A02"]\nper_aisle = 20\n[[override]]\naisles = ["A03"]\nhold_s = 60.0'
    found = rows('"IECC-2021"', more, said='goods = "bulky"')
    assert [(row.aisles, row.value) for row in of(found, "hold and timeout")] == [
        (("A01", "A02"), 600.0), (("A03",), 660.0),
    ]
    assert [(row.aisles, row.is_met) for row in of(found, "space by space")] == [
        (("A01", "A03"), True), (("A02",), False),
    ]
    assert of(found, "building area")[0].value == pytest.approx(4000.0 / 900.0 * FT2)
    ways = rows('"NFPA 101 egress"', more, said='egress_aisles = ["A02", "A03"]')
    assert [(row.aisles, row.value) for row in of(ways, "timer")] == [(("A02",), 600.0), (("A03",), 660.0)]


def test_aisles_stand_in_the_floor_s_order() -> None:
    """Not in the alphabet's, also where two kinds of aisles share a row."""
    more = '[[override]]\naisles = ["A"]\nhold_s = 60.0'
    found = rows('"IECC-2021"', more, aisles='["Z", "A", "M"]')
    assert [row.aisles for row in of(found, "hold and timeout")] == [("Z", "M"), ("A",)]
    assert {row.aisles for row in of(found, "space by space")} == {("Z", "A", "M")}


@pytest.mark.parametrize(
    ("stated", "wished", "ways"),
    [
        (None, None, None), (["A01"], None, ["A01"]), (None, ["A02"], ["A02"]), ([], ["A02"], []),
        (["A01"], ["A02"], ["A01"]),
    ],
)
def test_what_is_stated_goes_before_what_is_wished(stated: Any, wished: Any, ways: Any) -> None:
    said, wish = SimpleNamespace(egress_aisles=stated), SimpleNamespace(egress_aisles=wished)
    assert egress_aisles(cast(Scenario, SimpleNamespace(statements=said, recommend=wish))) == ways
    if stated is None:
        assert egress_aisles(cast(Scenario, SimpleNamespace(statements=None, recommend=wish))) == ways
    if wished is None:
        assert egress_aisles(cast(Scenario, SimpleNamespace(statements=said, recommend=None))) == ways


@pytest.mark.parametrize("rule", ["IECC-2021", "ASHRAE 90.1-2022", "ASHRAE 90.1-2013", "Title 24", "HSG38"])
def test_an_empty_table_of_statements_says_as_little_as_none(rule: str) -> None:
    empty = parse_scenario(SITE.format(limits=f'"{rule}"', **USUAL))
    assert limit_rows(empty.model_copy(update={"statements": None})) == limit_rows(empty)
    said = parse_scenario(SITE.format(limits=f'"{rule}"', **{**USUAL, "said": 'goods = "bulky"'}))
    assert (limit_rows(said) == limit_rows(empty)) == (rule in ("Title 24", "HSG38"))


def test_a_way_out_that_is_wished_for_and_not_stated() -> None:
    """What the way out asks further is not known then."""
    plain = parse_scenario(SITE.format(limits='"NFPA 101 egress"', **USUAL))
    wish = SimpleNamespace(egress_aisles=("A02",))
    found = limit_rows(plain.model_copy(update={"statements": None, "recommend": wish}))
    assert [(row.aisles, row.is_met, row.remark) for row in found if row.unit == "-"] == [
        (("A02",), None, "not stated: statements.fails_to_full"),
        (("A02",), None, "not stated: statements.fire_alarm_to_full"),
    ]


def test_no_limits_asked_for_no_rows() -> None:
    text = SITE.format(limits='"HSG38"', **USUAL).replace('limits = ["HSG38"]', "")
    assert limit_rows(parse_scenario(text)) == ()


def test_aisles_that_all_share_a_zone_are_not_each_by_itself() -> None:
    """The rule is not met for them, and nobody else is left to ask about; with one aisle apart there is."""
    group = '[[group]]\nname = "hall"\naisles = {}\n'
    shared = of(rows('"Title 24"', group.format('["A01", "A02", "A03"]')), "each aisle by itself")
    assert [(row.aisles, row.is_met, row.remark) for row in shared] == [
        (ALL, False, "3 aisles share the zone hall"),
    ]
    apart = of(rows('"Title 24"', group.format('["A01", "A02"]')), "each aisle by itself")
    assert [(row.aisles, row.is_met) for row in apart] == [(("A01", "A02"), False), (("A03",), None)]
    with_area = rows('"Title 24"', group.format('["A01", "A02"]') + AREA, "staging_depth_m = 8")
    assert [row.aisles for row in of(with_area, "each aisle by itself")] == [("A01", "A02"), ("A03",)]
    whole = rows('"Title 24"', group.format('["A01", "A02", "A03"]') + AREA, "staging_depth_m = 8")
    assert [row.aisles for row in of(whole, "each aisle by itself")] == [ALL], "an area is no aisle"


def test_without_trucks_nobody_arrives() -> None:
    """The rows are those of the site with trucks, less how far they drive before the light is up."""
    text = SITE.format(limits='"HSG38"', **USUAL)
    trucks = text[text.index("[[trucks]]") : text.index("[statements]")]
    driven = limit_rows(parse_scenario(text))
    assert limit_rows(parse_scenario(text.replace(trucks, ""))) == tuple(
        row for row in driven if row.rule != "arrival"
    )
    assert [row.rule for row in driven].count("arrival") == 1
