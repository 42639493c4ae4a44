"""The step-in schedule and the functional test's sample against closed forms and whole runs."""

from __future__ import annotations

import datetime as dt
import itertools
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sim.scenario.schema import Scenario
from sim.show.folders.run import write_results
from sim.show.handover.tests import chance_to_find, sample_size
from sim.study.relight import with_settings
from sim.study.replications.replicate import replay, run
from sim.study.step_in import find_step_in, plan_delays, staffed_hours
from tests.show.made_results import make_scenario


@given(
    final=st.floats(0.0, 3000.0), first=st.floats(60.0, 7200.0), weeks=st.integers(1, 26)
)
def test_delays_fall_from_the_first_to_the_final_one(final: float, first: float, weeks: int) -> None:
    found = plan_delays(final, first, weeks)
    assert len(found) == weeks
    assert found[-1] == final
    assert all(after <= before for before, after in itertools.pairwise(found))
    assert found[0] == (first if final < first and weeks > 1 else final)


def test_delays_in_equal_ratios() -> None:
    """1200 s to 75 s in five weeks: halved each week."""
    assert plan_delays(75.0, 1200.0, 5) == (1200.0, 600.0, 300.0, 150.0, 75.0)
    assert plan_delays(75.0, 1200.0, 4) != (1200.0, 600.0, 300.0, 75.0)


@given(aisles=st.integers(1, 400), data=st.data())
def test_chance_of_meeting_a_wrong_aisle(aisles: int, data: st.DataObject) -> None:
    """Hypergeometric law: SciPy's survival function at 0."""
    wrong, tested = data.draw(st.integers(1, aisles)), data.draw(st.integers(1, aisles))
    expected = stats.hypergeom(aisles, wrong, tested).sf(0)
    assert chance_to_find(aisles, wrong, tested) == pytest.approx(expected, abs=1e-9)


@given(aisles=st.integers(1, 2000))
def test_a_tenth_and_at_least_one(aisles: int) -> None:
    """IECC C408.3.1.1 (10 % and one: from memory); in whole numbers: ceil(N / 10)."""
    assert sample_size(aisles, 0.10) == max(1, -(-aisles // 10))
    assert sample_size(aisles, 1.0) == aisles


def week(**changes: object) -> Scenario:
    """A week of two shifts on workdays."""
    days = ["Mon", "Tue", "Wed", "Thu", "Fri"]
    shifts = [
        {"trucks": "reach", "days": days, "from": "06:00", "to": "14:00", "crew": 2},
        {"trucks": "reach", "days": days, "from": "14:00", "to": "22:00", "crew": 3},
    ]
    return make_scenario(**{"days": 7.0, "shifts": shifts, **changes})


def test_staffed_hours_of_a_week() -> None:
    """5 days of 16 h; without Wednesday 4; overlapping shifts count once; a night shift runs on."""
    assert staffed_hours(week()) == pytest.approx(80.0)
    assert staffed_hours(week(holidays=[dt.date(2027, 3, 3)])) == pytest.approx(64.0)
    night = [{"trucks": "reach", "days": ["Sun"], "from": "22:00", "to": "06:00", "crew": 1}]
    assert staffed_hours(week(shifts=night)) == pytest.approx(8.0)  # 6 h of the Sunday before, 2 h at the end
    both = [
        {"trucks": "reach", "days": ["Mon"], "from": "06:00", "to": "14:00", "crew": 1},
        {"trucks": "reach", "days": ["Mon"], "from": "12:00", "to": "16:00", "crew": 1},
    ]
    assert staffed_hours(week(shifts=both)) == pytest.approx(10.0)


def test_each_step_is_what_a_run_with_it_gives() -> None:
    """False-offs of every step against a run, which replays; 2 shifts of 8 h in the day."""
    scenario = make_scenario(
        sensors={"at": "ends", "range_m": 9.0, "hold_s": 10.0, "latency_s": 0.5},
        lighting={"settings": {
            "day": {"unoccupied_level": 0.3, "timeout_s": 20, "fade_up_s": 0.7},
            "night": {"occupied_level": 0.5, "unoccupied_level": 0.0, "timeout_s": 60},
        }},
    )
    found = find_step_in(scenario, weeks=3, first_delay_s=600.0, replications=2)
    assert found.shifts == pytest.approx(2.0)
    named = scenario.lighting.settings
    for step in found.steps:
        choice = {
            name: named[name].model_copy(update={"timeout_s": step.timeout_s[name]}) for name in named
        }
        result = run(with_settings(scenario, choice), replications=2)
        totals = [outcome.total for outcome in result.outcomes]
        expected = np.mean([total["false_offs"] for total in totals]) / 2.0
        assert step.false_offs.mean == pytest.approx(expected)
        assert step.saved_share.mean == pytest.approx(np.mean([total["saved_share"] for total in totals]))
    assert found.steps[0].false_offs.mean < found.steps[-1].false_offs.mean
    assert found.steps[-1].timeout_s == {"day": 20.0, "night": 60.0}
    assert found.steps[0].timeout_s == {"day": 590.0, "night": 590.0}


def test_a_log_is_replayed_at_every_step(tmp_path: Path) -> None:
    scenario = make_scenario(replications=1)
    write_results(run(scenario), tmp_path / "run")
    logs = {"detections": tmp_path / "run" / "detections.csv", "visits": tmp_path / "run" / "visits.csv"}
    write_results(replay(scenario, **logs), tmp_path / "log")
    found = find_step_in(scenario, weeks=2, log=tmp_path / "log")
    assert found.replications == 1
    last = replay(scenario, **logs).outcomes[0].total["false_offs"]
    assert found.steps[-1].false_offs.mean == pytest.approx(last / found.shifts)


def test_daylight_and_reacting_drivers_have_steps_too() -> None:
    caps = [[0.5] * 24 for _ in range(12)]
    capped = find_step_in(make_scenario(skylight={"caps": caps}), weeks=2, replications=1)
    plain = find_step_in(make_scenario(), weeks=2, replications=1)
    assert (capped.steps[0].saved_share.mean or 0.0) > (plain.steps[0].saved_share.mean or 0.0)
    trucks = [{
        "name": "reach", "count": 4, "speed_laden_m_per_s": 2.0, "speed_empty_m_per_s": 2.0,
        "handling_mean_s": 60.0, "dim_speed_factor": 0.5,
    }]
    scenario = make_scenario(trucks=trucks)
    live = find_step_in(scenario, weeks=1, replications=2)
    total = [outcome.total["false_offs"] for outcome in run(scenario, replications=2).outcomes]
    assert live.steps[0].false_offs.mean == pytest.approx(np.mean(total) / live.shifts)
