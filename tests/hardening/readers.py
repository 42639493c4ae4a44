"""Every reader of untrusted bytes, under one name each, with a good file to start from.

Comes in: nothing.  Goes out: `READERS`, used by the property tests beside this file and by `fuzz.py`.
A reader added to the program is added here; `test_readers.py` says what must hold for all of them.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from sim.errors import InputError, MachineError
from sim.floor.layout import Layout, lay_out
from sim.lighting.weather import read_weather
from sim.logs.form import LocationWords, LogForm
from sim.outcome.names import OUTCOMES
from sim.scenario.aisle_list import read_aisle_list
from sim.scenario.log_columns import read_columns_file
from sim.scenario.schema import Scenario
from sim.scenario.toml import load_scenario
from sim.sensing.logs import read_detections
from sim.study.batch.damage import move_aside
from sim.study.batch.file import read_study
from sim.study.batch.files import DATABASE
from sim.study.batch.store import DamagedError, Figures, Store
from sim.study.store import read_stored_run
from sim.traffic.logs import read_visit_rows
from sim.traffic.move_logs import read_stops
from sim.verification.meter import Reading, read_meter

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


def _study_store(path: Path) -> object:
    """Open the store of a study; where a damaged one was moved aside, what took its place must be sound."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        (folder / DATABASE).write_bytes(path.read_bytes())
        try:
            return _count_rows(folder)
        except (DamagedError, MachineError) as error:
            refused = InputError(str(move_aside(folder, str(error), "again")).replace(place, ""))
        _count_rows(folder)
    raise refused


def _count_rows(folder: Path) -> int:
    """Count the rows of a store whose checksums all hold."""
    store = Store(folder)
    try:
        store.check_rows()
        return sum(1 for _ in store.rows())
    finally:
        store.close()


def _made_store() -> bytes:
    """A store of two points with two replications each."""
    with tempfile.TemporaryDirectory() as place:
        store = Store(Path(place))
        values = {"energy_kwh": 1.5, "saved_share": float("nan")}
        made = {"aislewake": "0.1.0"}
        store.put([Figures(key * 64, 7, n, values, 0.25, made) for key in "ab" for n in (0, 1)], {})
        store.close()
        return (Path(place) / DATABASE).read_bytes()


def _made_weather() -> bytes:
    """A year in EPW: the fields that count are radiation [W/m2] and light [lx]."""
    head = "LOCATION,Invented,-,-,-,0,51.0,7.0,1.0,50.0\n" + "-\n" * 7
    rows = []
    for hour in range(8760):
        radiation = max(0, 12 - abs(hour % 24 - 12) * 2) * 50
        fields = ["0"] * 35
        fields[:5] = ["2023", str(hour // 730 + 1), "1", str(hour % 24 + 1), "0"]
        fields[13], fields[16] = str(radiation), str(radiation * 110)
        rows.append(",".join(fields))
    return (head + "\n".join(rows) + "\n").encode()


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
    "meter": Reader(
        lambda path: read_meter(path, Reading()),
        (CORPUS / "meters" / "good" / "power-by-quarter.csv").read_bytes(),
        "meter.csv",
    ),
    "study": Reader(
        read_study,
        b'format = 1\ntitle = "T"\nscenario = "pallet-reserve"\nreplications = 2\n[factors]\n'
        b'"all.timeout_s" = [30, 60]\n"sensors.range_m" = { from = 4.0, to = 9.0, step = 2.5 }\n',
        "study.toml",
    ),
    "study-store": Reader(_study_store, _made_store(), "results.sqlite"),
    "weather": Reader(read_weather, _made_weather(), "year.epw"),
    "summary": Reader(_summary, _SUMMARY, "summary.json"),
    "replications": Reader(_replications, _REPLICATIONS, "replications.csv"),
}
