"""What a study computes: the figures of a run, whatever else is asked for, and each row again by itself."""

from __future__ import annotations

import csv
import io
import json
import random
from pathlib import Path

import numpy as np
import pytest

from sim.outcome.names import ALL_OUTCOMES, OUTCOMES
from sim.replication import prepare_site, simulate_traffic
from sim.scenario.toml import load
from sim.show.folders.batch_table import write_table
from sim.study.ages.evaluate import evaluate_settings
from sim.study.batch import run as batch_run
from sim.study.batch.file import read_study
from sim.study.batch.points import Batch, lay_out_points
from sim.study.batch.run import BatchProgress, open_store, run_study
from sim.study.batch.store import Store
from sim.study.replications.replicate import run
from sim.study.sweeping.sweep import EXACT_OUTCOMES
from tests.batch.trial import command, digest, lay_out_files, run_to_end
from tests.house.test_start import run_python

HEAD = 'format = 1\ntitle = "T"\nscenario = "site.toml"\nreplications = 2\n'
SMALL = HEAD + '[factors]\n"sensors.at" = ["ends", "every"]\n"all.timeout_s" = [60, 300]\n'


def batch_of(folder: Path, text: str, **changes: str) -> Batch:
    """Lay out a study; each change replaces a text of the site by another, given as "old -> new"."""
    path = lay_out_files(folder, text)
    site = folder / "site.toml"
    words = site.read_text(encoding="utf-8")
    for change in changes.values():
        old, _, new = change.partition(" -> ")
        assert old in words
        words = words.replace(old, new)
    site.write_text(words, encoding="utf-8")
    return lay_out_points(read_study(path))


Found = dict[tuple[int, int], dict[str, float]]


def compute(batch: Batch, store_folder: Path) -> tuple[BatchProgress, Found]:
    """Run a study in this process; return its figures by point and replication."""
    with open_store(store_folder, "again") as store:
        state = run_study(batch, store, workers=0)
        return state, figures_in(batch, store)


def figures_in(batch: Batch, store: Store) -> Found:
    """Return all figures of a study."""
    return {
        (point, number): figures
        for point, key in enumerate(batch.hashes)
        for number, figures in store.figures(key).items()
    }


def hold_against_runs(batch: Batch, found: Found) -> None:
    """Every row is what a run of its scenario gives: to 1e-9 of the value, or 1e-6 (as a sweep)."""
    for point in range(len(batch)):
        alone = run(batch.scenario_at(point), replications=2)
        for number, outcome in enumerate(alone.outcomes):
            for name in batch.study.outcomes:
                value = found[point, number][name]
                assert value == pytest.approx(outcome.total[name], rel=1e-9, abs=1e-6, nan_ok=True), name


def test_rows_are_what_a_run_gives(tmp_path):
    batch = batch_of(tmp_path, SMALL)
    assert batch.study.outcomes == EXACT_OUTCOMES
    hold_against_runs(batch, compute(batch, tmp_path / "store")[1])


def test_peaks_and_spells_are_what_a_run_gives(tmp_path):
    batch = batch_of(tmp_path, HEAD + f"outcomes = {json.dumps(list(OUTCOMES))}\n" + SMALL[len(HEAD) :])
    hold_against_runs(batch, compute(batch, tmp_path / "store")[1])


def test_drivers_who_react_are_simulated_under_every_setting(tmp_path):
    text = (
        HEAD + f"outcomes = {json.dumps(list(ALL_OUTCOMES))}\n" + '[factors]\n"all.timeout_s" = [60, 300]\n'
    )
    batch = batch_of(tmp_path, text, slow="count = 4 -> count = 4\ndim_speed_factor = 0.5")
    _, found = compute(batch, tmp_path / "store")
    hold_against_runs(batch, found)
    assert found[0, 0]["light_lost_min"] > found[1, 0]["light_lost_min"] > 0.0


