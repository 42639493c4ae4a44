"""The handover: every sheet carries the hash, says what was simulated, and is written whole or not at all."""

from __future__ import annotations

import csv
import datetime as dt
import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from sim.cli import aislewake
from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.provenance import content_hash
from sim.results import Estimate
from sim.scenario.schema import Scenario
from sim.scenario.toml import load_scenario
from sim.show.folders.handover import render_handover, write_handover
from sim.show.folders.run import write_results
from sim.show.handover.sheets import NOT_A_PERMIT, Handover, build_handover
from sim.show.handover.tests import plan_tests
from sim.show.handover.words import always_rules, operation_periods
from sim.study.replications.replicate import replay, run
from sim.study.step_in import Step, StepIn
from sim.study.store import read_settled
from tests.show.made_results import make_scenario

FILES = {
    "handover.html", "scenario.toml", "summary.json", "settings.csv", "zones.csv", "sensors.csv",
    "circuits.csv", "numeric_limits.csv", "tests.csv", "step_in.csv",
}


def made_steps(scenario: Scenario) -> StepIn:
    """Two steps with plain numbers."""
    steps = tuple(
        Step(week, dict.fromkeys(scenario.lighting.settings, timeout), Estimate(0.5 * week, 0.1), "A01", 0.25,
             Estimate(0.4, 0.01))
        for week, timeout in ((1, 1170.0), (2, 270.0))
    )
    return StepIn(steps, 10.0, True, 5)


def pack_of(scenario: Scenario, share: float = 0.1) -> Handover:
    """The sheets of a site."""
    return build_handover(scenario, made_steps(scenario), settings_from="by hand", share=share)


def rows_of(path: Path) -> list[dict[str, str]]:
    """A CSV file as rows."""
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_words_say_both_timers_and_their_sum() -> None:
    """Hold 30 s and timeout 270 s: 5 min in all; 0.5 s of latency and 0.7 s of fade: 1.2 s to full."""
    by_name = {period.name: " ".join(period.steps) for period in operation_periods(make_scenario())}
    assert "5 min after the last motion: 30 s hold" in by_name["day"]
    assert "4.5 min timeout" in by_name["day"]
    assert "1.2 s" in by_name["day"]
    assert "down to 30 % of full light, in 10 s" in by_name["day"]
    assert "50 % of full light" in by_name["night"]
    assert "down to 0 % of full light, at once" in by_name["night"]


def test_words_say_the_second_level_and_its_delay() -> None:
    settings = {
        "day": {"unoccupied_level": 0.3, "timeout_s": 270, "second_delay_s": 3600, "second_level": 0.1},
        "night": {"unoccupied_level": 1.0, "timeout_s": 60},
    }
    by_name = {
        one.name: " ".join(one.steps)
        for one in operation_periods(make_scenario(lighting={"settings": settings}))
    }
    assert "After 1 h more without motion they go down to 10 %" in by_name["day"]
    assert "stays at 100 %" in by_name["night"]


def test_rules_name_borders_exceptions_and_what_never_dims() -> None:
    scenario = make_scenario(
        exceptions=[{"dates": [dt.date(2027, 12, 24)], "settings": "night"}],
        luminaires={"per_aisle": 10, "full_w": 100.0, "fixed_on": 2},
    )
    text = " ".join(always_rules(scenario))
    assert "Mon 06:00" in text
    assert 'On 2027-12-24: "night" all day' in text
    assert "2 luminaires in each of A01 to A03" in text
    assert "No exception dates" in " ".join(always_rules(make_scenario()))


def test_commands_are_not_called_light() -> None:
    """IEC 62386-102: 30 % of 254 is 76.2; 10^(75.2 / (253/3) - 1) % is 0.78 %, far from 30 %."""
    lamps = {"per_aisle": 10, "full_w": 100.0, "power_curve": "iec62386-log"}
    scenario = make_scenario(luminaires=lamps)
    text = {period.name: " ".join(period.steps) for period in operation_periods(scenario)}["day"]
    assert "the command 30 % (level 76 of 254), 0.78 % of full light" in text
    assert "down to 30 % of full light" not in text
    assert "Levels are commands" in " ".join(pack_of(scenario).lists[0].remarks)
    held = make_scenario(luminaires={"per_aisle": 10, "full_w": 100.0, "driver_min_level": 0.4})
    text = {period.name: " ".join(period.steps) for period in operation_periods(held)}["day"]
    assert "the command 30 %, which the driver makes 40 % of full light" in text


