"""Why a light was low: by hand on a made-up log, and on a run."""

from __future__ import annotations

import datetime as dt
import math
from pathlib import Path

import numpy as np
import pytest

from sim.errors import InputError
from sim.floor.layout import lay_out
from sim.results import Result
from sim.scenario.schema import Scenario
from sim.show.words.explain import moment_page, spells_page
from sim.show.words.sections import page_text
from sim.study.explain import explain_moment, find_worst_spells
from sim.study.moments import parse_moment
from sim.study.replications.replicate import replay, run
from tests.study.decide_site import small_site

DETECTIONS = "zone,start,end\nA01,3600,3630\nA01,5000,5000\nA01,40000,40100\nA02,100,100\n"
VISITS = "aisle,enter,leave,truck,bay_m\nA01,3600,5000,reach-01,20\nA01,43000,43100,reach-02,5\n"


@pytest.fixture(scope="module")
def logged(tmp_path_factory) -> Result:
    """A replay of two visits: night (hold 5, timeout 120) until 06:00, then day (5 + 300)."""
    folder = tmp_path_factory.mktemp("logs")
    (folder / "detections.csv").write_text(DETECTIONS, encoding="utf-8")
    (folder / "visits.csv").write_text(VISITS, encoding="utf-8")
    return replay(small_site(), detections=folder / "detections.csv", visits=folder / "visits.csv")


def test_a_moment_by_hand(logged):
    """Motion until 3630, 125 s of timers: low from 3755; at 3800 the age is 170 s: 165 s of timeout."""
    (one,) = explain_moment(logged, 0, 3800.0)
    assert (one.zone, one.settings_name, one.hold_s, one.timeout_s) == ("A01", "night", 5.0, 120.0)
    assert (one.last_start, one.last_end, one.next_start) == (3600.0, 3630.0, 5000.0)
    assert not one.is_high
    assert one.low_since == 3755.0
    assert not one.is_by_border
    assert one.level == 0.2
    assert one.occupied == 1.0
    (guest,) = one.guests
    assert (guest.truck, guest.enter, guest.leave, guest.bay_m) == ("T01", 3600.0, 5000.0, 20.0)
    assert guest.unseen_s == 1370.0
    assert one.now is not None
    assert (one.now.needed_s, one.now.offered_s) == (165.0, 180.0)
    assert one.visit is not None
    assert (one.visit.needed_s, one.visit.offered_s) == (1365.0, 1800.0)
    text = page_text(moment_page(logged, [one]))
    assert "timeout of 2 min 45 s or more" in text.replace("\n  ", " ")
    assert "T01 is in the aisle" in text


def test_the_price_of_a_cure_is_that_of_a_replay(logged):
    """180 s instead of 120 s at night: energy of a replay with that timeout, times 365 days."""
    (one,) = explain_moment(logged, 0, 3800.0)
    assert one.now is not None
    base = logged.outcomes[0].zones["energy_kwh"]
    longer = (
        replay(
            small_site(a="timeout_s = 120 -> timeout_s = 180"),
            detections=logged.close_look.detections,
        )
        .outcomes[0]
        .zones["energy_kwh"]
    )
    assert one.now.aisle_kwh == pytest.approx(365.0 * (longer[0] - base[0]), rel=1e-9)
    assert one.now.site_kwh == pytest.approx(365.0 * float((longer - base).sum()), rel=1e-9)
    # another timeout costs something else: the check can fail
    assert one.visit is not None
    assert one.visit.site_kwh > 2.0 * one.now.site_kwh


def test_other_moments_by_hand(logged):
    (high,) = explain_moment(logged, 0, 3700.0)
    assert high.is_high
    assert high.now is None
    assert math.isnan(high.low_since)
    (never,) = explain_moment(logged, 2, 50.0)
    assert never.now is None
    assert math.isnan(never.last_end)
    assert "no timeout would have kept the light up" in page_text(moment_page(logged, [never])).replace(
        "\n  ", " "
    )
    # 40100 + 305 = 40405 by day; the second truck of A01 was never seen
    (unseen,) = explain_moment(logged, 0, 43050.0)
    assert unseen.low_since == 40405.0
    assert unseen.guests[0].truck == "T02"
    assert "the cure is a sensor" in page_text(moment_page(logged, [unseen])).replace("\n  ", " ")


