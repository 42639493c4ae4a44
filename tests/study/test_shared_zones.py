"""Deciding for aisles that share a zone: one choice for the group, written back to all of its aisles."""

from __future__ import annotations

import numpy as np
import pytest

from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.replication import prepare_site, simulate_traffic
from sim.scenario.schema import Scenario
from sim.show.figures.plan import plan_picture
from sim.show.numbers.plan import plan_numbers
from sim.show.words.captions_floor import plan_words
from sim.study.ages.evaluate import evaluate_by_replay, evaluate_settings
from sim.study.decide.recommend import recommend
from sim.study.decide.wish import make_wish, with_wishes
from sim.study.explain import explain_moment, find_worst_spells
from sim.study.replications.replicate import run
from sim.study.sensitivity import log_size
from tests.study.decide_site import WISHES, small_site

GROUP = '\n[[group]]\nname = "outer"\naisles = ["A03", "A01"]\n'


def grouped_site() -> Scenario:
    """The small site, its first and third aisle in one zone."""
    return small_site(extra=GROUP)


def test_a_recommendation_gives_a_group_one_choice() -> None:
    wish = make_wish(with_wishes(grouped_site(), {**WISHES, "max": {"dim_truck_s_per_visit": 6.0}}))
    found = recommend(wish, replications=2, fresh=2)
    assert found.fit.zone_place.tolist() == [0, 1]
    assert found.fit.allowed.shape[0] == 2
    for name, plan in found.plans.items():
        assert len(plan.group_of) == 2
        written = found.scenarios[name]
        assert written.settings_of("A01") == written.settings_of("A03")
        for own, wanted in ((0, "A01"), (1, "A02")):
            chosen = plan.settings_of(own)
            assert all(written.settings_of(wanted)[period] == chosen[period] for period in chosen)


def test_the_age_view_is_a_replay_by_zone() -> None:
    place = prepare_site(grouped_site())
    traffic = simulate_traffic(place, 0)
    base = dict(place.scenario.lighting.settings)
    choices = [base, {**base, "day": base["day"].model_copy(update={"timeout_s": 30.0})}]
    fast = evaluate_settings(place, traffic, choices, by_zone=True)
    for name, slow in evaluate_by_replay(place, traffic, choices, by_zone=True).items():
        assert fast[name].shape == (2, 2)
        assert np.allclose(fast[name], slow, rtol=1e-9, atol=1e-6), name


def test_a_moment_and_the_worst_spells_of_a_group() -> None:
    result = run(grouped_site(), replications=1)
    visits = result.close_look.visits
    assert visits is not None
    in_third = np.flatnonzero(visits.aisle == 2)[0]
    (one,) = explain_moment(result, 0, float(visits.enter[in_third]) + 1.0)
    assert (one.zone, one.aisle) == ("outer", "outer")
    assert len(one.guests) >= 1
    spells = find_worst_spells(result, 1000, 0)
    assert {spell.aisle for spell in spells} == {"A01", "A03"}


def test_how_many_aisles_to_log_is_about_aisles() -> None:
    assert log_size(grouped_site(), 0.1, replications=1) == log_size(small_site(), 0.1, replications=1)


def test_the_plan_joins_the_aisles_of_a_zone() -> None:
    scenario = grouped_site()
    numbers = plan_numbers(scenario, lay_out(scenario))
    assert (numbers.aisles, numbers.zones) == (3, 2)
    assert [aisle.zone for aisle in numbers.rows[0].aisles] == ["outer", "", "outer"]
    assert "Aisles joined above share one zone: outer (A01 and A03)." in plan_words(numbers)
    assert plan_picture(numbers, "svg").startswith(b"<?xml")
    assert b"aisles of one zone" not in plan_picture(plan_numbers(*laid(small_site())), "svg")


def laid(scenario: Scenario) -> tuple:
    """A scenario with its layout."""
    return scenario, lay_out(scenario)


def test_explain_takes_the_name_of_an_aisle_or_of_its_zone() -> None:
    from sim.commands.ask import _find_place

    layout = lay_out(grouped_site())
    assert [_find_place(layout, name) for name in ("outer", "A01", "A03", "A02")] == [0, 0, 0, 1]
    with pytest.raises(InputError, match='did you mean "outer"'):
        _find_place(layout, "outre")
