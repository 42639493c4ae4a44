"""Measured visits: a strict reader of visit logs.

Comes in: a CSV file.  Goes out: `VisitRows`.  After it: `traffic/measured`, which adds the runs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from sim.records import FloatColumn, IntColumn

__all__ = ["VisitRows", "read_visit_rows"]


@dataclass(frozen=True)
class VisitRows:
    """Rows of a visits log, in order of entry (n,).

    Attributes
    ----------
    line : line of the file (n,)
    aisle : index of the aisle (n,)
    enter, leave : [s]; leave is cut at the end of the run (n,)
    truck : name, "" where the log has none (n,)
    bay_m : [m from the front mouth], nan where the log has none (n,)
    arrive : at the mouth [s], nan where the log has none: then waits are not known (n,)
    type : truck group, "" where the log has none (n,)
    task : a word of `paths.VISIT_TASKS`, "unknown" where the log has none (n,)
    enters_back, leaves_back : column enters_at / leaves_at says "back"; front where the log has none (n,)
    second_bay_m, second_stand_s : of a visit with two stops, nan otherwise (n,)
    """

    line: IntColumn
    aisle: IntColumn
    enter: FloatColumn
    leave: FloatColumn
    truck: tuple[str, ...]
    bay_m: FloatColumn
    arrive: FloatColumn
    type: tuple[str, ...]
    task: tuple[str, ...]
    enters_back: np.ndarray[Any, np.dtype[np.bool_]]
    leaves_back: np.ndarray[Any, np.dtype[np.bool_]]
    second_bay_m: FloatColumn
    second_stand_s: FloatColumn
