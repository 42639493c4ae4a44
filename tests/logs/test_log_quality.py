"""The quality table counts defects exactly: logs are made with known ones."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pytest

import sim.logs.text
from sim.floor.layout import lay_out
from sim.logs.quality import QualityBook, Thresholds
from sim.replication import prepare_site
from sim.scenario.toml import load_scenario
from sim.sensing.logs import read_detections
from sim.study.from_logs.traffic import scan_log

SITE = load_scenario(Path(__file__).parents[1] / "corpus" / "logs" / "site.toml").model_copy(
    update={"days": 40.0}
)
LAYOUT = lay_out(SITE)
PREPARED = prepare_site(SITE)
ZONES = LAYOUT.zones
AT = Thresholds(gap_s=20_000.0, jump_s=300.0, stuck_s=5_000.0, silent_s=200_000.0)


def made_log(rng: np.random.Generator) -> tuple[list[str], dict[str, int]]:
    """Rows of a log with defects, and how many there are of each."""
    counts = dict.fromkeys(("rows", "doubles", "gaps", "stuck", "unknown", "outside", "never", "gone"), 0)
    clock, reach = 0.0, -np.inf
    silent = int(rng.integers(0, 3))  # zones from the last one on that are never seen
    used = ZONES[: len(ZONES) - min(silent, len(ZONES) - 1)]
    last = dict.fromkeys(used, -np.inf)
    seen: set[tuple[str, float, float]] = set()
    rows: list[str] = []
    for _ in range(int(rng.integers(3, 60))):
        is_gap = rng.random() < 0.1
        step = float(rng.integers(1, 400))
        clock = max(reach, clock) + 20_001.0 + step if is_gap else clock + step
        zone = used[int(rng.integers(len(used)))]
        is_stuck = rng.random() < 0.1
        end = clock + (5_001.0 + rng.integers(99) if is_stuck else float(rng.integers(0, 300)))
        gap = clock - reach
        counts["gaps"] += bool(np.isfinite(reach) and gap > AT.gap_s)
        reach = max(reach, end)
        copies = 1 + int(rng.integers(1, 3)) * (rng.random() < 0.1)
        counts["doubles"] += copies - 1
        counts["stuck"] += copies * is_stuck
        counts["rows"] += copies
        assert (zone, clock, end) not in seen
        seen.add((zone, clock, end))
        rows += [f"{zone},{clock:.0f},{end:.0f}"] * copies
        last[zone] = max(last[zone], end)
        if rng.random() < 0.1:
            counts["rows"] += 1
            counts["unknown"] += 1
            rows.append(f"Z99,{clock:.0f},{end:.0f}")
    for _ in range(int(rng.integers(0, 3))):
        counts["rows"] += 1
        counts["outside"] += 1
        rows.append(f"Z99,{SITE.duration_s + rng.integers(1, 10_000):.0f},")
        counts["unknown"] += 1
    counts["never"] = len(ZONES) - sum(np.isfinite(end) for end in last.values())
    counts["gone"] = sum(bool(np.isfinite(end) and end < reach - AT.silent_s) for end in last.values())
    return rows, counts


def counted(path: Path) -> dict[str, int]:
    """The table of a scan."""
    table = [int(row[1]) for row in scan_log(PREPARED, "detections", path, thresholds=AT).rows]
    names = (
        "rows", "unknown", "outside", "order", "doubles", "jumps", "repeated", "gaps", "stuck", "never",
        "gone",
    )
    return dict(zip(names, table, strict=True))


def check_logs(folder: Path, seeds: range) -> None:
    """Compare counts with what was made, over some seeds, whole and in small blocks."""
    path = folder / "log.csv"
    for seed in seeds:
        rows, counts = made_log(np.random.default_rng(seed))
        path.write_text("\n".join(["zone,start,end", *rows]) + "\n", encoding="utf-8")
        found = counted(path)
        assert {name: found[name] for name in counts} == counts, seed
        assert found["order"] == found["jumps"] == found["repeated"] == 0


@pytest.mark.parametrize("block", [2_000_000, 100])
def test_counts_are_exact(block: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sim.logs.text, "_BLOCK_BYTES", block)
    check_logs(tmp_path, range(60))


@pytest.mark.slow
def test_counts_are_exact_on_1000_logs(tmp_path: Path) -> None:
    """The faults put into each of a thousand made logs are counted."""
    check_logs(tmp_path, range(1000))


@pytest.mark.parametrize("seed", range(40))
def test_disorder_and_jumps_are_counted_as_they_stand(seed: int, tmp_path: Path) -> None:
    """Against a loop over the rows, row by row; and what a sorted reading finds does not depend on order."""
    rng = np.random.default_rng(seed)
    rows, _ = made_log(rng)
    rows = [row for row in rows if not row.startswith("Z99")]
    in_order = list(rows)
    for _ in range(int(rng.integers(0, 6))):
        place, other = rng.integers(len(rows), size=2)
        rows[place], rows[other] = rows[other], rows[place]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["zone,start,end", *rows]), encoding="utf-8")
    before: dict[str, float] = {}
    order = jumps = 0
    for row in rows:
        zone, start = row.split(",")[0], float(row.split(",")[1])
        order += start < before.get(zone, -np.inf)
        jumps += start < before.get(zone, -np.inf) - AT.jump_s
        before[zone] = start
    found = counted(path)
    assert (found["order"], found["jumps"]) == (order, jumps)
    tables = []
    for text in (rows, in_order):
        path.write_text("\n".join(["zone,start,end", *text]), encoding="utf-8")
        book = QualityBook(SITE.start_datetime, SITE.duration_s, ZONES, "zone", AT)
        read_detections(path, SITE, LAYOUT, sort=True, book=book)
        of_order = ("before them", "put back")
        tables.append(
            [row.count for row in book.table() if not any(word in row.check for word in of_order)]
        )
    assert tables[0] == tables[1]


def test_a_count_that_is_wrong_would_be_seen(tmp_path: Path) -> None:
    """The check fails where the log has one double more than was said."""
    rows, counts = made_log(np.random.default_rng(3))
    rows.insert(0, rows[0])
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["zone,start,end", *rows]), encoding="utf-8")
    assert counted(path)["doubles"] == counts["doubles"] + 1


def test_visits_and_moves_are_counted_too(tmp_path: Path) -> None:
    site = prepare_site(SITE)
    visits = tmp_path / "visits.csv"
    visits.write_text(
        "aisle,enter,leave,truck\nA01,0,10,a\nA01,0,10,a\nA01,0,10,b\nA02,5000,5100,a\nA02,10,20,a\n"
        "XX,6000,6001,b\n",
        encoding="utf-8",
    )
    table = {row[0]: int(row[1]) for row in scan_log(site, "visits", visits).rows}
    assert table["rows read"] == 6
    assert table["rows of an unknown aisle"] == 1
    assert table["rows that stand twice"] == 1
    assert table["rows earlier than the row before them"] == 1
    assert table["clocks put back by more than 5 min"] == 1
    moves = tmp_path / "moves.csv"
    start = dt.datetime(2027, 3, 1, 6)
    stamps = [(start + dt.timedelta(minutes=k)).isoformat() for k in range(4)]
    moves.write_text(
        f"time,from,to\n{stamps[0]},A01-1,A02-3\n{stamps[1]},A01-1,A02-3\n{stamps[1]},A01-1,A02-3\n"
        f"{stamps[1]},A01-2,A02-3\n{stamps[3]},nowhere,A02-3\n",
        encoding="utf-8",
    )
    table = {row[0]: int(row[1]) for row in scan_log(site, "moves", moves).rows}
    assert table["rows read"] == 5
    assert table["rows that stand twice"] == 1
    assert table["rows of an unknown aisle"] == 1
    assert table["aisles never seen"] == 1