def test_a_border_that_takes_the_light_down_is_named():
    """Day holds 305 s, night 125: motion at 17:56:00 has age 240 s at 18:00."""
    site = small_site()
    end = 17.0 * 3600.0 + 56.0 * 60.0
    from sim.records import Detections

    log = Detections(np.array([0]), np.array([end - 10.0]), np.array([end]))
    found = replay(site, detections=log)
    (one,) = explain_moment(found, 0, 18.0 * 3600.0 + 1.0)
    assert one.low_since == 18.0 * 3600.0
    assert one.is_by_border
    assert one.guests == ()


def test_worst_spells_by_hand(logged):
    """The first truck is dim from 3755 to its leave at 5000, the second all its 100 s."""
    spells = find_worst_spells(logged, 10)
    assert [(spell.truck, spell.start, spell.end) for spell in spells] == [
        ("T01", 3755.0, 5000.0),
        ("T02", 43000.0, 43100.0),
        ("T01", 3600.0, 3601.2),
    ]
    assert find_worst_spells(logged, 1) == spells[:1]
    assert find_worst_spells(logged, 10, 1) == ()
    text = page_text(spells_page(logged, spells, None, "april"))
    assert "aislewake explain april A01" in text


@pytest.mark.parametrize("zones", [1, 3])
def test_worst_spells_are_those_of_the_books(zones):
    """Longest, and number of dim seconds: the outcomes of the same replication."""
    site = small_site(
        a=f"aisle_pitch_m = 5 -> aisle_pitch_m = 5\nzones_per_aisle = {zones}", b='"ends" -> "every"'
    )
    found = run(site, replication=0)
    spells = find_worst_spells(found, 100_000)
    total = found.outcomes[0].total
    assert spells
    assert spells[0].end - spells[0].start == pytest.approx(total["dim_spell_max_s"], rel=1e-9)
    assert sum(spell.end - spell.start for spell in spells) == pytest.approx(total["dim_truck_s"], rel=1e-9)
    lengths = [spell.end - spell.start for spell in spells]
    assert float(np.percentile(lengths, 95.0)) == pytest.approx(total["dim_spell_p95_s"], rel=1e-9)


@pytest.mark.parametrize(
    ("text", "second"),
    [
        ("Mon 00:00", 0.0),
        ("monday 02:10:30", 7830.5 - 0.5),
        ("02:10", 7800.0),
        ("2027-03-01T05:00", 18000.0),
        ("2027-03-01 05:00:30", 18030.0),
        ("86399.5", 86399.5),
        ("0", 0.0),
    ],
)
def test_moments_are_read(text, second):
    assert parse_moment(text, small_site()) == second


def test_the_first_such_weekday_of_the_run():
    site = small_site(a="start = 2027-03-01 -> start = 2027-03-05T12:00:00", b="days = 1 -> days = 10")
    moments = {
        "Fri 13:00": 3600.0,
        "Fri 11:00": 7 * 86_400.0 - 3600.0,
        "Sat 12:00": 86_400.0,
        "11:00": 82_800.0,
    }
    for text, second in moments.items():
        assert parse_moment(text, site) == second
        instant = site.start_datetime + dt.timedelta(seconds=second)
        assert text.endswith(f"{instant:%H:%M}")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("Tue 02:10", "not within the run"),
        ("Tux 02:10", 'did you mean "Tue"'),
        ("yesterday", "write a weekday and a time"),
        ("2027-03-01T05:00+01:00", "time zone"),
        ("90000", "not within the run"),
        ("Mon 25:00", "write a weekday"),
        ("-5", "write a weekday"),
    ],
)
def test_faulty_moments_are_told(text, words):
    with pytest.raises(InputError, match=words):
        parse_moment(text, small_site())


def replay_of(site: Scenario, folder: Path, detections: str, visits: str) -> Result:
    """Replay two logs written here."""
    (folder / "detections.csv").write_text(detections, encoding="utf-8")
    (folder / "visits.csv").write_text(visits, encoding="utf-8")
    return replay(site, detections=folder / "detections.csv", visits=folder / "visits.csv")