def test_a_wrong_timeout_is_not_what_a_run_gives(tmp_path):
    """The comparison can fail."""
    batch = batch_of(tmp_path, SMALL)
    found = compute(batch, tmp_path / "store")[1]
    swapped = {(point ^ 1, number): figures for (point, number), figures in found.items()}
    with pytest.raises(AssertionError):
        hold_against_runs(batch, swapped)


def test_a_larger_study_computes_only_what_is_new_and_gives_the_same_table(tmp_path):
    """More values, more replications, and a peak beside them: the bytes are those of a fresh store."""
    small = batch_of(tmp_path / "a", SMALL)
    compute(small, tmp_path / "shared")
    text = SMALL.replace("[60, 300]", "[900, 300, 45, 60]")
    large = batch_of(tmp_path / "b", text)
    state, _ = compute(large, tmp_path / "shared")
    assert (state.found, state.done) == (8, 16)
    more = batch_of(tmp_path / "c", text.replace("replications = 2", "replications = 3"))
    state, _ = compute(more, tmp_path / "shared")
    assert (state.found, state.done) == (16, 24)
    asked = text.replace("replications = 2", 'outcomes = ["energy_kwh", "peak_kw"]\nreplications = 3')
    peaks = batch_of(tmp_path / "d", asked)
    compute(peaks, tmp_path / "shared")
    for batch, name in ((more, "more"), (peaks, "peaks")):
        tables = []
        for folder in (tmp_path / "shared", tmp_path / f"{name}-fresh"):
            with open_store(folder, "again") as store:
                run_study(batch, store, workers=0)
                tables.append(digest(write_table(batch, store, folder, "csv")[0]))
        assert tables[0] == tables[1]


def test_how_many_settings_go_into_a_task_changes_no_byte(tmp_path, monkeypatch):
    text = (
        HEAD
        + '[factors]\n"all.timeout_s" = { from = 30, to = 900, step = 30 }\n"day.fade_down_s" = [0, 30]\n'
    )
    batch = batch_of(tmp_path, text)
    found = []
    for most in (500, 7, 1):
        monkeypatch.setattr(batch_run, "MOST_CHOICES", most)
        found.append(compute(batch, tmp_path / str(most))[1])
    assert found[0] == found[1] == found[2]


@pytest.mark.parametrize("name", ["pallet-reserve", "narrow-aisles", "cross-dock"])
def test_steady_figures_do_not_hang_on_the_other_settings(name):
    """To the last digit, in groups of any size and order."""
    site = prepare_site(load(name))
    traffic = simulate_traffic(site, 0)
    pick = random.Random(8)
    choices = []
    for _ in range(12):
        change = {
            "timeout_s": float(pick.choice([10, 30, 61.5, 300, 1800])),
            "unoccupied_level": pick.choice([0.1, 0.3]),
            "fade_down_s": pick.choice([0.0, 10.0, 3000.0]),
        }
        settings = site.scenario.lighting.settings
        choices.append({key: one.model_copy(update=change) for key, one in settings.items()})
    whole = evaluate_settings(site, traffic, choices, is_steady=True)
    for size in (1, 1, 5):
        rows = pick.sample(range(len(choices)), size)
        group = [choices[row] for row in rows]
        for outcome, column in evaluate_settings(site, traffic, group, is_steady=True).items():
            assert column.tolist() == whole[outcome][rows].tolist(), outcome


def test_figures_that_are_not_steady_do_hang_on_them():
    """The comparison can fail: a timeout alone, and beside a shorter one."""
    site = prepare_site(load("pallet-reserve"))
    traffic = simulate_traffic(site, 0)
    settings = site.scenario.lighting.settings
    long, short = (
        {key: one.model_copy(update={"timeout_s": timeout}) for key, one in settings.items()}
        for timeout in (30.0, 10.0)
    )
    alone = evaluate_settings(site, traffic, [long])
    beside = evaluate_settings(site, traffic, [long, short])
    assert any(alone[name][0] != beside[name][0] for name in alone)
    assert all(np.allclose(alone[name][0], beside[name][0], rtol=1e-9, atol=1e-6) for name in alone)


