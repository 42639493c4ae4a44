"""The page's own code, run by node's test runner on vectors that Python writes.

The replay is tried on the hostile random sites of `tests/study/traffics`, where everything meets at once,
with its traffic packed as the page holds it: so packing is tried too. Negative controls: a spoiled vector
must be found.
"""

from __future__ import annotations

import copy
import dataclasses
import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sim.replication import replay_site
from sim.results import Estimate
from sim.scenario.demos import demo_paths
from sim.scenario.schema import Settings
from sim.scenario.toml import load
from sim.show.page.bundle import ENGINE, PAGE, joined
from sim.show.page.data import CHECKED, Gathered, Source, pack_page
from sim.show.page.packing import pack_columns
from sim.show.words import amounts as words
from sim.study.quick import QuickInputs, quick_estimate
from sim.study.relight import relight, with_settings
from sim.study.replications.precision import estimate_mean
from tests.study.test_ages import CAPS, skylit
from tests.study.traffics import Case, cases

NODE = shutil.which("node")
JS = Path(__file__).parent / "js"
FILES = Path(__file__).parents[2] / "sim" / "show" / "page" / "files"
needs_node = pytest.mark.skipif(NODE is None, reason="node is not installed: the page's code is not run")

SETTINGS_TEXT = """\
[lighting.settings.day]
occupied_level = 1
unoccupied_level = 0.3
timeout_s = 300
fade_up_s = 0.7
fade_down_s = 10

[lighting.settings."late shift 2.0"]
occupied_level = 0.85
unoccupied_level = 0.25
timeout_s = 45
fade_up_s = 0
fade_down_s = 0
second_delay_s = 1800
second_level = 0.1
"""
SETTINGS = [
    {
        "name": "day", "occupied_level": 1, "unoccupied_level": 0.3, "timeout_s": 300, "fade_up_s": 0.7,
        "fade_down_s": 10, "second_delay_s": None, "second_level": None,
    },
    {
        "name": "late shift 2.0", "occupied_level": 0.85, "unoccupied_level": 0.25, "timeout_s": 45,
        "fade_up_s": 0, "fade_down_s": 0, "second_delay_s": 1800, "second_level": 0.1,
    },
]