def test_a_spell_goes_on_from_zone_to_zone(tmp_path):
    """Nothing is seen in A01 but, in another log, in its second half: a visit is dark in one piece or two.

    In at 2 m/s with 0.5 m/s2 the truck passes the cut, 20 m in, on its way to 30 m and back.
    """
    site = small_site(a="aisle_pitch_m = 5 -> aisle_pitch_m = 5\nzones_per_aisle = 2")
    zones = lay_out(site).zones_of_place(0)
    names = [lay_out(site).zones[zone] for zone in zones]
    visits = "aisle,enter,leave,bay_m\nA01,3600,5000,30\n"
    elsewhere = lay_out(site).zones[lay_out(site).zones_of_place(1)[0]]
    found = replay_of(site, tmp_path, f"zone,start,end\n{elsewhere},100,100\n", visits)
    inside = [found.close_look.stays.of_zone(zone) for zone in zones]
    assert [len(stays.enter) for stays in inside] == [2, 1], "the truck crosses the cut twice"
    (spell,) = find_worst_spells(found, 10)
    assert (spell.start, spell.end, spell.least_level) == (3600.0, 5000.0, 0.2)
    lit = replay_of(site, tmp_path, f"zone,start,end\n{names[1]},3600,5000\n", visits)
    spells = sorted(find_worst_spells(lit, 10), key=lambda one: one.start)
    # the second half is up 0.5 + 0.7 s after 3600, long before the truck is there
    expected = [(3600.0, float(inside[1].enter[0])), (float(inside[1].leave[0]), 5000.0)]
    assert [(one.start, one.end) for one in spells] == expected


def test_a_light_that_never_falls_has_no_dim_spell(tmp_path):
    """At 100 % unoccupied nobody is ever in too little light; at 99 % the same visits are."""
    for share, is_dim in (("1.0", False), ("0.99", True)):
        site = small_site(
            a=f"unoccupied_level = 0.3 -> unoccupied_level = {share}",
            b=f"unoccupied_level = 0.2 -> unoccupied_level = {share}",
        )
        found = replay_of(site, tmp_path, DETECTIONS, VISITS)
        assert bool(find_worst_spells(found, 10)) is is_dim
        assert (found.outcomes[0].total["dim_truck_s"] > 0.0) is is_dim


def test_without_visits_nobody_was_in_the_dark(tmp_path):
    (tmp_path / "detections.csv").write_text(DETECTIONS, encoding="utf-8")
    found = replay(small_site(), detections=tmp_path / "detections.csv")
    assert find_worst_spells(found, 10) == ()
    (one,) = explain_moment(found, 0, 3800.0)
    assert one.guests == ()
    assert one.now is not None
    assert one.now.needed_s == 165.0, "what the timer would need is known all the same"


def test_where_drivers_react_a_longer_timeout_has_no_price():
    """Another setting is another traffic: the timeout is told, its kilowatt-hours are not."""
    reacting = small_site(
        a="handling_cv = 0.5 -> handling_cv = 0.5\ndim_speed_factor = 0.5", b="days = 1 -> days = 0.25"
    )
    for site, is_known in ((reacting, False), (small_site(b="days = 1 -> days = 0.25"), True)):
        found = run(site, replication=0)
        start, end = found.close_look.detections.of_zone(0)
        gap = int(np.argmax(start[1:] - end[:-1]))
        assert start[gap + 1] - end[gap] > 126.0
        time = float(end[gap]) + 126.0
        (one,) = explain_moment(found, 0, time)
        assert one.now is not None
        assert one.now.needed_s == math.ceil(time - float(end[gap]) - 5.0) == 121.0
        assert math.isnan(one.now.aisle_kwh) is not is_known
        assert math.isnan(one.now.site_kwh) is not is_known
        told = page_text(moment_page(found, [one])).replace("\n  ", " ")
        assert ("its price is not known without a new simulation" in told) is not is_known
        assert ("kWh a year" in told) is is_known
