"""The gallery: every picture that README.md shows has a script, its numbers, and was drawn from them.

The numbers are computed again.  Where NumPy draws what it drew when a table was written (`stream_digest`),
they must agree to 1e-9.  Where it does not (NEP 19), another sample of the same traffic is to be expected:
two means of n runs then differ by at most K standard errors of their difference.  By Student's t with
2 (n - 1) degrees of freedom a table of 10 runs fails by chance once in 30,000 (K = 8, 140 figures), the study
of 5 runs once in 1,000 (K = 12, 600 figures).  Counts of trucks: the variance of a Poisson count is its mean.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

import pandas as pd
import pytest
from scipy.special import stdtrit

import sim
from figures import front, hour, page, power, study
from figures.tables import (
    FOLDER,
    NAMES,
    picture_mark,
    picture_path,
    read_table,
    stream_digest,
    stream_of,
    table_digest,
    table_path,
    write_table,
)
from sim.results import Result
from sim.scenario.schema import Scenario
from tests.house.source import ROOT

MOST_BYTES = 60_000
LEAST_ALT = 30
KEYS: dict[str, tuple[str, ...]] = {
    "hour": (),  # a row is known by its place
    "front": ("unoccupied_level", "timeout_s"),
    "power": ("hour",),
    "page": ("setting", "figure"),
    "study": ("kind", "site", "factor", "at", "zones", "skew", "timeout"),
}
ABSOLUTE = {"hour": 2e-6}
"""Of seconds and metres, which the table holds to a millionth; 1e-9 elsewhere."""

RUNS = {"study": 5}
K = {10: 8.0, 5: 12.0}
HALF_WIDTH = "_half_width"


@pytest.fixture(scope="module")
def result() -> Result:
    """Return ten runs of the packaged site."""
    return sim.run(sim.load())


def quick_table(name: str, result: Result) -> pd.DataFrame:
    """Compute what is computed soon: whole tables, of the page the file's own setting."""
    if name == "front":
        return front.compute(result.scenario)
    if name == "page":
        return page.compute({page.FILE: result})
    return {"hour": hour, "power": power}[name].compute(result)


def again(table: pd.DataFrame, folder: Path) -> pd.DataFrame:
    """Return a table as its file would give it back."""
    write_table(table, folder / "table.csv")
    return read_table(folder / "table.csv")


def differences(name: str, fresh: pd.DataFrame, *, is_same_stream: bool, is_whole: bool = False) -> list[str]:
    """Say where fresh numbers are not those of the table in the gallery."""
    kept, keys = read_table(table_path(name)), list(KEYS[name])
    if list(kept.columns) != list(fresh.columns):
        return ["columns"]
    if name == "hour" and not is_same_stream:
        return list(_other_hour(kept, fresh))
    if not keys:
        kept, fresh, keys = kept.reset_index(), fresh.reset_index(), ["index"]
    if is_whole and len(kept) != len(fresh):
        return [f"{len(kept)} rows, {len(fresh)} fresh"]
    both = fresh.merge(kept, on=keys, how="left", suffixes=("", " kept"), indicator=True, validate="1:1")
    told = [f"new row {row}" for row in both.index[both["_merge"] != "both"]]
    for column in fresh.columns.difference(keys):
        found, wanted = both[column], both[f"{column} kept"]
        if not all(pd.api.types.is_numeric_dtype(one) for one in (found, wanted)):
            is_apart = found != wanted
        else:
            if is_same_stream or column == "always_on_kw":
                bound = 1e-9 * wanted.abs() + ABSOLUTE.get(name, 1e-9)
            elif f"{column}{HALF_WIDTH}" in fresh:
                runs = RUNS.get(name, 10)
                half = both[f"{column}{HALF_WIDTH}"] ** 2 + both[f"{column}{HALF_WIDTH} kept"] ** 2
                bound = K[runs] * half**0.5 / stdtrit(runs - 1, 0.975) + 1e-9
            else:
                continue
            is_apart = ~((found - wanted).abs() <= bound) & ~(found.isna() & wanted.isna())
        told += [f"{column} {row}: {found[row]}, kept {wanted[row]}" for row in both.index[is_apart]]
    return told