def run_node(test: str, vectors: Any, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run one of node's test files on vectors."""
    assert NODE is not None
    path = folder / "vectors.json"
    path.write_text(json.dumps(vectors), encoding="utf-8")
    return subprocess.run(
        [NODE, "--test", str(JS / test)], env={**os.environ, "VECTORS": str(path)}, capture_output=True,
        encoding="utf-8", check=False,
    )


def vector(case: Case) -> dict[str, Any]:
    """Pack a case as the page would, with what Python finds for each choice.

    The page moves no fades, so each choice keeps those of its name. Levels that differ in their last digit
    only are set alike: whether light is then below the occupied level is rounding, here and there.
    """
    own = {name: rounded(one) for name, one in case.site.scenario.lighting.settings.items()}
    scenario = with_settings(case.site.scenario, own)
    site = relight(case.site, scenario)
    choices = [
        {
            name: one.model_copy(
                update={key: getattr(own[name], key) for key in ("fade_up_s", "fade_down_s")}
            )
            for name, one in choice.items()
        }
        for choice in [own, *case.choices]
    ]
    least = min(one.timeout_s for choice in choices for one in choice.values())
    outcomes = replay_site(site, case.traffic)[0]
    gathered = Gathered(Source("site", scenario), site, (case.traffic,), (outcomes,))
    page = pack_page([gathered], [0], least)
    names = [control["name"] for control in page["settings"]]
    tried = []
    for choice in choices:
        found = replay_site(relight(site, with_settings(scenario, choice)), case.traffic)[0].total
        tried.append(
            {
                "settings": [{"name": name, **choice[name].model_dump()} for name in names],
                "found": {name: found[name] for name in CHECKED if not np.isnan(found[name])},
            }
        )
    return {"page": page, "choices": tried}


def rounded(one: Settings) -> Settings:
    """Return settings whose levels have six decimals."""
    levels = ("occupied_level", "unoccupied_level", "second_level")
    return one.model_copy(
        update={key: round(getattr(one, key), 6) for key in levels if getattr(one, key) is not None}
    )


def under_skylights(case: Case, caps: list[float], is_everywhere: bool) -> Case:
    """Put skylights over all aisles or over the first."""
    return skylit(case, caps, None if is_everywhere else case.site.scenario.aisle_names[:1])


def draw_vectors(count: int, *, is_skylit: bool = False) -> list[dict[str, Any]]:
    """Draw cases and pack them; the same ones every time."""
    made: list[dict[str, Any]] = []
    drawn = st.booleans().flatmap(cases)

    @settings(
        max_examples=count, deadline=None, derandomize=True, database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(st.builds(under_skylights, drawn, CAPS, st.booleans()) if is_skylit else drawn)
    def gather(case: Case) -> None:
        made.append(vector(case))

    gather()
    return made


def packed_vectors() -> list[dict[str, Any]]:
    """Columns that are hard to pack, with their bits."""
    rng = np.random.default_rng(5)
    rows = [
        [np.array([]), np.array([])],
        [np.array([0.0, -0.0, np.inf, 1e308, 5e-324]), np.array([1.0, 2.0, -1.0, 0.1, 1e-300])],
        [np.cumsum(rng.exponential(100.0, 500)), np.cumsum(rng.exponential(100.0, 500))],
    ]
    return [
        {
            "columns": [[str(bits) for bits in column.view(np.uint64).tolist()] for column in columns],
            "text": pack_columns(columns),
        }
        for columns in rows
    ]


@needs_node
def test_the_replay_in_the_page_is_pythons(tmp_path: Path) -> None:
    vectors = {"cases": draw_vectors(250), "packed": packed_vectors()}
    done = run_node("lights.test.mjs", vectors, tmp_path)
    assert done.returncode == 0, done.stdout


@needs_node
def test_daylight_in_the_page_is_pythons(tmp_path: Path) -> None:
    """Caps from hour to hour over random sites; negative controls: caps ignored, caps an hour late."""
    vectors = {"cases": draw_vectors(60, is_skylit=True), "packed": []}
    done = run_node("lights.test.mjs", vectors, tmp_path)
    assert done.returncode == 0, done.stdout
    ignored, late = copy.deepcopy(vectors), copy.deepcopy(vectors)
    for case in ignored["cases"]:
        for program in case["page"]["variants"][0]["programs"]:
            program["is_capped"] = False
    for case in late["cases"]:
        _, caps = case["page"]["variants"][0]["daylight"]
        caps[:] = caps[-1:] + caps[:-1]
    for spoiled in (ignored, late):
        assert run_node("lights.test.mjs", spoiled, tmp_path).returncode != 0


@needs_node
@pytest.mark.slow
@pytest.mark.parametrize("is_skylit", [False, True])
def test_the_replay_in_the_page_is_pythons_on_many_sites(is_skylit: bool, tmp_path: Path) -> None:
    vectors = {"cases": draw_vectors(4000, is_skylit=is_skylit), "packed": []}
    done = run_node("lights.test.mjs", vectors, tmp_path)
    assert done.returncode == 0, done.stdout


@needs_node
@pytest.mark.parametrize("spoil", ["timeout_s", "occupied_level", "blocks"])
def test_a_spoiled_vector_is_found(spoil: str, tmp_path: Path) -> None:
    """Negative control: another timeout, another level, or the traffic of another case."""
    vectors = {"cases": draw_vectors(60), "packed": packed_vectors()}
    spoiled = copy.deepcopy(vectors)
    for place, case in enumerate(spoiled["cases"]):
        if spoil == "blocks":
            run = case["page"]["variants"][0]["runs"][0]
            other = vectors["cases"][place - 1]["page"]["variants"][0]["runs"][0]
            if run["block_counts"] == other["block_counts"]:
                run["blocks"] = other["blocks"]
            continue
        for choice in case["choices"]:
            for one in choice["settings"]:
                one[spoil] = one[spoil] + 7.0 if spoil == "timeout_s" else 0.5 * one[spoil]
    assert run_node("lights.test.mjs", spoiled, tmp_path).returncode != 0


def words_vectors() -> dict[str, Any]:
    """Numbers with the words that `show/words/amounts` finds for them."""
    rng = np.random.default_rng(3)
    values = [0.0, 40.0, 999.9, 999.96, 0.0999, 12345.6, 1e6, *(10.0 ** rng.uniform(-4, 7, 200)).tolist()]
    halves = [value * share for value, share in zip(values, rng.uniform(0.0, 1.5, len(values)), strict=True)]
    said: list[list[Any]] = [["digits", value, words.digits(value)] for value in values]
    said += [["plain", value, words.plain(value)] for value in [0.0, 1.5, 1250.0, 0.1, 33.333333]]
    said += [["levelText", 0.3, "30 %"], ["levelText", 2.0 / 7.0, "28.6 %"], ["levelText", 0.29, "29 %"]]
    spans = (0.7, 45.0, 90.0, 310.0, 360.0, 9000.0, 604_800.0)
    said += [["duration", value, words.duration(value)] for value in spans]
    for mean, half in zip(values, halves, strict=True):
        for name, say in (
            ("interval", words.interval),
            ("percentInterval", words.percent_interval),
            ("timeInterval", words.time_interval),
        ):
            said.append([name, [mean, half], say(Estimate(mean, half))])
    estimates = []
    for count in (1, 2, 10):
        figures = rng.normal(100.0, 5.0, count).tolist()
        found = estimate_mean(figures)
        quantile = None if count == 1 else {2: 12.706204736174705, 10: 2.2621571627982053}[count]
        estimates.append(
            {"values": figures, "quantile": quantile, "mean": found.mean, "half": found.half_width}
        )
    asked = [
        QuickInputs(),
        QuickInputs(aisles=7, busiest_share=0.2, unoccupied_level=0.05, cost_per_aisle=900.0),
    ]
    return {
        "words": said,
        "estimates": estimates,
        "quick": [
            {
                "inputs": dataclasses.asdict(inputs),
                "options": [dataclasses.asdict(option) for option in quick_estimate(inputs)],
            }
            for inputs in asked
        ],
        "settings": {"values": SETTINGS, "text": SETTINGS_TEXT},
    }


@needs_node
def test_words_and_estimates_in_the_page_are_pythons(tmp_path: Path) -> None:
    """Student's t at 97.5 % with 1 and 9 degrees of freedom: 12.7062 and 2.2622 (any table of t)."""
    vectors = words_vectors()
    done = run_node("words.test.mjs", vectors, tmp_path)
    assert done.returncode == 0, done.stdout
    vectors["quick"][0]["inputs"]["visits_per_h"] += 1.0
    assert run_node("words.test.mjs", vectors, tmp_path).returncode != 0


def test_settings_text_loads_in_a_scenario_file(tmp_path: Path) -> None:
    """What the page offers to copy is read back with the values it shows."""
    text = demo_paths()["pallet-reserve"].read_text(encoding="utf-8")
    head, rest = text.split("[lighting.settings.day]", 1)
    old, rest = rest.split("[lighting.settings.closed]", 1)
    path = tmp_path / "site.toml"
    path.write_text(head + SETTINGS_TEXT + "\n[lighting.settings.closed]" + rest, encoding="utf-8")
    found = load(path).lighting.settings
    for one in SETTINGS:
        assert {"name": one["name"], **found[one["name"]].model_dump()} == one
    assert "timeout_s = 300" in old


@needs_node
@pytest.mark.parametrize("files", [ENGINE, PAGE, *((path.name,) for path in sorted(FILES.glob("*.mjs")))])
def test_scripts_are_sound(files: tuple[str, ...], tmp_path: Path) -> None:
    """Each file by itself, and joined in one scope, where a name may stand only once."""
    path = tmp_path / "joined.mjs"
    path.write_text(joined(files), encoding="utf-8")
    assert NODE is not None
    done = subprocess.run([NODE, "--check", str(path)], capture_output=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stderr


def test_every_file_is_in_a_script() -> None:
    assert {path.name for path in FILES.glob("*.mjs")} == {*ENGINE, *PAGE}
