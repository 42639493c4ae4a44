"""From a meter to findings: the simulation's own hours, planted faults found, sound sites left alone."""

from __future__ import annotations

import datetime as dt
import json
from functools import cache
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from scipy import stats

from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.replication import prepare_site, run_replication
from sim.scenario.schema import Scenario
from sim.show.figures.verify import draw_verify_figures
from sim.show.folders.verify_rows import verify_summary
from sim.show.words.sections import page_text
from sim.show.words.verify import verify_page
from sim.verification.circuits import map_circuits, whole_of
from sim.verification.meter import Reading, read_meter
from sim.verification.misfits import FALSE_ALARM, Watched, find_day_misfits, find_patterns
from sim.verification.predict import Like, forecast, hour_of_week, like_of, like_scenario
from sim.verification.verify import WHOLE, Verification, verify_meter
from tests.show.made_results import make_scenario
from tests.verification.made_meters import MONDAY, meter_text, other_weeks, small_site

WEEKS = 4
REPORTS = 40
FULL_KW = 1.0
AISLES = ("A01", "A02", "A03")


def sound_meters(count: int) -> np.ndarray:
    """Meters of a site that does what is simulated: kWh by hour and aisle (count, 4 x 168, 3)."""
    return other_weeks(count * WEEKS).reshape(count, WEEKS * 168, 3)


@cache
def simulated_weeks() -> np.ndarray:
    """What the prediction rests on: the scenario's ten weeks, all aisles together (10, 168)."""
    scenario = small_site()
    circuits = map_circuits(lay_out(scenario), ["site"], {})
    found, likes = forecast(scenario, circuits, [MONDAY.date()])
    return found.samples(likes[MONDAY.date()])[:, :, 0]


def watch(metered: np.ndarray) -> list[Watched]:
    """One meter of the three aisles together, beside the simulated weeks of the site."""
    weeks = simulated_weeks()
    wall = int((MONDAY - dt.datetime(1970, 1, 1)).total_seconds()) + 3600 * np.arange(len(metered))
    return [Watched("site", 3.0 * FULL_KW, wall, metered.sum(axis=1), weeks[:, hour_of_week(wall)])]


def alarms(metered: np.ndarray) -> tuple[int, int]:
    """How many days and patterns a meter raises."""
    watched = watch(metered)
    return len(find_day_misfits(watched)), len(find_patterns(watched))


def test_sound_sites_are_rarely_accused() -> None:
    """Of 40 reports on a site that does what is simulated no more raise anything than 2 % make likely.

    The bound is the binomial's: more would come about once in a thousand such tests.
    """
    raised = sum(any(alarms(metered)) for metered in sound_meters(REPORTS))
    assert raised <= stats.binom.ppf(0.999, REPORTS, 2.0 * FALSE_ALARM)


def stuck_on(metered: np.ndarray) -> np.ndarray:
    """The least used aisle at full power all the time."""
    found = metered.copy()
    found[:, 2] = FULL_KW
    return found


def dead_relay(metered: np.ndarray) -> np.ndarray:
    """The busiest aisle without power."""
    found = metered.copy()
    found[:, 0] = 0.0
    return found


def lit_sundays(metered: np.ndarray) -> np.ndarray:
    """Every aisle at full power on Sundays."""
    found = metered.copy()
    found[np.arange(len(found)) % 168 >= 144] = FULL_KW
    return found


@pytest.mark.parametrize(
    ("plant", "questions", "when"),
    [
        (stuck_on, {"stuck", "more", "always_high"}, {"all days"}),
        (dead_relay, {"gone", "part_gone", "less"}, {"all days"}),
        (lit_sundays, {"stuck", "always_high"}, {"Sun"}),
    ],
)
def test_lasting_faults_are_found(plant, questions: set[str], when: set[str]) -> None:
    """In every one of ten meters, as a pattern of its days, with a question that fits."""
    for metered in sound_meters(REPORTS)[:10]:
        found = find_patterns(watch(plant(metered)))
        assert found
        assert {pattern.question for pattern in found} <= questions
        assert {pattern.when for pattern in found} == when


def test_a_day_that_does_not_fit_is_found_with_its_hours() -> None:
    """All lights at full power from 22 to 6 in the night to a Wednesday: two days, those hours, no more."""
    for metered in sound_meters(REPORTS)[:10]:
        spoiled = metered.copy()
        night = np.arange(8 * 24 + 22, 9 * 24 + 6)
        spoiled[night] = FULL_KW
        found = find_day_misfits(watch(spoiled))
        first = int((MONDAY - dt.datetime(1970, 1, 1)).days) + 8
        assert first + 1 in {misfit.day for misfit in found}
        for misfit in found:
            assert misfit.day in (first, first + 1)
            assert set(misfit.hours) <= {22, 23, 0, 1, 2, 3, 4, 5}
            assert misfit.question in ("stuck", "always_high")
        assert not find_patterns(watch(spoiled)), "one night is no pattern"


