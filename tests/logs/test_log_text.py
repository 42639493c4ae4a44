"""The two ways of cutting rows agree; long logs need little memory; endless lines are refused."""

from __future__ import annotations

import io
import subprocess
import sys
from pathlib import Path
from typing import NoReturn

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import sim.logs.text
from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.logs.text import LogText
from sim.replication import prepare_site
from sim.scenario.toml import load_scenario
from sim.sensing.logs import read_detections
from sim.study.from_logs.traffic import scan_log

ROOT = Path(__file__).resolve().parents[2]
SITE = load_scenario(ROOT / "tests" / "corpus" / "logs" / "site.toml").model_copy(update={"days": 365.0})
LAYOUT = lay_out(SITE)


class StoppedError(Exception):
    """What a reader says when it gives up."""


def stop(line: int | None, message: str) -> NoReturn:
    raise StoppedError(f"{line}: {message}")


def rows_of(data: bytes, separator: str, width: int) -> object:
    """Lines, texts and ragged rows of some bytes without a header, or the fault."""
    text = LogText(io.BytesIO(data), separator, stop)
    lines: list[int] = []
    cells: list[tuple[str, ...]] = []
    ragged: list[tuple[int, list[str]]] = []
    try:
        for rows in text.blocks(width):
            lines += rows.line.tolist()
            cells += list(zip(*rows.columns, strict=True))
            ragged += rows.ragged
    except StoppedError as fault:
        return str(fault)
    return lines, cells, ragged


CELLS = st.text(st.sampled_from(list("ab0123.:-+ \u00e4;\t")), max_size=6)
LINES = st.lists(CELLS, min_size=1, max_size=4)


@settings(max_examples=300, deadline=None)
@given(
    st.lists(LINES, max_size=12),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["\n", "\r\n"]),
    st.integers(1, 4),
    st.booleans(),
    st.integers(1, 60),
)
def test_the_quick_way_and_the_careful_way_agree(
    lines: list[list[str]], separator: str, ending: str, width: int, is_open: bool, block: int
) -> None:
    """Blocks of any size give the rows that the CSV reader alone gives."""
    text = ending.join(separator.join(cells) for cells in lines)
    data = (text if is_open else text + ending).encode()
    before = sim.logs.text._BLOCK_BYTES
    try:
        sim.logs.text._BLOCK_BYTES = block
        quick = rows_of(data, separator, width)
        cut, sim.logs.text._cut = sim.logs.text._cut, lambda *_: None
        try:
            sim.logs.text._BLOCK_BYTES = before
            careful = rows_of(data, separator, width)
        finally:
            sim.logs.text._cut = cut
    finally:
        sim.logs.text._BLOCK_BYTES = before
    assert quick == careful


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=80) | st.text(st.sampled_from(list('a,"\n\r;0')), max_size=60).map(str.encode))
def test_any_bytes_are_cut_alike(data: bytes) -> None:
    """Also where something is wrong: the same words at the same line."""
    quick = rows_of(data, ",", 2)
    cut, sim.logs.text._cut = sim.logs.text._cut, lambda *_: None
    try:
        assert rows_of(data, ",", 2) == quick
    finally:
        sim.logs.text._cut = cut


def test_a_line_without_an_end_is_refused_before_it_is_read(tmp_path: Path) -> None:
    """2 GB of zeros after a header, made as a hole in the file: refused at the first block."""
    path = tmp_path / "hole.csv"
    with path.open("wb") as file:
        file.write(b"zone,start,end\n")
        file.truncate(2_000_000_000)
    with pytest.raises(InputError, match=r"NUL|longer than 65,536 bytes"):
        read_detections(path, SITE, LAYOUT)
    path.write_bytes(b"zone,start,end\nA01," + b"1" * 5_000_000)
    with pytest.raises(InputError, match="longer than 65,536 bytes"):
        read_detections(path, SITE, LAYOUT)


STATUS = Path("/proc/self/status")
PEAK = """
def peak():
    # ru_maxrss would count what the parent used before this process was its own
    text = open("/proc/self/status").read()
    return 1024 * int(text.split("VmHWM:")[1].split()[0])
"""
MEASURE = PEAK + """
import sys, time
sys.path.insert(0, {root!r})
from sim.replication import prepare_site
from sim.scenario.toml import load_scenario
from sim.study.from_logs.traffic import scan_log
site = prepare_site(load_scenario({site!r}).model_copy(update={{"days": 365.0}}))
base = peak()
begun = time.process_time()
table = scan_log(site, "detections", {path!r})
took = time.process_time() - begun
print(peak() - base, took, table.rows[0][1])
"""


def scan_apart(path: Path) -> tuple[float, float, int]:
    """Scan a log in a process of its own; return memory over the baseline [byte], CPU time [s] and rows."""
    site = str(ROOT / "tests" / "corpus" / "logs" / "site.toml")
    code = MEASURE.format(root=str(ROOT), site=site, path=str(path))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    memory, took, rows = done.stdout.split()
    return float(memory), float(took), int(rows)


def write_large(path: Path, size: int) -> int:
    """Write a log of so many bytes; return its rows."""
    block = [
        f"A0{1 + k % 2},2027-03-{2 + k // 3600 % 28:02d}T{k // 150 % 24:02d}:{k // 60 % 60:02d}:{k % 60:02d},"
        for k in range(100_000)
    ]
    data = "".join(f"{row}{row[4:23]}\n" for row in block).encode()
    rows = 0
    with path.open("wb") as file:
        file.write(b"zone,start,end\n")
        while file.tell() < size:
            file.write(data)
            rows += len(block)
    return rows


