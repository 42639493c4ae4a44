"""What a study in batch costs: `python -m tests.bench.batch`, some minutes; `--quick` with shorter runs.

T-d: two workers against one, where a replication takes a second or more (on the wall: let nothing else run).
Then what a site-year, a further setting, a point and a row of the store cost here, from which the plan in
DEVELOPERS.md is reckoned (the process's own time).  Nothing here fails: figures stand beside their targets.
"""

from __future__ import annotations

import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sim.show.folders.batch_table import write_table
from sim.study.batch.file import read_study
from sim.study.batch.files import DATABASE
from sim.study.batch.points import lay_out_points
from sim.study.batch.run import open_store, run_study
from sim.study.batch.store import Figures, Store
from sim.study.batch.task import Answer, Task
from sim.study.sweeping.sweep import EXACT_OUTCOMES
from tests.bench.__main__ import peak_mb, tell

STUDY = """
format = 1
title = "bench"
scenario = "site.toml"
replications = {replications}
[factors]
"{key}" = {{ from = 60, to = {last}, step = 1 }}
"""


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Return what something cost this process [s], and its result."""
    begin = time.process_time()
    result = work()
    return time.process_time() - begin, result


def lay_out(place: Path, days: float, replications: int, settings: int, key: str = "all.timeout_s") -> Path:
    """Write a study of the pallet reserve over so many days, with so many settings."""
    from sim.scenario.demos import demo_folder

    place.mkdir(parents=True, exist_ok=True)
    text = (demo_folder() / "pallet-reserve.toml").read_text(encoding="utf-8")
    text = text.replace("days = 7 ", f"days = {days:g} ")
    (place / "site.toml").write_text(text, encoding="utf-8")
    path = place / "study.toml"
    path.write_text(STUDY.format(replications=replications, last=59 + settings, key=key), encoding="utf-8")
    return path


def run_whole(path: Path, store: Path, workers: int = 0) -> float:
    """Run a study into a fresh store; return its cost [s]: with workers on the wall, their start included."""
    batch = lay_out_points(read_study(path))
    with open_store(store, "again") as opened:
        begin = time.perf_counter()
        spent_s, _ = timed(lambda: run_study(batch, opened, workers=workers))
        return time.perf_counter() - begin if workers else spent_s


def children_s() -> float:
    """Return the processor time of workers that have ended [s]."""
    times = os.times()
    return times.children_user + times.children_system


def bench_workers(place: Path, days: float, replications: int) -> None:
    """T-d: two workers against one; where other work disturbs the wall clock, their processor time tells."""
    print(f"T-d  {replications} replications of {days:g} days of the pallet reserve, 20 settings each")
    path = lay_out(place / "d", days, replications, 20)
    before = children_s()
    one = run_whole(path, place / "d1", 1)
    between = children_s()
    two = run_whole(path, place / "d2", 2)
    spent_one, spent_two = between - before, children_s() - between
    tell("one worker", one, None, "s")
    tell("one replication", one / replications, None, "s")
    tell("two workers over one worker", two / one, 0.6)
    tell("processor time of each of the two over that of the one", spent_two / 2.0 / spent_one, 0.6)


def bench_years(place: Path, days: float) -> None:
    """A site-year, and a further setting."""
    print(f"Cost of {days:g} days of the pallet reserve")
    single = run_whole(lay_out(place / "y1", days, 1, 1), place / "s1")
    ten = run_whole(lay_out(place / "y10", days, 10, 1), place / "s10")
    week = run_whole(lay_out(place / "w10", 7.0, 10, 1), place / "ws10") / 10.0
    many = run_whole(lay_out(place / "w10x500", 7.0, 10, 500), place / "wm10") / 10.0
    tell("one", single, None, "s")
    tell("ten (replications)", ten, None, "s")
    tell("ten over ten times one", ten / single / 10.0, 1.3)
    tell("cost of a day over that in a run of a week", ten / 10.0 / days / (week / 7.0), 1.3)
    tell("a week", week, None, "s")
    tell("each further setting on the same trucks, kept", (many - week) / 499.0 * 1e3, None, "ms")
    tell("most memory of the process", peak_mb(), None, "MB")


def bench_points(place: Path) -> None:
    """Points before anything is computed: settings, and sites of their own."""
    print("Laying out points")
    for name, key in (("settings", "all.timeout_s"), ("a site of its own", "sensors.hold_s")):
        path = lay_out(place / name, 7.0, 1, 1000, key)
        study = read_study(path)
        spent_s, _ = timed(lambda study=study: lay_out_points(study))
        tell(f"each point, {name}", spent_s, None, "ms")


def invented(task: Task) -> Answer:
    """Answer at once: what is left is the store's cost."""
    figures = {name: tuple(float(point) for point in task.points) for name in task.outcomes}
    return Answer(figures, 0.1, {"model": str(_model())})


def _model() -> int:
    """Return the model's number."""
    from sim.provenance import MODEL_VERSION

    return MODEL_VERSION


def bench_store(place: Path, replications: int) -> None:
    """The store and the table, with figures that cost nothing."""
    print(f"The store: 1,000 points x {replications} replications x {len(EXACT_OUTCOMES)} outcomes")
    batch = lay_out_points(read_study(lay_out(place / "store", 7.0, replications, 1000)))
    rows = batch.rows * len(EXACT_OUTCOMES)
    with open_store(place / "kept", "again") as store:
        spent_s, _ = timed(lambda: run_study(batch, store, workers=0, work=invented))
        tell("write, each figure", spent_s / rows * 1e6, None, "us")
        spent_s, _ = timed(store.check_rows)
        tell("check, each figure", spent_s / rows * 1e6, None, "us")
        spent_s, (path, _) = timed(lambda: write_table(batch, store, place, "csv"))
        tell("table, each row", spent_s / batch.rows * 1e6, None, "us")
        tell("table, each row", path.stat().st_size / batch.rows, None, "bytes")
    tell("store, each figure", (place / "kept" / DATABASE).stat().st_size / rows, None, "bytes")
    bench_single(place)


def bench_single(place: Path) -> None:
    """One transaction for each point: what the writer can take from a cluster."""
    folder = place / "single"
    folder.mkdir()
    store = Store(folder)
    values = dict.fromkeys(EXACT_OUTCOMES, 1.0)
    count = 2000
    begin = time.process_time()
    for number in range(count):
        store.put([Figures(f"{number:064x}", 1, 0, values, 0.1, {"model": "1"})], {"done": number})
    tell("points the writer takes in a second", count / (time.process_time() - begin), None, "1/s")
    store.close()


def main() -> None:
    """Measure everything."""
    is_quick = "--quick" in sys.argv
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        bench_years(place, 91.0 if is_quick else 364.0)
        bench_points(place)
        bench_store(place, 10 if is_quick else 100)
        bench_workers(place, 91.0 if is_quick else 182.0, 8)


if __name__ == "__main__":
    main()