def test_score_of_a_day_in_closed_form() -> None:
    """Six simulated weeks of 22 to 27 kWh a day, twenty days of 24.5 kWh metered and one of 60.

    s^2 = 3.5, so u = 35.5 / sqrt(3.5 (1 + 1/6) + 0.245^2); bound: Student's t of 5 degrees at
    1 - 0.01 / (2 x 21 days).  The same day is not judged where only 19 of its hours are known.
    """
    simulated = np.tile(np.arange(22.0, 28.0)[:, None] / 24.0, (1, 21 * 24))
    metered = np.full(21 * 24, 24.5 / 24.0)
    metered[10 * 24 : 11 * 24] = 60.0 / 24.0
    wall = 3600 * np.arange(21 * 24)
    (misfit,) = find_day_misfits([Watched("C1", 5.0, wall, metered, simulated)])
    assert misfit.day == 10
    assert misfit.score == pytest.approx(35.5 / np.sqrt(3.5 * (1.0 + 1.0 / 6.0) + 0.245**2))
    assert misfit.bound == pytest.approx(stats.t.ppf(1.0 - 0.01 / 42.0, 5))
    metered[10 * 24 : 10 * 24 + 5] = np.nan
    assert not find_day_misfits([Watched("C1", 5.0, wall, metered, simulated)])


def test_predictions_are_the_runs_own_hours() -> None:
    """Zone by zone and hour by hour the sum is the books' energy of the same replication."""
    scenario = make_scenario(days=14.0, start="2027-03-03T05:00:00")
    circuits = map_circuits(lay_out(scenario), [*AISLES, "site"], {})
    found, likes = forecast(scenario, circuits, [MONDAY.date()], replications=2)
    weeks = found.kwh[likes[MONDAY.date()]]
    assert weeks.shape == (2, 2, 168, 4)
    np.testing.assert_allclose(weeks[..., :3].sum(axis=-1), weeks[..., 3], rtol=1e-12)
    for number in range(2):
        outcomes, _ = run_replication(prepare_site(scenario), number)
        first = 2 * 24 + 5
        for hour, energy in enumerate(outcomes.hours["energy_kwh"]):
            week, place = hour // 168, (hour + first) % 168
            assert weeks[number, week, place, 3] == pytest.approx(energy, rel=1e-9)


def test_days_unlike_the_week_are_simulated_as_what_they_are() -> None:
    """A holiday has no work; an exception has its settings; special weeks have their volume."""
    scenario = make_scenario(
        days=7.0,
        holidays=[dt.date(2027, 3, 10)],
        exceptions=[{"dates": [dt.date(2027, 3, 11)], "settings": "night"}],
        year={"of": 2027},
        year_weeks=[{"name": "peak", "spans": [[dt.date(2027, 3, 15), dt.date(2027, 3, 21)]], "volume": 3.0}],
    )
    dates = [dt.date(2027, 3, day) for day in (9, 10, 11, 16)]
    assert [like_of(scenario, date) for date in dates] == [
        Like(), Like(is_holiday=True), Like(exception=0), Like(weeks=0),
    ]
    circuits = map_circuits(lay_out(scenario), ["site"], {})
    found, likes = forecast(scenario, circuits, dates)
    plain, holiday, exception, peak = (found.samples(likes[date])[:, 24:120, 0].mean() for date in dates)
    assert holiday < plain < peak
    assert exception < plain
    night = like_scenario(scenario, Like(exception=0))
    assert night.holidays == ()
    assert run_replication(prepare_site(night), 0)[0].total["energy_kwh"] / 168.0 == pytest.approx(
        found.samples(likes[dates[2]])[0, :, 0].mean()
    )


def test_a_month_under_skylights_is_that_month() -> None:
    caps = [[1.0] * 24 for _ in range(12)]
    caps[5] = [0.5] * 24
    scenario = make_scenario(days=7.0, skylight={"caps": caps})
    circuits = map_circuits(lay_out(scenario), ["site"], {})
    dates = [dt.date(2027, 3, 8), dt.date(2027, 6, 8)]
    found, likes = forecast(scenario, circuits, dates, replications=2)
    march, june = (found.samples(likes[date]).sum() for date in dates)
    assert june < 0.8 * march