def test_only_true_borders_are_borders() -> None:
    """A week of one name has none; two names change twice a day, and not at midnight."""
    one = make_scenario(timetable=[{"from": "00:00", "to": "24:00", "settings": "day"}])
    assert "Borders of the week" not in " ".join(always_rules(one))
    text = " ".join(always_rules(make_scenario()))
    assert "Mon 06:00, Mon 22:00, Tue 06:00" in text
    assert "00:00" not in text


def test_the_hash_stands_on_every_sheet_and_in_every_row(tmp_path: Path) -> None:
    scenario, out = make_scenario(), tmp_path / "pack"
    write_handover(pack_of(scenario), scenario, ("Careful.",), out)
    assert {path.name for path in out.iterdir()} == FILES
    expected = content_hash(scenario.content())
    for path in out.glob("*.csv"):
        rows = rows_of(path)
        assert rows
        assert {row["scenario_hash"] for row in rows} == {expected}, path.name
    page = (out / "handover.html").read_text(encoding="utf-8")
    heads = re.findall(r'<p class="stamp">(.*?)</p>', page, re.DOTALL)
    assert len(heads) == len(re.findall(r'<section class="sheet', page)) == 11
    assert all(expected[:12] in head and NOT_A_PERMIT in head for head in heads)
    assert content_hash(load_scenario(out / "scenario.toml").content()) == expected


def test_lists_have_every_zone_sensor_and_light(tmp_path: Path) -> None:
    """Three aisles of two zones, end sensors, ten luminaires of 100 W, one of which never dims."""
    floor = {"aisles": 3, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0, "zones_per_aisle": 2}
    scenario = make_scenario(
        floor=floor, luminaires={"per_aisle": 10, "full_w": 100.0, "fixed_on": 1},
        circuits=[
            {"tag": "L1", "aisles": ["A01", "A02"], "feeds": "dimmed"},
            {"tag": "E1", "aisles": ["A01", "A02"], "feeds": "fixed"},
        ],
    )
    out = tmp_path / "pack"
    write_handover(pack_of(scenario), scenario, (), out)
    zones = rows_of(out / "zones.csv")
    assert [row["zone"] for row in zones] == ["A01.1", "A01.2", "A02.1", "A02.2", "A03.1", "A03.2"]
    assert sum(int(row["luminaires_dim"]) + int(row["luminaires_fixed"]) for row in zones) == 30
    assert zones[0]["circuits"] == "L1 E1"
    assert zones[5]["circuits"] == ""
    sensors = rows_of(out / "sensors.csv")
    assert [row["sensor"] for row in sensors[:2]] == ["A01-S1", "A01-S2"]
    assert [row["looks_out"] for row in sensors[:2]] == ["front", "back"]
    assert {row["hold_s"] for row in sensors} == {"30"}
    circuits = rows_of(out / "circuits.csv")
    assert [(row["circuit"], row["luminaires"], row["full_w"]) for row in circuits] == [
        ("L1", "18", "1800"), ("E1", "2", "200"), ("not stated", "10", "1000"),
    ]
    assert circuits[2]["aisles"] == "A03"
    settings = rows_of(out / "settings.csv")
    assert len(settings) == 6 * 2
    assert all(float(row["hold_s"]) + float(row["timeout_s"]) == float(row["sum_s"]) for row in settings)


def test_few_sensors_are_all_tested_and_many_by_kind() -> None:
    small = make_scenario()  # six sensors
    kinds = plan_tests(small, lay_out(small), 0.1, 1).kinds
    assert [kind.tested for kind in kinds] == [("A01", "A02", "A03")]
    floor = {"aisles": 30, "aisle_length_m": [60.0] * 10 + [40.0] * 20, "aisle_pitch_m": 5.0}
    large = make_scenario(floor=floor)
    kinds = plan_tests(large, lay_out(large), 0.1, 1).kinds
    assert [(len(kind.aisles), len(kind.tested)) for kind in kinds] == [(10, 1), (20, 2)]
    assert kinds == plan_tests(large, lay_out(large), 0.1, 1).kinds
    drawn = {plan_tests(large, lay_out(large), 0.1, seed).kinds[1].tested for seed in range(20)}
    assert len(drawn) > 5


