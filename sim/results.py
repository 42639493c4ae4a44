"""What a run gives back: outcomes of each replication, their means and intervals, and a close look at one.

Comes in: arrays from `outcome` and `study`.  Goes out: frozen results with pandas views.  Pure data;
pandas is imported only where a frame is asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from sim.floor.layout import Layout
from sim.lighting.timetable import Program
from sim.notebook import FIGURE_HEADER, figure_row, html_table
from sim.outcome.names import ALL_OUTCOMES, HEADLINES, LIVE_OUTCOMES
from sim.records import Detections, FloatColumn, Stays, Visits
from sim.scenario.schema import Scenario

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["CloseLook", "Estimate", "ExtraTable", "Levels", "Outcomes", "Result", "TrafficBooks"]


@dataclass(frozen=True)
class Levels:
    """One zone's light over the run: pieces that touch, each a straight line of level over time.

    Attributes
    ----------
    start, end : [s]; the pieces cover the run without a gap (n,)
    start_level, end_level : actual light, share of full (n,)
    command : the commanded level in force (n,)
    occupied : the occupied level in force (n,)
    is_high : whether the command is high (n,)
    """

    start: FloatColumn
    end: FloatColumn
    start_level: FloatColumn
    end_level: FloatColumn
    command: FloatColumn
    occupied: FloatColumn
    is_high: np.ndarray[Any, np.dtype[np.bool_]]


@dataclass(frozen=True)
class TrafficBooks:
    """The traffic of one replication.

    Attributes
    ----------
    hours : by hour of the run (H,): moves_arisen, moves_begun, moves_done, backlog (arisen and not begun by
        the end of the hour), duty_h, busy_h, charging_h (truck-hours)
    groups : by truck group: duty_h, busy_h, utilisation (busy over duty), charges, charger_wait_h
    streams : by stream of work or trailers: arisen, begun, done, backlog_end, wait_mean_s (until begun), due,
        late, late_share, lateness_mean_s
    trailers : trailers, docked, gone, door_wait_mean_s, door_wait_max_s, door_stay_mean_s; empty without any
    """

    hours: Mapping[str, FloatColumn]
    groups: Mapping[str, Mapping[str, float]]
    streams: Mapping[str, Mapping[str, float]]
    trailers: Mapping[str, float]


@dataclass(frozen=True)
class Outcomes:
    """The outcomes of one replication; keys as in `outcome.names.OUTCOMES`.

    Attributes
    ----------
    total : site totals
    zones : by zone (Z,)
    hours : by hour of the run (H,)
    quarter_kw : mean site load in each quarter-hour of the local clock (Q,)
    traffic : the trucks' own books, None where the traffic was not simulated
    Truck outcomes are nan throughout where no visits are known.
    """

    total: Mapping[str, float]
    zones: Mapping[str, FloatColumn]
    hours: Mapping[str, FloatColumn]
    quarter_kw: FloatColumn
    traffic: TrafficBooks | None = None


@dataclass(frozen=True)
class Estimate:
    """Mean over replications with the half-width of its interval (None with one replication).

    Attributes
    ----------
    mean : None where the outcome is not known
    half_width : Student t, n - 1 degrees of freedom, 95 %
    """

    mean: float | None
    half_width: float | None


@dataclass(frozen=True)
class CloseLook:
    """Replication 0 in full, for pictures and logs.

    Attributes
    ----------
    visits, stays : None where no visits are known
    detections : united motion per zone
    levels : light of every zone (Z,)
    dim_visit_s : seconds below the occupied level of each visit (n visits,)
    false_off_visits : whether a switch-down fell while the truck was there (n visits,)
    """

    visits: Visits | None
    stays: Stays | None
    detections: Detections
    levels: tuple[Levels, ...]
    dim_visit_s: FloatColumn | None
    false_off_visits: np.ndarray[Any, np.dtype[np.bool_]] | None


@dataclass(frozen=True)
class ExtraTable:
    """A table that a run or a replay leaves besides its outcomes: a CSV file, and a section of the report.

    Attributes
    ----------
    name : of the file, without its ending
    title : of the section
    header, rows : of the file
    shown_header, shown_rows : of the section, as words; () where it shows the file's
    remarks : sentences below
    """

    name: str
    title: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    shown_header: tuple[str, ...] = ()
    shown_rows: tuple[tuple[str, ...], ...] = ()
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Result:
    """Everything a run or a replay found.

    Attributes
    ----------
    scenario, layout : the site
    programs : settings in force, by place (P,)
    replications : numbers of the replications (R,)
    outcomes : of each replication (R,)
    headline : mean and interval of every outcome's site total
    close_look : the first replication in full
    source : "run" or "replay"
    notices : what a reader must know, plain sentences
    special : outcomes of the year's special weeks by their name, one for each replication (R,)
    tables : what else was found, such as the quality of a log
    """

    scenario: Scenario
    layout: Layout
    programs: tuple[Program, ...]
    replications: tuple[int, ...]
    outcomes: tuple[Outcomes, ...]
    headline: Mapping[str, Estimate]
    close_look: CloseLook
    source: str
    notices: tuple[str, ...]
    special: Mapping[str, tuple[Outcomes, ...]] = field(default_factory=dict)
    tables: tuple[ExtraTable, ...] = ()

    def replications_frame(self) -> pd.DataFrame:
        """Return site totals, a row per replication."""
        import pandas as pd

        frame = pd.DataFrame([dict(outcome.total) for outcome in self.outcomes])
        frame.insert(0, "replication", list(self.replications))
        return frame

    def zones_frame(self) -> pd.DataFrame:
        """Return means over replications, a row per zone."""
        import pandas as pd

        frame = pd.DataFrame(_mean_columns([outcome.zones for outcome in self.outcomes]))
        aisles = [self.layout.places[place] for place in self.layout.zone_place]
        frame.insert(0, "zone", list(self.layout.zones))
        frame.insert(1, "aisle", aisles)
        return frame

    def hours_frame(self) -> pd.DataFrame:
        """Return means over replications of the whole site, a row per hour of the run."""
        import pandas as pd

        frame = pd.DataFrame(_mean_columns([outcome.hours for outcome in self.outcomes]))
        frame.insert(0, "hour", np.arange(len(frame)))
        frame.insert(
            1,
            "local_time",
            [
                stamp.isoformat(timespec="minutes")
                for stamp in pd.date_range(self.scenario.start_datetime, periods=len(frame), freq="h")
            ],
        )
        return frame

    def traffic_frame(self) -> pd.DataFrame | None:
        """Return the traffic's books as means over replications, a row per hour; None where not simulated."""
        books = [outcome.traffic for outcome in self.outcomes if outcome.traffic is not None]
        if not books:
            return None
        frame = self.hours_frame()[["hour", "local_time"]]
        return frame.assign(**_mean_columns([book.hours for book in books]))

    def traffic_summary(self) -> dict[str, dict[str, dict[str, float]]]:
        """Return means over replications by truck group, by stream of work, and of the trailers."""
        books = [outcome.traffic for outcome in self.outcomes if outcome.traffic is not None]
        if not books:
            return {}
        return {
            "trucks": _mean_tables([book.groups for book in books]),
            "work": _mean_tables([book.streams for book in books]),
            "trailers": _mean_tables([{"all": book.trailers} for book in books if book.trailers]),
        }

    def headline_frame(self) -> pd.DataFrame:
        """Return mean and half-width of every outcome's site total, a row per outcome."""
        import pandas as pd

        rows = [(name, figure.mean, figure.half_width) for name, figure in self.headline.items()]
        return pd.DataFrame(rows, columns=["outcome", "mean", "half_width"]).set_index("outcome")

    def _repr_html_(self) -> str:
        """Show the headline as a table in a notebook."""
        names = (*HEADLINES, *(name for name in LIVE_OUTCOMES if name in self.headline))
        rows = [
            figure_row(name, figure.mean, figure.half_width, ALL_OUTCOMES[name].unit)
            for name, figure in ((name, self.headline[name]) for name in names if name in self.headline)
        ]
        count = len(self.replications)
        remark = f"{self.source}, {count} replication{'s' * (count != 1)}; ±: half-width, 95 %"
        return html_table(self.scenario.title, FIGURE_HEADER, rows, (remark, *self.notices))


def _mean_tables(tables: list[Mapping[str, Mapping[str, float]]]) -> dict[str, dict[str, float]]:
    """Mean of each figure of each row over replications."""
    if not tables:
        return {}
    return {
        row: {key: float(np.mean([table[row][key] for table in tables])) for key in figures}
        for row, figures in tables[0].items()
    }


def _mean_columns(tables: list[Mapping[str, FloatColumn]]) -> dict[str, FloatColumn]:
    """Mean of each column over replications."""
    return {name: np.mean([table[name] for table in tables], axis=0) for name in tables[0]}