needs_status = pytest.mark.skipif(not STATUS.exists(), reason="peak memory is told by Linux only")


@needs_status
def test_a_log_of_20_mb_needs_little_memory(tmp_path: Path) -> None:
    """At most 200 MB over the baseline, whatever the size."""
    rows = write_large(tmp_path / "log.csv", 20_000_000)
    memory, _, found = scan_apart(tmp_path / "log.csv")
    assert found == rows
    assert memory < 200e6


@needs_status
@pytest.mark.slow
def test_a_log_of_1_gb_needs_little_memory(tmp_path: Path) -> None:
    """As above; 40 MB/s of CPU time is aimed for, half of that is demanded (a busy machine)."""
    rows = write_large(tmp_path / "log.csv", 1_000_000_000)
    memory, took, found = scan_apart(tmp_path / "log.csv")
    assert found == rows
    assert memory < 200e6
    assert 1000.0 / took > 20.0


READ = PEAK + """
import sys
sys.path.insert(0, {root!r})
from sim.replication import prepare_site
from sim.scenario.toml import load_scenario
from sim.study.from_logs.traffic import new_book
from sim.traffic.logs import read_visit_rows
site = prepare_site(load_scenario({site!r}).model_copy(update={{"days": 365.0}}))
base = peak()
rows = read_visit_rows({path!r}, site.scenario, site.layout, book=new_book(site, "visits"))
print(peak() - base, len(rows.enter))
"""


@needs_status
@pytest.mark.slow
def test_rows_of_visits_are_numbers_in_memory(tmp_path: Path) -> None:
    """37 bytes a row, a column of 8 bytes while they are joined, and 60 MB for what does not grow."""
    count, path = 4_000_000, tmp_path / "visits.csv"
    with path.open("w", encoding="utf-8") as file:
        file.write("aisle,enter,leave,truck,bay_m\n")
        file.writelines(f"A0{1 + k % 2},{k}.25,{k + 60}.5,reach-{k % 30},12.25\n" for k in range(count))
    site = str(ROOT / "tests" / "corpus" / "logs" / "site.toml")
    code = READ.format(root=str(ROOT), site=site, path=str(path))
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    memory, found = done.stdout.split()
    assert int(found) == count
    assert float(memory) < 45.0 * count + 60e6


@needs_status
def test_the_memory_check_can_fail(tmp_path: Path) -> None:
    """A reader that keeps every row would be seen: 40 MB of rows as text take more."""
    rows = write_large(tmp_path / "log.csv", 40_000_000)
    code = (
        f"{PEAK}\nbase = peak()\n"
        f"kept = [line.split(',') for line in open({str(tmp_path / 'log.csv')!r})]\n"
        "print(peak() - base, len(kept))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    memory, found = done.stdout.split()
    assert int(found) == rows + 1
    assert float(memory) > 200e6


def test_a_scan_in_small_blocks_counts_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_large(tmp_path / "log.csv", 200_000)
    tables = []
    for block in (2_000_000, 777):
        monkeypatch.setattr(sim.logs.text, "_BLOCK_BYTES", block)
        tables.append(scan_log(prepare_site(SITE), "detections", tmp_path / "log.csv").rows)
    assert tables[0] == tables[1]


def test_cells_are_a_sequence_of_texts() -> None:
    """A column of a block is what the list of its texts is: parts of it, what it holds, an empty cell."""
    texts = ["a", "\u00e4b", "", "d"]
    column = sim.logs.text._cut("".join(f"{text},x\n" for text in texts).encode(), ",", 2)[0]
    assert list(column) == texts
    for part in (slice(1, 3), slice(None, None, 2), slice(-1, None), slice(4, None)):
        assert list(column[part]) == texts[part]
        assert column[part].table() is None or len(column[part]) == 1
    assert [text in column for text in ("\u00e4b", "", "x")] == [True, True, False]
    assert "" not in column[:2]


@pytest.mark.parametrize(("bad", "more"), [(19, []), (20, ["1 more fault"]), (25, ["6 more faults"])])
def test_what_cannot_be_read_is_told_beside_twenty_faults(
    bad: int, more: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Bad rows and, blocks later, a byte that is no text: 19 of them, the byte, and how many more."""
    monkeypatch.setattr(sim.logs.text, "_BLOCK_BYTES", 64)
    path = tmp_path / "log.csv"
    rows = "".join(f"A01,x{k},1\n" for k in range(bad)) + "A01,5,6\n" * 20
    path.write_bytes(f"zone,start,end\n{rows}".encode() + b"A01,\xff,6\n")
    with pytest.raises(InputError) as caught:
        read_detections(path, SITE, LAYOUT)
    faults = caught.value.faults
    assert [fault.line for fault in faults[:20]] == [*range(2, 21), bad + 22]
    assert str(faults[0]).startswith(f'{path}:2: start: "x0" is not a time')
    assert str(faults[19]) == f"{path}:{bad + 22}: byte 0xFF is not UTF-8; save as CSV UTF-8"
    assert [str(fault) for fault in faults[20:]] == [f"{path}: {words}" for words in more]
