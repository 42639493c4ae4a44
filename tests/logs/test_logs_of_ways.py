"""A run's own log of visits that begin and end at middle cross-aisles: read again, they are the same."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.errors import InputError
from sim.replication import prepare_site
from sim.show.folders.run import write_results
from sim.study.replications.replicate import run
from sim.traffic.logs import read_visit_rows
from sim.traffic.measured import measured_visits
from sim.traffic.paths import stays_in_zones
from sim.traffic.ways import BACK
from tests.truth.truth_scenes import TRUCK, scenario


def test_visits_by_middle_cross_aisles_are_read_again(tmp_path: Path) -> None:
    made = scenario(
        aisles=4,
        hours=6.0,
        trucks=[TRUCK | {"count": 6, "acceleration_m_per_s2": 0.5}],
        floor={
            "aisle_length_m": [60.0, 60.0, 40.0, 60.0],
            "cross_aisles_m": [20.0, 45.5],
            "one_way": "alternating",
            "zones_per_aisle": 3,
        },
        work=[
            {"name": kind, "kind": kind, "per_hour": 20.0} for kind in ("putaway", "retrieve", "replenish")
        ],
    )
    result = run(made, replications=1)
    write_results(result, tmp_path / "out")
    layout, visits = prepare_site(made).layout, result.close_look.visits
    assert visits is not None
    log = tmp_path / "out" / "visits.csv"
    text = log.read_text(encoding="utf-8")
    assert ",20.0,45.5," in text
    rows = read_visit_rows(log, made, layout)
    again = measured_visits(made, layout, rows, needs_positions=True, where="log")
    assert visits.enter_line is not None
    assert again.enter_line is not None
    assert set(visits.enter_line.tolist()) == {0, 1, 2, BACK}
    for name in ("enter_line", "leave_line", "enters_back", "leaves_back"):
        assert (getattr(visits, name) == getattr(again, name)).all(), name
    one, other = stays_in_zones(layout, visits), stays_in_zones(layout, again)
    assert (one.zone == other.zone).all()
    assert np.abs(one.enter - other.enter).max() < 1e-6
    # negative control: read as if the cross-aisles lay elsewhere
    log.write_text(text.replace(",20.0,", ",21.0,"), encoding="utf-8")
    with pytest.raises(InputError, match=r'there is no enters_at "21\.0"'):
        read_visit_rows(log, made, layout)
