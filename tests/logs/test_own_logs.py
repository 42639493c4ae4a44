"""A run's own logs replayed: the same figures, also where trucks do not all count alike."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from sim.errors import InputError
from sim.results import Outcomes, Result
from sim.scenario.schema import Scenario
from sim.show.folders.run import write_results
from sim.study.replications.replicate import replay, run
from tests.show.made_results import make_scenario

TRUCK = {"speed_laden_m_per_s": 2.0, "speed_empty_m_per_s": 2.5, "handling_mean_s": 60.0}
SHIFT = {"from": "06:00", "to": "22:00"}


def made_site() -> Scenario:
    """Reach trucks that count fully, robots without drivers that sensors miss, people on foot."""
    return make_scenario(
        replications=1,
        trucks=[
            {"name": "reach", "count": 3, **TRUCK},
            {"name": "robot", "count": 2, "service_weight": 0.0, "seen": False, **TRUCK},
            {"name": "people", "kind": "walker", "count": 2, "service_weight": 0.5},
        ],
        shifts=[{"trucks": name, "crew": crew, **SHIFT} for name, crew in (("reach", 3), ("people", 2))]
        + [{"trucks": "robot", "crew": 2, **SHIFT}],
        work=[
            {"name": "out", "kind": "retrieve", "per_hour": 30.0},
            {"name": "in", "kind": "putaway", "per_hour": 30.0},
            {"name": "walks", "kind": "walk", "per_hour": 12.0, "dwell_mean_s": 120.0},
        ],
    )


@pytest.fixture(autouse=True)
def _without_pictures(monkeypatch: pytest.MonkeyPatch) -> None:
    """Write results folders without what is only looked at."""
    monkeypatch.setattr("sim.show.figures.draw.draw_figures", lambda result, folder: [])
    monkeypatch.setattr("sim.show.reports.run.render_report", lambda result, svgs: "")


def replayed(scenario: Scenario, folder: Path) -> Result:
    """Both logs of a folder under the scenario's lights."""
    return replay(scenario, detections=folder / "detections.csv", visits=folder / "visits.csv")


def differences(one: Outcomes, other: Outcomes) -> list[str]:
    """Outcomes of lights and trucks that are not the same number in every zone and hour."""
    tables: tuple[tuple[dict[str, Any], dict[str, Any]], ...] = (
        (one.total, other.total), (one.zones, other.zones), (one.hours, other.hours),
    )
    return [
        name
        for first, second in tables
        for name, values in first.items()
        if not np.array_equal(np.asarray(values, float), np.asarray(second[name], float), equal_nan=True)
        and not np.isnan(np.asarray(second[name], float)).all()
    ]


def rewritten(path: Path, **changes: str) -> None:
    """Write every row of a log with other words in some columns."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = [row | changes for row in csv.DictReader(file)]
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)


def test_people_and_robots_count_in_a_replay_as_in_the_run(tmp_path: Path) -> None:
    """Every figure is the same to the last digit; a replay's own log replayed once more, too."""
    scenario = made_site()
    result = run(scenario)
    write_results(result, tmp_path / "run")
    types = {row["type"] for row in csv.DictReader((tmp_path / "run" / "visits.csv").open(encoding="utf-8"))}
    assert types == {"reach", "robot", "people"}, "all of them were about"
    first = replayed(scenario, tmp_path / "run")
    assert differences(result.outcomes[0], first.outcomes[0]) == []
    write_results(first, tmp_path / "again")
    assert "reach-01" not in (tmp_path / "again" / "visits.csv").read_text(encoding="utf-8")
    second = replayed(scenario, tmp_path / "again")
    assert differences(result.outcomes[0], second.outcomes[0]) == []
    # negative control: whoever drove counts fully
    rewritten(tmp_path / "again" / "visits.csv", type="")
    found = differences(result.outcomes[0], replayed(scenario, tmp_path / "again").outcomes[0])
    assert {"dim_truck_s", "dim_entries"} <= set(found)


def test_sensors_see_of_a_log_whom_they_see_in_a_run(tmp_path: Path) -> None:
    """From visits alone: robots that nobody sees leave no motion; people stand as people do."""
    scenario = made_site()
    write_results(run(scenario), tmp_path / "run")
    log = tmp_path / "run" / "visits.csv"
    look = replay(scenario, visits=log).close_look
    visits = look.visits
    assert visits is not None
    assert len(look.detections.zone)
    kinds = set(
        zip(visits.truck_groups, visits.truck_weight, visits.truck_seen, visits.truck_on_foot, strict=True)
    )
    assert kinds == {("reach", 1.0, True, False), ("robot", 0.0, False, False), ("people", 0.5, True, True)}
    rewritten(log, type="robot")
    assert not len(replay(scenario, visits=log).close_look.detections.zone), "nobody was seen"
    rewritten(log, type="reech")
    with pytest.raises(InputError, match='there is no type "reech"; did you mean "reach"'):
        replay(scenario, visits=log)
