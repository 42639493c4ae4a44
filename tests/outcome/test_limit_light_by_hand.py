"""Whole rows of limits of light, of ways out and of arrival by hand.

The numbers are those of the clauses named beside them; the words are what a reader of the report sees, so a
word that is lost or turned round is a fault as well.  The negative control (`check`) is a site on which
each number is another one.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from sim.outcome.limit_group import LimitRow
from sim.outcome.limit_rows import limit_rows
from sim.scenario.toml import parse_scenario
from tests.outcome.limit_sets import ARRIVAL, BOTH, MEMORY, UNSAID, Set, check
from tests.truth.limit_scenes import SITE, USUAL, rows_of

LAMPS = "floor_lux_at_full = 200.0\nrack_lux_at_full = 300.0\nfloor_uniformity = 0.5\nrack_uniformity = 0.35"
NO_LIGHT = "; not known: state luminaires.floor_lux_at_full, or lumens, utilisation and light_loss"
FOUR_FIFTHS = "1.5\noccupied_level = 0.8"


def test_workplaces() -> None:
    """EN 12464-1: 200 lx at full are 160 lx occupied and 50 lx at the lowest; 300 lx on racks are 240."""
    rules = Set("EN 12464-1", "EN 12464-1:2002, 5.1; 2011 likewise")
    occupied, lowest = "occupied level 80 %", "lowest level 25 %"
    later = {"source": "EN 12464-1:2021, Table 13", "seen": MEMORY, "judged": False}
    older = {"seen": MEMORY, "period": ""}
    check(rules.rule, [
        rules.row("floor light, gangways with people", 160.0, "lx", least=150.0, met=True, remark=occupied),
        rules.row("floor light, gangways without people", 50.0, "lx", least=20.0, met=True, remark=lowest),
        rules.row(
            "floor light, floor between racks, required value", 160.0, "lx", least=150.0, remark=occupied,
            **later,
        ),
        rules.row(
            "uniformity on the floor", 0.5, "-", least=0.4, met=True,
            source="EN 12464-1:2011, Tables 5.4 and 5.5", **older,
        ),
        rules.row(
            "rack faces, vertical", 240.0, "lx", least=200.0, met=True, remark=occupied, seen=MEMORY,
            source="EN 12464-1:2011, 5.5.4; the 2021 edition differs",
        ),
        rules.row("rack faces, required value", 240.0, "lx", least=75.0, remark=occupied, **later),
        rules.row(
            "uniformity on rack faces", 0.35, "-", least=0.4, met=False, source="EN 12464-1:2011, 5.5.4",
            **older,
        ),
        ARRIVAL,
    ], lamps=LAMPS, low=0.25, fade_up_s=FOUR_FIFTHS)


def test_workplaces_without_known_light() -> None:
    rules = Set("EN 12464-1", "EN 12464-1:2002, 5.1; 2011 likewise")
    check(rules.rule, [
        rules.row(
            "floor light, gangways with people", None, "lx", least=150.0,
            remark=f"occupied level 100 %{NO_LIGHT}",
        ),
        rules.row(
            "floor light, gangways without people", None, "lx", least=20.0,
            remark=f"lowest level 12.5 %{NO_LIGHT}",
        ),
        rules.row(
            "floor light, floor between racks, required value", None, "lx", least=150.0, judged=False,
            source="EN 12464-1:2021, Table 13", seen=MEMORY, remark=f"occupied level 100 %{NO_LIGHT}",
        ),
        ARRIVAL,
    ], low="0.5\nsecond_level = 0.125\nsecond_delay_s = 60.0")


AVERAGE = "floor light, movement of people, machines and vehicles, average"
LEAST = "floor light, movement of people, machines and vehicles, least value"
RATIOS = (
    ("ratio of light in adjoining areas, one of them lit locally", 5.0),
    ("ratio of light in adjoining areas with a barrier and frequent movement", 10.0),
)
BESIDE = "the next aisle lit, this one at its lowest level"


def ratios(
    rules: Set, value: float | None, met: tuple[bool | None, bool | None], remark: str
) -> list[LimitRow]:
    """A lit aisle beside a dim one, without and with a barrier."""
    words = {"source": "HSE HSG38, 2nd ed. 1997, Table 2", "seen": MEMORY, "remark": remark}
    return [
        rules.row(what, value, "-", most=most, met=answer, **words)
        for (what, most), answer in zip(RATIOS, met, strict=True)
    ]


ROUTES = Set("HSG38", "HSE HSG38, 2nd ed. 1997, Table 1")


def test_routes() -> None:
    """HSG38: 50 lx on average and 25 lx at the least; 160 lx beside 50 lx is 3.2 to 1."""
    check("HSG38", [
        ROUTES.row(AVERAGE, 50.0, "lx", least=20.0, met=True, remark="lowest level 25 %"),
        ROUTES.row(
            LEAST, 25.0, "lx", least=5.0, met=True, remark="lowest level 25 %, average x uniformity"
        ),
        *ratios(ROUTES, 3.2, (True, True), BESIDE),
        ARRIVAL,
    ], lamps=LAMPS, low=0.25, fade_up_s=FOUR_FIFTHS)


def test_routes_without_known_light_and_dark_ones() -> None:
    check("HSG38", [
        ROUTES.row(AVERAGE, None, "lx", least=20.0, remark=f"lowest level 25 %{NO_LIGHT}"),
        ROUTES.row(
            LEAST, None, "lx", least=5.0,
            remark="lowest level 25 %; not known: state the light and floor_uniformity",
        ),
        *ratios(ROUTES, None, (None, None), f"{BESIDE}; not known: state the light"),
        ARRIVAL,
    ], low=0.25)
    check("HSG38", [
        ROUTES.row(AVERAGE, 0.0, "lx", least=20.0, met=False, remark="lowest level 0 %"),
        ROUTES.row(LEAST, 0.0, "lx", least=5.0, met=False, remark="lowest level 0 %, average x uniformity"),
        *ratios(ROUTES, None, (False, False), f"{BESIDE}; this one is dark: no ratio holds"),
        ARRIVAL,
    ], lamps=LAMPS, low=0.0)


def test_the_worst_neighbour_decides() -> None:
    """200 lx and once 400, lowest a quarter: 200/50, 400/50 and 200/100; a single aisle has no ratio."""
    for bright, other in (("A03", "A01"), ("A01", "A03")):
        brighter = f'\n[[override]]\naisles = ["{bright}"]\nfloor_lux_at_full = 400.0'
        rows = rows_of("HSG38", lamps="floor_lux_at_full = 200.0", low=0.25, said=brighter)
        found = {(row.aisles, row.value) for row in rows if row.what == RATIOS[0][0]}
        assert found == {((other,), 4.0), (("A02",), 8.0), ((bright,), 2.0)}
    single = rows_of("HSG38", aisles=1, lamps="floor_lux_at_full = 200.0", low=0.25)
    assert [row.what for row in single] == [AVERAGE, LEAST, "driven from being seen to full light"]


def test_trucks_without_lights() -> None:
    """29 CFR 1910.178(h)(2): 2 lm/ft2 are 2 / 0.3048**2 lx."""
    rules = Set("OSHA 1910.178(h)", "29 CFR 1910.178(h)(2): 2 lm/ft2")
    check(rules.rule, [
        rules.row(
            "floor light, below it trucks need lights of their own", 50.0, "lx", least=2.0 / 0.3048**2,
            met=True, remark="lowest level 25 %",
        ),
        ARRIVAL,
    ], lamps=LAMPS, low=0.25)


EGRESS = Set("NFPA 101 egress", "NFPA 101-2012, 7.8.1.2.2")
TIMER = "shortest timer of egress lighting that motion switches"


@pytest.mark.parametrize(
    ("said", "remark"),
    [
        ("", "not stated which aisles are marked ways out: statements.egress_aisles"),
        ("egress_aisles = []", "as stated, no aisle is a marked way out"),
    ],
)
def test_no_way_out(said: str, remark: str) -> None:
    """A site without marked ways out, or one that does not say: the number alone."""
    timer = EGRESS.row(TIMER, None, "s", least=900.0, period="", remark=remark)
    check(EGRESS.rule, [timer, ARRIVAL], said=said)


def test_a_way_out() -> None:
    """NFPA 101: a timer of 15 min; IBC and IFC: 1 fc; IECC 2021 beside it: at most 20 min, 2015: 30 min."""
    way = replace(EGRESS, aisles=("A02",))
    both = Set("both sides", "", BOTH, aisles=("A02",))
    light = "lowest level 25 %; 1 of 10 luminaires never dim and would add to it"
    rows = [
        way.row(
            TIMER, 600.0, "s", least=900.0, met=False,
            remark="the rule asks further: a listed controller, and that any movement sets it off",
        ),
        way.row(
            "floor light, walking surface of a means of egress", 50.0, "lx", least=1.0 / 0.3048**2, met=True,
            source="IBC and IFC 2021, 1008.2.1: 1 fc", remark=light,
        ),
        way.said("fails to full light", "as stated: statements.fails_to_full", True),
        way.said("fire alarm brings full light", f"{UNSAID}fire_alarm_to_full"),
    ]
    beside = both.row(
        "way out: hold and timeout together", 600.0, "s", least=900.0, most=1200.0, met=False,
        source="NFPA 101-2012, 7.8.1.2.2 (shortest); IECC 2021, C405.2.1.2 (longest)",
        remark="safety sets the shortest, the energy code the longest delay",
    )
    said = 'egress_aisles = ["A02"]\nfails_to_full = true'
    changes = {"said": said, "lamps": LAMPS, "low": 0.25, "fixed_on": 1}
    check(EGRESS.rule, [*rows, ARRIVAL], **changes)
    found = rows_of('IECC-2015", "IECC-2021", "NFPA 101 egress', hold_s=60.0, timeout_s=540.0, **changes)
    assert [row for row in found if row.rule == "both sides"] == [beside]


def test_no_arrival_where_nothing_rises() -> None:
    """A light that never falls is there at once; without trucks nobody drives."""
    keys = {**USUAL, "latency_s": 0.5, "fade_up_s": 1.5}
    for low, trucks, wanted in ((1.0, True, [0.0]), (0.5, True, [4.0]), (0.5, False, [])):
        scenario = parse_scenario(SITE.format(limits='"OSHA 1910.178(h)"', **{**keys, "low": low}))
        found = limit_rows(scenario if trucks else scenario.model_copy(update={"trucks": ()}))
        assert [row.value for row in found if row.rule == "arrival"] == wanted