def test_circuits_are_found_by_their_names() -> None:
    wiring = [
        {"tag": "L1", "aisles": ["A01", "A02"], "feeds": "dimmed"},
        {"tag": "L2", "aisles": ["A01", "A02"], "feeds": "fixed"},
        {"tag": "L3", "aisles": ["A03"]},
    ]
    scenario: Scenario = make_scenario(
        circuits=wiring, luminaires={"per_aisle": 10, "full_w": 100.0, "fixed_on": 2}
    )
    layout, rows = lay_out(scenario), scenario.circuits or ()
    found = map_circuits(layout, ["L1", "L2", "L3"], {}, rows)
    assert [circuit.connected_kw for circuit in found] == pytest.approx([1.6, 0.4, 1.0])
    assert whole_of(found, 3) == (0, 1, 2)
    assert whole_of(map_circuits(layout, ["L1", "A01"], {}, rows), 3) == ()
    assert whole_of(map_circuits(layout, ["A01", "site"], {}, rows), 3) == (1,)
    assert map_circuits(layout, ["mains"], {}, rows)[0].zones == (0, 1, 2)
    apart = [{"tag": kind, "aisles": list(AISLES), "feeds": kind} for kind in ("dimmed", "fixed")]
    rows = make_scenario(circuits=apart).circuits or ()
    assert whole_of(map_circuits(layout, ["dimmed", "fixed"], {}, rows), 3) == (0, 1)
    assert map_circuits(layout, ["x", "y"], {"x": ["A02"], "y": ["A01", "A03"]})[1].zones == (0, 2)
    with pytest.raises(InputError, match='did you mean "A01"'):
        map_circuits(layout, ["A1", "A02"], {})
    with pytest.raises(InputError, match="no zone or aisle A9"):
        map_circuits(layout, ["x"], {"x": ["A9"]})
    with pytest.raises(InputError, match="no such column"):
        map_circuits(layout, ["x"], {"z": ["A01"]})


def verified(folder: Path, text: str, **more: object) -> Verification:
    """Read a meter's file and verify the small site with it."""
    path = folder / "meter.csv"
    path.write_text(text, encoding="utf-8")
    return verify_meter(small_site(), read_meter(path, Reading()), **more)  # type: ignore[arg-type]


def test_circuits_add_up_and_calculated_ones_do_not_count(tmp_path: Path) -> None:
    hours = sound_meters(REPORTS)[0]
    columns = {f"{name} [kWh measured]": hours[:, place] for place, name in enumerate(AISLES)}
    found = verified(tmp_path, meter_text(columns))
    assert found.whole is not None
    assert found.whole.circuit.name == WHOLE
    np.testing.assert_allclose(found.whole.metered, hours.sum(axis=1))
    assert found.main is found.whole
    assert found.whole.predicted_kwh.mean == pytest.approx(
        sum(one.predicted_kwh.mean for one in found.series)  # type: ignore[misc]
    )
    columns = {"A01 [kWh measured]": hours[:, 0], "site [kWh calculated]": stuck_on(hours).sum(axis=1)}
    found = verified(tmp_path, meter_text(columns))
    assert found.whole is None
    assert found.main.circuit.name == "A01"
    assert not found.days
    assert not found.patterns


def test_the_same_hours_are_compared(tmp_path: Path) -> None:
    """With a fifth of the hours missing, prediction and meter hold the same hours; whole days are whole."""
    hours = sound_meters(REPORTS)[1].sum(axis=1)
    gaps = tuple(range(100, 230))
    found = verified(tmp_path, meter_text({"site [kWh measured]": hours}, leave_out=gaps))
    kept = np.delete(np.arange(len(hours)), gaps)
    main = found.main
    hour, day, month = main.agreements
    assert hour.count == len(kept)
    assert hour.measured_kwh == pytest.approx(hours[kept].sum())
    assert hour.predicted_kwh == pytest.approx(main.predicted_kwh.mean)
    assert day.count == 28 - 6
    assert sum(main.days.is_whole) == 22
    assert month.count == 1
    assert np.isnan(month.bias)
    assert "2027-03-05 04:00 to 2027-03-10 14:00 (130 h)" in found.warnings[-1]


