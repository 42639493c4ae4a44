"""Caps under skylights: hours of a table, and a typical year of weather read a second way.

pvlib packages the typical year of station 723170; its own sums are published with the data set's use here:
global radiation 1566.203 kWh/m2, 4614 h above 0, 2908 h above 20 klx, 1446 h above 50 klx.
"""

from __future__ import annotations

import datetime as dt
import sys
import tomllib
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.cli import aislewake
from sim.errors import InputError
from sim.lighting import daylight
from sim.lighting.daylight import skylight_caps
from sim.lighting.timetable import place_programs
from sim.lighting.weather import STATIONS, outdoor_lux, read_weather
from sim.replication import prepare_site, simulate_traffic
from sim.scenario.tables.daylight import Skylight
from sim.study.ages.evaluate import evaluate_by_replay, evaluate_settings
from sim.study.replications.replicate import run
from tests.show.made_results import make_scenario

FLAT = [[1.0] * 24 for _ in range(12)]


def table_with(month: int, hour: int, cap: float) -> list[list[float]]:
    """Caps of 1 but for one hour of one month."""
    caps = [list(row) for row in FLAT]
    caps[month - 1][hour] = cap
    return caps


def test_caps_of_one_change_nothing() -> None:
    plain, capped = make_scenario(days=9.0), make_scenario(days=9.0, skylight={"caps": FLAT})
    for before, after in zip(place_programs(plain), place_programs(capped), strict=True):
        assert before.names == after.names
        assert before.border.tolist() == after.border.tolist()
        assert before.occupied.tolist() == after.occupied.tolist()


def check_levels(
    start: dt.datetime, caps: list[list[float]], looked_up: list[list[float]] | None = None
) -> None:
    """At every instant the level is the lesser of the timetable's and the table's, looked up by the clock."""
    table = caps if looked_up is None else looked_up
    scenario = make_scenario(start=start.isoformat(), days=4.0, skylight={"caps": caps, "aisles": ["A01"]})
    under, clear = place_programs(scenario)[0], place_programs(scenario)[1]
    assert (np.diff(under.border) > 0.0).all()
    for second in np.linspace(0.0, 4 * 86_400.0 - 2.0, 300).round().tolist():
        moment = start + dt.timedelta(seconds=second)
        cap = table[moment.month - 1][moment.hour]
        here = int(np.searchsorted(under.border, second, side="right")) - 1
        there = int(np.searchsorted(clear.border, second, side="right")) - 1
        assert under.occupied[here] == min(clear.occupied[there], cap), str(moment)
        assert under.unoccupied[here] == min(clear.unoccupied[there], cap)
        assert under.delay_s[here] == clear.delay_s[there]


@settings(max_examples=40, deadline=None)
@given(
    start=st.datetimes(dt.datetime(2027, 1, 25), dt.datetime(2027, 2, 5)),
    caps=st.lists(
        st.lists(st.sampled_from([0.0, 0.2, 0.4, 1.0]), min_size=24, max_size=24), min_size=12, max_size=12
    ),
)
def test_levels_against_the_table(start: dt.datetime, caps: list[list[float]]) -> None:
    check_levels(start.replace(microsecond=0), caps)


def test_levels_of_another_table_are_told_apart() -> None:
    """Negative control: tables an hour and a month late, and one with a single hour of February changed."""
    start = dt.datetime(2027, 1, 30, 12, 34, 56)
    caps = [[(24 * month + hour) / 288.0 for hour in range(24)] for month in range(12)]
    check_levels(start, caps)
    for looked_up, first in (
        ([[*row[1:], row[0]] for row in caps], "2027-01-30 12:34"),
        ([*caps[1:], caps[0]], "2027-01-30 12:34"),
        ([caps[0], [*caps[1][:5], 0.5, *caps[1][6:]], *caps[2:]], "2027-02-01 05:"),
    ):
        with pytest.raises(AssertionError, match=first):
            check_levels(start, caps, looked_up)


