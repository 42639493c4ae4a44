"""Columns files: other people's exports mean the same rows; faults are told together."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.logs.form import LocationWords
from sim.scenario.log_columns import read_columns_file
from sim.scenario.toml import load_scenario
from sim.sensing.logs import read_detections
from sim.traffic.locations import OUTSIDE, LocationRule
from sim.traffic.logs import read_visit_rows
from sim.traffic.move_logs import read_stops

SITE = load_scenario(Path(__file__).parents[1] / "corpus" / "logs" / "site.toml")
LAYOUT = lay_out(SITE)


def put(folder: Path, name: str, text: str) -> Path:
    """Write a file."""
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


FORMS = {
    "semicolons": (
        'separator = ";"\ndecimal = ","\n[columns]\nzone = "Zone"\nstart = "Beginn"\nend = "Ende"\n',
        "Nr;Zone;Beginn;Ende\n1;A01;1,5;4\n2;A02;7;7,25\n",
    ),
    "tabs and dates": (
        'separator = "\\t"\ntime = "%d.%m.%Y %H:%M:%S.%f"\n[columns]\nstart = "von"\nend = "bis"\n',
        "zone\tvon\tbis\nA01\t01.03.2027 06:00:01.5\t01.03.2027 06:00:04.0\n"
        "A02\t01.03.2027 06:00:07.0\t01.03.2027 06:00:07.25\n",
    ),
    "milliseconds": (
        '[units]\nstart = "ms"\nend = "ms"\n', "zone,start,end,x\nA01,1500,4000,\nA02,7000,7250,\n"
    ),
    "quoted": ("", '"zone","start","end","site, hall"\n"A01","1.5","4","a,b"\n"A02","7","7.25","c"\n'),
}


@pytest.mark.parametrize("name", FORMS)
def test_detections_in_other_hands(name: str, tmp_path: Path) -> None:
    columns, log = FORMS[name]
    form = read_columns_file(put(tmp_path, "columns.toml", columns))
    found = read_detections(put(tmp_path, "log.csv", log), SITE, LAYOUT, form=form)
    assert found.zone.tolist() == [0, 1]
    assert found.start.tolist() == [1.5, 7.0]
    assert found.end.tolist() == [4.0, 7.25]


@pytest.mark.parametrize(("word", "factor"), [("unix", 1), ("unix_ms", 1000)])
def test_unix_time_needs_a_zone(word: str, factor: int, tmp_path: Path) -> None:
    """2027-03-01 05:00 UTC is 1 803 877 200 s (date -u -d); 06:00 in Berlin in winter."""
    form = read_columns_file(put(tmp_path, "columns.toml", f'time = "{word}"\n'))
    begin = 1_803_877_200 * factor
    log = put(tmp_path, "log.csv", f"zone,start,end\nA01,{begin + 2 * factor},{begin + 3 * factor}\n")
    with pytest.raises(InputError, match="timezone"):
        read_detections(log, SITE, LAYOUT, form=form)
    there = SITE.model_copy(update={"timezone": "Europe/Berlin"})
    found = read_detections(log, there, LAYOUT, form=form)
    assert (found.start.tolist(), found.end.tolist()) == ([2.0], [3.0])


def test_feet_become_metres(tmp_path: Path) -> None:
    """1 ft = 0.3048 m exactly (1959 agreement)."""
    form = read_columns_file(put(tmp_path, "columns.toml", '[units]\nbay_m = "ft"\n'))
    rows = read_visit_rows(
        put(tmp_path, "log.csv", "aisle,enter,leave,bay_m,sku\nA01,0,60,100,x\n"), SITE, LAYOUT, form=form
    )
    assert rows.bay_m.tolist() == pytest.approx([30.48], abs=1e-12)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('seperator = ";"\n', 'did you mean "separator"'),
        ('separator = "|"\n', 'allowed: "," or ";"'),
        ('decimal = ","\n', "both: separator and decimal"),
        ('dst = "third"\n', '"first" or "second"'),
        ('time = "%d %H"\n', "is no form of time"),
        ("time = 3\n", "is no form of time"),
        ('[columns]\nzoen = "a"\n', 'did you mean "zone"'),
        ('[columns]\nzone = "a"\nstart = "a"\n', "stands for zone already"),
        ("[columns]\nzone = 1\n", "the name of a column"),
        ('[units]\nstart = "weeks"\n', "allowed: s, ms, min, h"),
        ('[units]\nzone = "s"\n', "has no unit"),
        ("columns = 1\n", "write [columns]"),
        ("[locations]\npattern = '(?P<bay>.)'\n", "needs a group"),
        ("[locations]\npattern = '('\n", "is no regular expression"),
        ("[locations]\nbay_m = -1\n", "above 0"),
        ("[locations]\nfirst_bay = 1.5\n", "a whole number"),
        ("[locations]\ntable = { a = 1 }\n", "a table such as"),
        ('[locations]\ntable = { a = ["A01"] }\n', "a table such as"),
        ("[locations]\ntable = { a = [1, 2] }\n", "a table such as"),
        ('[locations]\ntable = { a = ["A01", true] }\n', "a table such as"),
        ("[locations]\npattern = 1\n", "in single quotes, at most 200 characters"),
        ("[locations]\noutside = ''\n", "in single quotes, at most 200 characters"),
        (f"[locations]\noutside = '{'x' * 201}'\n", "in single quotes, at most 200 characters"),
        ("units = 1\n", "write [units] in single brackets"),
        ("[locations]\naisles = { a = 1 }\n", "a table such as"),
        ("[locations]\npatern = 'x'\n", 'did you mean "pattern"'),
    ],
)
def test_a_bad_columns_file_says_what_is_allowed(text: str, words: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read_columns_file(put(tmp_path, "columns.toml", text))
    assert words in str(caught.value)
    assert str(caught.value).replace("\n", "").isprintable()


def test_a_fault_names_file_line_and_key(tmp_path: Path) -> None:
    """A table of locations holds aisles, or aisles with metres; anything else is told at its line."""
    text = "separator = ';'\n[locations]\ntable = { \"GF-17\" = \"A01\", CAGE = [\"A02\", 12.5] }\n"
    path = put(tmp_path, "columns.toml", text)
    assert read_columns_file(path).locations.table == {"GF-17": ("A01", None), "CAGE": ("A02", 12.5)}
    path.write_text(text.replace("12.5", '"12.5"'), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_columns_file(path)
    assert str(caught.value) == (
        f'{path}:3: locations.table: allowed: a table such as {{ "GF-17" = "A01" }} or '
        '{ "GF-17" = ["A01", 12.5] } [m]'
    )


def test_all_faults_of_a_columns_file_together(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        read_columns_file(put(tmp_path, "columns.toml", 'dst = "x"\ndecimal = "x"\n[columns]\nfoo = "x"\n'))
    assert len(caught.value.faults) == 3


def test_a_log_without_the_named_column(tmp_path: Path) -> None:
    form = read_columns_file(put(tmp_path, "c.toml", '[columns]\nstart = "Begin"\ntruck = "Lift"\n'))
    log = put(tmp_path, "log.csv", "zone,Begln,end\nA01,0,1\n")
    with pytest.raises(InputError, match=r'Begin: the column is missing.*did you mean "Begln"'):
        read_detections(log, SITE, LAYOUT, form=form)


@settings(max_examples=150, deadline=None)
@given(st.text(st.sampled_from(list("abc[]=\"'{}(?P<aisle>.)\n1,.-")), max_size=60))
def test_any_columns_file(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    """Only an InputError leaves."""
    path = put(tmp_path_factory.mktemp("c"), "c.toml", f"[locations]\n{text}")
    said = ""
    try:
        read_columns_file(path)
    except InputError as fault:
        said = str(fault)
    assert not said or said.replace("\n", "").isprintable()


def test_locations_by_pattern_and_table() -> None:
    words = LocationWords(
        pattern=r"(?P<aisle>\d\d)-(?P<bay>\d+)-\d",
        aisles={"01": "A01", "02": "A02"},
        bay_m=2.0,
        outside="DOCK.*",
        table={"CAGE": ("B 1", 3.5), "FLOOR": ("A01", None)},
    )
    names = ["01-01-9", "02-20-1", "DOCK7", "CAGE", "FLOOR", "03-01-1", "02-21-1"]
    rule = LocationRule(words, LAYOUT)
    assert rule.numbers(names).tolist() == list(range(7))
    assert rule.aisle[:5].tolist() == [0, 1, OUTSIDE, 2, 0]
    np.testing.assert_array_equal(rule.bay_m[:5], [1.0, 39.0, np.nan, 3.5, np.nan])
    assert rule.is_fault.tolist() == [False] * 5 + [True] * 2
    assert 'there is no aisle "03"' in rule.fault(5)
    assert "would lie 41 m into aisle A02; allowed: 0 to 40" in rule.fault(6)


def test_locations_by_our_own_names() -> None:
    """An aisle's name, then a sign, then the bay; the longest name counts."""
    rule = LocationRule(LocationWords(bay_m=3.0), LAYOUT)
    numbers = rule.numbers(["A01", "A01-2", "B 1/3/B", "A011", "a01-2", "", "A01-2"])
    assert numbers.tolist() == [0, 1, 2, 3, 4, 5, 1]
    assert rule.aisle[:3].tolist() == [0, 0, 2]
    np.testing.assert_array_equal(rule.bay_m[:3], [np.nan, 4.5, 7.5])
    assert rule.is_fault.tolist() == [False] * 3 + [True] * 3
    assert 'did you mean "A01"' in rule.fault(4)


def test_a_bay_that_is_no_number() -> None:
    """The pattern lets letters and a million through; both are told, a number beside them is read."""
    rule = LocationRule(LocationWords(pattern=r"(?P<aisle>A\d\d)/(?P<bay>\w+)", bay_m=0.001), LAYOUT)
    rule.numbers(["A01/x2", "A01/1000000", "A01/007"])
    assert rule.is_fault.tolist() == [True, True, False]
    assert rule.fault(0) == '"A01/x2": the bay "x2" is no number'
    assert rule.fault(1) == '"A01/1000000": the bay "1000000" is no number'
    assert rule.bay_m[2] == pytest.approx(6.5 * 0.001)


def test_picks_by_the_second_and_by_truck(tmp_path: Path) -> None:
    log = put(tmp_path, "picks.csv", "time,location,truck\n10,A01-1,x\n10,A01-1,y\n20,A02-1,x\n")
    stops = read_stops(log, "picks", SITE, LAYOUT)
    assert stops.truck.tolist() == [0, 1, 0]
    assert stops.trucks == ("T01", "T02")