def test_many_settings_do_not_burst_the_schedule() -> None:
    """Up to six names a column each; more are one span, and all of them stand in the file."""
    assert len(pack_of(make_scenario()).steps.header) == 1 + 2 + 3
    one = {"unoccupied_level": 0.3, "timeout_s": 270}
    names = [f"s{number}" for number in range(8)]
    scenario = make_scenario(
        lighting={"settings": dict.fromkeys(names, one)},
        timetable=[
            {"from": f"{3 * place:02d}:00", "to": f"{3 * place + 3:02d}:00", "settings": name}
            for place, name in enumerate(names)
        ],
    )
    steps = pack_of(scenario).steps
    assert steps.header == ("Week", "Timeouts", "False-offs a shift", "Most in one aisle", "Saved")
    assert {len(row) for row in steps.rows} == {5}
    assert len(steps.csv_rows) == 2 * 8


def test_states_are_full_and_say_what_is_stated() -> None:
    states = pack_of(make_scenario(statements={"fails_to_full": True, "power_return_to_full": False})).states
    assert [state.stated for state in states] == ["stated: full", "stated: not full", "not stated"]
    assert all("full light" in state.required for state in states)


def test_a_name_that_looks_like_markup_is_text() -> None:
    scenario = make_scenario(title="<b>Hall</b> & yard")
    page = render_handover(pack_of(scenario), ("<i>",))
    assert "<b>Hall" not in page
    assert "&lt;b&gt;Hall&lt;/b&gt; &amp; yard" in page
    assert "<script" not in page
    assert not re.search(r'src="|href="(?!#)', page)


def test_written_whole_or_not_at_all(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    scenario, out = make_scenario(), tmp_path / "pack"

    def refuse(*_: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("sim.show.folders.handover.render_handover", refuse)
    with pytest.raises(Exception, match="No space left"):
        write_handover(pack_of(scenario), scenario, (), out)
    assert list(tmp_path.iterdir()) == []


def test_folder_of_a_run_and_of_a_replay(tmp_path: Path) -> None:
    scenario = make_scenario(replications=1)
    write_results(run(scenario), tmp_path / "run")
    found = read_settled(tmp_path / "run")
    assert found.scenario.content() == scenario.content()
    assert found.log is None
    visits = tmp_path / "run" / "visits.csv"
    again = replay(scenario, detections=tmp_path / "run" / "detections.csv", visits=visits)
    write_results(again, tmp_path / "log")
    assert read_settled(tmp_path / "log").log == tmp_path / "log"
    with pytest.raises(InputError, match="only a recommendation has plans"):
        read_settled(tmp_path / "run", "aisles")
    done = CliRunner().invoke(aislewake, ["handover", str(tmp_path / "log"), "--out", str(tmp_path / "pack")])
    assert done.exit_code == 0, done.output
    assert "as they were replayed" in done.output


def test_plan_of_a_recommendation(tmp_path: Path) -> None:
    folder = tmp_path / "found"
    write_results(run(make_scenario(replications=1)), folder)
    summary = {"source": "recommend", "plans": {"single": {}, "aisles": {}, "aisles-at-equal-service": {}}}
    (folder / "summary.json").write_text(json.dumps(summary), encoding="utf-8")
    for number, name in enumerate(("single", "aisles", "aisles-at-equal-service")):
        text = (folder / "scenario.toml").read_text(encoding="utf-8")
        (folder / f"{name}.toml").write_text(text.replace("seed = 11", f"seed = {number}"), encoding="utf-8")
    assert read_settled(folder).scenario.seed == 1
    assert read_settled(folder, "single").scenario.seed == 0
    with pytest.raises(InputError, match="there are: single, aisles"):
        read_settled(folder, "../run")
    summary["recommended_plan"] = "single"
    (folder / "summary.json").write_text(json.dumps(summary), encoding="utf-8")
    assert read_settled(folder).scenario.seed == 0, "the plan that the report leads with"
    assert read_settled(folder, "aisles").scenario.seed == 1


def test_what_is_refused(tmp_path: Path) -> None:
    runner = CliRunner()
    (tmp_path / "empty").mkdir()
    for words in ([str(tmp_path / "empty")], ["pallet-reserve", "--plan", "aisles"]):
        done = runner.invoke(aislewake, ["handover", *words])
        assert isinstance(done.exception, InputError), done.output