def test_what_the_sensors_save_is_not_counted_twice() -> None:
    """One noon hour of March at 0.4: the timetable alone saves 0.6 of 30 x 100 W x 1 h, once a day."""
    caps = table_with(3, 12, 0.4)
    plain = run(make_scenario(days=2.0), replications=1).outcomes[0]
    under = run(make_scenario(days=2.0, skylight={"caps": caps}), replications=1).outcomes[0]
    saved = plain.total["schedule_only_kwh"] - under.total["schedule_only_kwh"]
    assert saved == pytest.approx(2 * 0.6 * 3.0)
    by_hour = plain.hours["energy_kwh"] - under.hours["energy_kwh"]
    assert by_hour[12] < 0.6 * 3.0
    assert by_hour[12] > 0.0
    assert np.allclose(np.delete(by_hour, [12, 13, 36, 37]), 0.0)
    assert plain.total["visits"] == under.total["visits"]


def weather(**changes: object) -> Skylight:
    """The packaged year with a daylight factor of 2 % and 200 lx needed."""
    return Skylight.model_validate(
        {"weather": "pvlib-723170TYA", "indoor_share": 0.02, "needed_lux": 200.0, **changes}
    )


def packaged() -> pd.DataFrame:
    """The file read by pandas alone."""
    path = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
    return pd.read_csv(path, skiprows=1)


def test_the_packaged_year_is_the_one_that_was_described() -> None:
    """Sums over the file that pvlib 0.16.1 ships (NREL, TMY3, station 723170), by pandas alone."""
    year = packaged()
    radiation, light = year["GHI (W/m^2)"], year["GH illum (lx)"] * 100.0
    assert radiation.sum() / 1000.0 == pytest.approx(1566.203)
    hours = (int((radiation > 0).sum()), int((light > 20e3).sum()), int((light > 50e3).sum()))
    assert hours == (4614, 2908, 1446)
    efficacy = (light / radiation)[radiation > 50.0].median()
    assert efficacy == pytest.approx(107.0, abs=3.0)  # lm/W; daylight has about 105, the file's own unit 1


def test_caps_from_weather_against_pandas() -> None:
    """A second reading: pandas groups by the file's own date and hour-ending stamps."""
    year = packaged()
    month = year["Date (MM/DD/YYYY)"].str[:2].astype(int)
    hour = year["Time (HH:MM)"].str[:2].astype(int) - 1
    need = (1.0 - 0.02 * year["GH illum (lx)"] * 100.0 / 200.0).clip(lower=0.0)
    expected = need.groupby([month, hour]).mean().to_numpy().reshape(12, 24)
    assert np.allclose(skylight_caps(weather()), expected)
    assert not np.allclose(skylight_caps(weather(indoor_share=0.0201)), expected), "another share is seen"


def test_caps_from_weather_make_sense(monkeypatch: pytest.MonkeyPatch) -> None:
    caps = skylight_caps(weather())
    assert (caps[:, [0, 1, 2, 22, 23]] == 1.0).all()
    assert caps[5, 7] < caps[11, 7] <= 1.0
    assert caps[5, 12] < 0.1
    skylight_caps.cache_clear()
    monkeypatch.setattr(daylight, "outdoor_lux", lambda name: outdoor_lux(name) / 100.0)  # the trap: lux
    assert skylight_caps(weather()).min() > 0.9
    skylight_caps.cache_clear()


def pandas_sums(name: str) -> tuple[float, float]:
    """Radiation [Wh/m2] and light as it stands in a packaged file, by pandas or by column positions alone."""
    folder = Path(pvlib.__file__).parent / "data"
    if name == "12839.tm2":
        # TMY2 manual, table 3-2: global radiation in columns 18 to 21, global illuminance in 36 to 39
        lines = (folder / name).read_text(encoding="ascii").splitlines()[1:]
        return sum(float(line[17:21]) for line in lines), sum(float(line[35:39]) for line in lines)
    table = pd.read_csv(folder / name, skiprows=1)
    return float(table["GHI (W/m^2)"].sum()), float(table["GH illum (lx)"].sum())


