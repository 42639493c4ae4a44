"""The page's playback: places of trucks and levels of zones are Python's, and the buttons do what they say.

Node runs the page's own code on vectors that Python writes; Chromium plays. Either is skipped where missing.
"""

from __future__ import annotations

import copy
import os
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import sim
from sim.replication import prepare_site, replay_site, simulate_traffic
from sim.scenario.schema import Settings
from sim.show.motion import place_at
from sim.show.page.data import Source, gather, pack_page
from sim.show.page.playback import pack_playback, rows_within
from sim.show.tracks import is_dim_at, level_at
from sim.study.relight import relight, with_settings
from tests.page.test_browser import CHROMIUM, browser, move, opened, small
from tests.page.test_node import needs_node, run_node

__all__ = ["browser", "small"]
"""Fixtures that are taken over."""

needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed")


def vectors(demo: str) -> dict[str, Any]:
    """A packed demo with places and levels at random instants, and at those where something changes."""
    scenario = sim.load(demo)
    gathered = gather([Source("as planned", scenario)], [0], lambda done, expected: None)
    site, traffic = gathered[0].site, gathered[0].traffics[0]
    page = pack_page(gathered, [0], 30.0)
    packed, names = page["variants"][0], [one["name"] for one in page["settings"]]
    visits, rng = traffic.visits, np.random.default_rng(2)
    assert visits is not None
    places: list[list[float]] = []
    for number, hour in enumerate(packed["playback"]["hours"]):
        rows = rows_within(visits, hour["start_s"], hour["end_s"], len(site.layout.aisles))
        assert len(rows) == len(hour["move_counts"])
        for visit, row in enumerate(rows.tolist()):
            length = float(site.layout.length_m[visits.aisle[row]])
            for time in rng.uniform(visits.enter[row], visits.leave[row], 5).tolist():
                places.append([number, visit, time, place_at(visits, row, time, length)])
    lights = []
    for change in ({}, {"timeout_s": 47.0, "unoccupied_level": 0.15}, {"timeout_s": 900.0}):
        own = {
            name: Settings(**{**scenario.lighting.settings[name].model_dump(), **change}) for name in names
        }
        levels = replay_site(relight(site, with_settings(scenario, own)), traffic)[1].levels
        for number, hour in enumerate(packed["playback"]["hours"]):
            samples = []
            for zone, light in enumerate(levels):
                times = rng.uniform(hour["start_s"], hour["end_s"], 20)
                pairs = zip(
                    times.tolist(), level_at(light, times).tolist(), is_dim_at(light, times).tolist(),
                    strict=True,
                )
                samples += [[zone, *pair] for pair in pairs]
            told = [{"name": name, **own[name].model_dump()} for name in names]
            lights.append({"settings": told, "hour": number, "samples": samples})
    clocks = [["2027-03-01T00:00", 94_200.0, "Tue 02:10:00"], ["2027-02-28T23:30", 1800.5, "Mon 00:00:00"]]
    return {"site": packed, "places": places, "lights": lights, "clocks": clocks}


@needs_node
@pytest.mark.parametrize("demo", ["cross-dock", "narrow-aisles"])
def test_places_and_levels_in_the_page_are_pythons(demo: str, tmp_path: Path) -> None:
    told = vectors(demo)
    assert len(told["places"]) > 100
    done = run_node("playback.test.mjs", told, tmp_path)
    assert done.returncode == 0, done.stdout
    # negative controls: a truck a millimetre off, a timeout a minute longer
    spoiled = copy.deepcopy(told)
    spoiled["places"][7][3] += 0.001
    assert run_node("playback.test.mjs", spoiled, tmp_path).returncode != 0
    for one in told["lights"]:
        for settings in one["settings"]:
            settings["timeout_s"] += 60.0
    assert run_node("playback.test.mjs", told, tmp_path).returncode != 0


def test_hours_are_full_hours_of_the_clock_and_differ() -> None:
    site = prepare_site(sim.load("cross-dock"))
    traffic = simulate_traffic(site, 0)
    hours = pack_playback(site, traffic)["hours"]
    counts = [one["visits"]["length"] for one in hours]
    assert [one["name"] for one in hours] == ["a busy hour", "the busiest hour", "a quiet hour"]
    assert counts[1] >= counts[0] >= counts[2]
    assert all(one["start_s"] % 3600.0 == 0.0 and one["end_s"] - one["start_s"] == 3600.0 for one in hours)
    assert all(1 <= len(one["shown"]) <= 5 for one in hours)


@needs_chromium
def test_it_plays_only_when_asked_and_follows_the_sliders(browser: Any, small: Path) -> None:
    picture = "document.getElementById('play-plan').toDataURL()"
    with opened(browser, small, reduced_motion="reduce") as (page, wrong):
        before = page.evaluate("aislewake.playback()")
        page.wait_for_timeout(300)
        assert page.evaluate("aislewake.playback()") == before
        assert not before["isPlaying"]
        page.locator("#play-go").focus()
        page.keyboard.press("Enter")
        page.wait_for_timeout(400)
        running = page.evaluate("aislewake.playback()")
        assert running["isPlaying"]
        assert running["now"] > before["now"]
        assert page.inner_text("#play-go") == "Pause"
        page.keyboard.press("Space")
        paused = page.evaluate("aislewake.playback()")
        assert not paused["isPlaying"]
        page.locator("#play-time").focus()
        page.keyboard.press("Home")
        assert page.evaluate("aislewake.playback()")["now"] == 3600.0 * (before["now"] // 3600.0)
        assert page.inner_text("#play-clock").endswith(":00:00")
        shown = page.evaluate(picture)
        for place in range(page.evaluate("aislewake.page.settings.length")):
            move(page, f"set-{place}-occupied_level", 60)
        dimmed = page.evaluate("aislewake.playback()")["levels"]
        assert max(dimmed) <= 0.6 + 1e-12
        assert page.evaluate(picture) != shown
        page.select_option("#play-hour", "1")
        other = page.evaluate("aislewake.playback()")["now"]
        assert abs(other - before["now"]) >= 3600.0
        page.select_option("#variant", "1")
        assert page.evaluate("aislewake.playback()")["now"] > 0.0
        assert wrong == []


@needs_chromium
@pytest.mark.skipif("AXE_JS" not in os.environ, reason="AXE_JS does not name axe.min.js (.ci/run fetches it)")
def test_axe_finds_no_violation_while_it_plays(browser: Any, small: Path) -> None:
    with opened(browser, small, bypass_csp=True) as (page, _):
        move(page, "set-0-timeout_s", 600)
        page.evaluate("aislewake.figures()")
        page.click("#play-go")
        page.add_script_tag(path=os.environ["AXE_JS"])
        found = page.evaluate("axe.run(document)")["violations"]
        assert [(one["id"], [node["html"][:120] for node in one["nodes"]]) for one in found] == []
