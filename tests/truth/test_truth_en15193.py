"""EN 15193 against its own worked factors and cases by hand; the model spoiled must fail the same check."""

from __future__ import annotations

import numpy as np
import pytest

from sim.outcome import credits, en15193
from sim.outcome.en15193 import Calculated, calculate_en15193, lit_hours
from sim.scenario.schema import Scenario
from sim.show.reports.run import render_report
from sim.show.words.en15193 import en15193_rows
from sim.show.words.worksheet import sheet_lines
from sim.study.replications.replicate import run
from sim.verification.worksheet import make_worksheet
from tests.show.made_results import make_scenario

WHOLE_DAY = [{"from": "00:00", "to": "24:00", "settings": "all"}]


def site(level: float = 0.3, **changes: object) -> Scenario:
    """Three aisles of 10 luminaires of 100 W, 2 W of standby, lit day and night."""
    content: dict[str, object] = {
        "luminaires": {"per_aisle": 10, "full_w": 100.0, "standby_w": 2.0},
        "lighting": {"settings": {"all": {"unoccupied_level": level, "timeout_s": 270}}},
        "timetable": WHOLE_DAY,
    }
    return make_scenario(**(content | changes))


@pytest.mark.parametrize(
    ("absence", "control", "factor"),
    [
        # EN 15193:2007, Annex D (from memory): F_O = F_OC + 0.2 - F_A from F_A 0.2 on, below it
        # 1 - (1 - F_OC) F_A / 0.2, from 0.9 on (7 - 10 F_OC) (F_A - 1)
        (0.4, 0.95, 0.75), (0.4, 0.90, 0.70), (0.4, 0.80, 0.60), (0.1, 0.90, 0.95), (0.95, 0.90, 0.10),
        (0.0, 0.95, 1.0), (1.0, 0.95, 0.0),
    ],
)
def test_lighting_energy_at_the_worked_factors(absence: float, control: float, factor: float) -> None:
    """10 kW in 2,500 h of day and 1,500 h of night: 40 MWh at F_O = 1, and so much less."""
    occupancy = credits.en15193_occupancy_factor(absence, control)
    found = credits.en15193_lighting_kwh(10.0, 2500.0, 1500.0, occupancy)
    assert found == pytest.approx(40_000.0 * factor)


def by_hand() -> tuple[float, float]:
    """W_L and W_P of the site: 30 x 100 W, F_O 0.75, 8,760 h; 30 x 2 W in 8,760 h.

    EN 15193:2007, 6.2: W_L = P (F_D t_D + t_N) F_O / 1000.  Tables D.2 and D.1 (from memory): racks 0.4,
    dimmed by themselves 0.95.
    """
    return 3.0 * 0.75 * 8760.0, 0.06 * 8760.0


def is_by_hand(found: Calculated) -> bool:
    lighting, standby = by_hand()
    return found.lighting_kwh == pytest.approx(lighting) and found.standby_kwh == pytest.approx(standby)


def test_a_site_by_hand() -> None:
    found = calculate_en15193(site())
    assert is_by_hand(found)
    part, = found.parts
    assert (part.absence, part.control, part.daylight) == (0.4, 0.95, 1.0)
    assert (part.day_h, part.night_h) == (pytest.approx(4380.0), pytest.approx(4380.0))
    # three aisles of 60 m by 5 m
    assert found.leni == pytest.approx(sum(by_hand()) / 900.0)


