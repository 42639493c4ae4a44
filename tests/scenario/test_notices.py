"""What `check` and every report tell of a valid scenario, each with the case where it stays silent."""

from __future__ import annotations

import math

import pytest

from sim.scenario.checks.contradictions import find_notices
from sim.scenario.checks.notices import unseen_s, unseen_stretches
from sim.scenario.parts import sort_aisles
from sim.scenario.schema import Trucks
from sim.scenario.toml import dump_scenario, parse_scenario

SITE = """
format = 1
start = 2027-03-01
days = 7
[floor]
aisles = 3
aisle_length_m = 72.0
aisle_pitch_m = 5.0
[luminaires]
per_aisle = 12
full_w = 105.0
[sensors]
at = "ends"
range_m = 9.0
hold_s = 0
passing_trigger = 0.3
[lighting.settings.day]
unoccupied_level = 0.3
timeout_s = 60
[[timetable]]
from = "00:00"
to = "24:00"
settings = "day"
[[trucks]]
name = "reach"
count = 4
speed_laden_m_per_s = 2.0
speed_empty_m_per_s = 2.0
handling_mean_s = 60
[[shifts]]
trucks = "reach"
from = "00:00"
to = "24:00"
crew = 2
[[work]]
name = "moves"
kind = "retrieve"
per_hour = 10
aisle_skew = 0.2
"""


def notices(*changes: tuple[str, str]) -> str:
    """Notices of the site with some words changed."""
    text = SITE
    for old, new in changes:
        assert old in text
        text = text.replace(old, new, 1)
    return "\n".join(find_notices(parse_scenario(text)))


LONG = ("timeout_s = 60", "timeout_s = 600")
LEVEL = "unoccupied_level = 0.3"
CURVE = "full_w = 105.0\npower_curve = [[0, 1], [1, 90]]"
IDLE = "[lighting.settings.idle]\nunoccupied_level = 1\ntimeout_s = 9\n[[timetable]]"


def test_nothing_is_told_where_nothing_is_open() -> None:
    assert notices(LONG) == ""


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("hold_s = 0\n", ""), "sensors.hold_s is not stated"),
        (("passing_trigger = 0.3\n", ""), "sensors.passing_trigger is not stated"),
        (("aisle_skew = 0.2\n", ""), 'equally busy, because work "moves"'),
        (('to = "24:00"\ncrew', 'to = "23:00"\ncrew'), "(Mon 23:00 to 24:00, Tue 23:00"),
        ((LEVEL, "unoccupied_level = 0.0"), "level 0 (unoccupied_level) in hours when shifts work"),
        ((LEVEL, f"{LEVEL}\nsecond_level = 0\nsecond_delay_s = 9"), "level 0 (second_level)"),
        (("full_w = 105.0", CURVE), "level 1, 90 W: the curve is used"),
        (("[[timetable]]", IDLE), 'The settings "idle" are never in force'),
        (("range_m = 9.0", "range_m = 2.0\napproach_m = 3.0"), "front mouth sees 3 m outside it"),
        (("range_m = 9.0", "range_m = 2.0\napproach_m = 3.0"), "back mouth"),
    ],
)
def test_each_open_point_is_told(change: tuple[str, str], words: str) -> None:
    assert words in notices(LONG, change)


def test_silence_of_sensors_and_skew_where_they_do_not_matter() -> None:
    assert "equally busy" not in notices(LONG, ("aisles = 3", "aisles = 1"), ("aisle_skew = 0.2\n", ""))
    assert "mouth sees" not in notices(LONG, ("range_m = 9.0", "range_m = 3.0\napproach_m = 3.0"))
    stated = ("[[trucks]]", '[[override]]\naisles = ["A01", "A02", "A03"]\nhold_s = 1\n[[trucks]]')
    assert "hold_s" not in notices(LONG, ("hold_s = 0\n", ""), stated)


