"""Switching worked out by hand: hold, latency, second delay, timetable, borders; twin and program alike.

One aisle A01 of ten luminaires, 1000 W at full, 200 W at the unoccupied level 0.2, timeout 100 s, all
else 0, a run of 4320 s, unless the case says otherwise. The arithmetic stands beside each value.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from tests.lighting.engines import ENGINES, Answer, Case, by_twin, kwh, misses, site

TWO = [
    {"from": "00:00", "to": "00:30", "settings": "day"},
    {"from": "00:30", "to": "24:00", "settings": "night"},
]
"""A border at 1800 s."""


def two(night: dict[str, Any], day: dict[str, Any] | None = None, **more: Any) -> Any:
    """Return the site with a border at 1800 s between day and night."""
    return site(day, settings={"night": {"unoccupied_level": 0.2, "timeout_s": 100.0} | night},
                timetable=TWO, **more)


def lit(high_s: float) -> float:
    """Energy [kWh] with so many seconds at 1000 W and the rest of 4320 s at 200 W."""
    return kwh(1000.0 * high_s + 200.0 * (4320.0 - high_s))


def low(high_s: float) -> float:
    """Time at low [h] with so many seconds at high."""
    return (4320.0 - high_s) / 3600.0


def a01(*intervals: tuple[float, float]) -> list[tuple[str, float, float]]:
    """Name the zone of each interval."""
    return [("A01", start, end) for start, end in intervals]


HOLD = [
    Case("no motion", site(), [], total={
        "energy_kwh": 0.24,  # 200 W x 1.2 h
        "always_on_kwh": 1.2,  # 1000 W x 1.2 h
        "schedule_only_kwh": 1.2,  # occupied level 1 throughout
        "code_minimum_kwh": 0.6,  # half the power before the first motion
        "saved_kwh": 0.96,
        "saved_share": 0.8,
        "time_at_low_h": 1.2,
        "time_at_zero_h": 0.0,
        "switch_ups": 0, "switch_downs": 0, "timetable_changes": 0,
        "peak_kw": 0.2, "always_on_peak_kw": 1.0,
    }),
    Case("one interval", site(), a01((100, 160)), total={
        # high from 100 to 160 + 100
        "energy_kwh": lit(160), "time_at_low_h": low(160), "switch_ups": 1, "switch_downs": 1,
    }),
    Case("a pulse", site(), a01((100, 100)), total={
        "energy_kwh": lit(100), "time_at_low_h": low(100), "switch_ups": 1, "switch_downs": 1,
    }),
    Case("hold and timeout add up", site(sensors={"hold_s": 50.0}), a01((100, 160)), total={
        "energy_kwh": lit(60 + 150), "switch_ups": 1, "switch_downs": 1,
    }),
    Case("a gap of exactly the delay is held", site(), a01((100, 160), (260, 270)), total={
        # 100 to 370 without a break
        "energy_kwh": lit(270), "time_at_low_h": low(270), "switch_ups": 1, "switch_downs": 1,
    }),
    Case("a gap just above the delay", site(), a01((100, 160), (260.5, 270)), total={
        # low for 0.5 s between: 100 to 260 and 260.5 to 370
        "energy_kwh": lit(269.5), "time_at_low_h": low(269.5), "switch_ups": 2, "switch_downs": 2,
    }),
    Case("the gap is a subtraction of doubles", site({"timeout_s": 0.3}), a01((0.5, 0.6), (0.9, 1.0)), total={
        # 0.9 - 0.6 = 0.30000000000000004 > 0.3 in double precision: let go, for no time worth measuring
        "switch_ups": 2, "switch_downs": 2, "energy_kwh": lit(0.5 + 0.3),
    }),
    Case("overlapping, touching and nested motion is one", site(),
         a01((180, 220), (100, 150), (150, 200), (110, 110)), total={
        "energy_kwh": lit(220), "switch_ups": 1, "switch_downs": 1,  # 100 to 220 + 100
    }),
    Case("touching after the fact does not depend on the delay", site({"timeout_s": 0.5}),
         a01((100, 150), (150, 150), (150.5, 151)), total={
        "energy_kwh": lit(51.5), "switch_ups": 1, "switch_downs": 1,  # 100 to 151.5
    }),
    Case("motion at 0 is an ordinary switch-up", site(), a01((0, 10)), total={
        "energy_kwh": lit(110), "time_at_low_h": low(110), "switch_ups": 1, "switch_downs": 1,
    }),
    Case("motion past the end is cut there", site(), a01((4300, 9999)), total={
        "energy_kwh": lit(20), "switch_ups": 1, "switch_downs": 0,
    }),
    Case("an age that reaches the delay at the end is no switch-down", site(), a01((4200, 4220)), total={
        "energy_kwh": lit(120), "switch_ups": 1, "switch_downs": 0,
    }),
    Case("a switch-down half a second before the end", site(), a01((4200, 4219.5)), total={
        "energy_kwh": lit(119.5), "switch_ups": 1, "switch_downs": 1,
    }),
    Case("the two levels happen to be equal", site({"unoccupied_level": 1.0}), a01((100, 160)), total={
        # by state, not by level
        "energy_kwh": 1.2, "time_at_low_h": low(160), "switch_ups": 1, "switch_downs": 1,
    }),
]

LATENCY = [
    Case("latency delays the light, not the age", site(sensors={"latency_s": 8.0}), a01((100, 160)), total={
        "energy_kwh": lit(152), "time_at_low_h": low(152),  # high from 108 to 260
        "switch_ups": 1, "switch_downs": 1,
    }),
    Case("a pulse shorter than the latency", site(sensors={"latency_s": 8.0}), a01((100, 101)), total={
        "energy_kwh": lit(93), "switch_ups": 1, "switch_downs": 1,  # high from 108 to 201
    }),
    Case("more motion within the latency", site(sensors={"latency_s": 8.0}),
         a01((100, 101), (104, 105), (108, 109)), total={
        "energy_kwh": lit(101), "switch_ups": 1, "switch_downs": 1,  # high from 108 to 209
    }),
    Case("no latency while held", site(sensors={"latency_s": 8.0}), a01((100, 160), (260, 270)), total={
        "energy_kwh": lit(262), "switch_ups": 1, "switch_downs": 1,  # 108 to 370
    }),
    Case("latency at the start", site(sensors={"latency_s": 8.0}), a01((0, 1)), total={
        "energy_kwh": lit(93), "switch_ups": 1, "switch_downs": 1,  # 8 to 101
    }),
    Case("a switch-up due at the end never comes", site(sensors={"latency_s": 8.0}), a01((4312, 4320)),
         total={
        "energy_kwh": 0.24, "switch_ups": 0, "switch_downs": 0, "time_at_low_h": 1.2,
    }),
]

SECOND = {"second_delay_s": 300.0, "second_level": 0.0}
SECOND_DELAY = [
    Case("the run begins at the second level", site(SECOND), [], total={
        "energy_kwh": 0.0, "time_at_low_h": 1.2, "time_at_zero_h": 1.2,
    }),
    Case("first low, then lower", site(SECOND), a01((100, 160)), total={
        # 0 to 100 at 0; to 260 at 1000 W; to 560 at 200 W; to 4320 at 0
        "energy_kwh": kwh(160 * 1000 + 300 * 200),
        "time_at_low_h": low(160),
        "time_at_zero_h": (4320 - 460) / 3600,
        "switch_ups": 1, "switch_downs": 1, "timetable_changes": 0,
    }),
    Case("motion exactly when the second delay ends", site(SECOND), a01((100, 160), (560, 570)), total={
        # back up at 560 from the first low level: 100 to 260, 560 to 670 high, 260 to 560 and 670 to 970 low
        "energy_kwh": kwh((160 + 110) * 1000 + 600 * 200), "switch_ups": 2, "switch_downs": 2,
    }),
    Case("the second delay runs on within the latency", site(SECOND, sensors={"latency_s": 8.0}),
         a01((100, 160), (556, 570)), total={
        # high 108 to 260 and 564 to 670; low 260 to 560 and 670 to 970; 560 to 564 at the second level
        "energy_kwh": kwh((152 + 106) * 1000 + 600 * 200),
        "time_at_zero_h": (108 + 4 + (4320 - 970)) / 3600,
    }),
    Case("a second delay of 0", site(SECOND | {"second_delay_s": 0.0}), a01((100, 160)), total={
        "energy_kwh": kwh(160 * 1000), "time_at_zero_h": (4320 - 160) / 3600,
        "switch_downs": 1,
    }),
]

BORDER = [
    Case("equal neighbours make no border", two({}), a01((1700, 1700)), total={
        # the age reaches 100 s at 1800: an ordinary switch-down
        "energy_kwh": lit(100), "switch_ups": 1, "switch_downs": 1, "timetable_changes": 0,
    }),
    Case("low to low", two({"unoccupied_level": 0.4}), [], total={
        "energy_kwh": kwh(1800 * 200 + 2520 * 400), "timetable_changes": 1, "switch_ups": 0,
        "switch_downs": 0,
    }),
    Case("high to high", two({"occupied_level": 0.5}), a01((1700, 1900)), total={
        # 1700 to 1800 at 1000 W, to 2000 at 500 W
        "energy_kwh": kwh(100 * 1000 + 200 * 500 + (4320 - 300) * 200),
        "schedule_only_kwh": kwh(1800 * 1000 + 2520 * 500),
        "timetable_changes": 1, "switch_ups": 1, "switch_downs": 1,
    }),
    Case("a shorter delay lets go at the border", two({"timeout_s": 50.0}), a01((1600, 1745)), total={
        # age 55 at the border: high 1600 to 1800
        "energy_kwh": lit(200), "timetable_changes": 1, "switch_ups": 1, "switch_downs": 0,
    }),
    Case("a longer delay takes hold again", two({"timeout_s": 500.0}), a01((1500, 1600)), total={
        # high 1500 to 1700, low, age 200 at the border: high 1800 to 2100
        "energy_kwh": lit(500), "timetable_changes": 1, "switch_ups": 1, "switch_downs": 2,
    }),
    Case("the age reaches the new delay at the border", two({"timeout_s": 200.0}), a01((1500, 1600)), total={
        # held at the instant 1800 alone: low before and after, and the levels are equal
        "energy_kwh": lit(200), "timetable_changes": 0, "switch_ups": 1, "switch_downs": 1,
    }),
    Case("the age reaches the old delay at the border",
         two({"timeout_s": 300.0}), a01((1600, 1700)), total={
        # high goes on into the new settings: 1600 to 2000
        "energy_kwh": lit(400), "timetable_changes": 0, "switch_ups": 1, "switch_downs": 1,
    }),
    Case("the age reaches both delays at the border", two({"unoccupied_level": 0.4}),
         a01((1600, 1700)), [("A01", 1600, 1900)], total={
        # high 1600 to 1800, then 400 W: one timetable change, no switch-down, no false-off
        "energy_kwh": kwh(1600 * 200 + 200 * 1000 + 2520 * 400),
        "timetable_changes": 1, "switch_ups": 1, "switch_downs": 0, "false_offs": 0,
    }),
    Case("motion begins at the border", two({"unoccupied_level": 0.4}), a01((1800, 1810)), total={
        # low before, high after: the border's change; down at 1910
        "energy_kwh": kwh(1800 * 200 + 110 * 1000 + (4320 - 1910) * 400),
        "timetable_changes": 1, "switch_ups": 0, "switch_downs": 1,
    }),
    Case("motion begins at the border, the level stays", two({"occupied_level": 0.2}), a01((1800, 1810)),
         total={
        # low before, high after, both 0.2: no change of level, so nothing is counted
        "energy_kwh": 0.24, "time_at_low_h": low(110),
        "timetable_changes": 0, "switch_ups": 0, "switch_downs": 1,
    }),
    Case("motion begins at the border, latency", two({"unoccupied_level": 0.4}, sensors={"latency_s": 8.0}),
         a01((1800, 1810)), total={
        # low to low at the border, up at 1808, down at 1910
        "energy_kwh": kwh(1800 * 200 + 102 * 1000 + (4320 - 1902) * 400),
        "timetable_changes": 1, "switch_ups": 1, "switch_downs": 1,
    }),
    Case("motion at the border meets a shorter delay", two({"timeout_s": 50.0}, sensors={"latency_s": 8.0}),
         a01((1600, 1740), (1800, 1810)), total={
        # gap 60 > 50: let go by the border, up again at 1808, down at 1860
        "energy_kwh": lit(192 + 52), "timetable_changes": 1, "switch_ups": 2, "switch_downs": 1,
    }),
    Case("motion at the border meets the same delay, reached", two({"occupied_level": 0.5}),
         a01((1600, 1700), (1800, 1810)), total={
        # gap 100 <= 100 is held: 1600 to 1800 at 1000 W, to 1910 at 500 W
        "energy_kwh": kwh(200 * 1000 + 110 * 500 + (4320 - 310) * 200),
        "timetable_changes": 1, "switch_ups": 1, "switch_downs": 1,
    }),
    Case("a border within the latency", two({"unoccupied_level": 0.4}, sensors={"latency_s": 8.0}),
         a01((1795, 1810)), total={
        # 200 W to 1800, 400 W to 1803, high to 1910, 400 W
        "energy_kwh": kwh(1800 * 200 + 3 * 400 + 107 * 1000 + (4320 - 1910) * 400),
        "timetable_changes": 1, "switch_ups": 1, "switch_downs": 1,
    }),
    Case("a border within the latency would make the earlier age held",
         two({"timeout_s": 500.0, "unoccupied_level": 0.4}, sensors={"latency_s": 8.0}),
         a01((1500, 1600), (1795, 1810)), total={
        # high 1508 to 1700; unoccupied level 0.4 from 1800 to 1803, high to 2310
        "energy_kwh": kwh(192 * 1000 + (1800 - 192) * 200 + 3 * 400 + 507 * 1000 + (4320 - 2310) * 400),
        "timetable_changes": 1, "switch_ups": 2, "switch_downs": 2,
    }),
    Case("a border within the first latency, second level",
         two(SECOND | {"second_level": 0.1}, SECOND, sensors={"latency_s": 8.0}), a01((1795, 1810)), total={
        # nothing was seen before: second level 0 to 1800, 0.1 to 1803, high to 1910, 0.2 to 2210, 0.1
        "energy_kwh": kwh(3 * 100 + 107 * 1000 + 300 * 200 + (4320 - 2210) * 100),
        "timetable_changes": 1, "switch_ups": 1, "switch_downs": 1,
    }),
    Case("motion at the border, the earlier age held by the new delay",
         two({"timeout_s": 500.0}, sensors={"latency_s": 8.0}), a01((1500, 1600), (1800, 1810)), total={
        # low from 1700; the gap 200 <= 500 meets the new settings: high at the border itself, to 2310
        "energy_kwh": lit(192 + 510), "timetable_changes": 1, "switch_ups": 1, "switch_downs": 2,
    }),
    Case("a border just after motion that was held", two({"timeout_s": 50.0}, sensors={"latency_s": 8.0}),
         a01((1600, 1730), (1795, 1796)), total={
        # gap 65 <= 100: no switch-up is on its way; at the border the age is 4 <= 50: high 1608 to 1846
        "energy_kwh": lit(238), "timetable_changes": 0, "switch_ups": 1, "switch_downs": 1,
    }),
    Case("a switch-up falls due at the border", two({"unoccupied_level": 0.4}, sensors={"latency_s": 8.0}),
         a01((1792, 1810)), total={
        "energy_kwh": kwh(1800 * 200 + 110 * 1000 + (4320 - 1910) * 400),
        "timetable_changes": 1, "switch_ups": 0, "switch_downs": 1,
    }),
    Case("the second delay ends at the border",
         two(SECOND | {"occupied_level": 0.9}, SECOND), a01((1390, 1400)), total={
        # high 1390 to 1500, 0.2 to 1800, 0: one change of level, the border's
        "energy_kwh": kwh(110 * 1000 + 300 * 200), "timetable_changes": 1, "switch_downs": 1,
    }),
    Case("a border lifts the second level", two(SECOND | {"second_delay_s": 900.0}, SECOND),
         a01((990, 1000)), total={
        # high 990 to 1100, 0.2 to 1400, 0 to 1800, age 800 <= 1000: 0.2 to 2000, 0
        "energy_kwh": kwh(110 * 1000 + 500 * 200), "timetable_changes": 1, "switch_ups": 1, "switch_downs": 1,
    }),
    Case("an ordinary instant between borders", two({"timeout_s": 500.0}), a01((1790, 1800.5)), total={
        # the border is no end of anything: high 1790 to 2300.5
        "energy_kwh": lit(510.5), "timetable_changes": 0, "switch_ups": 1, "switch_downs": 1,
    }),
]

NIGHT = {"night": {"occupied_level": 0.5, "unoccupied_level": 0.1, "timeout_s": 100.0}}
WEEK = [
    {"days": ["Mon", "Tue", "Wed", "Thu", "Fri"], "from": "06:00", "to": "22:00", "settings": "day"},
    {"days": ["Mon", "Tue", "Wed", "Thu"], "from": "22:00", "to": "06:00", "settings": "night"},
    {"days": ["Fri"], "from": "22:00", "to": "24:00", "settings": "night"},
    {"days": ["Sat", "Sun"], "from": "00:00", "to": "24:00", "settings": "night"},
    {"days": ["Mon"], "from": "00:00", "to": "06:00", "settings": "night"},
]


def week(start: str, days: float, **more: Any) -> Any:
    """Return the site with a day and night timetable from a start."""
    return site(settings=NIGHT, timetable=WEEK, start=start, days=days, **more)


TIMETABLE = [
    Case("past midnight", week("2027-03-01T21:30:00", 0.5), [], total={
        # Monday 21:30 to Tuesday 09:30: 0.5 h day, 8 h night, 3.5 h day
        "energy_kwh": 4 * 0.2 + 8 * 0.1, "schedule_only_kwh": 4 * 1.0 + 8 * 0.5, "timetable_changes": 2,
    }),
    Case("Friday night into the weekend", week("2027-03-05T21:15:00", 0.25), [], total={
        # 0.75 h day, 5.25 h night; midnight is a row's end but no border
        "energy_kwh": 0.75 * 0.2 + 5.25 * 0.1, "timetable_changes": 1,
    }),
    Case("Sunday into Monday", week("2027-03-07T23:00:00", 0.5), [], total={
        # the week wraps: night to Monday 06:00 (7 h), 5 h day
        "energy_kwh": 7 * 0.1 + 5 * 0.2, "timetable_changes": 1,
    }),
    Case("a whole week and more", week("2027-03-03", 10), [], total={
        # ten days from a Wednesday hold 16 h of day on 8 weekdays (Wed to Fri and Mon to Fri): 16 borders
        "schedule_only_kwh": 128 * 1.0 + 112 * 0.5, "timetable_changes": 16,
    }),
    Case("settings replaced in one aisle", week(
        "2027-03-01T21:30:00", 0.5, floor={"aisles": 2},
        override=[{"aisles": ["A02"], "settings": {"night": "day"}}],
    ), [("A02", 1700, 1700)], total={"timetable_changes": 2, "switch_ups": 1, "switch_downs": 1}, zones={
        "A01": {"timetable_changes": 2, "switch_ups": 0, "energy_kwh": 4 * 0.2 + 8 * 0.1},
        # no border at 1800 there: the age reaches 100 s as on any other instant
        "A02": {"timetable_changes": 0, "switch_downs": 1, "energy_kwh": kwh(100 * 1000 + 43100 * 200)},
    }),
    Case("a sensor's hold and latency replaced in one aisle", site(
        floor={"aisles": 2}, override=[{"aisles": ["A02"], "hold_s": 20.0, "latency_s": 5.0}],
    ), [("A01", 100, 160), ("A02", 100, 160)], zones={
        "A01": {"energy_kwh": lit(160)},
        "A02": {"energy_kwh": lit(175)},  # 105 to 280
    }),
]

CASES = [*HOLD, *LATENCY, *SECOND_DELAY, *BORDER, *TIMETABLE]


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_worked_by_hand(case: Case, engine: Callable[..., Answer]) -> None:
    assert misses(case, engine) == []


@pytest.mark.parametrize("case", [case for case in CASES if case.motion], ids=lambda case: case.name)
def test_another_timeout_misses(case: Case) -> None:
    """Negative control: the same check fails on a model whose timeout is 7 s longer."""
    settings = {
        name: one.model_copy(update={"timeout_s": one.timeout_s + 7.0})
        for name, one in case.scenario.lighting.settings.items()
    }
    spoilt = case.scenario.model_copy(
        update={"lighting": case.scenario.lighting.model_copy(update={"settings": settings})}
    )
    has_effect = case.name not in UNMOVED
    assert bool(misses(case, by_twin, spoilt)) == has_effect


UNMOVED = {
    "motion past the end is cut there",
    "an age that reaches the delay at the end is no switch-down",
    "a switch-up due at the end never comes",
}
"""Cases in which no timeout runs out."""