def _other_hour(kept: pd.DataFrame, fresh: pd.DataFrame) -> Iterator[str]:
    """Say where an hour cannot be another draw of the same traffic under the same lights."""
    first, second = (one[one["kind"] == "aisle"] for one in (kept, fresh))
    if first["to_m"].tolist() != second["to_m"].tolist():
        yield "aisles"
    trucks = float(first["value"].sum()), float(second["value"].sum())
    if abs(trucks[0] - trucks[1]) > K[10] * math.sqrt(sum(trucks)):
        yield f"{trucks[1]} trucks, kept {trucks[0]}"
    light = fresh[(fresh["kind"] == "light") & (fresh["end_s"] - fresh["time_s"] > 60.0)]
    settings = sim.load().lighting.settings.values()
    stated = {level for one in settings for level in (one.occupied_level, one.unoccupied_level)}
    if not set(light["value"]) <= stated:
        yield f"levels {set(light['value'])}, stated {stated}"


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_has_script_numbers_and_their_digest(name: str) -> None:
    module = import_module(f"figures.{name}")
    assert callable(module.compute)
    assert callable(module.draw)
    assert table_path(name).stat().st_size < MOST_BYTES
    assert picture_mark(picture_path(name)) == table_digest(table_path(name)), "draw it: python -m figures"


def test_a_changed_table_is_told_by_the_digest(tmp_path: Path) -> None:
    """The comparison can fail: one digit of a table changed."""
    text = table_path("front").read_text(encoding="utf-8")
    changed = tmp_path / "front.csv"
    changed.write_text(text.replace("60", "61", 1), encoding="utf-8", newline="\n")
    assert picture_mark(picture_path("front")) != table_digest(changed)


def test_nothing_else_hangs_in_the_gallery() -> None:
    endings = {path.name for ending in ("png", "csv") for path in FOLDER.glob(f"*.{ending}")}
    assert endings == {f"{name}.{ending}" for name in NAMES for ending in ("png", "csv")}


def shown(text: str) -> list[tuple[str, str]]:
    """Return the pictures of a page of Markdown in their order: (address, alternative text)."""
    found = [(match.start(), match["src"], match["alt"])
             for match in re.finditer(r"!\[(?P<alt>[^\]]*)\]\((?P<src>[^)\s]+)\)", text)]
    for tag in re.finditer(r"<img\b[^>]*>", text):
        words = dict(re.findall(r'(\w+)="([^"]*)"', tag[0]))
        found.append((tag.start(), words.get("src", ""), words.get("alt", "")))
    return [(source, alt) for _, source, alt in sorted(found)]


def faults_of(text: str) -> list[str]:
    """Say which pictures are not of the gallery or cannot be read aloud, and what the first screen lacks."""
    told = []
    for source, alt in shown(text):
        if source not in {f"figures/{name}.png" for name in NAMES}:
            told.append(f"{source} is not of the gallery")
        if len(alt) < LEAST_ALT:
            told.append(f"{source} has no words instead of it")
    first = {source for source, _ in shown(text.partition("\n## ")[0])}
    lacking = {f"figures/{name}.png" for name in ("hour", "front", "power")} - first
    return told + [f"{source} is not on the first screen" for source in sorted(lacking)]


def test_the_readme_shows_the_gallery() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert faults_of(text) == []
    assert {source for source, _ in shown(text)} == {f"figures/{name}.png" for name in NAMES}
    # negative controls: a picture from elsewhere, without words, below the first heading
    assert faults_of(text.replace("figures/hour.png", "figures/hours.png")) != []
    assert faults_of(re.sub(r'alt="[^"]*"', "", text)) != []
    assert faults_of("# A\n\n## B\n" + text) != []


