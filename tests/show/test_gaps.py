"""Gaps between motions: by hand, by the closed form of random motion, and against what the lights did."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from sim.lighting.timetable import place_programs
from sim.records import Detections
from sim.replication import prepare_site, run_replication
from sim.results import Result
from sim.scenario.schema import Scenario
from sim.show.figures.gaps import draw_gaps
from sim.show.figures.style import SCHEDULE, SETTINGS, style
from sim.show.numbers.gaps import MOST_LINES, MOST_PANELS, GapNumbers, age_pieces, gap_numbers, share_beyond
from sim.show.words.captions_floor import gap_words
from sim.study.replications.precision import estimate_mean
from tests.show.made_results import make_result, make_scenario

ONE_AISLE = {"aisles": 1, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0}
ALL_DAY = [{"from": "00:00", "to": "24:00", "settings": "day"}]
SIGMAS = 4.0


def gaps_of(scenario: Scenario, *zones: list[tuple[float, float]]) -> GapNumbers:
    """The numbers for given detections, zone by zone."""
    rows = [(zone, start, end) for zone, seen in enumerate(zones) for start, end in seen]
    zone, start, end = (np.array(column) for column in zip(*rows, strict=True))
    seen = Detections(zone.astype(np.int64), start.astype(float), end.astype(float))
    result = make_result(scenario, per_hour=1.0)
    return gap_numbers(replace(result, close_look=replace(result.close_look, detections=seen)))


def at(numbers: GapNumbers, panel: int, delay_s: float) -> tuple[float, float]:
    """Shares of gaps and of idle time beyond a delay, read off the curves."""
    one = numbers.panels[panel]
    place = np.searchsorted(numbers.grid_s, delay_s)
    return float(one.gap_share[place]), float(one.idle_share[place])


def test_shares_by_hand() -> None:
    # hold 30 s and timeout 270 s; gaps of 100 s and 400 s, then 3080 s until the hour ends, no whole gap
    scenario = make_scenario(days=1 / 24, floor=ONE_AISLE, timetable=ALL_DAY)
    numbers = gaps_of(scenario, [(0.0, 10.0), (110.0, 120.0), (520.0, 520.0)])
    (panel,) = numbers.panels
    assert (panel.name, panel.delay_s, panel.zones, panel.gaps) == ("day", 300.0, 1, 2)
    assert panel.idle_s == 100.0 + 400.0 + 3080.0
    assert panel.gaps_beyond == 0.5
    assert panel.idle_beyond == pytest.approx((100.0 + 2780.0) / 3580.0)
    assert numbers.silent_zones == 0
    gaps, idle = at(numbers, 0, 50.0)
    assert gaps == 1.0
    assert idle < 1.0


def test_a_gap_as_long_as_the_delay_is_held() -> None:
    scenario = make_scenario(days=1 / 24, floor=ONE_AISLE, timetable=ALL_DAY)
    (panel,) = gaps_of(scenario, [(0.0, 10.0), (310.0, 320.0)]).panels
    assert panel.gaps_beyond == 0.0
    (panel,) = gaps_of(scenario, [(0.0, 10.0), (310.5, 320.0)]).panels
    assert panel.gaps_beyond == 1.0


def test_idle_time_is_cut_at_a_border_and_a_gap_belongs_where_it_begins() -> None:
    # day to night at 22:00 = 79200 s, D 300 and 90 s; motion until 79000, then at 79400 and 79450
    scenario = make_scenario(floor=ONE_AISLE)
    numbers = gaps_of(scenario, [(78_000.0, 79_000.0), (79_400.0, 79_420.0), (79_450.0, 79_460.0)])
    day, night = sorted(numbers.panels, key=lambda panel: panel.name)
    assert (day.gaps, night.gaps) == (1, 1)
    assert (day.gaps_beyond, night.gaps_beyond) == (1.0, 0.0)
    assert day.idle_s == 200.0  # ages 0 to 200
    assert day.idle_beyond == 0.0
    # night: ages 200 to 400, 0 to 30, and 0 to 6940 at the run's end
    assert night.idle_s == 200.0 + 30.0 + 6940.0
    assert night.idle_beyond == pytest.approx((200.0 + 6850.0) / 7170.0)


def test_pieces_of_one_zone() -> None:
    (program,) = place_programs(make_scenario(floor=ONE_AISLE))
    start, end = np.array([21_000.0, 22_000.0]), np.array([21_100.0, 86_400.0])
    period, young, old, gap = age_pieces(start, end, program)
    # night until 21600, then day: one gap in two pieces; motion lasts until the end
    assert period.tolist() == [0, 1]
    assert young.tolist() == [0.0, 500.0]
    assert old.tolist() == [500.0, 900.0]
    assert gap[0] == 900.0
    assert np.isnan(gap[1])


def check_random_motion(shares: tuple[np.ndarray, np.ndarray], rates: np.ndarray, count: int) -> None:
    """Both shares beyond x of exponential gaps with rate r are p = exp(-r x); k = 4 standard errors.

    Of the gaps: binomial, sqrt(p (1 - p) / n).  Of the idle time, a ratio of means, by the delta method from
    the moments of the exponential law: sqrt((2 p - 2 p^2 (1 + r x)) / n).
    """
    expected = np.exp(-rates)
    of_gaps = np.sqrt(expected * (1.0 - expected) / count)
    of_idle = np.sqrt((2.0 * expected - 2.0 * expected**2 * (1.0 + rates)) / count)
    for share, error in zip(shares, (of_gaps, of_idle), strict=True):
        assert (np.abs(share - expected) < SIGMAS * error).all()


def random_shares(gaps: np.ndarray, mean_s: float) -> tuple[np.ndarray, np.ndarray, np.ndarray, int]:
    """Shares of gaps and idle time of pulses that far apart, rate times delay, and the number of gaps.

    The run ends where the next pulse would be, so that its end cuts nothing off.
    """
    *times, end = np.cumsum(gaps).tolist()
    scenario = make_scenario(days=end / 86_400.0, floor=ONE_AISLE, timetable=ALL_DAY)
    numbers = gaps_of(scenario, [(time, time) for time in times])
    (panel,) = numbers.panels
    kept = (numbers.grid_s > 0.1 * mean_s) & (numbers.grid_s < 4.0 * mean_s)
    return panel.gap_share[kept], panel.idle_share[kept], numbers.grid_s[kept] / mean_s, panel.gaps


def test_random_motion_has_its_closed_form() -> None:
    """Poisson pulses, 6 an hour (Ross, Introduction to Probability Models: exponential, memoryless)."""
    gaps = np.random.default_rng(7).exponential(600.0, 20_000)
    of_gaps, of_idle, rates, count = random_shares(gaps, 600.0)
    check_random_motion((of_gaps, of_idle), rates, count)


@pytest.mark.parametrize("spoilt", ["regular", "bunched", "idle time in long gaps", "another mean"])
def test_the_closed_form_notices(spoilt: str) -> None:
    rng = np.random.default_rng(7)
    gaps, mean_s = rng.exponential(600.0, 20_000), 600.0
    if spoilt == "regular":
        gaps = rng.gamma(2.0, 300.0, 20_000)
    if spoilt == "bunched":
        gaps = rng.gamma(0.5, 1200.0, 20_000)
    if spoilt == "another mean":
        mean_s = 630.0
    of_gaps, of_idle, rates, count = random_shares(gaps, mean_s)
    if spoilt == "idle time in long gaps":  # all of a long gap instead of what lies beyond the delay
        of_idle = np.array([gaps[gaps > one].sum() / gaps.sum() for one in rates * mean_s])
    with pytest.raises(AssertionError):
        check_random_motion((of_gaps, of_idle), rates, count)


def test_shares_of_nothing_are_not_known() -> None:
    assert np.isnan(share_beyond(np.zeros(0), np.zeros(0), np.array([1.0]))).all()


BUSY = {
    "shifts": [{"trucks": "reach", "from": "00:00", "to": "24:00", "crew": 3}],
    "sensors": {"at": "every", "range_m": 9.0, "hold_s": 30.0, "still_rate_per_min": 2.0},
}
SITES: dict[str, dict[str, Any]] = {
    "two periods": {},
    "aisles of their own": {"override": [{"aisles": ["A02"], "settings": {"day": "night"}, "hold_s": 200.0}]},
    "lead zones": {"floor": {**ONE_AISLE, "aisles": 2, "zones_per_aisle": 3, "lead_zones": 1}},
    "from within a period": {"start": "2027-03-03T20:50", "days": 0.9},
}


@pytest.mark.parametrize("changes", SITES.values(), ids=SITES.keys())
def test_idle_time_beyond_the_delay_is_the_time_at_low_of_a_run(changes: dict[str, Any]) -> None:
    """Without latency, time at low is idle time of an age beyond the delay and time before any motion."""
    scenario = make_scenario(**{**BUSY, **changes})
    site = prepare_site(scenario)
    outcomes, look = run_replication(site, 0)
    result = Result(
        scenario, site.layout, site.programs, (0,), (outcomes,),
        {name: estimate_mean([value]) for name, value in outcomes.total.items()}, look, "run", (),
    )
    numbers = gap_numbers(result)
    assert numbers.left_out == ()
    low = sum(panel.idle_s * panel.idle_beyond for panel in numbers.panels)
    lit = [levels for levels in look.levels if levels.is_high.any()]
    before = sum(float(levels.start[np.argmax(levels.is_high)]) for levels in lit)
    silent = numbers.silent_zones * scenario.duration_s
    assert (low + before + silent) / 3600.0 == pytest.approx(outcomes.total["time_at_low_h"], rel=1e-9)
    assert sum(panel.gaps for panel in numbers.panels) > 100


def test_gaps_beyond_the_delay_are_switch_downs_of_a_run() -> None:
    """In one period each gap longer than the delay is a switch-down; so is an end that comes late enough."""
    scenario = make_scenario(**BUSY, timetable=ALL_DAY)
    site = prepare_site(scenario)
    outcomes, look = run_replication(site, 0)
    result = Result(
        scenario, site.layout, site.programs, (0,), (outcomes,),
        {name: estimate_mean([value]) for name, value in outcomes.total.items()}, look, "run", (),
    )
    (panel,) = gap_numbers(result).panels
    ends = sum(not levels.is_high[-1] for levels in look.levels)
    assert panel.gaps * panel.gaps_beyond + ends == pytest.approx(outcomes.total["switch_downs"])


def test_zones_that_saw_nothing_are_counted_and_told() -> None:
    floor = {**ONE_AISLE, "aisles": 3}
    numbers = gaps_of(make_scenario(floor=floor), [(30_000.0, 30_001.0), (30_100.0, 30_101.0)])
    assert numbers.silent_zones == 2
    assert "2 zones that saw none" in gap_words(numbers)


def test_settings_without_a_gap_are_named_and_not_drawn() -> None:
    numbers = gaps_of(make_scenario(floor=ONE_AISLE), [(30_000.0, 30_001.0), (30_100.0, 30_101.0)])
    assert [panel.name for panel in numbers.panels] == ["day"]
    assert numbers.left_out == ("night",)
    assert "Not shown: night" in gap_words(numbers)


def test_no_gap_at_all() -> None:
    numbers = gaps_of(make_scenario(floor=ONE_AISLE), [(30_000.0, 30_001.0)])
    assert numbers.panels == ()
    assert "no gap to show" in gap_words(numbers)


def test_many_settings_and_aisles_stay_readable() -> None:
    floor = {**ONE_AISLE, "aisles": 60}
    names = [f"s{number}" for number in range(8)]
    result = make_result(
        make_scenario(
            floor=floor,
            lighting={"settings": {name: {"unoccupied_level": 0.2, "timeout_s": 60 * (k + 1)}
                                   for k, name in enumerate(names)}},
            timetable=[{"from": f"{3 * k:02d}:00", "to": f"{3 * k + 3:02d}:00", "settings": name}
                       for k, name in enumerate(names)],
        ),
        per_hour=200.0,
    )
    numbers = gap_numbers(result)
    assert len(numbers.panels) == MOST_PANELS
    assert len(numbers.left_out) == 2
    assert all(len(panel.aisle_share) <= MOST_LINES for panel in numbers.panels)
    with style():
        assert len([axes for axes in draw_gaps(numbers).axes if axes.get_visible()]) == MOST_PANELS


def test_the_picture_shows_its_numbers() -> None:
    numbers = gap_numbers(make_result())
    with style():
        axes = draw_gaps(numbers).axes[0]
    lines = {line.get_color(): line for line in axes.lines if len(line.get_xdata()) > 1}
    panel = numbers.panels[0]
    assert np.array_equal(lines[SETTINGS].get_ydata(), 100.0 * panel.idle_share)
    assert np.array_equal(lines[SCHEDULE].get_ydata(), 100.0 * panel.gap_share)
    assert axes.get_xscale() == "log"
    delays = [line.get_xdata()[0] for line in axes.lines if line.get_linestyle() == "--"]
    assert delays == [panel.delay_s]