def test_no_work_is_told() -> None:
    text = SITE[: SITE.index("[[work]]")]
    assert "There is no [[work]]" in "\n".join(find_notices(parse_scenario(text)))


def test_idle_watts_of_an_override_are_told() -> None:
    curve = ("full_w = 105.0", "full_w = 105.0\npower_curve = [[0, 0.6], [1, 105]]")
    told = notices(LONG, curve, ("[[trucks]]", '[[override]]\naisles = ["A01"]\nfull_w = 150\n[[trucks]]'))
    assert "override 1: full_w = 150 W has no effect" in told
    same = notices(LONG, curve, ("[[trucks]]", '[[override]]\naisles = ["A01"]\nfull_w = 105\n[[trucks]]'))
    assert same == ""


def test_the_resolved_file_states_every_default() -> None:
    text = SITE.replace("hold_s = 0\n", "").replace("timeout_s = 60", "timeout_s = 600")
    scenario = parse_scenario(text)
    assert any("hold_s" in sentence for sentence in find_notices(scenario))
    assert find_notices(parse_scenario(dump_scenario(scenario))) == ()


def test_blind_stretch_of_end_sensors() -> None:
    """12 luminaires on 72 m stand at 3, 9, ... 69 m; 9 m either way leave 12 to 60 m uncovered."""
    kind = sort_aisles(parse_scenario(SITE))[0]
    assert unseen_stretches(kind) == [(12.0, 60.0)]
    told = notices()
    assert "no sensor covers 12 to 60 m (48 m of 72 m)" in told
    assert "about 84 s" in told  # 24 m in and out at 2 m/s, and 60 s of handling
    assert '"day" (60 s)' in told


@pytest.mark.parametrize(
    "change",
    [
        ("timeout_s = 60", "timeout_s = 84"),  # equal is held: a gap g <= D gives no low time
        ("hold_s = 0", "hold_s = 30"),
        ("range_m = 9.0", "range_m = 33.0"),
        ('at = "ends"', 'at = "every"'),
        ("handling_mean_s = 60", "handling_mean_s = 36"),
    ],
)
def test_blind_stretch_is_not_told_where_the_light_stays(change: tuple[str, str]) -> None:
    assert "Blind stretch" not in notices(change)


def test_a_rate_for_people_where_nobody_walks() -> None:
    rate = ("range_m = 9.0", "range_m = 9.0\nstill_rate_person_per_min = 8")
    assert "still_rate_person_per_min says nothing" in notices(rate)
    walker = '[[trucks]]\nname = "people"\nkind = "walker"\ncount = 1\n[[shifts]]'
    assert "says nothing" not in notices(rate, ("[[shifts]]", walker))
    assert "says nothing" not in notices()


def group(count: int, laden: float, empty: float, acceleration: float, handling: float) -> Trucks:
    return Trucks(
        name="x",
        count=count,
        speed_laden_m_per_s=laden,
        speed_empty_m_per_s=empty,
        acceleration_m_per_s2=acceleration,
        handling_mean_s=handling,
    )


def test_unseen_time_by_hand() -> None:
    """Cruising over the edge, braking to rest: h / v + v / (2 a); short of that, sqrt(2 h / a)."""
    assert unseen_s([group(1, 2.0, 2.0, 0.0, 60.0)], 54.0) == pytest.approx(2 * 13.5 + 60.0)
    assert unseen_s([group(1, 2.0, 2.0, 0.5, 60.0)], 54.0) == pytest.approx(2 * (13.5 + 2.0) + 60.0)
    assert unseen_s([group(1, 2.0, 2.0, 0.5, 0.0)], 2.0) == pytest.approx(2 * math.sqrt(2 * 1.0 / 0.5))
    assert unseen_s([group(1, 2.0, 2.0, 0.5, 0.0)], 8.0) == pytest.approx(2 * math.sqrt(2 * 4.0 / 0.5))
    mixed = [group(3, 1.0, 2.0, 0.0, 10.0), group(1, 2.0, 2.0, 0.0, 30.0)]
    assert unseen_s(mixed, 8.0) == pytest.approx((3 * (4 + 2 + 10) + (2 + 2 + 30)) / 4)