def test_a_spoiled_factor_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Negative control: another control type, and the night forgotten."""
    monkeypatch.setattr(en15193, "EN15193_AUTO_DIMMED", 0.90)
    assert not is_by_hand(calculate_en15193(site()))
    monkeypatch.undo()

    def no_night(kw: float, day_h: float, night_h: float, occupancy: float, daylight: float = 1.0) -> float:
        return kw * day_h * occupancy * daylight

    monkeypatch.setattr(en15193, "en15193_lighting_kwh", no_night)
    assert not is_by_hand(calculate_en15193(site()))


def test_lights_that_go_off_count_as_switched() -> None:
    """F_OC 0.90 (Table D.1: on and off by themselves) makes 0.90 + 0.2 - 0.4 = 0.70 of a rack area."""
    assert calculate_en15193(site(level=0.0)).lighting_kwh == pytest.approx(3.0 * 0.70 * 8760.0)


def test_the_lowest_level_of_every_period_decides_whether_lights_go_off() -> None:
    """A second level of 0 after 30 % is off in the end; a period that stops at 10 % only dims."""
    step = {"unoccupied_level": 0.3, "timeout_s": 270, "second_level": 0.0, "second_delay_s": 600}
    off = {"unoccupied_level": 0.0, "timeout_s": 60}
    rows = [
        {"from": "06:00", "to": "18:00", "settings": "a"}, {"from": "18:00", "to": "06:00", "settings": "b"},
    ]
    for second, occupancy in ((0.0, 0.70), (0.1, 0.75)):
        settings = {"a": step | {"second_level": second}, "b": off}
        found = calculate_en15193(site(lighting={"settings": settings}, timetable=rows))
        assert found.lighting_kwh == pytest.approx(3.0 * occupancy * 8760.0)


def test_an_aisle_counts_by_its_own_settings() -> None:
    """A02 goes off (F_O 0.70), and by the clock too: lit 8,760 h less the 8 h a night."""
    rows = [
        {"from": "06:00", "to": "22:00", "settings": "all"},
        {"from": "22:00", "to": "06:00", "settings": "late"},
    ]
    usual = {"unoccupied_level": 0.3, "timeout_s": 270}
    off, dark = usual | {"unoccupied_level": 0.0}, usual | {"occupied_level": 0.0, "unoccupied_level": 0.0}
    found = calculate_en15193(site(
        lighting={"settings": {"all": usual, "late": usual, "off": off, "dark": dark}}, timetable=rows,
        override=[{"aisles": ["A02"], "settings": {"all": "off", "late": "dark"}}],
    ))
    assert [(part.control, part.kwh) for part in found.parts] == [
        (0.95, pytest.approx(2.0 * 0.75 * 8760.0)), (0.90, pytest.approx(1.0 * 0.70 * 8760.0 * 16.0 / 24.0)),
    ]


@pytest.mark.parametrize(("cold", "aisles"), [(["A01", "A03"], 2.0), (None, 3.0)])
def test_a_cold_store_has_an_absence_of_its_own(cold: list[str] | None, aisles: float) -> None:
    """F_A 0.6 (Table D.2, from memory) makes F_O 0.95 + 0.2 - 0.6 = 0.55; uncooled stores are racks."""
    where = {} if cold is None else {"aisles": cold}
    found = calculate_en15193(site(store={"cooling_cop": 2.0, **where}))
    kwh = {part.kind: part.kwh for part in found.parts}
    racks = {"rack aisles": (3.0 - aisles) * 0.75 * 8760.0} if aisles < 3.0 else {}
    assert kwh == pytest.approx({"cold-store aisles": aisles * 0.55 * 8760.0, **racks})
    assert [part.kind for part in calculate_en15193(site(store=where)).parts] == ["rack aisles"]


def test_an_open_area_counts_as_open_storage() -> None:
    """F_A 0.2 (Table D.2, from memory) makes F_O 0.95 + 0.2 - 0.2; ten luminaires of 100 W on 150 m2."""
    area = {
        "name": "dock", "across_m": [0.0, 15.0], "along_m": [-10.0, 0.0], "luminaires": 10,
        "sensors_at_m": [[5.0, -5.0]], "radius_m": 6.0,
    }
    floor = {"aisles": 3, "aisle_length_m": 60.0, "aisle_pitch_m": 5.0, "staging_depth_m": 12.0}
    found = calculate_en15193(site(area=[area], floor=floor))
    kwh = {part.kind: part.kwh for part in found.parts}
    assert kwh == pytest.approx({"rack aisles": by_hand()[0], "open storage": 1.0 * 0.95 * 8760.0})
    assert found.area_m2 == pytest.approx(900.0 + 150.0)
    assert kwh["open storage"] != pytest.approx(1.0 * 0.75 * 8760.0), "not with the absence of rack aisles"


def test_luminaires_that_never_dim_count_in_full() -> None:
    lamps = {"per_aisle": 10, "full_w": 100.0, "standby_w": 2.0, "fixed_on": 2}
    found = calculate_en15193(site(luminaires=lamps))
    kwh = {part.kind: part.kwh for part in found.parts}
    assert kwh == pytest.approx(
        {"rack aisles": 2.4 * 0.75 * 8760.0, "luminaires that never dim": 0.6 * 8760.0}
    )
    assert found.standby_kwh == pytest.approx(24 * 0.002 * 8760.0)


def test_hours_are_those_with_an_occupied_level() -> None:
    """Lit from 05:30 to 21:00: 15.5 h, of which 12 h of day."""
    settings = {
        "on": {"unoccupied_level": 0.3, "timeout_s": 270},
        "off": {"occupied_level": 0.0, "unoccupied_level": 0.0, "timeout_s": 60},
    }
    rows = [
        {"from": "05:30", "to": "21:00", "settings": "on"},
        {"from": "21:00", "to": "05:30", "settings": "off"},
    ]
    scenario = site(lighting={"settings": settings}, timetable=rows)
    hours = lit_hours(scenario, "A01")
    assert hours.sum() == pytest.approx(15.5)
    assert hours[5] == pytest.approx(0.5)
    part, = calculate_en15193(scenario).parts
    assert (part.day_h, part.night_h) == (pytest.approx(12 * 365.0), pytest.approx(3.5 * 365.0))


def test_under_a_skylight_the_mean_cap_of_its_hours_counts() -> None:
    """Caps of 0.4 from 10 to 14 in June (30 days), 1 at any other time; two of three aisles below it."""
    caps = np.ones((12, 24))
    caps[5, 10:14] = 0.4
    sky = {"caps": caps.tolist(), "aisles": ["A01", "A02"]}
    found = calculate_en15193(site(skylight=sky))
    hours = 4.0 * 30.0
    assert found.lighting_kwh == pytest.approx(3.0 * 0.75 * 8760.0 - 2.0 * 0.75 * hours * 0.6)
    under = next(part for part in found.parts if part.daylight < 1.0)
    assert (under.day_h, under.daylight) == (pytest.approx(hours), pytest.approx(0.4))
    assert found.has_skylight is True
    assert calculate_en15193(site()).has_skylight is False


def test_a_skylight_over_hours_that_are_lit_in_part_or_not_at_all() -> None:
    """Caps of 0.4 from 10 to 14 in June; lit 10:30 to 12:00, 1.5 h on 30 days, or from 14:00 on: none."""
    caps = np.ones((12, 24))
    caps[5, 10:14] = 0.4
    settings = {
        "on": {"unoccupied_level": 0.3, "timeout_s": 270},
        "off": {"occupied_level": 0.0, "unoccupied_level": 0.0, "timeout_s": 60},
    }
    for begin, end, day_h, daylight in (("10:30", "12:00", 45.0, 0.4), ("14:00", "15:30", 0.0, 1.0)):
        rows = [{"from": begin, "to": end, "settings": "on"}, {"from": end, "to": begin, "settings": "off"}]
        scenario = site(skylight={"caps": caps.tolist()}, lighting={"settings": settings}, timetable=rows)
        part, = calculate_en15193(scenario).parts
        assert (part.day_h, part.daylight) == (pytest.approx(day_h), pytest.approx(daylight))
        assert part.night_h == pytest.approx(1.5 * 365.0 - day_h)


def test_it_stands_beside_the_simulation_and_changes_nothing_of_it() -> None:
    scenario = site(days=7.0, replications=2, tariff={"currency": "EUR", "per_kwh": 0.2})
    result = run(scenario)
    sheet = make_worksheet(result)
    lines = [line for line in sheet_lines(sheet) if line.section.startswith("Calculated by EN 15193")]
    values = {line.what: line.estimate.mean for line in lines}
    assert values["calculated energy of a year: W_L + W_P"] == pytest.approx(sum(by_hand()))
    assert all("EN 15193:2007" in line.source for line in lines)
    method = next(line.method for line in lines if line.what == "rack aisles: W_L")
    assert "F_O 0.75, F_D 1, t_D 4,380 h, t_N 4,380 h" in method
    page = render_report(result, {})
    assert "Calculated by EN 15193, beside the simulation" in page
    assert "There is no skylight, so F_D is 1" in page.replace("\N{NO-BREAK SPACE}", " ")
    assert [row[0] for row in en15193_rows(calculate_en15193(scenario))] == [line.what for line in lines]
