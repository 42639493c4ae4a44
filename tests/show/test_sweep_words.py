"""What a sweep and a sensitivity study say and draw: one aim or two, a best point or none, shares or not.

Comes in: two small sweeps, and figures made by hand.  What is told is computed here from the sweep's own
table of outcomes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from sim.results import Estimate
from sim.show.figures.style import style
from sim.show.figures.sweep import draw_saving
from sim.show.figures.tornado import draw_tornado
from sim.show.numbers.decide import SavingCurves, saving_curves, sweep_trade_off
from sim.show.reports.summary_sweep import better_points, sensitivity_summary, sweep_summary
from sim.show.words.bars import BLOCKS, front_lines, sweep_picture
from sim.show.words.front_facts import front_facts
from sim.show.words.sensitivity import sensitivity_page
from sim.show.words.sweep import sweep_page
from sim.study.differences import Difference
from sim.study.sensitivity import Bar, LogSize, Tornado
from sim.study.sweeping.front import Aim
from sim.study.sweeping.plan import make_plan
from sim.study.sweeping.sweep import SweepResult, sweep
from sim.study.sweeping.vary import parse_varied
from tests.show.test_notebook import check_cell
from tests.study.decide_site import small_site

MORE_AND_LESS = (Aim("saved_share", is_maximised=True), Aim("dim_entries"))
LOGS = LogSize("visits", 0.1, 3, 10)


@cache
def swept(aims: Sequence[Aim]) -> SweepResult:
    """By day a timeout of 60, 300 or 600 s and down to 10 or 30 %; in force are 300 s and 30 %."""
    site = small_site()
    texts = ["day.timeout_s=60,300,600", "day.unoccupied_level=0.1,0.3"]
    return sweep(site, make_plan(site, parse_varied(texts, site), replications=2), replications=2, aims=aims)


def best_by_hand(result: SweepResult) -> int:
    """The point no worse than in force in any aim and better in one, with most of the first aim."""
    found: list[tuple[float, int]] = []
    for point in range(len(result.plan)):
        gains = [
            aim.sign * (result.current[aim.outcome].mean() - result.outcomes[aim.outcome][:, point].mean())
            for aim in result.aims
        ]
        if min(gains) >= 0.0 and max(gains) > 0.0:
            found.append((-gains[0], point))
    return min(found)[1]


def test_a_point_better_in_every_aim_leads() -> None:
    """10 % instead of 30 % under the same timeout saves more, and as many trucks enter at low."""
    result = swept(MORE_AND_LESS)
    best = best_by_hand(result)
    assert result.plan.points[best] == (300, 0.1)
    assert better_points(result)[0] == best
    today = sweep_page(result).sections[-1]
    assert today.remarks[0].startswith("Beaten by day.timeout_s=300, day.unoccupied_level=0.1: ")
    # a saved share is large when good, and no dim entry less is no gain
    assert today.remarks[0].endswith("more saved_share.")
    summary = sweep_summary(result)
    decision = dict(summary.answers)["Which settings?"]
    assert decision.startswith("day.timeout_s=300, day.unoccupied_level=0.1: no worse than the settings in")
    energy = [result.current["energy_kwh"], result.outcomes["energy_kwh"][:, best]]
    told = re.search(r"It uses (.*?) kWh \(([0-9.]+) %\)", decision)
    assert told is not None
    check_cell(told[1], energy[0] - energy[1])
    share = 1.0 - energy[1].mean() / energy[0].mean()
    assert abs(float(told[2]) - 100.0 * share) <= 0.05, "half a unit of the digit shown"
    assert "less energy on the same trucks" in decision


def test_the_best_stands_beside_those_in_force_with_its_change() -> None:
    result = swept(MORE_AND_LESS)
    best = best_by_hand(result)
    table = sweep_summary(result).table
    assert table is not None
    assert table.header == ("", "In force", "Best that was tried", "Change")
    rows = {row[0]: row[1:] for row in table.rows}
    told = {"saved_share": (100.0, "% points"), "energy_kwh": (1.0, "kWh"), "false_offs": (1.0, "")}
    for name, (scale, unit) in told.items():
        change = (result.outcomes[name][:, best] - result.current[name]) * scale
        check_cell(rows[name][2], change)
        if change.any():
            with pytest.raises(AssertionError):
                check_cell(rows[name][2], 1.1 * change)
        assert rows[name][2].endswith(unit)
    assert rows["saved_share"][0].endswith(" %")


def test_where_nothing_is_better_the_table_has_one_column() -> None:
    """Only settings that save less are tried."""
    site = small_site()
    plan = make_plan(site, parse_varied(["day.unoccupied_level=0.4,0.5"], site), replications=1)
    result = sweep(site, plan, replications=1, aims=MORE_AND_LESS)
    summary = sweep_summary(result)
    assert dict(summary.answers)["Which settings?"].startswith("Nothing that was tried: none of 2 settings")
    assert summary.table is not None
    assert summary.table.header == ("", "In force")
    assert sweep_page(result).sections[-1].remarks == ("No point of this sweep beats it in every aim.",)


def test_one_aim_has_no_trade_off() -> None:
    """With one aim there is no ground to cover and no bend, and one setting is not beaten."""
    result = swept((Aim("energy_kwh"),))
    facts = front_facts(result)
    assert facts == {
        "settings_on_front": 1, "aims": ["energy_kwh"], "hypervolume": None, "knee_point": None,
    }
    assert "Where it bends" not in {section.title for section in sweep_page(result).sections}
    both = swept(MORE_AND_LESS)
    assert front_facts(both)["hypervolume"] is not None
    assert "Where it bends" in {section.title for section in sweep_page(both).sections}
    choice = dict(sweep_summary(result).answers)["What is the choice?"]
    assert choice.startswith("1 setting of 6 tried is not beaten in least energy_kwh. aislewake recommend")
    choice = dict(sweep_summary(both).answers)["What is the choice?"]
    assert "are not beaten in most saved_share and least dim_entries. Between them more of one" in choice


def test_points_that_are_beaten_are_told_by_how_much_more() -> None:
    beaten = next(one for one in sweep_page(swept(MORE_AND_LESS)).sections if one.title.startswith("Beaten"))
    assert "most to gain in most saved_share" in beaten.title
    assert len(beaten.rows) == 3, "30 % under each timeout is beaten by 10 % under the same"
    for row in beaten.rows:
        assert "more saved_share" in row[2]
        assert "less saved_share" not in row[2]


def test_a_sweep_in_text_is_its_trade_off() -> None:
    result = swept(MORE_AND_LESS)
    assert sweep_picture(result, 200, BLOCKS) == front_lines(sweep_trade_off(result), 80, BLOCKS)
    assert max(map(len, sweep_picture(result, 64, BLOCKS))) <= 64


def test_no_curve_joins_points_that_differ_in_everything() -> None:
    """Three timeouts, each with a level of its own: a line through them would show two things at once."""
    result = swept(MORE_AND_LESS)
    assert saving_curves(result) is not None
    lone = tuple((60 + 100 * number, 0.1 + 0.05 * number) for number in range(len(result.plan)))
    scattered = replace(result, plan=replace(result.plan, points=lone))
    assert saving_curves(scattered) is None
    assert sweep_trade_off(scattered).lines == ()


@pytest.mark.parametrize(("count", "lowest"), [(1, 0.1), (2, 0.1), (1, -0.3)])
def test_the_saving_picture(count: int, lowest: float) -> None:
    """A key only where there are curves to tell apart; the axis begins at 0 unless something costs energy."""
    across = np.array([60.0, 300.0, 600.0])
    mean = np.array([0.5, 0.3, lowest + 0.05])
    numbers = SavingCurves(
        "day.timeout_s", (across,) * count, (mean,) * count, (np.full(3, 0.05),) * count,
        tuple(f"level {number}" for number in range(count)), 0,
    )
    with style():
        (axes,) = draw_saving(numbers).axes
    assert (axes.get_legend() is not None) == (count > 1)
    bottom = axes.get_ylim()[0]
    assert bottom == 0.0 if lowest >= 0.0 else bottom < 100.0 * lowest
    line = next(one for one in axes.lines if len(one.get_xdata()) == 3)
    assert np.asarray(line.get_xdata()).tolist() == [1.0, 5.0, 10.0]
    assert np.asarray(line.get_ydata()).tolist() == pytest.approx((100.0 * mean).tolist())


def bar(name: str, low: float, high: float, half: float) -> Bar:
    """An input that moves the answer by so much at its ends."""
    return Bar(name, 0.5, 1.5, Difference(Estimate(low, half), True), Difference(Estimate(high, half), True))


def test_an_answer_in_its_own_unit_or_in_points() -> None:
    """20 kWh are told and drawn as 20 kWh; a share of 0.2 as 20 points of per cent."""
    for outcome, size, told in (("energy_kwh", 20.0, "kWh"), ("saved_share", 0.2, "% points")):
        bars = (bar("volume", -size, 2.0 * size, 0.1 * size), bar("miss", 0.0, 0.0, size))
        found = Tornado(outcome, Estimate(3.0 * size, 0.1 * size), bars)
        section = sensitivity_page(small_site(), found, LOGS, 2, ()).sections[0]
        assert section.rows[0][2:] == (f"-20.0 ± 2.0 {told}", f"40.0 ± 2.0 {told}")
        assert f"60.0 ± 2.0 {told.split()[0]} as stated" in section.title
        assert section.remarks == (
            f"Measure volume on site first: it moves {outcome} most.", "No effect shown of miss.",
        )
        with style():
            (axes, *_) = draw_tornado(found).axes
        widths = sorted({round(patch.get_width(), 9) for patch in axes.patches if patch.get_width()})
        assert widths == [-20.0, 40.0]
        assert told in axes.get_xlabel()


def test_a_study_in_which_nothing_moves_the_answer() -> None:
    """All intervals reach across 0."""
    bars = (bar("volume", -1.0, 1.0, 5.0), bar("miss", 0.0, 0.5, 5.0))
    found = Tornado("energy_kwh", Estimate(60.0, 2.0), bars)
    said = dict(sensitivity_summary(found, LOGS).answers)["What to measure on site first?"]
    assert said == "No input moves the energy visibly: more replications, or wider ranges."
    section = sensitivity_page(small_site(), found, LOGS, 2, ()).sections[0]
    assert section.remarks == ("No input moves the answer visibly: more replications, or wider ranges.",)
    moved = replace(found, bars=(bar("volume", -20.0, 40.0, 5.0), found.bars[1]))
    said = dict(sensitivity_summary(moved, LOGS).answers)["What to measure on site first?"]
    assert said.startswith("Volume: over its range it moves the energy by 60 kWh, more than any other input.")
    assert said.endswith("No effect is shown of miss.")