def test_metered_saving_end_to_end(tmp_path: Path) -> None:
    """Four weeks at 3 kW, then four of the simulated lights: the saving is the meter's own difference."""
    before = np.full(WEEKS * 168, 3.0)
    after = sound_meters(REPORTS)[2].sum(axis=1)
    path = tmp_path / "meter.csv"
    text = meter_text({"site [kWh measured]": [*before, *after]}, start=dt.datetime(2027, 2, 1))
    path.write_text(text, encoding="utf-8")
    meter = read_meter(path, Reading())
    base = meter.within(dt.date(2027, 2, 1), dt.date(2027, 2, 28))
    late = meter.within(dt.date(2027, 3, 1), dt.date(2027, 3, 28))
    found = verify_meter(small_site(), late, baseline=base)
    saving = found.main.saving
    assert saving is not None
    assert saving.kwh == pytest.approx(before.sum() - after.sum())
    assert saving.days == (28, 28)
    assert saving.is_sure_enough
    assert found.baseline_period == (dt.date(2027, 2, 1), dt.date(2027, 2, 28))
    with pytest.raises(InputError, match="overlaps"):
        verify_meter(small_site(), meter, baseline=base)


def test_days_with_a_gap_do_not_prove(tmp_path: Path) -> None:
    """3 kW for four weeks but one hour, then 1 kW with a day of 20 hours: whole days alone are compared.

    2 kW over the 27 whole days of the reporting period are 2 x 24 x 27 kWh.
    """
    columns = {"site [kWh measured]": [3.0] * (WEEKS * 168) + [1.0] * (WEEKS * 168)}
    path = tmp_path / "meter.csv"
    gaps = (30, *(WEEKS * 168 + 240 + hour for hour in range(4)))
    saved = {}
    for name, out in (("whole", ()), ("with gaps", gaps)):
        path.write_text(meter_text(columns, start=dt.datetime(2027, 2, 1), leave_out=out), encoding="utf-8")
        meter = read_meter(path, Reading())
        base = meter.within(dt.date(2027, 2, 1), dt.date(2027, 2, 28))
        late = meter.within(dt.date(2027, 3, 1), dt.date(2027, 3, 28))
        saved[name] = verify_meter(small_site(), late, baseline=base, replications=1).main.saving
    found, whole = saved["with gaps"], saved["whole"]
    assert found is not None
    assert whole is not None
    assert (found.days, whole.days) == ((27, 27), (28, 28))
    assert (found.kwh, whole.kwh) == (pytest.approx(2.0 * 24 * 27), pytest.approx(2.0 * 24 * 28))


def test_a_meter_without_hours_and_baselines_that_do_not_fit(tmp_path: Path) -> None:
    """Each is refused with the file and what is missing; with the hours and the column there it is not."""
    path = tmp_path / "meter.csv"
    columns = {"A01 [kWh measured]": [1.0] * 96, "A02 [kWh measured]": [2.0] * 96}

    def said(early: tuple[int, int], *, names: tuple[str, str] = ("A01", "A02"), first: str = "") -> str:
        text = meter_text(columns)
        lines = text.splitlines()
        if first:
            lines = [lines[0], *(f"{line.split(',')[0]}{first}" for line in lines[1:])]
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        meter = read_meter(path, Reading())
        other = tmp_path / "before.csv"
        other.write_text(text.replace("A01", names[0]).replace("A02", names[1]), encoding="utf-8")
        base = read_meter(other, Reading()).within(dt.date(2027, 3, early[0]), dt.date(2027, 3, early[1]))
        late = meter.within(dt.date(2027, 3, 3), dt.date(2027, 3, 4))
        try:
            verify_meter(small_site(), late, baseline=base, replications=1)
        except InputError as fault:
            return str(fault).replace(str(tmp_path), "")
        return ""

    assert said((1, 2)) == ""
    assert said((1, 2), first=",,") == "/meter.csv: no whole hour of the reporting period is known"
    assert said((8, 9)) == "/before.csv: holds no hour of the baseline period"
    assert said((1, 2), names=("A01", "A2")) == (
        '/before.csv: has no column A02, which /meter.csv has; did you mean "A2"? There are: A01, A2'
    )


def test_a_public_holiday_is_predicted_as_one() -> None:
    """3 October is Germany's national day and no holiday in the United States, 4 July the other way round."""
    german, american = (make_scenario(days=7.0, holidays_country=code) for code in ("DE", "US"))
    for date, is_german in ((dt.date(2028, 10, 3), True), (dt.date(2028, 7, 4), False)):
        assert like_of(german, date) == Like(is_holiday=is_german)
        assert like_of(american, date) == Like(is_holiday=not is_german)
    assert like_of(make_scenario(days=7.0), dt.date(2028, 10, 3)) == Like()
    assert like_scenario(german, Like(is_holiday=True)).holidays_country is None