LUMENS = "full_w = 105.0\nlumens = 15000\nutilisation = 0.5\nlight_loss = 0.8\nfloor_lux_at_full = {}"


def test_lux_that_the_lumens_do_not_give() -> None:
    """12 luminaires of 15,000 lm, 0.5 and 0.8, over 72 m by 5 m give 200 lx; within 5 % nothing is told."""
    told = notices(LONG, ("full_w = 105.0", LUMENS.format(150)))
    assert told == (
        "floor_lux_at_full = 150 lx is used; the lumen method gives 200 lx from lumens, utilisation and "
        "light_loss (aisle A01)."
    )
    assert notices(LONG, ("full_w = 105.0", LUMENS.format(195))) == ""


def test_fades_that_a_bus_does_not_offer() -> None:
    """IEC 62386-102: half the square root of 2^X, so 2 s and 2.83 s on either side of 2.5 s."""
    dali = ("full_w = 105.0", 'full_w = 105.0\npower_curve = "iec62386-log"')
    told = notices(LONG, dali, ("timeout_s = 600", "timeout_s = 600\nfade_up_s = 2.5\nfade_down_s = 5.7"))
    assert told.endswith(
        'Settings "day": fade_up_s = 2.5 s is none of the fade times of IEC 62386-102; the nearest is 2.83 s.'
    )
    offered = notices(LONG, dali, ("timeout_s = 600", "timeout_s = 600\nfade_up_s = 2.83\nfade_down_s = 5.7"))
    assert "levels are commands" in offered
    assert "fade times" not in offered


def test_days_beyond_whole_weeks_are_not_in_the_year() -> None:
    year = ("[[trucks]]", "[year]\nof = 2027\n[[trucks]]")
    assert notices(LONG, year, ("days = 7", "days = 16.5")) == (
        "A year is made of whole weeks of the run: its last 2.5 days are not in yearly figures."
    )
    assert notices(LONG, year, ("days = 7", "days = 14")) == ""
    assert notices(LONG, ("days = 7", "days = 16.5")) == ""


def test_money_of_a_meter_that_shows_the_lights_alone() -> None:
    """Blocks, a least bill and a demand charge depend on what else runs behind the meter."""
    tariff = '[tariff]\ncurrency = "EUR"\nper_kwh = 0.2\n'
    blocks = tariff + "[[energy_blocks]]\nabove_kwh = 500\nper_kwh = -0.01\n"
    least = tariff + "minimum_per_month = 50\n"
    demand = tariff + "[[demand_charges]]\nper_kw = 9\n"
    load = "[[site_load]]\nkw = 40\n"
    for text, words in (
        (blocks, "Blocks of energy and the least bill are reckoned on the lights alone, because"),
        (least, "Blocks of energy and the least bill are reckoned on the lights alone, because"),
        (demand, "Demand is charged on the lights alone, because"),
    ):
        told = notices(LONG, ("[[trucks]]", text + "[[trucks]]"))
        assert told.startswith(f"{words} there is no [[site_load]]: in truth ")
        assert notices(LONG, ("[[trucks]]", text + load + "[[trucks]]")) == ""
    assert notices(LONG, ("[[trucks]]", tariff + "[[trucks]]")) == ""


@pytest.mark.parametrize("dead", ['"all"', "[1, 2]"])
def test_zones_where_nothing_works_stay_high(dead: str) -> None:
    """An aisle with sensors at its ends has two."""
    change = ("[[trucks]]", f'[[override]]\naisles = ["A02"]\ndead_sensors = {dead}\n[[trucks]]')
    assert notices(LONG, change) == "All sensors are named dead in aisle A02: these zones stay high."
    assert notices(LONG, (change[0], change[1].replace(dead, "[2]"))) == ""
