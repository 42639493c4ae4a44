"""Trucks at work and moves that wait: by hand, and against the traffic's own books of a run."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sim.replication import prepare_site, run_replication
from sim.results import Result, TrafficBooks
from sim.show.figures.style import SETTINGS, style
from sim.show.figures.work import draw_work
from sim.show.numbers.work import WorkNumbers, work_numbers
from sim.show.words.captions_floor import work_words
from tests.show.made_results import make_result, make_scenario
from tests.show.test_figures import steps_of


def books(hours: int, duty: float, busy: float, backlog: np.ndarray) -> TrafficBooks:
    """Books of as many hours with the same duty and work in each."""
    columns = {"duty_h": np.full(hours, duty), "busy_h": np.full(hours, busy), "backlog": backlog}
    return TrafficBooks(columns, {"reach": {"utilisation": busy / duty}}, {}, {})


def numbers_of(result: Result, *found: TrafficBooks) -> WorkNumbers:
    """The numbers with these books, one for each replication."""
    pairs = zip(result.outcomes, found, strict=True)
    numbers = work_numbers(replace(result, outcomes=tuple(replace(one, traffic=book) for one, book in pairs)))
    assert numbers is not None
    return numbers


def test_hours_are_means_over_replications() -> None:
    waits = np.zeros(24)
    waits[8] = 6.0
    numbers = numbers_of(make_result(), books(24, 4.0, 1.0, waits), books(24, 4.0, 3.0, np.zeros(24)))
    assert numbers.edge_s.tolist() == [3600.0 * hour for hour in range(25)]
    assert (numbers.on_duty[5], numbers.busy[5]) == (4.0, 2.0)
    assert (numbers.backlog[8], numbers.backlog_most[8], numbers.left) == (3.0, 6.0, 0.0)
    assert numbers.utilisation == {"reach": 0.5}


def test_a_short_last_hour_counts_by_its_length() -> None:
    result = make_result(make_scenario(days=1.5 / 24), factors=(1.0,))
    columns = {"duty_h": np.array([2.0, 1.0]), "busy_h": np.array([1.0, 0.25]), "backlog": np.zeros(2)}
    numbers = numbers_of(result, TrafficBooks(columns, {"reach": {"utilisation": 0.4}}, {}, {}))
    assert numbers.on_duty.tolist() == [2.0, 2.0]
    assert numbers.busy.tolist() == [1.0, 0.5]


def test_long_runs_show_days_and_what_waits_at_their_end() -> None:
    result = make_result(make_scenario(days=28.0), factors=(1.0,), per_hour=1.0)
    waits = np.arange(28 * 24, dtype=float)
    numbers = numbers_of(result, books(28 * 24, 3.0, 2.0, waits))
    assert numbers.is_daily
    assert numbers.on_duty.tolist() == pytest.approx([3.0] * 28)
    assert numbers.backlog[:2].tolist() == [23.0, 47.0]


def test_unknown_where_the_traffic_was_not_simulated() -> None:
    assert work_numbers(make_result()) is None
    assert work_numbers(make_result(with_visits=False, source="replay", factors=(1.0,))) is None


def test_words_tell_work_that_was_left() -> None:
    waits = np.linspace(0.0, 80.0, 24)
    result = make_result(factors=(1.0,))
    assert "80 moves were left undone" in work_words(numbers_of(result, books(24, 4.0, 4.0, waits)))
    done = work_words(numbers_of(result, books(24, 4.0, 1.0, np.zeros(24))))
    assert "all work was begun" in done
    assert "reach 25 %" in done


def test_numbers_agree_with_the_books_of_a_run() -> None:
    scenario = make_scenario(start="2027-03-03T20:50")
    site = prepare_site(scenario)
    outcomes, look = run_replication(site, 0)
    result = replace(make_result(scenario, factors=(1.0,)), outcomes=(outcomes,), close_look=look)
    numbers = work_numbers(result)
    assert numbers is not None
    hours = np.diff(numbers.edge_s) / 3600.0
    assert outcomes.traffic is not None
    group = outcomes.traffic.groups["reach"]
    assert float(numbers.busy @ hours) == pytest.approx(group["busy_h"])
    assert float(numbers.on_duty @ hours) == pytest.approx(group["duty_h"])
    assert numbers.edge_s[-1] == scenario.duration_s


def test_the_picture_shows_its_numbers() -> None:
    numbers = numbers_of(make_result(), *(books(24, 4.0, 1.0 + k, np.zeros(24)) for k in range(2)))
    with style():
        lines = steps_of(draw_work(numbers, make_scenario().start_datetime))
    assert np.array_equal(lines[SETTINGS].values, numbers.busy)
