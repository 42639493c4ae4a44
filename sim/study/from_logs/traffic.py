"""A site's logs as traffic for the lights, with what there is to say about their quality.

Comes in: paths of logs, a prepared site.  Goes out: `Traffic`, tables, sentences.  Before: the readers of
logs in `traffic` and `sensing`; after: `study/replications/replicate`, `study/from_logs/fit`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol

from sim.errors import Fault, InputError
from sim.logs.form import OWN_FORM, LogForm
from sim.logs.quality import HEADER, USUAL, QualityBook, Thresholds
from sim.logs.reader import Batch, Log
from sim.records import Detections, Visits
from sim.replication import Site, Traffic, hear_seen, sense_visits
from sim.results import ExtraTable
from sim.scenario.log_columns import clock_of
from sim.sensing.logs import DetectionCounter, read_detections
from sim.traffic.dwell import dwell_visits
from sim.traffic.logs import VisitCounter, read_visit_rows
from sim.traffic.measured import measured_visits
from sim.traffic.move_logs import MoveCounter, MoveKind, read_stops
from sim.traffic.paths import stays_in_zones

__all__ = [
    "LogKind",
    "LogTraffic",
    "kind_of_log",
    "new_book",
    "quality_table",
    "read_log_traffic",
    "scan_log",
]

LogKind = Literal["detections", "visits", "moves", "picks"]
_COLUMNS: dict[LogKind, tuple[str, ...]] = {
    "detections": ("zone", "start", "end"),
    "visits": ("aisle", "enter", "leave"),
    "moves": ("time", "from", "to"),
    "picks": ("time", "location"),
}
Told = Callable[[int], None]
TRUSTED = "The logs were read as trusted: order and quality of their rows were not looked at."
"""What is said of figures from a trusted log."""


class _Sum:
    """Tells the bytes of several logs as those of one."""

    def __init__(self, told: Told | None) -> None:
        self._told = told
        self._before = self._done = 0

    def __call__(self, done: int) -> None:
        """Tell the bytes read so far of the log at hand."""
        self._done = done
        if self._told is not None:
            self._told(self._before + done)

    def begin(self) -> None:
        """Begin the next log."""
        self._before, self._done = self._before + self._done, 0


@dataclass(frozen=True)
class LogTraffic:
    """Traffic from logs.

    Attributes
    ----------
    traffic : for the lights
    tables : the quality of each log
    notices : what a reader must know
    """

    traffic: Traffic
    tables: tuple[ExtraTable, ...]
    notices: tuple[str, ...]


def kind_of_log(site: Site, path: Path | str, form: LogForm = OWN_FORM) -> LogKind:
    """Return what a log holds, by the columns in its header.

    Parameters
    ----------
    site, path, form : the site, the file and how it is written

    Raises
    ------
    InputError : the file cannot be read, or its header is that of no log
    """
    header = set(Log(path, start=site.scenario.start_datetime, required=(), form=form).header())
    for kind, columns in _COLUMNS.items():
        if header >= {form.columns.get(column, column) for column in columns}:
            return kind
    known = "; ".join(f"{kind}: {','.join(columns)}" for kind, columns in _COLUMNS.items())
    raise InputError([Fault(str(path), 1, "", f"the header is that of no log; expected {known}")])


def new_book(site: Site, kind: LogKind, thresholds: Thresholds = USUAL) -> QualityBook:
    """Return an empty quality book for one kind of log."""
    is_zones = kind == "detections"
    names = site.layout.zones if is_zones else site.layout.aisles
    start, end_s = site.scenario.start_datetime, site.scenario.duration_s
    return QualityBook(start, end_s, names, "zone" if is_zones else "aisle", thresholds)


def quality_table(kind: LogKind, book: QualityBook) -> ExtraTable:
    """Return a book as a table."""
    return ExtraTable(
        name=f"log_quality_{kind}",
        title=f"Quality of the {kind} log",
        header=HEADER,
        rows=tuple((row.check, str(row.count), row.detail) for row in book.table()),
        remarks=("Rows that stand twice are kept; the lights see motion that overlaps once.",),
    )


def scan_log(
    site: Site,
    kind: LogKind,
    path: Path | str,
    *,
    form: LogForm = OWN_FORM,
    thresholds: Thresholds = USUAL,
    told: Told | None = None,
) -> ExtraTable:
    """Count the quality of a log of any size, a block at a time.

    Rows of an unknown zone, aisle or location, outside the run or out of order are counted, not refused.

    Parameters
    ----------
    site : its zones and aisles, and the run that the times belong to
    kind, path, form : what log it is and how it is written
    thresholds : from where on something is told
    told : is given the bytes read so far

    Raises
    ------
    InputError : the file is no such log
    """
    book = new_book(site, kind, thresholds)
    counter = _counter(site, kind, form)
    log = Log(
        path,
        start=clock_of(site.scenario),
        required=counter.required,
        optional=counter.optional,
        form=form,
        told=told,
    )
    for batch in log.batches():
        counter.count(log, batch, book)
    log.finish()
    return quality_table(kind, book)


class _Counter(Protocol):
    """Counts the quality of one kind of log; has the names of its columns."""

    required: tuple[str, ...]
    optional: tuple[str, ...]

    def count(self, log: Log, batch: Batch, book: QualityBook) -> None:
        """Count some rows, in the order of the file."""


def _counter(site: Site, kind: LogKind, form: LogForm) -> _Counter:
    """Return what counts one kind of log."""
    if kind == "detections":
        return DetectionCounter(site.layout)
    return VisitCounter(site.layout) if kind == "visits" else MoveCounter(kind, site.layout, form)


def read_log_traffic(
    site: Site,
    *,
    detections: Path | str | Detections | None = None,
    visits: Path | str | Visits | None = None,
    moves: Path | str | None = None,
    picks: Path | str | None = None,
    sort: bool = False,
    form: LogForm = OWN_FORM,
    told: Told | None = None,
    trusted: bool = False,
) -> LogTraffic:
    """Read logs as traffic.

    Parameters
    ----------
    site : the prepared site
    detections : log of motion or table; absent: the scenario's sensors look at the visits
    visits, moves, picks : at most one of them; visits may be a table
    sort : accept logs whose rows are not in order of time
    form : how the logs are written
    told : is given the bytes read so far of all logs
    trusted : the logs were found good before: neither their order nor their quality is looked at again

    Raises
    ------
    InputError : a log has faults
    """
    scenario, layout = site.scenario, site.layout
    tables: list[ExtraTable] = []
    notices: list[str] = [TRUSTED] if trusted else []
    tell = _Sum(told)
    seen: Visits | None
    kind: MoveKind
    if visits is None or isinstance(visits, Visits):
        seen = visits
    else:
        book = new_book(site, "visits")
        rows = read_visit_rows(
            visits, scenario, layout, sort=sort, form=form, book=book, told=tell, trusted=trusted
        )
        tell.begin()
        seen = measured_visits(
            scenario, layout, rows, needs_positions=detections is None, where=str(visits)
        )
        tables.append(quality_table("visits", book))
    for kind, path in (("moves", moves), ("picks", picks)):
        if path is not None:
            book = new_book(site, kind)
            stops = read_stops(
                path, kind, scenario, layout, sort=sort, form=form, book=book, told=tell, trusted=trusted
            )
            tell.begin()
            seen, note = dwell_visits(scenario, layout, stops)
            tables.append(quality_table(kind, book))
            notices += note.sentences()
    if detections is None:
        assert seen is not None
        found = sense_visits(site, seen, 0)
        heard = hear_seen(site, found, 0)
    else:
        if isinstance(detections, Detections):
            found = detections
        else:
            book = new_book(site, "detections")
            found = read_detections(
                detections, scenario, layout, sort=sort, form=form, book=book, told=tell, trusted=trusted
            )
            tables.append(quality_table("detections", book))
        heard = hear_seen(site, found, None)
    stays = None if seen is None else stays_in_zones(layout, seen)
    traffic = Traffic(seen, stays, heard, 0, None, found)
    return LogTraffic(traffic, () if trusted else tuple(tables), tuple(notices))
