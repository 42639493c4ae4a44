"""The page's playback: places of trucks and levels of zones are Python's, and the buttons do what they say.

Node runs the page's own code on vectors that Python writes; Chromium plays. Either is skipped where missing.
"""

from __future__ import annotations

import copy
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import sim
from sim.replication import Site, Traffic, prepare_site, replay_site, simulate_traffic
from sim.results import Levels
from sim.scenario.schema import Settings
from sim.show.figures.style import LIGHT_RAMP
from sim.show.numbers.hour import hour_numbers
from sim.show.numbers.motion import open_place_at, place_at
from sim.show.numbers.tracks import is_dim_at, level_at
from sim.show.page.data import Source, gather, pack_page
from sim.show.page.playback import pack_playback, rows_within
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
    lit = replay_site(site, traffic)[1].levels
    trucks = [
        [number, time, trucks_at(site, traffic, lit, time)]
        for number, hour in enumerate(packed["playback"]["hours"])
        for time in rng.uniform(hour["start_s"], hour["end_s"], 40).tolist()
    ]
    clocks = [["2027-03-01T00:00", 94_200.0, "Tue 02:10:00"], ["2027-02-28T23:30", 1800.5, "Mon 00:00:00"]]
    # where the report's scale of light has its own colours: at thirds
    ramp = [
        [level, "rgb({} {} {})".format(*(round(255.0 * part) for part in LIGHT_RAMP(level)[:3]))]
        for level in (0.0, 1.0 / 3.0, 2.0 / 3.0, 1.0)
    ]
    return {
        "site": packed, "places": places, "lights": lights, "trucks": trucks, "clocks": clocks, "ramp": ramp,
    }


def trucks_at(site: Site, traffic: Traffic, lit: Sequence[Levels], time: float) -> list[list[Any]]:
    """All trucks at an instant: across, along, whether in an aisle, and what their light is."""
    layout, visits, runs = site.layout, traffic.visits, traffic.open_runs
    assert visits is not None
    assert runs is not None
    found: list[list[Any]] = []

    def light(zone: int) -> str:
        return "dim" if is_dim_at(lit[zone], np.array([time]))[0] else "lit"

    for row in np.flatnonzero((visits.enter <= time) & (time < visits.leave)).tolist():
        aisle = int(visits.aisle[row])
        place = place_at(visits, row, time, float(layout.length_m[aisle]))
        cuts = [layout.stretch(aisle, zone)[1] for zone in layout.zones_of(aisle)][:-1]
        zone = layout.zones_of(aisle)[int(np.searchsorted(cuts, place, side="right"))]
        found.append([float(layout.aisle_m[aisle]), place, True, light(zone)])
    for row in np.flatnonzero((runs.start <= time) & (time < runs.end)).tolist():
        place_m = open_place_at(runs, row, time)
        held = [area.holds(*map(np.array, place_m)) for area in layout.areas]
        zone = layout.zones_in_aisles + held.index(True) if any(held) else -1
        found.append([*place_m, False, "unknown" if zone < 0 else light(zone)])
    return found


@needs_node
@pytest.mark.parametrize(("demo", "lights"), [("cross-dock", {"lit"}), ("narrow-aisles", {"lit", "unknown"})])
def test_places_and_levels_in_the_page_are_pythons(demo: str, lights: set[str], tmp_path: Path) -> None:
    """The marshalling area of the one covers all ways outside its aisles, the other has no open area."""
    told = vectors(demo)
    assert len(told["places"]) > 100
    assert {light for _, _, there in told["trucks"] for *_, light in there} >= lights
    done = run_node("playback.test.mjs", told, tmp_path)
    assert done.returncode == 0, done.stdout
    # negative controls: a truck a millimetre off, a timeout a minute longer, another colour
    spoiled = copy.deepcopy(told)
    spoiled["places"][7][3] += 0.001
    assert run_node("playback.test.mjs", spoiled, tmp_path).returncode != 0
    spoiled = copy.deepcopy(told)
    spoiled["ramp"][1][1] = "rgb(142 153 165)"
    assert run_node("playback.test.mjs", spoiled, tmp_path).returncode != 0
    # a truck outside the aisles that is lit where it is not
    spoiled = copy.deepcopy(told)
    outside = next(one for _, _, there in spoiled["trucks"] for one in there if not one[2])
    outside[3] = "dim"
    assert run_node("playback.test.mjs", spoiled, tmp_path).returncode != 0
    for one in told["lights"]:
        for settings in one["settings"]:
            settings["timeout_s"] += 60.0
    assert run_node("playback.test.mjs", told, tmp_path).returncode != 0


