"""Visits logs beside a scenario without trucks, without bays, or with stays too short for their runs.

The corpus' site: aisles of 40 m, 2.5 m/s empty and 2 m/s laden without acceleration, so that a retrieval at
20 m takes 8 s in and 10 s out.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.records import Visits
from sim.scenario.schema import Scenario
from sim.scenario.toml import load_scenario
from sim.study.replications.replicate import replay
from sim.traffic.dwell import dwell_visits
from sim.traffic.logs import read_visit_rows
from sim.traffic.measured import measured_visits
from sim.traffic.move_logs import read_stops

SITE = load_scenario(Path(__file__).parents[1] / "corpus" / "logs" / "site.toml")
NOBODY = SITE.model_copy(update={"trucks": ()})
CUT = SITE.model_copy(update={"floor": SITE.floor.model_copy(update={"zones_per_aisle": 2})})
HEAD = "aisle,enter,leave,bay_m,task\n"


def put(folder: Path, text: str, name: str = "visits.csv") -> Path:
    """Write a log."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def seen(scenario: Scenario, path: Path, *, needs_positions: bool) -> Visits:
    """Visits of a log."""
    layout = lay_out(scenario)
    rows = read_visit_rows(path, scenario, layout)
    return measured_visits(scenario, layout, rows, needs_positions=needs_positions, where=str(path))


def refusal(scenario: Scenario, path: Path, *, needs_positions: bool = True) -> str:
    """What is said of a log that is refused."""
    with pytest.raises(InputError) as caught:
        seen(scenario, path, needs_positions=needs_positions)
    return str(caught.value)


def test_positions_need_bays_and_speeds(tmp_path: Path) -> None:
    """For sensing and for cut zones alike; each is told with the log, and with its line if there is one."""
    path = put(tmp_path, HEAD + "A01,10,90,20,retrieve\nA02,20,99,,retrieve\n")
    for scenario, needs, words in ((SITE, True, "sensing needs"), (CUT, False, "cut zones need")):
        said = refusal(scenario, path, needs_positions=needs)
        assert said == f"{path}:3: bay_m: missing: {words} the bay of every visit [m from the front mouth]"
    path = put(tmp_path, HEAD + "A01,10,90,20,retrieve\n")
    for scenario, needs, words in ((NOBODY, True, "sensing needs"), (CUT, False, "cut zones need")):
        site = scenario.model_copy(update={"trucks": ()})
        said = refusal(site, path, needs_positions=needs)
        assert said == f"{path}: {words} a [[trucks]] group in the scenario, for its speeds"
    assert seen(SITE, path, needs_positions=True).moves is not None


def test_a_stay_is_as_long_as_its_runs_at_least(tmp_path: Path) -> None:
    """18 s for 20 m are enough: the truck stands for no time; 17.9 s are not."""
    text = HEAD + "A02,5,60,10,retrieve\nA01,10,{},20,retrieve\n"
    path = put(tmp_path, text.format(28))
    moves = seen(SITE, path, needs_positions=True).moves
    assert moves is not None
    assert moves.start.tolist()[2:] == [10.0, pytest.approx(18.0)]
    said = refusal(SITE, put(tmp_path, text.format(27.9)))
    assert said == (
        f"{path}:3: leave: the stay of 17.9 s is too short to drive to bay 20 m and back at the speeds of "
        "its truck group"
    )
    assert "\n" not in said


def test_twenty_short_stays_are_told(tmp_path: Path) -> None:
    """Of 25 rows that are too short twenty are told, in the order of the log."""
    path = put(tmp_path, HEAD + "".join(f"A01,{100 * k},{100 * k + 9},20,retrieve\n" for k in range(25)))
    lines = refusal(SITE, path).splitlines()
    assert [line.split(": ")[0] for line in lines] == [f"{path}:{k}" for k in range(2, 22)]


@pytest.mark.parametrize(
    ("scenario", "row"),
    [
        (SITE, "A01,10,27,20,retrieve"),  # too short for its runs
        (SITE, "A01,10,90,,retrieve"),  # no bay
        (NOBODY, "A01,10,90,20,retrieve"),  # nobody whose speeds could be taken
    ],
)
def test_where_sensors_have_spoken_runs_are_not_needed(scenario: Scenario, row: str, tmp_path: Path) -> None:
    """The log of detections decides the lights; visits count, and where trucks were is left open."""
    path = put(tmp_path, HEAD + row + "\n")
    visits = seen(scenario, path, needs_positions=False)
    assert visits.moves is None
    detections = put(tmp_path, "zone,start,end\nA01,12,20\n", "detections.csv")
    total = replay(scenario, detections=detections, visits=path).outcomes[0].total
    stay_s = float(row.split(",")[2]) - 10.0
    assert total["visits"] == 1.0
    assert total["occupied_h"] == pytest.approx(stay_s / 3600.0)
    # negative control: with a bay and a long stay the runs are there
    sound = put(tmp_path, HEAD + "A01,10,90,20,retrieve\n")
    assert seen(SITE, sound, needs_positions=False).moves is not None


def test_moves_and_picks_need_speeds(tmp_path: Path) -> None:
    """A pick says where and when, not how long the way there is."""
    path = put(tmp_path, "time,location\n1000,A01-5\n")
    for scenario in (SITE, NOBODY):
        stops = read_stops(path, "picks", scenario, lay_out(scenario))
        if scenario.trucks:
            assert len(dwell_visits(scenario, lay_out(scenario), stops)[0]) == 1
            continue
        with pytest.raises(InputError) as caught:
            dwell_visits(scenario, lay_out(scenario), stops)
        assert str(caught.value) == (
            "moves and picks need a [[trucks]] group in the scenario: speeds, handling time"
        )


def test_groups_are_not_asked_where_there_are_none(tmp_path: Path) -> None:
    """Without [[trucks]] any harmless word may stand in the column type; an odd one is refused there."""
    head = "aisle,enter,leave,type\n"
    path = put(tmp_path, head + "A01,10,90,reach 1\nA01,100,190,\n")
    rows = read_visit_rows(path, NOBODY, lay_out(NOBODY))
    assert np.broadcast_to(rows.group, 2).tolist() == [-1, -1]
    with pytest.raises(InputError, match='there is no type "reach 1"'):
        read_visit_rows(path, SITE, lay_out(SITE))
    path = put(tmp_path, head + "A01,10,90,reach\nA01,100,190,=1+1\n")
    with pytest.raises(InputError) as caught:
        read_visit_rows(path, NOBODY, lay_out(NOBODY))
    assert str(caught.value) == (
        f'{path}:3: type: "=1+1" is not allowed; allowed: letters, digits, space, _ . -, the first a letter '
        "or digit, at most 60"
    )
