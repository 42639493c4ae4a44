"""Every reader of untrusted bytes, under one name each, with a good file to start from.

Comes in: nothing.  Goes out: `READERS`, used by the property tests beside this file and by `fuzz.py`.
A reader added to the program is added here; `test_readers.py` says what must hold for all of them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from sim.floor.layout import Layout, lay_out
from sim.log_form import LocationWords, LogForm
from sim.outcome.names import OUTCOMES
from sim.scenario.aisle_list import read_aisle_list
from sim.scenario.log_columns import read_columns_file
from sim.scenario.schema import Scenario
from sim.scenario.toml import load_scenario
from sim.sensing.logs import read_detections
from sim.study.store import read_stored_run
from sim.traffic.logs import read_visit_rows
from sim.traffic.move_logs import read_stops

CORPUS = Path(__file__).resolve().parents[1] / "corpus"


@cache
def site() -> tuple[Scenario, Layout]:
    """The site that the logs of the corpus belong to."""
    scenario = load_scenario(CORPUS / "logs" / "site.toml")
    return scenario, lay_out(scenario)


@dataclass(frozen=True)
class Reader:
    """One reader.

    Attributes
    ----------
    read : reads the file at a path; only an InputError may leave
    good : bytes that it takes
    name : of the file
    """

    read: Callable[[Path], object]
    good: bytes
    name: str


def _summary(path: Path) -> object:
    """Read a results folder whose summary is the file in question."""
    folder = path.parent
    (folder / "scenario.toml").write_bytes((CORPUS / "logs" / "site.toml").read_bytes())
    (folder / "replications.csv").write_bytes(_REPLICATIONS)
    return read_stored_run(folder)


def _replications(path: Path) -> object:
    """Read a results folder whose table of replications is the file in question."""
    folder = path.parent
    (folder / "scenario.toml").write_bytes((CORPUS / "logs" / "site.toml").read_bytes())
    (folder / "summary.json").write_bytes(_SUMMARY)
    return read_stored_run(folder)


_NAMES = [*OUTCOMES]
_REPLICATIONS = "".join(
    ",".join(row) + "\n"
    for row in (["replication", *_NAMES], ["0", *["1.5"] * len(_NAMES)], ["1", *["2.5"] * len(_NAMES)])
).encode()
_SUMMARY = b'{"source": "run", "versions": {"aislewake": "0.1.0"}}\n'

_EXPORT = LogForm(
    separator=";",
    time="%d.%m.%Y %H:%M:%S",
    columns={"time": "Wann", "location": "Wo", "operator": "Wer"},
    ignores_others=True,
    locations=LocationWords(
        pattern=r"(?P<aisle>\d\d)-(?P<bay>\d+)", aisles={"01": "A01"}, bay_m=2.0, outside="TOR.*"
    ),
)
READERS: dict[str, Reader] = {
    "scenario": Reader(load_scenario, (CORPUS / "logs" / "site.toml").read_bytes(), "scenario.toml"),
    "visits": Reader(
        lambda path: read_visit_rows(path, *site()),
        b"aisle,enter,leave,truck,bay_m\nA01,0,30.5,t 1,4\nA02,10,50,t-2,12.5\n",
        "visits.csv",
    ),
    "detections": Reader(
        lambda path: read_detections(path, *site()), b"zone,start,end\nA01,0,3\nA02,1,1.5\n", "motion.csv"
    ),
    "moves": Reader(
        lambda path: read_stops(path, "moves", *site()),
        b"time,from,to,truck\n5,A01-3,A02-9,t 1\n60.5,A02-1,A01-3,=x\n",
        "moves.csv",
    ),
    "export": Reader(
        lambda path: read_stops(path, "picks", *site(), form=_EXPORT),
        b"Wann;Wo;Wer\n01.03.2027 06:00:05;01-3;anna\n01.03.2027 06:01:05;TOR 2;ben\n",
        "export.csv",
    ),
    "columns": Reader(
        read_columns_file,
        b"""separator = ";"\ntime = "%d.%m.%Y %H:%M"\n[columns]\nzone = "Zone"\n"""
        b"""[locations]\npattern = '(?P<aisle>.*)'\nbay_m = 2\n""",
        "columns.toml",
    ),
    "aisles": Reader(
        read_aisle_list, b"name,length,luminaires,watts\nA01,60,10,150\nA02,40.5,8,120\n", "aisles.csv"
    ),
    "summary": Reader(_summary, _SUMMARY, "summary.json"),
    "replications": Reader(_replications, _REPLICATIONS, "replications.csv"),
}