def test_no_truck_is_in_two_places_and_none_jumps() -> None:
    """In the aisles and outside, by each truck's own times; where a stretch ends the next one begins."""
    site = prepare_site(sim.load("cross-dock"))
    traffic = simulate_traffic(site, 0, keep_open_runs=True)
    visits, runs = traffic.visits, traffic.open_runs
    assert visits is not None
    assert runs is not None
    back_m = site.layout.length_m[visits.aisle]
    along_in, along_out = np.where(visits.enters_back, back_m, 0.0), np.where(visits.leaves_back, back_m, 0.0)
    across = site.layout.aisle_m[visits.aisle]
    whose = np.append(visits.truck, runs.truck)
    start, end = np.append(visits.enter, runs.start), np.append(visits.leave, runs.end)
    begins = np.stack([np.append(across, runs.from_across_m), np.append(along_in, runs.from_along_m)])
    ends = np.stack([np.append(across, runs.to_across_m), np.append(along_out, runs.to_along_m)])

    def faults(late_s: float) -> tuple[int, int]:
        from_s = start + np.where(np.arange(len(start)) < len(visits), late_s, 0.0)
        order = np.lexsort((end, from_s, whose))
        same = whose[order][1:] == whose[order][:-1]
        gap = from_s[order][1:] - end[order][:-1]
        jump = np.abs(begins[:, order][:, 1:] - ends[:, order][:, :-1]).sum(axis=0)
        at_once = same & (np.abs(gap) < 1e-6)
        return int(np.sum(same & (gap < -1e-6))), int(np.sum(at_once & (jump > 1e-6)))

    assert faults(0.0) == (0, 0)
    assert faults(-3.0)[0] > 1000  # negative control: visits that begin early


def test_a_log_says_nothing_of_the_way_between_aisles() -> None:
    site = prepare_site(sim.load("cross-dock"))
    hours = pack_playback(site, simulate_traffic(site, 0))["hours"]
    assert all(one["open"] is None for one in hours)


def test_hours_are_full_hours_of_the_clock_and_differ() -> None:
    site = prepare_site(sim.load("cross-dock"))
    traffic = simulate_traffic(site, 0)
    hours = pack_playback(site, traffic)["hours"]
    counts = [one["visits"]["length"] for one in hours]
    assert [one["name"] for one in hours] == ["a busy hour", "the busiest hour", "a quiet hour"]
    assert counts[1] >= counts[0] >= counts[2]
    assert all(one["start_s"] % 3600.0 == 0.0 and one["end_s"] - one["start_s"] == 3600.0 for one in hours)
    assert all(1 <= len(one["shown"]) <= 5 for one in hours)


def test_the_page_and_the_report_show_the_same_busy_hour() -> None:
    """In the same aisles too; the page's other hours are others."""
    scenario = sim.load("cross-dock").model_copy(update={"days": 2.0})
    site = prepare_site(scenario)
    hours = pack_playback(site, simulate_traffic(site, 0))["hours"]
    shown = hour_numbers(sim.run(scenario, replication=0))
    aisles = [[site.layout.aisles[aisle] for aisle in hour["shown"]] for hour in hours]
    assert (hours[0]["start_s"], aisles[0]) == (shown.start_s, [strip.aisle for strip in shown.strips])
    assert shown.start_s not in [hour["start_s"] for hour in hours[1:]]


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
