"""The same seed gives the same bytes: with one worker or two, and whatever the order of Python's sets.

Each run is a fresh process.  The control is another seed.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.truth.truth_scenes import holds, spoilt

ROOT = Path(__file__).resolve().parents[2]
PROGRAM = """
import hashlib, sys
import numpy as np
from sim.study.replications.replicate import run
from tests.truth.test_truth_streams import changed

def main():
    day = {"unoccupied_level": 0.3, "timeout_s": 120.0, "fade_down_s": 8.0}
    made = changed(lighting={"settings": {"day": day}})
    result = run(made, seed=int(sys.argv[1]), replications=5, workers=int(sys.argv[2]))
    digest = hashlib.sha256()
    def add(*arrays):
        for array in arrays:
            digest.update(np.ascontiguousarray(array).tobytes())
    for outcomes in result.outcomes:
        for name in outcomes.total:
            digest.update(name.encode())
            add(outcomes.total[name], outcomes.zones[name], outcomes.hours[name])
        add(outcomes.quarter_kw)
    for name, figure in result.headline.items():
        digest.update(repr((name, figure.mean, figure.half_width)).encode())
    look = result.close_look
    add(look.visits.enter, look.visits.leave, look.visits.truck, look.visits.moves.start, look.dim_visit_s)
    add(look.detections.zone, look.detections.start, look.detections.end)
    for light in look.levels:
        add(light.start, light.start_level, light.end_level, light.is_high)
    print(digest.hexdigest())

if __name__ == "__main__":
    main()
"""


def digest_of(folder: Path, *, workers: int, hash_seed: int, seed: int = 7) -> str:
    """Run in a process of its own; the sha256 of every figure, interval, visit, detection and level."""
    script = folder / "program.py"
    script.write_text(PROGRAM, encoding="utf-8")
    environment = os.environ | {"PYTHONHASHSEED": str(hash_seed), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, str(script), str(seed), str(workers)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment,
        cwd=folder,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.strip()


def check_same(folder: Path, first: dict[str, int], second: dict[str, int]) -> None:
    """Two runs give the same bytes."""
    one, other = digest_of(folder, **first), digest_of(folder, **second)
    assert len(one) == 64
    holds(one == other, f"{first} and {second} give the same bytes")


def test_same_seed_same_bytes(tmp_path):
    base = {"workers": 1, "hash_seed": 0}
    check_same(tmp_path, base, {"workers": 2, "hash_seed": 1})
    with spoilt("another seed"):
        check_same(tmp_path, base, {"workers": 1, "hash_seed": 0, "seed": 8})


@pytest.mark.slow
def test_same_seed_same_bytes_each_cause_alone(tmp_path):
    base = {"workers": 1, "hash_seed": 0}
    check_same(tmp_path, base, {"workers": 1, "hash_seed": 1})
    check_same(tmp_path, base, {"workers": 2, "hash_seed": 0})


def folder_of(folder: Path, name: str, *, workers: int, hash_seed: int, seed: int = 7) -> dict[str, bytes]:
    """Run the command; every file of its results."""
    out = folder / name
    scenario = ROOT / "scenarios" / "pallet-reserve.toml"
    environment = os.environ | {"PYTHONHASHSEED": str(hash_seed), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "sim",
            "run",
            str(scenario),
            "--seed",
            str(seed),
            "--replications",
            "3",
            "--workers",
            str(workers),
            "--out",
            str(out),
        ],
        capture_output=True,
        text=True,
        encoding="utf-8",
        env=environment,
        cwd=folder,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return {
        path.relative_to(out).as_posix(): path.read_bytes()
        for path in sorted(out.rglob("*"))
        if path.is_file()
    }


@pytest.mark.slow
def test_same_seed_same_results_folder(tmp_path):
    """The packaged demo by the command: every file, pictures and report too."""

    def check(first: dict[str, bytes], second: dict[str, bytes]) -> None:
        assert len(first) > 8
        differ = [name for name in first.keys() | second.keys() if first.get(name) != second.get(name)]
        holds(not differ, f"files are the same; these differ: {sorted(differ)}")

    one = folder_of(tmp_path, "one", workers=1, hash_seed=0)
    check(one, folder_of(tmp_path, "two", workers=2, hash_seed=1))
    with spoilt("another seed"):
        check(one, folder_of(tmp_path, "other", workers=1, hash_seed=0, seed=8))