@pytest.mark.parametrize(("station", "unit"), [
    ("pvlib-723170TYA", 100.0), ("pvlib-703165TY", 1.0), ("pvlib-12839", 100.0),
])
def test_each_packaged_year_in_its_own_unit(station: str, unit: float) -> None:
    """Daylight has about 105 lm/W (from memory), so one file counts lux and two count hundreds of lux."""
    radiation, light = pandas_sums(STATIONS[station])
    assert unit * light / radiation == pytest.approx(108.0, abs=4.0)
    found = outdoor_lux(station)
    assert len(found) == 8760
    assert found.sum() == pytest.approx(unit * light)


def test_the_north_needs_more_light_than_the_south() -> None:
    """December noon in Alaska, North Carolina, Florida; and no station gives light at midnight."""
    north, middle, south = (
        skylight_caps(weather(weather=name)) for name in ("pvlib-703165TY", "pvlib-723170TYA", "pvlib-12839")
    )
    assert north[11, 9] > middle[11, 9] > south[11, 9]
    assert all((caps[:, 0] == 1.0).all() for caps in (middle, south))


def write_epw(path: Path, lux: np.ndarray, radiation: np.ndarray) -> None:
    """An EPW file by its published form: 8 header lines, then 35 columns; light is the 17th, in lux."""
    head = ["LOCATION,Testham,-,TST,hand,000000,50.0,8.0,1.0,100.0", *["COMMENTS"] * 7]
    first = dt.datetime(2023, 1, 1)
    lines = []
    for hour in range(len(lux)):
        moment = first + dt.timedelta(hours=hour)
        columns = ["0"] * 35
        columns[:6] = [str(moment.year), str(moment.month), str(moment.day), str(moment.hour + 1), "60", "?9"]
        columns[13], columns[16] = f"{radiation[hour]:.0f}", f"{lux[hour]:.0f}"
        lines.append(",".join(columns))
    path.write_text("\n".join([*head, *lines]) + "\n", encoding="ascii", newline="\n")


def test_an_epw_file_hour_by_hour(tmp_path: Path) -> None:
    """Light that names its own hour: 100 lx times the hour of the year, and radiation at 100 lm/W."""
    hours = np.arange(8760.0)
    write_epw(tmp_path / "a.epw", 100.0 * hours, hours)
    assert read_weather(tmp_path / "a.epw").tolist() == (100.0 * hours).tolist()
    write_epw(tmp_path / "b.epw", hours, hours)  # hundreds of lux
    assert read_weather(tmp_path / "b.epw").tolist() == (100.0 * hours).tolist()