@pytest.mark.parametrize(
    ("share", "question"), [(0.0, "gone"), (0.3, "gone"), (0.7, "part_gone"), (1.2, "less")]
)
def test_what_is_asked_of_a_day_that_used_too_little(share: float, question: str) -> None:
    """A site of 20 kWh a day, 30 by day and 10 by night taken over 24 h, one day at a share of its least.

    Below half of the least hour that is ever simulated the circuit is asked for; below it, a part of it.
    """
    hour = np.arange(21 * 24) % 24
    usual = np.where((hour >= 6) & (hour < 18), 30.0, 10.0) / 24.0
    simulated = usual * np.array([0.99, 1.0, 1.0, 1.0, 1.0, 1.01])[:, None]
    metered = usual.copy()
    metered[240:264] = share * 10.0 / 24.0
    (misfit,) = find_day_misfits([Watched("C1", 5.0, 3600 * np.arange(21 * 24), metered, simulated)])
    assert (misfit.day, misfit.question) == (10, question)
    assert misfit.metered_kwh == pytest.approx(10.0 * share)


def test_what_cannot_be_predicted_is_said(tmp_path: Path) -> None:
    text = meter_text({"site [kWh measured]": np.ones(48)})
    path = tmp_path / "meter.csv"
    path.write_text(text, encoding="utf-8")
    meter = read_meter(path, Reading())
    with pytest.raises(InputError, match="at least 7"):
        verify_meter(make_scenario(days=6.0), meter)
    with pytest.raises(InputError, match="whole hour"):
        verify_meter(make_scenario(days=7.0, start="2027-03-01T05:30:00"), meter)


def test_a_day_of_25_hours_is_predicted_with_25(tmp_path: Path) -> None:
    """Clocks go back on 2027-10-31: the hour from 2 is predicted twice, and the day is whole."""
    stamps = [dt.datetime(2027, 10, 30) + dt.timedelta(hours=hour) for hour in range(48)]
    stamps.insert(27, stamps[26])
    text = "time,site [kWh measured]\n" + "".join(f"{stamp.isoformat()},1\n" for stamp in stamps)
    path = tmp_path / "meter.csv"
    path.write_text(text, encoding="utf-8")
    scenario = small_site()
    found = verify_meter(scenario, read_meter(path, Reading(zone=ZoneInfo("Europe/Berlin")))).main
    assert found.days.hours.tolist() == [24, 25]
    assert found.days.is_whole == (True, True)
    assert found.days.metered.tolist() == [24.0, 25.0]
    assert found.saving is None
    sunday = simulated_weeks()[:, 144:168].mean(axis=0)
    assert found.days.predicted[1] == pytest.approx(sunday.sum() + sunday[2])


def test_a_saving_over_a_day_of_25_hours(tmp_path: Path) -> None:
    """3 kW before, 1 kW after, each over a Sunday of 25 hours: 2 kW for 24 and 25 hours, without spread."""
    zone = ZoneInfo("Europe/Berlin")
    lines = ["time,site [kW measured]"]
    for first, kw in ((dt.datetime(2026, 10, 18), 3), (dt.datetime(2027, 10, 29), 1)):
        start = first.replace(tzinfo=zone).astimezone(dt.UTC)
        for hour in range(8 * 24 + 1 if kw == 3 else 3 * 24 + 1):
            lines.append(f"{(start + dt.timedelta(hours=hour)).isoformat()},{kw}")
    path = tmp_path / "meter.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    meter = read_meter(path, Reading(zone=zone))
    before = meter.within(dt.date(2026, 10, 18), dt.date(2026, 10, 25))
    after = meter.within(dt.date(2027, 10, 29), dt.date(2027, 10, 31))
    saving = verify_meter(small_site(), after, baseline=before, replications=1).main.saving
    assert saving is not None
    assert saving.left_out == 1  # the only Saturday of the baseline
    assert saving.kwh == pytest.approx(2.0 * (24 + 25))
    assert saving.standard_kwh == 0.0


@pytest.mark.parametrize("replications", [1, 2])
@pytest.mark.parametrize("hours", [5, 24, 336])
@pytest.mark.parametrize("kwh", [0.0, 1.0])
def test_little_is_enough(tmp_path: Path, replications: int, hours: int, kwh: float) -> None:
    """A few hours, nothing used, hardly any simulation: figures that cannot be told are not known."""
    text = meter_text({"site [kWh measured]": np.full(hours, kwh)})
    found = verified(tmp_path, text, replications=replications)
    page = page_text(verify_page(found, 0.9))
    assert "Days are not judged" in page
    assert not found.days
    assert draw_verify_figures(found, tmp_path)
    assert json.dumps(verify_summary(found, 0.9), allow_nan=False)
