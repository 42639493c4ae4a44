"""Where results may be put, what a killed run left there, and what a study's table and a fault become.

Comes in: folders and files made by hand.
"""

from __future__ import annotations

import csv
import json
import os
import time
from pathlib import Path

import pytest

from sim.errors import InputError
from sim.scenario.toml import parse_scenario
from sim.show.as_json.site import fault_summary
from sim.show.folders.batch_table import write_table
from sim.show.folders.whole import MARK, refuse_existing, write_folder
from sim.study.batch.file import read_study
from sim.study.batch.points import lay_out_points
from sim.study.batch.run import open_store, run_study
from tests.study.decide_site import TEXT

STUDY = """
format = 1
title = "Two"
scenario = "site.toml"
replications = 2
outcomes = ["energy_kwh", "dim_entries"]
[factors]
"sensors.at" = ["ends", "every"]
"day.timeout_s" = [60, 300, 600]
"""


def fill(folder: Path) -> None:
    """A results folder with nothing but its mark."""
    (folder / MARK).write_text("{}", encoding="utf-8")


def test_a_folder_that_is_not_ours_is_not_replaced(tmp_path: Path) -> None:
    """With --force a results folder is replaced; pictures of a holiday, or a file, are not."""
    ours, other, file = tmp_path / "ours", tmp_path / "other", tmp_path / "file"
    for folder in (ours, other):
        folder.mkdir()
    fill(ours)
    (other / "holiday.png").write_bytes(b"")
    file.write_text("", encoding="utf-8")
    for place in (other, file):
        with pytest.raises(InputError, match=r"is not a results folder \(no summary\.json\); it is not"):
            refuse_existing(place, force=True)
    refuse_existing(ours, force=True)
    refuse_existing(tmp_path / "nowhere", force=False)


def test_a_link_is_refused_even_where_it_leads_to_results(tmp_path: Path) -> None:
    """Renaming would replace the link and leave what it leads to."""
    ours = tmp_path / "ours"
    ours.mkdir()
    fill(ours)
    link = tmp_path / "link"
    try:
        link.symlink_to(ours, target_is_directory=True)
    except OSError:
        pytest.skip("links are not allowed here")
    with pytest.raises(InputError, match="is a link; give a real folder"):
        refuse_existing(link, force=True)
    assert (ours / MARK).is_file()


def test_what_was_replaced_does_not_come_back_over_what_replaced_it(tmp_path: Path) -> None:
    """Killed after the new folder was put down and before the old one was taken away: the new one stays."""
    out, place = tmp_path / "out", tmp_path / ".out.a.old"
    for folder, text in ((out, "new"), (place / "out", "old")):
        folder.mkdir(parents=True)
        (folder / MARK).write_text(text, encoding="utf-8")
    then = time.time() - 3600.0
    os.utime(place, (then, then))
    with pytest.raises(InputError, match="exists already"):
        write_folder(out, fill)
    assert (out / MARK).read_text(encoding="utf-8") == "new"
    assert not place.exists()


def test_a_parquet_table_is_whole_whatever_is_written_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """12 rows in pieces of 5, 5 and 2: all of them, in the order of the CSV; so in one piece, full or not."""
    parquet = pytest.importorskip("pyarrow.parquet")
    (tmp_path / "site.toml").write_text(TEXT, encoding="utf-8")
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    batch = lay_out_points(read_study(tmp_path / "study.toml"))
    with open_store(tmp_path / "store", "again") as store:
        run_study(batch, store, workers=0)
        with write_table(batch, store, tmp_path, "csv")[0].open(encoding="utf-8", newline="") as file:
            wanted = list(csv.DictReader(file))
        assert len(wanted) == 12
        for at_once, pieces in ((5, [5, 5, 2]), (12, [12]), (20, [12])):
            monkeypatch.setattr("sim.show.folders.batch_table._PIECE", at_once)
            path = write_table(batch, store, tmp_path, "parquet")[0]
            with parquet.ParquetFile(path) as table:
                sizes = [table.metadata.row_group(place).num_rows for place in range(table.num_row_groups)]
            assert [size for size in sizes if size] == pieces
            written = parquet.read_table(path).to_pylist()
            assert [row["key"] for row in written] == [row["key"] for row in wanted]
            for name in ("point", "replication", "day.timeout_s", "energy_kwh", "dim_entries"):
                assert [float(row[name]) for row in written] == [float(row[name]) for row in wanted]


@pytest.mark.parametrize(
    ("value", "told"),
    [
        ("2027-03-02", "2027-03-02"), ("07:30:00", "07:30:00"), ("[1, 2]", [1, 2]), ("true", True),
        ("[[1, 2], [3, 4]]", None), ("{ a = 1 }", None),
    ],
)
def test_a_fault_has_its_value_as_json_can_say_it(value: str, told: object) -> None:
    """Dates and times become texts, plain lists stay lists; tables and lists of lists are left out."""
    with pytest.raises(InputError) as refused:
        parse_scenario(TEXT.replace("full_w = 100", f"full_w = {value}"), "bad.toml")
    summary = json.loads(json.dumps(fault_summary("check", refused.value)))
    fault = next(one for one in summary["faults"] if one["key"] == "luminaires.full_w")
    assert fault["value"] == told
    assert (fault["file"], fault["line"]) == ("bad.toml", TEXT[: TEXT.index("full_w")].count("\n") + 1)