def test_what_the_library_guesses_of_a_damaged_file_stays_beneath(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """pandas warns of columns of mixed types; the terminal shows what we say, and nothing else."""

    def guess(*_: object, **__: object) -> None:
        warnings.warn("Columns (6) have mixed types", pd.errors.DtypeWarning, stacklevel=1)
        raise ValueError("no hours")

    monkeypatch.setattr(pvlib.iotools, "read_epw", guess)
    (tmp_path / "a.epw").write_text("", encoding="utf-8")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        with pytest.raises(InputError, match=r"is damaged, .*\(no hours\)"):
            read_weather(tmp_path / "a.epw")


def test_an_epw_file_without_light(tmp_path: Path) -> None:
    """999999 is missing; 105 lm/W make light of the radiation, and nothing is made up unasked."""
    hours = np.arange(8760.0)
    write_epw(tmp_path / "a.epw", np.full(8760, 999_999.0), hours)
    with pytest.raises(InputError, match="lumens-per-watt"):
        read_weather(tmp_path / "a.epw")
    assert read_weather(tmp_path / "a.epw", 105.0).tolist() == (105.0 * hours).tolist()


@pytest.mark.parametrize(("unit", "hours", "words"), [
    (10.0, 8760, "do not agree"), (100.0, 8000, "8000 hours"), (-100.0, 8760, "hour 2"),
])
def test_files_that_are_refused(unit: float, hours: int, words: str, tmp_path: Path) -> None:
    write_epw(tmp_path / "a.epw", unit * np.arange(hours), np.arange(hours, dtype=float))
    with pytest.raises(InputError, match=words):
        read_weather(tmp_path / "a.epw")


@pytest.mark.parametrize("name", ["a.epw", "a.csv", "a.tm2", "a.txt"])
@pytest.mark.parametrize("content", [b"", b"hello\n", bytes(range(256)) * 40])
def test_nonsense_is_no_weather(name: str, content: bytes, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError, match=r"damaged|must end in"):
        read_weather(tmp_path / name)
    with pytest.raises(InputError):
        read_weather(tmp_path / "absent.epw")


def test_a_year_without_its_column_is_no_weather(tmp_path: Path) -> None:
    """The packaged year with its column of light, or of radiation, called otherwise; unchanged it is read."""
    text = (Path(pvlib.__file__).parent / "data" / "723170TYA.CSV").read_text(encoding="ascii")
    path = tmp_path / "year.csv"
    path.write_text(text, encoding="ascii")
    assert len(read_weather(path)) == 8760
    for name in ("GH illum (lx)", "GHI (W/m^2)"):
        path.write_text(text.replace(f",{name},", f",my {name},", 1), encoding="ascii")
        with pytest.raises(InputError) as caught:
            read_weather(path)
        assert str(caught.value) == f"{path}: has no column {name}; it is not a typical year of weather"


def test_a_file_too_large_for_a_year_is_not_read(tmp_path: Path) -> None:
    """A year of hours takes 2 MB; 50 MB and a byte are refused, 50 MB looked at, which are no weather."""
    path = tmp_path / "year.epw"
    for size, words in ((50_000_001, "is larger than 50 MB: no year of weather"), (50_000_000, "is damaged")):
        with path.open("wb") as file:
            file.truncate(size)
        with pytest.raises(InputError) as caught:
            read_weather(path)
        assert str(caught.value).startswith(f"{path}: {words}")


def test_without_the_library_nothing_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With pvlib a file that is not there is missed; without it the library is."""
    path = tmp_path / "year.epw"
    with pytest.raises(InputError, match="cannot be read"):
        read_weather(path)
    monkeypatch.setitem(sys.modules, "pvlib", None)
    with pytest.raises(InputError) as caught:
        read_weather(path)
    assert str(caught.value) == (
        f'{path}: needs the library "pvlib": pip install "aislewake[weather]", or write caps'
    )


def test_the_command_writes_a_table_that_loads(tmp_path: Path) -> None:
    """The text goes behind a scenario; its caps are the year's, rounded up to thousandths."""
    numbers = ["--indoor-share", "0.02", "--needed-lux", "200"]
    done = CliRunner().invoke(aislewake, ["skylight", "pvlib-12839", *numbers, "--aisles", "A01"])
    assert done.exit_code == 0, done.output
    table = Skylight.model_validate(tomllib.loads(done.output)["skylight"])
    exact = skylight_caps(weather(weather="pvlib-12839"))
    assert table.aisles == ("A01",)
    assert np.array(table.caps) == pytest.approx(exact, abs=1e-3)
    assert (np.array(table.caps) >= exact - 1e-12).all()


def test_settings_are_searched_under_caps_as_a_replay_finds_them() -> None:
    """The sums against a replay of each choice, at noon under skylights; without caps they differ."""
    caps = table_with(3, 12, 0.2)
    site = prepare_site(make_scenario(skylight={"caps": caps}))
    traffic = simulate_traffic(site, 0)
    named = site.scenario.lighting.settings
    choices = [dict(named), {name: one.model_copy(update={"timeout_s": 60.0}) for name, one in named.items()}]
    summed, replayed = evaluate_settings(site, traffic, choices), evaluate_by_replay(site, traffic, choices)
    assert summed["energy_kwh"] == pytest.approx(replayed["energy_kwh"], rel=1e-9)
    clear = evaluate_settings(prepare_site(make_scenario()), traffic, choices)
    assert (clear["energy_kwh"] > summed["energy_kwh"] + 0.1).all()
