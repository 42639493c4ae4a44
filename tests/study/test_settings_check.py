"""The quick check of settings against the full one: it lets pass what a scenario file would."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import sim
from sim.errors import InputError
from sim.scenario.checks.settings import SettingsCheck
from sim.scenario.schema import Scenario
from sim.study.sweeping.plan import check_content, make_plan, put_in
from sim.study.sweeping.vary import parse_varied
from tests.study.decide_site import small_site

SITES = [small_site(), sim.load("pallet-reserve"), sim.load("narrow-aisles"), sim.load("cross-dock")]
CHECKS = [SettingsCheck(site.content()) for site in SITES]
VALUES = {
    "timeout_s": st.sampled_from((-1.0, 0.0, 0.5, 1.0, 60.0, 1e9, "x")),
    "occupied_level": st.sampled_from((0.2, 0.7, 1.0, 1.5)),
    "unoccupied_level": st.sampled_from((0.0, 0.3, 0.8, 1.0)),
    "fade_up_s": st.sampled_from((0.0, 0.7, 90.0)),
    "second_delay_s": st.sampled_from((None, 0.0, 600.0)),
    "second_level": st.sampled_from((None, 0.0, 0.5)),
}


def in_full(site: Scenario, values: dict[str, dict[str, Any]]) -> Scenario | None:
    """Check the values as a file is checked; a key without a value is not there."""
    content = site.content()
    pairs = [
        ((("lighting", "settings", name, key),), value)
        for name, own in values.items()
        for key, value in own.items()
    ]
    return check_content(put_in(content, pairs))[0]


@given(st.data())
@settings(max_examples=300, deadline=None, derandomize=True)
def test_what_passes_is_what_a_file_may_say(data: st.DataObject) -> None:
    number = data.draw(st.integers(0, len(SITES) - 1))
    site = SITES[number]
    names = data.draw(st.lists(st.sampled_from(list(site.lighting.settings)), min_size=1, unique=True))
    keys = st.lists(st.sampled_from(list(VALUES)), min_size=1, max_size=3, unique=True)
    values = {name: {key: data.draw(VALUES[key]) for key in data.draw(keys)} for name in names}
    made, found = in_full(site, values), CHECKS[number].find(values)
    assert (found is None) == (made is None)
    if found is not None and made is not None:
        assert found == {name: made.lighting.settings[name] for name in names}


def test_a_sweep_still_tells_every_fault_of_its_settings() -> None:
    site = small_site()
    varied = parse_varied(["day.timeout_s=60,-5", "day.unoccupied_level=0.3,2.0"], site)
    with pytest.raises(InputError) as caught:
        make_plan(site, varied, replications=1)
    assert "day.timeout_s=-5" in str(caught.value)
    assert "day.unoccupied_level=2" in str(caught.value)