def test_the_readme_tells_the_saving_that_the_picture_shows() -> None:
    table = read_table(table_path("power"))
    saved = 100.0 * (1.0 - float((table["mean_kw"] / table["always_on_kw"]).mean()))
    alt = dict(shown((ROOT / "README.md").read_text(encoding="utf-8")))["figures/power.png"]
    assert f"{saved:.0f} % saved" in alt


@pytest.mark.parametrize("name", ["hour", "front", "power", "page"])
def test_the_numbers_are_found_again(name: str, result: Result, tmp_path: Path) -> None:
    fresh = again(quick_table(name, result), tmp_path)
    is_same = stream_of(table_path(name)) == stream_digest()
    assert differences(name, fresh, is_same_stream=is_same, is_whole=name != "page") == []


@pytest.mark.parametrize("name", NAMES)
def test_one_changed_figure_is_told(name: str) -> None:
    """The comparison can fail, each figure by itself: one part in 100,000, or far beyond its interval."""
    kept = read_table(table_path(name))
    assert differences(name, kept, is_same_stream=True, is_whole=True) == []
    assert differences(name, kept, is_same_stream=False) == []
    for column in kept.select_dtypes("number").columns.difference([*KEYS[name]]):
        row = kept[column].abs().idxmax()
        changed = kept.copy()
        changed.loc[row, column] *= 1.00001
        assert differences(name, changed, is_same_stream=True) != [], column
    if name != "hour":
        column = next(one for one in kept.columns if f"{one}{HALF_WIDTH}" in kept)
        changed = kept.assign(**{column: kept[column] + 20.0 * kept[f"{column}{HALF_WIDTH}"]})
        assert differences(name, changed, is_same_stream=False) != []
    assert differences(name, kept.iloc[1:], is_same_stream=True, is_whole=True) != []


@pytest.mark.parametrize("name", ["hour", "front", "power", pytest.param("study", marks=pytest.mark.slow)])
def test_a_table_can_be_drawn(name: str) -> None:
    assert import_module(f"figures.{name}").draw(read_table(table_path(name))).startswith(b"\x89PNG")


def other(scenario: Scenario) -> Scenario:
    """Return the site with a longer hold time and another level."""
    named = scenario.lighting.settings
    settings = {
        name: one.model_copy(update={"unoccupied_level": one.unoccupied_level + 0.1})
        for name, one in named.items()
    }
    lighting = scenario.lighting.model_copy(update={"settings": settings})
    sensors = scenario.sensors.model_copy(update={"hold_s": 180.0})
    return scenario.model_copy(update={"lighting": lighting, "sensors": sensors})


@pytest.mark.slow
def test_another_seed_and_another_model_are_told_apart(tmp_path: Path) -> None:
    """The bounds of another stream let another sample pass, and no other lights."""
    seeded = sim.load().model_copy(update={"seed": 12})
    by_seed, by_lights = sim.run(seeded), sim.run(other(seeded))
    for name in ("hour", "front", "power", "page"):
        fresh = again(quick_table(name, by_seed), tmp_path)
        assert differences(name, fresh, is_same_stream=True) != [], name
        assert differences(name, fresh, is_same_stream=False) == [], name
        wrong = again(quick_table(name, by_lights), tmp_path)
        assert differences(name, wrong, is_same_stream=False) != [], name


@pytest.mark.slow
@pytest.mark.parametrize("name", ["page", "study"])
def test_whole_tables_are_found_again(name: str, tmp_path: Path) -> None:
    """Both settings of the page; every point of the study, minutes."""
    fresh = again({"page": page, "study": study}[name].compute(), tmp_path)
    is_same = stream_of(table_path(name)) == stream_digest()
    assert differences(name, fresh, is_same_stream=is_same, is_whole=True) == []