@pytest.mark.slow
def test_any_row_can_be_had_again_by_one_command(tmp_path):
    """The printed command gives the bytes of the table's row; so does a run of the saved scenario, nearly."""
    lay_out_files(tmp_path, SMALL)
    code, out, told = command(["study", "study.toml", "--out", "store", "--export", "csv"], tmp_path)
    assert code == 0, told
    printed = next(line for line in out.splitlines() if line.startswith("Any row again: aislewake "))
    lines = (tmp_path / "store" / "results.csv").read_text(encoding="utf-8").splitlines()
    code, again, _ = command(printed.removeprefix("Any row again: aislewake ").split(), tmp_path)
    assert again.splitlines() == lines[:2]
    for line in lines[4:8:3]:
        row = dict(zip(lines[0].split(","), next(csv.reader([line])), strict=True))
        arguments = ["study", "study.toml", "--point", row["key"], "--replication", row["replication"]]
        code, again, _ = command([*arguments, "--save", f"{row['key']}.toml"], tmp_path)
        assert code == 0
        assert again.splitlines() == [lines[0], line]
        run_to_end(
            ["run", f"{row['key']}.toml", "--replication", row["replication"], "--out", row["key"]], tmp_path
        )
        table = (tmp_path / row["key"] / "replications.csv").read_text(encoding="utf-8")
        told_by_run = next(csv.DictReader(io.StringIO(table)))
        for name in EXACT_OUTCOMES:
            assert float(told_by_run[name]) == pytest.approx(float(row[name]), rel=1e-9, abs=1e-6), name


def test_the_copy_in_the_store_gives_the_same_table(tmp_path):
    lay_out_files(tmp_path, SMALL)
    run_to_end(["study", "study.toml", "--out", "store", "--export", "csv"], tmp_path)
    table = tmp_path / "store" / "results.csv"
    before = digest(table)
    code, out, told = command(
        ["study", "store/study/study.toml", "--out", "store", "--export", "csv"], tmp_path
    )
    assert code == 0, told
    assert "8 were there, 0 are new" in out
    assert digest(table) == before


def test_parquet_holds_the_same_figures(tmp_path):
    parquet = pytest.importorskip("pyarrow.parquet")
    batch = batch_of(tmp_path, SMALL)
    compute(batch, tmp_path / "store")
    with open_store(tmp_path / "store", "again") as store:
        written = parquet.read_table(write_table(batch, store, tmp_path, "parquet")[0]).to_pylist()
        with write_table(batch, store, tmp_path, "csv")[0].open(encoding="utf-8", newline="") as file:
            for mine, theirs in zip(csv.DictReader(file), written, strict=True):
                assert list(mine) == list(theirs)
                assert mine["sensors.at"] == theirs["sensors.at"]
                for name in ("point", "replication", "all.timeout_s", *EXACT_OUTCOMES):
                    assert float(mine[name]) == theirs[name]


def test_a_worker_loads_neither_pandas_nor_pictures(tmp_path):
    done = run_python(
        "import json, sys, sim.study.batch.task\nprint(json.dumps(sorted(sys.modules)))", tmp_path
    )
    assert done.returncode == 0, done.stderr
    assert not set(json.loads(done.stdout)) & {"pandas", "matplotlib", "scipy", "click", "distributed"}


def test_help_loads_nothing_heavy(tmp_path):
    code = "import sys\nfrom sim.cli import main\n"
    code += "try:\n    main(['study', '--help'])\nexcept SystemExit:\n    pass\n"
    done = run_python(code + "print(sorted({'numpy', 'pydantic', 'sqlite3'} & set(sys.modules)))", tmp_path)
    assert done.stdout.rstrip().endswith("[]"), done.stdout + done.stderr
