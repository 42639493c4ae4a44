"""Caps under skylights: hours of a table, and a typical year of weather read a second way.

pvlib packages the typical year of station 723170; its own sums are published with the data set's use here:
global radiation 1566.203 kWh/m2, 4614 h above 0, 2908 h above 20 klx, 1446 h above 50 klx.
"""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np
import pandas as pd
import pvlib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sim.errors import InputError
from sim.lighting import daylight
from sim.lighting.daylight import skylight_caps
from sim.lighting.timetable import place_programs
from sim.replication import prepare_site, simulate_traffic
from sim.scenario.schema_daylight import Skylight
from sim.study.ages import evaluate_settings
from sim.study.replicate import run
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


@settings(max_examples=40, deadline=None)
@given(
    start=st.datetimes(dt.datetime(2027, 1, 25), dt.datetime(2027, 2, 5)),
    caps=st.lists(
        st.lists(st.sampled_from([0.0, 0.2, 0.4, 1.0]), min_size=24, max_size=24), min_size=12, max_size=12
    ),
)
def test_levels_against_the_table(start: dt.datetime, caps: list[list[float]]) -> None:
    """At every instant the level is the lesser of the timetable's and the table's, looked up by the clock."""
    start = start.replace(microsecond=0)
    scenario = make_scenario(start=start.isoformat(), days=4.0, skylight={"caps": caps, "aisles": ["A01"]})
    under, clear = place_programs(scenario)[0], place_programs(scenario)[1]
    assert (np.diff(under.border) > 0.0).all()
    for second in np.linspace(0.0, 4 * 86_400.0 - 2.0, 300).round().tolist():
        moment = start + dt.timedelta(seconds=second)
        cap = caps[moment.month - 1][moment.hour]
        here = int(np.searchsorted(under.border, second, side="right")) - 1
        there = int(np.searchsorted(clear.border, second, side="right")) - 1
        assert under.occupied[here] == min(clear.occupied[there], cap)
        assert under.unoccupied[here] == min(clear.unoccupied[there], cap)
        assert under.delay_s[here] == clear.delay_s[there]


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


def test_caps_from_weather_make_sense(monkeypatch: pytest.MonkeyPatch) -> None:
    caps = skylight_caps(weather())
    assert (caps[:, [0, 1, 2, 22, 23]] == 1.0).all()
    assert caps[5, 7] < caps[11, 7] <= 1.0
    assert caps[5, 12] < 0.1
    monkeypatch.setattr(daylight, "_LUX_PER_UNIT", 1.0)  # the trap: units taken as lux
    assert skylight_caps(weather()).min() > 0.9


def test_settings_are_not_searched_under_caps() -> None:
    """A search by ages knows nothing of caps, so it must refuse rather than be wrong."""
    site = prepare_site(make_scenario(skylight={"caps": FLAT}))
    with pytest.raises(InputError, match="skylight"):
        evaluate_settings(site, simulate_traffic(site, 0), [dict(site.scenario.lighting.settings)])
